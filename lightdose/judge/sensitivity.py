"""What plausible changes do to the light of every site, and to the state of every coral."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence

import numpy as np

from lightdose.judge.cases import changed_setup, must_be_possible
from lightdose.judge.verdict import dli_state
from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import DimmingCurve
from lightdose.model.results import Analysis, Verdict
from lightdose.model.schedule import ChannelProgramme
from lightdose.model.sensitivity import (
    FIELD_KINDS,
    SEVERITY,
    Case,
    CaseOutcome,
    Change,
    CoralOutcome,
    Sensitivity,
    SiteOutcome,
)
from lightdose.model.setup import Setup
from lightdose.model.spectrum import ReferenceTables
from lightdose.physics.day_curve import output_points
from lightdose.physics.light_field import response_at
from lightdose.physics.weightings import weighting_matrix
from lightdose.quantities import MOL_PER_UMOL_S_H

SHOCK_RISE = 0.10
"""A rise of more than this share overnight is more than a week's: common practice, no published source."""


def sensitivity(
    analysis: Analysis,
    emission: FloatArray,
    tables: ReferenceTables,
    cases: Sequence[Case],
    advance: Callable[[], None] = lambda: None,
) -> Sensitivity:
    """Every case as dose ratios and states, worst first.

    Parameters
    ----------
    analysis : of today's setup
    emission : array, shape (n_channel, 500); photons of the lit channels at full output. [umol s-1]
    tables : ReferenceTables
    cases : sequence of Case
    advance : called after each case

    Returns
    -------
    Sensitivity
        Cases that bring most corals farther from usual come first, then those that move the dose most.

    Source
    ------
    Each case is the setup with its changes, through the same light field and exact day as `dose`.
    """
    doses = _Doses(analysis.setup, emission, tables)
    outcomes, skipped = [], []
    for case in cases:
        if why := must_be_possible(analysis.setup, case):
            skipped.append(why)
        else:
            outcomes.append(_outcome(analysis, doses, case))
        advance()
    outcomes.sort(key=lambda o: (-sum(c.worsens for c in o.changed), -len(o.changed), -_largest(o)))
    return Sensitivity(analysis, tuple(outcomes), tuple(skipped))


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
        key = tuple(c for c in changes if c.kind in FIELD_KINDS)
        if key not in self.responses:
            changed = changed_setup(self.setup, key)
            points = np.array([(r.x_m, r.y_m, r.depth_m) for r in changed.receivers]).reshape(-1, 3)
            scale = np.array([f.output_scale for f in changed.lit_fixtures for _ in f.type.channels])
            self.responses[key] = (
                response_at(
                    points,
                    changed.lit_fixtures,
                    self.emission,
                    changed.tank,
                    changed.water,
                    changed.cover,
                    self.tables,
                    self.weightings,
                )[:, :, 0]
                / scale
            )
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


def _outcome(analysis: Analysis, doses: _Doses, case: Case) -> CaseOutcome:
    before, _ = doses.of(case.baseline)
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
    state_before = dli_state(float(before[n]), *marks)
    if dry[n]:
        return CoralOutcome(verdict.coral, verdict.group, None, None, state_before, None)
    return CoralOutcome(
        verdict.coral,
        verdict.group,
        float(after[n]),
        _ratio(after[n], before[n]),
        state_before,
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
