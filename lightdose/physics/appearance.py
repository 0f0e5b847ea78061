"""How light looks: chromaticity and colour temperature, through colour-science."""

from __future__ import annotations

import warnings

import numpy as np

from lightdose.model.arrays import FloatArray

_FARTHEST_DUV = 0.05
"""Beyond this distance from the Planckian locus a colour temperature means nothing. Source: CIE 015:2018."""

_COLDEST_K, _WARMEST_K = 1000.0, 100_000.0
"""Range of colour temperatures that are stated: the range of Ohno's method as colour-science has it."""


def chromaticity_xy(tristimulus: FloatArray) -> tuple[float, float] | None:
    """CIE 1931 chromaticity.

    Parameters
    ----------
    tristimulus : array, shape (3,); X, Y, Z in any one unit

    Returns
    -------
    x, y, or None without visible light

    Source
    ------
    CIE 015:2018.
    """
    total = float(np.sum(tristimulus))
    if not total > 0:
        return None
    return float(tristimulus[0]) / total, float(tristimulus[1]) / total


def colour_temperature(xy: tuple[float, float]) -> tuple[float | None, float | None]:
    """Correlated colour temperature and distance from the Planckian locus.

    Parameters
    ----------
    xy : CIE 1931 chromaticity

    Returns
    -------
    cct : None where the distance is beyond 0.05, as for every single-colour LED. [K]
    duv : distance in CIE 1960 (u, v), positive above the locus; None where the method finds no point

    Source
    ------
    Ohno 2014, LEUKOS 10:47, as coded in colour-science; limit of 0.05: CIE 015:2018.
    """
    import colour

    uv = colour.xy_to_UCS_uv(np.asarray(xy))
    with warnings.catch_warnings(), np.errstate(all="ignore"):
        warnings.simplefilter("ignore")  # far from the locus the method warns, and is not used
        cct, duv = (float(v) for v in colour.temperature.uv_to_CCT_Ohno2013(uv))
    if not (np.isfinite(cct) and np.isfinite(duv) and _COLDEST_K < cct < _WARMEST_K):
        return None, None
    return (cct if abs(duv) <= _FARTHEST_DUV else None), duv
