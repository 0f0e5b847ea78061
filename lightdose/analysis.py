"""The whole program as a handful of lines: from a setup to the day's light and what it means.

    channel flux x spectrum x beam x water x walls  ->  response at full output
    response x schedule                             ->  day curve  ->  dose  ->  verdict

A reader who opens only this module knows the way of the data.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from lightdose import __version__
from lightdose.errors import Problem, SetupError
from lightdose.files.library import reference_tables
from lightdose.judge.basis import basis_of
from lightdose.judge.cautions import find_cautions
from lightdose.judge.regions import group_regions
from lightdose.judge.uncertainty import with_certainty
from lightdose.judge.verdict import judge_corals
from lightdose.model.arrays import FloatArray
from lightdose.model.coral import CoralGroup, Receiver
from lightdose.model.fixture import Channel, Fixture, Flux
from lightdose.model.maps import LightExplanation, LightMap, Plane
from lightdose.model.placement import Move, MoveWishes, Placement, PlaceWishes
from lightdose.model.results import Analysis, LightField, SiteDay, SiteSpectrum
from lightdose.model.setup import Setup
from lightdose.model.spectrum import GRID_NM, ReferenceTables, Weightings
from lightdose.model.tank import Cover, Tank, Water
from lightdose.model.tuning import TunedSchedule, TuneWishes, Tuning
from lightdose.physics import light_field as field_physics
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.dose import daily_dose, daily_light_integral, peak_and_photoperiod
from lightdose.physics.emission import channel_emission
from lightdose.physics.energy import fixture_use
from lightdose.physics.light_shares import SHARE_WEIGHTINGS, light_shares
from lightdose.physics.prepared_field import PreparedField, prepare_field
from lightdose.physics.slices import by_source, day_weights, map_slice, sample_points, slice_cells
from lightdose.physics.weightings import DOSE_WEIGHTINGS, weighting_matrix

POINTS_A_STEP = 5_000
"""Points of a map between two steps of its progress bar."""

CELLS_TO_COMPARE = 40
"""Cells along the longer side of the level with which a place is compared."""


def analyse(setup: Setup, *, certainty: bool = True, also: Sequence[str] = ()) -> Analysis:
    """Everything `lightdose dose` reports about a setup.

    ``certainty=False`` leaves out intervals and probabilities: quicker, where only the doses are wanted.
    ``also`` names further weightings that its light field should hold.

    Raises
    ------
    SetupError
        If a channel of an enabled fixture has no absolute flux.
    """
    return _judged(setup, *_lit(setup, also), certainty=certainty)


def _lit(setup: Setup, also: Sequence[str] = ()) -> tuple[FloatArray, PreparedField, LightField]:
    """What no programme changes: emission at full output, the prepared field, and light at every receiver."""
    inputs = _field_inputs(setup, (*DOSE_WEIGHTINGS, *also))
    ready = prepare_field(*inputs, for_points=len(setup.receivers))
    return inputs.emission, ready, field_physics.prepared_light_field(setup.receivers, ready)


def _judged(
    setup: Setup, emission: FloatArray, ready: PreparedField, field: LightField, *, certainty: bool
) -> Analysis:
    """The day of a setup under its light field, and what it means."""
    curve = day_curve(setup.lit_fixtures)
    dose = daily_dose(field, curve)
    verdicts, uncertainty = judge_corals(setup, field, dose, curve), None
    if certainty:
        verdicts, uncertainty = with_certainty(setup, ready, verdicts)
    return Analysis(
        setup=setup,
        basis=basis_of(setup),
        light_field=field,
        day_curve=curve,
        dose=dose,
        verdicts=verdicts,
        fixtures=fixture_use(setup.lit_fixtures, emission, curve, setup.electricity),
        cautions=find_cautions(setup, field, curve, dose, verdicts),
        version=__version__,
        uncertainty=uncertainty,
    )


def fixture_emission(setup: Setup) -> FloatArray:
    """Photons of every channel of the enabled fixtures at full output, shape (n_channel, 500). [umol s-1]

    Where a calibration holds a channel, its measured flux stands in for the fixture file's.

    Raises
    ------
    SetupError
        If channels have no absolute flux; every one is named.
    """
    tables = reference_tables()
    rows: list[FloatArray] = []
    problems: list[Problem] = []
    for fixture in setup.lit_fixtures:
        for channel in fixture.type.channels:
            try:
                rows.append(channel_emission(_as_measured(setup, fixture, channel), tables))
            except SetupError as trouble:
                problems.extend(trouble.problems)
    if problems:
        raise SetupError(*dict.fromkeys(problems))
    return np.array(rows).reshape(len(rows), GRID_NM.size)


def _as_measured(setup: Setup, fixture: Fixture, channel: Channel) -> Channel:
    """The channel with its calibrated flux, where a calibration holds one."""
    calibration = setup.calibration
    flux = None if calibration is None else calibration.emitted_umol_s(fixture.name, channel.name)
    return channel if flux is None else replace(channel, flux=Flux("photon_flux_umol_s", flux))


def light_field(setup: Setup, points: npt.ArrayLike, weightings: Sequence[str] = ("ppfd",)) -> FloatArray:
    """Light of every channel at any points of the tank at full output, under open sky.

    Parameters
    ----------
    setup : Setup
    points : array, shape (n, 3)
        x, y and depth below the surface; a negative depth is above the water. [m]
    weightings : sequence of str
        Keys such as "ppfd", "blue", "lux", "usable_z1".

    Returns
    -------
    array, shape (n, channel, weighting)
        Channels in the order of ``setup.lit_fixtures``. [umol m-2 s-1, lx]
    """
    return field_physics.response_at(_points(points), *_field_inputs(setup, weightings))


def light_field_chunks(
    setup: Setup, points: npt.ArrayLike, weightings: Sequence[str] = ("ppfd",)
) -> Iterator[tuple[slice, FloatArray]]:
    """The same as ``light_field``, block by block in the order of the points, for large fields."""
    return field_physics.response_chunks(_points(points), *_field_inputs(setup, weightings))


def _points(points: npt.ArrayLike) -> FloatArray:
    return np.asarray(points, dtype=np.float64).reshape(-1, 3)


class _FieldInputs(NamedTuple):
    """What the light field needs besides its receivers, in the order of its arguments."""

    fixtures: tuple[Fixture, ...]
    emission: FloatArray
    tank: Tank
    water: Water
    cover: Cover
    tables: ReferenceTables
    weightings: Weightings


def _field_inputs(setup: Setup, weightings: Sequence[str]) -> _FieldInputs:
    tables = reference_tables()
    columns = weighting_matrix(tables, tuple(weightings))
    emission = fixture_emission(setup)
    return _FieldInputs(setup.lit_fixtures, emission, setup.tank, setup.water, setup.cover, tables, columns)


def light_map(
    setup: Setup,
    planes: Sequence[Plane],
    groups: Sequence[CoralGroup] = (),
    *,
    cell_m: float = 0.01,
    samples: int = 1,
    notes: Sequence[str] = (),
    advance: Callable[[int], None] = lambda _: None,
) -> LightMap:
    """Light on planes through the tank under open sky, and where groups would be within their bands.

    ``advance`` is told of every block of points that is done.
    """
    curve = day_curve(setup.lit_fixtures)
    cells = [slice_cells(setup.tank, plane, cell_m) for plane in planes]
    sampled = [sample_points(part, samples) for part in cells]
    points = np.concatenate(sampled)
    ready = prepare_field(*_field_inputs(setup, ("ppfd",)), for_points=len(points))
    lights: list[tuple[FloatArray, FloatArray, FloatArray]] = []
    for first in range(0, len(points), POINTS_A_STEP):
        parts = ready.parts(points[first : first + POINTS_A_STEP], split=True)
        lights.append(by_source(parts[:, :, :, 0], day_weights(curve)))
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
        version=__version__,
    )


def explain_light(setup: Setup, receiver: Receiver) -> LightExplanation:
    """Why a place is as bright as it is: by which ways, from which channels, with which losses."""
    inputs, curve = _field_inputs(setup, SHARE_WEIGHTINGS), day_curve(setup.lit_fixtures)
    parts = field_physics.light_field_parts((receiver,), *inputs)
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
        version=__version__,
    )


def _level_doses(setup: Setup, depth_m: float) -> FloatArray:
    """DLI under open sky all over one depth; none above the water."""
    if depth_m < 0:
        return np.zeros(0)
    longest = max(setup.tank.length_m, setup.tank.width_m)
    cells = slice_cells(setup.tank, Plane("depth", depth_m), longest / CELLS_TO_COMPARE)
    ppfd = light_field(setup, sample_points(cells, 1))[:, :, 0]
    return daily_light_integral(ppfd, day_curve(setup.lit_fixtures))


def site_days(analysis: Analysis, receivers: Sequence[int]) -> tuple[SiteDay, ...]:
    """PPFD through the day at some receivers, for figures."""
    curve, field = analysis.day_curve, analysis.light_field
    time_h = np.column_stack((curve.edge_h[:-1], curve.edge_h[1:])).ravel()
    output = np.stack((curve.output_start, curve.output_end), axis=1).reshape(time_h.size, -1)
    response = field.of("ppfd")
    return tuple(SiteDay(i, field.receivers[i].name, time_h, (output * response[i]).T) for i in receivers)


def channel_spectra(analysis: Analysis, receivers: Sequence[int]) -> FloatArray:
    """Photons of each channel at full output at some receivers, cell by cell of the working grid.

    Shape (n_receiver, n_channel, 500). [umol m-2 s-1]
    """
    inputs = _field_inputs(analysis.setup, ("ppfd",))
    places = [analysis.light_field.receivers[i] for i in receivers]
    reaching = field_physics.spectral_transfer(places, *inputs[:-1])
    spectra: FloatArray = inputs.emission * reaching
    return spectra


def site_spectra(analysis: Analysis, receivers: Sequence[int]) -> tuple[SiteSpectrum, ...]:
    """The photon spectrum of each channel at some receivers, at the time of the receiver's peak."""
    names = [analysis.light_field.receivers[i].name for i in receivers]
    return tuple(
        SiteSpectrum(i, name, full * _output_at_peak(analysis, i)[:, None])
        for i, name, full in zip(receivers, names, channel_spectra(analysis, receivers), strict=True)
    )


def _output_at_peak(analysis: Analysis, receiver: int) -> FloatArray:
    curve = analysis.day_curve
    output: FloatArray = np.vstack((curve.output_start, curve.output_end))
    ppfd = output @ analysis.light_field.of("ppfd")[receiver]
    brightest: FloatArray = output[int(np.argmax(ppfd))]
    return brightest


def tune(setup: Setup, wishes: TuneWishes, *, certainty: bool = True) -> Tuning:
    """Levels and hours that put every coral in its band, or come closest; verified as written.

    Raises
    ------
    InfeasibleError
        If there is nothing to tune, or the keeper's own bounds leave nothing.
    """
    from lightdose.files.schedule_csv import schedule_from_text, write_schedule
    from lightdose.fit.tuning import plan_programme
    from lightdose.fit.tuning_conflict import find_conflict
    from lightdose.fit.tuning_record import tuning_record

    emission, ready, field = _lit(setup)
    before = _judged(setup, emission, ready, field, certainty=certainty)
    plan = plan_programme(before, wishes, emission, reference_tables().colour_matching)
    written = {}
    schedules = []
    for fixture, programme in zip(setup.lit_fixtures, plan.programmes, strict=True):
        names = [c.name for c in fixture.type.channels]
        text = write_schedule(programme, names)
        schedules.append(TunedSchedule(fixture.name, text))
        written[fixture.name] = schedule_from_text(text, fixture.name, names)[0]
    fixtures = [replace(f, programme=written[f.name]) if f.name in written else f for f in setup.fixtures]
    tuned = replace(setup, fixtures=tuple(fixtures))
    now_ready = replace(ready, fixtures=tuned.lit_fixtures)
    after = _judged(tuned, emission, now_ready, field, certainty=certainty)
    judged = [v for v in before.verdicts if v.band_dli is not None]
    conflict = find_conflict(
        plan.task,
        plan.longest,
        plan.solution,
        [v.coral for v in judged],
        lambda row: _free_places(setup, judged[row].coral),
    )
    return tuning_record(before, after, wishes, plan, conflict, schedules)


def place(setup: Setup, wishes: PlaceWishes) -> Placement:
    """Which coral goes where, with what each gets there as `dose` reckons it.

    Raises
    ------
    SetupError
        If there are no corals or no places, a name is unknown, or pins contradict one another.
    """
    from lightdose.fit.placement import own_sky, plan_placement, standing_today, with_places
    from lightdose.judge.placement_record import placement_record

    today = standing_today(setup)
    before = analyse(with_places(setup, today), certainty=False)
    plan = plan_placement(setup, before, wishes, lambda points: light_field(setup, points)[:, :, 0])
    after = analyse(with_places(setup, plan.spots), certainty=False)
    sky = {c.name: own_sky(setup, c) for c in setup.corals}
    return placement_record(before, after, plan, wishes, today, sky)


def move(setup: Setup, wishes: MoveWishes) -> Move:
    """The way of one coral to another site, in steps that it can follow.

    Raises
    ------
    SetupError
        If a name is unknown, or the coral cannot stand there.
    InfeasibleError
        If no path of free sites leads there.
    """
    from lightdose.fit.placement import standing_today, with_places
    from lightdose.fit.stepping_stones import plan_move
    from lightdose.judge.placement_record import move_record

    before = analyse(with_places(setup, standing_today(setup)), certainty=False)
    plan = plan_move(setup, before, wishes, lambda points: light_field(setup, points)[:, :, 0])
    return move_record(before, wishes, plan.start_dli, plan.sites, plan.dli)


def _free_places(setup: Setup, name: str) -> tuple[list[str], FloatArray]:
    """Free sites that a coral may take, and its PPFD of each channel at full output there."""
    coral = next(c for c in setup.corals if c.name == name)
    places = {s.name: s for s in setup.sites}
    others = [(c, places[c.site]) for c in setup.corals if c.name != name]
    taken = {c.site for c in setup.corals}
    free = [
        s
        for s in setup.sites
        if not (coral.pinned or s.implicit or s.name in taken or s.depth_m < coral.height_m)
        and all(
            math.dist((s.x_m, s.y_m), (at.x_m, at.y_m)) >= max(other.keep_apart_m, coral.keep_apart_m)
            for other, at in others
        )
    ]
    if not free:
        return [], np.zeros((0, 0))
    tops = [(s.x_m, s.y_m, s.depth_m - coral.height_m) for s in free]
    sky = np.array([s.open_sky * coral.open_sky for s in free])
    return [s.name for s in free], sky[:, None] * light_field(setup, tops)[:, :, 0]
