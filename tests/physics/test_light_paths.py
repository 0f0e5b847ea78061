"""Rays and their images."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from physics.reference_scenes import lamp

from lightdose.model.fixture import CosineLobe
from lightdose.model.setup import Tank, Wall
from lightdose.physics.emission import intensity_per_flux, source_cells
from lightdose.physics.light_paths import Route, routes
from lightdose.physics.solved_rays import rays
from lightdose.physics.walls import axis_images, axis_walls


def light(route: Route, points: np.ndarray) -> np.ndarray:
    found = rays(route, *points.T)
    lobe = intensity_per_flux(CosineLobe(120), found.tangent, found.cosine) * found.gain_per_m2
    return np.bincount(found.point, lobe, len(points))


@pytest.mark.identity
@pytest.mark.parametrize(("size", "height"), [((0.0, 0.0), 0.15), ((0.1, 0.1), 0.05)])
def test_narrow_deep_tank_needs_no_more_images(size, height):
    """A column of 15 x 15 x 60 cm: two more orders change the light by less than 0.1 %."""
    tank = Tank(0.15, 0.15, 0.6)
    (route,) = routes(tank, 1.34, source_cells(lamp("a", CosineLobe(120), 0.06, 0.08, height, size)))
    assert route.images_x.number.max() >= 2
    more = {}
    for axis, walls in zip(("images_x", "images_y"), axis_walls(tank), strict=True):
        order = int(getattr(route, axis).number.max()) + 2
        more[axis] = axis_images(0.15, order, *walls, tank.glass_thickness_m, faces=True)
    points = np.random.default_rng(3).random((400, 3)) * [0.15, 0.15, 0.6]
    few = light(route, points)
    assert light(replace(route, **more), points) == pytest.approx(few, rel=1e-3)


@pytest.mark.identity
def test_ordinary_tank_needs_one_reflection_a_pair():
    """In a tank wider than 1.12 depths no ray meets both walls of a pair."""
    (route,) = routes(Tank(0.9, 0.6, 0.5), 1.34, source_cells(lamp("a", CosineLobe(120), 0.3, 0.3, 0.2)))
    assert route.images_x.number.max() == 1
    assert route.images_y.number.max() == 1


@pytest.mark.identity
def test_ray_of_an_image_leaves_towards_the_true_wall():
    """The direction at the lamp is the real one: a ray off the left wall leaves to the left."""
    tank = Tank(0.6, 0.6, 0.4)
    (route,) = routes(tank, 1.34, source_cells(lamp("a", CosineLobe(120), 0.2, 0.3, 0.2)))
    found = rays(route, np.array([0.05]), np.array([0.3]), np.array([0.35]))
    by_left = route.images_x.number[found.image_x] == -1
    assert np.all(found.k_x[by_left & (found.gain_per_m2 > 0)] < 0)
    assert np.any(by_left & (found.gain_per_m2 > 0))


@pytest.mark.identity
def test_glass_of_no_thickness_is_a_mirror_at_the_inner_face():
    """With panes of thickness 0 the clear wall and the mirror of reflectance 1 give the same light."""
    points = np.random.default_rng(5).random((300, 3)) * [0.5, 0.4, 0.4]
    cells = source_cells(lamp("a", CosineLobe(120), 0.2, 0.3, 0.2))
    thin = Tank(0.5, 0.4, 0.4, glass_thickness_m=0.0)
    mirror = replace(thin, walls=dict.fromkeys(thin.walls, Wall("reflectance", 1.0)))
    one, other = (light(routes(tank, 1.34, cells)[0], points) for tank in (thin, mirror))
    assert one == pytest.approx(other, rel=1e-9)


@pytest.mark.identity
def test_path_in_water_is_the_slanted_one():
    """Straight rays in water are as long as Snell's law says; images are longer than the depth."""
    tank = Tank(0.6, 0.6, 0.4)
    (route,) = routes(tank, 1.34, source_cells(lamp("a", CosineLobe(120), 0.2, 0.3, 0.2)))
    found = rays(route, np.array([0.2, 0.5]), np.array([0.3, 0.3]), np.array([0.35, 0.35]))
    straight = (route.images_x.number[found.image_x] == 0) & (route.images_y.number[found.image_y] == 0)
    sine = found.tangent * found.cosine / 1.34
    assert found.path_m[straight] == pytest.approx(0.35 / np.sqrt(1 - sine[straight] ** 2), rel=1e-12)
    assert np.all(found.path_m > 0.35 - 1e-12)
