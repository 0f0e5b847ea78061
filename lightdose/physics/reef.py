"""At which depth of the open sea a clear day gives as many photons."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from lightdose.model.light import ReefLight
from lightdose.model.record import FloatArray


def reef_depths_m(dli_mol_m2_d: FloatArray, reef: ReefLight) -> Mapping[str, FloatArray]:
    """Least and most depth whose clear day gives each dose, by the name of the water.

    The shallow end is where the least dose over water types, latitudes and seasons equals it, the deep end
    where the most does; in between the logarithm of the dose is straight.

    Parameters
    ----------
    dli_mol_m2_d : array, shape (n,); doses. [mol m-2 d-1]
    reef : doses by depth

    Returns
    -------
    mapping of name to array, shape (n, 2). [m]
        0 where the least surface is dimmer; both ends NaN where the dose exceeds every surface or is 0;
        where an end lies below the table, its last depth for the shallow end and NaN for the deep one.

    Source
    ------
    Inversion of the table, which has its sources in lightdose/data/reef_light.csv.
    """
    wanted = np.asarray(dli_mol_m2_d, dtype=np.float64)
    lit = wanted > 0
    found = {}
    for name, doses in reef.doses_mol_m2_d.items():
        ends = np.full((wanted.size, 2), np.nan)
        for end, column in enumerate(doses.T):
            falling = -np.log(column)
            below = (reef.depth_m[-1], np.nan)[end]
            ends[lit, end] = np.interp(-np.log(wanted[lit]), falling, reef.depth_m, left=0.0, right=below)
        ends[wanted > doses[0, 1]] = np.nan
        found[name] = ends
    return found
