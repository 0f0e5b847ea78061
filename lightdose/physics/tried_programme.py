"""How "try a change" changes a programme: a level for each channel, a factor on all, and hours of the top.

The report page holds the same few lines of arithmetic in the same order, so that both give the same floats.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import Channel, Fixture
from lightdose.model.schedule import ChannelProgramme
from lightdose.model.try_change import TryChannel
from lightdose.quantities import HOURS_PER_DAY

SHORTEST_TOP_H = 0.25
"""A top that is longer today is not made shorter than this: its ramps would meet. Our choice."""

LONGEST_DAY_H = 23.75
"""No channel is made to shine longer than this; one that does so already keeps its hours. Our choice."""


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

    Returns
    -------
    int or None

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
    before dimming, and cut at 1. The top, from the first to the last moment at the highest level, gets
    longer by ``hours_more`` on both sides alike, as far as the channel's limits go: what is inside stretches,
    the ramps before and after keep their shape.

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
    factor = level / channel.highest_level * all_channels
    levels = np.minimum(channel.level * factor, 1.0)
    shorter, longer = channel.top_change_h
    change = min(max(hours_more, shorter), longer)
    if change == 0:
        return ChannelProgramme(channel.time_h, levels)
    first, last = channel.top
    early, late = channel.time_h[: first + 1] - change / 2, channel.time_h[last:] + change / 2
    begin, end = channel.time_h[first], channel.time_h[last]
    inner = channel.time_h[first + 1 : last]
    if inner.size:
        middle, stretch = (begin + end) / 2, (end - begin + change) / (end - begin)
        inner = np.minimum(np.maximum(middle + (inner - middle) * stretch, early[-1]), late[0])
    time = np.concatenate([early, inner, late])
    if first == last:  # a peak becomes a top: its point stands at both ends
        levels = np.insert(levels, first, levels[first])
    day = HOURS_PER_DAY if time[0] < 0 else -HOURS_PER_DAY if time[0] >= HOURS_PER_DAY else 0.0
    return ChannelProgramme(time + day, levels)


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
