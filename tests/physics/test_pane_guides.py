"""Light that glass joints lead along panes, in narrow tall tanks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from physics.reference_scenes import COLUMNS, lamp, read_scenes

from lightdose.model.fixture import CosineLobe
from lightdose.model.setup import Tank, Wall
from lightdose.physics.emission import source_cells
from lightdose.physics.light_paths import Rays, routes
from lightdose.physics.pane_guides import all_rays

COLUMN = Tank(0.25, 0.25, 0.75)


def led(tank: Tank, x_m: np.ndarray, y_m: np.ndarray, depth_m: float, height_m: float = 0.1) -> list[Rays]:
    """What panes have led to points, from a lamp above the middle of the tank."""
    fixture = lamp("l", CosineLobe(120), tank.length_m / 2, tank.width_m / 2, height_m)
    (route,) = routes(tank, 1.34, source_cells(fixture))
    return list(all_rays(route, x_m, y_m, np.full(x_m.size, depth_m)))[1:]


def spread(tank: Tank, count: int = 40) -> tuple[np.ndarray, np.ndarray]:
    """Points all over a plane."""
    across = (np.arange(count) + 0.5) / count
    x, y = np.meshgrid(across * tank.length_m, across * tank.width_m, indexing="ij")
    return x.ravel(), y.ravel()


def total(found: list[Rays]) -> float:
    """Sum of the light of all rays."""
    return float(sum(part.gain_per_m2.sum() for part in found))


@pytest.mark.published
@pytest.mark.parametrize("scene", read_scenes(COLUMNS), ids=lambda scene: scene.name)
def test_foot_of_a_column_agrees_with_traced_photons(scene):
    """Every square 2 cm above the floor within 4 %, their mean within 1 %, of an independent simulation."""
    # Source: tests/data/column_scenes.json, Monte Carlo through explicit panes joined at the corners.
    bottom = scene.tank.water_depth_m - 0.03
    foot = replace(scene, squares=[square for square in scene.squares if square.depth_m > bottom])
    reference = np.array([square.reference for square in foot.squares])
    error = np.array([square.standard_error for square in foot.squares])
    model = foot.model()
    assert len(model) == 25
    assert np.all(error < 0.008 * reference)
    assert np.all(np.abs(model / reference - 1) <= 0.04)
    assert model.mean(axis=0) == pytest.approx(reference.mean(axis=0), rel=0.01)


@pytest.mark.published
@pytest.mark.slow
def test_all_squares_of_columns_agree():
    """2, 20 and 40 cm above the floor of all columns: within 4 %, half of the squares within 0.5 %."""
    # Source: as above.
    found = []
    for scene in read_scenes(COLUMNS):
        deviation = np.abs(scene.model() / np.array([square.reference for square in scene.squares]) - 1)
        assert np.all(deviation <= 0.04)
        found.append(deviation.ravel())
    assert np.median(np.concatenate(found)) < 0.005


@pytest.mark.identity
def test_only_tanks_that_light_crosses_in_a_pane_have_led_light():
    """A tank as deep as wide has none, nor has a column 20 cm below its surface; at its foot there is."""
    x, y = spread(COLUMN)
    assert total(led(Tank(0.45, 0.45, 0.45), *spread(Tank(0.45, 0.45, 0.45)), 0.44, 0.2)) == 0
    assert total(led(COLUMN, x, y, 0.2)) == 0
    assert total(led(COLUMN, x, y, 0.74)) > 0


@pytest.mark.identity
@pytest.mark.parametrize("kind", ["painted", "dark"])
def test_a_joint_needs_clear_panes(kind):
    """With a painted or dark wall on either axis no pane leads light from end to end, nor without glass."""
    x, y = spread(COLUMN)
    walls = {**COLUMN.walls, "left": Wall(kind), "back": Wall(kind)}
    assert total(led(replace(COLUMN, walls=walls), x, y, 0.74)) == 0
    assert led(replace(COLUMN, glass_thickness_m=0.0), x, y, 0.74) == []


@pytest.mark.identity
def test_led_light_has_the_symmetry_of_the_tank():
    """Mirrored in either axis, or with the axes exchanged, the points get the same light."""
    x, y = spread(COLUMN)

    def light(x_m: np.ndarray, y_m: np.ndarray) -> np.ndarray:
        parts = led(COLUMN, x_m, y_m, 0.74)
        return np.sum([np.bincount(part.point, part.gain_per_m2, x_m.size) for part in parts], axis=0)

    here = light(x, y)
    assert here.max() > 0
    for there in (light(0.25 - x, y), light(x, 0.25 - y), light(y, x)):
        assert there == pytest.approx(here, rel=1e-6, abs=1e-9 * here.max())


@pytest.mark.identity
def test_led_light_grows_with_the_glass_and_spends_its_way_there():
    """Panes twice as thick lead about twice as much; its way in water lacks the way along the pane."""
    x, y = spread(COLUMN, 90)
    thin, thick = (led(replace(COLUMN, glass_thickness_m=t), x, y, 0.74) for t in (0.003, 0.006))
    assert total(thick) == pytest.approx(2 * total(thin), rel=0.2)  # thicker panes take longer to cross
    for part in thick:
        slope = np.sqrt(1.34**2 - part.k_x**2 - part.k_y**2)
        fastest = np.sqrt(1.52**2 - 1.34**2 + part.k_x**2 + part.k_y**2)
        assert np.all(part.path_m < 1.34 * (0.74 / slope - 0.25 / fastest))
