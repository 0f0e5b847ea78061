"""Marks of doses and words beside rows, which several figures share."""

from __future__ import annotations

from typing import get_args

import pytest
from matplotlib.colors import to_hex

from lightdose.model.results import DliState
from lightdose.present.figures.canvas import new_figure, panel
from lightdose.present.figures.dose_marks import draw_dose_mark, write_beside
from lightdose.present.figures.style import STATE_MARKS


@pytest.mark.identity
def test_each_state_has_its_mark_at_its_dose() -> None:
    """Marker, face and place are those of the style table; nothing is joined or clipped."""
    axes = panel(new_figure(4, 2), 0.5, 0.5, 2, 1)
    for row, state in enumerate(get_args(DliState)):
        draw_dose_mark(axes, 3.5, row, state)
        mark = axes.lines[-1]
        marker, face = STATE_MARKS[state]
        assert (mark.get_marker(), to_hex(mark.get_markerfacecolor())) == (marker, to_hex(face))
        assert (list(mark.get_xdata()), list(mark.get_ydata())) == ([3.5], [row])
        assert (mark.get_linestyle(), mark.get_clip_on()) == ("None", False)


@pytest.mark.identity
def test_words_stand_to_the_right_of_their_row() -> None:
    """Words begin at the gap beyond the right edge, level with the row."""
    axes = panel(new_figure(4, 2), 0.5, 0.5, 2, 1)
    write_beside(axes, 1, "within", 8, weight="bold")
    words = axes.texts[-1]
    assert (words.get_text(), words.get_weight(), words.xy) == ("within", "bold", (1, 1))
    assert words.get_position() == (8, 0)
