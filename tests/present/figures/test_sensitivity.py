"""The tornado: its rows, its order, and that nothing leaves the canvas."""

from __future__ import annotations

import math

import pytest
from answers.printed import piped
from judge.made_tank import made_tank

from lightdose.analysis import analyse, fixture_emission
from lightdose.answers.sensitivity import sensitivity_answer
from lightdose.files.library import reference_tables
from lightdose.judge.sensitivity import sensitivity, standard_cases
from lightdose.present.figures.sensitivity import tornado_drawings, tornado_rows

TANK = made_tank()
FOUND = sensitivity(
    analyse(TANK, certainty=False), fixture_emission(TANK), reference_tables(), standard_cases(TANK)
)


@pytest.mark.identity
def test_rows_stand_by_their_reach_and_hold_both_directions() -> None:
    """The farthest row is on top; height and level hold their two ends in one row."""
    rows = tornado_rows(FOUND.outcomes)
    reach = [r.reach for r in rows]
    assert reach == sorted(reach, reverse=True)
    by_name = {r.name: r for r in rows}
    assert [b.end for b in by_name["fixture height"].bars] != []
    assert {b.end for b in by_name["fixture height"].bars} == {"+5 cm", "-5 cm"}
    assert {b.end for b in by_name["water yellowing"].bars} == {"0/m", "0.1/m", "0.5/m", "1/m"}
    assert by_name["neighbour grown over"].reach == pytest.approx(math.log(2))


@pytest.mark.identity
@pytest.mark.parametrize("sites", [(), ("ridge", "sand")])
def test_all_text_stays_inside_the_canvas(sites: tuple[str, ...]) -> None:
    """No label leaves the figure, and the title and description state the finding with numbers."""
    drawings = tornado_drawings(FOUND, sites)
    assert [d.name for d in drawings] == ["sensitivity", *(f"sensitivity-{s}" for s in sites)]
    for drawing in drawings:
        figure = drawing.figure
        figure.canvas.draw()
        width, height = figure.get_size_inches() * figure.dpi
        (axes,) = figure.axes
        texts = [*figure.texts, *axes.texts, *axes.get_xticklabels(), *axes.get_yticklabels()]
        for text in texts:
            box = text.get_window_extent()
            assert box.x0 >= -0.5, text.get_text()
            assert box.x1 <= width + 0.5, text.get_text()
            assert box.y0 >= -0.5, text.get_text()
            assert box.y1 <= height + 0.5, text.get_text()
        assert drawing.title.endswith(" times)")
        assert "Dose times that before, over all sites shown: " in drawing.description
        assert axes.get_xlabel()


@pytest.mark.identity
def test_hostile_names_stay_on_their_line() -> None:
    """A row is one line whatever a name holds."""
    assert all("\n" not in line for line in piped(sensitivity_answer(FOUND), everything=True))
