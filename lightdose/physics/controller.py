"""A programme as a controller takes it: times in its steps, levels from its least one up, few points."""

from __future__ import annotations

import math
from collections.abc import Collection, Mapping
from itertools import pairwise

import numpy as np

from lightdose.model.fixture import ChannelProgramme, Dial, DimmingCurve, Fixture, Programme, day_later_h
from lightdose.model.plans import Controller
from lightdose.model.record import FloatArray, distinct
from lightdose.physics.day_curve import output_points
from lightdose.quantities import HOURS_PER_DAY

TENTHS, WHOLE = 1000, 100
"""Steps of a level between 0 and 1."""


def held_programme(
    programme: ChannelProgramme, dimming: DimmingCurve, controller: Controller
) -> ChannelProgramme:
    """A channel's programme within what the controller takes.

    Source
    ------
    Our choice: times move to the nearest step; levels of a channel that runs are held at the least level;
    points whose loss changes the day's photons least are left out; levels are rounded.
    """
    time, level = _on_steps(programme.time_h, programme.level, controller.time_step_min)
    if not level.any():
        return ChannelProgramme(time, level)
    if controller.least_level > 0:
        time, level = _held_at_least(time, level, controller)
    if controller.most_points is not None:
        time, level = _thinned(time, level, dimming, controller.most_points)
    return ChannelProgramme(time, rounded_levels(level, controller))


def held_dial(dial: Dial, controller: Controller) -> Dial:
    """A programme with its overall setting, with the times and the levels that a controller takes.

    Source
    ------
    Our choice: as ``held_programme``; rows that meet in one step become one, or two where a value jumps.
    """
    time = _nearest_steps(dial.time_h, controller.time_step_min)
    if time[-1] == time[0]:
        time = dial.time_h
    columns = {"": dial.overall, **dial.levels}
    columns = {name: rounded_levels(column, controller) for name, column in columns.items()}
    times: list[float] = []
    rows: list[dict[str, float]] = []
    for at in distinct(time).tolist():
        met = {name: column[(time == at) & ~np.isnan(column)] for name, column in columns.items()}
        times.append(at)
        rows.append({name: float(values[0]) if values.size else math.nan for name, values in met.items()})
        if any(values.size and values[0] != values[-1] for values in met.values()):
            times.append(at)
            rows.append(
                {name: float(values[-1]) if values.size > 1 else math.nan for name, values in met.items()}
            )
    made = {name: np.array([row[name] for row in rows]) for name in columns}
    return Dial(np.array(times), made.pop(""), made)


def rounded_levels(level: FloatArray, controller: Controller) -> FloatArray:
    """Levels in whole percents, or in tenths; NaN stays."""
    return _rounded(level, WHOLE if controller.whole_percents else TENTHS)


def _rounded(level: FloatArray, steps: int) -> FloatArray:
    return np.asarray(np.clip(np.round(level * steps) / steps, 0.0, 1.0))


def on_minutes(time_h: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
    """A course with its times at whole minutes, as controllers take them: points move along the course.

    Parameters
    ----------
    time_h, value : array, shape (n,)
        Linear between; a time that stands twice is a jump, which moves as it is. [h]

    Returns
    -------
    time_h, value : array, shape (k,)
        Of points that meet in one minute one stays; a course shorter than a minute stays as it is.
    """
    moved = _nearest_steps(time_h, 1)
    if moved[-1] == moved[0]:
        return time_h, value
    same = np.diff(time_h) == 0
    own = np.append(same, False) | np.insert(same, 0, False) | (np.abs(moved - time_h) < 1e-9)
    own[[0, -1]] = True
    value = np.where(own, value, np.interp(moved, time_h, value))
    kept = [0]
    for i in range(1, moved.size):
        if moved[i] > moved[kept[-1]] or time_h[i] == time_h[kept[-1]]:
            kept.append(i)
        elif own[i]:
            kept[-1] = i
    return moved[kept], value[kept]


def as_set(
    channels: Mapping[str, ChannelProgramme], fixture: Fixture, steps: int, glowing: Collection[str] = ()
) -> Programme:
    """The programme with its levels rounded as they are set, under the overall setting that it had.

    The setting is raised where a level would pass 100 percent. It is left out where a channel that gives
    light at level 0 is to stay dark: no column of a file with such a setting can say that.

    Parameters
    ----------
    channels : channel -> its programme; one whose levels all round to 0 is off
    fixture : Fixture
        As it is set now.
    steps : int
        Of a level between 0 and 1.
    glowing : names of channels that run at level 0 too
    """
    dial, overall = fixture.programme.dial, 1.0
    if dial is not None and channels:
        highest = max(float(c.level.max()) for c in channels.values())
        overall = max(dial.plateau, math.ceil(100 * highest - 1e-9) / 100)
    rounded = {
        name: ChannelProgramme(c.time_h, _rounded(c.level / overall, steps)) for name, c in channels.items()
    }
    lit = {name: c for name, c in rounded.items() if c.level.any() or name in glowing}
    if dial is None or not lit:
        return Programme(lit)
    dark = [c.name for c in fixture.type.channels if c.name not in lit]
    if set(dark) & set(fixture.type.lit_at_zero):
        return Programme({n: ChannelProgramme(c.time_h, overall * c.level) for n, c in lit.items()})
    moments = Programme(lit).points()
    time_h = np.array([time for time, _ in moments])
    levels = {name: np.array([at.get(name, math.nan) for _, at in moments]) for name in lit}
    levels |= {name: np.zeros(time_h.size) for name in dark}
    return Dial(time_h, np.full(time_h.size, overall), levels).programme()


def can_be_set(programme: Programme) -> bool:
    """Whether all its levels are tenths of a percent, and all its times whole minutes."""
    dial = programme.dial
    if dial is not None:
        times, levels = [dial.time_h], [dial.overall, *dial.levels.values()]
    else:
        times, levels = ([getattr(c, of) for c in programme.channels.values()] for of in ("time_h", "level"))
    marks = [60 * time for time in times] + [TENTHS * level[~np.isnan(level)] for level in levels]
    return all(bool(np.all(np.abs(mark - np.round(mark)) < 1e-6)) for mark in marks)


def _nearest_steps(time_h: FloatArray, step_min: int) -> FloatArray:
    """Times at multiples of a step, those halfway at the later one: so what moves together keeps its length.

    They start within the day and span one at most. [h]
    """
    moved = np.floor(time_h * 60 / step_min + 0.5 + 1e-6) * step_min / 60
    if moved[0] >= HOURS_PER_DAY:
        moved = np.floor((moved - HOURS_PER_DAY) * 60 / step_min + 1e-6) * step_min / 60
    last = math.floor((moved[0] + HOURS_PER_DAY) * 60 / step_min + 1e-6) * step_min / 60
    return np.asarray(np.minimum(moved, min(last, day_later_h(float(moved[0])))))


def _on_steps(time: FloatArray, level: FloatArray, step_min: int) -> tuple[FloatArray, FloatArray]:
    """Points at multiples of the time step; of several at one step the first and the last stay."""
    moved = _nearest_steps(time, step_min)
    if moved[-1] == moved[0]:
        return time, level
    kept = [
        i
        for i in range(moved.size)
        if not (0 < i < moved.size - 1 and moved[i - 1] == moved[i] == moved[i + 1])
    ]
    return moved[kept], level[kept]


def _held_at_least(
    time: FloatArray, level: FloatArray, controller: Controller
) -> tuple[FloatArray, FloatArray]:
    """Levels no lower than the least one, with a point where the course crosses it."""
    least, step_min = controller.least_level, controller.time_step_min
    times, levels = [float(time[0])], [max(float(level[0]), least)]
    for (t0, l0), (t1, l1) in pairwise(zip(time.tolist(), level.tolist(), strict=True)):
        if t1 > t0 and min(l0, l1) < least < max(l0, l1):
            minutes = (t0 + (least - l0) / (l1 - l0) * (t1 - t0)) * 60
            crossing = round(minutes / step_min) * step_min / 60
            if t0 < crossing < t1:
                times.append(crossing)
                levels.append(max(l0 + (crossing - t0) / (t1 - t0) * (l1 - l0), least))
        times.append(t1)
        levels.append(max(l1, least))
    return np.array(times), np.array(levels)


def _thinned(
    time: FloatArray, level: FloatArray, dimming: DimmingCurve, most: int
) -> tuple[FloatArray, FloatArray]:
    """At most so many points, each time without the one that matters least."""
    while time.size > most:
        whole = _photons(time, level, dimming)
        losses = [
            abs(_photons(np.delete(time, i), np.delete(level, i), dimming) - whole)
            for i in range(1, time.size - 1)
        ]
        out = 1 + int(np.argmin(losses))
        time, level = np.delete(time, out), np.delete(level, out)
    return time, level


def _photons(time: FloatArray, level: FloatArray, dimming: DimmingCurve) -> float:
    """Hours at full output. [h]"""
    time_h, output = output_points(ChannelProgramme(time, level), dimming)
    return float(np.sum(0.5 * np.diff(time_h) * (output[1:] + output[:-1])))
