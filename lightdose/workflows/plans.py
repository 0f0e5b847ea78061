"""Plans: maps of the light, levels and hours, places, ways and steps."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

import numpy as np

from lightdose.analysis import analyse, fixture_emission, judged_under, light_field, light_of, scene_of
from lightdose.errors import Place, Problem, SetupError
from lightdose.files.library import reference_tables
from lightdose.judge.acclimation import AcclimationRequest, acclimate
from lightdose.judge.drawn_light import Draw, draw_doses
from lightdose.judge.map_choice import group_regions
from lightdose.judge.uncertain_inputs import basis_of
from lightdose.model.fixture import Fixture, Programme
from lightdose.model.light import LightField, Scene
from lightdose.model.match import Match, MatchWishes
from lightdose.model.places import LightExplanation, LightMap, Move, MoveWishes, Placement, PlaceWishes, Plane
from lightdose.model.plans import Acclimation
from lightdose.model.record import FloatArray
from lightdose.model.results import weaker_basis
from lightdose.model.setup import Coral, CoralGroup, Receiver, Setup
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.dose import daily_light_integral, peak_and_photoperiod
from lightdose.physics.emission import weighting_matrix
from lightdose.physics.light_field import PreparedField, light_field_parts, prepare_field, without_solids
from lightdose.physics.slices import (
    SHARE_WEIGHTINGS,
    by_source,
    day_weights,
    light_shares,
    map_slice,
    sample_points,
    slice_cells,
)

POINTS_A_STEP = 5_000
"""Points of a map between two steps of its progress bar."""

CELLS_TO_COMPARE = 40
"""Cells along the longer side of the level with which a place is compared."""


def light_map(
    setup: Setup,
    planes: Sequence[Plane],
    groups: Sequence[CoralGroup] = (),
    *,
    cell_m: float = 0.01,
    samples: int = 1,
    notes: Sequence[str] = (),
    shares: bool = True,
    advance: Callable[[int], None] = lambda _: None,
) -> LightMap:
    """Light on planes through the tank under open sky, and where groups would be within their bands.

    ``shares=False`` leaves out how much light came by walls and floor: quicker, where only doses are wanted.
    ``advance`` is told of every block of points that is done.
    """
    curve = day_curve(setup.lit_fixtures)
    cells = [slice_cells(setup.tank, plane, cell_m) for plane in planes]
    sampled = [sample_points(part, samples) for part in cells]
    points = np.concatenate(sampled)
    scene = scene_of(setup)
    ready = prepare_field(scene, weighting_matrix(scene.tables, ("ppfd",)), for_points=len(points))
    lights: list[tuple[FloatArray, FloatArray, FloatArray]] = []
    for first in range(0, len(points), POINTS_A_STEP):
        parts = ready.parts(points[first : first + POINTS_A_STEP], split=shares)
        lights.append(_by_source(parts[:, :, :, 0], day_weights(curve), known=shares))
        advance(len(parts))
    ends = np.cumsum([len(part) for part in sampled])[:-1]
    ppfd, by_wall, by_floor = (np.split(np.concatenate(values), ends) for values in zip(*lights, strict=True))
    slices = [
        map_slice(part, *light, curve)
        for part, light in zip(cells, zip(ppfd, by_wall, by_floor, strict=True), strict=True)
    ]
    return LightMap(
        setup=setup,
        basis=basis_of(setup),
        slices=tuple(slices),
        regions=group_regions(slices, groups),
        cell_m=cell_m,
        samples=samples,
        notes=tuple(notes),
    )


def _by_source(
    parts: FloatArray, weights: FloatArray, *, known: bool
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Light at points, by walls and by the floor; NaN for both where the parts were not kept apart."""
    if known:
        return by_source(parts, weights)
    unknown = np.full(len(parts), np.nan)
    return parts[:, 0], unknown, unknown


def explain_light(setup: Setup, receiver: Receiver) -> LightExplanation:
    """Why a place is as bright as it is: by which ways, from which channels, with which losses."""
    whole, curve = scene_of(setup), day_curve(setup.lit_fixtures)
    scene = without_solids(whole) if receiver.own_sky else whole
    parts = light_field_parts((receiver,), scene, weighting_matrix(scene.tables, SHARE_WEIGHTINGS))
    shares = light_shares(parts, curve)
    ppfd = parts.response[:, :, :, 0].sum(axis=1)
    dli = float(daily_light_integral(ppfd, curve)[0])
    level = _level_doses(setup, receiver.depth_m) * receiver.open_sky
    return LightExplanation(
        setup=setup,
        basis=basis_of(setup),
        receiver=receiver,
        by_day=bool(np.any(full_output_hours(curve) > 0)),
        dli_mol_m2_d=dli,
        peak_ppfd_umol_m2_s=float(peak_and_photoperiod(ppfd, curve)[0][0]),
        full_output_ppfd_umol_m2_s=float(ppfd.sum()),
        part_share=shares.part_share,
        mean_path_m=shares.mean_path_m,
        surface_loss_fraction=shares.surface_loss_fraction,
        absorbed_fraction=shares.absorbed_fraction,
        channels=shares.channels,
        level_median_dli=float(np.median(level)) if level.size else None,
        level_rank=float(np.mean(level < dli)) if level.size else None,
        shaded_by=_shaded_by(scene, receiver, day_weights(curve)),
    )


def _shaded_by(scene: Scene, receiver: Receiver, counted: FloatArray) -> dict[str, float]:
    """What each solid alone keeps from a place, as a share of the open light by rays."""
    if scene.standing is None or not scene.standing.solids:
        return {}
    from lightdose.physics.shaded_by import shaded_by

    ready = prepare_field(scene, weighting_matrix(scene.tables, ("ppfd",)), for_points=0)
    return shaded_by(ready, np.array((receiver.x_m, receiver.y_m, receiver.depth_m)), counted)


def _level_doses(setup: Setup, depth_m: float) -> FloatArray:
    """DLI under open sky all over one depth; none above the water."""
    if depth_m < 0:
        return np.zeros(0)
    longest = max(setup.tank.length_m, setup.tank.width_m)
    cells = slice_cells(setup.tank, Plane("depth", depth_m), longest / CELLS_TO_COMPARE)
    ppfd = light_field(setup, sample_points(cells, 1))[:, :, 0]
    return daily_light_integral(ppfd, day_curve(setup.lit_fixtures))


def acclimation(before: Setup, after: Setup, request: AcclimationRequest) -> Acclimation:
    """Steps from one setup's light to another's; from the upper end of its range where it is not measured.

    Raises
    ------
    SetupError
        As ``judge.acclimation.acclimate``.
    """
    open_light = weaker_basis(basis_of(before), basis_of(after)) != "measured"
    today, other = (analyse(s, certainty=open_light) for s in (before, after))
    return acclimate(today, other, request)


LEAST_GAIN = 0.02
"""Nobody moves a coral for less of the penalty: our choice."""

MOST_CORALS = 2000
"""A plan for as many takes about 10 s; its cost grows faster than they do. Our choice."""


def place(
    setup: Setup,
    wishes: PlaceWishes,
    lit: tuple[PreparedField, LightField] | None = None,
    draw: Draw = draw_doses,
) -> Placement:
    """Which coral goes where, with what each gets there as `dose` reckons it.

    Without a wish corals without a place get one; where there are none, up to ``FEW_MOVES`` corals may move.
    ``lit`` is the setup's light where that is there already, and ``draw`` what remembers draws.

    Raises
    ------
    SetupError
        If there are no corals, more than ``MOST_CORALS``, or no places, a name is unknown, or pins
        contradict one another.
    """
    from lightdose.fit.placement import placed_setup, plan_placement, standing_today
    from lightdose.fit.placement_task import FEW_MOVES
    from lightdose.judge.placement_record import place_penalty, placement_record
    from lightdose.workflows.advice import keeping

    refuse_too_many(setup, "place")
    if not (wishes.corals or wishes.everything or wishes.moves is not None or setup.unplaced):
        wishes = replace(wishes, moves=FEW_MOVES)
    ready, field = lit or light_of(setup)
    kept = keeping(setup)
    before = judged_under(setup, ready, field, certainty=True, see=kept.see, draw=draw)
    light = _light_at_places(setup, ready)
    today = standing_today(setup)
    plan = plan_placement(setup, before, wishes, light, place_penalty(before, kept.response))
    there = placed_setup(setup, plan.spots)
    after = judged_under(there, ready, ready.light_field(there.receivers), certainty=True, draw=draw)
    asked = wishes.pins or wishes.not_at or wishes.not_beside or wishes.apart_m
    worse = after.judgement.penalty > before.judgement.penalty - LEAST_GAIN
    if worse and not asked and len(there.corals) == len(setup.corals):
        plan, after = replace(plan, spots={name: today.get(name) for name in plan.spots}), before
    return placement_record(before, after, plan, wishes, today, light)


def _light_at_places(
    setup: Setup, ready: PreparedField, coral: Coral | None = None
) -> Callable[[FloatArray], FloatArray]:
    """PPFD of every channel at full output at points, (n, 3) to (n, n_channel), as `dose` reckons it.

    Where the sky of a place or of the coral is written, no solid counts; a coral has its face with it.
    """
    bare = ready.only("ppfd")
    written = {(s.x_m, s.y_m) for s in setup.sites if s.own_sky}
    at_home = next((s for s in setup.sites if coral and s.name == coral.site and s.implicit), None)
    always = coral is not None and (coral.own_sky or (at_home is not None and at_home.own_sky))
    face = coral.face if coral else None

    def light(points: FloatArray) -> FloatArray:
        normals = np.tile(face.normal, (len(points), 1)) if face else None
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
    plan = plan_move(setup, before, wishes, _light_at_places(setup, ready, coral))
    return move_record(before, wishes, plan.start_dli, plan.sites, plan.dli)


def match(one: Setup, other: Setup, words: Sequence[str], wishes: MatchWishes | None = None) -> Match:
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
    return match_places(
        here,
        there,
        place_pairs(here, there, words),
        reference_tables(),
        (fixture_emission(one), fixture_emission(other)),
        wishes or MatchWishes(),
        lambda programmes: as_written(other.lit_fixtures, programmes),
    )


def as_written(fixtures: Sequence[Fixture], programmes: Mapping[str, Programme]) -> dict[str, Programme]:
    """Programmes by fixture as they read once they are written."""
    from lightdose.files.schedule_csv import schedule_from_text, schedule_text

    read = {}
    for fixture in fixtures:
        names = [c.name for c in fixture.type.channels]
        text = schedule_text(programmes[fixture.name], names, lit_at_zero=fixture.type.lit_at_zero)
        read[fixture.name] = schedule_from_text(text, fixture.name, names)[0]
    return read


def refuse_too_many(setup: Setup, command: str, most: int = MOST_CORALS) -> None:
    """Raise SetupError where a setup has more corals than a plan takes."""
    if len(setup.corals) > most:
        found = f"{len(setup.corals):,} corals are too many for one plan"
        cure = f"leave out corals, and {command} the rest in a second setup"
        raise SetupError(Problem(found, f"up to {most:,} corals", cure, Place(setup.path)))
