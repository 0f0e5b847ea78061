"""The tornado: its bars, and that nothing leaves the canvas."""

from __future__ import annotations

import re
from functools import cache

import pytest
from answers.printed import piped
from judge.made_tank import made_tank
from present.text_boxes import misplaced_words

from lightdose.analysis import analyse, fixture_emission
from lightdose.answers.sensitivity import sensitivity_answer
from lightdose.files.library import reference_tables
from lightdose.judge.sensitivity import sensitivity, standard_cases
from lightdose.model.changes import Sensitivity
from lightdose.present.figures.explaining import tornado_drawings


@cache
def found() -> Sensitivity:
    tank = made_tank()
    start = analyse(tank, certainty=False)
    return sensitivity(start, fixture_emission(tank), reference_tables(), standard_cases(tank))


@pytest.mark.identity
@pytest.mark.parametrize("sites", [(), ("ridge", "sand")])
def test_all_text_stays_inside_the_canvas(sites: tuple[str, ...]) -> None:
    """No label leaves the figure, and the title and description state the finding with numbers."""
    drawings = tornado_drawings(found(), sites)
    assert [d.name for d in drawings] == ["sensitivity", *(f"sensitivity-{s}" for s in sites)]
    for drawing in drawings:
        assert misplaced_words(drawing) == []
        assert re.search(r": [\d.]+ times( at the site that changes most)?\)$", drawing.title)
        assert "Dose times that before, over all sites shown: " in drawing.description
        assert drawing.figure.axes[0].get_xlabel()


@pytest.mark.identity
def test_hostile_names_stay_on_their_line() -> None:
    """A row is one line whatever a name holds."""
    assert all("\n" not in line for line in piped(sensitivity_answer(found()), everything=True))
