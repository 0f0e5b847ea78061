"""Light off the floor and off the skins of solids, with every later bounce, in a tank where solids stand.

Each patch gets light of the lamps, with shade, and of all patches that it sees by water, panes and surface;
what comes back leaves it by Lambert's law. Places get the light of the patches that they see.

For flat places the floor's light is that of the tank without solids, times what solids leave of it: a solid
that nothing meets changes nothing. On all other faces, and from all sides, it is what is seen.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import field
from functools import lru_cache

import numpy as np

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.physics.gathering import Seen, directions, see, see_open
from lightdose.physics.in_threads import THREADS, in_threads
from lightdose.physics.skins import Skins, skins_in
from lightdose.physics.solid_shapes import BoolArray, IntArray, holds
from lightdose.physics.water import share_left

BOUNCES_AT_MOST = 60
AROUND, ROUGH, FINE = 192, 128, 384
"""Directions of half the space: where light comes from all sides, and for flat places, many and few. By trial
against 1,500 on maps among rock, 128 are within 0.1 % of the brightest place at 95 of 100, 0.2 % at all."""

LINES_AT_MOST, LINES_A_BLOCK = 200_000, 40_000
FEW_PLACES, SHARED_M = 400, 0.012
"""Among more places than that, those in one cube of this side see the same: the bounce is smooth. [m]"""

MATRIX_AT_MOST = 1000
"""Up to so many patches a full matrix between them is quicker than its lines."""

LINES_OF_PATCHES = 40_000
FEWEST_A_PATCH, MOST_A_PATCH = 48, 192
"""Lines by which patches see each other, in all and of each. Our choice, by trial."""


@dataclass(frozen=True, eq=False)
class Patches:
    """Patches in their own light.

    Attributes
    ----------
    exitance : array, shape (n_patch, n_beam, n_node). [m-2]
    """

    skins: Skins
    index: float
    nodes_per_m: FloatArray
    exitance: FloatArray

    @property
    def tank(self) -> Tank:
        """The tank."""
        return self.skins.tank

    def seen(self, start: FloatArray, way: FloatArray) -> Seen:
        """What lines see of the patches, as ``see``."""
        return see(self.skins, self.tank, self.index, start, way)


def solved(
    skins: Skins, index: float, nodes_per_m: FloatArray, falling: FloatArray, *, shaded: bool = True
) -> Patches:
    """Patches with all bounces between them.

    Parameters
    ----------
    skins : Skins
    index : float
        Refractive index of the water.
    nodes_per_m : array, shape (n_node,)
        Absorption of the water. [m-1]
    falling : array, shape (n_patch, n_beam, n_node)
        Light of the lamps on each patch. [m-2]
    shaded : bool
        Whether solids stand between patches and have skins; else there is the floor alone.

    Source
    ------
    Radiosity balance B = rho (E + M B), with M from lines in equal parts of Lambert's law.
    """
    count = len(skins.area_m2) if shaded else skins.floor_count
    seen = between_patches(skins, index, count)
    rho = skins.reflectance[:count, None]
    exitance = np.empty_like(falling)
    later = np.zeros_like(falling[:, :, 0])  # of the node before: nearly that of the next
    for node, absorption in enumerate(nodes_per_m):
        weight = seen.share * share_left(absorption, seen.path_m) / seen.share.shape[1]
        own = rho * falling[:, :, node]
        gathered = _sums(weight, seen.patch)
        leaving, scale = own + later, 1e-6 * np.max(own, initial=0.0)
        for _ in range(BOUNCES_AT_MOST):
            last = leaving
            leaving = own + rho * gathered(last)
            if np.max(np.abs(leaving - last), initial=0.0) <= scale:
                break
        later = leaving - own
        exitance[:, :, node] = leaving
    return Patches(skins, index, nodes_per_m, exitance)


def _sums(weight: FloatArray, patch: IntArray) -> Callable[[FloatArray], FloatArray]:
    """Sums over the lines of each patch, (n_patch, n_beam) to (n, n_beam); weights (n, n_line)."""
    count = len(weight)
    if count <= MATRIX_AT_MOST:
        at = np.arange(count)[:, None] * count + patch
        return np.bincount(at.ravel(), weight.ravel(), count * count).reshape(count, count).__matmul__

    def by_line(values: FloatArray) -> FloatArray:
        return np.stack([(weight * values[:, b][patch]).sum(axis=1) for b in range(values.shape[1])], axis=1)

    return by_line


@lru_cache(maxsize=8)
def between_patches(skins: Skins, index: float, count: int) -> Seen:
    """What the first ``count`` patches see, shapes (n_patch, n_line), lines in equal parts of Lambert's law.

    Kept for the last few skins: whatever the lamps give, patches see the same of each other.

    Parameters
    ----------
    skins : Skins
        Without any solid where ``count`` is the floor alone.
    index : float
        Refractive index of the water.
    count : int
    """
    lines = int(np.clip(LINES_OF_PATCHES // max(1, count), FEWEST_A_PATCH, MOST_A_PATCH)) // 4 * 4
    local = directions(lines, cosine=True)
    across, beside = _frames(skins.normal[:count])
    way = (across[:, :, None] * local[0] + beside[:, :, None] * local[1]) + skins.normal[
        :count, :, None
    ] * local[2]
    start = np.repeat(skins.centre[:count, :, None], lines, axis=2)
    tank = skins.tank
    inside = (start[:, 0] > 0) & (start[:, 0] < tank.length_m) & (start[:, 1] > 0)
    inside &= (start[:, 1] < tank.width_m) & (start[:, 2] < 0) & (start[:, 2] >= -tank.water_depth_m)
    flat_start, flat_way = (a.transpose(1, 0, 2).reshape(3, -1) for a in (start, way))
    in_tank = np.flatnonzero(inside.ravel())
    found = see(skins, tank, index, flat_start[:, in_tank], flat_way[:, in_tank])
    patch: IntArray = np.zeros(inside.size, dtype=np.intp)
    share, path, thinned = np.zeros(inside.size), np.zeros(inside.size), np.ones(inside.size)
    patch[in_tank], share[in_tank], path[in_tank] = found.patch, found.share, found.path_m
    thinned[in_tank] = found.thinned
    return Seen(*(v.reshape(count, lines) for v in (patch, share, path, thinned)))  # type: ignore[arg-type]


def _frames(normal: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Two unit vectors across each normal, mirrored where the normal is."""
    level = np.hypot(normal[:, 0], normal[:, 1])
    flat = level < 1e-9
    safe = np.where(flat, 1.0, level)
    beside = np.column_stack(
        (
            np.where(flat, 0.0, -normal[:, 1] / safe),
            np.where(flat, 1.0, normal[:, 0] / safe),
            np.zeros(level.size),
        )
    )
    return np.cross(beside, normal), beside


def _shared(points_m: FloatArray, normals: FloatArray | None) -> tuple[IntArray, IntArray]:
    """Places that stand for all, as indices, and which of them stands for each place."""
    if len(points_m) <= FEW_PLACES:
        every = np.arange(len(points_m))
        return every, every
    cube = np.floor(points_m / SHARED_M).astype(np.intp)
    if normals is not None:
        cube = np.column_stack((cube, np.rint(1e6 * normals).astype(np.intp)))
    _, of = np.unique(cube, axis=0, return_inverse=True)
    count = np.bincount(of)
    middle = np.column_stack([np.bincount(of, points_m[:, a]) for a in range(3)]) / count[:, None]
    away = ((points_m - middle[of]) ** 2).sum(axis=1)
    order = np.lexsort((away, of))
    return order[np.concatenate(([0], np.cumsum(count)[:-1]))], of


def lines_for(count: int) -> int:
    """Directions of half the space at each of so many places."""
    return int(np.clip(LINES_AT_MOST // max(1, count), ROUGH, FINE)) // 4 * 4


@dataclass(frozen=True, eq=False)
class BouncedLight:
    """Light off floor and skins at any place.

    ``open`` is the floor in the tank without solids; None where no solid stands.
    """

    patches: Patches
    open: Patches | None
    for_points: int
    _known: dict[bytes, tuple[FloatArray, FloatArray]] = field(default_factory=dict)
    """Skins' light and the floor's share at single places: intervals and advice ask again and again."""

    def flat(self, points_m: FloatArray, floor: FloatArray | None) -> FloatArray:
        """Light on places that look up, shape (n_point, n_beam * n_node).

        Parameters
        ----------
        points_m : array, shape (n_point, 3)
            x, y, depth. [m]
        floor : array, shape (n_point, n_beam * n_node), or None
            The floor's light without solids; None where the floor gives none.
        """
        if len(points_m) > FEW_PLACES:
            by_skins, share = self._flat(points_m)
        else:
            keys = [point.tobytes() for point in np.ascontiguousarray(points_m)]
            new = [n for n, key in enumerate(keys) if key not in self._known]
            if new:
                found = zip(*self._flat(points_m[new]), strict=True)
                self._known.update(zip([keys[n] for n in new], found, strict=True))
            both = np.array([self._known[key] for key in keys]).reshape(len(keys), 2, self._columns)
            by_skins, share = both[:, 0], both[:, 1]
        return np.asarray(by_skins if floor is None else by_skins + floor * share)

    @property
    def _columns(self) -> int:
        """Beams times nodes."""
        return int(self.patches.exitance[0].size)

    def _flat(self, points_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Light of skins on places that look up, and what solids leave of the floor's light."""
        up = directions(lines_for(self.for_points), cosine=True)
        at, of = _shared(points_m, None)
        points, floor_count = points_m[at], self.patches.skins.floor_count
        by_floor, by_skins, without = found = np.zeros((3, at.size, self._columns))

        def fill(some: slice) -> None:
            count = len(points[some])
            start, way, row = _lines(points[some], up)
            seen = self.patches.seen(start, way)
            on_skin = seen.patch >= floor_count
            both = _gathered(self.patches, seen, row + count * on_skin, 2 * count)
            found[:2, some] = both.reshape(2, count, -1)
            if self.open is not None:
                floor = self.open.skins
                clear = see_open(seen, floor, floor.tank, self.open.index, start, way)
                found[2, some] = _gathered(self.open, clear, row, count)

        _by_blocks(fill, at.size, up.shape[1])
        by_skins /= up.shape[1]
        share = np.divide(by_floor, without, out=np.zeros_like(without), where=without > 0)
        return by_skins[of], share[of]

    def at_many(self, for_points: int) -> BouncedLight:
        """The same light for another number of places."""
        return BouncedLight(self.patches, self.open, for_points)

    def holds(self, points_m: FloatArray) -> BoolArray:
        """Whether rock or an opaque colony holds points (n, 3), x, y, depth. [m]"""
        return np.asarray(holds(self.patches.skins.shapes, points_m * (1.0, 1.0, -1.0)) >= 0)

    def around(self, points_m: FloatArray, normals: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Light on faces and from all sides, each of shape (n_point, n_beam * n_node).

        Parameters
        ----------
        points_m, normals : array, shape (n_point, 3)
            x, y, depth [m]; x, y, up.
        """
        at, of = _shared(points_m, normals)
        points_m, normals = points_m[at], normals[at]
        up = directions(AROUND)
        sphere = np.concatenate((up, up * np.array([[1.0], [1.0], [-1.0]])), axis=1)
        part = 4 / sphere.shape[1]
        faces = np.maximum(normals @ sphere, 0) * part
        on_faces, all_round = found = np.zeros((2, at.size, self._columns))

        def fill(some: slice) -> None:
            start, way, row = _lines(points_m[some], sphere)
            seen = self.patches.seen(start, way)
            for kind, weight in enumerate((faces[some].ravel(), part)):
                found[kind, some] = _gathered(self.patches, seen, row, len(points_m[some]), weight)

        _by_blocks(fill, at.size, sphere.shape[1])
        return on_faces[of], all_round[of]


def _lines(points_m: FloatArray, ways: FloatArray) -> tuple[FloatArray, FloatArray, IntArray]:
    """Lines from points (n, 3) in all ways (3, n_way): starts and ways (3, n_line), and whose each is."""
    count, each = len(points_m), ways.shape[1]
    row = np.repeat(np.arange(count), each)
    return (points_m * (1.0, 1.0, -1.0)).T[:, row], np.tile(ways, (1, count)), row


def _gathered(
    patches: Patches, seen: Seen, row: IntArray, count: int, weight: FloatArray | float = 1.0
) -> FloatArray:
    """What lines see, added up by rows, (count, n_beam * n_node); rows and weights of shape (n_line,)."""
    lit = np.flatnonzero(seen.share > 0)
    row, patch, path = row[lit], seen.patch[lit], seen.path_m[lit]
    share = seen.share[lit] * (weight if isinstance(weight, float) else weight[lit])
    out = np.empty((count, *patches.exitance.shape[1:]))
    for node, absorption in enumerate(patches.nodes_per_m):
        left = share * share_left(absorption, path)
        for beam in range(out.shape[1]):
            out[:, beam, node] = np.bincount(row, left * patches.exitance[patch, beam, node], count)
    return out.reshape(count, -1)


def _by_blocks(fill: Callable[[slice], None], count: int, lines_each: int) -> None:
    """Fill blocks of places, two at once where there are many."""
    step = max(1, LINES_A_BLOCK // lines_each)
    blocks = math.ceil(count / step)
    threads = THREADS if blocks > 2 * THREADS else 1
    in_threads(lambda n: fill(slice(n * step, (n + 1) * step)), blocks, threads)


def bare(skins: Skins) -> Skins:
    """The same floor without any solid."""
    return skins_in(skins.tank, ())
