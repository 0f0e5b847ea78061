"""Steps from today's light to another, each as large as every coral allows, and what to mind on the way.

dA/dt = (D - A) / tau, with A the dose that the coral is set for and D the dose it gets. tau is 20 days by
default (our choice within what was seen), 4 to 40 in range: symbiont pigment 2-4 d and symbiont density
within 40 d in Stylophora pistillata (Sesoko study), Fv/Fm 3-5 d in Pachyseris speciosa and over 20 d in
Acropora millepora (DiPerna et al. 2018, PLoS ONE 13:e0203882), within 21 d in Acropora muricata (2019, J Exp
Biol 222:jeb195982).
"""

from __future__ import annotations

import datetime
import math
from collections.abc import Mapping, Sequence
from dataclasses import field, replace

import numpy as np
import numpy.typing as npt

from lightdose.errors import Problem, SetupError
from lightdose.judge.acclimation_steps import (
    ROUNDING,
    AsWritten,
    WrittenStep,
    first_limits,
    largest_scale,
    written_steps,
)
from lightdose.judge.earlier_light import Previous, acclimating_corals
from lightdose.judge.plain_words import plain
from lightdose.model.plans import (
    AcclimatingCoral,
    Acclimation,
    AcclimationStep,
    AfterReading,
    CarefulStart,
    CoralStep,
    MismatchCurve,
)
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Analysis, Caution, Span

TAU_D = (4.0, 20.0, 40.0)
"""Shortest, usual and longest time of the lag. [d]"""

LAG_SOURCE = (
    "first-order lag, our model; times from Stylophora pistillata, Sesoko acclimation study (abstract); "
    "DiPerna et al. 2018, PLoS ONE 13:e0203882; Acropora muricata 2019, J Exp Biol 222:jeb195982"
)


def acclimated_dose(
    start_mol_m2_d: npt.ArrayLike, dose_mol_m2_d: npt.ArrayLike, days: npt.ArrayLike, tau_d: npt.ArrayLike
) -> FloatArray:
    """The dose that a coral is set for after some days at a constant dose.

    A = D + (A0 - D) exp(-days / tau)

    Parameters
    ----------
    start_mol_m2_d : array
        What it was set for at the start. [mol m-2 d-1]
    dose_mol_m2_d : array
        What it gets. [mol m-2 d-1]
    days : array
        [d]
    tau_d : array
        Time of the lag, above 0. [d]

    Returns
    -------
    array, the common shape
        [mol m-2 d-1]

    Source
    ------
    Closed form of a first-order lag; see the head of this module for its times.
    """
    start, dose = np.asarray(start_mol_m2_d, dtype=np.float64), np.asarray(dose_mol_m2_d, dtype=np.float64)
    fading = np.exp(-np.asarray(days, dtype=np.float64) / np.asarray(tau_d, dtype=np.float64))
    followed: FloatArray = dose + (start - dose) * fading
    return followed


def steady_mismatch(rise_per_week: float, tau_d: float) -> float:
    """Dose over acclimated dose under a steady rise that has gone on for long.

    Parameters
    ----------
    rise_per_week : float
        0.1 is 10 %.
    tau_d : float
        [d]

    Source
    ------
    Exponential rise through a first-order lag: D/A -> 1 + tau ln(1 + g) / 7.
    """
    return 1 + tau_d * math.log1p(rise_per_week) / 7


def weeks_to_rise(factor: float, rise_per_week: float) -> float:
    """Weeks of a steady rise until the dose has grown by a factor.

    Parameters
    ----------
    factor : float
        Above 0.
    rise_per_week : float
        Above 0; 0.1 is 10 %.

    Returns
    -------
    float
        [weeks]

    Source
    ------
    ln(factor) / ln(1 + g).
    """
    return math.log(factor) / math.log1p(rise_per_week)


FINE_RISE, WARN_RISE = 0.10, 0.25
ONE_DAY_RISE = 0.50
DEEP_CUT = 0.5
DIMMED = 0.9
"""A coral held below this share of today's light for another's sake is named. Our choice."""

NAMED = 5
PRACTICE = "common practice, no published rule per week"
OUR_CHOICE = "our choice"


def acclimation_cautions(
    rise_per_week: float, corals: Sequence[AcclimatingCoral], steps: Sequence[AcclimationStep]
) -> tuple[Caution, ...]:
    """Cautions on a way in steps.

    Parameters
    ----------
    rise_per_week : float
        The limit asked for, 0.1 is 10 %.
    corals : sequence of AcclimatingCoral
    steps : sequence of AcclimationStep

    Source
    ------
    Up to 10 % a week fine, to 25 % caution, above warn, +50 % in one day warn: common practice, no published
    rule per week; what the lag amounts to is computed. Downward: our choice.
    """
    found = [_rise(rise_per_week)]
    found += _sudden(corals, steps)
    found += _unknown(corals)
    found += _cut(corals, steps[0])
    found += _below_floor(corals, steps)
    found += _dimmed_for_another(corals)
    found.append(
        Caution(
            "lag_model",
            f"How far light runs ahead of a coral is a model: it follows within {TAU_D[0]:g} to {TAU_D[2]:g} "
            f"days, {TAU_D[1]:g} taken.",
            LAG_SOURCE,
        )
    )
    found.append(
        Caution(
            "light_is_not_the_diagnosis",
            "If a coral pales or stays closed, hold the step and look at heat, nutrients, salinity and pests "
            "too: light is not the diagnosis, and heat multiplies light stress.",
            OUR_CHOICE,
        )
    )
    return tuple(found)


def _rise(rise: float) -> Caution:
    ahead = (
        f"the light stays up to {steady_mismatch(rise, TAU_D[1]):.2f} times ahead of what a coral is used to"
    )
    if rise <= FINE_RISE + 1e-12:
        return Caution("rise", f"At most {100 * rise:g} % a week: {ahead}.", PRACTICE)
    if rise <= WARN_RISE + 1e-12:
        return Caution(
            "rise_fast", f"Caution: {100 * rise:g} % a week is more than the usual 10 %: {ahead}.", PRACTICE
        )
    return Caution("rise_too_fast", f"Warning: {100 * rise:g} % a week is above 25 %: {ahead}.", PRACTICE)


def _sudden(corals: Sequence[AcclimatingCoral], steps: Sequence[AcclimationStep]) -> list[Caution]:
    """Steps that raise a coral by half or more in one day."""
    before = {c.name: c.before for c in corals if c.origin != "unknown"}
    for step in steps:
        sudden = [
            c.coral
            for c in step.corals
            if c.coral in before and c.dli_mol_m2_d >= before[c.coral] * (1 + ONE_DAY_RISE) * (1 - 1e-9)
        ]
        if sudden:
            text = f"Warning: day {step.day} raises {_names(sudden)} by half or more at once"
            return [Caution("one_day_rise", f"{text}: take shorter steps.", PRACTICE)]
        before = {c.coral: c.dli_mol_m2_d for c in step.corals}
    return []


def _unknown(corals: Sequence[AcclimatingCoral]) -> list[Caution]:
    found = []
    unknown = [c for c in corals if c.origin == "unknown"]
    if unknown:
        shown = ", ".join(f"{c.name!r} at most {plain(c.before)}" for c in unknown[:NAMED])
        more = f" and {len(unknown) - NAMED} more" if len(unknown) > NAMED else ""
        text = (
            f"Earlier light unknown: {shown}{more} mol/m2/day at first, the low third of the usual range. "
            'Ask where it came from: previous = 4.6 in its [[coral]], or --previous "NAME=4.6".'
        )
        found.append(Caution("unknown_previous", text, "common practice, no published source"))
    return found


def _cut(corals: Sequence[AcclimatingCoral], first: AcclimationStep) -> list[Caution]:
    doses = {c.coral: c.dli_mol_m2_d for c in first.corals}
    cut = [c.name for c in corals if c.origin != "unknown" and doses[c.name] < DEEP_CUT * c.before]
    if not cut:
        return []
    open_light = any(c.rise_at_most > 1 for c in corals)
    cure = "measure that day, and go on by the reading" if open_light else "watch it, or go down in two steps"
    text = f"As calculated, day 0 cuts {_names(cut)} by more than half at once: {cure}."
    return [Caution("deep_cut", text, OUR_CHOICE)]


def _below_floor(corals: Sequence[AcclimatingCoral], steps: Sequence[AcclimationStep]) -> list[Caution]:
    low: dict[str, int] = {}
    for step in steps:
        for coral, reached in zip(corals, step.corals, strict=True):
            dose = reached.dli_mol_m2_d
            if coral.floor is not None and dose < coral.floor and dose < coral.before * (1 - 1e-9):
                low[coral.name] = step.day
    if not low:
        return []
    day = max(low.values())
    text = (
        f"{_names(list(low))} {'gets' if len(low) == 1 else 'get'} less than before and less than the floor "
    )
    text += f"of the group, to day {day} and until the next step."
    return [Caution("below_floor", text, OUR_CHOICE)]


def _dimmed_for_another(corals: Sequence[AcclimatingCoral]) -> list[Caution]:
    """One coral that starts low holds the whole tank down: a way of its own is kinder to the others."""
    holder = min(corals, key=lambda c: c.first_limit / c.target)
    scale = min(1.0, holder.first_limit / holder.target)
    dimmed = [
        c.name for c in corals if c.origin == "today" and scale * c.target < DIMMED * min(c.before, c.target)
    ]
    if not dimmed:
        return []
    text = (
        f"{_names(dimmed)} {'is' if len(dimmed) == 1 else 'are'} dimmed below today's light because of "
        f"{holder.name!r}: a place of its own at first, then a path (`lightdose move`), spares the others."
    )
    return [Caution("dimmed_for_another", text, OUR_CHOICE)]


def _names(names: Sequence[str]) -> str:
    shown = ", ".join(repr(n) for n in names[:NAMED])
    return shown + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")


DEFAULT_RISE_PER_WEEK = 0.10
DEFAULT_STEP_DAYS = 7
MOST_STEPS = 200
"""A way of more steps starts from next to nothing: it is refused. Our choice."""
MOST_WEEKS_NAMED = 1_000_000
"""Longer ways are told no more exactly. Our choice."""

DAYS_AFTER = 42
"""The lag is shown for so long after the last step. Our choice. [d]"""


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


def acclimate(
    today: Analysis,
    other: Analysis,
    request: AcclimationRequest,
    as_written: AsWritten = lambda programmes: programmes,
) -> Acclimation:
    """Steps from one setup's light to another's.

    Every step multiplies the outputs of the other setup's programmes by one scale and rounds times to minutes
    and levels to tenths of a percent: the largest scale whose rounded programmes keep
    D_k <= D_(k-1) (1 + g)^(days / 7) for every coral, at its top and at its site. The first step compares
    with today's light or with the stated previous dose, the last scale is exactly 1. Where a light is not
    measured, the first step holds at the upper end of the rise's 95 % too, and then every other does.

    Parameters
    ----------
    today, other : Analysis
        Before and after, with certainty where one is not measured; corals are matched by name.
    request : AcclimationRequest
    as_written : function
        Programmes by fixture as they are read back from a file.

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
    limits = first_limits(today, other, corals, request.growth)
    first = largest_scale(other, limits)
    step_scales(first, request)  # refuses an endless way
    made = written_steps(other, corals, limits, request.growth, as_written)
    dli = np.array([step.dli for step in made])
    names = {v.coral: v.receiver for v in other.verdicts}
    own = dli[:, [names[c.name] for c in corals]]
    days = np.asarray(request.step_days * np.arange(len(made)), dtype=np.float64)
    ratios = _ratios(np.array([c.before for c in corals]), own, request.step_days)
    steps = tuple(
        _step(other, corals, request, index, step, own, ratios[index]) for index, step in enumerate(made)
    )
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
        start=_careful_start(today, other, corals, request, first, made[0].scale),
    )


def _careful_start(
    today: Analysis,
    other: Analysis,
    corals: Sequence[AcclimatingCoral],
    request: AcclimationRequest,
    allowed: float,
    scale: float,
) -> CarefulStart | None:
    """What the first step keeps to, and how to go on from a reading; None where no unknown holds it down.

    ``allowed`` is the largest first scale, ``scale`` what is left of it once levels are rounded.
    """
    known = [replace(c, rise_at_most=1.0) for c in corals]
    plain_scale = largest_scale(other, first_limits(today, other, known, request.growth))
    if allowed >= min(1.0, plain_scale) * (1 - 1e-6):
        return None
    holder = min(corals, key=lambda c: c.first_scale)
    verdict = next(v for v in other.verdicts if v.coral == holder.name)
    assert verdict.certainty is not None
    low, high = (end / holder.target for end in verdict.certainty.interval_dli)
    after = []
    high = max(high, holder.rise_at_most)
    for times in sorted({max(low, 0.01), 1.0, math.sqrt(high), high}):
        scales = step_scales(min(1.0, plain_scale / times), request)
        after.append(AfterReading(times, scales[0], (len(scales) - 1) * request.step_days / 7))
    return CarefulStart(
        coral=holder.name,
        site=holder.site,
        rise_at_most=holder.rise_at_most * holder.target / holder.before,
        scale=scale,
        peak=scale * verdict.peak_ppfd_umol_m2_s,
        both_open=holder.origin == "today" and today.basis.key != "measured",
        after=tuple(after),
    )


def step_scales(first_scale: float, request: AcclimationRequest) -> list[float]:
    """Scales of all steps if nothing were rounded, the last exactly 1.

    Parameters
    ----------
    first_scale : float
        The largest that the first step allows, above 0; 1 or more needs no further step.
    request : AcclimationRequest

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
    while scale < 1 - ROUNDING:
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
    """On what both setups stand, in one line."""
    one, two = today.basis, other.basis
    if one.sentence == two.sentence:
        return two.sentence
    return f"Before: {one.sentence} After: {two.sentence}"


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
    made: WrittenStep,
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
        scale=made.scale,
        site_dli={s.name: float(made.dli[i]) for i, s in enumerate(other.setup.sites) if s.name in lived_in},
        corals=tuple(
            CoralStep(c.name, float(d), float(r), span)
            for c, d, r, span in zip(corals, own[index], rise, spans, strict=True)
        ),
        d_over_a=spans[ahead],
        furthest_ahead=corals[ahead].name,
        programmes=made.programmes,
    )
