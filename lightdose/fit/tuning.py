"""Levels and hours that put every coral in its band: the plan that `tune` writes."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.errors import InfeasibleError, Problem
from lightdose.fit.tuning_problem import (
    SAME_WITHIN,
    DayLimits,
    TuneSolution,
    TuneTask,
    best_day,
    most_light,
    violation_of,
)
from lightdose.fit.tuning_record import ChannelBounds, TunePlan, channel_bounds, further_rows, lit_channels
from lightdose.fit.tuning_schedule import (
    OutputShape,
    brightest_hour_share,
    brightest_windows,
    channel_programme,
    days_to_try,
    output_for,
    outputs_to_try,
    today_shape,
    written_hours,
)
from lightdose.model.fixture import ChannelProgramme, Programme
from lightdose.model.plans import Controller, DayShape, TuneWishes
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis
from lightdose.physics.day_curve import full_output_hours, output_points
from lightdose.quantities import HOURS_PER_DAY

CUSHION = 0.002
"""Bands are drawn in by this share of their width, so that rounded levels leave no coral just outside."""


def plan_programme(
    before: Analysis, wishes: TuneWishes, emission: FloatArray, colour_matching: FloatArray
) -> TunePlan:
    """The programme that serves every coral, or comes closest.

    Parameters
    ----------
    before : Analysis
        Of today's programme; its verdicts hold the bands.
    wishes : TuneWishes
    emission : array, shape (n_channel, 500)
        Photons per cell at full output. [umol s-1]
    colour_matching : array, shape (3, 500)

    Raises
    ------
    InfeasibleError
        If there is nothing to tune, or the keeper's own bounds leave nothing.

    Source
    ------
    Lexicographic linear programs (our choice): least sum of relative distances from the bands, then the least
    change, the largest margin or the least energy.
    """
    _check(before)
    today_u, today_h = _highest_output(before), full_output_hours(before.day_curve)
    bounds = channel_bounds(before, wishes, today_u)
    shapes = _own_shapes(before) if wishes.keep_shapes else None
    task = _task(before, wishes, today_u, today_h, shapes, (emission, colour_matching))
    _check_reach(before, task, bounds)
    weight = task.response.mean(axis=0)
    day_before = today_shape(before.day_curve, weight)
    if shapes is not None:
        days: tuple[DayShape, ...] = ()
        limits, order = [_own_limits(bounds, shapes, before, weight)], [0]
    else:
        days, now = days_to_try(day_before, wishes)
        limits = [_limits(bounds, day) for day in days]
        order = sorted(range(len(days)), key=lambda i: (abs(days[i].plateau_h - now.plateau_h), i))
    if _may_stay(before, wishes, task, bounds, day_before, today_u):
        stays = TuneSolution(today_h, 0.0, 0.0)
        programmes = tuple(f.programme for f in before.setup.lit_fixtures)
        return TunePlan(
            programmes, day_before, None, task, limits[order[0]], limits[-1], stays, bounds, unchanged=True
        )
    _check_some_light(task, limits[-1], wishes)
    index, solution = best_day(task, limits, order, wishes.prefer)
    day = days[index] if days else None
    used = [OutputShape.trapezoid(day)] * today_u.size if day is not None else shapes
    assert used is not None
    channels = _written(before, task, limits[index], solution, used, bounds, wishes)
    return TunePlan(
        _by_fixture(before, channels), day_before, day, task, limits[index], limits[-1], solution, bounds
    )


def _check(before: Analysis) -> None:
    setup = before.setup
    if not setup.lit_fixtures:
        raise InfeasibleError(Problem("no fixture is enabled, so there is nothing to tune"))
    if not setup.corals:
        raise InfeasibleError(
            Problem(
                "the setup has no corals, so there is no band to aim at", cure="add a [[coral]] to the setup"
            )
        )
    judged = [v for v in before.verdicts if v.band_dli is not None]
    if not judged:
        raise InfeasibleError(Problem("no coral here is judged by light, so there is no band to aim at"))
    response = before.light_field.of("ppfd")
    dark = [
        Problem(
            f'"{v.coral}" at "{v.site}" gets no light from any channel, whatever the programme',
            cure="move it, or mend its open_sky or place in the setup",
        )
        for v in judged
        if not response[v.receiver].max() > 0
    ]
    if dark:
        raise InfeasibleError(*dark)


def _check_reach(before: Analysis, task: TuneTask, bounds: ChannelBounds) -> None:
    """A coral that only forbidden channels light cannot be served at all."""
    judged = [v for v in before.verdicts if v.band_dli is not None]
    dark = [
        Problem(
            f'"{v.coral}" at "{v.site}" gets light only from channels that may not run',
            cure="allow one more channel",
        )
        for v, light in zip(judged, task.response @ bounds.most, strict=True)
        if not light > 0
    ]
    if dark:
        raise InfeasibleError(*dark)


def _check_some_light(task: TuneTask, limits: DayLimits, wishes: TuneWishes) -> None:
    """The keeper's own bounds must leave some light."""
    most = [most_light(task, limits, i, None) for i in range(task.low.size)]
    asked = [
        words
        for words, value in (
            ("--least-blue", wishes.least_blue),
            ("--most-change", wishes.most_change),
            ("--keep-look", wishes.look_tolerance),
            ("--keep-mix", None if wishes.mix == "free" else 1),
            ("--off", wishes.off or None),
            ("--cap", wishes.caps or None),
            ("--blue-only", wishes.blue_only or None),
            ("--plateau", wishes.plateau_h),
            ("--keep-shapes", wishes.keep_shapes or None),
        )
        if value is not None
    ]
    if any(m is None for m in most):
        raise InfeasibleError(
            Problem(
                "no programme keeps all these bounds at once: " + ", ".join(asked), cure="loosen one of them"
            )
        )
    if not all(m is not None and m > 1e-6 * h for m, h in zip(most, task.high, strict=True)):
        raise InfeasibleError(
            Problem("only darkness keeps all these bounds: " + ", ".join(asked), cure="loosen one of them")
        )


def _highest_output(before: Analysis) -> FloatArray:
    curve = before.day_curve
    if curve.output_start.shape[1] == 0:
        return np.zeros(0)
    highest: FloatArray = np.maximum(curve.output_start.max(axis=0), curve.output_end.max(axis=0))
    return highest


def _own_shapes(before: Analysis) -> list[OutputShape]:
    """Each channel's own course of output; a flat day for one that is off."""
    shapes = []
    for fixture in before.setup.lit_fixtures:
        for channel in fixture.type.channels:
            programme = fixture.programme.channels.get(channel.name)
            if programme is None:
                shapes.append(OutputShape(np.array([0.0, HOURS_PER_DAY]), np.zeros(2)))
                continue
            time, output = output_points(programme, channel.dimming)
            top = float(output.max())
            shapes.append(OutputShape(time, output / top if top > 0 else output))
    if not any(s.share.any() for s in shapes):
        raise InfeasibleError(
            Problem("nothing runs today, so there are no shapes to keep", cure="leave --keep-shapes out")
        )
    return shapes


def _task(
    before: Analysis,
    wishes: TuneWishes,
    today_u: FloatArray,
    today_h: FloatArray,
    shapes: Sequence[OutputShape] | None,
    light: tuple[FloatArray, FloatArray],
) -> TuneTask:
    judged = [v for v in before.verdicts if v.band_dli is not None]
    response = before.light_field.of("ppfd")[[v.receiver for v in judged]]
    bands = np.array([v.band_dli for v in judged])
    inset = CUSHION * (bands[:, 1] - bands[:, 0])
    peaks = np.array([np.inf if v.band_peak is None else (1 - CUSHION) * v.band_peak[1] for v in judged])
    price = response.mean(axis=0)
    scale = float(price @ today_h) or float(price.sum())
    power = np.zeros(today_u.size)
    if wishes.prefer == "energy":
        power = _power(before)
    rows, limits = further_rows(before, wishes, *light, today_h)
    return TuneTask(
        response=response,
        low=bands[:, 0] + np.where(bands[:, 0] > 0, inset, 0.0),
        high=bands[:, 1] - inset,
        peak_max=peaks,
        mix=_mix(before, wishes, today_u, shapes),
        today_h=today_h,
        weight=price / scale,
        fixture=np.array(
            [i for i, f in enumerate(before.setup.lit_fixtures) for _ in f.type.channels], dtype=np.intp
        ),
        power=power / (float(power @ today_h) or float(power.sum()) or 1.0),
        rows=rows,
        limits=limits,
    )


def _power(before: Analysis) -> FloatArray:
    known = {use.fixture: use.power_w for use in before.fixtures}
    missing = [
        Problem(
            f'"{k.fixture}/{k.channel}" has no electrical_w, so its energy is not known',
            cure="add electrical_w to the fixture file, or choose another --prefer",
        )
        for k, c in zip(before.light_field.channels, lit_channels(before), strict=True)
        if c.electrical_w is None and known[k.fixture] is None
    ]
    if missing:
        raise InfeasibleError(*missing)
    return np.concatenate([np.array(known[f.name]) for f in before.setup.lit_fixtures])


def _mix(
    before: Analysis, wishes: TuneWishes, today_u: FloatArray, shapes: Sequence[OutputShape] | None
) -> FloatArray:
    """From the free unknowns to the channels."""
    if wishes.mix == "free":
        return np.eye(today_u.size)
    hours = np.ones(today_u.size) if shapes is None else np.array([s.hours for s in shapes])
    share = today_u * hours
    if wishes.mix == "all":
        return share[:, None]
    names = [k.fixture for k in before.light_field.channels]
    columns = [np.where(np.array(names) == fixture.name, share, 0.0) for fixture in before.setup.lit_fixtures]
    return np.array([c for c in columns if c.any()]).T


def _limits(bounds: ChannelBounds, day: DayShape) -> DayLimits:
    hours = day.equivalent_h
    return DayLimits(
        bounds.least * hours,
        bounds.most * hours,
        np.ones((1, bounds.most.size)),
        brightest_hour_share(day) / hours,
    )


def _own_limits(
    bounds: ChannelBounds, shapes: Sequence[OutputShape], before: Analysis, weight: FloatArray
) -> DayLimits:
    """With own shapes, which hour is the brightest depends on the mix: the likely ones all count."""
    hours = np.array([s.hours for s in shapes])
    top = _highest_output(before)
    means = brightest_windows(before.day_curve, weight) / np.where(top > 0, top, 1.0)
    return DayLimits(bounds.least * hours, bounds.most * hours, means / np.where(hours > 0, hours, 1.0), 1.0)


def _may_stay(
    before: Analysis,
    wishes: TuneWishes,
    task: TuneTask,
    bounds: ChannelBounds,
    day: DayShape | None,
    today_u: FloatArray,
) -> bool:
    """Whether today's programme is already the answer: all in band, every bound kept, least change asked."""
    judged = [v for v in before.verdicts if v.band_dli is not None]
    fine = all(v.dli_state == "within" and v.peak_state != "high" for v in judged)
    plain = wishes.prefer == "change" and wishes.controller == Controller()
    ramps = wishes.ramp_up_h is None and wishes.ramp_down_h is None
    hours = wishes.plateau_h is None or (
        day is not None and wishes.plateau_h[0] <= day.plateau_h <= wishes.plateau_h[1]
    )
    allowed = bool(np.all(today_u <= bounds.most + 1e-12))
    kept = bool(np.all(task.rows @ task.today_h <= task.limits + SAME_WITHIN))
    return fine and plain and ramps and hours and allowed and kept


def _written(
    before: Analysis,
    task: TuneTask,
    limits: DayLimits,
    solution: TuneSolution,
    shapes: Sequence[OutputShape],
    bounds: ChannelBounds,
    wishes: TuneWishes,
) -> list[ChannelProgramme]:
    """Each channel as the controller can hold it, rounded up or down so that the corals stay in band.

    From the nearest levels on, the change of one channel or of two that helps most is made until none helps.
    """
    controller = wishes.controller
    options: list[list[ChannelProgramme]] = []
    hours: list[list[float]] = []
    for v, shape, channel, most in zip(
        solution.v_h.tolist(), shapes, lit_channels(before), bounds.most.tolist(), strict=True
    ):
        u = v / shape.hours if shape.hours > 0 else 0.0
        if wishes.mix == "free":  # else the ratios at the plateau are what counts
            u = output_for(v, shape, channel.dimming, controller, most)
        tried = outputs_to_try(u, channel.dimming, controller, most)
        made = [channel_programme(shape, o, channel.dimming, controller) for o in tried]
        options.append(made)
        hours.append([written_hours(p, channel.dimming) for p in made])
    chosen = _best_roundings(task, limits, solution.v_h, hours)
    return [made[i] for made, i in zip(options, chosen, strict=True)]


def _best_roundings(
    task: TuneTask, limits: DayLimits, wanted: FloatArray, hours: Sequence[Sequence[float]]
) -> list[int]:
    chosen = [0] * len(hours)

    def score(choice: Sequence[int]) -> tuple[float, float]:
        v = np.array([options[i] for options, i in zip(hours, choice, strict=True)])
        short = violation_of(task, limits, v) + float(np.maximum(task.rows @ v - task.limits, 0).sum())
        return round(short, 9), float(task.weight @ np.abs(v - wanted))

    best = score(chosen)
    for _ in range(4 * len(hours)):
        single = [_flipped(chosen, [i]) for i, o in enumerate(hours) if len(o) > 1]
        trials = single
        if best[0] > _floor(task, limits, wanted) and len(single) <= 24:
            trials = [*single, *(_flipped(a, [i]) for a in single for i, o in enumerate(hours) if len(o) > 1)]
        found = min(trials, key=score, default=chosen)
        value = score(found)
        if value >= best:
            break
        chosen, best = found, value
    return chosen


def _floor(task: TuneTask, limits: DayLimits, wanted: FloatArray) -> float:
    """The violation that the exact optimum has already."""
    return violation_of(task, limits, wanted) + 1e-6


def _flipped(chosen: Sequence[int], where: Sequence[int]) -> list[int]:
    return [1 - c if i in where else c for i, c in enumerate(chosen)]


def _by_fixture(before: Analysis, channels: Sequence[ChannelProgramme]) -> tuple[Programme, ...]:
    left = iter(channels)
    return tuple(Programme({c.name: next(left) for c in f.type.channels}) for f in before.setup.lit_fixtures)
