"""Chromaticity, colour temperature and screen colour of the light itself."""

from __future__ import annotations

import warnings

import numpy as np
import pytest

from lightdose.files.library import daylight_d65, read_emitter, reference_tables
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.emission import photon_distribution
from lightdose.physics.spectrum_metrics import (
    appearances,
    chromaticity_xy,
    colour_temperature,
    colour_temperatures,
    encoded_srgb,
    linear_srgb,
    planckian_locus,
    swatch_of,
    tristimulus_of,
)

TABLES = reference_tables()
LOCUS = planckian_locus(GRID_NM, TABLES.colour_matching)

# Source: CIE 015:2018, table 12.1 (LED illuminants) and D65, 2 degree observer, as in colour-science.
ILLUMINANTS = (
    "D65",
    "LED-B1",
    "LED-B2",
    "LED-B3",
    "LED-B4",
    "LED-B5",
    "LED-BH1",
    "LED-RGB1",
    "LED-V1",
    "LED-V2",
)


@pytest.mark.published
@pytest.mark.parametrize("name", ILLUMINANTS)
def test_cie_illuminants_have_their_published_chromaticity(name: str) -> None:
    """Photons in cells times our weightings give the chromaticities that CIE tabulates."""
    import colour

    spectrum = daylight_d65() if name == "D65" else read_emitter(f"white-{name.lower()}")
    xy = chromaticity_xy(tristimulus_of(photon_distribution(spectrum), TABLES))
    published = colour.CCS_ILLUMINANTS["CIE 1931 2 Degree Standard Observer"][name]
    # 5 nm tables, summed by CIE and integrated by us: 1e-3 at most, 3e-4 for smooth spectra.
    assert xy == pytest.approx(tuple(published), abs=1e-3)


@pytest.mark.published
@pytest.mark.parametrize(
    ("xy", "cct_k", "tolerance_k"),
    [((0.31272, 0.32903), 6504, 5), ((0.44758, 0.40745), 2856, 2), ((0.34567, 0.35851), 5003, 5)],
)
def test_cie_illuminants_have_their_colour_temperature(xy, cct_k, tolerance_k):
    """D65, A and D50 come out at their nominal temperatures."""
    # Source: CIE 015:2018, illuminants D65, A, D50 (2 degree observer).
    cct, duv = colour_temperature(xy, LOCUS)
    assert cct == pytest.approx(cct_k, abs=tolerance_k)
    assert abs(duv) < 0.004


@pytest.mark.published
def test_colour_temperatures_equal_those_of_colour_science():
    """Off the locus by up to 0.04 and from 1,500 to 40,000 K, temperature and distance agree."""
    # Source: colour-science 0.4.7, uv_to_CCT_Ohno2013 (Ohno 2014, LEUKOS 10:47), good to about 0.01 %.
    import colour

    kelvin, duv = np.meshgrid([1500, 2700, 4000, 6500, 10_000, 20_000, 40_000], [-0.03, -0.005, 0.002, 0.03])
    wanted = np.column_stack((kelvin.ravel(), duv.ravel()))
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        uv = colour.temperature.CCT_to_uv_Ohno2013(wanted)
        theirs = colour.temperature.uv_to_CCT_Ohno2013(uv)
    xy = colour.UCS_uv_to_xy(uv)
    cct, distance = colour_temperatures(np.column_stack((xy, 1 - xy.sum(axis=1))), LOCUS)
    assert cct == pytest.approx(theirs[:, 0], rel=5e-4)
    assert distance == pytest.approx(theirs[:, 1], abs=2e-6)


@pytest.mark.published
@pytest.mark.parametrize("xy", [(0.158, 0.017), (0.700, 0.300), (0.072, 0.368)])
def test_single_colours_have_no_colour_temperature(xy):
    """Blue, red and cyan lie too far from the Planckian locus for a temperature."""
    # Source: limit of 0.05 in Duv, CIE 015:2018.
    cct, _ = colour_temperature(xy, LOCUS)
    assert cct is None


@pytest.mark.identity
def test_chromaticity_is_scale_free():
    """x and y do not depend on how bright the light is; no light has none."""
    tristimulus = np.array([0.9504, 1.0, 1.0888])
    assert chromaticity_xy(tristimulus) == pytest.approx(chromaticity_xy(7 * tristimulus), rel=1e-14)
    assert chromaticity_xy(np.zeros(3)) is None


@pytest.mark.published
def test_srgb_values_equal_those_of_colour_science():
    """Colours within sRGB, dark ones on the straight part of the curve among them."""
    # Source: colour-science 0.4.7, XYZ_to_sRGB (IEC 61966-2-1:1999).
    import colour

    rng = np.random.default_rng(5)
    inside = rng.uniform(0, 1, (200, 3)) ** 3
    xyz = colour.sRGB_to_XYZ(inside)
    assert encoded_srgb(linear_srgb(xyz)) == pytest.approx(colour.XYZ_to_sRGB(xyz), abs=1e-9)
    assert linear_srgb(xyz).min() < 0.0031308


@pytest.mark.published
@pytest.mark.parametrize("code", ["#ff0000", "#00ff00", "#0000ff", "#ffffff", "#ff8000", "#80c0ff"])
def test_screen_colour_comes_back_as_its_own_swatch(code: str):
    """A full-bright screen colour, at any luminance, gives its own code again, unclipped."""
    # Source: colour-science 0.4.7, sRGB_to_XYZ.
    import colour

    values = np.array([int(code[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    swatch = swatch_of(1234 * colour.sRGB_to_XYZ(values))
    assert (swatch.srgb, swatch.clipped) == (code, False)


@pytest.mark.identity
def test_light_more_saturated_than_the_screen_is_clipped_and_said():
    """A single wavelength of 450 nm lies outside sRGB: it is shown paler and marked."""
    cells = np.zeros(GRID_NM.size)
    cells[150] = 1.0
    tristimulus = tristimulus_of(cells, TABLES)
    swatch = swatch_of(tristimulus)
    assert swatch.clipped
    assert linear_srgb(tristimulus).min() < 0
    assert swatch.srgb.endswith("ff")


@pytest.mark.identity
def test_dark_places_have_no_appearance():
    """No light has no colour; the lit ones keep their order."""
    found = appearances(np.array([[0.0, 0.0, 0.0], [0.95, 1.0, 1.09], [0.0, 0.0, 0.0]]), LOCUS)
    assert [a is None for a in found] == [True, False, True]
