"""What `tune` found: how far outputs can go at all, what binds, who is not served, before and after."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import InfeasibleError, Problem
from lightdose.fit.tuning_problem import (
    DayLimits,
    TuneSolution,
    TuneTask,
    least_light,
    least_violation,
    most_light,
)
from lightdose.model.fixture import Channel, Programme
from lightdose.model.light import ChannelKey
from lightdose.model.plans import (
    BLUE_BELOW_NM,
    ChannelSetting,
    Conflict,
    CoralChange,
    DayShape,
    Edge,
    Remedy,
    TuneWishes,
    Tuning,
    is_blue,
)
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Analysis, Verdict
from lightdose.near_names import near_names
from lightdose.physics.emission import photon_distribution
from lightdose.quantities import GRID_START_NM, MOL_PER_UMOL_S_H


@dataclass(frozen=True, eq=False)
class TunePlan:
    """What to write, and the problem it solves.

    Attributes
    ----------
    programmes : of the lit fixtures, in their order
    day : the trapezoid; None where each channel keeps its own shape, or nothing changes
    task : the problem, its bands drawn in by the cushion
    limits, longest : of the chosen day and of the longest
    solution : the exact optimum, before levels are rounded
    """

    programmes: tuple[Programme, ...]
    day_before: DayShape | None
    day: DayShape | None
    task: TuneTask
    limits: DayLimits
    longest: DayLimits
    solution: TuneSolution
    bounds: ChannelBounds
    unchanged: bool = False


_BLUE_CELLS = int(BLUE_BELOW_NM) - GRID_START_NM
"""Cells of 1 nm below ``BLUE_BELOW_NM``."""


@dataclass(frozen=True, eq=False)
class ChannelBounds:
    """Least and highest output of every channel, and why it is held; shape (n_channel,), 0-1.

    ``blue_share`` holds shares of photons below ``BLUE_BELOW_NM`` where only blue may run, else None.
    """

    least: FloatArray
    most: FloatArray
    held: tuple[str, ...]
    blue_share: tuple[float | None, ...]


def channel_bounds(before: Analysis, wishes: TuneWishes, today: FloatArray) -> ChannelBounds:
    """What each channel may give at its highest.

    Parameters
    ----------
    before : Analysis
    wishes : TuneWishes
    today : array, shape (n_channel,)
        Highest output of today, 0-1.

    Raises
    ------
    InfeasibleError
        If a name is no channel, nothing is left to run, or a bound breaks the mix that is to be kept.

    Source
    ------
    "Blue only" keeps the channels with most of their photons (300-800 nm) below 500 nm: our choice.
    """
    keys, channels = before.light_field.channels, lit_channels(before)
    most = np.ones(len(keys))
    held = [""] * len(keys)
    blue: list[float | None] = [None] * len(keys)
    problems: list[Problem] = []
    for name in wishes.off:
        for i in _named(name, keys, problems):
            most[i], held[i] = 0.0, "off as asked"
    for name, level in wishes.caps:
        for i in _named(name, keys, problems):
            dimming = channels[i].dimming
            cap = float(np.interp(level, dimming.level, dimming.output))
            if cap < most[i]:
                most[i], held[i] = cap, f"at most {100 * level:g} %"
    if problems:
        raise InfeasibleError(*problems)
    if wishes.blue_only:
        blue = _keep_blue(channels, most, held)
    if wishes.keep_shapes:
        idle = np.flatnonzero((today <= 0) & (most > 0))
        for i in idle.tolist():
            most[i], held[i] = 0.0, held[i] or "off today, so it has no shape to keep"
    if not np.any(most > 0):
        raise InfeasibleError(
            Problem(
                "no channel is left that may run", cure="allow one more with fewer --off, --cap, --blue-only"
            )
        )
    _check_mix(wishes, keys, most, today, held)
    # A driver that glows at level 0 gives that much whenever its programme runs.
    least = np.array([float(c.dimming.output[0]) for c in channels])
    return ChannelBounds(np.minimum(least, most), most, tuple(held), tuple(blue))


def lit_channels(before: Analysis) -> list[Channel]:
    """Channels of the enabled fixtures, in the order of the light field."""
    return [c for f in before.setup.lit_fixtures for c in f.type.channels]


def _named(name: str, keys: Sequence[ChannelKey], problems: list[Problem]) -> list[int]:
    found = [i for i, k in enumerate(keys) if name in (k.channel, f"{k.fixture}/{k.channel}")]
    if not found:
        known = list(dict.fromkeys(k.channel for k in keys))
        near = near_names(name, [*known, *(f"{k.fixture}/{k.channel}" for k in keys)])
        cure = f'did you mean "{near[0]}"?' if near else 'for one fixture write "fixture/channel"'
        problems.append(Problem(f'there is no channel "{name}"', ", ".join(known), cure))
    return found


def _keep_blue(channels: Sequence[Channel], most: FloatArray, held: list[str]) -> list[float | None]:
    """Hold all channels but the blue ones at 0; gives the share of photons that decides."""
    shares: list[float | None] = []
    for i, channel in enumerate(channels):
        share = float(photon_distribution(channel.spectrum)[:_BLUE_CELLS].sum())
        shares.append(share)
        if not is_blue(share):
            most[i], held[i] = 0.0, f"cut: {100 * share:.0f} % of its photons below {BLUE_BELOW_NM:g} nm"
    return shares


def _check_mix(
    wishes: TuneWishes,
    keys: Sequence[ChannelKey],
    most: FloatArray,
    today: FloatArray,
    held: Sequence[str],
) -> None:
    """With the mix kept, no channel that runs today may be held below today's level."""
    if wishes.mix == "free":
        return
    if not np.any(today > 0):
        raise InfeasibleError(
            Problem("nothing runs today, so there is no mix to keep", cure="leave --keep-mix out")
        )
    broken = [
        Problem(
            f'"{k.fixture}/{k.channel}" would be held below its level now ({why}): the mix cannot be kept',
            cure="leave out --keep-mix, or the bound on this channel",
        )
        for k, top, now, why in zip(keys, most, today, held, strict=True)
        if top < now - 1e-12
    ]
    if broken:
        raise InfeasibleError(*broken)


def further_rows(
    before: Analysis,
    wishes: TuneWishes,
    emission: FloatArray,
    colour_matching: FloatArray,
    today_h: FloatArray,
) -> tuple[FloatArray, FloatArray]:
    """Bounds on blue share, change and look as rows over hours at full output: rows @ v <= limits.

    Parameters
    ----------
    before : Analysis
    wishes : TuneWishes
    emission : array, shape (n_channel, 500)
        Photons per cell at full output. [umol s-1]
    colour_matching : array, shape (3, 500)
    today_h : array, shape (n_channel,)
        Today's hours at full output. [h]

    Returns
    -------
    rows : array, shape (n_row, n_channel)
    limits : array, shape (n_row,)

    Raises
    ------
    InfeasibleError
        If there is no look or no dose to keep to.

    Source
    ------
    Blue 400-500 nm: Park & Runkle 2023, PLoS ONE 18(2):e0281996. Chromaticity: CIE 015:2018; bounds on x and
    y are linear after multiplying by X + Y + Z.
    """
    ppfd, receivers = before.light_field.of("ppfd"), [v.receiver for v in before.verdicts]
    at_corals = ppfd[receivers]
    rows, limits = [np.zeros((0, today_h.size))], [np.zeros(0)]
    if wishes.least_blue is not None:
        blue = before.light_field.of("blue")[receivers]
        rows.append(_relative(wishes.least_blue * at_corals - blue))
        limits.append(np.zeros(len(receivers)))
    if wishes.most_change is not None:
        dose = MOL_PER_UMOL_S_H * at_corals @ today_h
        if not np.all(dose > 0):
            raise InfeasibleError(
                Problem(
                    "a coral gets no light today, so its change has no measure",
                    cure="leave --most-change out",
                )
            )
        form = MOL_PER_UMOL_S_H * at_corals / dose[:, None]
        rows += [form, -form]
        limits += [np.full(len(dose), 1 + wishes.most_change), np.full(len(dose), wishes.most_change - 1)]
    if wishes.look_tolerance is not None:
        found = _look_rows(before, emission, colour_matching, today_h, wishes.look_tolerance)
        rows.append(found)
        limits.append(np.zeros(len(found)))
    return np.concatenate(rows), np.concatenate(limits)


def look_xy(
    before: Analysis, emission: FloatArray, colour_matching: FloatArray, hours: FloatArray
) -> tuple[float, float] | None:
    """Chromaticity of the day's summed emission of all fixtures.

    Parameters
    ----------
    before : Analysis
    emission : array, shape (n_channel, 500)
        [umol s-1]
    colour_matching : array, shape (3, 500)
    hours : array, shape (n_channel,)
        At full output. [h]

    Returns
    -------
    x, y or None
        None without visible light.

    Source
    ------
    CIE 015:2018.
    """
    total = _tristimulus(before, emission, colour_matching) @ hours
    whole = float(total.sum())
    return (float(total[0]) / whole, float(total[1]) / whole) if whole > 0 else None


def _tristimulus(before: Analysis, emission: FloatArray, colour_matching: FloatArray) -> FloatArray:
    """X, Y, Z of each channel at full output, shape (3, n_channel), in any one unit."""
    from lightdose.model.spectrum import GRID_NM

    scale = np.array([f.output_scale for f in before.setup.lit_fixtures for _ in f.type.channels])
    power = emission / GRID_NM * scale[:, None]
    tristimulus: FloatArray = colour_matching @ power.T
    return tristimulus


def _look_rows(
    before: Analysis, emission: FloatArray, colour_matching: FloatArray, today_h: FloatArray, tolerance: float
) -> FloatArray:
    xy = look_xy(before, emission, colour_matching, today_h)
    if xy is None:
        raise InfeasibleError(
            Problem("nothing shines today, so there is no look to keep", cure="leave --keep-look out")
        )
    xyz = _tristimulus(before, emission, colour_matching)
    whole = xyz.sum(axis=0)
    return _relative(
        np.array(
            [
                sign * (part - at * whole) - tolerance * whole
                for part, at in ((xyz[0], xy[0]), (xyz[1], xy[1]))
                for sign in (1.0, -1.0)
            ]
        )
    )


def _relative(rows: FloatArray) -> FloatArray:
    """Rows with limit 0, scaled so that the solver's tolerance means the same for each."""
    scale = np.abs(rows).max(axis=1, keepdims=True)
    scaled: FloatArray = rows / np.where(scale > 0, scale, 1.0)
    return scaled


FreeSites = Callable[[int], tuple[Sequence[str], FloatArray]]
"""Of a coral by its row: free sites it may take, and its PPFD of each channel at full output there."""

TRIED_PER_SIDE = 8
SITES_TRIED = 24
OFF_BY = 1e-6
SHADES = tuple(round(0.05 * k, 2) for k in range(19, 1, -1))


def find_conflict(
    task: TuneTask, day: DayLimits, solution: TuneSolution, names: Sequence[str], free_sites: FreeSites
) -> Conflict | None:
    """What stands in the way of serving every coral, on the day that allows the most.

    Parameters
    ----------
    task : TuneTask
    day : DayLimits
    solution : TuneSolution
        The least violation.
    names : sequence of str
        Corals in the order of the task's rows.
    free_sites : callable
        Of a row: names of free sites and responses there, shape (n_free, n_channel). [umol m-2 s-1]

    Returns
    -------
    Conflict or None
        None where every coral is in its band.

    Source
    ------
    Pairs by linear programs: the most light of one while the other stays at its upper limit; our choice.
    """
    if solution.violation <= OFF_BY:
        return None
    dose = task.dose(solution.v_h)
    lows = _foremost(dose / np.where(task.low > 0, task.low, np.inf), at_least=None)
    peak = (task.response @ (day.per_hour * day.windows * solution.v_h).T).max(axis=1) / task.peak_max
    highs = _foremost(-np.maximum(dose / task.high, peak), at_least=1 - 1e-5)
    found = (
        _out_of_reach(task, day, lows, names)
        or _in_excess(task, day, highs, names)
        or _worst_pair(task, day, lows, highs, names)
        or Conflict(
            "several",
            names[lows[0]] if lows else None,
            names[highs[0]] if highs else None,
            None,
            None,
            None,
        )
    )
    rows = tuple(names.index(name) for name in (found.low, found.high) if name is not None)
    return _with_remedies(found, rows, task, day, names, free_sites)


def _out_of_reach(
    task: TuneTask, day: DayLimits, lows: Sequence[int], names: Sequence[str]
) -> Conflict | None:
    """The coral that the allowed light alone leaves furthest below its band."""
    short = [(task.low[i] / got, i, got) for i in lows if (got := most_light(task, day, i, None))]
    if not short or max(short)[0] <= 1 + OFF_BY:
        return None
    factor, i, got = max(short)
    return Conflict("reach", names[i], None, float(task.low[i]), got, float(factor))


def _in_excess(task: TuneTask, day: DayLimits, highs: Sequence[int], names: Sequence[str]) -> Conflict | None:
    """The coral that the least allowed light alone leaves furthest above its band."""
    over = [(got / task.high[j], j, got) for j in highs if (got := least_light(task, day, j))]
    if not over or max(over)[0] <= 1 + OFF_BY:
        return None
    factor, j, got = max(over)
    return Conflict("excess", None, names[j], float(task.high[j]), got, float(factor))


def _worst_pair(
    task: TuneTask, day: DayLimits, lows: Sequence[int], highs: Sequence[int], names: Sequence[str]
) -> Conflict | None:
    """The two that stand furthest in each other's way."""
    pairs = [
        (task.low[i] / max(got, 1e-12), i, j, got)
        for j in highs
        for i in lows
        if i != j and task.low[i] > 0 and (got := most_light(task, day, i, j)) is not None
    ]
    if not pairs or max(pairs)[0] <= 1 + OFF_BY:
        return None
    factor, i, j, got = max(pairs)
    return Conflict("pair", names[i], names[j], float(task.low[i]), got, float(factor))


def _foremost(rank: FloatArray, at_least: float | None) -> list[int]:
    """Rows of lowest rank first, those that bind only where a mark is given."""
    order = [int(i) for i in np.argsort(rank, kind="stable")]
    if at_least is not None:
        order = [i for i in order if -rank[i] >= at_least]
    else:
        order = [i for i in order if rank[i] <= 1 + 1e-5]
    return order[:TRIED_PER_SIDE]


def _with_remedies(
    conflict: Conflict,
    rows: tuple[int, ...],
    task: TuneTask,
    day: DayLimits,
    names: Sequence[str],
    free_sites: FreeSites,
) -> Conflict:
    """The conflict with the best move of each of its corals, and the mildest shade for the one in excess."""
    start = least_violation(task, day)
    assert start is not None
    found = [_best_move(task, day, row, names[row], free_sites, start) for row in rows]
    if conflict.high is not None:
        found.append(_mildest_shade(task, day, rows[-1], conflict.high, start))
    out = _out(task, start.v_h)
    remedies = [r for r in found if r is not None and r.out_of_band < out]
    return replace(conflict, remedies=tuple(sorted(remedies, key=lambda r: r.out_of_band)))


def _placed(task: TuneTask, row: int, light: FloatArray) -> TuneTask:
    response = task.response.copy()
    response[row] = light
    return replace(task, response=response)


def _out(task: TuneTask, v_h: FloatArray) -> int:
    """Corals outside their dose band."""
    dose = task.dose(v_h)
    return int(np.sum((dose < task.low * (1 - OFF_BY)) | (dose > task.high * (1 + OFF_BY))))


def _best_move(
    task: TuneTask, day: DayLimits, row: int, name: str, free_sites: FreeSites, start: TuneSolution
) -> Remedy | None:
    sites, lights = free_sites(row)
    if not sites:
        return None
    # Sites that fit the programme as it stands come first.
    dose = lights @ start.v_h
    wanted = np.sqrt(max(task.low[row], 1e-3) * task.high[row]) / 0.0036
    nearest = np.argsort(np.abs(np.log(np.maximum(dose, 1e-9) / wanted)), kind="stable")[:SITES_TRIED]
    best: tuple[float, Remedy] | None = None
    for k in nearest:
        moved = _placed(task, row, lights[k])
        found = least_violation(moved, day)
        if found is not None and (best is None or found.violation < best[0] - OFF_BY):
            best = found.violation, Remedy("move", name, _out(moved, found.v_h), site=sites[k])
        if best is not None and best[0] <= OFF_BY:
            break
    return best[1] if best is not None and best[0] < start.violation - 1e-4 else None


def _mildest_shade(task: TuneTask, day: DayLimits, row: int, name: str, start: TuneSolution) -> Remedy | None:
    """The largest open_sky (in twentieths) that helps as much as taking the coral away would."""
    aside = replace(
        task,
        low=np.where(np.arange(task.low.size) == row, 0.0, task.low),
        high=np.where(np.arange(task.low.size) == row, 1e6, task.high),
        peak_max=np.where(np.arange(task.low.size) == row, np.inf, task.peak_max),
    )
    without = least_violation(aside, day)
    if without is None or without.violation > start.violation - 1e-4:
        return None
    for sky in SHADES:
        shaded = _placed(task, row, sky * task.response[row])
        found = least_violation(shaded, day)
        if found is not None and found.violation <= without.violation + OFF_BY:
            return Remedy("shade", name, _out(shaded, found.v_h), open_sky_factor=sky)
    return None


AT_EDGE = 0.01
"""A coral binds where its dose is this near to an edge, as a share of the width of its band: our choice."""


def tuning_record(
    before: Analysis,
    after: Analysis,
    wishes: TuneWishes,
    plan: TunePlan,
    conflict: Conflict | None,
) -> Tuning:
    """Everything `tune` reports.

    Parameters
    ----------
    before, after : Analysis
        ``after`` is of the programme as written and read back.
    wishes : TuneWishes
    plan : TunePlan
    conflict : Conflict or None

    Source
    ------
    Definitions; a coral binds within 1 % of its band's width of an edge: our choice.
    """
    corals = tuple(
        CoralChange(v, after.verdicts[i], None if plan.unchanged else _binds(after.verdicts[i]))
        for i, v in enumerate(before.verdicts)
    )
    judged = [v for v in after.verdicts if v.band_dli is not None]
    promised = plan.task.dose(plan.solution.v_h)
    losses = [
        (float(abs(v.dli_mol_m2_d / want - 1)), v.coral)
        for v, want in zip(judged, promised, strict=True)
        if want > 0
    ]
    return Tuning(
        wishes=wishes,
        before=before,
        after=after,
        day_before=plan.day_before,
        day_after=plan.day,
        channels=_settings(before, after, plan),
        corals=corals,
        conflict=None if conflict is None else _by_true_bands(conflict, judged),
        largest_loss=max(losses, default=(0.0, "")),
        unchanged=plan.unchanged,
    )


def _by_true_bands(conflict: Conflict, judged: Sequence[Verdict]) -> Conflict:
    """The conflict against the bands as they are, without the cushion for rounding."""
    band = {v.coral: v.band_dli for v in judged}
    edges = band.get(conflict.high or "") if conflict.kind == "excess" else band.get(conflict.low or "")
    gets = conflict.gets_at_best_mol_m2_d
    if edges is None or gets is None or not gets > 0:
        return conflict
    if conflict.kind == "excess":
        return replace(conflict, needs_mol_m2_d=edges[1], factor=gets / edges[1])
    return replace(conflict, needs_mol_m2_d=edges[0], factor=edges[0] / gets)


def _binds(verdict: Verdict) -> Edge | None:
    if verdict.band_dli is None:
        return None
    low, high = verdict.band_dli
    near = AT_EDGE * (high - low)
    if low > 0 and verdict.dli_mol_m2_d <= low + near:
        return "low"
    if verdict.dli_mol_m2_d >= high - near:
        return "high"
    if verdict.band_peak is not None and verdict.brightest_hour_ppfd_umol_m2_s >= 0.99 * verdict.band_peak[1]:
        return "peak"
    return None


def _settings(before: Analysis, after: Analysis, plan: TunePlan) -> tuple[ChannelSetting, ...]:
    settings = []
    fixtures = zip(before.setup.lit_fixtures, after.setup.lit_fixtures, strict=True)
    held = iter(zip(plan.bounds.held, plan.bounds.blue_share, strict=True))
    for old, new in fixtures:
        settings += [
            ChannelSetting(
                old.name,
                channel.name,
                _top(old.programme, channel.name),
                _top(new.programme, channel.name),
                *next(held),
            )
            for channel in old.type.channels
        ]
    assert len(settings) == len(lit_channels(before))
    return tuple(settings)


def _top(programme: Programme, channel: str) -> float:
    points = programme.channels.get(channel)
    return 0.0 if points is None else float(np.max(points.level))
