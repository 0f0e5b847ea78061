"""Plans: other levels, another tank matched, other places, a way from place to place; each verified."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.analysis import analyse, judged_under, light_field, light_of
from lightdose.errors import Place, Problem, SetupError
from lightdose.files.library import reference_tables
from lightdose.model.places import Move, MoveWishes, Placement, PlaceWishes
from lightdose.model.plans import Match, TuneWishes, Tuning
from lightdose.model.record import FloatArray
from lightdose.model.setup import Setup

MOST_CORALS = 2000
"""A plan for as many takes about 10 s; its cost grows faster than they do. Our choice."""


def tune(setup: Setup, wishes: TuneWishes, *, certainty: bool = True) -> Tuning:
    """Levels and hours that put every coral in its band, or come closest; verified as written.

    Raises
    ------
    InfeasibleError
        If there is nothing to tune, or the keeper's own bounds leave nothing.
    SetupError
        If there are more than ``MOST_CORALS`` corals.
    """
    from lightdose.files.schedule_csv import schedule_from_text, write_schedule
    from lightdose.fit.tuning import plan_programme
    from lightdose.fit.tuning_record import find_conflict, tuning_record

    _refuse_too_many(setup, "tune")
    ready, field = light_of(setup)
    before = judged_under(setup, ready, field, certainty=certainty)
    plan = plan_programme(before, wishes, ready.scene.emission, reference_tables().colour_matching)
    written = {}
    for fixture, programme in zip(setup.lit_fixtures, plan.programmes, strict=True):
        names = [c.name for c in fixture.type.channels]
        text = write_schedule(programme, names, glowing=fixture.type.glowing)
        written[fixture.name] = schedule_from_text(text, fixture.name, names)[0]
    fixtures = [replace(f, programme=written[f.name]) if f.name in written else f for f in setup.fixtures]
    tuned = replace(setup, fixtures=tuple(fixtures))
    after = judged_under(tuned, ready.running(tuned.lit_fixtures), field, certainty=certainty)
    judged = [v for v in before.verdicts if v.band_dli is not None]
    conflict = find_conflict(
        plan.task,
        plan.longest,
        plan.solution,
        [v.coral for v in judged],
        lambda row: _free_places(setup, judged[row].coral),
    )
    return tuning_record(before, after, wishes, plan, conflict)


def place(setup: Setup, wishes: PlaceWishes) -> Placement:
    """Which coral goes where, with what each gets there as `dose` reckons it.

    Raises
    ------
    SetupError
        If there are no corals, more than ``MOST_CORALS``, or no places, a name is unknown, or pins
        contradict one another.
    """
    from lightdose.fit.placement import own_skies, plan_placement, standing_today, with_places
    from lightdose.judge.placement_record import placement_record

    _refuse_too_many(setup, "place")
    today = standing_today(setup)
    here = with_places(setup, today)
    ready, field = light_of(here)
    before = judged_under(here, ready, field, certainty=False)
    bare = ready.only("ppfd")
    plan = plan_placement(setup, before, wishes, lambda points: bare.at(points)[:, :, 0])
    there = with_places(setup, plan.spots)
    field = ready.light_field(there.receivers)
    after = judged_under(there, ready, field, certainty=False)
    return placement_record(before, after, plan, wishes, today, own_skies(setup))


def move(setup: Setup, wishes: MoveWishes) -> Move:
    """The way of one coral to another site, in steps that it can follow.

    Raises
    ------
    SetupError
        If a name is unknown, or the coral cannot stand there.
    InfeasibleError
        If no path of free sites leads there.
    """
    from lightdose.fit.placement import plan_move, standing_today, with_places
    from lightdose.judge.placement_record import move_record

    here = with_places(setup, standing_today(setup))
    ready, field = light_of(here)
    before = judged_under(here, ready, field, certainty=False)
    bare = ready.only("ppfd")
    plan = plan_move(setup, before, wishes, lambda points: bare.at(points)[:, :, 0])
    return move_record(before, wishes, plan.start_dli, plan.sites, plan.dli)


def match(one: Setup, other: Setup, words: Sequence[str]) -> Match:
    """The other tank set so that its places get what places of the first get; ``words`` are "HERE=THERE".

    Raises
    ------
    SetupError
        If a word names no pair of places, or a place gets no light.
    """
    from lightdose.fit.matching import match_places
    from lightdose.judge.earlier_light import place_pairs
    from lightdose.physics.emission import TEN_NM_WEIGHTINGS

    here, there = (analyse(s, certainty=False, also=TEN_NM_WEIGHTINGS) for s in (one, other))
    return match_places(here, there, place_pairs(here, there, words), reference_tables())


def _refuse_too_many(setup: Setup, command: str) -> None:
    if len(setup.corals) > MOST_CORALS:
        found = f"{len(setup.corals):,} corals are too many for one plan"
        cure = f"leave out corals, and {command} the rest in a second setup"
        raise SetupError(Problem(found, f"up to {MOST_CORALS:,} corals", cure, Place(setup.path)))


def _free_places(setup: Setup, name: str) -> tuple[list[str], FloatArray]:
    """Free sites that a coral may take, and its PPFD of each channel at full output there."""
    from lightdose.fit.placement import free_sites

    coral = next(c for c in setup.corals if c.name == name)
    free = [] if coral.pinned else free_sites(setup, coral)
    if not free:
        return [], np.zeros((0, 0))
    tops = [(s.x_m, s.y_m, s.depth_m - coral.height_m) for s in free]
    sky = np.array([s.open_sky * coral.open_sky for s in free])
    return [s.name for s in free], sky[:, None] * light_field(setup, tops)[:, :, 0]
