"""The day's light at every site, exact on breakpoints: no time grid anywhere."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from lightdose.model.arrays import FloatArray
from lightdose.model.results import DayCurve, Dose, LightField
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
    time, output = day_points(curve)
    n_site = ppfd.shape[0]
    peak, photoperiod, any_light, lux_at_peak = (np.zeros(n_site) for _ in range(4))
    for block in _blocks(n_site, time.size):
        day = ppfd[block] @ output.T
        peak[block] = day.max(axis=1)
        photoperiod[block] = _hours_above(day, time, PHOTOPERIOD_SHARE * peak[block])
        any_light[block] = _hours_above(photons[block] @ output.T, time, np.zeros(day.shape[0]))
        # Rounding must not decide which end of a plateau counts as the time of the peak.
        first = np.argmax(day >= peak[block, None] * (1 - 1e-12), axis=1)
        lux_at_peak[block] = np.einsum("sc,sc->s", lux[block], output[first])
    equivalent = np.divide(dli, MOL_PER_UMOL_S_H * peak, out=np.full(n_site, np.nan), where=peak > 0)
    return Dose(
        dli=dli,
        peak_ppfd=peak,
        brightest_hour_ppfd=brightest_window(ppfd, curve),
        lux_at_peak=lux_at_peak,
        photoperiod_h=photoperiod,
        any_light_h=any_light,
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
    A piecewise-linear function has its maximum at a breakpoint; crossings by linear interpolation.
    """
    time, output = day_points(curve)
    peak, photoperiod = np.zeros(response.shape[0]), np.zeros(response.shape[0])
    for block in _blocks(response.shape[0], time.size):
        day = response[block] @ output.T
        peak[block] = day.max(axis=1)
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
        In the unit of ``response``; time at the threshold itself does not count.

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
    hours = np.zeros(response.shape[0])
    for block in _blocks(response.shape[0], time.size):
        hours[block] = _hours_above(response[block] @ output.T, time, limit[block])
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
    start = np.unique(np.concatenate([edges, np.mod(edges - window_h, HOURS_PER_DAY)]))
    width = np.diff(start)
    held = _hours_since_midnight(curve, start + window_h) - _hours_since_midnight(curve, start)
    # The slope's two one-sided values in each interval, from two inner times: exact, since it is linear.
    near, far = start[:-1] + 0.25 * width, start[:-1] + 0.75 * width
    slope_near = output_at(curve, near + window_h) - output_at(curve, near)
    slope_far = output_at(curve, far + window_h) - output_at(curve, far)
    slope_first, slope_last = 1.5 * slope_near - 0.5 * slope_far, 1.5 * slope_far - 0.5 * slope_near
    best = np.zeros(response.shape[0])
    for block in _blocks(response.shape[0], 3 * start.size):
        total = response[block] @ held.T
        rising, falling = response[block] @ slope_first.T, response[block] @ slope_last.T
        bend = (rising > 0) & (falling < 0)
        gain = np.divide(rising**2, 2 * (rising - falling), out=np.zeros_like(rising), where=bend)
        best[block] = np.maximum(total.max(axis=1), (total[:, :-1] + gain * width).max(axis=1))
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


def _hours_above(day: FloatArray, time_h: FloatArray, threshold: FloatArray) -> FloatArray:
    """Time strictly above the threshold; ``day`` has the shape (n_site, n_point).

    Only the segments where a site crosses its threshold are looked at: time above is the sum of its falling
    crossings less the sum of its rising ones, and 24 h where it ends above.
    """
    above = day > threshold[:, None]
    site, point = np.divmod(np.flatnonzero(above[:, 1:] != above[:, :-1]), time_h.size - 1)
    before, after = day[site, point] - threshold[site], day[site, point + 1] - threshold[site]
    crossing = time_h[point] + before / (before - after) * (time_h[point + 1] - time_h[point])
    signed = np.where(above[site, point], crossing, -crossing)
    ended = np.where(above[:, -1], time_h[-1], 0.0)
    hours: FloatArray = np.asarray(np.bincount(site, signed, minlength=day.shape[0]), dtype=np.float64)
    return np.maximum(hours + ended, 0.0)


def _blocks(n_site: int, n_value: int) -> Iterator[slice]:
    """Slices of sites whose day matrices stay within the block size."""
    step = max(1, _BLOCK_VALUES // max(1, n_value))
    for first in range(0, n_site, step):
        yield slice(first, min(first + step, n_site))
