"""The reference scenes of tests/data/solids_scenes.json: tanks with solids, and squares on any face."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

import numpy as np
from physics.reference_scenes import ALL_PHOTONS, DATA, NO_TABLES, WALL_KINDS, lamp, one_cell, water_of

from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.light import Scene
from lightdose.model.setup import Cover, Standing, Tank, Wall
from lightdose.model.solids import Solid
from lightdose.physics.all_sides import around
from lightdose.physics.emission import intensity_per_flux
from lightdose.physics.light_field import PreparedField, prepare_field

SOLIDS = DATA / "solids_scenes.json"
SIDES = {"left": "x0", "right": "x1", "front": "y0", "back": "y1"}
LIT_SHARE = 0.15


@dataclass(frozen=True)
class Face:
    """A square with its reference light at each absorption; ``scalar`` is None where it was not traced."""

    points_m: np.ndarray
    normal: np.ndarray
    reference: np.ndarray
    error: np.ndarray
    scalar: np.ndarray | None
    scalar_error: np.ndarray | None


@dataclass(frozen=True)
class SolidScene:
    """A tank with solids, lamps of unit intensity on the axis times ``weights``, and squares."""

    name: str
    tank: Tank
    index: float
    fixtures: tuple[Fixture, ...]
    weights: np.ndarray
    standing: Standing | None
    absorptions: tuple[float, ...]
    squares: tuple[Face, ...]

    def field(self, absorption: float, for_points: int) -> PreparedField:
        """The scene in water of one absorption, ready for places."""
        emission = one_cell(list(self.weights))
        water = water_of(self.index, absorption)
        scene = Scene(self.fixtures, emission, self.tank, water, Cover(), NO_TABLES, self.standing)
        return prepare_field(scene, ALL_PHOTONS, for_points=for_points)

    def model(self) -> tuple[np.ndarray, np.ndarray]:
        """Light on each square and from all sides, shape (n_square, n_absorption)."""
        points = np.concatenate([s.points_m for s in self.squares])
        normals = np.concatenate([np.tile(s.normal, (len(s.points_m), 1)) for s in self.squares])
        faces, scalars = [], []
        for absorption in self.absorptions:
            ready = self.field(absorption, len(points))
            faces.append(self._mean(ready.at(points, normals)[:, :, 0]))
            scalars.append(self._mean(around(ready, points, normals)[1, :, :, 0]))
        return np.column_stack(faces), np.column_stack(scalars)

    def _mean(self, response: np.ndarray) -> np.ndarray:
        return response.sum(axis=1).reshape(len(self.squares), -1).mean(axis=1)

    def open_light(self) -> float:
        """Median light of the squares that look up and that nothing shades: the brighter half."""
        flat = np.array([s.reference[0] for s in self.squares if s.normal[2] == 1])
        return float(np.median(flat[flat > 0.5 * flat.max()]))


def square(raw: dict[str, Any], depth_m: float, across: int) -> Face:
    """A square with its points."""
    normal = np.array(raw["n"], dtype=float)
    normal /= np.linalg.norm(normal)
    other = np.array([0.0, 0.0, 1.0]) if abs(normal[2]) < 0.9 else np.array([1.0, 0.0, 0.0])
    one = np.cross(normal, other)
    one /= np.linalg.norm(one)
    two = np.cross(normal, one)
    steps = ((np.arange(across) + 0.5) / across - 0.5) * raw["side"]
    points = np.array([np.array(raw["at"]) + i * one + j * two for i in steps for j in steps])
    points[:, 2] = depth_m - points[:, 2]
    scalar = (np.array(raw["scalar"]), np.array(raw["scalar_se"])) if "scalar" in raw else (None, None)
    return Face(points, normal, np.array(raw["E"]), np.array(raw["se"]), *scalar)


def solid(raw: dict[str, Any], depth_m: float) -> Solid:
    """A solid of the file as a record."""
    (x, y, z), size = raw["c"], tuple(2 * r for r in raw["r"])
    return Solid("", raw["kind"], x, y, depth_m - z, size, raw["yaw"], raw["albedo"])


def read_solid_scenes(across: int = 16) -> list[SolidScene]:
    """Every scene of the file, squares of ``across`` x ``across`` points."""
    return scenes_in(json.loads(SOLIDS.read_text())["scenes"], across)


def scenes_in(entries: list[dict[str, Any]], across: int) -> list[SolidScene]:
    """Scenes as they stand in the file."""
    scenes = []
    for entry in entries:
        raw = entry["scene"]
        tank = Tank(
            raw["L"],
            raw["W"],
            raw["D"],
            glass_thickness_m=raw["t_g"],
            glass_index=raw["n_g"],
            walls={name: Wall(WALL_KINDS[raw["walls"][side]]) for name, side in SIDES.items()},
            floor_reflectance=raw["rho_b"],
        )
        fixtures = tuple(_fixture(n, source) for n, source in enumerate(raw["sources"]))
        strength = [
            source.get("I0", 1.0) / _on_axis(fixture)
            for source, fixture in zip(raw["sources"], fixtures, strict=True)
        ]
        solids = tuple(solid(s, raw["D"]) for s in raw["solids"])
        squares = tuple(square(r, raw["D"], across) for r in entry["receivers"])
        standing = Standing(solids) if solids else None
        scenes.append(
            SolidScene(
                entry["id"],
                tank,
                raw["n_w"],
                fixtures,
                np.array(strength),
                standing,
                tuple(raw["a"]),
                squares,
            )
        )
    return scenes


def _fixture(number: int, source: dict[str, Any]) -> Fixture:
    width = 2 * np.degrees(np.arccos(0.5 ** (1 / source["m"])))
    size = tuple(source.get("size", (0.0, 0.0)))
    return lamp(str(number), CosineLobe(float(width)), source["x"], source["y"], source["h"], size)


def _on_axis(fixture: Fixture) -> float:
    beam = fixture.type.channels[0].beam
    return float(intensity_per_flux(beam, np.zeros(1), np.ones(1), None)[0])
