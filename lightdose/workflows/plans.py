"""Plans: maps of the light, why a place is as bright as it is, steps, and a match of two tanks."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np

from lightdose.analysis import analyse, fixture_emission, light_field, light_of, scene_of
from lightdose.errors import SetupError
from lightdose.files.library import reference_tables
from lightdose.files.typed_values import cases_from_words
from lightdose.judge.acclimation import AcclimationRequest, acclimate
from lightdose.judge.map_choice import group_regions
from lightdose.judge.sensitivity import standard_cases, times_lit
from lightdose.judge.uncertain_inputs import basis_of
from lightdose.model.changes import Case, Sensitivity
from lightdose.model.fixture import Fixture, Programme
from lightdose.model.light import Scene
from lightdose.model.match import Match, MatchWishes
from lightdose.model.places import AXES, LightExplanation, LightMap, Plane, SkinView
from lightdose.model.plans import Acclimation
from lightdose.model.record import FloatArray
from lightdose.model.results import weaker_basis
from lightdose.model.setup import CoralGroup, Receiver, Setup
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.dose import daily_light_integral, peak_and_photoperiod
from lightdose.physics.emission import weighting_matrix
from lightdose.physics.field_limits import refuse_too_many_changes, refuse_too_many_places
from lightdose.physics.light_field import PreparedField, light_field_parts, prepare_field
from lightdose.physics.lit_scene import without_solids
from lightdose.physics.ray_limits import MAP_RAYS_AT_MOST, RAYS_AT_MOST
from lightdose.physics.slices import (
    SHARE_WEIGHTINGS,
    BoolArray,
    by_source,
    day_weights,
    in_water,
    light_shares,
    map_slice,
    sample_points,
    seen_skins,
    slice_cells,
)

POINTS_A_STEP = 5_000
"""Points of a map between two steps of its progress bar."""

SMALLER_MAP = (
    "check the units of tank and aperture; else name a larger --cell or fewer slices "
    f"(with a --cell that is named, {MAP_RAYS_AT_MOST:,} are allowed)"
)

CELLS_TO_COMPARE = 40
"""Cells along the longer side of the level with which a place is compared."""


def cases_tried(setup: Setup, words: Sequence[str]) -> tuple[Case, ...]:
    """The changes that `sensitivity` tries: those in words, and those that every tank may meet.

    Raises
    ------
    SetupError
        If words mean no change of this setup.
    """
    return (*cases_from_words(words, setup), *standard_cases(setup))


def sensitivity(setup: Setup, cases: Sequence[Case], step: Callable[[], None] = lambda: None) -> Sensitivity:
    """What each change does to the light of every site and coral; ``step`` is called after each.

    Raises
    ------
    SetupError
        If all changes together take too many rays.
    """
    from lightdose.judge.sensitivity import sensitivity as tried
    from lightdose.workflows.advice import drawn_under

    ready, field = light_of(setup)
    refuse_too_many_changes(setup.lit_fixtures, ready.lit, len(setup.receivers), times_lit(cases))
    analysis, outlook = drawn_under(setup, ready, field)
    return tried(analysis, fixture_emission(setup), reference_tables(), cases, step, outlook)


RAYS_BESIDE = 8_000_000
"""Rays of a map beside another answer, before its cells are doubled: a few seconds. Our choice."""

DOUBLINGS = 4
"""How often the cells of a map that nobody asked for are doubled before it is refused. Our choice."""


def map_beside(setup: Setup, planes: Sequence[Plane], cell_m: float, **more: Any) -> LightMap:
    """A map beside another answer: of larger cells where those would take too many rays.

    ``more`` are those of ``light_map``, which tells what it raises.
    """
    for turn in range(DOUBLINGS):
        try:
            return light_map(setup, planes, cell_m=cell_m * 2**turn, most=RAYS_BESIDE, **more)
        except SetupError:
            continue
    return light_map(setup, planes, cell_m=cell_m * 2**DOUBLINGS, **more)


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
    ready: PreparedField | None = None,
    asked: bool = False,
    most: int | None = None,
) -> LightMap:
    """Light on planes through the tank under open sky, and where groups would be within their bands.

    ``shares=False`` leaves out how much light came by walls and floor: quicker, where only doses are wanted.
    ``advance`` is told of every block of points that is done. ``ready`` is the field of the setup where one
    with PPFD is there already. ``asked``: somebody asked for cells so small, and waits for them; else there
    are at most ``most`` rays, where it is None as many as all places may take.

    Raises
    ------
    SetupError
        If that takes too many rays.
    """
    curve = day_curve(setup.lit_fixtures)
    cells = [slice_cells(setup.tank, plane, cell_m) for plane in planes]
    sampled = [sample_points(part, samples) for part in cells]
    points = np.concatenate(sampled)
    if ready is None:
        scene = scene_of(setup)
        ready = prepare_field(scene, weighting_matrix(scene.tables, ("ppfd",)), for_points=len(points))
    ready = ready.only("ppfd").at_many(len(points))
    most = MAP_RAYS_AT_MOST if asked else most or RAYS_AT_MOST
    refuse_too_many_places(setup.lit_fixtures, ready.lit, len(points), "this map", most, SMALLER_MAP)
    solids = setup.standing.solids if setup.standing else ()
    slices = []
    for part, at in zip(cells, sampled, strict=True):
        water = in_water(solids, at)
        light = _light_on(ready, at, water, part.plane, day_weights(curve), shares, advance)
        slices.append(map_slice(part, *light, curve, water))
    return LightMap(
        setup=setup,
        basis=basis_of(setup),
        slices=tuple(slices),
        regions=group_regions(slices, groups),
        cell_m=cell_m,
        samples=samples,
        notes=tuple(notes),
    )


def _light_on(
    ready: PreparedField,
    points_m: FloatArray,
    water: BoolArray,
    plane: Plane,
    weights: FloatArray,
    shares: bool,
    advance: Callable[[int], None],
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """``by_source`` of the points of a plane that lie in water, 0 for the others; NaN for shares unasked."""
    from lightdose.physics.plane_bounce import plane_bounce

    ppfd = np.zeros((len(points_m), len(ready.emission)))
    by_wall, by_floor = np.full((2, len(points_m)), 0.0 if shares else np.nan)
    wet = np.flatnonzero(water)
    bounce = plane_bounce(ready, points_m, AXES[plane.kind][:2], water)
    for first in range(0, wet.size, POINTS_A_STEP):
        some = wet[first : first + POINTS_A_STEP]
        back = None if bounce is None else bounce.at(points_m[some])
        parts = ready.parts(points_m[some], split=shares, off_surfaces=back)[:, :, :, 0]
        if shares:
            ppfd[some], by_wall[some], by_floor[some] = by_source(parts, weights)
        else:
            ppfd[some] = parts[:, 0]
        advance(some.size)
    advance(len(points_m) - wet.size)
    return ppfd, by_wall, by_floor


SKIN_CELLS: Final = 90
"""Cells along the longest side of a view of skins. Our choice."""


def skin_views(setup: Setup) -> tuple[SkinView, ...]:
    """Light on the skins of rock and colonies, seen from above and from the front; none without solids."""
    solids = setup.standing.solids if setup.standing else ()
    if not solids:
        return ()
    tank, curve = setup.tank, day_curve(setup.lit_fixtures)
    cell_m = max(tank.length_m, tank.width_m, tank.water_depth_m) / SKIN_CELLS
    planes = Plane("depth", 0.5 * tank.water_depth_m), Plane("from_front", 0.5 * tank.width_m)
    cells = [slice_cells(tank, plane, cell_m) for plane in planes]
    seen = [seen_skins(solids, part) for part in cells]
    points, normals, on = (np.concatenate(values) for values in zip(*seen, strict=True))
    inside = (points[:, :2] >= 0).all(axis=1) & (points[:, 0] <= tank.length_m) & (points[:, 2] >= 0)
    inside &= (points[:, 1] <= tank.width_m) & (points[:, 2] <= tank.water_depth_m)
    on = np.where(inside, on, -1)
    met = np.flatnonzero(on >= 0)
    scene = scene_of(setup)
    ready = prepare_field(scene, weighting_matrix(scene.tables, ("ppfd",)), for_points=met.size)
    ppfd = ready.at(points[met], normals[met])[:, :, 0]
    values: list[FloatArray] = []
    for found in (ppfd.sum(axis=1), peak_and_photoperiod(ppfd, curve)[0], daily_light_integral(ppfd, curve)):
        whole = np.full(on.size, np.nan)
        whole[met] = found
        values.append(whole)
    ends = np.cumsum([part.shape[0] * part.shape[1] for part in cells])[:-1]
    names = tuple(s.name for s in solids)
    views = []
    for part, which, *light in zip(
        cells, np.split(on, ends), *(np.split(v, ends) for v in values), strict=True
    ):
        full, peak, dli = (value.reshape(part.shape) for value in light)
        views.append(SkinView(part, full, peak, dli, which.reshape(part.shape), names))
    return tuple(views)


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
    """DLI under open sky all over the water at one depth; none above the water."""
    if depth_m < 0:
        return np.zeros(0)
    longest = max(setup.tank.length_m, setup.tank.width_m)
    cells = slice_cells(setup.tank, Plane("depth", depth_m), longest / CELLS_TO_COMPARE)
    points = sample_points(cells, 1)
    points = points[in_water(setup.standing.solids if setup.standing else (), points)]
    ppfd = light_field(setup, points)[:, :, 0]
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
    return acclimate(today, other, request, lambda programmes: as_written(after.lit_fixtures, programmes))


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
