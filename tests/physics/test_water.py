"""Absorption of the water."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.model.setup import Water
from lightdose.model.spectrum import GRID_NM, ReferenceTables, SpectralTable
from lightdose.physics.water import absorption_per_m, share_left

# Nodes of pure water, [nm] and [m-1]. Source: Pope & Fry 1997, Appl. Opt. 36:8710.
POPE_FRY_1997 = SpectralTable(
    "Pope & Fry 1997",
    np.array([420.0, 450.0, 500.0, 550.0, 600.0, 650.0, 700.0]),
    np.array([0.00454, 0.00922, 0.0204, 0.0565, 0.2224, 0.340, 0.624]),
)
CLEAR = ReferenceTables(np.ones(500), np.ones((3, 500)), np.zeros(500), {})


def at(nm: float, values: np.ndarray) -> float:
    return float(np.interp(nm, GRID_NM, values))


@pytest.mark.published
def test_half_a_metre_of_pure_water_at_650_nm():
    """exp(-a z) with a(650) = 0.340 per m leaves 0.84366."""
    # Source: Pope & Fry 1997, Appl. Opt. 36:8710, a(650); closed form.
    absorption = absorption_per_m(Water(absorption=POPE_FRY_1997), CLEAR)
    assert np.exp(-0.5 * at(650, absorption)) == pytest.approx(0.84366, rel=2e-3)
    nearby = POPE_FRY_1997.values[POPE_FRY_1997.wavelength_nm == 650]
    assert np.exp(-0.5 * nearby[0]) == pytest.approx(0.84366, abs=1e-5)


@pytest.mark.published
@pytest.mark.parametrize(("nm", "left"), [(405, 0.4103), (450, 0.6545)])
def test_yellowing_takes_violet_before_blue(nm, left):
    """a(440) = 1 per m with slope 0.0165 over half a metre."""
    # Source: exponential form and slope, Schwarz et al. 2002, Oceanologia 44:209; closed form.
    absorption = absorption_per_m(Water(yellowing_440_per_m=1.0, yellowing_slope_per_nm=0.0165), CLEAR)
    assert np.exp(-0.5 * at(nm, absorption)) == pytest.approx(left, abs=1e-4)


@pytest.mark.identity
def test_own_table_replaces_pure_water_and_yellowing_adds():
    """The user's table stands in for pure water; yellowing is added to either."""
    own = SpectralTable("own", np.array([380.0, 750.0]), np.array([0.2, 0.4]))
    clean = absorption_per_m(Water(absorption=own), CLEAR)
    assert clean[0] == 0.2
    assert clean[-1] == 0.4
    yellow = absorption_per_m(Water(absorption=own, yellowing_440_per_m=0.5), CLEAR)
    only = absorption_per_m(Water(yellowing_440_per_m=0.5), CLEAR)
    assert yellow - clean == pytest.approx(only, rel=1e-12)


@pytest.mark.identity
def test_what_water_leaves_is_never_a_number_that_takes_long() -> None:
    """Beer-Lambert to the last bit down to exp(-600), which is far below any light; no tinier numbers."""
    paths = np.linspace(0, 60, 601)
    left = share_left(50.0, paths)
    shallow = 50.0 * paths <= 600
    np.testing.assert_array_equal(left[shallow], np.exp(-50.0 * paths[shallow]))
    assert np.all(left > 1e10 * np.finfo(np.float64).tiny)
    assert np.all(left[~shallow] < 1e-250)
