"""The day's light at every site and the photosynthesis under it, exact on breakpoints: no time grid anywhere.

The mean of a curve over a linear ramp of light has a closed form, so the hours at Pmax that a day is worth
follow without a time grid. Averaging the light first and then applying the curve overstates them (Jensen).
Rates are gross and relative to Pmax; an Ek belongs to the curve that it was fitted with.
"""

from __future__ import annotations

from collections.abc import Iterator
from math import log
from typing import Literal

import numpy as np
import numpy.typing as npt

from lightdose.model.light import DayCurve, Dose, LightField
from lightdose.model.record import FloatArray, distinct
from lightdose.physics.day_curve import day_points, full_output_hours, output_at
from lightdose.quantities import HOURS_PER_DAY, MOL_PER_UMOL_S_H

PHOTOPERIOD_SHARE = 0.05
"""The photoperiod is the time above this share of the peak. Our choice."""

_BLOCK_VALUES = 400_000
"""Values of one day matrix held at once: 20,000 sites under a 50,000-row schedule must fit in memory."""


def daily_dose(field: LightField, curve: DayCurve) -> Dose:
    """All daily quantities of every site.

    DLI = 0.0036 * sum over channels of response * integral of output dt; peak, hours and the brightest hour
    follow exactly from the piecewise-linear day.

    Parameters
    ----------
    field : LightField
        Response at full output, shape (n_site, n_channel, n_weighting), with the weightings "ppfd",
        "photons" and "lux"; output scale included. [umol m-2 s-1; lx]
    curve : DayCurve
        Outputs of the same channels in the same order.

    Returns
    -------
    Dose
        Arrays of shape (n_site,), (n_site, n_weighting) and (n_site, n_channel).

    Raises
    ------
    ValueError
        If the light field and the day have different channels, or "ppfd", "photons" or "lux" is missing.

    Source
    ------
    Integrals of piecewise-linear functions, closed form; DLI is photon exposure, CIE S 017:2020. The 5 % of
    the photoperiod is our choice.
    """
    ppfd, photons, lux = field.of("ppfd"), field.of("photons"), field.of("lux")
    hours = full_output_hours(curve)
    if ppfd.shape[1] != hours.size:
        raise ValueError(f"{ppfd.shape[1]} channels in the light field, {hours.size} in the day")
    weighted = MOL_PER_UMOL_S_H * np.einsum("sck,c->sk", field.response, hours)
    by_channel = MOL_PER_UMOL_S_H * ppfd * hours
    dli = daily_light_integral(ppfd, curve)
    peak, photoperiod = peak_and_photoperiod(ppfd, curve)
    per_h = MOL_PER_UMOL_S_H * peak
    equivalent = np.divide(dli, per_h, out=np.full(peak.size, np.nan), where=per_h > 0)
    return Dose(
        dli=dli,
        peak_ppfd=peak,
        brightest_hour_ppfd=brightest_window(ppfd, curve),
        lux_at_peak=value_at_peak(ppfd, lux, curve),
        photoperiod_h=photoperiod,
        # All photons hold those of PPFD; where light is hardly there, rounding may have left fewer.
        any_light_h=time_above(np.maximum(photons, ppfd), curve, 0.0),
        peak_equivalent_h=equivalent,
        weighted=weighted,
        dli_by_channel=by_channel,
    )


def daily_light_integral(response: FloatArray, curve: DayCurve) -> FloatArray:
    """Photons received per square metre in the day.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    curve : DayCurve
        Outputs of the same channels.

    Returns
    -------
    array, shape (n_site,)
        Daily light integral. [mol m-2 d-1]

    Source
    ------
    Linear in output: 0.0036 * response @ (integral of output dt); unit conversion exact.
    """
    dose: FloatArray = response @ (MOL_PER_UMOL_S_H * full_output_hours(curve))
    return dose


def peak_and_photoperiod(response: FloatArray, curve: DayCurve) -> tuple[FloatArray, FloatArray]:
    """Highest value of the day and the time above 5 % of it.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    curve : DayCurve
        Outputs of the same channels.

    Returns
    -------
    peak : array, shape (n_site,)
        [umol m-2 s-1]
    photoperiod_h : array, shape (n_site,)
        [h]

    Source
    ------
    A piecewise-linear function has its maximum at a breakpoint; crossings by linear interpolation. Responses
    are not negative, so breakpoints that cannot decide at any site are left out.
    """
    time, output = day_points(curve)
    high = output[_points_that_may_peak(output)]
    telling = _telling_points(response, output, PHOTOPERIOD_SHARE)
    time, output = time[telling], output[telling]
    peak, photoperiod = np.zeros(response.shape[0]), np.zeros(response.shape[0])
    for block, day in _days(high, response):
        peak[block] = day.max(axis=0)
    for block, day in _days(output, response):
        photoperiod[block] = _hours_above(day, time, PHOTOPERIOD_SHARE * peak[block])
    return peak, photoperiod


def time_above(response: FloatArray, curve: DayCurve, threshold: npt.ArrayLike) -> FloatArray:
    """Time of the day above a threshold.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        Any weighting of each channel at full output.
    curve : DayCurve
        Outputs of the same channels.
    threshold : number or array, shape (n_site,)
        0 or more, in the unit of ``response``; time at the threshold itself does not count.

    Returns
    -------
    array, shape (n_site,)
        [h]

    Source
    ------
    Crossings of a piecewise-linear function by linear interpolation, exact.
    """
    time, output = day_points(curve)
    limit = np.broadcast_to(np.asarray(threshold, dtype=np.float64), (response.shape[0],))
    if not limit.any():
        telling = _telling_points(response, output, 0.0)
        time, output = time[telling], output[telling]
    hours = np.zeros(response.shape[0])
    for block, day in _days(output, response):
        hours[block] = _hours_above(day, time, limit[block])
    return hours


def brightest_window(response: FloatArray, curve: DayCurve, window_h: float = 1.0) -> FloatArray:
    """Highest mean over any window of the repeating day.

    W(t) = integral of f from t to t + window is a piecewise quadratic of t on the breakpoints and the
    breakpoints less the window; its slope f(t + window) - f(t) is linear there, so the maximum stands at one
    of these times or at a zero of the slope.

    Parameters
    ----------
    response : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    curve : DayCurve
        Outputs of the same channels.
    window_h : float
        Above 0, at most 24. [h]

    Returns
    -------
    array, shape (n_site,)
        Mean over the brightest window. [umol m-2 s-1]

    Source
    ------
    Maximum of a piecewise quadratic, closed form.
    """
    edges = curve.edge_h
    start = distinct(np.concatenate([edges, np.mod(edges - window_h, HOURS_PER_DAY)]))
    width = np.diff(start)
    held = _hours_since_midnight(curve, start + window_h) - _hours_since_midnight(curve, start)
    # The slope's two one-sided values in each interval, from two inner times: exact, since it is linear.
    near, far = start[:-1] + 0.25 * width, start[:-1] + 0.75 * width
    slope_near = output_at(curve, near + window_h) - output_at(curve, near)
    slope_far = output_at(curve, far + window_h) - output_at(curve, far)
    slope_first, slope_last = 1.5 * slope_near - 0.5 * slope_far, 1.5 * slope_far - 0.5 * slope_near
    # A piece of starts stays below its higher end plus, where it is hollow downwards, its first slope's rise.
    rise = np.where(slope_last < slope_first, np.maximum(slope_first, 0.0), 0.0) * width[:, None]
    ceiling = np.maximum(held[:-1], held[1:]) + rise
    full = int(np.argmax(held.sum(axis=1)))
    piece = np.any(ceiling > held[full], axis=1)
    first, last = held[:-1][piece], held[1:][piece]
    slope_first, slope_last, width = slope_first[piece], slope_last[piece], width[piece, None]
    best = response @ held[full]
    step = max(1, _BLOCK_VALUES // max(1, width.size))
    for block in (slice(i, i + step) for i in range(0, response.shape[0], step)):
        across = response[block].T
        rising, falling = slope_first @ across, slope_last @ across
        bend = (rising > 0) & (falling < 0)
        gain = np.divide(rising**2, 2 * (rising - falling), out=np.zeros_like(rising), where=bend)
        inner = first @ across + gain * width
        ends = np.maximum(inner.max(axis=0, initial=0.0), (last @ across).max(axis=0, initial=0.0))
        best[block] = np.maximum(best[block], ends)
    mean: FloatArray = best / window_h
    return mean


def _hours_since_midnight(curve: DayCurve, time_h: FloatArray) -> FloatArray:
    """Integral of every output from 0:00 to each time; later days add on; shape (n_time, n_channel)."""
    width = np.diff(curve.edge_h)[:, None]
    whole = np.zeros((curve.edge_h.size, curve.output_start.shape[1]))
    np.cumsum(0.5 * width * (curve.output_start + curve.output_end), axis=0, out=whole[1:])
    days = np.floor_divide(time_h, HOURS_PER_DAY)
    clock = time_h - HOURS_PER_DAY * days
    segment = np.clip(np.searchsorted(curve.edge_h, clock, side="right") - 1, 0, curve.edge_h.size - 2)
    into = (clock - curve.edge_h[segment])[:, None]
    begin, end = curve.output_start[segment], curve.output_end[segment]
    part = into * (begin + 0.5 * into / width[segment] * (end - begin))
    total: FloatArray = days[:, None] * whole[-1] + whole[segment] + part
    return total


def value_at_peak(ppfd: FloatArray, other: FloatArray, curve: DayCurve) -> FloatArray:
    """Another weighting at the first moment of each site's highest PPFD.

    Parameters
    ----------
    ppfd : array, shape (n_site, n_channel)
        PPFD of each channel at full output. [umol m-2 s-1]
    other : array of the same shape
        The other weighting of each channel at full output.
    curve : DayCurve
        Outputs of the same channels.

    Returns
    -------
    array, shape (n_site,)

    Source
    ------
    A piecewise-linear function has its maximum at a breakpoint.
    """
    output = day_points(curve)[1]
    output = output[_points_that_may_peak(output)]
    values = np.zeros(ppfd.shape[0])
    for block, day in _days(output, ppfd):
        # Rounding must not decide which end of a plateau counts as the time of the peak.
        first = np.argmax(day >= day.max(axis=0) * (1 - 1e-12), axis=0)
        values[block] = np.einsum("sc,sc->s", other[block], output[first])
    return values


def _points_that_may_peak(output: FloatArray) -> npt.NDArray[np.bool_]:
    """Points that some site may have its peak at: those that the fullest point does not outdo throughout."""
    by_channel = np.ascontiguousarray(output.T)
    fullest = int(np.argmax(_shares_of_highest(by_channel)[0].sum(axis=0)))
    may: npt.NDArray[np.bool_] = np.any(by_channel > output[fullest, :, None], axis=0)
    may[fullest] = True
    return may


def _telling_points(response: FloatArray, output: FloatArray, share: float) -> npt.NDArray[np.bool_]:
    """Points needed to find the time above a share of the peak at every site.

    A site's peak is at most the sum of its channels' highest values, and each channel makes at least some
    least part of that sum at all sites. Where the channels' outputs, as shares of their highest, weighted by
    these least parts exceed the share, or where each of them does, every site is above it; where all are off,
    every site is dark. Inside runs of such points nothing crosses.
    """
    level, highest = _shares_of_highest(np.ascontiguousarray(output.T))
    whole = response @ highest
    lit = whole > 0
    if not lit.all():
        response, whole = response[lit], whole[lit]
    certain = share * (1 + 1e-9)
    bright = np.all((level > certain) | (highest[:, None] == 0), axis=0)
    if whole.size:
        least = (np.ascontiguousarray(response.T) * highest[:, None] / whole).min(axis=1)
        bright |= least @ level > certain
    kind = np.where(bright, 1, np.where(np.any(level > 0, axis=0), -1, 0))
    telling: npt.NDArray[np.bool_] = kind < 0
    turn = kind[1:] != kind[:-1]
    telling[1:] |= turn
    telling[:-1] |= turn
    telling[[0, -1]] = True
    return telling


def _shares_of_highest(by_channel: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Outputs as shares of each channel's highest, 0 for one that stays off; and the highest."""
    highest = by_channel.max(axis=1)
    return by_channel / np.where(highest > 0, highest, 1.0)[:, None], highest


def _hours_above(day: FloatArray, time_h: FloatArray, threshold: FloatArray) -> FloatArray:
    """Time strictly above the threshold; ``day`` has the shape (n_point, n_site), the quicker way round.

    Only the segments where a site crosses its threshold are looked at: time above is the sum of its falling
    crossings less the sum of its rising ones, and 24 h where it ends above.
    """
    above = day > threshold
    n_site = day.shape[1]
    here = np.flatnonzero(above[1:] != above[:-1])
    point = here // n_site
    site = here - n_site * point
    flat, limit, begin = day.ravel(), threshold[site], time_h[point]
    before, after = flat[here] - limit, flat[here + n_site] - limit
    crossing = begin + before / (before - after) * (time_h[point + 1] - begin)
    falling = np.bincount(site, np.where(before > 0, crossing, -crossing), minlength=n_site)
    hours: FloatArray = np.maximum(falling + np.where(above[-1], time_h[-1], 0.0), 0.0)
    return hours


def _days(output: FloatArray, response: FloatArray) -> Iterator[tuple[slice, FloatArray]]:
    """Blocks of sites and their values at every point, (n_point, n_site); the next block reuses it."""
    n_point, n_site = output.shape[0], response.shape[0]
    step = max(1, min(n_site, _BLOCK_VALUES // n_point))
    store = np.empty(n_point * step)
    for first in range(0, n_site, step):
        block = slice(first, min(first + step, n_site))
        day = store[: n_point * (block.stop - first)].reshape(n_point, -1)
        yield block, np.matmul(output, response[block].T, out=day)


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
