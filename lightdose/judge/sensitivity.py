"""Plausible changes of a tank, and what each does to the light of every site and the state of every coral."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np

from lightdose.errors import SetupError
from lightdose.judge.outlook import Outlook
from lightdose.judge.verdict import dli_state
from lightdose.model.changes import (
    FIELD_KINDS,
    SEVERITY,
    Case,
    CaseOutcome,
    Change,
    ChangeKind,
    CoralOutcome,
    Sensitivity,
    SiteOutcome,
)
from lightdose.model.fixture import ChannelProgramme, DimmingCurve, Fixture, Programme
from lightdose.model.light import Scene
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis, DliVerdict, Verdict, counted
from lightdose.model.setup import Cover, Setup, Wall, WallKind
from lightdose.model.spectrum import ReferenceTables, SpectralTable
from lightdose.physics.day_curve import output_points
from lightdose.physics.emission import source_cells, weighting_matrix
from lightdose.physics.light_field import response_at
from lightdose.quantities import MOL_PER_UMOL_S_H

YELLOWINGS: Final = ((0.0, "clear"), (0.1, "slight"), (0.5, "visible"), (1.0, "strong"))
CARBON_FROM_PER_M = (0.5, 1.0)
SALT_FILM, AGEING = 0.9, (0.9, 0.8)
HEIGHT_M, LEVEL_M = 0.05, 0.03
GROWN_OVER = 0.5
POINTS = 0.10
"""Sizes of the changes: our choice, no published source."""


def standard_cases(setup: Setup) -> tuple[Case, ...]:
    """The changes that every setup is tried with.

    Source
    ------
    Which changes and how large: our choice. Words for yellowing: our choice, no published value for aquarium
    water.
    """
    cases = [
        Case(
            f"water yellowing {per_m:g} per m ({words})",
            (Change("yellowing", per_m),),
            "water yellowing",
            f"{per_m:g}/m",
        )
        for per_m, words in YELLOWINGS
    ]
    cases += _carbon(setup)
    cases += [_output("salt film on the lens", SALT_FILM), *(_output("ageing", left) for left in AGEING)]
    cases += [
        Case(
            f"fixtures {100 * shift:+g} cm",
            (Change("height", shift, relative=True),),
            "fixture height",
            f"{100 * shift:+g} cm",
        )
        for shift in (HEIGHT_M, -HEIGHT_M)
    ]
    cases += [
        Case(
            f"water level {100 * shift:+g} cm",
            (Change("level", shift),),
            "water level",
            f"{100 * shift:+g} cm",
        )
        for shift in (LEVEL_M, -LEVEL_M)
    ]
    half = Change("open_sky", GROWN_OVER)
    cases += [Case("a neighbour grown over half its sky", (half,), "neighbour grown over", "half the sky")]
    cases += _pane_cases(setup)
    return (*cases, *_channel_cases(setup))


def _carbon(setup: Setup) -> list[Case]:
    """Fresh carbon clears today's yellowing, and what water may be yellowed to."""
    today = setup.water.yellowing_440_per_m
    cases = []
    for stated in dict.fromkeys((today, *CARBON_FROM_PER_M)):
        if stated >= today and stated > 0:
            words = f"{stated:g} to 0 per m"
            start = () if stated == today else (Change("yellowing", stated),)
            clear = (Change("yellowing", 0.0),)
            row = "fresh carbon overnight"
            cases.append(
                Case(
                    f"{row}, yellowing {words}",
                    clear,
                    row,
                    f"from {stated:g}/m",
                    baseline=start,
                    overnight=True,
                )
            )
    return cases


def _output(what: str, left: float) -> Case:
    words = f"{100 * (left - 1):+.0f} %"
    return Case(f"{what}, output {words}", (Change("output", left),), what, words)


def _pane_cases(setup: Setup) -> list[Case]:
    back = setup.tank.walls["back"]
    # Paint stays on a pane whose inside is cleaned; only growth inside goes.
    cleaned: WallKind = "clean" if back.kind == "dark" else back.kind
    kinds: tuple[tuple[str, WallKind], ...] = (("cleaned", cleaned), ("overgrown", "dark"))
    cases = []
    for what, kind in kinds:
        change = () if kind == back.kind else (Change("wall", wall="back", wall_kind=kind),)
        cases.append(Case(f"back pane {what}", change, "back pane", what))
    return cases


def _channel_cases(setup: Setup) -> list[Case]:
    cases = []
    for fixture in setup.lit_fixtures:
        for channel, programme in fixture.programme.channels.items():
            if not programme.level.max() > 0:
                continue
            name = f"{fixture.name} / {channel}"
            off = Change("channel_off", fixture=fixture.name, channel=channel)
            cases.append(Case(f"channel failed: {name}", (off,), f"failed: {name}", "off"))
            for points in (POINTS, -POINTS):
                words = f"{100 * points:+.0f} points"
                more = Change("channel_points", points, fixture=fixture.name, channel=channel)
                cases.append(Case(f"{name} {words}", (more,), name, words))
    return cases


def changed_setup(setup: Setup, changes: Sequence[Change]) -> Setup:
    """The setup with every change made.

    Raises
    ------
    SetupError
        If a change leads out of what a tank or fixture may be.

    Source
    ------
    Geometry: a higher water level brings the lamp nearer and the corals deeper, by the same length.
    """
    for change in changes:
        setup = _CHANGES[change.kind](setup, change)
    return setup


def _yellowing(setup: Setup, change: Change) -> Setup:
    today = setup.water.yellowing_440_per_m if change.relative else 0.0
    return replace(setup, water=replace(setup.water, yellowing_440_per_m=today + change.amount))


def _output_scale(setup: Setup, change: Change) -> Setup:
    return _each(setup, change, lambda f: replace(f, output_scale=f.output_scale * change.amount))


def _height(setup: Setup, change: Change) -> Setup:
    return _each(
        setup,
        change,
        lambda f: replace(f, height_m=change.amount + (f.height_m if change.relative else 0.0)),
    )


def _level(setup: Setup, change: Change) -> Setup:
    rise, tank = change.amount, setup.tank
    return replace(
        setup,
        tank=replace(tank, water_depth_m=tank.water_depth_m + rise, rim_m=max(tank.rim_m - rise, 0.0)),
        fixtures=tuple(replace(f, height_m=f.height_m - rise) for f in setup.fixtures),
        sites=tuple(replace(s, depth_m=s.depth_m + rise) for s in setup.sites),
    )


def _open_sky(setup: Setup, change: Change) -> Setup:
    return replace(setup, sites=tuple(replace(s, open_sky=s.open_sky * change.amount) for s in setup.sites))


def _wall(setup: Setup, change: Change) -> Setup:
    assert change.wall is not None
    assert change.wall_kind is not None
    reflectance = change.amount if change.wall_kind == "reflectance" else None
    walls = {**setup.tank.walls, change.wall: Wall(change.wall_kind, reflectance)}
    return replace(setup, tank=replace(setup.tank, walls=walls))


def _floor(setup: Setup, change: Change) -> Setup:
    return replace(setup, tank=replace(setup.tank, floor_reflectance=change.amount))


def _cover(setup: Setup, change: Change) -> Setup:
    today = setup.cover.transmittance
    if isinstance(today, SpectralTable):
        return replace(setup, cover=Cover(replace(today, values=today.values * change.amount)))
    return replace(setup, cover=Cover(today * change.amount))


def _channel_off(setup: Setup, change: Change) -> Setup:
    return _each_channel(setup, change, lambda _: None)


def _channel_points(setup: Setup, change: Change) -> Setup:
    """The whole curve scaled, so that its highest level moves by so many points; capped at 0 and 100."""

    def moved(programme: ChannelProgramme) -> ChannelProgramme:
        highest = float(programme.level.max())
        if not highest > 0:
            return programme
        aim = min(max(highest + change.amount, 0.0), 1.0)
        return replace(programme, level=np.minimum(programme.level * (aim / highest), 1.0))

    return _each_channel(setup, change, moved)


_CHANGES: Final[Mapping[ChangeKind, Callable[[Setup, Change], Setup]]] = {
    "yellowing": _yellowing,
    "output": _output_scale,
    "height": _height,
    "level": _level,
    "open_sky": _open_sky,
    "wall": _wall,
    "floor": _floor,
    "cover": _cover,
    "channel_off": _channel_off,
    "channel_points": _channel_points,
}


def _each(setup: Setup, change: Change, make: Callable[[Fixture], Fixture]) -> Setup:
    fixtures = tuple(make(f) if change.fixture in (None, f.name) else f for f in setup.fixtures)
    return replace(setup, fixtures=fixtures)


def _each_channel(
    setup: Setup, change: Change, make: Callable[[ChannelProgramme], ChannelProgramme | None]
) -> Setup:
    def with_programme(fixture: Fixture) -> Fixture:
        channels = dict(fixture.programme.channels)
        if change.channel is None or change.channel not in channels:
            return fixture
        made = make(channels.pop(change.channel))
        if made is not None:
            channels[change.channel] = made
        return replace(fixture, programme=Programme(channels))

    return _each(setup, change, with_programme)


def must_be_possible(setup: Setup, case: Case) -> str:
    """Why a case cannot be, in words, or ""."""
    try:
        for fixture in changed_setup(setup, case.changes).lit_fixtures:
            source_cells(fixture)  # a low, large panel may need more cells than are allowed
    except SetupError as trouble:
        return f"{case.name}: {trouble.problems[0].found}"
    return ""


SHOCK_RISE = 0.10
"""A rise of more than this share overnight is more than a week's: common practice, no published source."""


def sensitivity(
    analysis: Analysis,
    emission: FloatArray,
    tables: ReferenceTables,
    cases: Sequence[Case],
    advance: Callable[[], None] = lambda: None,
    outlook: Outlook | None = None,
) -> Sensitivity:
    """Every case as dose ratios and states, worst first.

    Parameters
    ----------
    analysis : of today's setup
    emission : array, shape (n_channel, 500); photons of the lit channels at full output. [umol s-1]
    tables : ReferenceTables
    cases : sequence of Case
    advance : called after each case
    outlook : today's draws, to judge corals in each case: a coral is then as sure as it is today

    Returns
    -------
    Sensitivity
        Cases that bring most corals farther from usual come first, then those that move the dose most.
    """
    doses = _Doses(analysis.setup, emission, tables)
    outcomes, skipped = [], []
    for case in cases:
        if why := must_be_possible(analysis.setup, case):
            skipped.append(why)
        else:
            before, _ = doses.of(case.baseline)
            outcome = _outcome(analysis, doses, case, before)
            outcomes.append(_judged(outcome, outlook, before) if outlook else outcome)
        advance()
    outcomes.sort(key=lambda o: (-sum(c.worsens for c in o.changed), -len(o.changed), -_largest(o)))
    return Sensitivity(analysis, tuple(outcomes), tuple(skipped))


def _judged(outcome: CaseOutcome, outlook: Outlook, before: FloatArray) -> CaseOutcome:
    """A case with the verdicts that today's draws would give, each multiplied as the calculated dose is."""
    after = {c.coral: c.dli_mol_m2_d or 0.0 for site in outcome.sites for c in site.corals}

    def states(doses: Sequence[float]) -> tuple[DliVerdict, ...]:
        both = zip(doses, outlook.verdicts, strict=True)
        ratio = [dose / v.dli_mol_m2_d if v.dli_mol_m2_d > 0 else 1.0 for dose, v in both]
        return outlook.judged(outlook.doses_today * np.array(ratio)[:, None]).states

    names = [v.coral for v in outlook.verdicts]
    then = states([after[name] for name in names])
    was = outlook.today.states
    if outcome.case.baseline:
        was = states([float(before[v.receiver]) for v in outlook.verdicts])
    verdicts = {name: pair for name, *pair in zip(names, was, then, strict=True)}

    def with_verdict(coral: CoralOutcome) -> CoralOutcome:
        if coral.coral not in verdicts:
            return coral
        one, other = verdicts[coral.coral]
        dry = coral.dli_state is None
        return replace(coral, dli_verdict_before=one, dli_verdict=None if dry else other)

    sites = tuple(replace(s, corals=tuple(map(with_verdict, s.corals))) for s in outcome.sites)
    return replace(outcome, sites=sites, counts=counted(then))


def _largest(outcome: CaseOutcome) -> float:
    """The largest change of any site, as |ln ratio|."""
    logs = [abs(math.log(r)) if r > 0 else math.inf for r in outcome.ratios]
    return max(logs, default=0.0)


class _Doses:
    """DLI of every receiver of changed setups; light fields and hours are computed once and kept."""

    def __init__(self, setup: Setup, emission: FloatArray, tables: ReferenceTables) -> None:
        self.setup = setup
        self.emission = emission
        self.tables = tables
        self.weightings = weighting_matrix(tables, ("ppfd",))
        self.responses: dict[tuple[Change, ...], FloatArray] = {}
        self.hours: dict[tuple[int, int], float] = {}
        self.kept: list[object] = []

    def of(self, changes: tuple[Change, ...]) -> tuple[FloatArray, FloatArray]:
        """DLI of every receiver, and which of them stand above the water. [mol m-2 d-1]"""
        setup = changed_setup(self.setup, changes)
        receivers = setup.receivers
        sky = np.array([r.open_sky for r in receivers])
        dry = np.array([r.depth_m < 0 for r in receivers])
        scale = np.array([f.output_scale for f in setup.lit_fixtures for _ in f.type.channels])
        dose = self._response(changes) @ (self._hours(setup) * scale)
        return MOL_PER_UMOL_S_H * sky * dose, dry

    def _response(self, changes: tuple[Change, ...]) -> FloatArray:
        """PPFD of every receiver from every channel, open sky 1, output scale 1; (n_receiver, n_channel)."""
        key = _of_field(changes)
        if key not in self.responses:
            changed = changed_setup(self.setup, key)
            points = np.array([(r.x_m, r.y_m, r.depth_m) for r in changed.receivers]).reshape(-1, 3)
            scale = np.array([f.output_scale for f in changed.lit_fixtures for _ in f.type.channels])
            scene = Scene.of(changed, self.emission, self.tables)
            self.responses[key] = response_at(points, scene, self.weightings)[:, :, 0] / scale
        return self.responses[key]

    def _hours(self, setup: Setup) -> FloatArray:
        """Hours at full output of each lit channel, (n_channel,). [h]"""
        hours = []
        for fixture in setup.lit_fixtures:
            for channel in fixture.type.channels:
                programme = fixture.programme.channels.get(channel.name)
                hours.append(0.0 if programme is None else self._full_hours(programme, channel.dimming))
        return np.array(hours)

    def _full_hours(self, programme: ChannelProgramme, dimming: DimmingCurve) -> float:
        key = (id(programme), id(dimming))
        if key not in self.hours:
            time_h, output = output_points(programme, dimming)
            self.hours[key] = float(0.5 * np.sum(np.diff(time_h) * (output[1:] + output[:-1])))
            self.kept.append(programme)  # an id is only good while its object lives
        return self.hours[key]


def times_lit(cases: Sequence[Case]) -> int:
    """How often the tank is lit anew to try them all."""
    return len({_of_field(changes) for c in cases for changes in (c.baseline, c.changes)})


def _of_field(changes: Sequence[Change]) -> tuple[Change, ...]:
    """Those that light the tank otherwise, whatever the programme."""
    return tuple(c for c in changes if c.kind in FIELD_KINDS)


def _outcome(analysis: Analysis, doses: _Doses, case: Case, before: FloatArray) -> CaseOutcome:
    after, dry = doses.of(case.changes)
    by_site = analysis.verdicts_by_site()
    sites = []
    for index, site in enumerate(analysis.setup.sites):
        corals = tuple(_coral(v, before, after, dry) for v in by_site[site.name])
        wet = not dry[index]
        worst = max((c.dli_state for c in corals), key=lambda s: SEVERITY[s], default=None)
        sites.append(
            SiteOutcome(
                site.name,
                float(after[index]) if wet else None,
                _ratio(after[index], before[index]) if wet else None,
                worst,
                corals,
            )
        )
    return CaseOutcome(case, tuple(sites), _remark(case, sites))


def _coral(verdict: Verdict, before: FloatArray, after: FloatArray, dry: FloatArray) -> CoralOutcome:
    n = verdict.receiver
    marks = (verdict.band_dli, verdict.floor_dli, verdict.ceiling_dli)
    dli_state_before = dli_state(float(before[n]), *marks)
    if dry[n]:
        return CoralOutcome(verdict.coral, verdict.group, None, None, dli_state_before, None)
    return CoralOutcome(
        verdict.coral,
        verdict.group,
        float(after[n]),
        _ratio(after[n], before[n]),
        dli_state_before,
        dli_state(float(after[n]), *marks),
    )


def _ratio(after: float, before: float) -> float | None:
    return float(after / before) if before > 0 else None


def _remark(case: Case, sites: Sequence[SiteOutcome]) -> str:
    dry = [s.site for s in sites if s.dli_mol_m2_d is None]
    dry += [c.coral for s in sites for c in s.corals if c.dli_mol_m2_d is None and s.site not in dry]
    if dry:
        return f"Above the water then: {', '.join(dict.fromkeys(dry))}."
    if not case.overnight:
        return ""
    rises = [(s.dli_ratio - 1, s.site) for s in sites if s.dli_ratio is not None]
    if not rises:
        return ""
    most, where = max(rises)
    rise = f"set for yellowed water get up to {100 * most:.0f} % more from one day to the next ({where})"
    if most > SHOCK_RISE:
        return (
            f"A light shock: corals {rise}, more than the 10 % a week of common practice. Add carbon bit by "
            "bit, or dim by as much first and bring the light back over weeks."
        )
    return f"Corals {rise}, here no more than the 10 % a week of common practice."
