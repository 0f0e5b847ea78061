"""The tables that lightdose ships, against the outside packages and papers they come from."""

from __future__ import annotations

import numpy as np
import pytest
from physics.led_shape import led_shape

from lightdose.errors import SpectrumError
from lightdose.files.library import (
    data_file,
    emitter_names,
    node_tables,
    read_emitter,
    reference_tables,
    typical_radiant_efficiency,
)
from lightdose.model.spectrum import GRID_NM, LedPeak, SpectralDistribution, SpectrumMix
from lightdose.physics.emission import photon_distribution

WHITES = {
    "white-led-b1": "LED-B1",
    "white-led-b2": "LED-B2",
    "white-led-b3": "LED-B3",
    "white-led-b4": "LED-B4",
    "white-led-b5": "LED-B5",
    "white-led-bh1": "LED-BH1",
    "white-led-rgb1": "LED-RGB1",
    "white-led-v1": "LED-V1",
    "white-led-v2": "LED-V2",
}
SINGLE = [name for name in emitter_names() if name not in WHITES]


@pytest.mark.published
@pytest.mark.parametrize(("name", "illuminant"), WHITES.items())
def test_white_led_equals_the_cie_illuminant(name, illuminant):
    """The phosphor whites are the LED illuminants of the standard, as another library tabulates them."""
    # Source: CIE 015:2018, LED illuminants, through colour-science.
    import colour

    expected = colour.SDS_ILLUMINANTS[illuminant]
    ours = read_emitter(name)
    np.testing.assert_array_equal(ours.wavelength_nm, expected.wavelengths)
    np.testing.assert_allclose(ours.values, expected.values, rtol=1e-12)
    assert ours.quantity == "power"


@pytest.mark.published
@pytest.mark.parametrize("name", SINGLE)
def test_single_led_follows_ohno_and_its_own_name(name):
    """A named LED peaks where its name says and has the shape of the published model."""
    # Source: Ohno 2005, Opt. Eng. 44:111302; widths are ours, from memory: read back from half maximum.
    spectrum = read_emitter(name)
    peak_nm = float(name.rsplit("-", 1)[1])
    assert spectrum.wavelength_nm[np.argmax(spectrum.values)] == peak_nm
    above = np.linspace(300, 800, 50_001)
    half = above[np.interp(above, spectrum.wavelength_nm, spectrum.values) >= 0.5]
    fwhm_nm = half[-1] - half[0]
    assert 9 <= fwhm_nm <= 34
    shape = led_shape(spectrum.wavelength_nm, peak_nm, round(fwhm_nm))
    np.testing.assert_allclose(spectrum.values, shape, rtol=6e-6, atol=1.1e-12)


@pytest.mark.published
def test_vision_tables_equal_colour_science():
    """V and the CIE 1931 functions on their nodes are the standard's, at 1 nm."""
    # Source: CIE 018:2019 and CIE 015:2018, through colour-science.
    import colour

    tables = node_tables()
    photopic = colour.SDS_LEFS["CIE 1924 Photopic Standard Observer"]
    matching = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"]
    np.testing.assert_array_equal(tables.photopic.wavelength_nm, photopic.wavelengths)
    np.testing.assert_allclose(tables.photopic.values, photopic.values, rtol=1e-12)
    for ours, theirs in zip(tables.colour_matching, matching.values.T, strict=True):
        np.testing.assert_array_equal(ours.wavelength_nm, matching.wavelengths)
        np.testing.assert_allclose(ours.values, theirs, rtol=1e-12)


@pytest.mark.published
def test_pure_water_equals_jerlov():
    """The water table is the published one, at cell centres by straight lines between its 1 nm nodes."""
    # Source: Williamson & Hollins 2022 (after Buiteveld et al. 1994), through the package jerlov.
    import jerlov

    np.testing.assert_allclose(
        reference_tables().pure_water_absorption_per_m, jerlov.pure_water_absorption(GRID_NM), rtol=1e-12
    )


@pytest.mark.published
@pytest.mark.parametrize(
    ("wavelength_nm", "absorption_per_m", "transmission_difference"),
    [
        (420, 0.00454, 0.002),
        (450, 0.00922, 0.002),
        (500, 0.0204, 0.002),
        (550, 0.0565, 0.002),
        (600, 0.2224, 0.002),
        (650, 0.340, 0.0045),
        (700, 0.624, 0.0265),
    ],
)
def test_pure_water_agrees_with_pope_and_fry(wavelength_nm, absorption_per_m, transmission_difference):
    """Half a metre of our water passes what an independent measurement passes, within the data's spread."""
    # Source: Pope & Fry 1997, Appl. Opt. 36:8710. Spread: 0.2 % at 380-640 nm, 0.4 % at 650, 2.6 % at 700.
    table = reference_tables().pure_water_absorption_per_m
    ours = np.exp(-0.5 * np.interp(wavelength_nm, GRID_NM, table))
    assert ours == pytest.approx(np.exp(-0.5 * absorption_per_m), rel=transmission_difference)


@pytest.mark.published
def test_half_a_metre_of_water_takes_its_share_of_deep_red():
    """A 660 nm LED through 0.5 m: 0.819 by one measurement, 0.829 by the table we ship."""
    # Source: Pope & Fry 1997 nodes; Buiteveld et al. 1994; both integrated over Ohno 2005, FWHM 18 nm.
    photons = photon_distribution(LedPeak(660, 18))
    pope_fry = np.interp(GRID_NM, [600, 650, 700], [0.2224, 0.340, 0.624])
    assert photons @ np.exp(-0.5 * pope_fry) == pytest.approx(0.819, abs=0.002)
    ours = reference_tables().pure_water_absorption_per_m
    assert photons @ np.exp(-0.5 * ours) == pytest.approx(0.829, abs=0.002)


@pytest.mark.identity
def test_tables_are_read_only_and_read_once():
    """Nobody can change what every run shares."""
    tables = reference_tables()
    assert reference_tables() is tables
    for array in (tables.photopic, tables.colour_matching, tables.pure_water_absorption_per_m):
        assert not array.flags.writeable


@pytest.mark.pinned
def test_unknown_emitter_names_the_nearest_and_all():
    """A slip in a library name is mended from the message alone."""
    with pytest.raises(SpectrumError) as caught:
        read_emitter("Blue_446")
    (problem,) = caught.value.problems
    assert problem.found == "the library has no emitter 'Blue_446'"
    assert "'blue-445'" in problem.cure
    assert all(name in problem.allowed for name in emitter_names())


@pytest.mark.pinned
def test_typical_efficiency_goes_by_colour():
    """UV to far red and white have values between 0.1 and 0.6; whites are told from single colours."""
    values = {name: typical_radiant_efficiency(read_emitter(name)) for name in emitter_names()}
    assert all(0.1 <= value <= 0.6 for value in values.values())
    assert {values[name] for name in WHITES} == {0.38}
    assert values["blue-450"] == pytest.approx(0.50, abs=1e-6)
    assert values["amber-590"] == pytest.approx(0.15, abs=1e-6)
    assert typical_radiant_efficiency(LedPeak(450, 20)) == 0.50


@pytest.mark.identity
def test_typical_efficiency_of_a_mix_divides_light_by_electricity():
    """A mix needs the electricity of its parts: equal parts keep their value, others lie between."""
    blue, amber = LedPeak(450, 20), LedPeak(590, 16)
    assert typical_radiant_efficiency(SpectrumMix(((blue, 2.0), (blue, 1.0)))) == pytest.approx(
        0.5, rel=1e-12
    )
    mixed = typical_radiant_efficiency(SpectrumMix(((blue, 1.0), (amber, 1.0))))
    light, electricity = 1 / 450 + 1 / 590, 1 / 450 / 0.50 + 1 / 590 / 0.15
    assert mixed == pytest.approx(light / electricity, rel=1e-12)
    nested = SpectrumMix(((SpectrumMix(((blue, 1.0), (amber, 1.0))), 1.0),))
    assert typical_radiant_efficiency(nested) == pytest.approx(mixed, rel=1e-12)


@pytest.mark.identity
def test_typical_efficiency_ignores_how_values_are_stated():
    """The same light as power and as photons gets the same value."""
    power = read_emitter("red-630")
    photons = SpectralDistribution("p", power.wavelength_nm, power.values * power.wavelength_nm, "photons")
    assert typical_radiant_efficiency(photons) == pytest.approx(typical_radiant_efficiency(power), rel=1e-12)


@pytest.mark.identity
def test_data_file_finds_the_checkouts_tables():
    """A shipped table is found wherever the working folder is."""
    assert data_file("emitters", "blue-445.csv").is_file()
    assert data_file("SOURCES.toml").is_absolute()
