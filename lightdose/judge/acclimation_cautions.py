"""What to mind when light changes in steps: too fast, too much at once, too dark in between."""

from __future__ import annotations

from collections.abc import Sequence

from lightdose.judge.advice import plain
from lightdose.judge.light_lag import LAG_SOURCE, TAU_D, steady_mismatch
from lightdose.model.acclimation import AcclimatingCoral, AcclimationStep
from lightdose.model.results import Caution

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

    Returns
    -------
    tuple of Caution

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
    found += _dimmed_for_another(corals, steps)
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
    ahead = f"steadily {steady_mismatch(rise, TAU_D[1]):.2f} times what a coral is set for"
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
    text = f"Day 0 cuts {_names(cut)} by more than half at once: watch it, or go down in two steps."
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


def _dimmed_for_another(
    corals: Sequence[AcclimatingCoral], steps: Sequence[AcclimationStep]
) -> list[Caution]:
    """One coral that starts low holds the whole tank down: a way of its own is kinder to the others."""
    doses = {c.coral: c.dli_mol_m2_d for c in steps[0].corals}
    dimmed = [
        c.name for c in corals if c.origin == "today" and doses[c.name] < DIMMED * min(c.before, c.target)
    ]
    if not dimmed:
        return []
    holder = min(corals, key=lambda c: c.first_limit / c.target)
    text = (
        f"{_names(dimmed)} {'is' if len(dimmed) == 1 else 'are'} dimmed below today's light because of "
        f"{holder.name!r}: a place of its own at first, then a path (`lightdose move`), spares the others."
    )
    return [Caution("dimmed_for_another", text, OUR_CHOICE)]


def _names(names: Sequence[str]) -> str:
    shown = ", ".join(repr(n) for n in names[:NAMED])
    return shown + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")
