"""Patches of the floor and of the skins of solids, and on which patch a point of a skin lies."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.model.solids import Solid
from lightdose.physics.floor import LEAST_REFLECTANCE
from lightdose.physics.solid_shapes import IntArray, Shapes, in_own_frame, shapes_of

FLOOR_PATCH_M = 0.035
FLOOR_PATCHES_AT_MOST = 600
"""Side of a patch of the floor, larger in large tanks. Our choice, by trial. [m]"""

SKIN_PATCH_M = 0.03
FEWEST, MOST = 24, 200
PATCHES_AT_MOST = 2000
"""Side of a patch of a skin [m]; patches of a solid, and of all. Our choice, by trial."""


@dataclass(frozen=True, eq=False)
class Skins:
    """Patches of the floor, row by row along y, then those of every opaque solid.

    Attributes
    ----------
    floor : patches of the floor along x and y
    first : array, shape (n_solid,); index of a solid's first patch, -1 where it has none
    parts : array, shape (n_solid, 3); cuts along the axes of a box; around, along and across of round ones
    centre, normal : array, shape (n_patch, 3); x, y, up. [m]
    area_m2, reflectance : array, shape (n_patch,)
    """

    tank: Tank
    shapes: Shapes
    floor: tuple[int, int]
    first: IntArray
    parts: IntArray
    centre: FloatArray
    normal: FloatArray
    area_m2: FloatArray
    reflectance: FloatArray

    @property
    def floor_count(self) -> int:
        """Patches of the floor."""
        return self.floor[0] * self.floor[1]

    def on_floor(self, at: FloatArray) -> IntArray:
        """Patch of the floor under points (>= 2, n)."""
        n_x, n_y = self.floor
        i = np.clip((at[0] / self.tank.length_m * n_x).astype(np.intp), 0, n_x - 1)
        j = np.clip((at[1] / self.tank.width_m * n_y).astype(np.intp), 0, n_y - 1)
        return np.asarray(i * n_y + j)

    def on_solid(self, solid: IntArray, at: FloatArray) -> IntArray:
        """Patch of a solid's skin at points (3, n) on it."""
        u = in_own_frame(self.shapes, solid, at - self.shapes.centre[solid].T)
        first, parts, kind = self.first[solid], self.parts[solid].T, self.shapes.kind[solid]
        found: IntArray = np.zeros(solid.size, dtype=np.intp)
        for which, place in enumerate((_on_box, _on_ellipsoid, _on_cylinder)):
            some = np.flatnonzero(kind == which)
            if some.size:
                found[some] = first[some] + place(u[:, some], parts[:, some])
        return found


@lru_cache(maxsize=8)
def skins_in(tank: Tank, solids: tuple[Solid, ...]) -> Skins:
    """Skins of solids in a tank; kept for the last few, since every light over a tank asks for them.

    Parameters
    ----------
    tank : Tank
    solids : tuple of Solid

    Source
    ------
    ``skins_of``.
    """
    return skins_of(tank, shapes_of(solids))


def skins_of(
    tank: Tank, shapes: Shapes, floor: tuple[int, int] | None = None, side_m: float | None = None
) -> Skins:
    """Cut the floor and the opaque solids into patches.

    Parameters
    ----------
    tank : Tank
    shapes : Shapes
    floor : patches of the floor along x and y; of our choice where None
    side_m : wanted side of the patches of skins; where None of our choice, with limits to their number

    Source
    ------
    Midpoints of equal parts of the parameters of each closed form.
    """
    pitch = max(FLOOR_PATCH_M, math.sqrt(tank.length_m * tank.width_m / FLOOR_PATCHES_AT_MOST))
    n_x, n_y = floor or (
        max(4, math.ceil(tank.length_m / pitch)),
        max(4, math.ceil(tank.width_m / pitch)),
    )
    x = (np.arange(n_x) + 0.5) / n_x * tank.length_m
    y = (np.arange(n_y) + 0.5) / n_y * tank.width_m
    flat = np.stack([a.ravel() for a in np.meshgrid(x, y, indexing="ij")], axis=1)
    centres = [np.column_stack((flat, np.full(len(flat), -tank.water_depth_m)))]
    normals = [np.tile((0.0, 0.0, 1.0), (len(flat), 1))]
    areas = [np.full(len(flat), tank.length_m * tank.width_m / len(flat))]
    shares = [np.full(len(flat), tank.floor_reflectance)]
    count = shapes.kind.size
    first: IntArray = np.full(count, -1, dtype=np.intp)
    parts: IntArray = np.ones((count, 3), dtype=np.intp)
    next_patch = len(flat)
    opaque = np.flatnonzero(shapes.passes == 0)
    for solid in opaque:
        parts[solid] = (
            _cuts(shapes, int(solid), max(1, opaque.size))
            if side_m is None
            else _parts(shapes, int(solid), side_m)[0]
        )
        u, around, weight = (_box, _ellipsoid, _cylinder)[shapes.kind[solid]](parts[solid])
        half = shapes.half[solid]
        normal = around / half
        long = np.sqrt((normal * normal).sum(axis=1))
        area = weight * half.prod() * long
        normal /= long[:, None]
        c, s = shapes.cosine[solid], shapes.sine[solid]
        turn = np.array(((c, s, 0.0), (-s, c, 0.0), (0.0, 0.0, 1.0)))
        centres.append(u * half @ turn + shapes.centre[solid])
        normals.append(normal @ turn)
        areas.append(area)
        shares.append(np.full(len(u), shapes.reflectance[solid]))
        first[solid] = next_patch
        next_patch += len(u)
    centre, normal, area_m2, reflectance = (np.concatenate(v) for v in (centres, normals, areas, shares))
    reflectance[reflectance < LEAST_REFLECTANCE] = 0.0
    return Skins(tank, shapes, (n_x, n_y), first, parts, centre, normal, area_m2, reflectance)


def _cuts(shapes: Shapes, solid: int, count: int) -> IntArray:
    """Parts of a skin so that patches have about the wanted side, and a solid 24 to 200 of them."""
    side = SKIN_PATCH_M
    most = max(FEWEST, min(MOST, PATCHES_AT_MOST // count))
    for _ in range(60):
        parts, number = _parts(shapes, solid, side)
        if FEWEST <= number <= most:
            break
        if (number > most) == (side < SKIN_PATCH_M):
            break  # it would swing between too many and too few
        side *= 1.1 if number > most else 0.9
    return parts


def _parts(shapes: Shapes, solid: int, side: float) -> tuple[IntArray, int]:
    """Cuts of a solid for patches of about a side, and how many patches that makes."""
    size, kind = 2 * shapes.half[solid], shapes.kind[solid]
    across = np.maximum(1, np.ceil(size / side - 1e-9)).astype(np.intp)
    if kind == 0:
        return across, int(2 * (across[0] * across[1] + across[0] * across[2] + across[1] * across[2]))
    around = max(6, math.ceil(1.5 * (size[0] + size[1]) / side))
    if kind == 1:
        rings = max(4, math.ceil(0.75 * (size[2] + min(size[0], size[1])) / side))
        return np.array((around, rings, 1), dtype=np.intp), around * rings
    rings = max(1, math.ceil(0.25 * (size[0] + size[1]) / side))
    parts = np.array((around, across[2], rings), dtype=np.intp)
    return parts, int(around * across[2] + 2 * around * rings)


def _grid(*counts: int) -> list[FloatArray]:
    """Midpoints 0-1 along axes, flattened, the last one running fastest."""
    axes = [(np.arange(n) + 0.5) / n for n in counts]
    return [a.ravel() for a in np.meshgrid(*axes, indexing="ij")]


def _box(parts: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    points, normals, weights = [], [], []
    for axis in range(3):
        one, other = (a for a in range(3) if a != axis)
        i, j = _grid(parts[one], parts[other])
        for sign in (-1.0, 1.0):
            u = np.zeros((i.size, 3))
            u[:, one], u[:, other], u[:, axis] = 2 * i - 1, 2 * j - 1, sign
            n = np.zeros_like(u)
            n[:, axis] = sign
            points.append(u)
            normals.append(n)
            weights.append(np.full(i.size, 4.0 / i.size))
    return np.concatenate(points), np.concatenate(normals), np.concatenate(weights)


def _on_box(u: FloatArray, parts: IntArray) -> IntArray:
    axis = np.argmax(np.abs(u), axis=0)
    each = np.arange(axis.size)
    cell = np.clip(((u + 1) / 2 * parts).astype(np.intp), 0, parts - 1)
    sizes = np.stack((parts[1] * parts[2], parts[0] * parts[2], parts[0] * parts[1]))
    before = 2 * np.stack((np.zeros_like(sizes[0]), sizes[0], sizes[0] + sizes[1]))[axis, each]
    side = np.where(u[axis, each] > 0, sizes[axis, each], 0)
    one, other = np.where(axis == 0, 1, 0), np.where(axis == 2, 1, 2)
    return np.asarray(before + side + cell[one, each] * parts[other, each] + cell[other, each])


def _ellipsoid(parts: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    turn, rise = _grid(parts[0], parts[1])
    angle, level = 2 * np.pi * turn, 2 * rise - 1
    wide = np.sqrt(1 - level * level)
    u = np.column_stack((wide * np.cos(angle), wide * np.sin(angle), level))
    return u, u, np.full(len(u), 4 * np.pi / len(u))


def _on_ellipsoid(u: FloatArray, parts: IntArray) -> IntArray:
    turn = (np.arctan2(u[1], u[0]) / (2 * np.pi)) % 1.0
    i = np.minimum((turn * parts[0]).astype(np.intp), parts[0] - 1)
    j = np.clip(((u[2] + 1) / 2 * parts[1]).astype(np.intp), 0, parts[1] - 1)
    return np.asarray(i * parts[1] + j)


def _cylinder(parts: IntArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    turn, rise = _grid(parts[0], parts[1])
    angle = 2 * np.pi * turn
    side = np.column_stack((np.cos(angle), np.sin(angle), 2 * rise - 1))
    points = [side]
    normals = [side * (1, 1, 0)]
    weights = [np.full(len(side), 4 * np.pi / len(side))]
    turn, out = _grid(parts[0], parts[2])
    angle, out = 2 * np.pi * turn, np.sqrt(out)
    for end in (-1.0, 1.0):
        points.append(np.column_stack((out * np.cos(angle), out * np.sin(angle), np.full(out.size, end))))
        normals.append(np.tile((0.0, 0.0, end), (out.size, 1)))
        weights.append(np.full(out.size, np.pi / out.size))
    return np.concatenate(points), np.concatenate(normals), np.concatenate(weights)


def _on_cylinder(u: FloatArray, parts: IntArray) -> IntArray:
    turn = (np.arctan2(u[1], u[0]) / (2 * np.pi)) % 1.0
    i = np.minimum((turn * parts[0]).astype(np.intp), parts[0] - 1)
    square = u[0] * u[0] + u[1] * u[1]
    on_side = 1 - np.sqrt(square) < 1 - np.abs(u[2])
    j = np.clip(((u[2] + 1) / 2 * parts[1]).astype(np.intp), 0, parts[1] - 1)
    k = np.clip((square * parts[2]).astype(np.intp), 0, parts[2] - 1)
    cap = parts[0] * parts[1] + np.where(u[2] > 0, parts[0] * parts[2], 0) + i * parts[2] + k
    return np.asarray(np.where(on_side, i * parts[1] + j, cap))
