"""The reference scenes of tests/data as tanks, fixtures and squares."""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from lightdose.model.fixture import (
    Aperture,
    Beam,
    Channel,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Programme,
    TabulatedLobe,
)
from lightdose.model.light import Scene
from lightdose.model.setup import Cover, Tank, Wall, Water
from lightdose.model.spectrum import GRID_NM, LedPeak, ReferenceTables, SpectralTable, Weightings
from lightdose.physics.emission import hemisphere_flux
from lightdose.physics.light_field import response_at

DATA = Path(__file__).resolve().parents[1] / "data"
SCENES, COLUMNS = DATA / "lightfield_scenes.json", DATA / "column_scenes.json"
WALL_KINDS = {"glass": "clean", "black": "dark", "glass_black": "painted"}
NO_TABLES = ReferenceTables(np.ones(500), np.ones((3, 500)), np.zeros(500), {})
ALL_PHOTONS = Weightings(("photons",), np.ones((1, 500)))


def lamp(
    name: str,
    beam: Beam,
    x_m: float,
    y_m: float,
    height_m: float,
    size: tuple[float, float] = (0.0, 0.0),
    rotation_deg: float = 0.0,
) -> Fixture:
    """A fixture with one channel."""
    channel = Channel("all", LedPeak(450, 20), beam, DimmingCurve.linear())
    kind = FixtureType(name, (channel,), Aperture(*size))
    return Fixture(name, kind, x_m, y_m, height_m, Programme({}), rotation_deg)


def water_of(index: float, absorption_per_m: float) -> Water:
    """Water that absorbs alike at every wavelength."""
    flat = SpectralTable("flat", np.array([300.0, 800.0]), np.full(2, absorption_per_m))
    return Water(refractive_index=index, absorption=flat)


def one_cell(fluxes: list[float]) -> np.ndarray:
    """Emission with each flux in a single cell of the grid. [umol s-1]"""
    emission = np.zeros((len(fluxes), GRID_NM.size))
    emission[:, 200] = fluxes
    return emission


def irradiance(
    points_m: np.ndarray, fixtures: list[Fixture], fluxes: list[float], tank: Tank, water: Water
) -> np.ndarray:
    """Light of all fixtures together at points."""
    scene = Scene(tuple(fixtures), one_cell(fluxes), tank, water, Cover(), NO_TABLES)
    response = response_at(points_m, scene, ALL_PHOTONS)
    return response[:, :, 0].sum(axis=1)


@dataclass(frozen=True)
class Square:
    """A horizontal square and its reference values, one for each absorption."""

    x_m: float
    y_m: float
    depth_m: float
    side_m: float
    reference: np.ndarray
    standard_error: np.ndarray

    def points(self, across: int) -> np.ndarray:
        """Midpoints of ``across`` x ``across`` parts, (n, 3)."""
        step = ((np.arange(across) + 0.5) / across - 0.5) * self.side_m
        x, y = np.meshgrid(self.x_m + step, self.y_m + step, indexing="ij")
        return np.column_stack((x.ravel(), y.ravel(), np.full(x.size, self.depth_m)))


@dataclass(frozen=True)
class ReferenceScene:
    """A reference scene."""

    name: str
    tank: Tank
    index: float
    absorptions: tuple[float, ...]
    fixtures: list[Fixture]
    fluxes: list[float]
    squares: list[Square]

    def model(self, across: int = 16) -> np.ndarray:
        """Model values, shape (square, absorption)."""
        points = np.concatenate([square.points(across) for square in self.squares])
        columns = [
            irradiance(points, self.fixtures, self.fluxes, self.tank, water_of(self.index, a))
            for a in self.absorptions
        ]
        return np.stack(columns, axis=1).reshape(len(self.squares), -1, len(self.absorptions)).mean(axis=1)

    def tolerance(self) -> np.ndarray:
        """Accepted relative deviation of each square and absorption: 2 % + 3 se, 4 % near two glass walls."""
        glass = [name for name, wall in self.tank.walls.items() if wall.kind != "dark"]
        rows = []
        for s in self.squares:
            to = {
                "left": s.x_m,
                "right": self.tank.length_m - s.x_m,
                "front": s.y_m,
                "back": self.tank.width_m - s.y_m,
            }
            corner = sum(to[name] <= 0.06 + 1e-9 for name in glass) >= 2
            rows.append((0.04 if corner else 0.02) + 3 * s.standard_error / s.reference)
        return np.array(rows)


def _beam(source: dict[str, Any]) -> Beam:
    if "table" in source:
        return TabulatedLobe(*(np.array(column, dtype=float) for column in source["table"]))
    return CosineLobe(2 * math.degrees(math.acos(0.5 ** (1 / source["m"]))))


def read_scenes(file: Path = SCENES) -> list[ReferenceScene]:
    """Every scene of a file."""
    scenes = []
    for entry in json.loads(file.read_text())["scenes"]:
        raw = entry["scene"]
        sides = {"left": "x0", "right": "x1", "front": "y0", "back": "y1"}
        tank = Tank(
            raw["L"],
            raw["W"],
            raw["D"],
            raw["t_g"],
            raw["n_g"],
            raw["freeboard"],
            {name: Wall(WALL_KINDS[raw["walls"][side]]) for name, side in sides.items()},
            raw["rho_b"],
        )
        beams = [_beam(s) for s in raw["sources"]]
        fixtures = [
            lamp(f"lamp {i}", beam, s["x"], s["y"], s["h"], tuple(s.get("size", (0.0, 0.0))))
            for i, (beam, s) in enumerate(zip(beams, raw["sources"], strict=True))
        ]
        fluxes = [hemisphere_flux(b) * s.get("I0", 1.0) for b, s in zip(beams, raw["sources"], strict=True)]
        squares = [
            Square(p["x"], p["y"], raw["D"] - p["z"], p["side"], np.array(p["E"]), np.array(p["se"]))
            for p in entry["points"]
        ]
        scenes.append(
            ReferenceScene(entry["id"], tank, raw["n_w"], tuple(raw["a"]), fixtures, fluxes, squares)
        )
    return scenes
