"""A day of other levels and another length: hours at full output in closed form, for many levels at once.

Every channel keeps its own course. Levels are multiplied, and the stretch at the top of the day, where no
channel changes, is made longer or shorter around its middle; ramps may be stretched beside it.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import ScheduleError
from lightdose.model.fixture import ChannelProgramme, DimmingCurve, Fixture, Programme
from lightdose.model.record import FloatArray, dataclass
from lightdose.physics.day_curve import day_curve
from lightdose.quantities import HOURS_PER_DAY

AT_TOP = 0.999
"""A stretch counts as the top of the day from this share of its brightest moment: our choice."""


@dataclass(frozen=True)
class Plateau:
    """The stretch at the top of the day where no channel changes, by the clock. [h]"""

    start_h: float
    end_h: float

    @property
    def hours(self) -> float:
        """Its length. [h]"""
        return self.end_h - self.start_h

    def within(self, programme: ChannelProgramme) -> tuple[float, float] | None:
        """Its ends on the time of a programme, which may pass 24; None where that does not run then. [h]"""
        first, last = float(programme.time_h[0]), float(programme.time_h[-1])
        for days in (0.0, HOURS_PER_DAY):
            if first <= self.start_h + days and self.end_h + days <= last:
                return self.start_h + days, self.end_h + days
        return None


def plateau_of(fixtures: Sequence[Fixture], weight: FloatArray) -> Plateau | None:
    """The longest stretch of a day at its brightest, where no channel changes.

    Parameters
    ----------
    fixtures : sequence of Fixture
        The lit ones.
    weight : array, shape (n_channel,)
        What each channel counts for at full output, such as its mean PPFD. [umol m-2 s-1]

    Returns
    -------
    Plateau or None
        None where the light never stands still at its brightest; a stretch over midnight ends there.
    """
    curve = day_curve(fixtures)
    start, end = curve.output_start @ weight, curve.output_end @ weight
    highest = max(float(start.max(initial=0.0)), float(end.max(initial=0.0)))
    flat = (start >= AT_TOP * highest) & np.all(curve.output_start == curve.output_end, axis=1)
    longest: Plateau | None = None
    first: float | None = None
    for k in range(flat.size if highest > 0 else 0):
        if not flat[k]:
            first = None
            continue
        joined = first is not None and bool(np.all(curve.output_end[k - 1] == curve.output_start[k]))
        first = first if joined else float(curve.edge_h[k])
        assert first is not None
        found = Plateau(first, float(curve.edge_h[k + 1]))
        if longest is None or found.hours > longest.hours:
            longest = found
    return longest


@dataclass(frozen=True)
class DayChange:
    """What becomes of the day's times.

    Attributes
    ----------
    longer_h : by how much the plateau grows, around its middle; negative shortens it. [h]
    up, down : factors on what goes before and after it
    """

    longer_h: float = 0.0
    up: float = 1.0
    down: float = 1.0


SAME_DAY = DayChange()


def moved_times(time_h: FloatArray, plateau: Plateau, change: DayChange) -> FloatArray:
    """Times of a programme in the changed day, to the second; what lies opposite the plateau parts there. [h]

    Raises
    ------
    ScheduleError
        If times would overtake one another.
    """
    middle, half = 0.5 * (plateau.start_h + plateau.end_h), 0.5 * plateau.hours
    off = np.mod(time_h - middle + 0.5 * HOURS_PER_DAY, HOURS_PER_DAY) - 0.5 * HOURS_PER_DAY
    beyond = np.maximum(np.abs(off) - half, 0.0)
    stretched = np.where(off < 0, change.up, change.down) * beyond
    new_half = half + 0.5 * change.longer_h
    inside = np.minimum(np.abs(off), half) * (new_half / half if half > 0 else 1.0)
    moved = time_h - off + np.sign(off) * (inside + stretched)
    if moved[0] < 0:
        moved = moved + HOURS_PER_DAY
    elif moved[0] >= HOURS_PER_DAY:
        moved = moved - HOURS_PER_DAY
    if np.any(np.diff(moved) < 0):
        raise ScheduleError("the day cannot be as long as that: what runs at night would overtake it")
    return np.asarray(np.round(3600 * moved) / 3600)


def with_levels(fixture: Fixture, factor: Sequence[float]) -> Fixture:
    """A fixture with every level times its channel's factor, held at full.

    Where an overall factor is set apart from the levels and all channels change alike, that changes.
    """
    of_channel = {c.name: f for c, f in zip(fixture.type.channels, factor, strict=True)}
    dial = fixture.programme.dial
    if dial is not None:
        if len(set(factor)) == 1:
            dial = dial.at(min(dial.plateau * factor[0], 1.0))
        else:
            levels = {n: np.minimum(v * of_channel[n], 1.0) for n, v in dial.levels.items()}
            dial = replace(dial, levels=levels)
        return replace(fixture, programme=dial.programme())
    channels = {
        name: replace(programme, level=np.minimum(programme.level * of_channel[name], 1.0))
        for name, programme in fixture.programme.channels.items()
    }
    return replace(fixture, programme=Programme(channels))


def with_times(fixture: Fixture, plateau: Plateau, change: DayChange) -> Fixture:
    """A fixture whose channels run through the changed day.

    Raises
    ------
    ScheduleError
        As ``moved_times``, or if a programme would last longer than 24 h.
    """
    dial = fixture.programme.dial
    if dial is not None:
        moved = replace(dial, time_h=moved_times(dial.time_h, plateau, change))
        return replace(fixture, programme=moved.programme())
    channels = {
        name: replace(programme, time_h=moved_times(programme.time_h, plateau, change))
        for name, programme in fixture.programme.channels.items()
    }
    return replace(fixture, programme=Programme(channels))


def headroom(fixture: Fixture) -> float:
    """How many times the levels of a fixture could rise together; infinite where nothing runs."""
    top = max((float(p.level.max()) for p in fixture.programme.channels.values()), default=0.0)
    if not top > 0:
        return math.inf
    return 1 / (fixture.programme.dial.plateau if fixture.programme.dial else top)


@dataclass(frozen=True, eq=False)
class ChannelHours:
    """Hours at full output of one channel at several highest levels, in three parts of its day.

    Attributes
    ----------
    up, down : array, shape (n_level,); before the plateau and after it, or the whole day in ``up``. [h]
    top : array, shape (n_level,); output at the plateau, 0-1; 0 where the channel does not run then
    plateau_h : length of today's plateau. [h]
    """

    up: FloatArray
    top: FloatArray
    down: FloatArray
    plateau_h: float

    def at(self, change: DayChange) -> FloatArray:
        """Hours at full output in the changed day, shape (n_level,). [h]"""
        if not self.top.any():
            return self.up
        longer = max(self.plateau_h + change.longer_h, 0.0)
        return change.up * self.up + longer * self.top + change.down * self.down


def channel_hours(
    programme: ChannelProgramme | None, curve: DimmingCurve, factor: FloatArray, plateau: Plateau | None
) -> ChannelHours:
    """What a channel gives in a day with its levels multiplied.

    Parameters
    ----------
    programme : ChannelProgramme or None
        None for a channel that stays off.
    curve : DimmingCurve
        Any function of the level that is linear between knots; not only one that rises.
    factor : array, shape (n_factor,)
        On every level; a level above 1 counts as 1.
    plateau : Plateau or None

    Source
    ------
    Integral of a piecewise-linear function of a piecewise-linear course, closed form.
    """
    none = np.zeros(factor.size)
    if programme is None:
        return ChannelHours(none, none, none, 0.0)
    time = programme.time_h
    level = np.minimum(programme.level * factor[:, None], 1.0)
    ends = plateau.within(programme) if plateau is not None else None
    if ends is None:
        return ChannelHours(_hours(time, level, curve), none, none, 0.0)
    before, after = time <= ends[0], time >= ends[1]
    at_top = np.minimum(np.interp(0.5 * (ends[0] + ends[1]), time, programme.level) * factor, 1.0)
    last, first = np.count_nonzero(before), time.size - np.count_nonzero(after)
    up = _hours(np.append(time[:last], ends[0]), np.column_stack((level[:, :last], at_top)), curve)
    down = _hours(np.insert(time[first:], 0, ends[1]), np.column_stack((at_top, level[:, first:])), curve)
    return ChannelHours(up, np.interp(at_top, curve.level, curve.output), down, ends[1] - ends[0])


def _hours(time_h: FloatArray, level: FloatArray, curve: DimmingCurve) -> FloatArray:
    """Integral of ``curve`` of each row of levels, linear between times. [h]"""
    low, high = level[:, :-1], level[:, 1:]
    rise = high - low
    steep = np.abs(rise) > 1e-7
    area = _area(high, curve) - _area(low, curve)
    middle = np.interp(0.5 * (low + high), curve.level, curve.output)
    mean = np.divide(area, rise, out=middle, where=steep)
    return np.asarray(mean @ np.diff(time_h))


def _area(level: FloatArray, curve: DimmingCurve) -> FloatArray:
    """Integral of a curve from 0 to levels."""
    knot, output = curve.level, curve.output
    whole = np.concatenate(([0.0], np.cumsum(0.5 * np.diff(knot) * (output[1:] + output[:-1]))))
    k = np.clip(np.searchsorted(knot, level, side="right") - 1, 0, knot.size - 2)
    into = level - knot[k]
    rise = (output[k + 1] - output[k]) / (knot[k + 1] - knot[k])
    return np.asarray(whole[k] + into * (output[k] + 0.5 * into * rise))
