"""The floor's bounce."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from physics.reference_scenes import irradiance, lamp, water_of

import lightdose.physics.floor as floor_module
from lightdose.files.setup_file import read_setup
from lightdose.model.fixture import CosineLobe
from lightdose.model.setup import WALL_NAMES, Tank, Wall
from lightdose.physics.floor import exchange_matrices, exchange_table, floor_exitance, floor_grid
from lightdose.physics.lit_tank import _falling, lit_tank
from lightdose.python.questions import dose_at

MIRRORS = dict.fromkeys(WALL_NAMES, Wall("reflectance", 1.0))
MIXED = {"front": Wall(), "back": Wall("painted"), "left": Wall("reflectance", 0.5), "right": Wall("dark")}


@pytest.mark.identity
@pytest.mark.parametrize("reflectance", [0.05, 0.3, 0.6, 0.9])
@pytest.mark.parametrize("walls", [MIXED, MIRRORS])
def test_exitance_obeys_its_balance(reflectance, walls):
    """B = rho (E + M B) holds patch by patch to 1e-6, at each absorption."""
    tank = Tank(0.6, 0.4, 0.35, walls=walls, floor_reflectance=reflectance)
    nodes = np.array([0.0, 0.3, 2.0])
    lit = lit_tank([lamp("a", CosineLobe(90), 0.2, 0.15, 0.2)], tank, 1.34, nodes, for_points=1)
    grid = floor_grid(tank, 1.34)
    falling = _falling(lit.lamps[0], grid, nodes)[0]
    matrices = exchange_matrices(grid, exchange_table(grid, 2 * tank.water_depth_m, nodes))
    for node in range(nodes.size):
        leaving = lit.floor.exitance[:, node]
        back = matrices[node] @ leaving
        assert leaving == pytest.approx(reflectance * (falling[node] + back), rel=1e-6)


@pytest.mark.published
def test_mirrored_floor_gets_back_what_the_surface_reflects():
    """Between perfect mirrors without absorption an even floor gets back 47.9 % (n = 1.34) of its light."""
    # Source: diffuse internal reflectance by Fresnel's equations (0.47459 for n = 1.333 in test_refraction).
    tank = Tank(0.6, 0.4, 0.35, walls=MIRRORS)
    grid = floor_grid(tank, 1.34)
    cosine = np.sqrt(1 - (np.arange(100_000) + 0.5) / 100_000)
    diffuse = floor_module.surface_reflectance_from_below(cosine, 1.34).mean()
    table = exchange_table(grid, 2 * tank.water_depth_m, np.zeros(1))
    back = exchange_matrices(grid, table)[0].sum(axis=1)
    # light flatter than 6 heights is left out: 1 / (1 + 6^2) of it
    assert np.all((back > diffuse - 0.028) & (back < diffuse))
    assert np.ptp(back) < 0.02


@pytest.mark.identity
def test_every_bounce_adds_a_geometric_series():
    """For one patch that gets a share m of its own light back, B = rho E / (1 - rho m)."""
    leaving = floor_exitance(np.array([[[0.4]]]), np.array([[[2.0]]]), 0.8)
    assert leaving[0, 0, 0] == pytest.approx(0.8 * 2.0 / (1 - 0.8 * 0.4), rel=1e-11)


@pytest.mark.identity
def test_exchange_equals_the_sum_over_patches_one_by_one():
    """The lattice table is the plain sum over mirror images of H^2 / (pi d^4) R e^(-a d)."""
    tank = Tank(0.5, 0.3, 0.3, walls=dict.fromkeys(WALL_NAMES, Wall("reflectance", 0.8)))
    grid, a, height = floor_grid(tank, 1.34), 0.4, 0.45
    matrix = exchange_matrices(grid, exchange_table(grid, height, np.array([a])))[0]
    orders = [math.ceil(6 * height / side) for side in (0.5, 0.3)]
    to, source = (3, 1), (0, 2)
    total = 0.0
    for i in range(-orders[0], orders[0] + 1):
        for j in range(-orders[1], orders[1] + 1):
            x, y = grid.x_m[to[0]], grid.y_m[to[1]]
            there = (i * 0.5 + (x if i % 2 == 0 else 0.5 - x), j * 0.3 + (y if j % 2 == 0 else 0.3 - y))
            d2 = (there[0] - grid.x_m[source[0]]) ** 2 + (there[1] - grid.y_m[source[1]]) ** 2 + height**2
            d = math.sqrt(d2)
            up = floor_module.surface_reflectance_from_below(np.array([height / d]), 1.34)[0]
            total += up * 0.8 ** (abs(i) + abs(j)) * height**2 / (math.pi * d2**2) * math.exp(-a * d)
    n_y = grid.y_m.size
    got = matrix[to[0] * n_y + to[1], source[0] * n_y + source[1]]
    assert got == pytest.approx(total * grid.patch_m2, rel=1e-12)


@pytest.mark.identity
@pytest.mark.parametrize("depth_m", [0.15, 0.4])
def test_longer_reach_between_panes_changes_little(depth_m, monkeypatch):
    """Following mirror images four times as far changes the bounce between clear panes by under 0.4 %."""
    tank = Tank(0.6, 0.4, depth_m, floor_reflectance=0.5)
    nodes = np.array([0.05])
    fixtures = [lamp("a", CosineLobe(90), 0.2, 0.15, 0.2)]
    points = np.random.default_rng(2).random((200, 3)) * [0.6, 0.4, depth_m]
    short = lit_tank(fixtures, tank, 1.34, nodes, for_points=1).floor.at(points)
    monkeypatch.setattr(floor_module, "REACH_PER_HEIGHT", 4 * floor_module.REACH_PER_HEIGHT)
    long = lit_tank(fixtures, tank, 1.34, nodes, for_points=1).floor.at(points)
    assert np.all(long > 0)
    assert np.max(np.abs(short / long - 1)) < 4e-3


@pytest.mark.identity
def test_finer_patches_change_little(monkeypatch):
    """Half the patch size changes all light over a bright floor by 0.6 % at most, by 0.05 % in the median."""
    tank = Tank(0.6, 0.4, 0.35, floor_reflectance=0.6)
    points = np.random.default_rng(2).random((200, 3)) * [0.6, 0.4, 0.35]
    args = ([lamp("a", CosineLobe(90), 0.2, 0.15, 0.2)], [1.0], tank, water_of(1.34, 0.1))
    coarse = irradiance(points, *args)
    monkeypatch.setattr(floor_module, "PATCH_PER_DEPTH", floor_module.PATCH_PER_DEPTH / 2)
    change = np.abs(irradiance(points, *args) / coarse - 1)
    assert change.max() < 6e-3
    assert np.median(change) < 5e-4


@pytest.mark.identity
def test_dark_floor_and_water_of_index_one_give_no_bounce():
    """Nothing comes back without a floor that reflects or a surface that does; 5e-324 is as good as none."""
    lamps = [lamp("a", CosineLobe(90), 0.2, 0.15, 0.2)]
    dark, bright = Tank(0.6, 0.4, 0.35, floor_reflectance=0), Tank(0.6, 0.4, 0.35)
    for black in (dark, replace(dark, floor_reflectance=5e-324)):
        assert lit_tank(lamps, black, 1.34, np.zeros(1), for_points=1).floor is None
    assert lit_tank(lamps, bright, 1.0, np.zeros(1), for_points=1).floor is None
    assert lit_tank(lamps, bright, 1.34, np.zeros(1), for_points=1).floor is not None


@pytest.mark.identity
def test_lamps_moved_over_one_water_get_what_they_get_alone() -> None:
    """Matrices that are kept from one setup to the next change no digit, whatever was solved in between."""
    setup = read_setup(Path(__file__).resolve().parents[2] / "examples" / "mixed-blue")
    points = np.random.default_rng(2).uniform(0.05, 0.25, (20, 3))
    others = [setup, setup.changed(height=0.3), setup.changed(beam_deg=60), setup.changed(height=0.1)]
    for wider in (False, True):
        found = []
        for one in others:
            if wider:
                dose_at(setup.changed(water=replace(setup.water, yellowing_440_per_m=0.5)), points)
            found.append(dose_at(one, points))
        if not wider:
            kept = found
    assert np.array_equal(kept, found)
