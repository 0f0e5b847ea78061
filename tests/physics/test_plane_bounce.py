"""Light off floor and solids over a plane, read off between nodes, beside what is traced at each point."""

from __future__ import annotations

import numpy as np
import pytest
from physics.test_solid_light import LEDGE, TANK, field_of

from lightdose.model.places import AXES, Plane, PlaneKind
from lightdose.model.solids import Solid
from lightdose.physics.plane_bounce import plane_bounce
from lightdose.physics.slices import in_water, sample_points, slice_cells

STACK = (LEDGE, Solid("tower", "cylinder", 0.4, 0.2, 0.25, (0.1, 0.1, 0.3)))


def plane_of(kind: PlaneKind, at_m: float, cell_m: float = 0.017) -> tuple[np.ndarray, np.ndarray]:
    """Centres of the cells of a plane, and which of them lie in water."""
    points = sample_points(slice_cells(TANK, Plane(kind, at_m), cell_m), 1)
    return points, in_water(STACK, points)


@pytest.mark.identity
@pytest.mark.parametrize(("kind", "at_m"), [("depth", 0.26), ("from_front", 0.24), ("from_left", 0.41)])
def test_light_between_nodes_is_as_good_as_that_which_is_traced(
    kind: PlaneKind, at_m: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Both against many lines from each place: at 95 of 100 places no further off, and 0.3 % at most."""
    points, water = plane_of(kind, at_m)
    some = points[water]

    def light(lines: int, *, read_off: bool) -> np.ndarray:
        monkeypatch.setattr("lightdose.physics.bounce.lines_for", lambda _: lines)
        ready = field_of(*STACK)
        bounce = plane_bounce(ready, points, AXES[kind][:2], water) if read_off else None
        return ready.at(some, off_surfaces=bounce.at(some) if bounce else None)[:, 0, 0]

    true = light(1500, read_off=False)
    off = [np.abs(light(128, read_off=way) - true) / true.max() for way in (False, True)]
    traced, read_off = np.quantile(off, 0.95, axis=1)
    assert 0 < read_off <= min(1.05 * traced, 0.003)
    assert np.max(off[1]) <= 0.007


@pytest.mark.identity
def test_point_with_rock_between_its_nodes_is_traced_itself() -> None:
    """Points about the tower; all others are read off."""
    ready = field_of(*STACK)
    points, water = plane_of("depth", 0.26)
    bounce = plane_bounce(ready, points, (0, 1), water)
    assert bounce is not None
    same = (bounce.at(points[water]) == ready.off_surfaces(points[water])).all(axis=1)
    away = np.hypot(*(points[water][:, :2] - (0.4, 0.2)).T)
    assert np.all(same[away < 0.053])
    assert not np.any(same[(away > 0.12) & (np.abs(points[water][:, 0] - 0.3) < 0.25)])


@pytest.mark.identity
def test_stick_thinner_than_the_pitch_is_seen() -> None:
    """It holds no node, but a point between four of them: all other points there are traced."""
    stick = Solid("stick", "cylinder", 0.3, 0.225, 0.25, (0.012, 0.012, 0.3))
    ready = field_of(stick)
    points = sample_points(slice_cells(TANK, Plane("depth", 0.26), 0.01), 1)
    water = in_water((stick,), points)
    assert 0 < np.count_nonzero(~water) < 5
    bounce = plane_bounce(ready, points, (0, 1), water)
    assert bounce is not None
    assert np.count_nonzero(~bounce.clear[:-1, :-1]) in (1, 2, 4)
    near = points[water & (np.hypot(points[:, 0] - 0.3, points[:, 1] - 0.225) < 0.015)]
    np.testing.assert_array_equal(bounce.at(near), ready.off_surfaces(near))


@pytest.mark.identity
def test_plane_of_one_row_has_its_nodes_in_a_row() -> None:
    """Light along a line beside a lamp that gives some 5."""
    ready = field_of(*STACK)
    line = np.column_stack((np.linspace(0.02, 0.3, 9), np.full(9, 0.42), np.full(9, 0.1)))
    bounce = plane_bounce(ready, line, (0, 1), np.ones(len(line), bool))
    assert bounce is not None
    assert bounce.at(line) == pytest.approx(ready.off_surfaces(line), abs=0.005)


@pytest.mark.identity
@pytest.mark.parametrize("count", [1, 9])
def test_points_further_apart_than_nodes_are_traced_themselves(count: int) -> None:
    """A lattice would have more nodes than there are points: hundreds to one in a pond with a coarse map."""
    points = np.column_stack((np.linspace(0.02, 0.58, count), np.full(count, 0.42), np.full(count, 0.1)))
    assert plane_bounce(field_of(*STACK), points, (0, 1), np.ones(count, bool)) is None


@pytest.mark.identity
def test_tank_without_solids_needs_no_nodes() -> None:
    """There the floor's light is found quickly anyway."""
    assert plane_bounce(field_of(), np.zeros((1, 3)), (0, 1), np.ones(1, bool)) is None
