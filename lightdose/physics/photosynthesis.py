"""Photosynthesis against light, exact over piecewise-linear days.

The mean of a curve over a linear ramp of light has a closed form, so the hours at Pmax that a day is worth
follow without a time grid. Averaging the light first and then applying the curve overstates them (Jensen).
Rates are gross and relative to Pmax; an Ek belongs to the curve that it was fitted with.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import log
from typing import Literal

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.results import DayCurve
from lightdose.physics.day_curve import day_points
from lightdose.physics.dose import time_above

Model = Literal["tanh", "webb", "smith"]
MODELS: tuple[Model, ...] = ("tanh", "webb", "smith")

_LN_2 = log(2.0)
_NEARLY_LEVEL = 1e-3


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
    ek = np.asarray(ek_umol_m2_s, dtype=np.float64)
    if not np.all(ek > 0):
        raise ValueError("Ek is above 0")
    time, output = day_points(curve)
    over_ek = (response @ output.T) / np.broadcast_to(ek, (response.shape[0],))[:, None]
    hours: FloatArray = mean_relative_rate(over_ek[:, :-1], over_ek[:, 1:], model) @ np.diff(time)
    return hours


def hours_at_pmax_range(
    response: FloatArray, curve: DayCurve, ek_range: tuple[float, float], model: Model
) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest hours at Pmax over a range of Ek.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    curve : DayCurve
        Outputs of the same channels.
    ek_range : (low, high)
        [umol m-2 s-1]
    model : str
        Curve that the range belongs to.

    Returns
    -------
    low, high : arrays, shape (n_site,)
        [h]

    Source
    ------
    Hours at Pmax fall as Ek rises, so the ends of the range give the ends of the hours.
    """
    return (
        hours_at_pmax(response, curve, max(ek_range), model),
        hours_at_pmax(response, curve, min(ek_range), model),
    )


def hours_above_saturation_range(
    response: FloatArray, curve: DayCurve, ek_range: tuple[float, float]
) -> tuple[FloatArray, FloatArray]:
    """Least and most hours of the day with light above Ek, over a range of Ek.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    curve : DayCurve
        Outputs of the same channels.
    ek_range : (low, high)
        [umol m-2 s-1]

    Returns
    -------
    low, high : arrays, shape (n_site,)
        [h]

    Source
    ------
    Definition: saturation begins at Ek; crossings by linear interpolation, exact.
    """
    return time_above(response, curve, max(ek_range)), time_above(response, curve, min(ek_range))


@dataclass(frozen=True)
class Photoinhibition:
    """P = Ps (1 - e^(-a I / Ps)) e^(-b I / Ps): saturation with a fall at strong light.

    Attributes
    ----------
    ps : rate that photosynthesis would reach without inhibition
    initial_slope : a, in the unit of ps per umol m-2 s-1
    inhibition : b, above 0, in the same unit

    Source
    ------
    Platt, Gallegos & Harrison 1980.
    """

    ps: float
    initial_slope: float
    inhibition: float

    def __post_init__(self) -> None:
        if not (self.ps > 0 and self.initial_slope > 0 and self.inhibition > 0):
            raise ValueError("ps, initial slope and inhibition are above 0")

    @property
    def pmax(self) -> float:
        """Highest rate: Ps (a / (a+b)) (b / (a+b))^(b/a), in the unit of ps."""
        a, b = self.initial_slope, self.inhibition
        return float(self.ps * (a / (a + b)) * (b / (a + b)) ** (b / a))

    @property
    def peak_light_umol_m2_s(self) -> float:
        """Light of the highest rate: (Ps / a) ln((a+b) / b). [umol m-2 s-1]"""
        a, b = self.initial_slope, self.inhibition
        return self.ps / a * log((a + b) / b)

    @property
    def ek_umol_m2_s(self) -> float:
        """Onset of saturation, Pmax / a. [umol m-2 s-1]"""
        return self.pmax / self.initial_slope

    def rate(self, light_umol_m2_s: FloatArray) -> FloatArray:
        """Rate at any light, in the unit of ps."""
        scaled = np.asarray(light_umol_m2_s, dtype=np.float64) / self.ps
        return np.asarray(
            -self.ps * np.expm1(-self.initial_slope * scaled) * np.exp(-self.inhibition * scaled)
        )

    def mean_rate(self, highest_umol_m2_s: float) -> float:
        """Mean rate while light rises linearly from 0, in the unit of ps."""
        a, b, scaled = self.initial_slope, self.inhibition, highest_umol_m2_s / self.ps
        if scaled == 0:
            return 0.0
        first, second = -np.expm1(-b * scaled) / b, -np.expm1(-(a + b) * scaled) / (a + b)
        return float(self.ps / scaled * (first - second))
