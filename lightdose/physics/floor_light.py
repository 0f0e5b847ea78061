"""The floor's light at any place under water, by interpolation: it is smooth.

It is computed on the lattice of the floor's patches at a few levels, interpolated by cubics sideways and by a
polynomial in depth to a fine lattice, and linearly within that. Few places take the weights one by one, many
places a table of the fine lattice: the same numbers.
"""

from __future__ import annotations

from dataclasses import field
from itertools import product

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.physics.floor import (
    FloorGrid,
    IntArray,
    exchange_matrix,
    exchange_table,
    floor_exitance,
)
from lightdose.physics.joints import floor_light_kept

LEVELS = 6
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


def _between(weights: FloatArray, at: FloatArray) -> FloatArray:
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
            w_x, w_y, w_z = (_between(w, a) for w, a in zip(self.weights, at, strict=True))
            level, n_x, n_y, n = self.values.shape
            here = (w_z @ self.values.reshape(level, -1)).reshape(len(at[0]), n_x, n_y * n)
            row = np.matmul(w_x[:, None, :], here).reshape(len(at[0]), n_y, n)
            return np.asarray(np.matmul(w_y[:, None, :], row)[:, 0] * kept[:, None])
        m_y, m_z = len(self.weights[1]), len(self.weights[2])
        corner = (i_x * m_y + i_y) * m_z + i_z
        out: FloatArray = np.zeros((len(at[0]), self.table.shape[1]))
        row = np.empty_like(out)
        for d_x, d_y, d_z in product((0, 1), repeat=3):
            share = (f_x if d_x else 1 - f_x) * (f_y if d_y else 1 - f_y) * (f_z if d_z else 1 - f_z)
            share *= kept
            np.take(self.table, corner + ((d_x * m_y + d_y) * m_z + d_z), axis=0, out=row, mode="clip")
            row *= share[:, None]
            out += row
        return out


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
    exitance = np.empty_like(falling)
    values = np.empty((LEVELS, patches, beams, count))
    for level, fraction in reversed(list(enumerate(_level_fractions()))):
        rise = tank.water_depth_m * (1 + float(fraction))
        table = exchange_table(grid, rise, nodes_per_m)
        for node in range(count):
            matrix = exchange_matrix(grid, table[node])
            if level == LEVELS - 1:
                exitance[:, :, node] = floor_exitance(matrix, falling[:, :, node], tank.floor_reflectance)
            values[level, :, :, node] = matrix @ exitance[:, :, node]
    fine_x, fine_y = (np.linspace(0, 1, FINE_PER_PATCH * n + 1) for n in (n_x, n_y))
    fine_z = np.linspace(0, 1, FINE_LEVELS + 1)
    weights = (_cubic_weights(n_x, fine_x), _cubic_weights(n_y, fine_y), _level_weights(fine_z))
    shaped = values.reshape(LEVELS, n_x, n_y, beams * count)
    size = len(weights[0]) * len(weights[1]) * len(weights[2])
    table_wanted = for_points > size // 8 and size * beams * count <= TABLE_AT_MOST
    full = None
    if table_wanted:
        full = np.einsum("xa,yb,zc,cabn->xyzn", *weights, shaped, optimize=True).reshape(size, -1)
    kept = floor_light_kept(
        tank, grid.index, fine_x * tank.length_m, fine_y * tank.width_m, fine_z * tank.water_depth_m
    )
    return FloorLight(grid, shaped, exitance.reshape(patches, -1), weights, kept, full)
