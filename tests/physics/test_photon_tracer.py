"""Random scenes of the reference kind against photons followed one by one."""

from __future__ import annotations

import numpy as np
import pytest
from physics.photon_tracer import Box, Counter, Source, trace
from physics.reference_scenes import irradiance, lamp, water_of

from lightdose.model.fixture import Beam, CosineLobe, TabulatedLobe
from lightdose.model.setup import Tank, Wall
from lightdose.physics.emission import hemisphere_flux, intensity_per_flux

PHOTONS, BATCHES = 30_000, 10
CLEAR, DARK, PAINTED = Wall(), Wall("dark"), Wall("painted")
BATWING = TabulatedLobe(np.array([0.0, 20, 35, 50, 70, 90]), np.array([0.8, 0.95, 1.0, 0.55, 0.07, 0]))
NAMES = {"clean": "glass", "dark": "black", "painted": "glass_black"}


def lobe_of(beam: Beam) -> object:
    """The lobe as the tracer wants it: intensity of a fixture of flux one, by angle and turn."""
    return lambda angle, turn: intensity_per_flux(beam, np.tan(angle), np.cos(angle), turn)


SCENES = {
    "rim and narrow beam near glass": (
        Tank(0.48, 0.36, 0.36, rim_m=0.05, floor_reflectance=0.4),
        [(CosineLobe(50), 0.07, 0.15, 0.2, (0.0, 0.0), 0.0)],
    ),
    "thick glass, batwing": (
        Tank(
            0.48,
            0.36,
            0.36,
            glass_thickness_m=0.015,
            walls={"front": CLEAR, "back": DARK, "left": CLEAR, "right": PAINTED},
        ),
        [(BATWING, 0.25, 0.2, 0.15, (0.0, 0.0), 0.0)],
    ),
    "two turned panels": (
        Tank(0.6, 0.36, 0.3, rim_m=0.03, floor_reflectance=0.5),
        [
            (CosineLobe(90), 0.15, 0.18, 0.15, (0.2, 0.06), 30.0),
            (CosineLobe(120), 0.45, 0.2, 0.2, (0.1, 0.1), 0.0),
        ],
    ),
}


@pytest.mark.published
@pytest.mark.parametrize("name", SCENES)
def test_model_agrees_with_traced_photons(name):
    """Squares of 12 cm on three planes: within 2 % + 4 standard errors of an independent simulation."""
    # Source: tests/physics/photon_tracer.py, Monte Carlo through explicit panes; seeds fixed.
    tank, lamps = SCENES[name]
    planes, absorptions, side, fine = (0.04, 0.16, 0.26), (0.0, 0.3), 0.12, 10
    cells = (round(tank.length_m / side), round(tank.width_m / side))
    walls = tuple(NAMES[tank.walls[wall].kind] for wall in ("left", "right", "front", "back"))
    box = Box(
        tank.length_m, tank.width_m, tank.water_depth_m, walls,
        glass=tank.glass_thickness_m, rim=tank.rim_m, floor=tank.floor_reflectance,
    )  # fmt: skip
    batches = []
    for batch in range(BATCHES):
        counter = Counter(box, planes, absorptions, cells)
        for i, (beam, x, y, height, size, turn) in enumerate(lamps):
            source = Source(x, y, height, lobe_of(beam), size, np.radians(turn))
            trace(box, source, counter, PHOTONS, seed=100 * batch + i)
        batches.append(counter.irradiance())
    traced = np.mean(batches, axis=0)
    error = np.std(batches, axis=0, ddof=1) / np.sqrt(BATCHES)
    x, y = ((np.arange(n * fine) + 0.5) * side / fine for n in cells)
    fixtures = [lamp("l", beam, *place, size, turn) for beam, *place, size, turn in lamps]
    depths = tank.water_depth_m - np.array(planes)
    grid = np.stack(np.meshgrid(depths, x, y, indexing="ij"), -1).reshape(-1, 3)[:, [1, 2, 0]]
    for a, absorption in enumerate(absorptions):
        light = irradiance(grid, fixtures, [1.0] * len(lamps), tank, water_of(1.34, absorption))
        squares = light.reshape(len(planes), cells[0], fine, cells[1], fine).mean(axis=(2, 4))
        assert np.all(np.abs(squares - traced[:, a]) <= 0.02 * traced[:, a] + 4 * error[:, a])
    assert np.median(error / traced) < 0.03


@pytest.mark.identity
def test_tracer_keeps_all_light_between_mirrors():
    """Perfect mirrors and a dark floor: what passed the surface arrives below, whatever the plane."""
    box = Box(0.3, 0.2, 0.3, (1.0, 1.0, 1.0, 1.0), floor=0.0)
    counter = Counter(box, (0.25, 0.05), (0.0,), (1, 1))
    beam = CosineLobe(120)
    trace(box, Source(0.1, 0.1, 0.15, lobe_of(beam)), counter, 20_000, seed=1)
    assert counter.total[0, 0, 0] == pytest.approx(counter.total[1, 0, 0], rel=1e-9)
    assert 0.2 < counter.total[0, 0, 0] < 1.0
    assert hemisphere_flux(beam) == pytest.approx(np.pi)
