"""Weightings: each turns photons per 1 nm cell into one quantity."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.errors import SpectrumError
from lightdose.model.arrays import FloatArray
from lightdose.model.spectrum import GRID_NM, ReferenceTables, Weightings
from lightdose.physics.bands import cells_in_band
from lightdose.physics.photons import lux_per_umol
from lightdose.quantities import BANDS, GRID_END_NM, GRID_START_NM, PPFD_BAND

DOSE_WEIGHTINGS = (
    "ppfd",
    "photons",
    "uv_a",
    "blue",
    "green",
    "red",
    "far_red",
    "below_390",
    "lux",
    "usable_z1",
    "usable_z2",
    "usable_z4",
    "usable_tissue",
)

TEN_NM_WEIGHTINGS = tuple(f"nm_{low}_{low + 10}" for low in range(GRID_START_NM, GRID_END_NM, 10))
"""Photons in each 10 nm of the working grid."""

TRISTIMULUS_WEIGHTINGS = ("cie_x", "cie_y", "cie_z")
"""CIE 1931 tristimulus values X, Y, Z, scaled so that Y is the illuminance in lux."""

_SHORT_WAVE_LIMIT_NM = 390.0
"""Photons below count as ultraviolet for the caution about it: our choice, the evidence is at 380 nm."""


def weighting_matrix(tables: ReferenceTables, keys: Sequence[str] = DOSE_WEIGHTINGS) -> Weightings:
    """The rows that turn photons per cell into quantities: ``weigh`` multiplies by them.

    ppfd 400-700 nm; photons 300-800 nm; the colour bands of ``quantities``; below_390; lux; usable_* PPFD
    weighted by relative absorption of zooxanthellae; nm_400_410 and the like, photons of those 10 nm;
    cie_x, cie_y, cie_z tristimulus values.

    Parameters
    ----------
    tables : reference tables on the working grid
    keys : names of weightings, in the order wanted

    Returns
    -------
    Weightings, matrix of shape (n_key, 500)

    Raises
    ------
    SpectrumError
        If a key is not known; names the known ones.

    Source
    ------
    Bands: see ``quantities``. Lux: CIE 018:2019. Tristimulus values: CIE 015:2018. Usable light: after Morel
    1978 (from memory), curves modelled by us (spectra/zooxanthella).
    """
    return Weightings(tuple(keys), np.array([_row(key, tables) for key in keys]).reshape(len(keys), -1))


def weigh(cells: FloatArray, weightings: Weightings) -> FloatArray:
    """Quantities of one or many spectra: one matrix product.

    Parameters
    ----------
    cells : array, shape (..., 500); photons per cell
    weightings : n_weighting rows

    Returns
    -------
    array, shape (..., n_weighting)

    Source
    ------
    Definition: sum of photons times weighting.
    """
    return np.asarray(cells @ weightings.matrix.T)


def _row(key: str, tables: ReferenceTables) -> FloatArray:
    if key == "photons":
        return np.ones_like(GRID_NM)
    if key == "below_390":
        return cells_in_band(0.0, _SHORT_WAVE_LIMIT_NM)
    if key == "lux":
        return lux_per_umol(GRID_NM, tables.photopic)
    for band in (PPFD_BAND, *BANDS):
        if key == band.key:
            return cells_in_band(band.low_nm, band.high_nm)
    if key in TRISTIMULUS_WEIGHTINGS:
        return lux_per_umol(GRID_NM, tables.colour_matching[TRISTIMULUS_WEIGHTINGS.index(key)])
    if key in TEN_NM_WEIGHTINGS:
        _, low, high = key.split("_")
        return cells_in_band(float(low), float(high))
    curve = tables.zooxanthella.get(key.removeprefix("usable_"))
    if key.startswith("usable_") and curve is not None:
        return curve
    named = (name for name in DOSE_WEIGHTINGS if not name.startswith("usable_"))
    known = [*named, *(f"usable_{name}" for name in tables.zooxanthella)]
    raise SpectrumError(f"there is no weighting {key!r}; known: {', '.join(known)}")
