"""Edges of the panes in the floor's light."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lightdose.model.setup import WALL_NAMES, Tank, Wall
from lightdose.physics.floor import floor_light_kept

PLACES = (np.array([0.0, 0.012, 0.05, 0.3]), np.array([0.0, 0.012, 0.05, 0.25]), np.array([0.0, 0.02, 0.4]))


@pytest.mark.identity
def test_light_is_lost_near_edges_of_clear_panes_only():
    """A joint and the waterline take some of the floor's light beside them, and none far away."""
    joint, line_x, line_y = floor_light_kept(Tank(0.6, 0.5, 0.5), 1.34, *PLACES)
    assert 0.85 < joint[1, 1] < 0.95
    assert np.all(joint[3] > 0.99)
    assert np.all((joint > 0.8) & (joint <= 1))
    assert 0.7 < line_x[1, 1] < 1
    assert line_x[3, 2] > 0.98
    assert np.all((line_y > 0.5) & (line_y <= 1))


@pytest.mark.identity
def test_other_walls_and_thin_glass_lose_nothing():
    """Paint, mirrors and panes without thickness have no joint that light could run into."""
    for walls in ({name: Wall("painted") for name in WALL_NAMES}, dict.fromkeys(WALL_NAMES, Wall("dark"))):
        assert all(
            np.all(kept == 1) for kept in floor_light_kept(Tank(0.6, 0.5, 0.5, walls=walls), 1.34, *PLACES)
        )
    thin = Tank(0.6, 0.5, 0.5, glass_thickness_m=0.0)
    assert all(np.all(kept == 1) for kept in floor_light_kept(thin, 1.34, *PLACES))


@pytest.mark.identity
def test_a_joint_needs_two_clear_panes():
    """With clear panes on one axis only, the waterline still counts, the joint does not."""
    walls = {"front": Wall("dark"), "back": Wall("dark"), "left": Wall(), "right": Wall()}
    joint, line_x, line_y = floor_light_kept(Tank(0.6, 0.5, 0.5, walls=walls), 1.34, *PLACES)
    assert np.all(joint == 1)
    assert np.any(line_x < 1)
    assert np.all(line_y == 1)


@pytest.mark.identity
def test_thicker_glass_scales_the_lossy_corner():
    """Twice the thickness loses at twice the distance what the single one loses."""
    tank = Tank(0.6, 0.5, 0.5)
    near, _, _ = floor_light_kept(tank, 1.34, *PLACES)
    twice = replace(tank, length_m=1.2, width_m=1.0, glass_thickness_m=0.02)
    far, _, _ = floor_light_kept(twice, 1.34, *(2 * place for place in PLACES))
    assert far == pytest.approx(near, rel=1e-9)


@pytest.mark.identity
def test_loss_fades_with_distance():
    """Along the worst line from the waterline, the share lost falls as the inverse of the distance."""
    far = np.array([0.1, 0.2, 0.4, 0.8])
    tank = Tank(4.0, 4.0, 1.0)
    lost = 1 - np.array([floor_light_kept(tank, 1.34, far, far, far)[1].min(axis=1)]).ravel()
    assert np.all(np.diff(lost) < 0)
    assert lost[3] < 0.01
