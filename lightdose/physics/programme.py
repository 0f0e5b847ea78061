"""From outputs back to levels, and what "try a change" does to a programme.

An output that is piecewise linear in time needs levels that bend where the output crosses a knot of the
dimming curve, so rows are put there; what is written then gives exactly the wished-for output. Where a
dimming curve is flat, the level jumps while the output stays.

The report page holds the same few lines of arithmetic in the same order, so that both give the same floats.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from lightdose.errors import ScheduleError
from lightdose.model.changes import TryChannel
from lightdose.model.fixture import Channel, ChannelProgramme, DimmingCurve, Fixture
from lightdose.model.record import FloatArray
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

    Raises
    ------
    ScheduleError
        If an output would pass 1.
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


LEVEL_STEPS, SECONDS_PER_HOUR = 10_000, 3_600
"""Levels are set to hundredths of a percent, times to seconds. Our choice."""

SHORTEST_TOP_H = 0.25
"""A top that is longer today is not made shorter than this: its ramps would meet. Our choice."""

LONGEST_DAY_H = 23.75
"""No channel is made to shine longer than this; one that does so already keeps its hours. Our choice."""


def common_dial(fixtures: tuple[Fixture, ...]) -> float | None:
    """The overall setting that all fixtures have all day alike, 0-1; None where there is no such one.

    Parameters
    ----------
    fixtures : tuple of Fixture
        The lit fixtures.

    Source
    ------
    Definition, our choice.
    """
    dials = [fixture.programme.dial for fixture in fixtures]
    told = [dial.overall[~np.isnan(dial.overall)] for dial in dials if dial is not None]
    values = {float(value) for overall in told for value in overall}
    return values.pop() if len(told) == len(fixtures) and len(values) == 1 and min(values) > 0 else None


def tried_channels(fixtures: tuple[Fixture, ...], channel_dli: FloatArray) -> tuple[TryChannel, ...]:
    """What may be changed in every channel.

    The channel that gives most light leads: the tops of channels that stand at their highest level at some
    moment of its top get longer and shorter with it, all others keep their times. A channel that is off all
    day takes over the shape of the channel of its fixture that gives most light, or else of the leading one.

    Parameters
    ----------
    fixtures : tuple of Fixture
        The lit fixtures.
    channel_dli : array, shape (n_channel,)
        Light of the day that each channel gives, over all places. [mol m-2 d-1]

    Returns
    -------
    tuple of TryChannel
        In the order of the fixtures' channels.

    Source
    ------
    Definition, our choice.
    """
    keys = [(fixture, channel) for fixture in fixtures for channel in fixture.type.channels]
    own = [_own_shape(fixture, channel) for fixture, channel in keys]
    dial = common_dial(fixtures)
    own = [replace(shape, dial=dial) for shape in own]
    lead = leading_channel(tuple(own), channel_dli)
    if lead is None:
        return tuple(own)
    placed = [_with_top_change(shape, own[lead]) if shape.adjustable else shape for shape in own]
    filled = []
    for n, (fixture, channel) in enumerate(keys):
        if placed[n].adjustable or channel.dimming.output[0] > 0:
            filled.append(placed[n])
            continue
        near = [i for i, (f, _) in enumerate(keys) if f is fixture and placed[i].adjustable]
        lender = placed[max(near, key=lambda i: float(channel_dli[i]), default=lead)]
        filled.append(_borrowing(placed[n], lender))
    return tuple(filled)


def leading_channel(channels: tuple[TryChannel, ...], channel_dli: FloatArray) -> int | None:
    """Index of the running channel that gives most light; the first of equals, None where none runs.

    Parameters
    ----------
    channels : tuple of TryChannel
    channel_dli : array, shape (n_channel,)
        [mol m-2 d-1]

    Source
    ------
    Definition, our choice.
    """
    running = [i for i, c in enumerate(channels) if c.today_level > 0]
    return max(running, key=lambda i: float(channel_dli[i]), default=None)


def tried_programme(
    channel: TryChannel, level: float, all_channels: float, hours_more: float
) -> ChannelProgramme | None:
    """The programme of a channel under other settings.

    Levels are multiplied by ``level`` / highest level x ``all_channels`` at the points of the programme,
    before dimming, and cut at 1. They are rounded to what can be set, hundredths of a percent; under an
    overall setting it and the levels each are. The top, from the first to the last moment at the highest
    level, gets longer by ``hours_more`` on both sides alike, in whole seconds, as far as the channel's limits
    go: what is inside stretches, the ramps before and after keep their shape.

    Parameters
    ----------
    channel : TryChannel
    level : float
        Its highest level, 0-1.
    all_channels : float
        Factor, 0-2.
    hours_more : float
        Of the leading channel's top; below 0 is shorter. [h]

    Returns
    -------
    ChannelProgramme or None
        None for a channel that stays off.

    Source
    ------
    Definition, our choice.
    """
    if channel.time_h.size == 0:
        return None
    if not channel.adjustable:
        return ChannelProgramme(channel.time_h, channel.level)
    levels = _tried_levels(channel, level / channel.highest_level, all_channels)
    shorter, longer = channel.top_change_h
    half = float(_rounded(np.array(min(max(hours_more, shorter), longer) / 2), SECONDS_PER_HOUR))
    if half == 0:
        return ChannelProgramme(channel.time_h, levels)
    first, last = channel.top
    early, late = channel.time_h[: first + 1] - half, channel.time_h[last:] + half
    begin, end = channel.time_h[first], channel.time_h[last]
    inner = channel.time_h[first + 1 : last]
    if inner.size:
        middle, stretch = (begin + end) / 2, (end - begin + 2 * half) / (end - begin)
        inner = _rounded(middle + (inner - middle) * stretch, SECONDS_PER_HOUR)
        inner = np.minimum(np.maximum(inner, early[-1]), late[0])
    time = np.concatenate([early, inner, late])
    if first == last:  # a peak becomes a top: its point stands at both ends
        levels = np.insert(levels, first, levels[first])
    day = HOURS_PER_DAY if time[0] < 0 else -HOURS_PER_DAY if time[0] >= HOURS_PER_DAY else 0.0
    return ChannelProgramme(time + day, levels)


def _tried_levels(channel: TryChannel, factor: float, all_channels: float) -> FloatArray:
    """The levels at the points of a programme, each as it can be set."""
    if factor * all_channels == 1:
        return channel.level
    if channel.dial is None:
        return np.minimum(_rounded(channel.level * (factor * all_channels), LEVEL_STEPS), 1.0)
    overall = _rounded(np.array(channel.dial * all_channels), LEVEL_STEPS)
    return np.minimum(_rounded(channel.level * factor / channel.dial, LEVEL_STEPS) * overall, 1.0)


def _rounded(values: FloatArray, steps: int) -> FloatArray:
    """Values on the nearest of so many steps a unit, a half upwards."""
    nearest: FloatArray = np.floor(values * steps + 0.5) / steps
    return nearest


def _own_shape(fixture: Fixture, channel: Channel) -> TryChannel:
    """A channel's own programme without the dark before and after; nothing may change yet."""
    programme = fixture.programme.channels.get(channel.name)
    if programme is None:
        empty = np.zeros(0)
        return TryChannel(fixture.name, channel.name, empty, empty, channel.dimming, 0.0, 0.0)
    time, level = programme.time_h, programme.level
    highest = float(level.max())
    if channel.dimming.output[0] == 0:
        lit = np.flatnonzero(level > 0)
        kept = slice(max(int(lit[0]) - 1, 0), int(lit[-1]) + 2) if lit.size else slice(0, 0)
        time, level = time[kept], level[kept]
        if time.size and time[0] >= HOURS_PER_DAY:
            time = time - HOURS_PER_DAY
    at_top = np.flatnonzero(level == highest) if highest > 0 else np.zeros(1, dtype=np.intp)
    top = (int(at_top[0]), int(at_top[-1]))
    return TryChannel(fixture.name, channel.name, time, level, channel.dimming, highest, highest, top)


def _with_top_change(shape: TryChannel, lead: TryChannel) -> TryChannel:
    """The shape with how far its top may get shorter and longer."""
    begin, end = (float(shape.time_h[i]) for i in shape.top)
    lead_begin, lead_end = (float(lead.time_h[i]) for i in lead.top)
    meets = any(
        begin + day <= lead_end and lead_begin <= end + day for day in (-HOURS_PER_DAY, 0.0, HOURS_PER_DAY)
    )
    if not meets:
        return shape
    span = float(shape.time_h[-1] - shape.time_h[0])
    change = min(0.0, SHORTEST_TOP_H - (end - begin)), max(0.0, LONGEST_DAY_H - span)
    return replace(shape, top_change_h=change if span <= LONGEST_DAY_H else (0.0, 0.0))


def _borrowing(off: TryChannel, lender: TryChannel) -> TryChannel:
    return replace(
        off,
        time_h=lender.time_h,
        level=lender.level,
        highest_level=lender.highest_level,
        top=lender.top,
        top_change_h=lender.top_change_h,
        borrowed_from=lender.channel,
    )
