"""The floor's diffuse bounce at any place under water, every later bounce included.

The floor reflects by Lambert's law. Its light rises, is reflected at the surface from below (wholly beyond
the critical angle), and falls on places that look up; walls mirror it on the way. Floor and receivers stand
on one lattice, so the exchange between any two patches depends on lattice differences (even images) or sums
(odd images) only, and whole matrices come from a small table.

While a ray is in a pane it goes on along the wall. Where that leads into the next pane, or past the waterline
on the way up, it has no mirror image. The share is found for a floor that shines evenly, which is enough: the
floor's light is a few percent of all, and the share falls with the distance from the edge.

It is computed on the lattice of the floor's patches at a few levels, interpolated by cubics sideways and by a
polynomial in depth to a fine lattice, and linearly within that. Few places take the weights one by one, many
places a table of the fine lattice: the same numbers.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import field
from itertools import product
from typing import Any, Final

import numpy as np
import numpy.typing as npt

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank, Wall
from lightdose.physics.walls import (
    AxisImages,
    axis_images,
    axis_walls,
    glass_rest,
    pane_stay,
    wall_reflectance,
)
from lightdose.physics.water import share_left, surface_reflectance_from_below

IntArray = npt.NDArray[np.intp]

DISPLACEMENT_PASSES = 3
PATCH_PER_DEPTH = 0.13
"""Side of a floor patch in water depths: the bounce varies over one depth or more. Our choice, by trial."""

PATCHES_AT_MOST = 400
LEAST_REFLECTANCE = 1e-9
"""Below it a floor or a stone is black: what it would send back no meter shows, and many bounces of less
become numbers next to the smallest that a computer holds, which take ten to a hundred times as long."""

FEWEST_PATCHES = 4
REACH_PER_HEIGHT, REACH_BETWEEN_MIRRORS = 2.0, 6.0
"""Mirror images are followed to this many times the vertical way, further where a wall has a stated
reflectance. Glass lets out what comes from beyond: by trial under 0.4 % of the bounce, in shallow tanks."""


@dataclass(frozen=True, eq=False)
class FloorGrid:
    """Square-like patches of the floor. [m]"""

    tank: Tank
    index: float
    x_m: FloatArray
    y_m: FloatArray

    @property
    def patch_m2(self) -> float:
        """Area of a patch. [m2]"""
        return self.tank.length_m * self.tank.width_m / (self.x_m.size * self.y_m.size)


def floor_grid(tank: Tank, index: float) -> FloorGrid:
    """Cut the floor into patches fine enough for the tank's depth.

    Parameters
    ----------
    tank : Tank
    index : float
        Refractive index of the water.

    Source
    ------
    Midpoint rule; patch size by trial against finer ones.
    """
    pitch = PATCH_PER_DEPTH * tank.water_depth_m
    pitch = max(pitch, math.sqrt(tank.length_m * tank.width_m / PATCHES_AT_MOST))
    spans = (tank.length_m, tank.width_m)
    counts = [max(FEWEST_PATCHES, math.ceil(span / pitch - 1e-9)) for span in spans]
    if counts[0] * counts[1] > 1.25 * PATCHES_AT_MOST:  # a gutter: patches as long as their number asks
        counts[counts.index(max(counts))] = PATCHES_AT_MOST // min(counts)
    centres = ((np.arange(n) + 0.5) * span / n for span, n in zip(spans, counts, strict=True))
    return FloorGrid(tank, index, *centres)


@dataclass(frozen=True, eq=False)
class _AxisPairs:
    """Different ways along one axis between two patches, by whatever mirror image.

    Attributes
    ----------
    away_m : array, shape (n,); distance. [m]
    images : the image of each way, (n,)
    member : array, shape (2, 2 count - 1, n); how often parity and lattice index take each way
    """

    away_m: FloatArray
    images: AxisImages
    member: FloatArray


def _axis_pairs(
    span_m: float, count: int, walls: tuple[Wall, Wall], tank: Tank, height_m: float
) -> _AxisPairs:
    """All ways along an axis; where both walls are alike, a way and its mirror image are one."""
    mirrors = any(wall.kind == "reflectance" for wall in walls)
    reach = REACH_BETWEEN_MIRRORS if mirrors else REACH_PER_HEIGHT
    order = min(64, math.ceil(reach * height_m / span_m))
    images = axis_images(span_m, order, *walls, tank.glass_thickness_m)
    step = span_m / count
    lattice = np.arange(2 * count - 1)
    even = images.sign > 0
    # distances in half steps, so that equal ones are found exactly
    halves = 2 * count * (np.rint(images.offset_m / span_m).astype(np.intp))[:, None] + np.where(
        even[:, None], 2 * (lattice - (count - 1)), -2 * (lattice + 1)
    )
    alike = walls[0] == walls[1]
    code = images.low_hits + images.high_hits if alike else np.arange(images.number.size)
    sign_free = np.abs(halves) if alike else halves
    keys = sign_free * (2 * order + 2) + code[:, None]
    _, first, inverse = np.unique(keys, return_index=True, return_inverse=True)
    member = np.zeros((2, lattice.size, first.size))
    parity = np.broadcast_to(np.where(even, 0, 1)[:, None], halves.shape)
    np.add.at(member, (parity.ravel(), np.tile(lattice, len(halves)), inverse.ravel()), 1.0)
    which = first // lattice.size
    chosen = AxisImages(*(getattr(images, name)[which] for name in images.__dataclass_fields__))
    return _AxisPairs(np.abs(halves.ravel()[first]) * step / 2, chosen, member)


def _exchange(
    grid: FloorGrid, x: _AxisPairs, y: _AxisPairs, height_m: float
) -> tuple[FloatArray, FloatArray]:
    """Irradiance per exitance and patch area [m-2], and path [m], for every pair of ways, (n_x, n_y)."""
    n, rest = grid.index, glass_rest(grid.index, grid.tank.glass_index)
    away = (x.away_m[:, None], y.away_m[None, :])
    glass = (x.images.glass_m[:, None], y.images.glass_m[None, :])
    to = away
    for _ in range(DISPLACEMENT_PASSES):
        per = n / np.sqrt(to[0] * to[0] + to[1] * to[1] + height_m * height_m)
        k = (to[0] * per, to[1] * per)
        in_glass = tuple(np.sqrt(rest + kk * kk) for kk in k)
        to = (away[0] + glass[0] * k[0] / in_glass[0], away[1] + glass[1] * k[1] / in_glass[1])
    k_z = per * height_m
    g0 = height_m / k_z
    lean = g0 / (k_z * k_z)
    j_x, j_y = (
        g0 + lean * kk * kk - g * rest / (i * i * i) for kk, g, i in zip(k, glass, in_glass, strict=True)
    )
    cross = lean * k[0] * k[1]
    gain = surface_reflectance_from_below(k_z / n, n)
    gain /= math.pi * n * n * np.abs(j_x * j_y - cross * cross)
    for pairs, walls, normal in zip((x, y), axis_walls(grid.tank), k, strict=True):
        low, high = pairs.images.low_hits, pairs.images.high_hits
        alike = walls[0] == walls[1]
        for wall, hits in ((walls[0], low + high),) if alike else zip(walls, (low, high), strict=True):
            if np.any(hits) and wall.reflectance != 1.0:
                times = hits[:, None] if pairs is x else hits[None, :]
                gain *= wall_reflectance(wall, normal, n, grid.tank.glass_index) ** times
    path = np.maximum(n * (g0 - glass[0] / in_glass[0] - glass[1] / in_glass[1]), 0.0)
    return gain, path


def exchange_table(grid: FloorGrid, height_m: float, nodes_per_m: FloatArray) -> FloatArray:
    """Irradiance that a patch of exitance one sends by way of the surface, summed over the wall images.

    Parameters
    ----------
    grid : FloorGrid
    height_m : float
        Vertical way: up from the floor and down to the receiver, twice the depth less its height. [m]
    nodes_per_m : array, shape (n_node,)
        Absorption of the water. [m-1]

    Returns
    -------
    array, shape (n_node, 2, 2 n_x - 1, 2, 2 n_y - 1)
        Parity of the image and lattice difference (even) or sum (odd), along x and along y.

    Source
    ------
    Lambert's law; conservation of etendue; method of images.
    """
    tank = grid.tank
    walls_x, walls_y = axis_walls(tank)
    x = _axis_pairs(tank.length_m, grid.x_m.size, walls_x, tank, height_m)
    y = _axis_pairs(tank.width_m, grid.y_m.size, walls_y, tank, height_m)
    gain, path = _exchange(grid, x, y, height_m)
    gain *= grid.patch_m2
    member_x, member_y = x.member.reshape(-1, x.away_m.size), y.member.reshape(-1, y.away_m.size).T
    table = [np.linalg.multi_dot((member_x, gain * share_left(a, path), member_y)) for a in nodes_per_m]
    return np.array(table).reshape(len(table), 2, 2 * grid.x_m.size - 1, 2, 2 * grid.y_m.size - 1)


def exchange_matrices(grid: FloorGrid, table: FloatArray) -> FloatArray:
    """The table as matrices from patches to the lattice above them.

    Parameters
    ----------
    grid : FloorGrid
    table : array, shape (n_node, 2, 2 n_x - 1, 2, 2 n_y - 1)

    Returns
    -------
    array, shape (n_node, n_x n_y, n_x n_y)
        Node, receiver, patch.
    """
    n_x, n_y = grid.x_m.size, grid.y_m.size
    # of each window the place is the receiver, and the step in it a patch: backwards their distance, else sum
    windows = np.lib.stride_tricks.sliding_window_view
    along_y = windows(table, n_y, 4)
    along_y = along_y[:, :, :, 0, :, ::-1] + along_y[:, :, :, 1]
    along_x = windows(along_y, n_x, 2).swapaxes(-1, -2)
    whole = np.empty((len(table), n_x, n_y, n_x, n_y))
    np.add(along_x[:, 0, ..., ::-1, :], along_x[:, 1], out=whole)
    return whole.reshape(len(table), n_x * n_y, n_x * n_y)


def floor_exitance(matrix: FloatArray, falling: FloatArray, reflectance: float) -> FloatArray:
    """Light that leaves each patch, every bounce included: B = rho (E + M B).

    Parameters
    ----------
    matrix : array, shape (n_node, n_patch, n_patch)
        ``exchange_matrices`` at the floor itself.
    falling : array, shape (n_node, n_patch, n)
        Irradiance from lamps and walls. [m-2]
    reflectance : float
        Diffuse reflectance rho of the floor, 0 to below 1.

    Returns
    -------
    array, shape (n_node, n_patch, n)
        Exitance. [m-2]

    Source
    ------
    Radiosity balance; its series converges as at most about half the light comes back from the surface.
    """
    exitance = np.empty_like(falling)
    for between, own, whole in zip(matrix, reflectance * falling, exitance, strict=True):
        leaving, scale = own, 1e-12 * np.max(own, initial=0.0)
        for _ in range(200):
            last = leaving
            leaving = own + reflectance * (between @ last)
            if np.max(np.abs(leaving - last), initial=0.0) <= scale:
                break
        whole[:] = leaving
    return exitance


TILTS, TURNS = 12, 24
"""Directions over which the floor's light is summed."""

DISTANCES_PER_GLASS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 18.0, 30.0, 60.0, 200.0)
"""Distances from a pane at which the share is computed, in thicknesses of the glass."""


@dataclass(frozen=True, eq=False)
class _EvenLight:
    """Directions of an even floor's light near clear panes, each with equal weight: (TILTS, TURNS).

    Attributes
    ----------
    along : wave vector towards a pane along x and y, and upwards
    stay_m : stay in a pane along x and y. [m]
    mirrored : reflectance of a pane along x and y
    back : reflectance of the surface from below
    """

    along: tuple[FloatArray, FloatArray, FloatArray]
    stay_m: tuple[FloatArray, FloatArray]
    mirrored: tuple[FloatArray, FloatArray]
    back: FloatArray


def _even_light(tank: Tank, index: float) -> _EvenLight:
    """Lambert's law is even in the square of the sine and in turn."""
    sine_square = ((np.arange(TILTS) + 0.5) / TILTS)[:, None]
    turn = (np.arange(TURNS) + 0.5) / TURNS * np.pi / 2
    level = index * np.sqrt(sine_square)
    k_x, k_y = level * np.cos(turn), level * np.sin(turn)
    up = index * np.sqrt(1 - sine_square) * np.ones_like(turn)
    stays = [pane_stay(k, 2 * tank.glass_thickness_m, index, tank.glass_index) for k in (k_x, k_y)]
    panes = [wall_reflectance(Wall(), k, index, tank.glass_index) for k in (k_x, k_y)]
    back = surface_reflectance_from_below(up / index, index)
    return _EvenLight((k_x, k_y, up), (stays[0], stays[1]), (panes[0], panes[1]), back)


def _kept_at_joint(light: _EvenLight, distance_m: FloatArray) -> FloatArray:
    """Share kept at distances from the two panes of a joint, (n, n)."""
    k_x, k_y, _ = light.along
    later = distance_m[None, :, None, None] / k_y - distance_m[:, None, None, None] / k_x
    astray = (later < light.stay_m[0]) & (later > -light.stay_m[1])
    both = light.back * light.mirrored[0] * light.mirrored[1]
    every = light.back * (1 + light.mirrored[0]) * (1 + light.mirrored[1])
    return np.asarray(1 - np.sum(astray * both, axis=(2, 3)) / every.sum())


def _kept_at_waterline(light: _EvenLight, distance_m: FloatArray) -> FloatArray:
    """Share kept at distances from a pane and depths below the surface, (n, n)."""
    k_x, _, up = light.along
    later = distance_m[None, :, None, None] / up - distance_m[:, None, None, None] / k_x
    astray = (later > 0) & (later < light.stay_m[0])
    by_pane = light.back * light.mirrored[0]
    every = light.back * (1 + light.mirrored[0])
    return np.asarray(1 - np.sum(astray * by_pane, axis=(2, 3)) / every.sum())


def floor_light_kept(
    tank: Tank, index: float, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Shares of the floor's light that do not run into a glass joint or out at the waterline.

    Parameters
    ----------
    tank : Tank
    index : float
        Refractive index of the water.
    x_m, y_m, depth_m : array, shapes (n_x,), (n_y,), (n_z,)
        Places. [m]

    Returns
    -------
    three arrays, shapes (n_x, n_y), (n_x, n_z), (n_y, n_z)
        Shares 0-1 whose product counts at a place; 1 far from edges and where a wall is not a clear pane.

    Source
    ------
    Snell's law in plane panes, Fresnel's equations, Lambert's law.
    """
    joint: FloatArray = np.ones((x_m.size, y_m.size))
    line_x: FloatArray = np.ones((x_m.size, depth_m.size))
    line_y: FloatArray = np.ones((y_m.size, depth_m.size))
    if tank.glass_thickness_m == 0:
        return joint, line_x, line_y
    distance = tank.glass_thickness_m * np.array(DISTANCES_PER_GLASS)
    light = _even_light(tank, index)
    at_joint, at_line = _kept_at_joint(light, distance), _kept_at_waterline(light, distance)
    walls_x, walls_y = axis_walls(tank)
    to_x = [_between(distance, a) for a in (x_m, tank.length_m - x_m)]
    to_y = [_between(distance, a) for a in (y_m, tank.width_m - y_m)]
    below = _between(distance, depth_m).T
    for wall, near in zip(walls_x, to_x, strict=True):
        if wall.kind == "clean":
            line_x *= near @ at_line @ below
            for other, beside in zip(walls_y, to_y, strict=True):
                if other.kind == "clean":
                    joint *= near @ at_joint @ beside.T
    for wall, near in zip(walls_y, to_y, strict=True):
        if wall.kind == "clean":
            line_y *= near @ at_line @ below
    return joint, line_x, line_y


def _between(nodes: FloatArray, at: FloatArray) -> FloatArray:
    """Weights of linear interpolation, (n, n_node); ends held."""
    return np.stack([np.interp(at, nodes, unit) for unit in np.eye(nodes.size)], axis=1)


LEVELS = 5
"""Depths at which the floor's light is computed; by trial against more."""

FINE_PER_PATCH = 6
FINE_LEVELS = 40
TABLE_AT_MOST = 6_000_000
"""Numbers in the table of the fine lattice, about 50 MB."""


def _cubic_weights(count: int, at: FloatArray) -> FloatArray:
    """Weights of the four nearest of ``count`` cell centres for places 0-1 along the span, (n, count)."""
    position = at * count - 0.5
    first = np.clip(np.floor(position).astype(np.intp) - 1, 0, count - 4)
    weights = np.zeros((at.size, count))
    for i in range(4):
        part = np.ones(at.size)
        for j in range(4):
            if j != i:
                part *= (position - first - j) / (i - j)
        weights[np.arange(at.size), first + i] = part
    return weights


def _level_fractions() -> FloatArray:
    """Chebyshev points on 0-1, both ends among them: the last level is the floor itself."""
    return np.asarray(0.5 - 0.5 * np.cos(np.arange(LEVELS) * np.pi / (LEVELS - 1)))


def _level_weights(at: FloatArray) -> FloatArray:
    """Weights of the levels for depths 0-1, (n, LEVELS)."""
    nodes = _level_fractions()
    weights = np.ones((at.size, LEVELS))
    for i in range(LEVELS):
        for j in range(LEVELS):
            if j != i:
                weights[:, i] *= (at - nodes[j]) / (nodes[i] - nodes[j])
    return weights


def _interpolated(weights: FloatArray, at: FloatArray) -> FloatArray:
    """Rows of ``weights`` blended linearly at places 0-1 of the fine lattice."""
    first, share = _place(len(weights), at)
    return np.asarray(weights[first] * (1 - share)[:, None] + weights[first + 1] * share[:, None])


def _place(count: int, at: FloatArray) -> tuple[IntArray, FloatArray]:
    position = np.clip(at, 0, 1) * (count - 1)
    first = np.minimum(position.astype(np.intp), count - 2)
    return first, position - first


def _blended(
    table: FloatArray, one: tuple[IntArray, FloatArray], other: tuple[IntArray, FloatArray]
) -> FloatArray:
    """Linear interpolation in a table of two axes."""
    (i, f), (j, g) = one, other
    flat, across = table.ravel(), table.shape[1]
    corner = i * across + j
    near = flat[corner] * (1 - g) + flat[corner + 1] * g
    far = flat[corner + across] * (1 - g) + flat[corner + across + 1] * g
    return np.asarray(near + f * (far - near))


@dataclass(frozen=True, eq=False)
class FloorLight:
    """Floor light on the lattice of patches at every level.

    Attributes
    ----------
    values : array, shape (LEVELS, n_x, n_y, n). [m-2]
    exitance : array, shape (n_x n_y, n); light that leaves the floor. [m-2]
    weights : from the levels and the lattice of patches to the fine lattice, along x, y and depth
    kept : what the edges of the panes leave of the light, on the fine lattice of x and y, x and depth, y
        and depth
    table : light on the fine lattice, flattened, where many points are asked for
    """

    grid: FloorGrid
    values: FloatArray
    exitance: FloatArray
    weights: tuple[FloatArray, FloatArray, FloatArray]
    kept: tuple[FloatArray, FloatArray, FloatArray]
    table: FloatArray | None = field(default=None)

    def at(self, points_m: FloatArray) -> FloatArray:
        """Floor light at points under water, shape (n_point, n).

        Parameters
        ----------
        points_m : array, shape (n_point, 3)
            x, y, depth. [m]
        """
        tank = self.grid.tank
        spans = (tank.length_m, tank.width_m, tank.water_depth_m)
        at = [points_m[:, axis] / span for axis, span in enumerate(spans)]
        (i_x, f_x), (i_y, f_y), (i_z, f_z) = (
            _place(len(w), a) for w, a in zip(self.weights, at, strict=True)
        )
        kept = _blended(self.kept[0], (i_x, f_x), (i_y, f_y))
        kept *= _blended(self.kept[1], (i_x, f_x), (i_z, f_z))
        kept *= _blended(self.kept[2], (i_y, f_y), (i_z, f_z))
        if self.table is None:
            w_x, w_y, w_z = (_interpolated(w, a) for w, a in zip(self.weights, at, strict=True))
            w_z *= kept[:, None]
            levels, n_x, n_y, count = self.values.shape
            sideways = (w_x[:, :, None] * w_y[:, None, :]).reshape(len(w_z), n_x * n_y)
            by_level = self.values.transpose(1, 2, 0, 3).reshape(n_x * n_y, levels * count)
            light = (sideways @ by_level).reshape(len(w_z), levels, count)
            return np.asarray(np.einsum("nl,nlc->nc", w_z, light))
        m_y, m_z = len(self.weights[1]), len(self.weights[2])
        corner = (i_x * m_y + i_y) * m_z + i_z
        steps = [(d_x * m_y + d_y) * m_z + d_z for d_x, d_y, d_z in product((0, 1), repeat=3)]
        near = np.take(self.table, corner[:, None] + steps, axis=0, mode="clip")
        s_x, s_y, s_z = (np.stack((1 - f, f)) for f in (f_x, f_y, f_z))
        shares = (s_x[:, None, None] * s_y[:, None]) * (s_z * kept)
        return np.asarray(np.einsum("kn,nkc->nc", shares.reshape(len(steps), -1), near))


KEPT_AT_MOST: Final = 100_000_000
"""Bytes of matrices that are kept from one setup to the next. Our choice."""

_last: list[tuple[Any, dict[float, FloatArray] | None]] = [(None, None)]
"""The water and walls that were solved last, and their matrices once they are asked for again.

One tuple, put in its place at once: threads that solve two tanks never see parts of both.
"""


def _matrices_of(grid: FloorGrid, nodes_per_m: FloatArray) -> Callable[[float], FloatArray]:
    """``exchange_matrices`` at levels above the floor, as shares of the depth.

    They hang on the water and its walls alone. A study that moves lamps asks for them again and again, so
    from the second time on they are kept, up to ``KEPT_AT_MOST`` bytes.
    """
    tank = grid.tank
    shape = (tank.length_m, tank.width_m, tank.water_depth_m, tank.glass_thickness_m, tank.glass_index)
    walls = tuple((side, wall.kind, wall.reflectance) for side, wall in sorted(tank.walls.items()))
    water = (*shape, walls, grid.index, grid.x_m.size, grid.y_m.size, nodes_per_m.tobytes())
    size = 8 * LEVELS * nodes_per_m.size * (grid.x_m.size * grid.y_m.size) ** 2
    before, kept = _last[0]
    if before != water:
        _last[0], kept = (water, None), None
    elif kept is None and size <= KEPT_AT_MOST:
        kept = {}
        _last[0] = (water, kept)

    def matrices(fraction: float) -> FloatArray:
        if kept is not None and fraction in kept:
            return kept[fraction]
        table = exchange_table(grid, tank.water_depth_m * (1 + fraction), nodes_per_m)
        made = exchange_matrices(grid, table)
        if kept is not None:
            made.setflags(write=False)
            kept[fraction] = made
        return made

    return matrices


def floor_light(
    grid: FloorGrid, falling: FloatArray, nodes_per_m: FloatArray, *, for_points: int
) -> FloorLight:
    """Solve the floor's bounces and prepare its light at any place.

    Parameters
    ----------
    grid : FloorGrid
    falling : array, shape (n_patch, n_beam, n_node)
        Light of lamps and walls on each patch at each absorption. [m-2]
    nodes_per_m : array, shape (n_node,)
        Absorption of the water. [m-1]
    for_points : int
        How many points will be asked for; many make a table worth its cost.

    Returns
    -------
    FloorLight
        Its last axis is (beam, node), flattened.

    Source
    ------
    Radiosity with mirror images; interpolation of a smooth field.
    """
    tank = grid.tank
    n_x, n_y = grid.x_m.size, grid.y_m.size
    patches, beams, count = falling.shape
    matrices = _matrices_of(grid, nodes_per_m)
    *above, floor = _level_fractions().tolist()
    to_floor = matrices(floor)
    exitance = floor_exitance(to_floor, falling.transpose(2, 0, 1), tank.floor_reflectance)
    light = np.array([*(matrices(fraction) @ exitance for fraction in above), to_floor @ exitance])
    fine_x, fine_y = (np.linspace(0, 1, FINE_PER_PATCH * n + 1) for n in (n_x, n_y))
    fine_z = np.linspace(0, 1, FINE_LEVELS + 1)
    weights = (_cubic_weights(n_x, fine_x), _cubic_weights(n_y, fine_y), _level_weights(fine_z))
    shaped = light.transpose(0, 2, 3, 1).reshape(LEVELS, n_x, n_y, beams * count)
    size = len(weights[0]) * len(weights[1]) * len(weights[2])
    table_wanted = for_points > size // 8 and size * beams * count <= TABLE_AT_MOST
    full = None
    if table_wanted:
        full = np.einsum("xa,yb,zc,cabn->xyzn", *weights, shaped, optimize=True).reshape(size, -1)
    kept = floor_light_kept(
        tank, grid.index, fine_x * tank.length_m, fine_y * tank.width_m, fine_z * tank.water_depth_m
    )
    return FloorLight(grid, shaped, exitance.transpose(1, 2, 0).reshape(patches, -1), weights, kept, full)
