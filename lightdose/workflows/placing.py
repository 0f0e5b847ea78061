"""Which coral goes where, and the way of one coral there."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Final

import numpy as np

from lightdose.analysis import Analysis, judged_under, light_of
from lightdose.errors import Place, Problem, SetupError
from lightdose.judge.drawn_light import Draw, draw_doses
from lightdose.model.light import LightField
from lightdose.model.paths import looks_at
from lightdose.model.places import FreeSkin, Grid, Move, MoveWishes, Placement, PlacementPlan, PlaceWishes
from lightdose.model.record import FloatArray
from lightdose.model.setup import Coral, Setup
from lightdose.model.solids import Solid
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.dose import daily_light_integral
from lightdose.physics.light_field import PreparedField, normals_of

if TYPE_CHECKING:
    from lightdose.fit.placement_task import Light, Penalty

LEAST_GAIN: Final = 0.02
"""Nobody moves a coral for less of the penalty: our choice."""

MOST_PLACED: Final = 1000
"""Corals of one `place`: 1,000 on as many places take about 12 s, 2,000 over half a minute. Our choice."""

MOST_CORALS: Final = 2000
"""Corals of one `survey`: as many take about 10 s; its cost grows faster than they do. Our choice."""

ROUNDS: Final = 4
"""A plan is judged with its colonies where it puts them, and mended so often. Our choice."""

COSTS: Final = 0.5
"""A coral that stands worse by so much than planned is looked at again. Our choice."""


def place(
    setup: Setup,
    wishes: PlaceWishes,
    known: tuple[PreparedField, LightField] | None = None,
    draw: Draw = draw_doses,
) -> Placement:
    """Which coral goes where, with what each gets there as `dose` gives it.

    Without a wish corals without a place get one; where there are none, up to ``FEW_MOVES`` corals may move.
    Colonies shade one another where the plan puts them: a place where that costs much is given up. ``known``
    is the setup's light where that is there already, and ``draw`` what remembers draws under it.

    Raises
    ------
    SetupError
        If there are no corals, more than ``MOST_PLACED``, or no places, a name is unknown, or pins
        contradict one another.
    """
    from lightdose.fit.placement import free_to_move, placed_setup, plan_placement, standing_today
    from lightdose.fit.placement_task import FEW_MOVES
    from lightdose.judge.placement_record import place_penalty, placement_record
    from lightdose.workflows.advice import keeping

    refuse_too_many(setup, "place", MOST_PLACED)
    if not (wishes.corals or wishes.everything or wishes.moves is not None or setup.unplaced):
        wishes = replace(wishes, moves=FEW_MOVES)
    free_to_move(setup, wishes)  # refuses before the work
    ready, field = known or light_of(setup)
    kept = keeping(setup)
    before = judged_under(setup, ready, field, certainty=True, see=kept.see, draw=draw)
    light = _light_at_places(setup, _without_bodies(setup, ready, wishes))
    penalty = place_penalty(before, kept.response)
    today = standing_today(setup)
    forbidden: list[tuple[str, str]] = []
    found: list[tuple[PlacementPlan, Analysis]] = []
    for _ in range(ROUNDS):
        plan = plan_placement(setup, before, wishes, light, penalty, forbidden)
        there = placed_setup(setup, plan.spots)
        lit = ready if _bodies(setup) == _bodies(there) else light_of(there)[0]
        drawing = draw if lit is ready else draw_doses
        after = judged_under(there, lit, lit.light_field(there.receivers), certainty=True, draw=drawing)
        found.append((plan, after))
        more = [] if lit is ready else _in_the_way(lit, plan, after, light, penalty)
        if not more:
            break
        forbidden += more
    plan, after = min(found, key=lambda pair: (len(pair[1].setup.unplaced), pair[1].judgement.penalty))
    asked = wishes.pins or wishes.not_at or wishes.not_beside or wishes.apart_m
    worse = after.judgement.penalty > before.judgement.penalty - LEAST_GAIN
    if worse and not asked and len(after.setup.corals) == len(setup.corals):
        plan, after = replace(plan, spots={name: today.get(name) for name in plan.spots}), before
    skins = _free_skins(setup, ready, wishes.grid) if wishes.grid and wishes.grid.on_rock else ()
    return replace(placement_record(before, after, plan, wishes, today, light), skins=skins)


def move(setup: Setup, wishes: MoveWishes) -> Move:
    """The way of one coral to another site, in steps that it can follow.

    Raises
    ------
    SetupError
        If a name is unknown, or the coral cannot stand there.
    InfeasibleError
        If no path of free sites leads there.
    """
    from lightdose.fit.placement import plan_move
    from lightdose.judge.placement_record import move_record

    ready, field = light_of(setup)
    before = judged_under(setup, ready, field, certainty=False)
    coral = next((c for c in setup.corals if c.name == wishes.coral), None)
    lit = _without_bodies(setup, ready, PlaceWishes(corals=(wishes.coral,)))
    plan = plan_move(setup, before, wishes, _light_at_places(setup, lit, coral))
    return move_record(before, wishes, plan.start_dli, plan.sites, plan.dli)


def _bodies(setup: Setup) -> dict[str, Solid]:
    """The colonies that shade, by coral."""
    return {s.coral: s for s in setup.standing.solids if s.coral} if setup.standing else {}


def _without_bodies(setup: Setup, ready: PreparedField, wishes: PlaceWishes) -> PreparedField:
    """The light in which places are looked for: without the colonies of those that leave theirs."""
    bodies = _bodies(setup)
    leaving = {n for n in (bodies if wishes.everything else wishes.corals) if n in bodies}
    if not leaving:
        return ready
    corals = tuple(replace(c, form="none") if c.name in leaving else c for c in setup.corals)
    return light_of(replace(setup, corals=corals))[0]


def _in_the_way(
    lit: PreparedField, plan: PlacementPlan, after: Analysis, light: Light, penalty: Penalty
) -> list[tuple[str, str]]:
    """Corals and new spots that cost much by the shade of colonies: who stands dim, or who shades it."""
    from lightdose.physics.shaded_by import kept_by_each, named_shares

    there = after.setup
    receivers, bodies, hours = there.receivers, _bodies(there), full_output_hours(after.day_curve)
    found = []
    for verdict in after.verdicts:
        r = receivers[verdict.receiver]
        if verdict.band_dli is None or r.own_sky or r.depth_m < 0:
            continue
        at, look = np.array([(r.x_m, r.y_m, r.depth_m)]), normals_of([r])
        planned = r.open_sky * float(daily_light_integral(light(at, look), after.day_curve)[0])
        real, hoped = penalty([verdict.coral], np.array([[verdict.dli_mol_m2_d, planned]]))[0]
        if real - hoped < COSTS:
            continue
        name: str | None = verdict.coral
        if name not in plan.moved:
            solids = [bodies[n] for n in sorted(plan.moved) if n in bodies]
            kept = kept_by_each(lit.only("ppfd"), at, look, solids, hours)[:, 0]
            name = next(iter(named_shares(solids, kept)), None)
        spot = plan.spots[name] if name else None
        if name and spot:
            found.append((name, spot.name))
    return list(dict.fromkeys(found))


def _free_skins(setup: Setup, ready: PreparedField, grid: Grid) -> tuple[FreeSkin, ...]:
    """The free places on rock with their three lights."""
    from lightdose.fit.placement import standing_today
    from lightdose.fit.rock_places import free_rock_spots
    from lightdose.physics.all_sides import around

    places = free_rock_spots(setup, grid.spacing_m, tuple(standing_today(setup).values()))
    if not places:
        return ()
    spots = [spot for _, spot in places]
    at = np.array([(s.x_m, s.y_m, s.depth_m) for s in spots])
    looks, bare, curve = looks_at(spots, None), ready.only("ppfd"), day_curve(setup.lit_fixtures)
    if looks is None:
        looks = np.tile((0.0, 0.0, 1.0), (len(spots), 1))
    face, sides = around(bare, at, looks)[..., 0]
    lights = [daily_light_integral(v, curve).tolist() for v in (bare.at(at)[:, :, 0], face, sides)]
    return tuple(FreeSkin(spot, rock, *doses) for (rock, spot), *doses in zip(places, *lights, strict=True))


def _light_at_places(setup: Setup, ready: PreparedField, coral: Coral | None = None) -> Light:
    """PPFD of every channel at full output at points and the ways they look, as `dose` gives it.

    Where the sky of a place or of the coral is written, no solid counts.
    """
    bare = ready.only("ppfd")
    written = {(s.x_m, s.y_m) for s in setup.sites if s.own_sky}
    at_home = next((s for s in setup.sites if coral and s.name == coral.site and s.implicit), None)
    always = coral is not None and (coral.own_sky or (at_home is not None and at_home.own_sky))

    def light(points: FloatArray, normals: FloatArray | None) -> FloatArray:
        if setup.standing is None or not (written or always):
            return bare.at(points, normals)[:, :, 0]
        clear = np.array([always or (x, y) in written for x, y, _ in points.tolist()], dtype=bool)
        out = np.empty((len(points), len(bare.emission)))
        for field, some in ((bare, ~clear), (bare.clear, clear)):
            if np.any(some):
                look = None if normals is None else normals[some]
                out[some] = field.at(points[some], look)[:, :, 0]
        return out

    return light


def refuse_too_many(setup: Setup, command: str, most: int = MOST_CORALS) -> None:
    """Raise SetupError where a setup has more corals than a plan takes."""
    if len(setup.corals) > most:
        found = f"{len(setup.corals):,} corals are too many for one plan"
        cure = f"leave out corals, and {command} the rest in a second setup"
        raise SetupError(Problem(found, f"up to {most:,} corals", cure, Place(setup.path)))
