"""From coarse tables to 1 nm: Sprague for even steps, monotone cubic for uneven ones."""

from __future__ import annotations

import numpy as np

from lightdose.errors import SpectrumError
from lightdose.model.arrays import FloatArray

# Values two steps before the first and after the last node, from the six nearest nodes, times 209.
# Source: CIE 167:2005, table V.
_SPRAGUE_OUTER = np.array([884.0, -1960.0, 3033.0, -2648.0, 1080.0, -180.0]) / 209
_SPRAGUE_INNER = np.array([508.0, -540.0, 488.0, -367.0, 144.0, -24.0]) / 209
# Coefficients a0 ... a5 (rows) of the quintic between two nodes, from six values around it, times 24.
_SPRAGUE = (
    np.array(
        [
            [0.0, 0.0, 24.0, 0.0, 0.0, 0.0],
            [2.0, -16.0, 0.0, 16.0, -2.0, 0.0],
            [-1.0, 16.0, -30.0, 16.0, -1.0, 0.0],
            [-9.0, 39.0, -70.0, 66.0, -33.0, 7.0],
            [13.0, -64.0, 126.0, -124.0, 61.0, -12.0],
            [-5.0, 25.0, -50.0, 50.0, -25.0, 5.0],
        ]
    )
    / 24
)


def sprague(nodes: FloatArray, values: FloatArray, at_nm: FloatArray) -> FloatArray:
    """Quintic through evenly spaced nodes, the interpolation that CIE recommends for spectra.

    Parameters
    ----------
    nodes : array, shape (n,), evenly spaced, n at least 6. [nm]
    values : array, shape (n,)
    at_nm : array, shape (m,), within the nodes. [nm]

    Returns
    -------
    array, shape (m,); may swing below zero beside steep peaks

    Raises
    ------
    SpectrumError
        If the nodes are fewer than 6 or unevenly spaced.

    Source
    ------
    Sprague 1880, as in CIE 167:2005, section 9.2.4; tested equal to colour-science.
    """
    step = (nodes[-1] - nodes[0]) / (nodes.size - 1)
    if nodes.size < 6 or not np.allclose(np.diff(nodes), step, rtol=1e-6):
        raise SpectrumError("Sprague interpolation needs six or more evenly spaced wavelengths")
    padded = np.concatenate(
        [
            [_SPRAGUE_OUTER @ values[:6], _SPRAGUE_INNER @ values[:6]],
            values,
            [_SPRAGUE_INNER @ values[:-7:-1], _SPRAGUE_OUTER @ values[:-7:-1]],
        ]
    )
    position = np.clip((at_nm - nodes[0]) / step, 0, nodes.size - 1)
    segment = np.minimum(position.astype(np.int64), nodes.size - 2)
    around = padded[segment[:, None] + np.arange(6)]
    powers = (position - segment)[:, None] ** np.arange(6)
    return np.asarray(np.sum(powers * (around @ _SPRAGUE.T), axis=1))


def pchip(nodes: FloatArray, values: FloatArray, at_nm: FloatArray) -> FloatArray:
    """Monotone piecewise cubic through unevenly spaced nodes; never overshoots its neighbours.

    Parameters
    ----------
    nodes : array, shape (n,), increasing, n at least 2. [nm]
    values : array, shape (n,)
    at_nm : array, shape (m,), within the nodes. [nm]

    Returns
    -------
    array, shape (m,)

    Source
    ------
    Fritsch & Carlson 1980, SIAM J. Numer. Anal. 17:238; slopes by Fritsch & Butland 1984 (weighted harmonic
    mean); tested equal to scipy's PchipInterpolator.
    """
    step = np.diff(nodes)
    secant = np.diff(values) / step
    if nodes.size == 2:
        return np.interp(at_nm, nodes, values)
    slope = np.concatenate(
        [
            [_end_slope(step[0], step[1], secant[0], secant[1])],
            _inner_slopes(step, secant),
            [_end_slope(step[-1], step[-2], secant[-1], secant[-2])],
        ]
    )
    segment = np.clip(np.searchsorted(nodes, at_nm, side="right") - 1, 0, nodes.size - 2)
    h = step[segment]
    t = (at_nm - nodes[segment]) / h
    return np.asarray(
        values[segment] * (1 + 2 * t) * (1 - t) ** 2
        + values[segment + 1] * t**2 * (3 - 2 * t)
        + h * slope[segment] * t * (1 - t) ** 2
        - h * slope[segment + 1] * t**2 * (1 - t)
    )


def _inner_slopes(step: FloatArray, secant: FloatArray) -> FloatArray:
    left, right = secant[:-1], secant[1:]
    same_way = left * right > 0
    w_left, w_right = 2 * step[1:] + step[:-1], step[1:] + 2 * step[:-1]
    safe_left, safe_right = np.where(same_way, left, 1.0), np.where(same_way, right, 1.0)
    harmonic = (w_left + w_right) / (w_left / safe_left + w_right / safe_right)
    return np.where(same_way, harmonic, 0.0)


def _end_slope(step: float, next_step: float, secant: float, next_secant: float) -> float:
    """One-sided three-point slope, limited so that the end segment keeps its shape."""
    slope = ((2 * step + next_step) * secant - step * next_secant) / (step + next_step)
    if slope * secant <= 0:
        return 0.0
    if secant * next_secant <= 0 and abs(slope) > 3 * abs(secant):
        return 3 * secant
    return float(slope)
