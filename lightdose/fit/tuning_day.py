"""The shape of the day that `tune` sets: one trapezoid in output, around the middle of today's."""

from __future__ import annotations

import math

import numpy as np

from lightdose.errors import InfeasibleError, Problem
from lightdose.model.arrays import FloatArray
from lightdose.model.results import DayCurve
from lightdose.model.tuning import DayShape, TuneWishes
from lightdose.physics.day_curve import day_points
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

    Parameters
    ----------
    day : DayShape

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
    ramps, rest = day.up_h + day.down_h, 1 - day.plateau_h
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
    up = _on_step(base.up_h if wishes.ramp_up_h is None else wishes.ramp_up_h, step)
    down = _on_step(base.down_h if wishes.ramp_down_h is None else wishes.ramp_down_h, step)
    middle = base.start_h + base.up_h + 0.5 * base.plateau_h
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
    start, up, down = (_on_step(h, ROUNDED_MIN / 60) for h in (day.start_h, day.up_h, day.down_h))
    return DayShape(start, up, _on_step(day.plateau_h, PLATEAU_STEP_MIN / 60), down)


def _on_step(hours: float, step_h: float) -> float:
    """The nearest multiple of the time step, through whole minutes."""
    step_min = round(step_h * 60)
    return round(hours * 60 / step_min) * step_min / 60
