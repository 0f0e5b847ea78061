"""How light looks: chromaticity, colour temperature, and the colour as a screen can show it."""

from __future__ import annotations

import numpy as np

from lightdose.model.appearance import Appearance, Swatch
from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass

_FARTHEST_DUV = 0.05
"""Beyond this distance from the Planckian locus a colour temperature means nothing. Source: CIE 015:2018."""

_COLDEST_K, _WARMEST_K = 1000.0, 100_000.0
"""Range of colour temperatures that are stated: the range of Ohno's method as colour-science has it."""

_C2_M_K = 1.4388e-2
"""Second radiation constant as colour temperatures are defined with. Source: CIE 015:2018. [m K]"""

_LOCUS_STEP = 0.01
"""Step of the locus in ln T: a parabola through three points is then right to 0.01 %."""

_NEWTON_STEPS = 4

XYZ_TO_SRGB = np.array([[3.2406, -1.5372, -0.4986], [-0.9689, 1.8758, 0.0415], [0.0557, -0.2040, 1.0570]])
"""X, Y, Z to linear sRGB. Source: IEC 61966-2-1:1999, equation 7, four decimals."""

_CLIPPED_BELOW = -0.005
"""A primary this far below 0, with the strongest at 1, counts as out of what a screen shows: our choice,
about a step and a half of 255 in the dark."""


@dataclass(frozen=True, eq=False)
class PlanckianLocus:
    """The chromaticity of black bodies, even in ln T.

    Attributes
    ----------
    ln_k : array, shape (n,); ln of temperature
    uv : array, shape (n, 2); CIE 1960
    """

    ln_k: FloatArray
    uv: FloatArray


def planckian_locus(wavelength_nm: FloatArray, colour_matching: FloatArray) -> PlanckianLocus:
    """The locus from a little below 1,000 K to a little above 100,000 K.

    Parameters
    ----------
    wavelength_nm : array, shape (n,), evenly spaced. [nm]
    colour_matching : array, shape (3, n); CIE 1931 x, y, z

    Returns
    -------
    PlanckianLocus

    Source
    ------
    Planck's law with c2 = 0.014388 m K, CIE 015:2018.
    """
    ends = np.log(_COLDEST_K) - _LOCUS_STEP, np.log(_WARMEST_K) + 2 * _LOCUS_STEP
    ln_k = np.arange(*ends, _LOCUS_STEP)
    metres = 1e-9 * np.asarray(wavelength_nm, dtype=np.float64)
    power = metres**-5 / np.expm1(_C2_M_K / (np.exp(ln_k)[:, None] * metres))
    return PlanckianLocus(ln_k, _uv_of(power @ colour_matching.T))


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


def colour_temperatures(tristimulus: FloatArray, locus: PlanckianLocus) -> tuple[FloatArray, FloatArray]:
    """Correlated colour temperature and distance from the Planckian locus of many lights.

    The point of the locus nearest in CIE 1960 (u, v), by Newton's method on the parabola through the nearest
    three of its points.

    Parameters
    ----------
    tristimulus : array, shape (n, 3); X, Y, Z in any one unit, each light visible
    locus : PlanckianLocus

    Returns
    -------
    cct : array, shape (n,); NaN where the distance is beyond 0.05, as for every single-colour LED. [K]
    duv : array, shape (n,); positive above the locus, NaN where its nearest point is beyond the locus's ends

    Source
    ------
    Definition and limit of 0.05: CIE 015:2018; range: Ohno 2014, LEUKOS 10:47, as coded in colour-science.
    """
    own = _uv_of(np.asarray(tristimulus, dtype=np.float64).reshape(-1, 3))
    apart = np.hypot(own[:, None, 0] - locus.uv[:, 0], own[:, None, 1] - locus.uv[:, 1])
    middle = np.clip(np.argmin(apart, axis=1), 1, locus.ln_k.size - 2)
    before, at, after = (locus.uv[middle + k] for k in (-1, 0, 1))
    slope, bend = 0.5 * (after - before), after - 2 * at + before
    along = np.zeros(len(own))
    for _ in range(_NEWTON_STEPS):
        gap = at + along[:, None] * (slope + 0.5 * along[:, None] * bend) - own
        tangent = slope + along[:, None] * bend
        curvature = (tangent**2).sum(axis=1) + np.maximum((gap * bend).sum(axis=1), 0.0)
        along = np.clip(along - (gap * tangent).sum(axis=1) / curvature, -1.0, 1.0)
    gap = own - at - along[:, None] * (slope + 0.5 * along[:, None] * bend)
    cct = np.exp(locus.ln_k[middle] + _LOCUS_STEP * along)
    duv = np.copysign(np.hypot(gap[:, 0], gap[:, 1]), gap[:, 1])
    inside = (cct > _COLDEST_K) & (cct < _WARMEST_K)
    near = inside & (np.abs(duv) <= _FARTHEST_DUV)
    return np.where(near, cct, np.nan), np.where(inside, duv, np.nan)


def colour_temperature(xy: tuple[float, float], locus: PlanckianLocus) -> tuple[float | None, float | None]:
    """The same as ``colour_temperatures`` for one chromaticity.

    Parameters
    ----------
    xy : CIE 1931 chromaticity
    locus : PlanckianLocus

    Returns
    -------
    cct : None where it means nothing. [K]
    duv : None where the method finds no point

    Source
    ------
    See ``colour_temperatures``.
    """
    cct, duv = colour_temperatures(np.array([[xy[0], xy[1], 1 - xy[0] - xy[1]]]), locus)
    return _finite(cct[0]), _finite(duv[0])


def linear_srgb(tristimulus: FloatArray) -> FloatArray:
    """Linear amounts of the sRGB primaries; negative where a colour is out of their reach.

    Parameters
    ----------
    tristimulus : array, shape (..., 3); X, Y, Z with Y = 1 for the screen's white, no adaptation

    Returns
    -------
    array, shape (..., 3)

    Source
    ------
    IEC 61966-2-1:1999, equation 7.
    """
    return np.asarray(np.asarray(tristimulus, dtype=np.float64) @ XYZ_TO_SRGB.T)


def encoded_srgb(linear: FloatArray) -> FloatArray:
    """Values 0-1 as they are stored, from linear amounts of the primaries.

    Parameters
    ----------
    linear : array of any shape, 0-1

    Returns
    -------
    array of the same shape

    Source
    ------
    IEC 61966-2-1:1999, equations 9 and 10.
    """
    amount = np.asarray(linear, dtype=np.float64)
    curved = 1.055 * np.maximum(amount, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(amount <= 0.0031308, 12.92 * amount, curved)


def swatch_of(tristimulus: FloatArray) -> Swatch:
    """The colour of a light as a screen can show it at its full brightness; approximate.

    Primaries below 0 are clipped to 0, which makes saturated light paler than it is; the strongest is then
    set to 1, so that a swatch tells colour and not brightness.

    Parameters
    ----------
    tristimulus : array, shape (3,); X, Y, Z in any one unit, visible

    Returns
    -------
    Swatch

    Source
    ------
    IEC 61966-2-1:1999; clipping and full brightness are our choice.
    """
    amounts = linear_srgb(tristimulus)
    strongest = float(amounts.max())
    shown = encoded_srgb(np.clip(amounts / strongest, 0.0, 1.0))
    digits = "".join(f"{round(255 * float(v)):02x}" for v in shown)
    return Swatch(f"#{digits}", bool((amounts / strongest).min() < _CLIPPED_BELOW))


def appearances(tristimulus: FloatArray, locus: PlanckianLocus) -> tuple[Appearance | None, ...]:
    """The look of many lights.

    Parameters
    ----------
    tristimulus : array, shape (n, 3); X, Y, Z in any one unit
    locus : PlanckianLocus

    Returns
    -------
    tuple of n; None without visible light

    Source
    ------
    CIE 015:2018 and IEC 61966-2-1:1999, see the functions that it calls.
    """
    lit = np.flatnonzero(np.asarray(tristimulus).sum(axis=1) > 0)
    found: list[Appearance | None] = [None] * len(tristimulus)
    cct, duv = colour_temperatures(tristimulus[lit], locus)
    for row, light in enumerate(lit):
        xy = chromaticity_xy(tristimulus[light])
        assert xy is not None  # it is lit
        swatch = swatch_of(tristimulus[light])
        found[light] = Appearance(xy, _finite(cct[row]), _finite(duv[row]), swatch)
    return tuple(found)


def _uv_of(tristimulus: FloatArray) -> FloatArray:
    """CIE 1960 u, v; shape (n, 3) to (n, 2)."""
    x, y, z = tristimulus.T
    uv: FloatArray = np.stack((4 * x, 6 * y), axis=1) / (x + 15 * y + 3 * z)[:, None]
    return uv


def _finite(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
