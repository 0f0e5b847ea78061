"""Steps from today's light to another, each as large as the weekly rise of every coral allows."""

from __future__ import annotations

import datetime
from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np

from lightdose.errors import Problem, SetupError
from lightdose.judge.acclimation_cautions import acclimation_cautions
from lightdose.judge.earlier_light import Previous, acclimating_corals
from lightdose.judge.light_lag import TAU_D, acclimated_dose, weeks_to_rise
from lightdose.model.acclimation import (
    AcclimatingCoral,
    Acclimation,
    AcclimationStep,
    CoralStep,
    MismatchCurve,
)
from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, Span
from lightdose.model.schedule import Programme
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_light_integral
from lightdose.physics.inverse_dimming import scaled_programme

DEFAULT_RISE_PER_WEEK = 0.10
DEFAULT_STEP_DAYS = 7
MOST_STEPS = 200
"""A way of more steps starts from next to nothing: it is refused. Our choice."""
MOST_WEEKS_NAMED = 1_000_000
"""Longer ways are told no more exactly. Our choice."""

DAYS_AFTER = 42
"""The lag is shown for so long after the last step. Our choice. [d]"""

_ROUNDING = 1e-9


@dataclass(frozen=True)
class AcclimationRequest:
    """What the keeper asks for.

    Attributes
    ----------
    rise_per_week : most rise of any coral's daily dose, above 0; 0.1 is 10 %
    step_days : days from step to step
    start : day of the first step, ISO 8601, or None for day numbers only
    previous : coral -> the dose it lived in, or "unknown". [mol m-2 d-1]
    """

    rise_per_week: float = DEFAULT_RISE_PER_WEEK
    step_days: int = DEFAULT_STEP_DAYS
    start: str | None = None
    previous: Mapping[str, Previous] = field(default_factory=dict)

    @property
    def growth(self) -> float:
        """Factor that one step may rise by."""
        return float((1 + self.rise_per_week) ** (self.step_days / 7))


def acclimate(today: Analysis, other: Analysis, request: AcclimationRequest) -> Acclimation:
    """Steps from one setup's light to another's.

    Every step multiplies the outputs of the other setup's programmes by one scale, the largest with
    D_k <= D_(k-1) (1 + g)^(days / 7) for every coral, at its top and at its site; the first step compares
    with today's light or with the stated previous dose, the last scale is exactly 1.

    Parameters
    ----------
    today, other : Analysis
        Before and after; corals are matched by name, wherever they stand.
    request : AcclimationRequest

    Returns
    -------
    Acclimation
        Its doses are those of the written programmes, not of the scales.

    Raises
    ------
    SetupError
        If there is no coral to go by, a coral has no light before or after, or the way is endless.

    Source
    ------
    Weekly rise: common practice, no published rule per week. Doses are linear in output.
    """
    corals = acclimating_corals(today, other, request.previous, request.growth)
    scales = step_scales(_first_scale(today, other, corals, request.growth), request)
    programmes = [_programmes(other, scale) for scale in scales]
    dli = np.array([_doses(other, made) for made in programmes])
    names = {v.coral: v.receiver for v in other.verdicts}
    own = dli[:, [names[c.name] for c in corals]]
    days = np.asarray(request.step_days * np.arange(len(scales)), dtype=np.float64)
    ratios = _ratios(np.array([c.before for c in corals]), own, request.step_days)
    steps = tuple(
        _step(other, corals, request, index, scales[index], dli[index], own, ratios[index])
        for index in range(len(scales))
    )
    steps = tuple(replace(s, programmes=p) for s, p in zip(steps, programmes, strict=True))
    ahead = corals[int(np.argmax(ratios[:, 1].max(axis=0)))]
    here = {v.coral for v in other.verdicts}
    return Acclimation(
        before=today.setup,
        after=other.setup,
        basis_sentence=basis_sentence(today, other),
        basis=other.basis,
        rise_per_week=request.rise_per_week,
        step_days=request.step_days,
        corals=corals,
        missing=tuple(v.coral for v in today.verdicts if v.coral not in here),
        not_judged=tuple(v.coral for v in other.verdicts if v.band_dli is None),
        steps=steps,
        curve=mismatch_curve(ahead.name, ahead.before, days, own[:, corals.index(ahead)]),
        cautions=acclimation_cautions(request.rise_per_week, corals, steps),
        weeks=float(days[-1]) / 7,
    )


def step_scales(first_scale: float, request: AcclimationRequest) -> list[float]:
    """Scales of all steps, the last exactly 1.

    Parameters
    ----------
    first_scale : float
        The largest that the first step allows, above 0; 1 or more needs no further step.
    request : AcclimationRequest

    Returns
    -------
    list of float

    Raises
    ------
    SetupError
        If there were more than 200 steps.

    Source
    ------
    s_k = min(1, s_0 (1 + g)^(k days / 7)): doses are linear in output, so all corals share the factor.
    """
    weeks = weeks_to_rise(1 / first_scale, request.rise_per_week)
    if weeks * 7 / request.step_days > MOST_STEPS:
        taken = f"{weeks:.0f}" if weeks < MOST_WEEKS_NAMED else f"more than {MOST_WEEKS_NAMED:,}"
        raise SetupError(
            Problem(
                f"the way from {100 * first_scale:.2g} % of the new light takes {taken} weeks at "
                f"{100 * request.rise_per_week:g} % a week",
                f"at most {MOST_STEPS} steps",
                "begin with a setup nearer to the new one, or move the coral with the least light first",
            )
        )
    scales = []
    scale = min(first_scale, 1.0)
    while scale < 1 - _ROUNDING:
        scales.append(scale)
        scale = first_scale * request.growth ** len(scales)
    return [*scales, 1.0]


def mismatch_curve(
    coral: str, before_mol_m2_d: float, step_day: Sequence[float] | FloatArray, dli_mol_m2_d: FloatArray
) -> MismatchCurve:
    """Dose over acclimated dose of one coral, from the day of the first step on.

    Parameters
    ----------
    coral : str
    before_mol_m2_d : float
        The dose it is set for at the first step. [mol m-2 d-1]
    step_day : array, shape (n_step,)
        [d]
    dli_mol_m2_d : array, shape (n_step,)
        Its dose from each step on. [mol m-2 d-1]

    Returns
    -------
    MismatchCurve

    Source
    ------
    ``acclimated_dose``.
    """
    tau = np.array(TAU_D)
    ends = np.append(np.asarray(step_day, dtype=np.float64)[1:], step_day[-1] + DAYS_AFTER)
    set_for = np.full(3, before_mol_m2_d)
    day, dose, ratio = [float(step_day[0])], [before_mol_m2_d], [np.ones(3)]
    for start, end, dli in zip(step_day, ends, dli_mol_m2_d, strict=True):
        for at in np.arange(start, end + 0.5):
            day.append(float(at))
            dose.append(float(dli))
            ratio.append(dli / acclimated_dose(set_for, dli, at - start, tau))
        set_for = acclimated_dose(set_for, dli, end - start, tau)
    return MismatchCurve(coral, np.array(day), np.array(dose), np.array(ratio).T, TAU_D)


def basis_sentence(today: Analysis, other: Analysis) -> str:
    """On what both setups stand, in one line.

    Parameters
    ----------
    today, other : Analysis

    Returns
    -------
    str

    Source
    ------
    Our wording.
    """
    one, two = today.basis, other.basis
    if one.sentence == two.sentence:
        return two.sentence
    return f"Before: {one.sentence} After: {two.sentence}"


def _first_scale(
    today: Analysis, other: Analysis, corals: Sequence[AcclimatingCoral], growth: float
) -> float:
    """The largest first scale: every coral's own limit, and that of its site where today lights one."""
    before = {s.name: float(d) for s, d in zip(today.setup.sites, today.dose.dli, strict=False)}
    after = {s.name: float(d) for s, d in zip(other.setup.sites, other.dose.dli, strict=False)}
    stood = {c.name: c.site for c in today.setup.corals}
    limits = []
    for coral in corals:
        limits.append(coral.first_limit / coral.target)
        if coral.origin == "today" and (old := before[stood[coral.name]]) > 0 and after[coral.site] > 0:
            limits.append(growth * old / after[coral.site])
    return min(limits)


def _programmes(other: Analysis, scale: float) -> dict[str, Programme]:
    """The programme of every lit fixture with its outputs scaled."""
    made = {}
    for fixture in other.setup.lit_fixtures:
        dimming = {c.name: c.dimming for c in fixture.type.channels}
        made[fixture.name] = Programme(
            {n: scaled_programme(p, dimming[n], scale) for n, p in fixture.programme.channels.items()}
        )
    return made


def _doses(other: Analysis, programmes: Mapping[str, Programme]) -> FloatArray:
    """DLI at every receiver of the other setup under written programmes. [mol m-2 d-1]"""
    fixtures = [replace(f, programme=programmes[f.name]) for f in other.setup.lit_fixtures]
    return daily_light_integral(other.light_field.of("ppfd"), day_curve(fixtures))


def _ratios(before: FloatArray, own: FloatArray, step_days: int) -> FloatArray:
    """Dose over acclimated dose just after each step, shape (n_step, n_tau, n_coral)."""
    tau = np.array(TAU_D)[:, None]
    set_for = np.broadcast_to(before, (len(TAU_D), before.size))
    ratios = np.empty((len(own), len(TAU_D), before.size))
    for index, dli in enumerate(own):
        ratios[index] = dli / set_for
        set_for = acclimated_dose(set_for, dli, step_days, tau)
    return ratios


def _step(
    other: Analysis,
    corals: Sequence[AcclimatingCoral],
    request: AcclimationRequest,
    index: int,
    scale: float,
    dli: FloatArray,
    own: FloatArray,
    ratios: FloatArray,
) -> AcclimationStep:
    day = index * request.step_days
    earlier = own[index - 1] if index else np.array([c.before for c in corals])
    rise = (own[index] / earlier) ** (7 / request.step_days) - 1
    spans = [Span(float(r[1]), float(r.min()), float(r.max())) for r in ratios.T]
    ahead = int(np.argmax(ratios[1]))
    lived_in = {v.site for v in other.verdicts}
    date = None
    if request.start is not None:
        date = (datetime.date.fromisoformat(request.start) + datetime.timedelta(days=day)).isoformat()
    return AcclimationStep(
        day=day,
        date=date,
        scale=scale,
        site_dli={s.name: float(dli[i]) for i, s in enumerate(other.setup.sites) if s.name in lived_in},
        corals=tuple(
            CoralStep(c.name, float(d), float(r), span)
            for c, d, r, span in zip(corals, own[index], rise, spans, strict=True)
        ),
        d_over_a=spans[ahead],
        furthest_ahead=corals[ahead].name,
        programmes={},
    )
