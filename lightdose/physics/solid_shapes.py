"""Where straight lines run through solids: closed forms of boxes, ellipsoids and upright cylinders.

Points are (x, y, up) with the surface at 0 and the floor at minus the depth, in metres; ways are unit
vectors.
A cheap test against the sphere around each solid comes first, so that the closed forms meet few pairs.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.solids import Solid

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

SKIN_M = 2e-4
"""Light that starts on a skin leaves it within this: a place on a rock is not inside it. [m]"""

_TINY = 1e-12
HOME_M = 0.03
"""So near to where a colony stands is its own place: a meter is held there in its stead. Our choice. [m]"""

_PAIRS_AT_ONCE = 100_000
"""Lines times solids in one block, so that it fits the cache; by measurement."""


@dataclass(frozen=True, eq=False)
class Shapes:
    """Solids as arrays; n_solid of them.

    Attributes
    ----------
    kind : array of int; 0 box, 1 ellipsoid, 2 cylinder
    centre, half : array, shape (n_solid, 3). [m]
    cosine, sine : array, shape (n_solid,); of the turn
    low_m : array, shape (n_solid,); level below which a solid is cut, -inf where it is whole. [m]
    passes, through_m : array, shape (n_solid,)
    colony : array of bool; light that starts in a colony, or where it stands, is not held back by it
    foot_m : array, shape (n_solid,); level at which a colony stands, NaN for rock. [m]
    reflectance : array, shape (n_solid,)
    """

    kind: IntArray
    centre: FloatArray
    half: FloatArray
    cosine: FloatArray
    sine: FloatArray
    low_m: FloatArray
    passes: FloatArray
    through_m: FloatArray
    colony: BoolArray
    foot_m: FloatArray
    reflectance: FloatArray

    @property
    def top_m(self) -> float:
        """Level of the highest point of all. [m]"""
        return float(np.max(self.centre[:, 2] + self.half[:, 2], initial=-np.inf))


KINDS = ("box", "ellipsoid", "cylinder")


def shapes_of(solids: Sequence[Solid]) -> Shapes:
    """Solids ready for lines.

    Parameters
    ----------
    solids : sequence of Solid

    Source
    ------
    Definition of the axes.
    """
    turn = np.deg2rad([s.turn_deg for s in solids])
    return Shapes(
        np.array([KINDS.index(s.shape) for s in solids], dtype=np.intp),
        np.array([(s.x_m, s.y_m, -s.depth_m) for s in solids]).reshape(-1, 3),
        0.5 * np.array([s.size_m for s in solids]).reshape(-1, 3),
        np.cos(turn),
        np.sin(turn),
        np.array([-np.inf if s.base_depth_m is None else -s.base_depth_m for s in solids]),
        np.array([s.passes for s in solids], dtype=np.float64),
        np.array([s.through_m for s in solids], dtype=np.float64),
        np.array([bool(s.coral) for s in solids]),
        np.array([np.nan if s.foot_depth_m is None else -s.foot_depth_m for s in solids]),
        np.array([s.reflectance for s in solids], dtype=np.float64),
    )


def in_own_frame(shapes: Shapes, solid: IntArray, vector: FloatArray) -> FloatArray:
    """Vectors turned into the frames of solids and scaled by their half extents.

    Parameters
    ----------
    shapes : Shapes
    solid : array, shape (n,)
    vector : array, shape (3, n)

    Returns
    -------
    array, shape (3, n)
        The skin of a box lies at the largest part 1, of an ellipsoid at length 1.

    Source
    ------
    Geometry.
    """
    c, s, half = shapes.cosine[solid], shapes.sine[solid], shapes.half[solid].T
    turned = np.stack((c * vector[0] + s * vector[1], c * vector[1] - s * vector[0], vector[2]))
    return np.asarray(turned / half)


def spans(
    shapes: Shapes, solid: IntArray, start: FloatArray, way: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where lines enter and leave solids; they miss where they leave before they enter.

    Parameters
    ----------
    shapes : Shapes
    solid : array, shape (n,)
        Index of the solid of each line.
    start, way : array, shape (3, n)
        [m]

    Returns
    -------
    enter, leave : array, shape (n,)
        Along the line; below 0 lies behind its start. [m]

    Source
    ------
    Quadratic and linear equations of the closed forms.
    """
    u = in_own_frame(shapes, solid, start - shapes.centre[solid].T)
    v = in_own_frame(shapes, solid, way)
    v = np.where(np.abs(v) < _TINY, _TINY, v)
    kind = shapes.kind[solid]
    near, far = -np.inf * np.ones(solid.size), np.inf * np.ones(solid.size)
    for axes, flat in ((slice(0, 2), kind == 0), (slice(2, 3), kind != 1)):
        some = np.flatnonzero(flat)
        one = (-1 - u[axes, some]) / v[axes, some]
        other = (1 - u[axes, some]) / v[axes, some]
        near[some] = np.maximum(near[some], np.minimum(one, other).max(axis=0))
        far[some] = np.minimum(far[some], np.maximum(one, other).min(axis=0))
    for axes, round_ in ((slice(0, 3), kind == 1), (slice(0, 2), kind == 2)):
        some = np.flatnonzero(round_)
        p, d = u[axes, some], v[axes, some]
        a, b, c = (d * d).sum(axis=0), (p * d).sum(axis=0), (p * p).sum(axis=0) - 1
        square = b * b - a * c
        root = np.sqrt(np.maximum(square, 0))
        near[some] = np.maximum(near[some], np.where(square > 0, (-b - root) / a, np.inf))
        far[some] = np.minimum(far[some], np.where(square > 0, (-b + root) / a, -np.inf))
    low = shapes.low_m[solid]
    cut = np.flatnonzero(np.isfinite(low))
    if cut.size:
        rise = np.where(np.abs(way[2, cut]) < _TINY, _TINY, way[2, cut])
        level = (low[cut] - start[2, cut]) / rise
        up = rise > 0
        near[cut] = np.where(up, np.maximum(near[cut], level), near[cut])
        far[cut] = np.where(up, far[cut], np.minimum(far[cut], level))
    return near, far


def _close_pairs(
    shapes: Shapes, start: FloatArray, way: FloatArray, length_m: FloatArray
) -> tuple[IntArray, IntArray]:
    """Lines and solids whose spheres they meet within their length; single precision, with room for it."""
    lines: list[IntArray] = []
    solids: list[IntArray] = []
    size = max(1, _PAIRS_AT_ONCE // max(1, shapes.kind.size))
    c = shapes.centre.astype(np.float32)
    c2 = (c * c).sum(axis=1)[:, None]
    rounding = 4e-6 * (1 + np.max(c2, initial=0.0))
    radius2 = ((shapes.half**2).sum(axis=1)[:, None] + rounding).astype(np.float32)
    for first in range(0, length_m.size, size):
        part = slice(first, first + size)
        p, w, t = (a[..., part].astype(np.float32) for a in (start, way, length_m))
        along = c @ w
        along -= (p * w).sum(axis=0)
        away2 = c @ p
        away2 *= -2
        away2 += c2
        away2 += (p * p).sum(axis=0)
        nearest = np.maximum(along, 0)
        np.minimum(nearest, t, out=nearest)
        along *= 2
        along -= nearest
        along *= nearest
        away2 -= along  # |c - p - t w|^2 = |c - p|^2 - t (2 along - t)
        solid, line = np.divmod(np.flatnonzero(away2 <= radius2), t.size)
        solids.append(solid)
        lines.append(line + first)
    if not lines:
        none = np.zeros(0, dtype=np.intp)
        return none, none
    return np.concatenate(lines), np.concatenate(solids)


def _met(
    shapes: Shapes, start: FloatArray, way: FloatArray, length_m: FloatArray
) -> tuple[IntArray, IntArray, FloatArray, FloatArray]:
    """Lines that run through solids: line, solid, and from where to where within the line's length."""
    line, solid = _close_pairs(shapes, start, way, length_m)
    enter, leave = spans(shapes, solid, start[:, line], way[:, line])
    inside = (enter < SKIN_M) | _at_home(shapes, solid, start[:, line])
    hit = (leave > np.maximum(enter, 0) + 1e-9) & (leave > SKIN_M) & (enter < length_m[line])
    hit &= ~(shapes.colony[solid] & inside)
    keep = np.flatnonzero(hit)
    line, solid = line[keep], solid[keep]
    return line, solid, np.maximum(enter[keep], 0), np.minimum(leave[keep], length_m[line])


def _at_home(shapes: Shapes, solid: IntArray, start: FloatArray) -> BoolArray:
    """Whether lines start where their colony stands: what is there in its stead has it out of the way."""
    foot, place = shapes.foot_m[solid], shapes.centre[solid].T
    away = (start[0] - place[0]) ** 2 + (start[1] - place[1]) ** 2 + (start[2] - foot) ** 2
    return np.asarray(away <= HOME_M**2)


def passed(shapes: Shapes, start: FloatArray, way: FloatArray, length_m: FloatArray) -> FloatArray:
    """Share of light that passes straight pieces of its way.

    Parameters
    ----------
    shapes : Shapes
    start, way : array, shape (3, n)
        [m]
    length_m : array, shape (n,)
        [m]

    Returns
    -------
    array, shape (n,)
        0 where a solid stands in the way, 1 where none does, between them through branching colonies.

    Source
    ------
    Geometry; light through a colony falls with the way in it, Beer-Lambert law.
    """
    share = np.ones(length_m.size)
    line, _, dims = dimmed(shapes, start, way, length_m)
    if line.size:
        np.multiply.at(share, line, dims)
    return share


def dimmed(
    shapes: Shapes, start: FloatArray, way: FloatArray, length_m: FloatArray
) -> tuple[IntArray, IntArray, FloatArray]:
    """What stands on straight pieces: pairs of a line and a solid, and the share that each lets through.

    Parameters
    ----------
    shapes, start, way, length_m
        As in ``passed``.

    Source
    ------
    As ``passed``.
    """
    line, solid, enter, leave = _met(shapes, start, way, length_m)
    passes = shapes.passes[solid]
    thick = (leave - enter) / shapes.through_m[solid]
    return line, solid, np.where(passes > 0, np.maximum(passes, 1e-300) ** thick, 0.0)


def passed_along(shapes: Shapes, start: FloatArray, step: FloatArray) -> FloatArray:
    """Share of light that passes steps along a pane, in which it runs; a solid against it holds it back.

    Parameters
    ----------
    shapes : Shapes
    start, step : array, shape (3, n)
        [m]

    Source
    ------
    Our choice: under a plate from wall to wall there is no light.
    """
    share = np.ones(start.shape[1])
    long = np.sqrt((step * step).sum(axis=0))
    some = np.flatnonzero(long > 0)
    if some.size:
        share[some] = passed(shapes, start[:, some], step[:, some] / long[some], long[some])
    return share


def first_met(
    shapes: Shapes, start: FloatArray, way: FloatArray, length_m: FloatArray
) -> tuple[FloatArray, IntArray, FloatArray]:
    """The first opaque solid on straight pieces of a way, and what branching colonies before it let through.

    Parameters
    ----------
    shapes, start, way, length_m
        As in ``passed``.

    Returns
    -------
    way_m : array, shape (n,)
        To the solid; the whole length where there is none. [m]
    solid : array, shape (n,)
        Its index, or -1.
    share : array, shape (n,)

    Source
    ------
    ``passed``.
    """
    reach, which, share = length_m.copy(), np.full(length_m.size, -1, dtype=np.intp), np.ones(length_m.size)
    line, solid, enter, leave = _met(shapes, start, way, length_m)
    if line.size == 0:
        return reach, which, share
    opaque = np.flatnonzero(shapes.passes[solid] == 0)
    order = opaque[np.argsort(-enter[opaque], kind="stable")]
    reach[line[order]], which[line[order]] = enter[order], solid[order]  # the nearest is written last
    thin = np.flatnonzero(shapes.passes[solid] > 0)
    if thin.size:
        row = line[thin]
        inside = np.maximum(np.minimum(leave[thin], reach[row]) - enter[thin], 0)
        of = solid[thin]
        np.multiply.at(share, row, shapes.passes[of] ** (inside / shapes.through_m[of]))
    return reach, which, share


def normals_at(shapes: Shapes, solid: IntArray, points: FloatArray) -> FloatArray:
    """Unit vectors out of solids at points on their skins.

    Parameters
    ----------
    shapes : Shapes
    solid : array, shape (n,)
    points : array, shape (3, n)
        x, y, up. [m]

    Returns
    -------
    array, shape (3, n)

    Source
    ------
    Gradients of the closed forms.
    """
    u = in_own_frame(shapes, solid, points - shapes.centre[solid].T)
    kind, half = shapes.kind[solid], shapes.half[solid].T
    each = np.arange(solid.size)
    flat = np.zeros_like(u)
    axis = np.where(kind == 2, 2, np.argmax(np.abs(u), axis=0))
    flat[axis, each] = np.sign(u[axis, each])
    on_end = 1 - np.abs(u[2]) <= 1 - np.hypot(u[0], u[1])
    around = u / half
    around[2] = np.where(kind == 2, 0.0, around[2])
    own = np.where((kind == 0) | ((kind == 2) & on_end), flat, around)
    own /= np.sqrt((own * own).sum(axis=0))
    c, s = shapes.cosine[solid], shapes.sine[solid]
    return np.stack((c * own[0] - s * own[1], s * own[0] + c * own[1], own[2]))


def holds(shapes: Shapes, points: FloatArray, deep_m: float = SKIN_M, *, colonies: bool = False) -> IntArray:
    """The rock that a point lies in, by more than its skin, or -1; a colony is no rock.

    Parameters
    ----------
    shapes : Shapes
    points : array, shape (n, 3)
        x, y, up. [m]
    deep_m : float
        How far inside at least. [m]
    colonies : bool
        Opaque colonies count too.

    Source
    ------
    Geometry.
    """
    found = np.full(len(points), -1, dtype=np.intp)
    if shapes.kind.size == 0:
        return found
    for solid in np.flatnonzero(~shapes.colony | (colonies & (shapes.passes == 0))):
        which = np.full(len(points), solid)
        u = in_own_frame(shapes, which, points.T - shapes.centre[solid][:, None])
        half, kind = shapes.half[solid][:, None], shapes.kind[solid]
        room = (1 - np.abs(u)) * half
        if kind == 0:
            inside = room.min(axis=0)
        elif kind == 1:
            inside = (1 - np.sqrt((u * u).sum(axis=0))) * half.min()
        else:
            inside = np.minimum((1 - np.hypot(u[0], u[1])) * half[:2].min(), room[2])
        inside = np.minimum(inside, points[:, 2] - shapes.low_m[solid])
        found[(inside > deep_m) & (found < 0)] = solid
    return found
