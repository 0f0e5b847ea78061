"""The floor's diffuse bounce, every later one included: its light comes back down from the water's surface.

The floor reflects by Lambert's law. Its light rises, is reflected at the surface from below (wholly beyond
the critical angle), and falls on places that look up; walls mirror it on the way. Floor and receivers stand
on one lattice, so the exchange between any two patches depends on lattice differences (even images) or sums
(odd images) only, and whole matrices come from a small table.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.model.tank import Tank, Wall
from lightdose.physics.refraction import surface_reflectance_from_below
from lightdose.physics.walls import AxisImages, axis_images, axis_walls, wall_reflectance

IntArray = npt.NDArray[np.intp]

DISPLACEMENT_PASSES = 3
PATCH_PER_DEPTH = 0.13
"""Side of a floor patch in water depths: the bounce varies over one depth or more. Our choice, by trial."""

PATCHES_AT_MOST = 400
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

    Returns
    -------
    FloorGrid

    Source
    ------
    Midpoint rule; patch size by trial against finer ones.
    """
    pitch = PATCH_PER_DEPTH * tank.water_depth_m
    pitch = max(pitch, math.sqrt(tank.length_m * tank.width_m / PATCHES_AT_MOST))
    centres = []
    for span in (tank.length_m, tank.width_m):
        count = max(FEWEST_PATCHES, math.ceil(span / pitch - 1e-9))
        centres.append((np.arange(count) + 0.5) * span / count)
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
    n, rest = grid.index, grid.tank.glass_index**2 - grid.index**2
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
        for wall, hits in zip(walls, (pairs.images.low_hits, pairs.images.high_hits), strict=True):
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
    table = [member_x @ (gain * np.exp(-a * path)) @ member_y for a in nodes_per_m]
    return np.array(table).reshape(len(table), 2, 2 * grid.x_m.size - 1, 2, 2 * grid.y_m.size - 1)


def exchange_matrix(grid: FloorGrid, table: FloatArray) -> FloatArray:
    """The table of one absorption as a matrix from patches to the lattice above them.

    Parameters
    ----------
    grid : FloorGrid
    table : array, shape (2, 2 n_x - 1, 2, 2 n_y - 1)

    Returns
    -------
    array, shape (n_x n_y, n_x n_y)
        Receiver, patch.

    Source
    ------
    Bookkeeping.
    """
    shape = (grid.x_m.size, grid.y_m.size)
    index = []
    for count in shape:
        one, other = np.arange(count)[:, None], np.arange(count)
        index.append((one - other + count - 1, one + other))
    whole = np.zeros((shape[0], shape[0], shape[1], shape[1]))
    for px in (0, 1):
        for py in (0, 1):
            whole += table[px, :, py][index[0][px]][:, :, index[1][py]]
    size = shape[0] * shape[1]
    return np.ascontiguousarray(whole.transpose(0, 2, 1, 3)).reshape(size, size)


def floor_exitance(matrix: FloatArray, falling: FloatArray, reflectance: float) -> FloatArray:
    """Light that leaves each patch, every bounce included: B = rho (E + M B).

    Parameters
    ----------
    matrix : array, shape (n_patch, n_patch)
        ``exchange_matrix`` at the floor itself.
    falling : array, shape (n_patch, n)
        Irradiance from lamps and walls. [m-2]
    reflectance : float
        Diffuse reflectance rho of the floor, 0 to below 1.

    Returns
    -------
    array, shape (n_patch, n)
        Exitance. [m-2]

    Source
    ------
    Radiosity balance; its series converges as at most about half the light comes back from the surface.
    """
    leaving = reflectance * falling
    scale = 1e-12 * np.max(leaving, initial=0.0)
    for _ in range(200):
        last = leaving
        leaving = reflectance * (falling + matrix @ last)
        if np.max(np.abs(leaving - last), initial=0.0) <= scale:
            break
    return leaving
