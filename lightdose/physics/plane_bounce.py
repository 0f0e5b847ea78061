"""Light off floor and solids over a plane: traced at the nodes of a lattice, and between them read off.

It is smooth in open water. A point is traced itself where rock or a colony holds one of the four nodes about
it, or another point between them.
"""

from __future__ import annotations

import math

import numpy as np

from lightdose.model.record import FloatArray, dataclass
from lightdose.physics.lattice import cells_of, read_off
from lightdose.physics.light_field import PreparedField
from lightdose.physics.slices import in_water
from lightdose.physics.solid_shapes import BoolArray

NODE_M = 0.045
"""Nodes are at most so far apart. By trial in three tanks with rock, against 1,500 lines from each place:
what is read off is as near to that as what is traced at each place with as few lines as a map has, within
0.1-0.3 % of the brightest place at 95 of 100. [m]"""


@dataclass(frozen=True, eq=False)
class PlaneBounce:
    """Light off floor and solids at any point of a plane.

    Attributes
    ----------
    ready : PreparedField
    axes : the two axes of x, y, depth along which the plane spreads
    nodes_m : where the nodes stand along each of them. [m]
    clear : array, shape (n_first, n_second); whether all is water between a node and the next ones
    light : array, shape (n_first, n_second, n_beam * n_node). [m-2]
    """

    ready: PreparedField
    axes: tuple[int, int]
    nodes_m: tuple[FloatArray, FloatArray]
    clear: BoolArray
    light: FloatArray

    def at(self, points_m: FloatArray) -> FloatArray:
        """Light at points of the plane, shape (n_point, n_beam * n_node).

        Parameters
        ----------
        points_m : array, shape (n_point, 3)
            x, y, depth, in the water. [m]
        """
        first, share = cells_of(self.nodes_m, points_m[:, self.axes])
        out = read_off(self.light, first, share)
        beside = np.flatnonzero(~self.clear[tuple(first.T)])
        if beside.size:
            out[beside] = self.ready.off_surfaces(points_m[beside])
        return out


def plane_bounce(
    ready: PreparedField, points_m: FloatArray, axes: tuple[int, int], water: BoolArray
) -> PlaneBounce | None:
    """Light off floor and solids over the plane in which points lie; None where a lattice saves nothing.

    That is without solids, where it is cheap, and where the lattice has no fewer nodes than there are points.

    Parameters
    ----------
    ready : PreparedField
    points_m : array, shape (n_point, 3)
        x, y, depth. [m]
    axes : tuple of int
        Those of x, y, depth along which the points spread.
    water : array, shape (n_point,)
        Which of the points lie in water, and not in rock or in a colony.

    Source
    ------
    Bilinear interpolation between nodes.
    """
    standing = ready.scene.standing
    if ready.lit.bounce is None or standing is None:
        return None
    spans = [(float(points_m[:, axis].min()), float(points_m[:, axis].max())) for axis in axes]
    first, second = (
        np.linspace(low, high, math.ceil((high - low) / NODE_M - 1e-9) + 1) for low, high in spans
    )
    if first.size * second.size >= len(points_m):
        return None
    nodes = np.empty((first.size, second.size, 3))
    nodes[...] = points_m[0]
    nodes[:, :, axes[0]], nodes[:, :, axes[1]] = first[:, None], second
    flat = nodes.reshape(-1, 3)
    wet = in_water(standing.solids, flat)
    some = np.flatnonzero(wet)
    traced = ready.off_surfaces(flat[some])
    light = np.zeros((len(flat), traced.shape[1]))
    light[some] = traced
    clear = wet.reshape(nodes.shape[:2])
    for axis in range(2):
        after = np.minimum(np.arange(clear.shape[axis]) + 1, clear.shape[axis] - 1)
        clear = clear & np.take(clear, after, axis)
    held, _ = cells_of((first, second), points_m[~water][:, axes])
    clear[tuple(held.T)] = False
    return PlaneBounce(ready, axes, (first, second), clear, light.reshape(*clear.shape, -1))
