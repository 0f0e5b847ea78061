"""The floor's diffuse bounce, every later one included: its light comes back down from the water's surface.

The floor reflects by Lambert's law. Its light rises, is reflected at the surface from below (wholly beyond
the critical angle), and falls on places that look up; walls mirror it on the way. Floor and receivers stand
on one lattice, so the exchange between any two patches depends on lattice differences (even images) or sums
(odd images) only, and whole matrices come from a small table.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from lightdose.model.arrays import FloatArray
from lightdose.model.tank import Tank, Wall
from lightdose.physics.refraction import surface_reflectance_from_below
from lightdose.physics.walls import AxisImages, axis_images, axis_walls, wall_reflectance

IntArray = npt.NDArray[np.intp]

PATCH_PER_DEPTH = 0.17
"""Side of a floor patch in water depths: the bounce varies over one depth or more. Our choice, by trial."""

PATCHES_AT_MOST = 400
FEWEST_PATCHES = 4
REACH_PER_HEIGHT = 3.0
"""Mirror images are followed to this many times the vertical way; what lies beyond is below a tenth of it."""


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


def _axis_lattice(
    span_m: float, count: int, walls: tuple[Wall, Wall], tank: Tank, height_m: float
) -> tuple[AxisImages, FloatArray, int]:
    """Images of an axis, even ones first, their distances (image, 2 count - 1), the number of even ones."""
    order = min(64, math.ceil(REACH_PER_HEIGHT * height_m / span_m) + 1)
    images = axis_images(span_m, order, *walls, tank.glass_thickness_m)
    even = images.number % 2 == 0
    rank = np.argsort(~even, kind="stable")
    images = AxisImages(*(getattr(images, name)[rank] for name in images.__dataclass_fields__))
    step = span_m / count
    difference = (np.arange(2 * count - 1) - (count - 1)) * step
    total = (np.arange(2 * count - 1) + 1) * step
    away = images.offset_m[:, None] + np.where(images.sign[:, None] > 0, difference, -total)
    return images, away, int(even.sum())


def _exchange(
    grid: FloorGrid,
    images: tuple[AxisImages, AxisImages],
    away: tuple[FloatArray, FloatArray],
    height_m: float,
) -> tuple[FloatArray, FloatArray]:
    """Irradiance per exitance and patch area [m-2], and path [m], for every pair of distances.

    Both have the shape (image x, lattice x, image y, lattice y).
    """
    n, rest = grid.index, grid.tank.glass_index**2 - grid.index**2
    away_x, away_y = away[0][:, :, None, None], away[1][None, None]
    glass_x, glass_y = images[0].glass_m[:, None, None, None], images[1].glass_m[:, None]
    k_x: FloatArray = np.zeros(())
    k_y: FloatArray = np.zeros(())
    to_x, to_y = away_x, away_y
    for _ in range(3):
        per = n / np.sqrt(to_x * to_x + to_y * to_y + height_m * height_m)
        k_x, k_y = to_x * per, to_y * per
        to_x = away_x + glass_x * k_x / np.sqrt(rest + k_x * k_x)
        to_y = away_y + glass_y * k_y / np.sqrt(rest + k_y * k_y)
    in_x, in_y = np.sqrt(rest + k_x * k_x), np.sqrt(rest + k_y * k_y)
    k_z = per * height_m
    g0 = height_m / k_z
    lean = g0 / (k_z * k_z)
    j_xx = g0 + lean * k_x * k_x - glass_x * rest / in_x**3
    j_yy = g0 + lean * k_y * k_y - glass_y * rest / in_y**3
    cross = lean * k_x * k_y
    gain = surface_reflectance_from_below(k_z / n, n) / (
        math.pi * n * n * np.abs(j_xx * j_yy - cross * cross)
    )
    for axis, (low, high) in enumerate(axis_walls(grid.tank)):
        hits_shape = (-1, 1, 1, 1) if axis == 0 else (-1, 1)
        normal = np.abs((k_x, k_y)[axis])
        for wall, hits in ((low, images[axis].low_hits), (high, images[axis].high_hits)):
            if np.any(hits) and wall.reflectance != 1.0:
                gain = gain * wall_reflectance(wall, normal, n, grid.tank.glass_index) ** hits.reshape(
                    hits_shape
                )
    path = np.maximum(n * (g0 - glass_x / in_x - glass_y / in_y), 0.0)
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
    walls = axis_walls(grid.tank)
    along_x, away_x, even_x = _axis_lattice(grid.tank.length_m, grid.x_m.size, walls[0], grid.tank, height_m)
    along_y, away_y, even_y = _axis_lattice(grid.tank.width_m, grid.y_m.size, walls[1], grid.tank, height_m)
    gain, path = _exchange(grid, (along_x, along_y), (away_x, away_y), height_m)
    gain = gain * grid.patch_m2
    table = np.empty((nodes_per_m.size, 2, away_x.shape[1], 2, away_y.shape[1]))
    for node, absorption in enumerate(nodes_per_m):
        light = gain * np.exp(-absorption * path)
        for px, part_x in enumerate((light[:even_x], light[even_x:])):
            along = part_x.sum(axis=0)
            table[node, px, :, 0], table[node, px, :, 1] = along[:, :even_y].sum(1), along[:, even_y:].sum(1)
    return table


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
