"""The figures of `spectrum`, against standards, closed forms and other libraries."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from physics.led_shape import led_shape

from lightdose.files.library import node_tables, read_emitter, reference_tables
from lightdose.model.spectrum import SpectralDistribution, SpectrumMetrics
from lightdose.physics.emission import photon_distribution, weigh, weighting_matrix
from lightdose.physics.photons import photons_per_joule
from lightdose.physics.spectrum_metrics import photon_shares, spectrum_metrics
from lightdose.quantities import PHOTONS_UMOL_PER_J_NM


def metrics(spectrum: SpectralDistribution, *, with_colour: bool = False) -> SpectrumMetrics:
    """Figures with the shipped tables."""
    return spectrum_metrics("s.csv", spectrum, node_tables(), with_colour=with_colour)


def illuminant(name: str) -> SpectralDistribution:
    """A CIE illuminant out of colour-science."""
    import colour

    distribution = colour.SDS_ILLUMINANTS[name]
    return SpectralDistribution(name, distribution.wavelengths, distribution.values, "power")


@pytest.fixture(scope="module")
def sunlight() -> SpectrumMetrics:
    """ASTM G173-03 global as an irradiance file."""
    from pvlib.spectrum import get_reference_spectra

    table = get_reference_spectra(standard="ASTM G173-03")["global"]
    return metrics(
        SpectralDistribution(
            "AM1.5G", table.index.to_numpy(float), table.to_numpy(float), "power", "W m-2 nm-1"
        )
    )


@pytest.mark.published
def test_sunlight_has_its_ppfd(sunlight):
    """1977.87 umol m-2 s-1, not the 1983.48 of a plain sum."""
    # Source: ASTM G173-03 through pvlib 0.16.1; trapezoid with half end nodes.
    assert sunlight.ppfd_umol_m2_s == pytest.approx(1977.87, rel=1e-5)
    assert sunlight.ppf_umol_s is None


@pytest.mark.published
def test_sunlight_agrees_with_the_horticultural_factors(sunlight):
    """4.57 umol per joule and 54 lux per umol of sun and sky."""
    # Source: Thimijan & Heins 1983, HortScience 18:818 (second hand); 5 % for sunlight only.
    # Computed by us for this spectrum: 4.60 and 55.4.
    assert sunlight.umol_per_j == pytest.approx(4.57, rel=0.05)
    assert sunlight.lux_per_umol == pytest.approx(54, rel=0.05)
    assert sunlight.umol_per_j == pytest.approx(4.60, abs=0.005)
    assert sunlight.lux_per_umol == pytest.approx(55.4, abs=0.05)


@pytest.mark.published
def test_d65_has_its_photons_per_joule():
    """4.5284 umol per joule of 400-700 nm."""
    # Source: CIE D65 (CIE 015:2018); computed alike by colour-science and luxpy, which agree to 0.004 %.
    assert metrics(illuminant("D65")).umol_per_j == pytest.approx(4.5284, rel=2e-4)


@pytest.mark.published
@pytest.mark.parametrize(
    ("name", "xy", "cct_k"),
    [("D65", (0.31272, 0.32903), 6504), ("A", (0.44758, 0.40745), 2856), ("LED-B5", (0.3118, 0.3236), 6598)],
)
def test_illuminant_has_its_chromaticity(name, xy, cct_k):
    """Two classical illuminants and a white LED come out at the standard's chromaticity."""
    # Source: CIE 015:2018, 2 degree observer; LED-B5: the table in colour-science, CCT from memory.
    result = metrics(illuminant(name), with_colour=True)
    assert result.chromaticity_xy == pytest.approx(xy, abs=1e-4)
    assert result.cct_k == pytest.approx(cct_k, abs=6)


@pytest.mark.published
@pytest.mark.parametrize("name", ["A", "D65", "LED-B1", "LED-B3", "LED-V2", "LED-RGB1"])
def test_lux_and_chromaticity_equal_colour_science(name):
    """Luminous efficacy and x, y by another library's own way from the same illuminant."""
    # Source: colour-science: Sprague to 1 nm and its observer; sums at 1 nm over 380-780 nm.
    import colour

    shape = colour.SpectralShape(380, 780, 1)
    fine = colour.SDS_ILLUMINANTS[name].copy()
    fine = fine.interpolate(shape, interpolator=colour.SpragueInterpolator).trim(shape)
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().trim(shape)
    x, y, z = np.clip(fine.values, 0, None) @ matching.values
    result = metrics(illuminant(name), with_colour=True)
    assert result.chromaticity_xy == pytest.approx((x / (x + y + z), y / (x + y + z)), abs=1e-4)
    inside = (fine.wavelengths >= 400) & (fine.wavelengths <= 700)
    power = np.clip(fine.values[inside], 0, None)
    photons = np.sum(power * photons_per_joule(fine.wavelengths[inside]))
    photons -= 0.5 * (power[0] * photons_per_joule(400.0) + power[-1] * photons_per_joule(700.0))
    assert result.lux_per_umol == pytest.approx(683.002 * y / photons, rel=2e-4)


@pytest.mark.published
@pytest.mark.parametrize(("peak_nm", "lux", "tolerance"), [(555, 147.2165, 2e-3), (450, 6.8995, 5e-3)])
def test_narrow_light_has_the_lux_of_its_wavelength(peak_nm, lux, tolerance):
    """A 2 nm wide line tends to the definition at one wavelength."""
    # Source: CIE 018:2019: Km 683.002 lm/W, V(555) = 1, V(450) = 0.038; tolerance: the line's own width.
    nodes = np.linspace(peak_nm - 20, peak_nm + 20, 801)
    line = SpectralDistribution("line", nodes, led_shape(nodes, peak_nm, 2), "power")
    assert metrics(line).lux_per_umol == pytest.approx(lux, rel=tolerance)


SPECTRA = st.integers(0, 10**6).map(
    lambda seed: (np.random.default_rng(seed).gamma(0.4, 1.0, 301) + 1e-6, np.linspace(380, 720, 301))
)


@pytest.mark.identity
@given(SPECTRA)
def test_photons_per_joule_is_k_times_the_mean_wavelength(pair):
    """umol/J = K x energy-weighted mean wavelength, for any spectrum inside 400-700 nm."""
    power, nodes = pair
    power = np.where((nodes > 402) & (nodes < 698), power, 0.0)
    result = metrics(SpectralDistribution("s", nodes, power, "power"))
    mean_nm = np.sum(power * nodes) / np.sum(power)
    assert result.umol_per_j == pytest.approx(PHOTONS_UMOL_PER_J_NM * mean_nm, rel=1e-12)


@pytest.mark.identity
@given(SPECTRA)
def test_thirds_add_to_one(pair):
    """Blue, green and red are shares of PPFD."""
    power, nodes = pair
    bands = metrics(SpectralDistribution("s", nodes, power, "power")).band_fraction
    assert sum(bands[key] for key in ("blue", "green", "red")) == pytest.approx(1, rel=1e-12)


@pytest.mark.identity
@given(SPECTRA)
def test_power_and_photons_files_of_one_light_agree(pair):
    """The same light in either quantity has the same figures."""
    power, nodes = pair
    one = metrics(SpectralDistribution("s", nodes, power, "power", "W nm-1"))
    other = metrics(
        SpectralDistribution("s", nodes, power * photons_per_joule(nodes), "photons", "umol s-1 nm-1")
    )
    assert one.ppf_umol_s == pytest.approx(other.ppf_umol_s, rel=1e-12)
    assert one.umol_per_j == pytest.approx(other.umol_per_j, rel=1e-12)
    assert one.lux_per_umol == pytest.approx(other.lux_per_umol, rel=1e-12)
    assert dict(one.band_fraction) == pytest.approx(dict(other.band_fraction), rel=1e-12)


@pytest.mark.identity
@pytest.mark.parametrize("name", ["blue-445", "violet-405", "white-led-b3", "white-led-v2", "deep-red-660"])
def test_spectrum_and_dose_see_the_same_light(name):
    """Native nodes and the working grid give the same bands to 1e-9, lux and usable light to 2e-3."""
    result = metrics(read_emitter(name))
    weights = weighting_matrix(reference_tables())
    on_grid = dict(zip(weights.keys, weigh(photon_distribution(read_emitter(name)), weights), strict=True))
    for key, value in result.band_fraction.items():
        assert on_grid[key] / on_grid["ppfd"] == pytest.approx(value, rel=1e-9, abs=1e-15)
    assert result.outside_400_700_fraction == pytest.approx(1 - on_grid["ppfd"], rel=1e-9, abs=1e-12)
    assert on_grid["lux"] / on_grid["ppfd"] == pytest.approx(result.lux_per_umol, rel=2e-3)
    for key, value in result.usable_fraction.items():
        assert on_grid[f"usable_{key}"] / on_grid["ppfd"] == pytest.approx(value, rel=1e-3)


@pytest.mark.identity
def test_violet_light_shows_what_ppfd_leaves_out():
    """27 % of a 405 nm LED of FWHM 20 lies below 400 nm, and is shown beside PPFD."""
    nodes = np.linspace(300, 800, 1001)
    power = np.exp(-4 * np.log(2) * ((nodes - 405) / 20) ** 2)
    result = metrics(SpectralDistribution("v", nodes, power, "power"))
    assert result.outside_400_700_fraction == pytest.approx(1 - 0.729006, abs=5e-4)
    assert result.band_fraction["uv_a"] == pytest.approx((1 - 0.729006) / 0.729006, abs=2e-3)


@pytest.mark.pinned
def test_too_coarse_table_gives_ppfd_only():
    """10 nm steps of a narrow LED: bands, lux, usable light and colour are left out, PPFD stays, and why."""
    nodes = np.arange(380.0, 781, 10)
    power = led_shape(nodes, 450, 20)
    result = metrics(SpectralDistribution("c", nodes, power, "power", "W m-2 nm-1"), with_colour=True)
    fine = np.arange(380.0, 781, 0.5)
    expected = metrics(SpectralDistribution("f", fine, led_shape(fine, 450, 20), "power", "W m-2 nm-1"))
    assert result.ppfd_umol_m2_s == pytest.approx(expected.ppfd_umol_m2_s, rel=0.02)
    assert result.lux_per_umol is None
    assert result.chromaticity_xy is None
    assert set(result.band_fraction.values()) == {None}
    assert set(result.usable_fraction.values()) == {None}
    assert result.notes[0] == (
        "steps of 10 nm are too coarse for the narrow peak at 450 nm: colour bands and lux could err by up "
        "to 10 %; they are left out, PPFD is good to some percent"
    )


@pytest.mark.pinned
def test_table_that_ends_in_light_says_what_could_be_missing():
    """A cut at 650 nm is told with a size; a table that falls to zero says nothing."""
    nodes = np.arange(400.0, 651, 1)
    cut = metrics(SpectralDistribution("c", nodes, np.exp(-(((nodes - 600) / 60.0) ** 2)), "power"))
    (note,) = [n for n in cut.notes if "650" in n]
    assert note.startswith("the table ends in light at 650 nm: longer wavelengths count as zero, about ")
    assert not metrics(read_emitter("blue-445")).notes


@pytest.mark.pinned
def test_ultraviolet_alone_has_no_ratio_to_ppfd():
    """Without light in 400-700 nm there is nothing to divide by; the outside share is 1."""
    result = metrics(read_emitter("uv-365"))
    assert result.lux_per_umol is None
    assert result.band_fraction["uv_a"] is None
    assert result.outside_400_700_fraction == pytest.approx(1, abs=1e-5)


@pytest.mark.identity
@pytest.mark.parametrize("name", ["blue-445", "white-led-b3"])
def test_drawn_curve_has_area_one(name):
    """Curves of different lights share one scale."""
    curve = photon_shares("x", read_emitter(name))
    steps = np.diff(curve.wavelength_nm)
    assert np.sum(steps * (curve.values[1:] + curve.values[:-1]) / 2) == pytest.approx(1, rel=1e-12)
    assert (curve.name, curve.quantity) == ("x", "photons")
