"""Weighted irradiance and radiance of fixtures through air, and how long until the limits."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.files.library import data_file, hazard_tables
from lightdose.model.fixture import (
    Aperture,
    Beam,
    Channel,
    CosineLobe,
    DimmingCurve,
    Emitters,
    FixtureType,
    PhotometricLobe,
    TabulatedLobe,
)
from lightdose.model.spectrum import LedPeak
from lightdose.physics.emission import photon_distribution
from lightdose.physics.hazard import (
    actinic_uv_time_s,
    blue_irradiance_time_s,
    blue_radiance_time_s,
    emitter_radiance,
    largest_irradiance,
    uv_a_time_s,
    weighted_power,
    worst_view,
)
from lightdose.physics.photons import joules_per_photon

ONE = np.ones((1, 1))


def lamp(*beams: Beam, length_m: float = 0.0, width_m: float = 0.0) -> FixtureType:
    """A fixture of one channel a lobe."""
    spectrum = LedPeak(450, 20)
    channels = [Channel(f"c{n}", spectrum, b, DimmingCurve.linear()) for n, b in enumerate(beams)]
    return FixtureType("lamp", tuple(channels), Aperture(length_m, width_m))


def irradiance(fixture_type: FixtureType, distance_m: float) -> float:
    """Largest irradiance of all channels with one watt each. [W m-2]"""
    count = len(fixture_type.channels)
    power = np.ones((count, 1))
    return float(largest_irradiance(worst_view(fixture_type, distance_m), np.ones((1, count)), power)[0])


def table(name: str) -> dict[int, float]:
    text = data_file("hazard", f"{name}.csv").read_text(encoding="utf-8")
    rows = [line.split(",") for line in text.splitlines() if line[0].isdigit()]
    return {int(wavelength): float(value) for wavelength, value in rows}


@pytest.mark.published
def test_blue_light_table_holds_the_nodes_of_the_standard() -> None:
    """B at nodes of 5 nm, and the two formulas beyond 500 nm."""
    # Source: IEC 62471:2006 / CIE S 009, nodes and formulas as coded in luxpy 1.12.5.
    nodes = {
        385: 0.013, 390: 0.025, 395: 0.05, 400: 0.10, 405: 0.20, 410: 0.40, 415: 0.80, 420: 0.90, 425: 0.95,
        430: 0.98, 435: 1.00, 440: 1.00, 445: 0.97, 450: 0.94, 455: 0.90, 460: 0.80, 465: 0.70, 470: 0.62,
        475: 0.55, 480: 0.45, 485: 0.40, 490: 0.22, 495: 0.16, 500: 0.10, 550: 0.01, 600: 0.001, 700: 0.001,
    }  # fmt: skip
    own = table("blue_light")
    assert {nm: own[nm] for nm in nodes} == nodes
    for nm in range(501, 600):
        assert own[nm] == pytest.approx(10 ** ((450 - nm) / 50), rel=1e-5)


@pytest.mark.published
def test_actinic_table_holds_the_nodes_of_the_standard() -> None:
    """S at nodes of the standard: maximum at 270 nm, four decades down to 400 nm."""
    # Source: IEC 62471-6:2022 (ICNIRP 2004), as tabulated in guv-calcs 0.10.0.
    nodes = {
        200: 0.03, 220: 0.12, 254: 0.5, 270: 1.0, 280: 0.88, 290: 0.64, 297: 0.46, 300: 0.3, 303: 0.12,
        308: 0.026, 313: 0.006, 315: 0.003, 320: 0.001, 333: 0.00037, 350: 0.0002, 365: 0.00011, 380: 6.4e-5,
        400: 3e-5,
    }  # fmt: skip
    own = table("actinic_uv")
    assert {nm: own[nm] for nm in nodes} == nodes


@pytest.mark.published
def test_blue_share_of_a_450_nm_led() -> None:
    """Blue-light hazard efficiency of an LED at 450 nm, 20 nm wide, is 0.8890."""
    # Source: computed from Ohno 2005, Opt. Eng. 44:111302, and the table of IEC 62471:2006.
    emission = photon_distribution(LedPeak(450, 20))[None, :]
    blue = weighted_power(emission, hazard_tables())[0, 0]
    total = float(emission[0] @ joules_per_photon(np.arange(300.5, 800)))
    # 0.8890 is a sum over whole nanometres; the integral with straight lines between them is 0.88893.
    assert blue / total == pytest.approx(0.8890, abs=2e-4)


@pytest.mark.published
def test_hundred_micromoles_of_450_nm() -> None:
    """100 umol m-2 s-1 of a 450 nm channel carry 26.6 W m-2, weighted 23.6."""
    # Source: Planck relation with the exact SI constants; B of IEC 62471:2006.
    emission = 100 * photon_distribution(LedPeak(450, 20))[None, :]
    assert float(emission[0] @ joules_per_photon(np.arange(300.5, 800))) == pytest.approx(26.6, abs=0.05)
    assert weighted_power(emission, hazard_tables())[0, 0] == pytest.approx(23.6, abs=0.05)


@pytest.mark.identity
def test_point_lamp_follows_the_inverse_square_law() -> None:
    """E = flux (m + 1) / (2 pi d^2) straight below, at every distance."""
    for distance_m in (0.2, 0.5, 3.0):
        found = irradiance(lamp(CosineLobe(90.0)), distance_m)
        assert found == pytest.approx(3 / (2 * math.pi * distance_m**2), rel=1e-12)


@pytest.mark.published
def test_lambertian_panel_equals_its_view_factor() -> None:
    """A bare panel 40 x 6 cm from 20 cm: E = pi L times the closed form of the view factor."""
    # Source: view factor of a rectangle from a point below its corner (tables of configuration factors).
    length_m, width_m, distance_m = 0.4, 0.06, 0.2
    x, y = length_m / 2 / distance_m, width_m / 2 / distance_m
    root_x, root_y = math.sqrt(1 + x * x), math.sqrt(1 + y * y)
    corner = (x / root_x * math.atan(y / root_x) + y / root_y * math.atan(x / root_y)) / (2 * math.pi)
    expected = 4 * corner / (length_m * width_m)
    found = irradiance(lamp(CosineLobe(120.0), length_m=length_m, width_m=width_m), distance_m)
    assert found == pytest.approx(expected, rel=2e-3)  # midpoint rule, 2.5 cm cells


@pytest.mark.identity
@pytest.mark.parametrize("fwhm_deg", [8.0, 30.0, 90.0, 120.0, 150.0])
def test_no_place_on_the_way_round_a_panel_gets_more(fwhm_deg: float) -> None:
    """Straight below the middle is the worst place for lobes that are strongest straight down."""
    cosine = CosineLobe(fwhm_deg)
    angle = np.linspace(0, 90, 901)
    exponent = math.log(0.5) / math.log(math.cos(math.radians(fwhm_deg) / 2))
    relative = np.clip(np.cos(np.radians(angle)), 0, None) ** exponent
    # A hair off the axis makes the search go all around.
    searched = TabulatedLobe(angle, np.where(angle == 0, relative * (1 - 1e-9), relative))
    here = irradiance(lamp(cosine, length_m=0.4, width_m=0.06), 0.2)
    assert irradiance(lamp(searched, length_m=0.4, width_m=0.06), 0.2) == pytest.approx(here, rel=5e-3)


@pytest.mark.identity
def test_batwing_is_taken_in_its_strongest_direction() -> None:
    """A point lamp that throws to 45 deg is stared into from there, and its radiance is taken there too."""
    beam = TabulatedLobe(np.array([0.0, 45.0, 60.0]), np.array([0.2, 1.0, 0.0]))
    flux = (
        2
        * math.pi
        * np.trapezoid(
            np.interp(t := np.linspace(0, 60, 60_001), beam.angle_deg, beam.relative) * np.sin(np.radians(t)),
            np.radians(t),
        )
    )
    assert irradiance(lamp(beam), 0.5) == pytest.approx(1 / flux / 0.25, rel=1e-6)
    radiance = emitter_radiance(worst_view(lamp(beam), 0.5), ONE, ONE, Emitters(1, 0.01))
    assert radiance == pytest.approx(1 / flux / (math.pi * 0.01**2 / 4), rel=1e-6)


@pytest.mark.identity
def test_photometric_lobe_is_taken_in_its_strongest_plane() -> None:
    """A lobe that leans to one side is found there, as strong as its file says."""
    c = np.array([0.0, 90.0, 180.0, 270.0, 360.0])
    gamma = np.array([0.0, 30.0, 90.0])
    relative = np.array([[1.0, 1.0, 0.0], [1.0, 3.0, 0.0], [1.0, 1.0, 0.0], [1.0, 1.0, 0.0], [1.0, 1.0, 0.0]])
    beam = PhotometricLobe(c, gamma, relative)
    geometry = worst_view(lamp(beam), 1.0)
    straight = geometry.intensity_per_sr[0, 0]
    assert geometry.intensity_per_sr.max() == pytest.approx(3 * straight, rel=1e-9)
    assert geometry.irradiance_per_m2.max() == pytest.approx(3 * straight, rel=1e-9)


@pytest.mark.identity
def test_eye_below_a_leaning_panel_looks_into_the_beam() -> None:
    """Below a wide panel whose narrow beams all lean by 40 deg, the eye that faces them gets them whole."""
    c, gamma = np.arange(0.0, 361.0, 5.0), np.arange(0.0, 91.0, 1.0)
    from_beam = (gamma[None, :] - 40) ** 2 + (
        np.minimum(c, 360 - c)[:, None] * math.sin(math.radians(40))
    ) ** 2
    beam = PhotometricLobe(c, gamma, np.exp(-from_beam / 6**2))
    found = irradiance(lamp(beam, length_m=0.6, width_m=0.6), 0.2)
    # Flux over the panel's area as the beam sees it; the beam is 10 deg wide.
    assert found == pytest.approx(1 / (0.36 * math.cos(math.radians(40))), rel=0.03)


@pytest.mark.identity
def test_channels_of_different_lobes_add_in_one_direction() -> None:
    """Two channels never count from two places of the eye at once."""
    side = TabulatedLobe(np.array([0.0, 40.0, 50.0]), np.array([0.0, 1.0, 0.0]))
    down = CosineLobe(20.0)
    both, one, other = (irradiance(lamp(*beams), 0.3) for beams in ((down, side), (down,), (side,)))
    assert max(one, other) <= both < one + other


@pytest.mark.identity
def test_far_panel_is_a_point() -> None:
    """From 20 m a panel of 40 x 6 cm gives what a point gives."""
    panel = irradiance(lamp(CosineLobe(90.0), length_m=0.4, width_m=0.06), 20.0)
    assert panel == pytest.approx(irradiance(lamp(CosineLobe(90.0)), 20.0), rel=2e-4)


@pytest.mark.identity
@pytest.mark.parametrize("fwhm_deg", [2.0, 5.0, 15.0])
def test_narrow_lobe_on_a_panel_is_resolved(fwhm_deg: float) -> None:
    """Below a wide panel of pencil beams the irradiance is flux over area, whatever the cells."""
    found = irradiance(lamp(CosineLobe(fwhm_deg), length_m=0.3, width_m=0.3), 0.2)
    assert found == pytest.approx(1 / 0.09, rel=0.02)


@pytest.mark.identity
def test_radiance_of_an_emitter_is_intensity_over_its_disc() -> None:
    """L = I / (count pi d^2 / 4): it depends neither on the aperture nor on the distance."""
    emitters = Emitters(24, 0.008)
    expected = 3 / (2 * math.pi) / (24 * math.pi * 0.008**2 / 4)
    for fixture_type in (lamp(CosineLobe(90.0)), lamp(CosineLobe(90.0), length_m=0.4, width_m=0.06)):
        for distance_m in (0.2, 0.5):
            found = emitter_radiance(worst_view(fixture_type, distance_m), ONE, ONE, emitters)
            assert found == pytest.approx(expected, rel=1e-12)


@pytest.mark.published
def test_times_to_limits() -> None:
    """Each limit by its two branches, and where they meet."""
    # Source: IEC 62471:2006 (ICNIRP 2013, from memory); Directive 2006/25/EC.
    assert blue_irradiance_time_s(23.6) == pytest.approx(100 / 23.6)
    assert blue_irradiance_time_s(1.0 + 1e-12) == pytest.approx(100.0)
    assert blue_irradiance_time_s(1.0) is None
    assert blue_radiance_time_s(1e5) == pytest.approx(10.0)
    assert blue_radiance_time_s(100.0 * (1 + 1e-12)) == pytest.approx(1e4)
    assert blue_radiance_time_s(100.0) is None
    assert actinic_uv_time_s(60.0) == pytest.approx(4 * 3600.0)
    assert actinic_uv_time_s(30.0) is None
    assert uv_a_time_s(20.0) == pytest.approx(500.0)
    assert uv_a_time_s(10.0 * (1 + 1e-12)) == pytest.approx(1000.0)
    assert uv_a_time_s(10.0) is None


@pytest.mark.identity
@given(st.floats(1e-6, 1e6), st.floats(1.0001, 100.0))
def test_more_light_never_allows_more_time(light: float, factor: float) -> None:
    """Every limit falls with the light, from never down."""
    for time_of in (blue_irradiance_time_s, blue_radiance_time_s, actinic_uv_time_s, uv_a_time_s):
        less, more = (math.inf if (t := time_of(x)) is None else t for x in (light, light * factor))
        assert more < less or (more == less == math.inf)


@pytest.mark.identity
def test_nothing_lit_gives_nothing() -> None:
    """Outputs of zero, and no output at all, are no hazard."""
    geometry = worst_view(lamp(CosineLobe(90.0)), 0.2)
    for output in (np.zeros((3, 1)), np.zeros((0, 1))):
        assert largest_irradiance(geometry, output, np.ones((1, 3))).tolist() == [0, 0, 0]
