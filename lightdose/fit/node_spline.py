"""A cubic spline through a few nodes, for arrays: importing scipy's takes longer than a whole calibration."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.model.arrays import FloatArray


class NodeSpline:
    """The twice smooth curve through nodes whose third derivative is smooth at the first and last inner node.

    Parameters
    ----------
    nodes : n >= 4 rising numbers
    values : array, shape (n, ...)

    Source
    ------
    Cubic spline with "not-a-knot" ends: de Boor, A Practical Guide to Splines (from memory).
    """

    def __init__(
        self, nodes: Sequence[float] | FloatArray, values: Sequence[FloatArray] | FloatArray
    ) -> None:
        self.nodes = np.asarray(nodes, dtype=np.float64)
        self.values = np.asarray(values, dtype=np.float64)
        width = np.diff(self.nodes)
        rise = np.diff(self.values, axis=0) / width.reshape(-1, *[1] * (self.values.ndim - 1))
        count = self.nodes.size
        left = np.zeros((count, count))
        right = np.zeros_like(self.values)
        left[0, :3] = width[1], -(width[0] + width[1]), width[0]
        left[-1, -3:] = width[-1], -(width[-2] + width[-1]), width[-2]
        for n in range(1, count - 1):
            left[n, n - 1 : n + 2] = width[n - 1], 2 * (width[n - 1] + width[n]), width[n]
            right[n] = 6 * (rise[n] - rise[n - 1])
        flat = right.reshape(count, -1)
        self.bend = np.linalg.solve(left, flat).reshape(self.values.shape)

    def __call__(self, at: float, derivative: int = 0) -> FloatArray:
        """The value at one place, or its first derivative; beyond the nodes the end pieces go on."""
        n = int(np.clip(np.searchsorted(self.nodes, at, side="right") - 1, 0, self.nodes.size - 2))
        width = self.nodes[n + 1] - self.nodes[n]
        before, after = (self.nodes[n + 1] - at) / width, (at - self.nodes[n]) / width
        low, high, low_bend, high_bend = self.values[n], self.values[n + 1], self.bend[n], self.bend[n + 1]
        if derivative:
            return np.asarray(
                (high - low) / width
                + width / 6 * ((3 * after**2 - 1) * high_bend - (3 * before**2 - 1) * low_bend)
            )
        return np.asarray(
            before * low
            + after * high
            + width**2 / 6 * ((before**3 - before) * low_bend + (after**3 - after) * high_bend)
        )
