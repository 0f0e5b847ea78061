"""A day of other levels and another length: hours at full output in closed form, for many levels at once.

Every channel keeps its own course. Levels are multiplied, and the stretch at the top of the day, where no
channel changes, is made longer or shorter around its middle; ramps may be stretched beside it.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from itertools import pairwise

import numpy as np

from lightdose.errors import ScheduleError
from lightdose.model.fixture import ChannelProgramme, DimmingCurve, Fixture, Programme
from lightdose.model.record import FloatArray, dataclass, distinct
from lightdose.physics.day_curve import area_below, day_curve, output_at
from lightdose.quantities import HOURS_PER_DAY

AT_TOP, NEAR_TOP = 0.999, 0.95
"""A stretch where no channel changes is the top of the day from this share of its brightest moment; where
there is none, all that is as bright as the second share is. Our choice."""


@dataclass(frozen=True)
class Plateau:
    """The stretch at the top of the day, by the clock. [h]"""

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
    """The longest stretch at the top of a day where no channel changes, or all that is nearly as bright.

    Parameters
    ----------
    fixtures : sequence of Fixture
        The lit ones.
    weight : array, shape (n_channel,)
        What each channel counts for at full output, such as its mean PPFD. [umol m-2 s-1]

    Returns
    -------
    Plateau or None
        None where nothing shines; a stretch over midnight ends there.

    Source
    ------
    Our choice of what the top of a day is.
    """
    curve = day_curve(fixtures)
    start, end = curve.output_start @ weight, curve.output_end @ weight
    highest = max(float(start.max(initial=0.0)), float(end.max(initial=0.0)))
    if not highest > 0:
        return None
    still = np.all(curve.output_start == curve.output_end, axis=1)
    flat = _longest(curve.edge_h, (start >= AT_TOP * highest) & still)
    if flat is not None:
        return flat
    level, width = NEAR_TOP * highest, np.diff(curve.edge_h)
    rise = np.where(end != start, end - start, 1.0)
    crossed = np.flatnonzero((start < level) != (end < level))
    cuts = curve.edge_h[crossed] + width[crossed] * (level - start[crossed]) / rise[crossed]
    edges = distinct(np.concatenate((curve.edge_h, np.clip(cuts, 0.0, HOURS_PER_DAY))))
    middle = output_at(curve, 0.5 * (edges[1:] + edges[:-1])) @ weight
    near = _longest(edges, middle >= level)
    if near is None:
        return None
    # Whole minutes, as people set them.
    first, last = math.ceil(60 * near.start_h - 1e-6) / 60, math.floor(60 * near.end_h + 1e-6) / 60
    return Plateau(first, last) if last > first else None


def _longest(edge_h: FloatArray, marked: np.ndarray[tuple[int, ...], np.dtype[np.bool_]]) -> Plateau | None:
    """The longest run of marked segments."""
    longest: Plateau | None = None
    first = 0.0
    for k, (begin, end) in enumerate(pairwise(edge_h.tolist())):
        if not marked[k]:
            continue
        first = first if k and marked[k - 1] else begin
        if longest is None or end - first > longest.hours:
            longest = Plateau(first, end)
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

    Where an overall setting is set apart from the levels and all channels change alike, that changes.
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
    if change == SAME_DAY:
        return fixture
    if dial is not None:
        time, columns = _bent(dial.time_h, {"": dial.overall, **dial.levels}, plateau)
        overall = columns.pop("")
        changed = replace(dial, time_h=moved_times(time, plateau, change), overall=overall, levels=columns)
        return replace(fixture, programme=changed.programme())
    channels = {}
    for name, programme in fixture.programme.channels.items():
        time, levels = _bent(programme.time_h, {name: programme.level}, plateau)
        channels[name] = ChannelProgramme(moved_times(time, plateau, change), levels[name])
    return replace(fixture, programme=Programme(channels))


def _bent(
    time_h: FloatArray, columns: Mapping[str, FloatArray], plateau: Plateau
) -> tuple[FloatArray, dict[str, FloatArray]]:
    """Rows with one more at each end of the plateau where a column slopes: time runs otherwise beyond."""
    found = {name: np.array(column) for name, column in columns.items()}
    for end in (plateau.start_h, plateau.end_h):
        for at in (end, end + HOURS_PER_DAY):
            k = int(np.searchsorted(time_h, at))
            if not 0 < k < time_h.size or time_h[k] == at:
                continue
            new = {}
            for name, column in found.items():
                given = np.flatnonzero(~np.isnan(column))
                inside = given.size > 1 and time_h[given[0]] < at < time_h[given[-1]]
                new[name] = float(np.interp(at, time_h[given], column[given])) if inside else math.nan
            if all(math.isnan(v) or v in (found[n][k - 1], found[n][k]) for n, v in new.items()):
                continue
            time_h = np.insert(time_h, k, at)
            found = {name: np.insert(column, k, new[name]) for name, column in found.items()}
    return time_h, found


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
    up, down : array, shape (n_level,); before the plateau and after it. [h]
    top : array, shape (n_level,); mean output at the plateau, 0-1; 0 where the channel does not run then
    plateau_h : length of today's plateau. [h]
    """

    up: FloatArray
    top: FloatArray
    down: FloatArray
    plateau_h: float

    def at(self, change: DayChange) -> FloatArray:
        """Hours at full output in the changed day, shape (n_level,). [h]"""
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
        hours = _segment_hours(time, level, curve).sum(axis=1)
        later = plateau is not None and _is_after(0.5 * float(time[0] + time[-1]), plateau)
        return ChannelHours(none if later else hours, none, hours if later else none, 0.0)
    low, high = ends
    for end in ends:
        time, level = _with_time(time, level, end)
    before, after = np.searchsorted(time, ends)
    hours = _segment_hours(time, level, curve)
    up, top, down = (part.sum(axis=1) for part in np.split(hours, (before, after), axis=1))
    return ChannelHours(up, top / (high - low), down, high - low)


def _is_after(time_h: float, plateau: Plateau) -> bool:
    """Whether a time lies nearer after the middle of the plateau than before it."""
    return (time_h - 0.5 * (plateau.start_h + plateau.end_h)) % HOURS_PER_DAY < 0.5 * HOURS_PER_DAY


def _with_time(time_h: FloatArray, level: FloatArray, at_h: float) -> tuple[FloatArray, FloatArray]:
    """A course with a point at a time within it; each row of ``level`` is one."""
    k = int(np.searchsorted(time_h, at_h))
    if time_h[k] == at_h:
        return time_h, level
    share = (at_h - float(time_h[k - 1])) / float(time_h[k] - time_h[k - 1])
    here = level[:, k - 1] + share * (level[:, k] - level[:, k - 1])
    time_h = np.concatenate((time_h[:k], [at_h], time_h[k:]))  # np.insert takes ten times as long
    return time_h, np.concatenate((level[:, :k], here[:, None], level[:, k:]), axis=1)


def _segment_hours(time_h: FloatArray, level: FloatArray, curve: DimmingCurve) -> FloatArray:
    """Integral of ``curve`` of each row of levels, linear between times, over each segment. [h]"""
    rise = level[:, 1:] - level[:, :-1]
    area = area_below(level, curve.level, curve.output)
    mean = np.interp(0.5 * (level[:, 1:] + level[:, :-1]), curve.level, curve.output)
    np.divide(area[:, 1:] - area[:, :-1], rise, out=mean, where=np.abs(rise) > 1e-7)
    return np.asarray(mean * (time_h[1:] - time_h[:-1]))
