"""The dry rim."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from physics.reference_scenes import irradiance, lamp, water_of

from lightdose.model.fixture import CosineLobe
from lightdose.model.setup import WALL_NAMES, Tank, Wall
from lightdose.physics.walls import STRAIGHT, lamp_images, lit_opening, mean_stay

DARK = dict.fromkeys(WALL_NAMES, Wall("dark"))
NEAR = [lamp("a", CosineLobe(90), 0.05, 0.2, 0.2)]
WATER = water_of(1.34, 0.1)


def light(tank: Tank, points: np.ndarray) -> np.ndarray:
    return irradiance(points, NEAR, [1.0], tank, WATER)


@pytest.mark.identity
def test_rim_adds_light_and_a_dark_one_none():
    """Clear panes above the water only add light to a lamp inside; where walls are dark so is the rim."""
    points = np.random.default_rng(6).random((200, 3)) * [0.5, 0.4, 0.4]
    bare = Tank(0.5, 0.4, 0.4, floor_reflectance=0.0)
    low, high = (light(replace(bare, rim_m=rim), points) for rim in (0.03, 0.08))
    without = light(bare, points)
    assert np.all(low >= without - 1e-12)
    assert np.all(high >= low - 1e-12)
    assert np.max(high / without) > 1.05
    dark = replace(bare, walls=DARK)
    assert light(replace(dark, rim_m=0.08), points) == pytest.approx(light(dark, points), rel=1e-12)


@pytest.mark.identity
def test_panes_of_no_thickness_mirror_the_lamp():
    """Over water of index 1 a thin rim is the lamp's mirror image times the pane's reflectance."""
    walls = DARK | {"left": Wall()}
    tank = Tank(0.5, 0.4, 0.4, glass_thickness_m=0.0, rim_m=0.1, walls=walls, floor_reflectance=0.0)
    point = np.array([[0.12, 0.2, 0.3]])
    got = irradiance(point, NEAR, [np.pi / 1.5], tank, water_of(1.0, 0.0))
    bare = irradiance(point, NEAR, [np.pi / 1.5], replace(tank, rim_m=0.0), water_of(1.0, 0.0))
    away, down = 0.12 + 0.05, 0.5
    r = np.hypot(away, down)
    normal = away / r
    glass = np.sqrt(1.52**2 - 1 + normal**2)
    one = ((normal - glass) / (normal + glass)) ** 2
    other = ((1.52**2 * normal - glass) / (1.52**2 * normal + glass)) ** 2
    face = 0.5 * (one + other)
    met = 0.2 - 0.05 / away * down  # height above the water where the ray meets the pane
    assert 0 < met < 0.1
    mirrored = (down / r) ** 3 / r**2 * 2 * face / (1 + face)
    assert got - bare == pytest.approx(mirrored, rel=1e-9)


@pytest.mark.identity
def test_light_beyond_the_rims_reach_is_not_mirrored():
    """The lit part of the opening follows from similar triangles; a lamp below the edge lights all of it."""
    at = np.array([-0.05])
    assert lit_opening(at, 0.5, False, 0.2, 0.1)[1, 0] == pytest.approx(0.05)
    assert lit_opening(at, 0.5, False, 0.08, 0.1)[1, 0] == 0.5
    assert lit_opening(np.array([0.55]), 0.5, True, 0.2, 0.1)[0, 0] == pytest.approx(0.45)
    assert list(lit_opening(at, 0.5, None, 0.2, 0.1)[:, 0]) == [0, 0.5]


@pytest.mark.identity
def test_images_of_the_lamp():
    """Without a rim there is the lamp alone; four clear panes give eight images, dark ones none."""
    tank = Tank(0.5, 0.4, 0.4)
    assert lamp_images(tank) == (STRAIGHT,)
    assert len(lamp_images(replace(tank, rim_m=0.05))) == 9
    assert lamp_images(replace(tank, rim_m=0.05, walls=DARK)) == (STRAIGHT,)


@pytest.mark.identity
def test_mean_displacement_lies_between_front_and_back():
    """Grazing light is reflected at the front face, upright light nearly as much at the back: t (1 - r)."""
    grazing, upright = mean_stay(np.array([1e-6, 1.0]), 0.01, 1.52)
    assert grazing == pytest.approx(0.0, abs=1e-6)
    assert upright == pytest.approx(0.01 * (1 - (0.52 / 2.52) ** 2))


@pytest.mark.identity
def test_pane_passes_what_it_does_not_mirror_to_a_lamp_outside():
    """A lamp beside the tank shines through a clear rim, weakened, and not through a dark one."""
    beside = [lamp("a", CosineLobe(120), -0.04, 0.2, 0.2)]
    point = np.array([[0.05, 0.2, 0.2]])
    tank = Tank(0.5, 0.4, 0.4, rim_m=0.15, floor_reflectance=0.0, walls=DARK)
    free = irradiance(point, beside, [1.0], replace(tank, rim_m=0.0), WATER)
    clear = irradiance(point, beside, [1.0], replace(tank, walls=DARK | {"left": Wall()}), WATER)
    assert 0.3 * free < clear < free
    assert irradiance(point, beside, [1.0], tank, WATER) == 0
