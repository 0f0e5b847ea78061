"""The flat surface: which way a ray goes from a lamp to a point in the water, and what is reflected.

Throughout, a ray is named by k, its horizontal wave vector in units of the vacuum wave number: the sine of
its angle in the air. The surface and upright walls keep it (Snell's law).
"""

from __future__ import annotations

import numpy as np

from lightdose.model.arrays import FloatArray


def horizontal_reach(
    tangent: FloatArray | float, air_m: FloatArray | float, water_m: FloatArray | float, index: float
) -> FloatArray:
    """How far a ray moves sideways through air, then water: u (h + s / sqrt(n^2 + (n^2 - 1) u^2)).

    Parameters
    ----------
    tangent : array
        Tangent u of the angle in the air.
    air_m, water_m : array
        Heights of air h and of water s that the ray crosses. [m]
    index : float
        Refractive index of the water.

    Returns
    -------
    array
        Sideways distance. [m]

    Source
    ------
    Snell's law.
    """
    u = np.asarray(tangent)
    return np.asarray(u * (air_m + water_m / np.sqrt(index**2 + (index**2 - 1) * u * u)))


def newton_step(
    tangent: FloatArray, reach_m: FloatArray, air_m: FloatArray | float, water_m: FloatArray, index: float
) -> FloatArray:
    """The change of the tangent that one Newton step asks for; adds to ``tangent``.

    Parameters
    ----------
    tangent, reach_m, air_m, water_m : array
        As in ``horizontal_reach``; ``reach_m`` is the distance that is wanted. [m]
    index : float
        Refractive index of the water.

    Returns
    -------
    array
        Step in the tangent.

    Source
    ------
    Newton's method on ``horizontal_reach``, whose slope is h + s n^2 / (n^2 + (n^2 - 1) u^2)^1.5.
    """
    square = tangent * tangent
    square *= index**2 - 1
    square += index**2
    per_root = water_m / np.sqrt(square)
    excess = per_root + air_m
    excess *= tangent
    np.subtract(reach_m, excess, out=excess)
    per_root *= index**2
    per_root /= square
    per_root += air_m
    excess /= per_root
    return excess


def entry_tangent(
    reach_m: FloatArray, air_m: FloatArray | float, water_m: FloatArray, index: float, tolerance: float = 1e-6
) -> FloatArray:
    """Tangent of the angle in the air of the ray that moves sideways by ``reach_m``.

    The reach is concave and rising in the tangent, so Newton's method climbs to the root from below. It stops
    after the first step smaller than ``tolerance`` (relative); as it converges quadratically, the result is
    then good to about the square of that.

    Parameters
    ----------
    reach_m : array
        Sideways distance, not negative. [m]
    air_m, water_m : array
        Heights of air and of water that the ray crosses, air above 0. [m]
    index : float
        Refractive index of the water.
    tolerance : float
        Relative size of the last step.

    Returns
    -------
    array
        Tangent u.

    Source
    ------
    Snell's law; Newton's method.
    """
    tangent = reach_m / (air_m + water_m / index)
    if index == 1.0:
        return tangent
    for _ in range(40):
        step = newton_step(tangent, reach_m, air_m, water_m, index)
        tangent += step
        if tangent.size == 0 or np.max(step - tolerance * tangent) <= tolerance**2:
            break
    return tangent


def surface_transmittance(cosine: FloatArray, index: float) -> FloatArray:
    """Share of unpolarised light that passes the surface from air into water.

    T = 1 - (r_s^2 + r_p^2) / 2.

    Parameters
    ----------
    cosine : array
        Cosine of the angle in the air.
    index : float
        Refractive index of the water.

    Returns
    -------
    array
        Transmitted fraction, 0-1.

    Source
    ------
    Fresnel's equations.
    """
    inside = np.sqrt(cosine * cosine + (index**2 - 1))
    across = (cosine - inside) / (cosine + inside)
    scaled = cosine * index**2
    along = (scaled - inside) / (scaled + inside)
    across *= across
    along *= along
    across += along
    across *= -0.5
    across += 1.0
    return across


def surface_reflectance_from_below(cosine: FloatArray, index: float) -> FloatArray:
    """Share of unpolarised light that the surface sends back into the water; 1 beyond the critical angle.

    Parameters
    ----------
    cosine : array
        Cosine of the angle in the water.
    index : float
        Refractive index of the water.

    Returns
    -------
    array
        Reflected fraction, 0-1.

    Source
    ------
    Fresnel's equations.
    """
    outside_square = 1 - index**2 * (1 - cosine * cosine)
    outside = np.sqrt(np.maximum(outside_square, 0.0))
    across = (index * cosine - outside) / (index * cosine + outside)
    along = (cosine - index * outside) / (cosine + index * outside)
    return np.where(outside_square <= 0, 1.0, 0.5 * (across * across + along * along))
