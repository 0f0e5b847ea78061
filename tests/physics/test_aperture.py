"""Apertures as cells."""

from __future__ import annotations

import numpy as np
import pytest
from physics.reference_scenes import irradiance, lamp, water_of

import lightdose.physics.emission as aperture_module
from lightdose.errors import SetupError
from lightdose.model.fixture import CosineLobe
from lightdose.model.setup import Tank
from lightdose.physics.emission import CELLS_AT_MOST, bounded_source_cells, source_cells


@pytest.mark.identity
def test_cells_have_the_place_and_spread_of_the_rectangle():
    """Their mean is its centre, their second moment that of an even rectangle, also when turned."""
    cells = source_cells(lamp("a", CosineLobe(90), 0.3, 0.2, 0.25, (0.4, 0.06), 90.0))
    assert cells.x_m.mean() == pytest.approx(0.3)
    assert cells.y_m.mean() == pytest.approx(0.2)
    assert cells.x_m.var() == pytest.approx(0.06**2 / 12)
    assert cells.y_m.var() == pytest.approx(0.4**2 / 12)
    assert np.ptp(cells.y_m + cells.inset_y_m) == pytest.approx(0.4 - cells.spread_y_m)
    assert max(cells.spread_x_m, cells.spread_y_m) <= 0.06 + 1e-12


@pytest.mark.identity
@pytest.mark.parametrize("size", [(0.4, 0.06), (0.1, 0.1), (0.06, 0.4), (0.3, 0.3)])
def test_places_asked_for_shadows_share_no_level_and_reach_the_outline(size: tuple[float, float]) -> None:
    """Inner places: all levels of either side, evenly spaced, once each; the first: corners of the panel."""
    cells = source_cells(lamp("a", CosineLobe(90), 0.3, 0.2, 0.25, size))
    for start, asked, middle, side in (
        (cells.x_m, cells.asked_x_m, 0.3, size[0]),
        (cells.y_m, cells.asked_y_m, 0.2, size[1]),
    ):
        levels = np.sort((start + asked[1:]).ravel())
        even = middle + side * ((np.arange(levels.size) + 0.5) / levels.size - 0.5)
        assert levels.size >= 48
        assert levels == pytest.approx(even)
        assert np.ptp(start + asked[0]) == pytest.approx(side)
    corners = np.abs(cells.x_m + cells.asked_x_m[0] - 0.3), np.abs(cells.y_m + cells.asked_y_m[0] - 0.2)
    assert np.sum(np.isclose(corners[0], size[0] / 2) & np.isclose(corners[1], size[1] / 2)) == 4


@pytest.mark.identity
def test_no_aperture_is_a_point():
    """One cell without width."""
    cells = source_cells(lamp("a", CosineLobe(90), 0.3, 0.2, 0.25))
    assert (cells.x_m.size, cells.spread_x_m, cells.spread_y_m) == (1, 0.0, 0.0)


@pytest.mark.identity
@pytest.mark.parametrize("height", [0.06, 0.2])
def test_finer_cells_change_little(height, monkeypatch):
    """Cells of a third of the size change square averages by less than 1 %."""
    tank = Tank(0.5, 0.4, 0.4, floor_reflectance=0.0)
    fixture = lamp("a", CosineLobe(90), 0.2, 0.2, height, (0.2, 0.12), 20.0)
    step = (np.arange(8) / 8 + 1 / 16) * 0.04
    corners = [(0.02, 0.02, 0.1), (0.2, 0.18, 0.05), (0.4, 0.3, 0.3), (0.44, 0.18, 0.38), (0.04, 0.2, 0.2)]
    points = np.concatenate(
        [np.stack(np.meshgrid(x + step, y + step, [z]), -1).reshape(-1, 3) for x, y, z in corners]
    )
    args = ([fixture], [1.0], tank, water_of(1.34, 0.1))
    coarse = irradiance(points, *args).reshape(5, -1).mean(axis=1)
    for name in ("LARGEST_CELL_M", "CELL_PER_HEIGHT"):
        monkeypatch.setattr(aperture_module, name, getattr(aperture_module, name) / 3)
    assert irradiance(points, *args).reshape(5, -1).mean(axis=1) == pytest.approx(coarse, rel=1e-2)


@pytest.mark.pinned
def test_aperture_of_too_many_cells_is_refused():
    """A pool-sized panel is named with its number of cells and what to do."""
    with pytest.raises(SetupError, match=r"fixture 'wall', 10 x 8 m, needs \d+ cells of 6 cm"):
        source_cells(lamp("wall", CosineLobe(90), 1, 1, 1, (10.0, 8.0)))


@pytest.mark.identity
def test_bounded_cells_are_the_same_where_few_and_coarser_where_many():
    """A low panel that would need too many cells gets coarser ones, about the same middle."""
    few = lamp("panel", CosineLobe(90), 1, 1, 0.1, (0.4, 0.1))
    for name in ("x_m", "y_m", "inset_x_m", "inset_y_m"):
        assert (
            getattr(bounded_source_cells(few, CELLS_AT_MOST), name) == getattr(source_cells(few), name)
        ).all()
    panel = lamp("panel", CosineLobe(90), 1, 1, 0.045, (2.4, 1.0))
    assert bounded_source_cells(panel, 300).x_m.size <= 300
    many = bounded_source_cells(panel, CELLS_AT_MOST)
    assert CELLS_AT_MOST / 2 < many.x_m.size <= CELLS_AT_MOST
    assert many.x_m.mean() == pytest.approx(1)
