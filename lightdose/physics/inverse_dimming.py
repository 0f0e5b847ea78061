"""From outputs back to levels: programmes that give a wished-for output through a curved dimming.

An output that is piecewise linear in time needs levels that bend where the output crosses a knot of the
dimming curve, so rows are put there; what is written then gives exactly the wished-for output. Where a
dimming curve is flat, the level jumps while the output stays.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lightdose.errors import ScheduleError
from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import DimmingCurve
from lightdose.model.schedule import ChannelProgramme
from lightdose.physics.day_curve import output_points
from lightdose.quantities import HOURS_PER_DAY

SNAP = 1e-12
"""An output this close to a knot of its dimming curve is the knot: rounding must not cross a flat part."""


def level_for_output(output: npt.ArrayLike, dimming: DimmingCurve) -> FloatArray:
    """The lowest level that gives an output.

    Parameters
    ----------
    output : array
        Output 0-1; one below the least that the channel gives at level 0 is met by level 0.
    dimming : DimmingCurve

    Returns
    -------
    array, the same shape
        Level 0-1.

    Source
    ------
    Inverse of a piecewise-linear function that does not fall.
    """
    return _inverse(np.asarray(output, dtype=np.float64), dimming, upper=False)


def programme_for_output(
    time_h: npt.ArrayLike, output: npt.ArrayLike, dimming: DimmingCurve
) -> ChannelProgramme:
    """A channel's programme whose output is linear between the given points.

    Parameters
    ----------
    time_h : array, shape (n,)
        Times, not falling, a time that stands twice is a jump; as a ``ChannelProgramme`` counts them. [h]
    output : array, shape (n,)
        Output 0-1; rounding beyond 1 is taken as 1.
    dimming : DimmingCurve

    Returns
    -------
    ChannelProgramme
        The given times, with rows where the inverse dimming bends in between; ``output_points`` of it are
        the given ones again.

    Raises
    ------
    ScheduleError
        If the times are none of a programme, or an output lies outside 0 to 1.

    Source
    ------
    A piecewise-linear function of a piecewise-linear function is piecewise linear on the joint breakpoints.
    """
    time, wanted = np.asarray(time_h, dtype=np.float64), np.asarray(output, dtype=np.float64)
    if time.size < 2 or time.shape != wanted.shape or np.any(np.diff(time) < 0) or time[0] == time[-1]:
        raise ScheduleError("an output curve needs two or more points at times that do not fall")
    if np.any(~(wanted >= 0)) or np.any(wanted > 1 + 1e-9):
        raise ScheduleError("outputs are 0 to 100 percent")
    nearest = dimming.output[np.argmin(np.abs(wanted[:, None] - dimming.output), axis=1)]
    wanted = np.where(np.abs(wanted - nearest) <= SNAP, nearest, np.minimum(wanted, 1.0))
    times: list[float] = []
    levels: list[float] = []
    for left in np.flatnonzero(np.diff(time) > 0):
        points = _segment(time[left : left + 2], wanted[left : left + 2], dimming)
        if times and times[-1] == points[0][0] and levels[-1] == points[0][1]:
            points = points[1:]
        times += [t for t, _ in points]
        levels += [v for _, v in points]
    return ChannelProgramme(np.array(times), np.array(levels))


def scaled_programme(programme: ChannelProgramme, dimming: DimmingCurve, factor: float) -> ChannelProgramme:
    """The programme whose output is a factor times that of another, at every time.

    Parameters
    ----------
    programme : ChannelProgramme
    dimming : DimmingCurve
    factor : float
        Not negative; exactly 1 gives the same programme.

    Returns
    -------
    ChannelProgramme

    Raises
    ------
    ScheduleError
        If an output would pass 1.

    Source
    ------
    As ``programme_for_output``.
    """
    if factor == 1:
        return programme
    time, output = output_points(programme, dimming)
    if time[0] == time[-1]:  # a programme without length gives no light
        return programme
    return programme_for_output(time, factor * output, dimming)


def opened_day(time_h: FloatArray, output: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A day from 0 to 24 h as one programme: from its first light to its last, over midnight where needed.

    Parameters
    ----------
    time_h : array, shape (n,)
        From 0 to 24, not falling; a time that stands twice is a jump. [h]
    output : array, shape (n,) or (n, m)
        Not negative, linear between; everything off is 0 in every column.

    Returns
    -------
    time_h : array, shape (k,)
        From the end of the longest dark time on, past 24 where light goes over midnight. [h]
    output : array, shape (k,) or (k, m)

    Source
    ------
    The day repeats every 24 h, so it may be cut open in any dark time. Light around the clock stays as it is.
    """
    lit = output > 0 if output.ndim == 1 else np.any(output > 0, axis=1)
    if not lit.any():
        return time_h, output
    on = np.flatnonzero((lit[:-1] | lit[1:]) & (np.diff(time_h) > 0))
    first, last = int(on[0]), int(on[-1]) + 1
    gaps = np.flatnonzero(np.diff(on) > 1)
    inner = [(float(time_h[on[g + 1]] - time_h[on[g] + 1]), int(on[g]) + 1, int(on[g + 1])) for g in gaps]
    inner = [gap for gap in inner if gap[0] > 0]
    longest = max(inner, default=(0.0, 0, 0))
    outer = float(HOURS_PER_DAY - (time_h[last] - time_h[first]))
    if outer >= longest[0]:
        return time_h[first : last + 1], output[first : last + 1]
    _, end, start = longest
    time = np.concatenate([time_h[start:], time_h[: end + 1] + HOURS_PER_DAY])
    value = np.concatenate([output[start:], output[: end + 1]])
    joint = time_h.size - start - 1
    if time[joint] == time[joint + 1] and np.array_equal(value[joint], value[joint + 1]):
        time, value = np.delete(time, joint), np.delete(value, joint, axis=0)
    return time, value


def _inverse(output: FloatArray, dimming: DimmingCurve, *, upper: bool) -> FloatArray:
    """Level for an output; where the dimming curve is flat, the lower or the upper end of the flat part."""
    outputs, starts = np.unique(dimming.output, return_index=True)
    ends = np.append(starts[1:], dimming.output.size) - 1
    low, high = dimming.level[starts], dimming.level[ends]
    place = np.clip(np.searchsorted(outputs, output, side="left"), 1, max(outputs.size - 1, 1))
    if outputs.size == 1:
        return np.full_like(output, high[0] if upper else low[0])
    left, right = place - 1, place
    share = (output - outputs[left]) / (outputs[right] - outputs[left])
    level = high[left] + share * (low[right] - high[left])
    ends_here = high if upper else low
    level = np.where(output == outputs[left], ends_here[left], level)
    level = np.where(output == outputs[right], ends_here[right], level)
    return np.clip(level, 0.0, 1.0)


def _segment(time: FloatArray, output: FloatArray, dimming: DimmingCurve) -> list[tuple[float, float]]:
    """Points of one segment of positive length; both ends, and two at a time where the level jumps."""
    start, end = float(output[0]), float(output[1])
    rises, falls = end > start, end < start
    points = [(float(time[0]), _one(start, dimming, upper=rises))]
    low, high = min(start, end), max(start, end)
    knots = np.unique(dimming.output[(dimming.output > low) & (dimming.output < high)])
    for knot in knots if rises else knots[::-1]:
        at = float(time[0] + (knot - start) / (end - start) * (time[1] - time[0]))
        if not points[-1][0] < at < time[1]:
            continue  # nearer to an end than numbers tell apart
        before, after = _one(knot, dimming, upper=falls), _one(knot, dimming, upper=rises)
        points.append((at, before))
        if after != before:
            points.append((at, after))
    points.append((float(time[1]), _one(end, dimming, upper=falls)))
    return points


def _one(output: float, dimming: DimmingCurve, *, upper: bool) -> float:
    return float(_inverse(np.array([output]), dimming, upper=upper)[0])
