"""Light at every wavelength from light at a few absorptions."""

from __future__ import annotations

import numpy as np
import pytest
from physics.reference_scenes import lamp

from lightdose.model.fixture import CosineLobe
from lightdose.model.setup import Tank
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.light_field import LONGEST_PATH_DEPTHS
from lightdose.physics.lit_tank import light_under_water, lit_tank
from lightdose.physics.water import absorption_nodes

# Shapes like clear and yellowed water, up to 11 per m. [m-1]
CLEAR = np.interp(
    GRID_NM, [300, 420, 500, 600, 650, 700, 750, 800], [0.02, 0.0045, 0.02, 0.22, 0.34, 0.62, 2.85, 2.25]
)
YELLOW = CLEAR + np.exp(-0.0165 * (GRID_NM - 440))
MURKY = CLEAR + 0.82 * YELLOW


@pytest.mark.identity
@pytest.mark.parametrize("absorption", [CLEAR, YELLOW, MURKY], ids=["clear", "yellow", "murky"])
def test_few_nodes_equal_the_sum_over_all_cells(absorption):
    """60 cm deep: every narrow spectrum is within 2e-4 (and far better) of the cell-by-cell sum."""
    tank = Tank(0.6, 0.4, 0.6, floor_reflectance=0.0)
    points = np.random.default_rng(4).random((30, 3)) * [0.6, 0.4, 0.6]
    spectra = np.array([np.exp(-(((GRID_NM - nm) / 10) ** 2)) for nm in (320, 405, 450, 525, 660, 730)])
    nodes = absorption_nodes(absorption, spectra, LONGEST_PATH_DEPTHS * 0.6)
    fixtures = [lamp("a", CosineLobe(120), 0.2, 0.15, 0.2)]
    lit = lit_tank(fixtures, tank, 1.34, nodes.per_m, for_points=30)
    few, all_cells = (
        light_under_water(lit.lamps[0], lit.lamps[0].routes, points, a)[0, 0]
        for a in (nodes.per_m, absorption)
    )
    want = spectra @ all_cells
    assert spectra @ nodes.to_grid @ few == pytest.approx(want, rel=1e-7)
    assert nodes.per_m.size < 40


@pytest.mark.identity
def test_ppfd_in_clear_water_needs_few_nodes():
    """400-700 nm in clear water: fewer than the 12 nodes of a fixed rule."""
    band = ((GRID_NM > 400) & (GRID_NM < 700)).astype(float)[None]
    assert absorption_nodes(CLEAR, band, 1.6).per_m.size < 12


@pytest.mark.identity
def test_one_absorption_for_all_and_no_light_at_all():
    """Degenerate cases: grey water, and channels that emit nothing."""
    grey = absorption_nodes(np.full(500, 0.3), np.eye(500), 2.0)
    assert grey.to_grid.sum(axis=1) == pytest.approx(np.ones(500), rel=1e-9)
    assert grey.per_m == pytest.approx(np.full(grey.per_m.size, 0.3), abs=1e-8)
    dark = absorption_nodes(CLEAR, np.zeros((2, 500)), 2.0)
    assert dark.to_grid.shape == (500, dark.per_m.size)
