"""Dose and growth as a figure, with the corals of tanks on the same scale."""

from __future__ import annotations

import numpy as np
import pytest
from present.text_boxes import misplaced_words

from lightdose.files.growth_trial import growth_trial
from lightdose.present.figures.canvas import render
from lightdose.present.figures.trial import trial_drawing

TRIAL = growth_trial()
SIXTY = [float(dose) for dose in np.geomspace(0.2, 40, 60)]
CASES = {
    "no coral": [("corals here", [])],
    "one coral": [("corals here", [3.0])],
    "sixty corals": [("corals here", SIXTY)],
    "two tanks": [("corals, A", SIXTY[:20]), ("corals, B", SIXTY[30:])],
    "far below and far above": [("corals here", [0.002, 110.0])],
}


@pytest.mark.identity
@pytest.mark.parametrize("case", CASES)
def test_words_stay_inside_and_apart(case: str) -> None:
    """No word leaves the canvas or meets another, whatever the corals get."""
    drawing = trial_drawing(TRIAL, CASES[case])
    assert misplaced_words(drawing) == []
    assert render(drawing, "svg") == render(drawing, "svg")


@pytest.mark.identity
def test_panels_hold_the_figures_of_the_trial_and_every_coral() -> None:
    """Growth and loss stand at their doses, each coral has a tick, axes share a scale and carry units."""
    growth, loss, tank = trial_drawing(TRIAL, CASES["sixty corals"]).figure.axes
    lights = TRIAL.lights
    assert np.asarray(growth.lines[0].get_xydata()).tolist() == [
        [light.dli_mol_m2_d, light.growth_mg_g_d] for light in lights
    ]
    bars = [(bar.get_x() + bar.get_width() / 2, bar.get_height()) for bar in loss.patches[-len(lights) :]]
    assert bars == [pytest.approx((x.dli_mol_m2_d, 100 * x.tissue_loss_fraction)) for x in lights]
    ticks, _ = tank.collections
    assert [path.vertices[0, 0] for path in ticks.get_paths()] == pytest.approx(SIXTY)
    assert growth.get_xlim() == loss.get_xlim() == tank.get_xlim()
    assert growth.get_ylabel() == "median growth [mg g\u207b\u00b9 d\u207b\u00b9]"
    assert tank.get_xlabel() == "dose in a day [mol m\u207b\u00b2 d\u207b\u00b9]"


@pytest.mark.identity
def test_figure_says_what_was_not_controlled() -> None:
    """The title is the finding, the lead says what the trial does not tell."""
    drawing = trial_drawing(TRIAL, CASES["one coral"])
    words = " ".join(text.get_text() for text in drawing.figure.texts)
    assert drawing.title == "In a trial 11 times the photons made 31 times the growth"
    assert "Not controlled: feeding" in " ".join(words.split())
    assert "1 coral here gets" in drawing.description
