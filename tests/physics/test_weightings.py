"""Weightings on the grid, and what they say about light."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import SpectrumError
from lightdose.files.library import read_emitter, reference_tables
from lightdose.model.results import USABLE_KEYS
from lightdose.model.spectrum import GRID_NM, LedPeak, SpectrumMix
from lightdose.physics.emission import (
    DOSE_WEIGHTINGS,
    TEN_NM_WEIGHTINGS,
    photon_distribution,
    weigh,
    weighting_matrix,
)
from lightdose.quantities import BANDS

ALL = weighting_matrix(reference_tables())
CELLS = st.integers(0, 10**6).map(lambda seed: np.random.default_rng(seed).gamma(0.3, 10.0, 500))


def of(cells, key):
    """One weighting of cells."""
    return weigh(cells, ALL)[..., ALL.keys.index(key)]


@pytest.mark.identity
def test_dose_weightings_are_the_interface():
    """The keys that light fields carry, in their order."""
    assert ALL.keys == DOSE_WEIGHTINGS
    assert DOSE_WEIGHTINGS == (
        "ppfd", "photons", "uv_a", "blue", "green", "red", "far_red", "below_390", "lux",
        "usable_mean", "usable_favia_action", "usable_acropora_action",
        "usable_dinoflagellate_low_light_action", "usable_dinoflagellate_high_light_action",
        "usable_symbiodinium_absorption", "usable_chlorophyll_default", "usable_symbiodinium_blue_grown",
        "usable_symbiodinium_red_grown", "usable_symbiodinium_green_grown",
    )  # fmt: skip
    assert ALL.matrix.shape == (len(DOSE_WEIGHTINGS), 500)


@pytest.mark.identity
@given(CELLS)
def test_bands_add_to_ppfd(cells):
    """Blue, green and red are PPFD; with the rest of the grid they are all photons."""
    parts = sum(of(cells, key) for key in ("blue", "green", "red"))
    assert parts == pytest.approx(of(cells, "ppfd"), rel=1e-12, abs=1e-9)
    below_315 = cells[GRID_NM < 315].sum()
    whole = parts + of(cells, "uv_a") + of(cells, "far_red") + below_315
    assert whole == pytest.approx(of(cells, "photons"), rel=1e-12, abs=1e-9)


@pytest.mark.identity
@given(CELLS, CELLS)
def test_weightings_add_over_lights(one, other):
    """Two lights together are the sum of both in every quantity."""
    np.testing.assert_allclose(
        weigh(one + other, ALL), weigh(one, ALL) + weigh(other, ALL), rtol=1e-9, atol=1e-9
    )


@pytest.mark.identity
@given(CELLS)
def test_usable_light_lies_between_nothing_and_ppfd(cells):
    """Usable light counts photons of 400-700 nm, each at most once."""
    for name in USABLE_KEYS:
        usable = of(cells, name)
        assert 0 <= usable <= of(cells, "ppfd") * (1 + 1e-12)


@pytest.mark.identity
def test_many_spectra_are_one_matrix_product():
    """(n, 500) cells give (n, n_weighting), row by row the same."""
    cells = np.random.default_rng(5).uniform(0, 1, (7, 500))
    together = weigh(cells, ALL)
    assert together.shape == (7, len(DOSE_WEIGHTINGS))
    np.testing.assert_allclose(together, [weigh(row, ALL) for row in cells], rtol=1e-12)


@pytest.mark.identity
def test_band_rows_are_their_edges():
    """Each cell between the edges counts fully, no other counts."""
    for band in BANDS:
        row = ALL.matrix[ALL.keys.index(band.key)]
        assert row.sum() == band.high_nm - band.low_nm
        assert set(np.flatnonzero(row)) == set(range(int(band.low_nm) - 300, int(band.high_nm) - 300))
    assert ALL.matrix[ALL.keys.index("below_390")].sum() == 90


@pytest.mark.published
@pytest.mark.parametrize(("wavelength_nm", "lux", "tolerance"), [(555, 147.2165, 2e-4), (450, 6.8995, 1e-3)])
def test_lux_of_one_wavelength_on_the_grid(wavelength_nm, lux, tolerance):
    """The grid's lux is the definition's; averaging V over the two cells beside costs 1e-3 or less."""
    # Source: CIE 018:2019: Km 683.002 lm/W, V(555) = 1, V(450) = 0.038.
    cells = np.zeros(500)
    cells[wavelength_nm - 301 : wavelength_nm - 299] = 0.5
    assert of(cells, "lux") == pytest.approx(lux, rel=tolerance)


@pytest.mark.published
def test_sunlight_lux_factor_shows_a_third_of_a_blue_reef_mix():
    """A lux meter with the factor for sun returns about 35 % of the true PPFD of blue reef light."""
    # Source: factor 54 lx per umol m-2 s-1 for sun and sky, Thimijan & Heins 1983, HortScience 18:818 (second
    # hand). The mix is invented, by photons: common practice, no published source.
    mix = SpectrumMix(
        (
            (LedPeak(420, 15), 0.15),
            (LedPeak(450, 20), 0.40),
            (LedPeak(470, 24), 0.25),
            (LedPeak(495, 28), 0.10),
            (read_emitter("white-led-b5"), 0.10),
        )
    )
    cells = photon_distribution(mix)
    assert of(cells, "lux") / 54 / of(cells, "ppfd") == pytest.approx(0.35, abs=0.03)


@pytest.mark.pinned
def test_unknown_weighting_names_the_known_ones():
    """A slip in a key is mended from the message."""
    with pytest.raises(SpectrumError, match=r"no weighting 'usable_z9'; known: ppfd, photons, .*usable_mean"):
        weighting_matrix(reference_tables(), ("ppfd", "usable_z9"))


@pytest.mark.identity
def test_ten_nm_weightings_part_the_whole_grid() -> None:
    """Photons of all 10 nm bands are all photons; those from 400 to 700 are the PPFD."""
    bands = weighting_matrix(reference_tables(), TEN_NM_WEIGHTINGS).matrix
    whole = weighting_matrix(reference_tables(), ("photons", "ppfd")).matrix
    assert bands.sum(axis=0) == pytest.approx(whole[0])
    assert bands[10:40].sum(axis=0) == pytest.approx(whole[1])
