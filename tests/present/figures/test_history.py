"""The figures of a diary: what stands on the time axis, and words that do not meet."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
import pytest
from present.made_history import made_history
from present.text_boxes import misplaced_words

from lightdose.present.figures.canvas import Drawing
from lightdose.present.figures.history import date_ticks, history_drawings, life_drawing, ordinal


def drawn(count: int) -> list[Drawing]:
    return list(history_drawings(made_history(count), one=False))


@pytest.mark.identity
@pytest.mark.parametrize("count", [3, 45, 70])
def test_words_of_a_tank_do_not_meet_or_leave_the_page(count: int) -> None:
    """Three, forty-five and seventy corals over two years, thirty a page."""
    found = drawn(count)
    assert len(found) == -(-count // 30)
    assert [misplaced_words(drawing) for drawing in found] == [[] for _ in found]


@pytest.mark.identity
@pytest.mark.parametrize("index", [0, 1, 2])
def test_words_of_a_life_do_not_meet_or_leave_the_page(index: int) -> None:
    """Moved and long-named corals too."""
    history = made_history(6)
    assert misplaced_words(life_drawing(history.corals[index], history)) == []


@pytest.mark.identity
def test_life_shows_dose_interval_and_notes_on_one_time_axis() -> None:
    """The line's points are the doses of the record, at their days; scores stand at theirs."""
    history = made_history(1)
    (coral,) = history.corals
    dose, colour, noted = life_drawing(coral, history).figure.axes
    assert dose.get_xlim() == colour.get_xlim() == noted.get_xlim()
    line = next(line for line in dose.lines if line.get_linewidth() == 2.0)
    days, values = np.asarray(line.get_xdata()), np.asarray(line.get_ydata())
    for spell in coral.spells:
        assert spell.light.dli_mol_m2_d in values[days == ordinal(spell.since)]
    scores = next(line for line in colour.lines if len(line.get_xdata()) > 1)
    wanted = [(ordinal(n.date), n.value) for n in coral.notes if n.kind == "colour"]
    assert list(zip(scores.get_xdata(), scores.get_ydata(), strict=True)) == wanted
    up = [line for line in dose.lines if line.get_marker() == "^"]
    assert len(up) == sum("fast_rise" in c.kinds for c in coral.changes)


@pytest.mark.identity
def test_title_and_description_state_the_finding() -> None:
    """Doses, rises and the days of trouble and moves stand in words."""
    history = made_history(1)
    drawing = life_drawing(history.corals[0], history)
    assert "rises faster than 10\xa0% a week" in drawing.title
    assert all(t.note.date in drawing.description for t in history.corals[0].troubles[:8])


@pytest.mark.identity
def test_coral_without_light_and_empty_spans_are_drawn() -> None:
    """A coral that only notes name, and a diary of one day."""
    history = made_history(1)
    alone = replace(history.corals[0], spells=(), changes=())
    assert misplaced_words(life_drawing(alone, history)) == []
    first = history.corals[0].spells[0]._replace(until=history.first)
    young = replace(history.corals[0], spells=(first,), changes=(), notes=(), troubles=())
    short = replace(history, last=history.first, tank_notes=())
    assert misplaced_words(life_drawing(young, short)) == []


@pytest.mark.identity
@pytest.mark.parametrize("days", [1, 20, 90, 400, 730, 3650, 12000])
def test_ticks_are_beginnings_of_months_within_the_axis(days: int) -> None:
    """At most nine, or one where no month begins."""
    first = datetime.date(2024, 1, 20).toordinal()
    ticks = date_ticks(first, first + days)
    assert 1 <= len(ticks) <= 9
    assert all(first <= day <= first + days for day, _ in ticks)
