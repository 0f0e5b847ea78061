"""Why photons matter: dose and growth in a published trial, beside what corals get here."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lightdose.answers.words import DLI_UNIT, count, number, percent, range_text
from lightdose.model.results import Verdict
from lightdose.model.trial import GrowthTrial

WHY: Final = "Why photons matter"
OTHERS: Final = (
    f"Others: Acropora millepora grew faster at 32 {DLI_UNIT} than at 6, while Pachyseris speciosa, a shade "
    "plate, lost Fv/Fm quickly at 32 and recovered at 6 (DiPerna et al. 2018, PLoS ONE 13:e0203882); three "
    "Acropora were grown at 2.9-11.5 (Coral Reefs 2023, 10.1007/s00338-023-02348-w, abstract); Pocillopora "
    "acuta did well at 4.5-10.8 (PMC7673984)."
)


def trial_finding(trial: GrowthTrial) -> str:
    """One sentence without its stop: how much more growth how many more photons made."""
    return (
        f"In a trial {number(trial.dose_ratio, 2)} times the photons made "
        f"{number(trial.growth_ratio, 2)} times the growth"
    )


def trial_sentence(trial: GrowthTrial) -> str:
    """What was done, what came out, and where the figures are from."""

    def series(values: Sequence[str]) -> str:
        return f"{', '.join(values[:-1])} and {values[-1]}"

    lights = trial.lights
    doses = series([number(light.dli_mol_m2_d) for light in lights])
    growth = series([f"{light.growth_mg_g_d:g}" for light in lights])
    loss = series([percent(light.tissue_loss_fraction).removesuffix(" %") for light in lights])
    each = range_text(*trial.corals_each)
    return (
        f"{trial.species} under {trial.means} for {trial.growth_days} days at {doses} {DLI_UNIT}: median "
        f"growth {growth} mg/g/day ({each} corals each); {loss} % had lost tissue by day "
        f"{trial.tissue_loss_days} [{trial.source}]."
    )


def trial_limits(trial: GrowthTrial) -> str:
    """What the trial did not control, and what it cannot tell."""
    least, most = (number(light.dli_mol_m2_d) for light in (trial.lights[0], trial.lights[-1]))
    return (
        f"Not controlled: {trial.not_controlled}. One species, {trial.growth_days} days, nothing below "
        f"{least} or above {most} {DLI_UNIT}: it shows that photons matter, not how many are best."
    )


def trial_doses(verdicts: Sequence[Verdict]) -> list[float]:
    """Doses of the lit corals that light judges, the dimmest first. [mol m-2 d-1]"""
    judged = (v for v in verdicts if v.dli_state != "not_judged")
    return sorted(v.dli_mol_m2_d for v in judged if v.dli_mol_m2_d > 0)


def beside_trial(trial: GrowthTrial, doses: Sequence[float]) -> str:
    """Where the corals of a tank stand against the trial's doses; "" without lit corals."""
    if not doses:
        return ""
    low, high = trial.lights[0].dli_mol_m2_d, trial.lights[-1].dli_mol_m2_d
    parts = [
        (sum(dose < low for dose in doses), f"below {number(low)}"),
        (sum(low <= dose <= high for dose in doses), f"within {number(low)}-{number(high)}"),
        (sum(dose > high for dose in doses), f"above {number(high)}"),
    ]
    told = ", ".join(f"{n} {words}" for n, words in parts if n)
    ends = f"{number(doses[0])}-{number(doses[-1])}" if len(doses) > 1 else number(doses[0])
    return f"{count(len(doses), 'coral here gets', 'corals here get')} {ends} {DLI_UNIT}: {told}."
