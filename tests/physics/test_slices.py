"""Cells of slices and the light on them."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.model.light import LIGHT_PARTS, DayCurve
from lightdose.model.places import Plane, SliceCells
from lightdose.model.setup import Tank
from lightdose.physics.slices import by_source, day_weights, map_slice, sample_points, slice_cells

TANK = Tank(0.75, 0.45, 0.40)
# Two channels: the first at half output for 8 h, the second at full output for 2 h of them.
CURVE = DayCurve(
    np.array([0.0, 8.0, 14.0, 16.0, 24.0]),
    np.array([[0, 0], [0.5, 0], [0.5, 1], [0, 0]]),
    np.array([[0, 0], [0.5, 0], [0.5, 1], [0, 0]]),
)
DARK = DayCurve(np.array([0.0, 24.0]), np.zeros((1, 2)), np.zeros((1, 2)))


@pytest.mark.identity
@pytest.mark.parametrize(
    ("plane", "shape", "first", "last"),
    [
        (Plane("depth", 0.2), (45, 75), (0.005, 0.005, 0.2), (0.745, 0.445, 0.2)),
        (Plane("from_front", 0.1), (40, 75), (0.005, 0.1, 0.005), (0.745, 0.1, 0.395)),
        (Plane("from_left", 0.3), (40, 45), (0.3, 0.005, 0.005), (0.3, 0.445, 0.395)),
    ],
)
def test_cells_cover_the_plane_from_wall_to_wall(plane, shape, first, last):
    """Rows and columns run along the plane's own axes, and centres lie in it."""
    cells = slice_cells(TANK, plane, 0.01)
    assert cells.shape == shape
    np.testing.assert_allclose(cells.centres_m[0, 0], first, atol=1e-12)
    np.testing.assert_allclose(cells.centres_m[-1, -1], last, atol=1e-12)
    np.testing.assert_array_equal(sample_points(cells, 1), cells.centres_m.reshape(-1, 3))


@pytest.mark.identity
def test_cells_that_do_not_fit_are_a_little_smaller():
    """Equal cells, none larger than asked for; a cell larger than the tank is the tank."""
    cells = slice_cells(TANK, Plane("depth", 0.1), 0.04)
    assert cells.shape == (12, 19)
    np.testing.assert_allclose(np.diff(cells.column_edges_m), 0.75 / 19)
    assert slice_cells(TANK, Plane("depth", 0.1), 5.0).shape == (1, 1)


@pytest.mark.identity
def test_samples_average_to_the_centre_and_stay_inside():
    """The points of a cell are spread evenly about its centre, cell after cell."""
    cells = slice_cells(TANK, Plane("from_left", 0.3), 0.1)
    points = sample_points(cells, 3).reshape(-1, 9, 3)
    np.testing.assert_allclose(points.mean(axis=1), cells.centres_m.reshape(-1, 3), atol=1e-12)
    for axis, step in ((1, 0.45 / 5), (2, 0.1)):
        np.testing.assert_allclose(np.ptp(points[:, :, axis], axis=1), step * 2 / 3, atol=1e-12)


@pytest.mark.identity
def test_slice_is_the_mean_over_samples_and_the_exact_day():
    """Full output, peak and DLI of each cell come from the mean response and the piecewise-linear day."""
    cells = SliceCells(Plane("depth", 0.1), np.array([0.0, 0.1, 0.2]), np.array([0.0, 0.1]))
    ppfd = np.array([[100.0, 10.0], [300.0, 30.0], [50.0, 400.0], [50.0, 400.0]])
    part = map_slice(cells, ppfd, np.array([0.0, 0.0, 1.0, 1.0]), np.zeros(4), CURVE)
    np.testing.assert_allclose(part.full_output, [[220.0, 450.0]])
    np.testing.assert_allclose(part.peak, [[0.5 * 200 + 20, 0.5 * 50 + 400]])
    np.testing.assert_allclose(part.dli, [[0.0036 * (200 * 4 + 20 * 2), 0.0036 * (50 * 4 + 400 * 2)]])
    assert part.wall_fraction[0, 0] == 0


@pytest.mark.identity
def test_shares_count_each_channel_by_its_day():
    """Walls are the four panes and the rim; a channel that is off counts for nothing."""
    parts = np.zeros((1, len(LIGHT_PARTS), 2))
    parts[0, :, 0] = np.arange(1.0, 8.0)  # direct 1, front 2, back 3, left 4, right 5, rim 6, floor 7
    ppfd, wall, floor = by_source(parts, np.array([4.0, 0.0]))
    np.testing.assert_allclose(ppfd, [[28.0, 0.0]])
    np.testing.assert_allclose(wall, [4 * 20])
    np.testing.assert_allclose(floor, [4 * 7])
    np.testing.assert_allclose(day_weights(CURVE), [4.0, 2.0])
    np.testing.assert_array_equal(day_weights(DARK), [1.0, 1.0])


@pytest.mark.identity
def test_cell_without_light_has_no_shares():
    """A share of nothing is NaN in the record, and nothing divides by zero."""
    cells = slice_cells(TANK, Plane("depth", 0.1), 5.0)
    part = map_slice(cells, np.zeros((1, 2)), np.zeros(1), np.zeros(1), CURVE)
    assert np.isnan(part.wall_fraction).all()
    assert np.isnan(part.floor_fraction).all()
    assert part.dli[0, 0] == 0
