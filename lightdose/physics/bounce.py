"""Light off the floor and off the skins of solids, with every later bounce, in a tank where solids stand.

Each patch gets light of the lamps, with shade, and of all patches that it sees by water, panes and surface;
what comes back leaves it by Lambert's law. Places get the light of the patches that they see.

For flat places the floor's light is that of the tank without solids, times what solids leave of it: a solid
that nothing meets changes nothing. On all other faces, and from all sides, it is what is seen.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import field
from functools import lru_cache

import numpy as np

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.physics.gathering import Seen, directions, see
from lightdose.physics.skins import Skins, skins_in
from lightdose.physics.solid_shapes import BoolArray, IntArray, holds

BOUNCES_AT_MOST = 60
AROUND, ROUGH, FINE = 192, 128, 384
"""Directions of half the space: where light comes from all sides, and for flat places, many and few. By trial
against 1,500 on maps among rock, 128 are within 0.1 % of the brightest place at 95 of 100, 0.2 % at all."""

THREADS = 2
"""Blocks of places at once; numpy works outside the interpreter's lock."""

LINES_AT_MOST = 200_000
FEW_PLACES, SHARED_M = 400, 0.012
"""Among more places than that, those in one cube of this side see the same: the bounce is smooth. [m]"""

MATRIX_AT_MOST = 1000
"""Up to so many patches a full matrix between them is quicker than its lines."""

LINES_OF_PATCHES = 80_000
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
        weight = seen.share * np.exp(-absorption * seen.path_m) / seen.share.shape[1]
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
    share, path = np.zeros(inside.size), np.zeros(inside.size)
    patch[in_tank], share[in_tank], path[in_tank] = found.patch, found.share, found.path_m
    return Seen(*(v.reshape(count, lines) for v in (patch, share, path)))  # type: ignore[arg-type]


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
        weight = np.full((1, 1, up.shape[1]), 1 / up.shape[1])
        at, of = _shared(points_m, None)
        by_floor, by_skins = self._seen_light(self.patches, points_m[at], up, weight, by_floor=True)[:, :, 0]
        if self.open is None:
            return by_skins[of], np.zeros_like(by_skins[of])
        without = self._seen_light(self.open, points_m[at], up, weight)[:, 0]
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
        found = self._seen_light(self.patches, points_m, sphere, np.stack((faces, np.full_like(faces, part))))
        return found[of, 0], found[of, 1]

    def _seen_light(
        self,
        patches: Patches,
        points_m: FloatArray,
        ways: FloatArray,
        weights: FloatArray,
        *,
        by_floor: bool = False,
    ) -> FloatArray:
        """Sums over what places see; weights (n_kind, n_point or 1, n_way).

        Shape (n_point, n_kind, n), or (2, n_point, n_kind, n) with the floor's light and that of skins.
        """
        n_point, n_way = len(points_m), ways.shape[1]
        beams, nodes = patches.exitance.shape[1:]
        flat = patches.exitance.reshape(len(patches.exitance), -1)
        kinds = weights.shape[0]
        out = np.zeros((2 if by_floor else 1, n_point, kinds, beams * nodes))
        step = max(1, 40_000 // n_way)

        def fill(first: int) -> None:
            some = slice(first, min(first + step, n_point))
            at = points_m[some] * (1.0, 1.0, -1.0)
            count = len(at)
            start = np.repeat(at.T[:, :, None], n_way, axis=2).reshape(3, -1)
            seen = see(patches.skins, patches.tank, patches.index, start, np.tile(ways, (1, count)))
            own = weights[:, some] if weights.shape[1] == n_point else weights[:, :1]
            lit = np.flatnonzero(seen.share > 0)
            row, column = np.divmod(lit, n_way)
            patch, share, path = seen.patch[lit], seen.share[lit], seen.path_m[lit]
            left = [np.exp(-a * path) * share for a in patches.nodes_per_m]
            skin = (patch >= patches.skins.floor_count) if by_floor else np.zeros(patch.size, dtype=bool)
            bins = row + count * skin
            for kind in range(kinds):
                w = own[kind][row if len(own[kind]) > 1 else 0, column]
                for beam in range(beams):
                    for node in range(nodes):
                        values = w * left[node] * flat[patch, beam * nodes + node]
                        total = np.bincount(bins, values, count * len(out)).reshape(len(out), count)
                        out[:, some, kind, beam * nodes + node] = total

        firsts = range(0, n_point, step)
        if len(firsts) <= 2 * THREADS:
            for first in firsts:
                fill(first)
        else:
            from concurrent.futures import ThreadPoolExecutor

            with ThreadPoolExecutor(THREADS) as pool:
                list(pool.map(fill, firsts))
        return out if by_floor else out[0]


def bare(skins: Skins) -> Skins:
    """The same floor without any solid."""
    return skins_in(skins.tank, ())
