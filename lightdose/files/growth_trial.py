"""The published trial of dose and growth that reports and hand-outs show, from its file."""

from __future__ import annotations

import tomllib
from functools import cache
from pathlib import Path

from lightdose.model.trial import GrowthTrial, TrialLight

TRIAL_FILE = Path(__file__).parent.parent / "data" / "growth_trial.toml"


@cache
def growth_trial() -> GrowthTrial:
    """*Montipora capitata* under shade cloth; figures computed by us from open data, see the file."""
    known = tomllib.loads(TRIAL_FILE.read_text(encoding="utf-8"))
    lights = tuple(TrialLight(row["dli"], row["growth"], row["tissue_loss"]) for row in known["light"])
    least, most = known["corals_each"]
    return GrowthTrial(
        species=known["species"],
        means=known["means"],
        growth_days=known["growth_days"],
        tissue_loss_days=known["tissue_loss_days"],
        corals_each=(least, most),
        not_controlled=known["not_controlled"],
        source=known["source"],
        lights=lights,
    )
