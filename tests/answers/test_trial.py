"""Dose and growth in words, beside what corals get."""

from __future__ import annotations

import pytest
from present.made_analysis import made_analysis

from lightdose.answers.trial import (
    beside_trial,
    trial_doses,
    trial_finding,
    trial_limits,
    trial_sentence,
)
from lightdose.model.trial import GrowthTrial, TrialLight

LIGHTS = (TrialLight(0.5, 0.02, 0.5), TrialLight(2.0, 0.119, 0.25), TrialLight(5.0, 1.0, 0.1))
TRIAL = GrowthTrial("Madeup coralla", "a cloth", 20, 40, (7, 9), "feeding", "invented", LIGHTS)


@pytest.mark.pinned
def test_trial_is_told_with_its_figures_and_its_gaps() -> None:
    """What was done and found, with every figure of the record; what was not controlled."""
    assert trial_finding(TRIAL) == "In a trial 10 times the photons made 50 times the growth"
    assert trial_sentence(TRIAL) == (
        "Madeup coralla under a cloth for 20 days at 0.50, 2.00 and 5.00 mol/m2/day: median growth 0.02, "
        "0.119 and 1 mg/g/day (7-9 corals each); 50, 25 and 10 % had lost tissue by day 40 [invented]."
    )
    assert trial_limits(TRIAL) == (
        "Not controlled: feeding. One species, 20 days, nothing below 0.50 or above 5.00 mol/m2/day: it "
        "shows that photons matter, not how many are best."
    )


@pytest.mark.identity
def test_corals_are_counted_against_the_doses_tried() -> None:
    """Every lit coral stands below, within or above the doses of the trial, ends included."""
    assert beside_trial(TRIAL, [0.4, 0.5, 5.0, 5.1, 9.0]) == (
        "5 corals here get 0.40-9.00 mol/m2/day: 1 below 0.50, 2 within 0.50-5.00, 2 above 5.00."
    )
    assert beside_trial(TRIAL, [1.0]) == "1 coral here gets 1.00 mol/m2/day: 1 within 0.50-5.00."
    assert beside_trial(TRIAL, []) == ""


@pytest.mark.identity
def test_doses_are_those_of_lit_corals_with_symbionts() -> None:
    """Corals that live without light, and those in the dark, are no case of the trial."""
    corals = (
        ("a", "sps-shallow", "one", 9.4),
        ("b", "lps-branching", "two", 4.2),
        ("c", "non-photosynthetic", "three", 3.0),
        ("d", "mushroom", "four", 0.0),
    )
    assert trial_doses(made_analysis(corals).verdicts) == [4.2, 9.4]
