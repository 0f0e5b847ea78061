"""`tune`: the programme that serves a whole tank better, written, read back and judged."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from lightdose.analysis import Analysis, judged_under, light_of
from lightdose.errors import InfeasibleError, Problem
from lightdose.files.library import reference_tables
from lightdose.judge.outlook import Kept, Outcome, Outlook
from lightdose.judge.relocations import Relocation, Relocations, moved_setup
from lightdose.judge.search import Search
from lightdose.judge.tuning import Candidate, Tuner, day_shape, top_level
from lightdose.judge.tuning_bounds import Limits, channel_bounds, light_limits
from lightdose.model.advice import OverallChange, Stand, Unserved
from lightdose.model.fixture import Fixture, Programme
from lightdose.model.plans import ChannelSetting, CoralChange, Moved, TuneWishes, Tuning
from lightdose.model.record import FloatArray
from lightdose.model.setup import Setup
from lightdose.physics.changed_day import plateau_of
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.light_field import PreparedField
from lightdose.workflows.advice import MOST_JUDGED, dials_of, keeping
from lightdose.workflows.placing import refuse_too_many
from lightdose.workflows.plans import as_written

ALIKE_SHARE = 0.02
"""Programmes whose penalties differ by less than this share of today's count as alike: our choice."""

LEAST_GAIN = 0.1
"""A programme that lowers the penalty by less is no reason to change anything: our choice."""


def tune(setup: Setup, wishes: TuneWishes) -> Tuning:
    """The programme that serves the tank best within what may change; today's where none serves it better.

    Raises
    ------
    InfeasibleError
        If there is nothing to tune, or the keeper's own bounds leave nothing.
    SetupError
        If there are more than ``MOST_JUDGED`` corals.
    """
    refuse_too_many(setup, "tune", MOST_JUDGED)
    _check(setup, wishes)
    ready, field = light_of(setup)
    kept = keeping(setup)
    before = judged_under(setup, ready, field, certainty=True, see=kept.see)
    _check_judged(before)
    outlook = Outlook.of(before, kept.response)
    tuner = _tuner(outlook, wishes, ready)
    now = outlook.today
    found = [(p, outlook.under(_running(outlook.fixtures, p))) for p in _written(tuner)]
    least = min(outcome.stand.penalty for _, outcome in found)
    # The last is the simplest: of programmes that hardly differ in penalty it is the one.
    alike = least + ALIKE_SHARE * (1 + now.stand.penalty)
    best, outcome = [pair for pair in found if pair[1].stand.penalty <= alike][-1]
    # Where the wishes rule today's programme out, as good as today is good enough.
    gains = outcome.stand.penalty <= now.stand.penalty - (LEAST_GAIN if tuner.allows_today else 0.0)
    keeps = outcome.stand.within >= now.stand.within
    after, refused = before, None
    if gains and keeps:
        fixtures = _running(setup.lit_fixtures, best)
        by_name = {f.name: f for f in fixtures}
        tuned = replace(setup, fixtures=tuple(by_name.get(f.name, f) for f in setup.fixtures))
        kept = keeping(tuned)
        after = judged_under(tuned, ready.running(fixtures), field, certainty=True, see=kept.see)
    elif not keeps or outcome.stand.penalty > now.stand.penalty:
        refused = outcome.stand
    return _record(wishes, outlook, after, tuner, refused, kept, ready)


def _check(setup: Setup, wishes: TuneWishes) -> None:
    if not setup.lit_fixtures:
        raise InfeasibleError(Problem("no fixture is enabled, so there is nothing to tune"))
    if not setup.corals:
        cure = "add a [[coral]] to the setup"
        raise InfeasibleError(Problem("the setup has no corals, so there is no band to aim at", cure=cure))
    if wishes.with_moves > len(setup.corals):
        raise InfeasibleError(
            Problem(
                f"{wishes.with_moves} corals to move are more than the setup has",
                f"0 to {len(setup.corals)}",
            )
        )
    if not np.any(full_output_hours(day_curve(setup.lit_fixtures)) > 0):
        cure = "give a fixture a schedule that shines; `lightdose init` writes one"
        raise InfeasibleError(Problem("nothing runs today, so there is no programme to tune", cure=cure))


def _check_judged(before: Analysis) -> None:
    judged = [v for v in before.verdicts if v.band_dli is not None]
    if not judged:
        raise InfeasibleError(Problem("no coral here is judged by light, so there is no band to aim at"))
    response = before.light_field.of("ppfd")
    if not any(response[v.receiver].max() > 0 for v in judged):
        cure = "mend fixtures, open_sky or places in the setup"
        raise InfeasibleError(Problem("no coral gets light from any channel", cure=cure))


def _tuner(outlook: Outlook, wishes: TuneWishes, ready: PreparedField) -> Tuner:
    """The search, with what every channel may give and what the light must keep."""
    today = np.array([top_level(f, c.name) for f in outlook.fixtures for c in f.type.channels])
    bounds = channel_bounds(outlook, wishes, today)
    nothing = Limits(np.zeros((0, today.size)), np.zeros(0), np.zeros(today.size), np.zeros(today.size))
    start = Tuner(outlook, wishes, bounds, nothing)
    programmes = start.programmes(Candidate(tuple(start.start().tolist())))
    start_h = full_output_hours(day_curve(_running(outlook.fixtures, programmes)))
    if not start_h.any() and wishes.change != "channels":
        cure = "allow one more, or --change channels"
        raise InfeasibleError(Problem("no channel that runs today may go on running", cure=cure))
    eye = reference_tables().colour_matching
    limits = light_limits(outlook, wishes, start_h, ready.scene.emission, eye)
    return Tuner(outlook, wishes, bounds, limits)


def _written(tuner: Tuner) -> Iterator[tuple[Programme, ...]]:
    """The candidates as they would be written and read back."""
    for candidate in tuner.candidates():
        made = tuner.programmes(candidate)
        read = as_written(tuner.fixtures, {f.name: p for f, p in zip(tuner.fixtures, made, strict=True)})
        yield tuple(read[f.name] for f in tuner.fixtures)


def _running(fixtures: tuple[Fixture, ...], programmes: tuple[Programme, ...]) -> tuple[Fixture, ...]:
    return tuple(replace(f, programme=p) for f, p in zip(fixtures, programmes, strict=True))


def _record(
    wishes: TuneWishes,
    outlook: Outlook,
    after: Analysis,
    tuner: Tuner,
    refused: Stand | None,
    kept: Kept,
    ready: PreparedField,
) -> Tuning:
    """What was found, with the corals to move."""
    before = outlook.analysis
    setup = after.setup
    weight = tuner.limits.weight
    days = [
        day_shape(s.lit_fixtures, plateau_of(s.lit_fixtures, weight), weight) for s in (before.setup, setup)
    ]
    then = {f.name: f for f in setup.lit_fixtures}
    channels = [
        ChannelSetting(
            key.fixture, key.channel, _set_level(one, key.channel), _set_level(then[key.fixture], key.channel)
        )
        for key, one in zip(
            before.light_field.channels, [f for f in outlook.fixtures for _ in f.type.channels], strict=True
        )
    ]
    if after is not before:
        why = zip(channels, tuner.bounds.held, tuner.bounds.blue_share, strict=True)
        channels = [replace(setting, held=held, blue_share=blue) for setting, held, blue in why]
    was, now = dials_of(before.setup), dials_of(setup)
    dials = tuple(
        OverallChange(f.name, was[f.name], now[f.name])
        for f in outlook.fixtures
        if f.programme.dial is not None and then[f.name].programme.dial is not None
    )
    new = Outlook.of(after, kept.response)
    relocations = _relocations(new, ready)
    hours = full_output_hours(day_curve(setup.lit_fixtures))
    outcome = new.under(new.fixtures)
    unserved: tuple[Unserved, ...] = relocations.unserved(outcome, hours, hours)
    moved = _with_moves(after, outcome, relocations, hours, wishes.with_moves) if wishes.with_moves else None
    return Tuning(
        wishes=wishes,
        before=before,
        after=after,
        day_before=days[0],
        day_after=days[1],
        channels=tuple(channels),
        corals=tuple(CoralChange(a, b) for a, b in zip(before.verdicts, after.verdicts, strict=True)),
        dials=dials,
        unchanged=after is before,
        refused=refused,
        unserved=unserved,
        moved=moved,
    )


def _set_level(fixture: Fixture, channel: str) -> float:
    """The level that a channel is set to: under an overall setting, its own."""
    dial = fixture.programme.dial
    if dial is not None and channel in dial.levels:
        return dial.highest(channel)[0]
    return top_level(fixture, channel)


def _relocations(outlook: Outlook, ready: PreparedField) -> Relocations:
    bare = ready.only("ppfd")
    search = Search(outlook, dials_of(outlook.analysis.setup))

    def at(points: FloatArray) -> FloatArray:
        return bare.at(points)[:, :, 0]

    return Relocations(search, outlook.today, at)


def _with_moves(
    analysis: Analysis, outcome: Outcome, relocations: Relocations, hours: FloatArray, most: int
) -> Moved | None:
    """Up to so many corals moved one after the other, each judged by a run of its own."""
    moves: dict[str, tuple[str, str]] = {}
    best = analysis
    stand = outcome.stand
    while len(moves) < most:
        tried: list[Relocation] = [*relocations.to_free_places(hours), *relocations.exchanges()]
        tried = [r for r in tried if len(moves.keys() | r.moves().keys()) <= most]
        found = None
        for relocation in sorted(tried, key=lambda r: -r.gain)[:2]:
            setup = moved_setup(best.setup, relocation)
            ready, field = light_of(setup)
            kept = keeping(setup)
            one = judged_under(setup, ready, field, certainty=True, see=kept.see)
            outlook = Outlook.of(one, kept.response)
            there = outlook.today.stand
            if there.penalty < stand.penalty - LEAST_GAIN and there.within >= stand.within:
                found = one, _relocations(outlook, ready), there, relocation
                break
        if found is None:
            break
        best, relocations, stand, relocation = found
        for coral, (a, b) in relocation.moves().items():
            moves[coral] = (moves.get(coral, (a, b))[0], b)
    return Moved(moves, best) if moves else None
