"""Photosynthesis against light, exact over piecewise-linear days.

The mean of a curve over a linear ramp of light has a closed form, so the hours at Pmax that a day is worth
follow without a time grid. Averaging the light first and then applying the curve overstates them (Jensen).
Rates are gross and relative to Pmax; an Ek belongs to the curve that it was fitted with.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log
from typing import Literal

import numpy as np

from lightdose.model.light import DayCurve
from lightdose.model.record import FloatArray
from lightdose.physics.day_curve import day_points
from lightdose.physics.dose import time_above

Model = Literal["tanh", "webb", "smith"]
MODELS: tuple[Model, ...] = ("tanh", "webb", "smith")

_LN_2 = log(2.0)
_NEARLY_LEVEL = 1e-3
_BLOCK_VALUES = 400_000
"""Values of one day matrix held at once: many corals under a 50,000-row schedule must fit in memory."""


def relative_rate(light_over_ek: FloatArray, model: Model) -> FloatArray:
    """Photosynthesis relative to Pmax.

    tanh: tanh x · webb: 1 - e^-x · smith: x / sqrt(1 + x^2), with x = light / Ek.

    Parameters
    ----------
    light_over_ek : array
        x, not negative.
    model : str
        "tanh", "webb" or "smith".

    Returns
    -------
    array, same shape
        0-1.

    Raises
    ------
    ValueError
        If the model is not known.

    Source
    ------
    Jassby & Platt 1976 (tanh); Webb 1974 (exponential); Smith (square root form).
    """
    x = np.asarray(light_over_ek, dtype=np.float64)
    if model == "tanh":
        return np.asarray(np.tanh(x))
    if model == "webb":
        return np.asarray(-np.expm1(-x))
    if model == "smith":
        return np.asarray(x / np.hypot(1.0, x))
    raise ValueError(f"photosynthesis model {model!r}; known: {', '.join(MODELS)}")


def _area_from_zero(x: FloatArray, model: Model) -> FloatArray:
    """G(x), the integral of the relative rate from 0 to x."""
    if model == "tanh":
        return np.asarray(x + np.log1p(np.exp(-2 * x)) - _LN_2)
    if model == "webb":
        return np.asarray(x + np.expm1(-x))
    return np.asarray(x * x / (np.hypot(1.0, x) + 1.0))


def mean_relative_rate(start_over_ek: FloatArray, end_over_ek: FloatArray, model: Model) -> FloatArray:
    """Mean photosynthesis relative to Pmax while light runs linearly from one value to another.

    (G(x2) - G(x1)) / (x2 - x1) with G the integral of the curve from 0. Where the two values nearly agree the
    difference would cancel; Simpson's rule is exact there to better than 1e-12.

    Parameters
    ----------
    start_over_ek, end_over_ek : arrays of one shape
        Light / Ek at both ends, not negative.
    model : str
        "tanh", "webb" or "smith".

    Returns
    -------
    array, same shape
        0-1.

    Raises
    ------
    ValueError
        If the model is not known.

    Source
    ------
    Integrals of the curves, closed form: ln cosh x; x - (1 - e^-x); sqrt(1 + x^2) - 1.
    """
    x1, x2 = np.asarray(start_over_ek, dtype=np.float64), np.asarray(end_over_ek, dtype=np.float64)
    ends = relative_rate(x1, model) + relative_rate(x2, model)
    level = np.abs(x2 - x1) < _NEARLY_LEVEL
    simpson = (ends + 4 * relative_rate(0.5 * (x1 + x2), model)) / 6
    area = _area_from_zero(x2, model) - _area_from_zero(x1, model)
    return np.asarray(np.where(level, simpson, area / np.where(level, 1.0, x2 - x1)))


def hours_at_pmax(
    response: FloatArray, curve: DayCurve, ek_umol_m2_s: FloatArray | float, model: Model
) -> FloatArray:
    """Hours at Pmax that give the day's gross photosynthesis.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    curve : DayCurve
        Outputs of the same channels.
    ek_umol_m2_s : number or array, shape (n_site,)
        Onset of saturation, fitted with ``model``. [umol m-2 s-1]
    model : str
        "tanh", "webb" or "smith".

    Returns
    -------
    array, shape (n_site,)
        [h]

    Raises
    ------
    ValueError
        If an Ek is not above 0, or the model is not known.

    Source
    ------
    Sum over segments of duration x mean relative rate, both exact.
    """
    ek = _ek_of_sites(ek_umol_m2_s, response.shape[0])
    time, output = day_points(curve)
    width = np.diff(time)
    hours = np.empty(response.shape[0])
    for block in _blocks(response.shape[0], time.size):
        over_ek = (response[block] @ output.T) / ek[block, None]
        hours[block] = _means_along(over_ek, model) @ width
    return hours


def _means_along(over_ek: FloatArray, model: Model) -> FloatArray:
    """The means of all segments of days of shape (n_site, n_point): each point's integral is taken once."""
    rise = np.diff(over_ek, axis=1)
    level = np.abs(rise) < _NEARLY_LEVEL
    mean = np.diff(_area_from_zero(over_ek, model), axis=1) / np.where(level, 1.0, rise)
    site, segment = np.nonzero(level & (over_ek[:, :-1] + over_ek[:, 1:] > 0))
    mean[level] = 0.0  # dark segments; the others follow
    mean[site, segment] = mean_relative_rate(over_ek[site, segment], over_ek[site, segment + 1], model)
    return np.asarray(mean)


def photons_beyond(response: FloatArray, curve: DayCurve, ek_umol_m2_s: FloatArray | float) -> FloatArray:
    """Share of the day's photons that come on top of Ek: integral of max(0, light - Ek) over that of light.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    curve : DayCurve
        Outputs of the same channels.
    ek_umol_m2_s : number or array, shape (n_site,)
        Onset of saturation. [umol m-2 s-1]

    Returns
    -------
    array, shape (n_site,)
        0-1; NaN without light.

    Raises
    ------
    ValueError
        If an Ek is not above 0.

    Source
    ------
    Definition. Light is linear within a segment, so what lies above Ek is a trapezoid, a triangle or nothing:
    closed form, exact.
    """
    ek = _ek_of_sites(ek_umol_m2_s, response.shape[0])
    time, output = day_points(curve)
    width = np.diff(time)
    share = np.full(response.shape[0], np.nan)
    for block in _blocks(response.shape[0], time.size):
        light = response[block] @ output.T
        beyond = light - ek[block, None]
        above = np.maximum(beyond, 0.0)
        first, last = above[:, :-1], above[:, 1:]
        run = np.abs(beyond[:, :-1]) + np.abs(beyond[:, 1:])
        # Where Ek is crossed, the triangle's mean height is its square over twice the whole run.
        crossed = beyond[:, :-1] * beyond[:, 1:] < 0
        sides = first + last
        mean = 0.5 * sides * np.divide(sides, run, out=np.ones_like(run), where=crossed)
        whole = 0.5 * (light[:, :-1] + light[:, 1:]) @ width
        np.divide(mean @ width, whole, out=share[block], where=whole > 0)
    return share


def _ek_of_sites(ek_umol_m2_s: FloatArray | float, n_site: int) -> FloatArray:
    ek = np.asarray(ek_umol_m2_s, dtype=np.float64)
    if not np.all(ek > 0):
        raise ValueError("Ek is above 0")
    return np.broadcast_to(ek, (n_site,))


def _blocks(n_site: int, n_point: int) -> Iterator[slice]:
    """Blocks of sites whose days fit in memory together."""
    step = max(1, _BLOCK_VALUES // n_point)
    return (slice(i, i + step) for i in range(0, n_site, step))


def over_ek_range(
    response: FloatArray, curve: DayCurve, ek_low: FloatArray, ek_high: FloatArray, model: Model
) -> dict[str, tuple[FloatArray, FloatArray]]:
    """What a day is worth to photosynthesis over a range of Ek, the lowest and the highest of each figure.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    curve : DayCurve
        Outputs of the same channels.
    ek_low, ek_high : arrays, shape (n_site,)
        Ends of the range. [umol m-2 s-1]
    model : str
        Curve that the ranges belong to.

    Returns
    -------
    dict of (low, high), arrays of shape (n_site,)
        "hours_at_pmax_h", "hours_above_saturation_h" [h], "photons_beyond_saturation_fraction" (NaN without
        light).

    Source
    ------
    All three fall as Ek rises, so the ends of the range give their ends. Saturation begins at Ek, by
    definition; crossings by linear interpolation, exact.
    """
    return {
        "hours_at_pmax_h": (
            hours_at_pmax(response, curve, ek_high, model),
            hours_at_pmax(response, curve, ek_low, model),
        ),
        "hours_above_saturation_h": (
            time_above(response, curve, ek_high),
            time_above(response, curve, ek_low),
        ),
        "photons_beyond_saturation_fraction": (
            photons_beyond(response, curve, ek_high),
            photons_beyond(response, curve, ek_low),
        ),
    }
