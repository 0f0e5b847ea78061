"""What the water absorbs at each wavelength."""

from __future__ import annotations

import numpy as np

from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.spectrum import GRID_NM, ReferenceTables
from lightdose.model.tank import Water

YELLOWING_REFERENCE_NM = 440.0
"""Wavelength at which yellowing is stated, the custom for coloured dissolved matter."""


def absorption_per_m(water: Water, tables: ReferenceTables) -> FloatArray:
    """Absorption of the tank's water, base e, at the centres of the working grid.

    a(lambda) = pure water (or the user's own table) + a440 exp(-S (lambda - 440)).

    Parameters
    ----------
    water : Water
        Yellowing at 440 nm [m-1], its slope S [nm-1], and a table that replaces pure water, or None.
    tables : ReferenceTables
        Pure-water absorption on the grid. [m-1]

    Returns
    -------
    array, shape (500,)
        Absorption coefficient. [m-1]

    Source
    ------
    Pure water: the shipped table (Buiteveld et al. 1994, see spectra/SOURCES.toml). Yellowing: exponential
    with S = 0.0165 +-0.0035 nm-1, Schwarz et al. 2002, Oceanologia 44:209.
    """
    clear = tables.pure_water_absorption_per_m if water.absorption is None else water.absorption.on_grid()
    if water.yellowing_440_per_m == 0:
        return read_only(clear)
    slope = water.yellowing_slope_per_nm
    return read_only(clear + water.yellowing_440_per_m * np.exp(-slope * (GRID_NM - YELLOWING_REFERENCE_NM)))
