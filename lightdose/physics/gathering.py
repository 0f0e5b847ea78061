"""What is seen from a place in every direction: lines through the water to the floor and to skins.

A line is followed off panes and the surface until it meets the floor or a solid. Directions are the same for
every place and lie mirrored in both axes, so that a mirrored tank has mirrored light.
"""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.physics.skins import Skins
from lightdose.physics.solid_shapes import IntArray, first_met, passed_along
from lightdose.physics.walls import axis_walls, glass_rest, wall_reflectance
from lightdose.physics.water import surface_reflectance_from_below

LEAST_SHARE = 0.01
"""Lines that carry less than this of what is seen at their end are given up. Our choice."""

LEGS_AT_MOST = 40
_ROUNDING_M = 1e-9
LINES_AT_ONCE = 40_000


@lru_cache(maxsize=16)
def directions(count: int, *, cosine: bool = False) -> FloatArray:
    """Directions of the upper half space, each for an equal part of it.

    Parameters
    ----------
    count : int
        How many; a multiple of 4 is taken.
    cosine : bool
        Equal parts of the light that a flat surface gets, instead of the solid angle.

    Returns
    -------
    array, shape (3, n)
        Unit vectors, last part above 0; mirrored in x and in y.

    Source
    ------
    Points of an additive recurrence with the golden ratios of the plane, which fill it evenly.
    """
    quarter = np.arange(max(1, count // 4))
    height = ((quarter + 0.5) / quarter.size) % 1.0
    turn = (0.5 + quarter * 0.6180339887498949) % 1.0
    up = np.sqrt(height) if cosine else height
    level, angle = np.sqrt(1 - up * up), 0.5 * math.pi * turn
    x, y = level * np.cos(angle), level * np.sin(angle)
    found = np.stack(
        [np.concatenate((x, -x, x, -x)), np.concatenate((y, y, -y, -y)), np.concatenate((up, up, up, up))]
    )
    found.setflags(write=False)
    return found


@dataclass(frozen=True, eq=False)
class Seen:
    """What lines end on; arrays of the lines' shape.

    Attributes
    ----------
    patch : index of the patch; 0 where ``share`` is 0
    share : of the patch's light that comes back along the line, without absorption
    path_m : way in the water. [m]
    thinned : what colonies that let light through leave of it; 1 where none stands in the way
    """

    patch: IntArray
    share: FloatArray
    path_m: FloatArray
    thinned: FloatArray

    def of(self, some: slice) -> Seen:
        """What some of the lines end on."""
        return Seen(self.patch[some], self.share[some], self.path_m[some], self.thinned[some])


def see(skins: Skins, tank: Tank, index: float, start: FloatArray, way: FloatArray) -> Seen:
    """Follow lines to what they see.

    Parameters
    ----------
    skins : Skins
    tank : Tank
    index : float
        Refractive index of the water.
    start, way : array, shape (3, n)
        x, y, up [m]; unit vectors.

    Source
    ------
    Fresnel's equations; geometry of a box with plane mirrors, whose clear panes are crossed there and back.
    """
    count = way.shape[1]
    seen = Seen(np.zeros(count, dtype=np.intp), np.zeros(count), np.zeros(count), np.ones(count))
    for first in range(0, count, LINES_AT_ONCE):
        part = slice(first, first + LINES_AT_ONCE)
        _see(skins, tank, index, start[:, part], way[:, part], seen.of(part))
    return seen


def see_open(seen: Seen, skins: Skins, tank: Tank, index: float, start: FloatArray, way: FloatArray) -> Seen:
    """What the same lines see of the floor without any solid: lines that met none are not followed again.

    Parameters
    ----------
    seen : Seen
        By the lines, each with its own entry, of shape (n,).
    skins : Skins
        Of the floor alone.
    tank, index, start, way
        As in ``see``.

    Source
    ------
    ``see``.
    """
    met = np.flatnonzero((seen.patch >= skins.floor_count) | ((seen.share == 0) & (seen.thinned < 1)))
    anew = see(skins, tank, index, start[:, met], way[:, met])
    patch, path = seen.patch.copy(), seen.path_m.copy()
    share = np.divide(seen.share, seen.thinned, out=np.zeros(seen.share.size), where=seen.thinned > 0)
    patch[met], share[met], path[met] = anew.patch, anew.share, anew.path_m
    return Seen(patch, share, path, np.ones(share.size))


def _see(
    skins: Skins,
    tank: Tank,
    index: float,
    start: FloatArray,
    way: FloatArray,
    out: Seen,
) -> None:
    """The same of some lines, into their part of the whole."""
    spans = (tank.length_m, tank.width_m, tank.water_depth_m)
    rest = glass_rest(index, tank.glass_index)
    line = np.arange(way.shape[1])
    at, way = start.copy(), way.copy()
    left, thinned, gone = np.ones(line.size), np.ones(line.size), np.zeros(line.size)
    for _ in range(LEGS_AT_MOST):
        if line.size == 0:
            return
        length, axis = _next_plane(at, way, spans)
        if skins.shapes.kind.size:
            length, solid, thin = first_met(skins.shapes, at, way, length)
            left, thinned = left * thin, thinned * thin
        else:
            solid = np.full(line.size, -1, dtype=np.intp)
        at = at + way * length
        gone = gone + length
        met = np.flatnonzero(solid >= 0)
        if met.size:
            out.patch[line[met]] = skins.on_solid(solid[met], at[:, met])
        floor = (solid < 0) & (axis == 2) & (way[2] < 0)
        down = np.flatnonzero(floor)
        if down.size:
            out.patch[line[down]] = skins.on_floor(at[:, down])
        go_on = (solid < 0) & ~floor
        ends = np.flatnonzero(~go_on)
        out.share[line[ends]], out.path_m[line[ends]] = left[ends], gone[ends]
        top = np.flatnonzero(go_on & (axis == 2))
        left[top] *= surface_reflectance_from_below(way[2, top], index)
        way[2, top] *= -1
        for which, walls in enumerate(axis_walls(tank)):
            right = way[which] > 0
            for high, wall in enumerate(walls):
                on = np.flatnonzero(go_on & (axis == which) & (right == bool(high)))
                if on.size == 0:
                    continue
                normal = index * np.abs(way[which, on])
                left[on] *= wall_reflectance(wall, normal, index, tank.glass_index)
                if wall.kind == "clean" and tank.glass_thickness_m:
                    along = way[:, on] * (
                        2 * tank.glass_thickness_m * index / np.sqrt(rest + normal * normal)
                    )
                    along[which] = 0.0
                    if skins.shapes.kind.size:
                        thin = passed_along(skins.shapes, at[:, on], along)
                        left[on] *= thin
                        thinned[on] *= thin
                    at[:, on] += along
                way[which, on] *= -1
        inside = (at[2] <= _ROUNDING_M) & (at[2] >= -spans[2] - _ROUNDING_M)
        for which in range(2):
            inside &= (at[which] >= -_ROUNDING_M) & (at[which] <= spans[which] + _ROUNDING_M)
        out.thinned[line] = thinned
        keep = np.flatnonzero(go_on & inside & (left > LEAST_SHARE))
        at, way, line = at[:, keep], way[:, keep], line[keep]
        left, thinned, gone = left[keep], thinned[keep], gone[keep]


def _next_plane(
    at: FloatArray, way: FloatArray, spans: tuple[float, float, float]
) -> tuple[FloatArray, IntArray]:
    """Distance to the next wall, floor or surface, and the axis across it."""
    best = np.full(at.shape[1], np.inf)
    axis = np.zeros(at.shape[1], dtype=np.intp)
    for which, span in enumerate(spans):
        low, high = (-span, 0.0) if which == 2 else (0.0, span)
        speed = way[which]
        moves = np.abs(speed) > 1e-12
        goal = np.where(speed > 0, high, low)
        when = np.where(moves, np.maximum((goal - at[which]) / np.where(moves, speed, 1.0), 0.0), np.inf)
        sooner = when < best
        best = np.where(sooner, when, best)
        axis = np.where(sooner, which, axis)
    return best, axis
