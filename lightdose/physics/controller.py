"""A programme as a controller takes it: times in its steps, levels from its least one up, few points."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from lightdose.model.fixture import ChannelProgramme, DimmingCurve
from lightdose.model.plans import Controller
from lightdose.model.record import FloatArray
from lightdose.physics.day_curve import output_points

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
    time, level = programme.time_h, programme.level
    if not level.any():
        return programme
    if controller.time_step_min > 1:
        time, level = _on_steps(time, level, controller.time_step_min)
    if controller.least_level > 0:
        time, level = _held_at_least(time, level, controller)
    if controller.most_points is not None:
        time, level = _thinned(time, level, dimming, controller.most_points)
    return ChannelProgramme(time, rounded_levels(level, controller))


def rounded_levels(level: FloatArray, controller: Controller) -> FloatArray:
    """Levels in whole percents, or in tenths; NaN stays."""
    steps = WHOLE if controller.whole_percents else TENTHS
    return np.asarray(np.clip(np.round(level * steps) / steps, 0.0, 1.0))


def _on_steps(time: FloatArray, level: FloatArray, step_min: int) -> tuple[FloatArray, FloatArray]:
    """Points at multiples of the time step; of several at one step the first and the last stay."""
    moved = np.round(time * 60 / step_min) * step_min / 60
    if moved[-1] - moved[0] > 24 or moved[-1] == moved[0]:
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
