"""What `tune` found, gathered for print: levels, corals before and after, what binds, the loss."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.fit.tuning import TunePlan
from lightdose.fit.tuning_bounds import lit_channels
from lightdose.model.results import Analysis, Verdict
from lightdose.model.schedule import Programme
from lightdose.model.tuning import (
    ChannelSetting,
    Conflict,
    CoralChange,
    Edge,
    TunedSchedule,
    TuneWishes,
    Tuning,
)

AT_EDGE = 0.01
"""A coral binds where its dose is this near to an edge, as a share of the width of its band: our choice."""


def tuning_record(
    before: Analysis,
    after: Analysis,
    wishes: TuneWishes,
    plan: TunePlan,
    conflict: Conflict | None,
    schedules: Sequence[TunedSchedule],
) -> Tuning:
    """Everything `tune` reports.

    Parameters
    ----------
    before, after : Analysis
        ``after`` is of the programme as written and read back.
    wishes : TuneWishes
    plan : TunePlan
    conflict : Conflict or None
    schedules : sequence of TunedSchedule

    Returns
    -------
    Tuning

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
        schedules=tuple(schedules),
        largest_loss=max(losses, default=(0.0, "")),
        unchanged=plan.unchanged,
        notes=plan.bounds.notes,
    )


def _by_true_bands(conflict: Conflict, judged: Sequence[Verdict]) -> Conflict:
    """The conflict against the bands as they are, without the cushion for rounding."""
    band = {v.coral: v.band_dli for v in judged}
    edges = band.get(conflict.high or "") if conflict.kind == "excess" else band.get(conflict.low or "")
    if edges is None or conflict.gets is None or not conflict.gets > 0:
        return conflict
    if conflict.kind == "excess":
        return replace(conflict, needs=edges[1], factor=conflict.gets / edges[1])
    return replace(conflict, needs=edges[0], factor=edges[0] / conflict.gets)


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
    held = iter(plan.bounds.held)
    for old, new in fixtures:
        settings += [
            ChannelSetting(
                old.name,
                channel.name,
                _top(old.programme, channel.name),
                _top(new.programme, channel.name),
                next(held),
            )
            for channel in old.type.channels
        ]
    assert len(settings) == len(lit_channels(before))
    return tuple(settings)


def _top(programme: Programme, channel: str) -> float:
    points = programme.channels.get(channel)
    return 0.0 if points is None else float(np.max(points.level))
