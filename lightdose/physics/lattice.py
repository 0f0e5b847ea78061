"""A smooth quantity that is known at the nodes of a lattice, read off between them."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product

import numpy as np

from lightdose.model.record import FloatArray
from lightdose.physics.solid_shapes import IntArray


def cells_of(nodes_m: Sequence[FloatArray], at_m: FloatArray) -> tuple[IntArray, FloatArray]:
    """In which cell of a lattice points lie, and how far along it.

    Parameters
    ----------
    nodes_m : sequence of arrays
        Where nodes stand along each axis, rising; a single one holds all points. [m]
    at_m : array, shape (n_point, n_axis)
        Within the lattice. [m]

    Returns
    -------
    first : array, shape (n_point, n_axis)
        The node below along each axis.
    share : array, shape (n_point, n_axis)
        Of the way from it to the next, 0 to 1.

    Source
    ------
    Geometry.
    """
    first: IntArray = np.zeros(at_m.shape, dtype=np.intp)
    share = np.zeros(at_m.shape)
    for axis, nodes in enumerate(nodes_m):
        if nodes.size > 1:
            low = np.clip(np.searchsorted(nodes, at_m[:, axis], side="right") - 1, 0, nodes.size - 2)
            apart = nodes[low + 1] - nodes[low]
            way = at_m[:, axis] - nodes[low]
            first[:, axis], share[:, axis] = low, np.divide(way, apart, out=share[:, axis], where=apart > 0)
    return first, share


def read_off(values: FloatArray, first: IntArray, share: FloatArray) -> FloatArray:
    """Values in the cells of a lattice, shape (n_point, n_value).

    Parameters
    ----------
    values : array, shape (n_node along each axis..., n_value)
    first, share
        ``cells_of`` the points.

    Source
    ------
    Multilinear interpolation.
    """
    last = np.array(values.shape[:-1]) - 1
    out = np.zeros((len(first), values.shape[-1]))
    for step in product((0, 1), repeat=first.shape[1]):
        weight = np.where(step, share, 1 - share).prod(axis=1)
        out += weight[:, None] * values[tuple(np.minimum(first + step, last).T)]
    return out
