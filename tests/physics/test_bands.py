"""Band integrals and the conservative way onto the grid."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import SpectrumError
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.photons import (
    band_integral,
    cells_in_band,
    cut_to_band,
    photons_per_joule,
    resample_to_cells,
    trapezoid,
)
from lightdose.quantities import BANDS


@st.composite
def spectra(draw):
    """Any increasing nodes between 250 and 900 nm with values that are not negative."""
    steps = draw(st.lists(st.floats(0.05, 30), min_size=3, max_size=120))
    nodes = draw(st.floats(250, 420)) + np.concatenate([[0.0], np.cumsum(steps)])
    values = draw(
        st.lists(st.one_of(st.just(0.0), st.floats(1e-3, 10)), min_size=len(nodes), max_size=len(nodes))
    )
    return nodes, np.array(values)


@pytest.fixture(scope="module")
def am15g() -> tuple[np.ndarray, np.ndarray]:
    """ASTM G173-03 global spectrum, W m-2 nm-1."""
    from pvlib.spectrum import get_reference_spectra

    table = get_reference_spectra(standard="ASTM G173-03")["global"]
    return table.index.to_numpy(dtype=float), table.to_numpy(dtype=float)


@pytest.mark.published
def test_sunlight_has_its_irradiance_and_ppfd(am15g):
    """429.831 W m-2 and 1977.87 umol m-2 s-1 in 400-700 nm; the plain sum would say 1983.48."""
    # Source: ASTM G173-03 through pvlib 0.16.1; trapezoid with half end nodes.
    nodes, irradiance = am15g
    assert band_integral(nodes, irradiance, 400, 700) == pytest.approx(429.831, rel=1e-5)
    photons = irradiance * photons_per_joule(nodes)
    assert band_integral(nodes, photons, 400, 700) == pytest.approx(1977.87, rel=1e-5)
    inside = (nodes >= 400) & (nodes <= 700)
    assert np.sum(photons[inside]) == pytest.approx(1983.48, rel=1e-5)  # its step is 1 nm here


@pytest.mark.published
def test_sunlight_agrees_with_the_horticultural_factor(am15g):
    """Sun and sky: 4.57 umol per joule of 400-700 nm."""
    # Source: Thimijan & Heins 1983, HortScience 18:818 (second hand); 5 % for sunlight only.
    nodes, irradiance = am15g
    photons = irradiance * photons_per_joule(nodes)
    ratio = band_integral(nodes, photons, 400, 700) / band_integral(nodes, irradiance, 400, 700)
    assert ratio == pytest.approx(4.57, rel=0.05)
    assert ratio == pytest.approx(4.60, abs=0.005)


@pytest.mark.identity
def test_flat_spectrum_in_a_band_is_its_width():
    """Half end nodes: a flat spectrum at 5 nm gives exactly 300, not 305."""
    nodes = np.arange(380.0, 781.0, 5.0)
    assert band_integral(nodes, np.ones_like(nodes), 400, 700) == pytest.approx(300, rel=1e-14)


@pytest.mark.identity
def test_band_edges_between_nodes_are_interpolated():
    """A ramp over 398-404 nm cut at 400 nm: the exact area of the trapezium."""
    nodes, values = np.array([398.0, 404.0]), np.array([0.0, 6.0])
    assert band_integral(nodes, values, 400, 700) == pytest.approx((2 + 6) / 2 * 4, rel=1e-14)
    cut_nodes, cut_values = cut_to_band(nodes, values, 400, 402)
    np.testing.assert_allclose(cut_nodes, [400, 402])
    np.testing.assert_allclose(cut_values, [2, 4])


@pytest.mark.identity
def test_band_beside_the_spectrum_is_empty():
    """No light where the table has no wavelengths; it is never held beyond its ends."""
    nodes = np.array([400.0, 500.0])
    assert band_integral(nodes, np.ones(2), 500, 600) == 0
    assert band_integral(nodes, np.ones(2), 300, 400) == 0
    assert band_integral(nodes, np.ones(2), 350, 450) == pytest.approx(50)


@pytest.mark.identity
@given(spectra())
def test_bands_add_up_to_the_whole(spectrum):
    """Parts that share an edge add to the integral over both."""
    nodes, values = spectrum
    parts = sum(band_integral(nodes, values, b.low_nm, b.high_nm) for b in BANDS)
    assert parts == pytest.approx(band_integral(nodes, values, 315, 800), rel=1e-12, abs=1e-12)


@pytest.mark.identity
@given(spectra())
def test_resampling_keeps_the_photons_of_every_band(spectrum):
    """Cells summed over a band equal the native trapezoid to 1e-9, whatever the nodes."""
    nodes, values = spectrum
    cells = resample_to_cells(nodes, values)
    assert cells.shape == GRID_NM.shape
    assert np.all(cells >= 0)
    for low, high in [(b.low_nm, b.high_nm) for b in BANDS] + [(300, 800), (400, 700), (451, 452)]:
        expected = band_integral(nodes, values, low, high)
        assert cells @ cells_in_band(low, high) == pytest.approx(expected, rel=1e-9, abs=1e-12)


@pytest.mark.identity
def test_resampling_cuts_what_lies_beyond_the_grid():
    """Light below 300 and above 800 nm is left out, not folded in."""
    nodes = np.array([200.0, 299.0, 301.0, 799.0, 801.0, 900.0])
    cells = resample_to_cells(nodes, np.ones(6))
    assert cells.sum() == pytest.approx(500, rel=1e-12)
    assert resample_to_cells(np.array([200.0, 250.0]), np.ones(2)).sum() == 0


@pytest.mark.identity
def test_resampling_refuses_wavelengths_that_do_not_rise():
    """A wrong order is refused instead of integrated with a sign."""
    with pytest.raises(SpectrumError, match="do not increase"):
        resample_to_cells(np.array([400.0, 400.0, 410.0]), np.ones(3))


@pytest.mark.identity
def test_trapezoid_is_exact_for_straight_lines():
    """A triangle of base 10 and height 4."""
    assert trapezoid(np.array([0.0, 3.0, 10.0]), np.array([0.0, 4.0, 0.0])) == 20
