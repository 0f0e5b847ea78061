"""From light at a few absorptions to light at every wavelength.

Geometry sees the spectrum only through the water's absorption a(lambda): the light at a place is
F(a) = sum over paths of g exp(-a l), an entire function of a. It is computed at a few absorptions, the
Chebyshev points of the range that the lamps use, and interpolated by the polynomial through them. That is
linear in F, so spectral sums fold into one small matrix, whatever the number of places, and F = 0 stays 0.

The number of points is chosen so that every channel and weighting is exact to 1e-8 for any path in the tank.
"""

from __future__ import annotations

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass

RELATIVE_TOLERANCE = 1e-8
"""Largest error of a weighted response that the nodes may cause, relative; our choice."""

NEGLIGIBLE_SHARE = 1e-10
"""A response that absorption cuts below this share of itself in clear water need not be exact; our choice."""

FEWEST_NODES, MOST_NODES = 4, 96


@dataclass(frozen=True, eq=False)
class AbsorptionNodes:
    """Absorptions at which the light field is computed.

    Attributes
    ----------
    per_m : array, shape (n_node,). [m-1]
    to_grid : array, shape (500, n_node); light at the nodes -> light in each cell of the working grid
    """

    per_m: FloatArray
    to_grid: FloatArray


def _chebyshev(low: float, high: float, count: int, absorption: FloatArray) -> AbsorptionNodes:
    """Nodes of the first kind on [low, high], with the barycentric matrix to ``absorption``."""
    angle = (2 * np.arange(count) + 1) * np.pi / (2 * count)
    nodes = 0.5 * (low + high) + 0.5 * (high - low) * np.cos(angle)
    weight = np.where(np.arange(count) % 2 == 0, 1.0, -1.0) * np.sin(angle)
    inside = np.clip(absorption, low, high)
    gap = inside[:, None] - nodes[None, :]
    at_node = np.abs(gap) <= 1e-13 * max(high, 1e-300)
    terms = weight / np.where(at_node, 1.0, gap)
    matrix = terms / terms.sum(axis=1, keepdims=True)
    hit = at_node.any(axis=1)
    matrix[hit] = at_node[hit]
    return AbsorptionNodes(nodes, matrix)


def absorption_nodes(absorption: FloatArray, spectra: FloatArray, longest_path_m: float) -> AbsorptionNodes:
    """Nodes that are enough for every one of the given weighted spectra.

    Parameters
    ----------
    absorption : array, shape (500,)
        Absorption of the water on the working grid. [m-1]
    spectra : array, shape (n, 500)
        Photons times weighting in each cell; cells where all are zero do not matter.
    longest_path_m : float
        Longest path worth being exact for. [m]

    Returns
    -------
    AbsorptionNodes
        Fewest nodes (from 4) that meet ``RELATIVE_TOLERANCE`` for single paths up to the longest; a
        mixture of paths is then no worse.

    Source
    ------
    Barycentric interpolation at Chebyshev points: Berrut & Trefethen 2004, SIAM Review 46:501 (from memory).
    """
    lit = spectra[np.any(spectra != 0, axis=1)]
    if lit.size == 0:
        return _chebyshev(0.0, float(absorption.max()) + 1e-9, FEWEST_NODES, absorption)
    used = np.any(lit > 1e-12 * lit.max(axis=1, keepdims=True), axis=0)
    low, high = float(absorption[used].min()), float(absorption[used].max())
    if high - low < 1e-12:
        high = low + 1e-9
    paths = longest_path_m * np.linspace(0, 1, 13)
    kept = lit * used
    cells = absorption[:, None] * paths
    wanted = kept @ np.exp(-np.minimum(cells, 700))
    allowed = np.maximum(wanted, NEGLIGIBLE_SHARE / RELATIVE_TOLERANCE * wanted[:, :1]) * RELATIVE_TOLERANCE
    count = FEWEST_NODES
    while True:
        nodes = _chebyshev(low, high, count, absorption)
        got = (kept @ nodes.to_grid) @ np.exp(-nodes.per_m[:, None] * paths)
        if count >= MOST_NODES or np.all(np.abs(got - wanted) <= allowed):
            return nodes
        count += 1 if count < 16 else 4
