"""What channels emit: LED shapes, tables, mixes and the five ways to state a flux."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from physics.led_shape import led_shape

from lightdose.errors import Place, SetupError, SpectrumError
from lightdose.files.library import read_emitter, reference_tables
from lightdose.model.fixture import Channel, CosineLobe, DimmingCurve, Flux
from lightdose.model.spectrum import GRID_EDGES_NM, GRID_NM, LedPeak, SpectralDistribution, SpectrumMix
from lightdose.physics.emission import channel_emission, photon_distribution, weigh, weighting_matrix
from lightdose.physics.photons import (
    band_integral,
    cells_in_band,
    joules_per_photon,
    photons_on_nodes,
    resample_to_cells,
)

PLACE = Place("panel.toml", 7, 1)
SPECTRA = st.builds(LedPeak, st.floats(350, 750), st.floats(5, 80))


def channel(spectrum, flux) -> Channel:
    """A channel with a flux, all else by default."""
    return Channel("blue", spectrum, CosineLobe(90), DimmingCurve.linear(), flux, place=PLACE)


def photons_in(power_spectrum: SpectralDistribution, low_nm: float, high_nm: float) -> float:
    return band_integral(power_spectrum.wavelength_nm, photons_on_nodes(power_spectrum), low_nm, high_nm)


def gaussian(peak_nm: float, fwhm_nm: float) -> SpectralDistribution:
    """Spectral power as a plain Gaussian at 0.1 nm."""
    nodes = np.linspace(250, 850, 6001)
    power = np.exp(-4 * np.log(2) * ((nodes - peak_nm) / fwhm_nm) ** 2)
    return SpectralDistribution("gaussian", nodes, power, "power")


@pytest.mark.published
def test_ohno_shape_has_its_width_and_area():
    """FWHM = 0.921823 D and area = 1.119262 D."""
    # Source: Ohno 2005, Opt. Eng. 44:111302; closed forms of (g + 2 g^5)/3.
    width_nm = 20.0
    fwhm_nm = 0.921823 * width_nm
    edges = np.array([450 - fwhm_nm / 2, 450, 450 + fwhm_nm / 2])
    np.testing.assert_allclose(led_shape(edges, 450, fwhm_nm), [0.5, 1, 0.5], atol=1e-6)
    fine = np.linspace(300, 600, 30_001)
    area = led_shape(fine, 450, fwhm_nm).sum() * 0.01
    assert area == pytest.approx(1.119262 * width_nm, rel=1e-6)


@pytest.mark.published
def test_ohno_shape_equals_colour_science():
    """The same model elsewhere; its 'half spectral width' is D, not the FWHM."""
    # Source: colour-science, sd_single_led_Ohno2005.
    import colour

    width_nm = 18 / 0.921823
    theirs = colour.sd_single_led(660, colour.SpectralShape(380, 780, 1), half_spectral_width=width_nm)
    np.testing.assert_allclose(led_shape(theirs.wavelengths, 660, 18), theirs.values, atol=1e-12)


@pytest.mark.published
@pytest.mark.parametrize(
    ("peak_nm", "band", "whole", "share"),
    [(405, (400, 700), (300, 800), 0.729006), (495, (400, 500), (400, 700), 0.716214)],
)
def test_gaussian_led_at_a_band_edge_splits_by_the_error_function(peak_nm, band, whole, share):
    """A violet LED loses a quarter of its photons to PPFD; a cyan one spreads over two bands."""
    # Source: closed form (error function) of a Gaussian of power, FWHM 20 nm, counted in photons.
    spectrum = gaussian(peak_nm, 20)
    assert photons_in(spectrum, *band) / photons_in(spectrum, *whole) == pytest.approx(share, abs=5e-4)
    cells = photon_distribution(spectrum)
    assert cells @ cells_in_band(*band) / (cells @ cells_in_band(*whole)) == pytest.approx(share, abs=5e-4)


@pytest.mark.identity
@given(SPECTRA)
def test_led_cells_are_the_integral_of_the_shape(led):
    """The closed form per cell equals fine numerical integration of wavelength times shape."""
    fine = np.linspace(300, 800, 100_001)
    dense = resample_to_cells(fine, fine * led_shape(fine, led.peak_nm, led.fwhm_nm))
    np.testing.assert_allclose(photon_distribution(led), dense / dense.sum(), atol=1e-7)


@pytest.mark.identity
@given(SPECTRA)
def test_distribution_sums_to_one(led):
    """Shares of photons, none below zero."""
    cells = photon_distribution(led)
    assert cells.shape == GRID_NM.shape
    assert cells.min() >= 0
    assert cells.sum() == pytest.approx(1, rel=1e-12)


@pytest.mark.identity
def test_library_entry_equals_its_peak_and_width():
    """`{ library = "blue-450" }` and `{ peak_nm = 450, fwhm_nm = 20 }` are the same light."""
    by_name = photon_distribution(read_emitter("blue-450"))
    by_width = photon_distribution(LedPeak(450, 20))
    np.testing.assert_allclose(by_name, by_width, atol=1e-4)
    weights = weighting_matrix(reference_tables())
    np.testing.assert_allclose(weigh(by_name, weights), weigh(by_width, weights), rtol=2e-3, atol=1e-6)


@pytest.mark.identity
def test_fixture_table_keeps_the_photons_of_each_band():
    """A measured 1 nm table meets the grid without losing a photon from any band."""
    nodes = np.arange(380.3, 780.3, 1.7)
    rng = np.random.default_rng(3)
    spectrum = SpectralDistribution("s", nodes, rng.uniform(0, 1, nodes.size), "power")
    cells = photon_distribution(spectrum)
    whole = photons_in(spectrum, 300, 800)
    for low, high in ((400, 500), (500, 600), (600, 700), (700, 800), (315, 400)):
        assert cells @ cells_in_band(low, high) == pytest.approx(
            photons_in(spectrum, low, high) / whole, rel=1e-9
        )


@pytest.mark.identity
def test_mix_adds_photon_shares_whatever_their_sum():
    """Shares 7 and 3 are 0.7 and 0.3 of all photons; the order of parts does not matter."""
    blue, white = LedPeak(450, 20), read_emitter("white-led-b3")
    mix = photon_distribution(SpectrumMix(((blue, 7.0), (white, 3.0))))
    expected = 0.7 * photon_distribution(blue) + 0.3 * photon_distribution(white)
    np.testing.assert_allclose(mix, expected, rtol=1e-12)
    swapped = photon_distribution(SpectrumMix(((white, 0.3), (blue, 0.7))))
    np.testing.assert_allclose(swapped, mix, rtol=1e-12)


@pytest.mark.identity
@pytest.mark.parametrize("scale", [1e-6, 1.0, 1e6])
def test_distribution_ignores_the_unit_of_a_relative_table(scale):
    """Relative values may have any scale."""
    base = read_emitter("white-led-b3")
    scaled = SpectralDistribution("s", base.wavelength_nm, base.values * scale, "power")
    np.testing.assert_allclose(photon_distribution(scaled), photon_distribution(base), rtol=1e-12)


@pytest.mark.identity
@given(SPECTRA, st.floats(0.1, 1000))
def test_flux_round_trips_through_every_way_to_state_it(led, photons_umol_s):
    """State the photons, read off watts, lumens and PPF, state those: the same emission."""
    tables = reference_tables()
    emission = channel_emission(channel(led, Flux("photon_flux_umol_s", photons_umol_s)), tables)
    assert emission.sum() == pytest.approx(photons_umol_s, rel=1e-12)
    weights = weighting_matrix(tables, ("ppfd", "lux"))
    ppf_umol_s, lumens = weigh(emission, weights)
    watts = float(emission @ joules_per_photon(GRID_NM))
    stated = [Flux("radiant_flux_w", watts), Flux("electrical_w", watts / 0.4, 0.4)]
    if ppf_umol_s > 1e-3 * photons_umol_s:
        stated.append(Flux("ppf_umol_s", float(ppf_umol_s)))
    if lumens > 1e-3 * photons_umol_s:
        stated.append(Flux("luminous_flux_lm", float(lumens)))
    for flux in stated:
        np.testing.assert_allclose(channel_emission(channel(led, flux), tables), emission, rtol=1e-9)


@pytest.mark.identity
def test_emission_is_linear_in_flux():
    """Twice the watts, twice the photons in every cell."""
    tables = reference_tables()
    one, two = (
        channel_emission(channel(LedPeak(450, 20), Flux("radiant_flux_w", w)), tables) for w in (1.0, 2.0)
    )
    np.testing.assert_allclose(two, 2 * one, rtol=1e-14)


@pytest.mark.published
def test_one_watt_of_450_nm_is_3_76_umol():
    """A narrow 450 nm channel of 1 W emits the photons of the Planck relation."""
    # Source: SI Brochure 9th ed.; the width of 2 nm shifts the mean by 1e-6.
    tables = reference_tables()
    emission = channel_emission(channel(LedPeak(450, 2), Flux("radiant_flux_w", 1.0)), tables)
    assert emission.sum() == pytest.approx(3.761706, rel=1e-4)


@pytest.mark.pinned
def test_channel_without_flux_says_what_to_give():
    """The message names every way to state a flux, the typical way out, and the place."""
    with pytest.raises(SetupError) as caught:
        channel_emission(channel(LedPeak(450, 20), None), reference_tables())
    (problem,) = caught.value.problems
    assert problem.place == PLACE
    assert "channel 'blue' says nothing about how much light it gives" in problem.found
    for key in ("photon_flux_umol_s", "ppf_umol_s", "radiant_flux_w", "luminous_flux_lm", "electrical_w"):
        assert key in problem.allowed
    assert 'radiant_efficiency = "typical"' in problem.cure
    assert "calibrate" in problem.cure


@pytest.mark.pinned
def test_lumens_of_ultraviolet_are_refused_with_a_way_out():
    """A UV channel stated by what it does not have would get any photon flux."""
    with pytest.raises(SetupError) as caught:
        channel_emission(channel(LedPeak(340, 8), Flux("ppf_umol_s", 5.0)), reference_tables())
    (problem,) = caught.value.problems
    assert "ppf_umol_s" in problem.found
    assert problem.place == PLACE
    assert "radiant_flux_w" in problem.cure


@pytest.mark.pinned
def test_too_coarse_table_is_refused_at_the_channel():
    """A dose has bands and lux: a 10 nm table of a narrow LED would falsify both."""
    nodes = np.arange(380.0, 781.0, 10)
    coarse = SpectralDistribution("my.csv", nodes, led_shape(nodes, 450, 20), "power")
    with pytest.raises(SpectrumError) as caught:
        channel_emission(channel(coarse, Flux("ppf_umol_s", 5.0)), reference_tables())
    (problem,) = caught.value.problems
    assert problem.place == PLACE
    assert "steps of 10 nm are too coarse for the narrow peak at 450 nm" in problem.found
    assert "peak_nm" in problem.cure


@pytest.mark.pinned
def test_spectrum_outside_the_grid_is_refused():
    """Infrared alone emits nothing here."""
    infrared = SpectralDistribution("ir", np.array([850.0, 940, 1000]), np.ones(3), "power")
    with pytest.raises(SpectrumError, match="no light between 300 and 800 nm"):
        photon_distribution(infrared)
    assert GRID_EDGES_NM[-1] == 800
