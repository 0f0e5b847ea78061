"""Integrals over wavelength bands, and the conservative way onto the working grid."""

from __future__ import annotations

import numpy as np

from lightdose.errors import SpectrumError
from lightdose.model.arrays import FloatArray, distinct
from lightdose.model.spectrum import GRID_EDGES_NM, GRID_NM


def trapezoid(nodes: FloatArray, values: FloatArray) -> float:
    """Area under straight lines between the nodes.

    Parameters
    ----------
    nodes : array, shape (n,), increasing. [nm]
    values : array, shape (n,); quantity per nm

    Returns
    -------
    float; quantity

    Source
    ------
    Trapezoidal rule, exact for piecewise-linear values.
    """
    return float(np.sum(np.diff(nodes) * (values[1:] + values[:-1])) / 2)


def cut_to_band(
    nodes: FloatArray, values: FloatArray, low_nm: float, high_nm: float
) -> tuple[FloatArray, FloatArray]:
    """The part of a spectrum inside a band, with nodes interpolated at the exact band edges.

    Parameters
    ----------
    nodes : array, shape (n,), increasing. [nm]
    values : array, shape (n,); zero outside the nodes
    low_nm, high_nm : band edges. [nm]

    Returns
    -------
    nodes, values : arrays, shape (m,); empty where spectrum and band do not meet

    Source
    ------
    Linear interpolation between nodes.
    """
    low, high = max(low_nm, float(nodes[0])), min(high_nm, float(nodes[-1]))
    if low >= high:
        return np.empty(0), np.empty(0)
    inside = (nodes > low) & (nodes < high)
    ends = np.interp([low, high], nodes, values)
    return (
        np.concatenate([[low], nodes[inside], [high]]),
        np.concatenate([[ends[0]], values[inside], [ends[1]]]),
    )


def band_integral(nodes: FloatArray, values: FloatArray, low_nm: float, high_nm: float) -> float:
    """Integral over a band by the trapezoid with interpolated nodes at the exact edges.

    Half end nodes make bands additive. The plain sum of value x step over closed nodes would count the edges
    twice: +0.28 % on sunlight at its own nodes, +1.67 % on a flat spectrum at 5 nm.

    Parameters
    ----------
    nodes : array, shape (n,), increasing. [nm]
    values : array, shape (n,); quantity per nm, zero outside the nodes
    low_nm, high_nm : band edges. [nm]

    Returns
    -------
    float; quantity in the band

    Source
    ------
    Trapezoidal rule.
    """
    return trapezoid(*cut_to_band(nodes, values, low_nm, high_nm))


def cells_in_band(low_nm: float, high_nm: float) -> FloatArray:
    """Ones for the cells of the working grid inside a band with whole-numbered edges, zeros elsewhere.

    Parameters
    ----------
    low_nm, high_nm : band edges, whole numbers. [nm]

    Returns
    -------
    array, shape (500,)

    Source
    ------
    Definition of the half-open band.
    """
    return np.where((low_nm < GRID_NM) & (high_nm > GRID_NM), 1.0, 0.0)


def resample_to_cells(nodes: FloatArray, values: FloatArray) -> FloatArray:
    """Photons in each 1 nm cell of the working grid; every band with whole-numbered edges is kept exactly.

    Cells are differences of the cumulative trapezoid, so what one cell loses its neighbour gains. What lies
    beyond 300-800 nm is cut.

    Parameters
    ----------
    nodes : array, shape (n,), increasing. [nm]
    values : array, shape (n,); photons per nm, zero outside the nodes

    Returns
    -------
    array, shape (500,); photons per cell

    Raises
    ------
    SpectrumError
        If the nodes do not increase.

    Source
    ------
    Trapezoidal rule; conservation by construction.
    """
    if np.any(np.diff(nodes) <= 0):
        raise SpectrumError("the wavelengths of a spectrum to resample do not increase")
    merged = distinct(np.concatenate([nodes, np.clip(GRID_EDGES_NM, nodes[0], nodes[-1])]))
    density = np.interp(merged, nodes, values)
    slices = np.diff(merged) * (density[1:] + density[:-1]) / 2
    # Sum the slices that fall into each cell rather than difference a running total: no cancellation.
    cell = np.floor(0.5 * (merged[1:] + merged[:-1]) - GRID_EDGES_NM[0]).astype(np.int64)
    kept = (cell >= 0) & (cell < GRID_EDGES_NM.size - 1)
    cells: FloatArray = np.bincount(cell[kept], weights=slices[kept], minlength=GRID_NM.size).astype(
        np.float64
    )
    return cells
