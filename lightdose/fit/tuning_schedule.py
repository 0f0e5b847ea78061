"""From outputs to levels: inverse dimming, and what a controller can take."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import DimmingCurve
from lightdose.model.record import dataclass
from lightdose.model.schedule import ChannelProgramme
from lightdose.model.tuning import Controller, DayShape
from lightdose.physics.day_curve import output_points

TENTHS = 1000
WHOLE = 100
"""Steps of a level between 0 and 1."""


@dataclass(frozen=True, eq=False)
class OutputShape:
    """One channel's course of output, relative to its highest; the last time may pass 24. [h]"""

    time_h: FloatArray
    share: FloatArray

    @classmethod
    def trapezoid(cls, day: DayShape) -> OutputShape:
        """Up, along and down; its times are whole minutes, so that clock times are exact."""
        ends = np.cumsum([day.start_h, day.up_h, day.plateau_h, day.down_h])
        time = np.round(ends * 60) / 60
        share = np.array([0.0, 1.0, 1.0, 0.0])
        keep = np.array([True, True, time[2] > time[1], True])
        return cls(time[keep], share[keep])

    @property
    def hours(self) -> float:
        """Hours at the highest output that give the same photons. [h]"""
        return float(np.sum(0.5 * np.diff(self.time_h) * (self.share[1:] + self.share[:-1])))


def level_points(
    time_h: FloatArray, output: FloatArray, dimming: DimmingCurve
) -> tuple[FloatArray, FloatArray]:
    """Levels that give a course of output exactly.

    Parameters
    ----------
    time_h, output : array, shape (n,)
        Output 0-1, linear between. [h]
    dimming : DimmingCurve

    Returns
    -------
    time_h, level : array, shape (m,)
        Rows are added where the output crosses a knot; where the curve is level, a jump over that stretch.

    Source
    ------
    The inverse of a piecewise-linear function that does not fall, closed form.
    """
    times: list[float] = [float(time_h[0])]
    levels: list[float] = [_side(dimming, output[0], output[1])]
    for index, ((t0, o0), (t1, o1)) in enumerate(pairwise(zip(time_h, output, strict=True)), start=1):
        inner = sorted(
            {float(k) for k in dimming.output if min(o0, o1) < k < max(o0, o1)}, reverse=bool(o1 < o0)
        )
        if t1 > t0:
            for knot in inner:
                at = float(t0 + (knot - o0) / (o1 - o0) * (t1 - t0))
                _add(times, levels, at, _side(dimming, knot, o0), _side(dimming, knot, o1))
        ahead = output[index + 1] if index + 1 < len(output) else None
        arriving = _side(dimming, o1, o0)
        _add(times, levels, float(t1), arriving, arriving if ahead is None else _side(dimming, o1, ahead))
    return np.array(times), np.array(levels)


def _side(dimming: DimmingCurve, output: float, towards: float) -> float:
    """The level that gives an output, at the end of a level stretch that faces another output."""
    fits = dimming.output <= output if towards > output else dimming.output < output
    after = int(np.count_nonzero(fits))
    if after == 0:
        return float(dimming.level[0])
    if after == dimming.level.size:
        return 1.0
    o0, o1 = dimming.output[after - 1], dimming.output[after]
    l0, l1 = dimming.level[after - 1], dimming.level[after]
    return float(l0 + (output - o0) / (o1 - o0) * (l1 - l0))


def _add(times: list[float], levels: list[float], at: float, before: float, after: float) -> None:
    """One point, or two where the level jumps; a third at one time takes the second's place."""
    if len(times) > 1 and times[-1] == times[-2] == at:
        levels[-1] = after
        return
    if times[-1] == at:
        if levels[-1] != after:
            times.append(at)
            levels.append(after)
        return
    times.append(at)
    levels.append(before)
    if after != before:
        times.append(at)
        levels.append(after)


def channel_programme(
    shape: OutputShape, output: float, dimming: DimmingCurve, controller: Controller, *, rounded: bool = True
) -> ChannelProgramme:
    """The programme that brings one channel to a highest output, within what the controller takes.

    Parameters
    ----------
    shape : OutputShape
    output : float
        Highest output of the day, 0-1.
    dimming : DimmingCurve
    controller : Controller
    rounded : bool
        False leaves levels as they are, to see what the other limits cost.

    Returns
    -------
    ChannelProgramme
        Off as two points at level 0.

    Source
    ------
    Our choice: times move to the nearest step and take the level of their new time; points whose loss changes
    the day's photons least are left out; levels are held at the least level, then rounded.
    """
    first, last = float(shape.time_h[0]), float(shape.time_h[-1])
    if not output > 0:
        return ChannelProgramme(np.array([first, last]), np.zeros(2))
    time, level = level_points(shape.time_h, output * shape.share, dimming)
    time, level = _on_steps(time, level, controller.time_step_min)
    time, level = _held_at_least(time, level, controller)
    fixed = {float(t) for t in shape.time_h}
    if controller.most_points is not None:
        time, level = _thinned(time, level, dimming, controller.most_points, fixed)
    if rounded:
        steps = WHOLE if controller.whole_percents else TENTHS
        level = np.round(level * steps) / steps
    return ChannelProgramme(time, np.clip(level, 0.0, 1.0))


def _on_steps(time: FloatArray, level: FloatArray, step_min: int) -> tuple[FloatArray, FloatArray]:
    """Points at multiples of the time step, with the level that the exact course has there."""
    moved = np.round(time * 60 / step_min) * step_min / 60
    if moved[-1] - moved[0] > 24 or moved[-1] == moved[0]:
        return time, level
    inner = np.interp(moved, time, level)
    # A point that stays where it is keeps its own level: at a jump there are two.
    stays = np.abs(moved - time) < 1e-9
    ends = np.isin(np.arange(time.size), [0, time.size - 1])
    jump = np.zeros(time.size, dtype=bool)
    jump[:-1] |= time[1:] == time[:-1]
    jump[1:] |= time[1:] == time[:-1]
    level = np.where(stays | ends | jump, level, inner)
    keep = np.ones(time.size, dtype=bool)
    for i in range(1, time.size):
        same = moved[i] == moved[i - 1]
        if same and (not jump[i] or (i > 1 and moved[i - 2] == moved[i])):
            keep[i if i < time.size - 1 else i - 1] = False
    return moved[keep], level[keep]


def _held_at_least(
    time: FloatArray, level: FloatArray, controller: Controller
) -> tuple[FloatArray, FloatArray]:
    """Levels no lower than the least one, with a point where the course crosses it."""
    least, step_min = controller.least_level, controller.time_step_min
    if not least > 0 or level.min() >= least:
        return time, level
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
    time: FloatArray, level: FloatArray, dimming: DimmingCurve, most: int, fixed: set[float]
) -> tuple[FloatArray, FloatArray]:
    """At most so many points: first the others go, then the corners, each time the one that matters least."""
    while time.size > most:
        inner = range(1, time.size - 1)
        loose = [i for i in inner if float(time[i]) not in fixed] or list(inner)
        whole = _photons(time, level, dimming)
        losses = [abs(_photons(np.delete(time, i), np.delete(level, i), dimming) - whole) for i in loose]
        out = loose[int(np.argmin(losses))]
        time, level = np.delete(time, out), np.delete(level, out)
    return time, level


def _photons(time: FloatArray, level: FloatArray, dimming: DimmingCurve) -> float:
    return written_hours(ChannelProgramme(time, np.clip(level, 0, 1)), dimming)


def written_hours(programme: ChannelProgramme, dimming: DimmingCurve) -> float:
    """Hours at full output that a programme gives in a day.

    Parameters
    ----------
    programme : ChannelProgramme
    dimming : DimmingCurve

    Returns
    -------
    float
        [h]

    Source
    ------
    Trapezoid on the breakpoints of output, exact.
    """
    time, output = output_points(programme, dimming)
    return float(np.sum(0.5 * np.diff(time) * (output[1:] + output[:-1])))


def output_for(
    hours: float, shape: OutputShape, dimming: DimmingCurve, controller: Controller, most: float
) -> float:
    """The highest output with which the programme gives so many hours at full, as the controller runs it.

    Parameters
    ----------
    hours : float
        Wanted. [h]
    shape : OutputShape
    dimming : DimmingCurve
    controller : Controller
    most : float
        Highest output allowed, 0-1.

    Returns
    -------
    float

    Source
    ------
    Two steps of scaling by what is missing; what remains is found when the programme is judged as written.
    """
    output = hours / shape.hours if shape.hours > 0 else 0.0
    for _ in range(2):
        if not output > 0:
            break
        given = written_hours(
            channel_programme(shape, min(output, most), dimming, controller, rounded=False), dimming
        )
        output *= hours / given if given > 0 else 1.0
    return min(output, most)


def outputs_to_try(
    output: float, dimming: DimmingCurve, controller: Controller, most: float
) -> Sequence[float]:
    """Outputs whose level the controller can hold, next to a wanted one: the nearest first.

    Parameters
    ----------
    output : float
        Wanted, 0-1.
    dimming : DimmingCurve
    controller : Controller
    most : float
        Highest output allowed, 0-1.

    Returns
    -------
    sequence of float

    Source
    ------
    Levels are whole percents or tenths, 0 or at least the least level.
    """
    steps = WHOLE if controller.whole_percents else TENTHS
    if not output > 1e-9:
        return (0.0,)
    level = _side(dimming, output, 0.0)
    below = np.floor(level * steps + 1e-9) / steps
    least = np.ceil(controller.least_level * steps - 1e-9) / steps
    levels = {float(max(v, least)) if v > 0 else 0.0 for v in (below, below + 1 / steps) if v <= 1 + 1e-9}
    if level < least:
        levels.add(0.0)
    tried = {float(np.interp(v, dimming.level, dimming.output)) if v > 0 else 0.0 for v in levels}
    allowed = [o for o in tried if o <= most + 1e-9] or [0.0]
    return tuple(sorted(allowed, key=lambda o: abs(o - output)))
