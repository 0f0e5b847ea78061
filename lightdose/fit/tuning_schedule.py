"""The day that `tune` sets: one trapezoid in output, and the levels a controller can take for it."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from lightdose.errors import InfeasibleError, Problem
from lightdose.model.fixture import ChannelProgramme, DimmingCurve
from lightdose.model.light import DayCurve
from lightdose.model.plans import Controller, DayShape, TuneWishes
from lightdose.model.record import FloatArray, dataclass
from lightdose.physics.day_curve import day_points, output_points
from lightdose.quantities import HOURS_PER_DAY

PLATEAU_STEP_MIN = 15
"""Plateau lengths that are tried differ by this. [min]"""

AROUND_TODAY_H = 3.0
"""Without bounds, plateaus up to so much shorter or longer than today's are tried: our choice. [h]"""

LONGEST_DAY_H = 14.0
"""Without bounds, no day is made longer than this, or than today's if that is longer: our choice. [h]"""

SHORTEST_PLATEAU_H = 1.0

FOOT, SHOULDER = 0.05, 0.95
"""Shares of the peak between which a ramp is measured: our choice; below the first it is night."""

ROUNDED_MIN = 5
"""Today's start and ramps are taken to so many minutes, its plateau to ``PLATEAU_STEP_MIN``. [min]"""

FIRST_DAY = DayShape(10.0, 2.0, 6.0, 2.0)
"""Where nothing runs today: our choice; 10:00 to 20:00."""


def today_shape(curve: DayCurve, weight: FloatArray) -> DayShape | None:
    """The trapezoid that stands for today's summed light.

    Parameters
    ----------
    curve : DayCurve
    weight : array, shape (n_channel,)
        PPFD of each channel at full output, averaged over the corals. [umol m-2 s-1]

    Returns
    -------
    DayShape or None
        None where there is no light. [h]

    Source
    ------
    Our choice: ramps by the first and last crossings of 5 % and 95 % of the peak, extended to 0 and 1; exact
    for a trapezoid.
    """
    time, output = day_points(curve)
    light = output @ weight
    peak = float(light.max(initial=0.0))
    if not peak > 0:
        return None
    time, share = _from_the_night(time, light / peak)
    foot, shoulder = _crossings(time, share, FOOT), _crossings(time, share, SHOULDER)
    up = (shoulder[0] - foot[0]) / (SHOULDER - FOOT)
    down = (foot[-1] - shoulder[-1]) / (SHOULDER - FOOT)
    start, end = foot[0] - FOOT * up, foot[-1] + FOOT * down
    plateau = max(0.0, (end - down) - (start + up))
    return DayShape(*(float(h) for h in (start % HOURS_PER_DAY, up, plateau, down)))


def _from_the_night(time: FloatArray, share: FloatArray) -> tuple[FloatArray, FloatArray]:
    """The same repeating day, begun in the middle of its longest stretch at or below the foot."""
    twice = np.concatenate([time, time + HOURS_PER_DAY])
    light = np.concatenate([share, share])
    dark = light <= FOOT
    best, middle = -1.0, float(time[int(np.argmin(share))])
    begin: float | None = None
    for t, is_dark in zip(twice.tolist(), dark.tolist(), strict=True):
        if is_dark and begin is None:
            begin = t
        if is_dark and begin is not None and t - begin > best:
            best, middle = t - begin, 0.5 * (begin + t)
        if not is_dark:
            begin = None
    middle %= HOURS_PER_DAY
    at_cut = float(np.interp(middle, time, share))
    after, before = time > middle, time < middle
    return (
        np.concatenate([[middle], time[after], time[before] + HOURS_PER_DAY, [middle + HOURS_PER_DAY]]),
        np.concatenate([[at_cut], share[after], share[before], [at_cut]]),
    )


def _crossings(time: FloatArray, share: FloatArray, level: float) -> FloatArray:
    """First and last times at which the light crosses a level; the ends of the day where it never does."""
    below = share < level
    turn = np.flatnonzero(below[1:] != below[:-1])
    if turn.size == 0:
        return np.array([time[0], time[-1]])
    first, last = share[turn], share[turn + 1]
    crossed: FloatArray = time[turn] + (level - first) / (last - first) * (time[turn + 1] - time[turn])
    return crossed


def brightest_hour_share(day: DayShape) -> float:
    """Mean of the brightest hour of a trapezoid over its plateau.

    Returns
    -------
    float
        1 where the plateau lasts an hour.

    Source
    ------
    The best window ends at equal heights on both ramps; closed form.
    """
    if day.plateau_h >= 1:
        return 1.0
    ramps, rest = day.ramp_up_h + day.ramp_down_h, 1 - day.plateau_h
    if rest >= ramps:
        return day.equivalent_h
    return day.plateau_h + rest * (1 - 0.5 * rest / ramps)


def brightest_windows(curve: DayCurve, weight: FloatArray, most: int = 40) -> FloatArray:
    """Mean outputs in the hours that may be the brightest, whatever the mix.

    Parameters
    ----------
    curve : DayCurve
    weight : array, shape (n_channel,)
        PPFD of each channel at full output, averaged over the corals. [umol m-2 s-1]
    most : int
        Hours that are kept, besides each channel's own brightest.

    Returns
    -------
    array, shape (n_window, n_channel)

    Source
    ------
    Integrals of piecewise-linear outputs, exact; hours begin at a bend of the day or a quarter, half, three
    quarters or a whole hour before one: our choice. Hours that another outdoes in every channel are dropped.
    """
    width = np.diff(curve.edge_h)[:, None]
    held = np.zeros((curve.edge_h.size, curve.output_start.shape[1]))
    np.cumsum(0.5 * width * (curve.output_start + curve.output_end), axis=0, out=held[1:])

    def since_midnight(time: FloatArray) -> FloatArray:
        clock = np.mod(time, HOURS_PER_DAY)
        k = np.clip(np.searchsorted(curve.edge_h, clock, side="right") - 1, 0, len(width) - 1)
        into = (clock - curve.edge_h[k])[:, None]
        rise = (curve.output_end[k] - curve.output_start[k]) / width[k]
        days = np.floor_divide(time, HOURS_PER_DAY)[:, None]
        hours: FloatArray = days * held[-1] + held[k] + into * (curve.output_start[k] + 0.5 * into * rise)
        return hours

    shifts = np.linspace(0.0, 1.0, 5)
    starts = np.unique(np.concatenate([np.mod(curve.edge_h - shift, HOURS_PER_DAY) for shift in shifts]))
    means = since_midnight(starts + 1) - since_midnight(starts)
    order = np.argsort(-(means @ weight), kind="stable")[:most]
    kept = means[np.unique(np.concatenate([order, np.argmax(means, axis=0)]))]
    outdone = [
        any(
            np.all(other >= window) and (np.any(other > window) or j < i)
            for j, other in enumerate(kept)
            if j != i
        )
        for i, window in enumerate(kept)
    ]
    windows: FloatArray = kept[~np.array(outdone)]
    return windows


def days_to_try(today: DayShape | None, wishes: TuneWishes) -> tuple[tuple[DayShape, ...], DayShape]:
    """Days with every allowed plateau, shortest first, and today's as the controller would have it.

    Parameters
    ----------
    today : DayShape or None
        [h]
    wishes : TuneWishes
        Bounds of the plateau, ramps, and the controller's time step.

    Returns
    -------
    days : tuple of DayShape
    today : DayShape

    Raises
    ------
    InfeasibleError
        If the bounds leave no day, or the day would pass 24 h.

    Source
    ------
    Steps of 15 min; without bounds up to 3 h around today's, at most 14 h lit: our choice.
    """
    base = _rounded(today or FIRST_DAY)
    step = wishes.controller.time_step_min / 60
    up = _on_step(base.ramp_up_h if wishes.ramp_up_h is None else wishes.ramp_up_h, step)
    down = _on_step(base.ramp_down_h if wishes.ramp_down_h is None else wishes.ramp_down_h, step)
    middle = base.start_h + base.ramp_up_h + 0.5 * base.plateau_h
    now = _on_step(base.plateau_h, step)
    low, high = _bounds(now, up + down, wishes)
    stride = math.ceil(PLATEAU_STEP_MIN / wishes.controller.time_step_min) * step
    if wishes.plateau_h is None:
        counts = range(math.ceil((low - now) / stride - 1e-9), math.floor((high - now) / stride + 1e-9) + 1)
        lengths = {round(now + k * stride, 6) for k in counts}
    else:
        lengths = {round(low + k * stride, 6) for k in range(math.floor((high - low) / stride + 1e-9) + 1)}
        lengths.add(round(high, 6))
        if low <= now <= high:
            lengths.add(round(now, 6))
    # A day of minutes may round to none at all.
    lengths = {length for length in lengths if length + up + down > 0}
    if not lengths:
        raise InfeasibleError(
            Problem(
                "a plateau of 0 h without ramps is no day",
                cure="give the plateau or a ramp some length, such as --plateau 5-9 --ramp-up 1",
            )
        )

    def day(plateau_h: float) -> DayShape:
        # Times in whole steps, counted in minutes so that 7:30 is exact.
        start = _on_step((middle - 0.5 * plateau_h - up) % HOURS_PER_DAY, step) % HOURS_PER_DAY
        return DayShape(start, up, plateau_h, down)

    return tuple(day(length) for length in sorted(lengths)), day(now)


def _bounds(now_h: float, ramps_h: float, wishes: TuneWishes) -> tuple[float, float]:
    step = wishes.controller.time_step_min / 60
    if wishes.plateau_h is None:
        longest = max(now_h, LONGEST_DAY_H - ramps_h)
        low, high = max(now_h - AROUND_TODAY_H, SHORTEST_PLATEAU_H), min(now_h + AROUND_TODAY_H, longest)
        low, high = min(low, max(now_h, 0.0)), max(high, now_h)
    else:
        low, high = (_on_step(h, step) for h in wishes.plateau_h)
        if wishes.plateau_h[0] > wishes.plateau_h[1]:
            raise InfeasibleError(
                Problem(
                    f"a plateau of at least {wishes.plateau_h[0]:g} h and at most {wishes.plateau_h[1]:g} h "
                    "leaves no length",
                    cure="write the shorter one first, such as --plateau 5-9",
                )
            )
    if high + ramps_h > HOURS_PER_DAY + 1e-9:
        raise InfeasibleError(
            Problem(
                f"ramps of {ramps_h:g} h and a plateau of {high:g} h pass 24 h",
                cure="shorten the ramps or the longest plateau",
            )
        )
    return low, high


def _rounded(day: DayShape) -> DayShape:
    """The day in whole steps of a few minutes, its parts as a clock shows them."""
    start, up, down = (_on_step(h, ROUNDED_MIN / 60) for h in (day.start_h, day.ramp_up_h, day.ramp_down_h))
    return DayShape(start, up, _on_step(day.plateau_h, PLATEAU_STEP_MIN / 60), down)


def _on_step(hours: float, step_h: float) -> float:
    """The nearest multiple of the time step, through whole minutes."""
    step_min = round(step_h * 60)
    return round(hours * 60 / step_min) * step_min / 60


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
        ends = np.cumsum([day.start_h, day.ramp_up_h, day.plateau_h, day.ramp_down_h])
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
