"""The canvas that all figures share: marks, bars, scales, labels that do not meet, text that fits."""

from __future__ import annotations

import math
from dataclasses import replace
from itertools import pairwise
from typing import get_args

import numpy as np
import pytest
from matplotlib.colors import to_hex
from matplotlib.text import Annotation
from present.made_analysis import made_analysis
from present.text_boxes import misplaced_words

from lightdose.model.results import DliState
from lightdose.present.figures.canvas import (
    LINE_IN,
    MOST_FIGURES,
    Panel,
    Sheet,
    drawn,
    new_figure,
    pages,
    stacked_sheet,
)
from lightdose.present.figures.scales import TICK_GAP_IN, EndLabel, dose_limits, spaced_ticks, spread
from lightdose.present.figures.style import (
    STATE_MARKS,
    drawable,
    fitted,
    fitted_before,
    shortened,
    text_width_in,
    wrapped,
)

LONG = "$x_1$ ünï 😀 " + "nam e" * 38


def made_panel() -> Panel:
    return Panel.on(new_figure(4, 2), 0.5, 0.5, 2, 1, 1.5)


@pytest.mark.identity
def test_each_state_has_its_mark_at_its_dose() -> None:
    """Marker, face and place are those of the style table; nothing is joined or clipped."""
    panel = made_panel()
    panel.axes.set_xlim(0, 10)
    for row, state in enumerate(get_args(DliState)):
        panel.dose_mark(row, 3.5, state)
        mark = panel.axes.lines[-1]
        marker, face = STATE_MARKS[state]
        assert (mark.get_marker(), to_hex(mark.get_markerfacecolor())) == (marker, to_hex(face))
        assert (list(mark.get_xdata()), list(mark.get_ydata())) == ([3.5], [row])
        assert (mark.get_linestyle(), mark.get_clip_on()) == ("None", False)


@pytest.mark.identity
def test_words_stand_to_the_right_of_their_row() -> None:
    """Words begin at the gap beyond the right edge, level with the row."""
    panel = made_panel()
    panel.beside(1, "within", 8, weight="bold")
    words = panel.axes.texts[-1]
    assert isinstance(words, Annotation)
    assert (words.get_text(), words.get_weight(), words.xy) == ("within", "bold", (1, 1))
    assert words.get_position() == (8, 0)


@pytest.mark.identity
def test_range_bar_runs_from_floor_to_ceiling_and_over_the_band() -> None:
    """Light bar from floor to ceiling, dark bar over the usual range, both held within the scale."""
    panel, verdict = made_panel(), made_analysis().verdicts[0]
    assert verdict.band_dli is not None
    panel.log_axis("x", 5.0, 100.0)
    panel.range_bar(2, replace(verdict, floor_dli=4.0, ceiling_dli=None))
    light, dark = panel.axes.patches
    assert (light.get_x(), light.get_x() + light.get_width()) == pytest.approx((5.0, 100.0))
    assert (dark.get_x(), dark.get_x() + dark.get_width()) == pytest.approx(verdict.band_dli)
    panel.range_bar(3, replace(verdict, band_dli=None))
    assert len(panel.axes.patches) == 2


@pytest.mark.identity
def test_scale_of_doses_holds_every_band_and_dose() -> None:
    """Bands, ceilings and doses lie inside; a trace of light may lie beyond the left end, nothing else."""
    verdicts = made_analysis().verdicts
    doses = [v.dli_mol_m2_d for v in verdicts]
    low, high = dose_limits(verdicts, doses)
    marks = [x for v in verdicts for x in (v.floor_dli, v.ceiling_dli, *(v.band_dli or ())) if x]
    assert low < min([*marks, *(d for d in doses if d > 0)])
    assert max([*marks, *doses]) < high
    traced, _ = dose_limits(verdicts, [*doses, 1e-9])
    assert 0 < traced < low
    assert dose_limits([], []) == (0.75, 1.35)


@pytest.mark.identity
@pytest.mark.parametrize(("low", "high"), [(0.37, 40.0), (2.6, 9.0), (15.0, 280.0), (1e-3, 1e4), (1.05, 1.4)])
@pytest.mark.parametrize("room_in", [1.5, 3.4, 6.0])
def test_ticks_of_a_log_scale_are_round_inside_and_apart(low: float, high: float, room_in: float) -> None:
    """At least one tick, each of one or two digits; neighbours stand as far apart as their words need."""
    ticks = spaced_ticks(low, high, room_in)
    assert ticks
    assert all(low <= tick <= high and len(f"{tick:.1e}") == 7 for tick in ticks)
    per_inch = math.log(high / low) / room_in
    assert all(math.log(b / a) / per_inch >= TICK_GAP_IN for a, b in pairwise(ticks))


@pytest.mark.identity
def test_panels_below_one_another_share_the_last_scale() -> None:
    """Every panel has its own height and the name of its values; only the last has a scale of times."""
    sheet, panels = drawn(stacked_sheet)("Title 1", "Lead", [1.0, 2.0], "time of day [hh:mm]", "level [%]")
    for panel, height in zip(panels, (1.0, 2.0), strict=True):
        panel.day_axis(50)
        box = panel.axes.get_position()
        assert box.height * sheet.figure.get_size_inches()[1] == pytest.approx(height)
        assert list(panel.axes.get_xticks()) == list(range(0, 25, 3))
        assert panel.axes.get_ylabel() == "level [%]"
    hours = [t.get_text() for t in panels[-1].axes.get_xticklabels()]
    assert hours[::4] == ["00:00", "12:00", "24:00"]
    assert [p.axes.get_xlabel() for p in panels] == ["", "time of day [hh:mm]"]
    assert panels[0].axes.get_position().y0 > panels[1].axes.get_position().y1


@pytest.mark.identity
@pytest.mark.parametrize("scale", ["linear", "log"])
def test_labels_of_ends_stand_apart_beside_their_points(scale: str) -> None:
    """Each label keeps its own point, in order of height, a line apart, within the panel, on either scale."""

    @drawn
    def labelled() -> tuple[Sheet, Panel]:
        sheet, (panel,) = stacked_sheet("Title 1", "Lead", [1.75], "hours", "level")
        panel.axes.set(xlim=(0, 24), ylim=(1, 100))
        if scale == "log":
            panel.log_axis("y", 1, 100)
        panel.label_ends([EndLabel(f"name {i}", 20.0, 1.0 + i, "#0344dd") for i in range(8)])
        return sheet, panel

    sheet, panel = labelled()
    assert misplaced_words(sheet.drawing("x", "x 1")) == []
    labels = [text for text in panel.axes.texts if isinstance(text, Annotation)]
    assert [label.xy for label in labels] == [(20.0, 1.0 + i) for i in range(8)]
    heights = [label.get_position()[1] * panel.height_in for label in labels]
    assert all(above - below >= LINE_IN - 1e-9 for below, above in pairwise(heights))
    assert heights[0] >= 0
    assert heights[-1] <= panel.height_in


@pytest.mark.identity
def test_label_after_a_plateau_belongs_to_its_last_point() -> None:
    """The point is the last that lies near the highest."""
    label = EndLabel.after_plateau(
        "x", np.array([8.0, 10.0, 18.0, 20.0]), np.array([0.0, 5.0, 4.9, 0.0]), "k"
    )
    assert (label.x, label.y) == (18.0, 4.9)


@pytest.mark.identity
def test_long_lists_take_several_figures_up_to_a_most() -> None:
    """Every row stands on one page; a single page has no number."""
    assert pages("abc", 3) == [("", "abc")]
    assert pages("abcd", 3) == [("-1", "abc"), ("-2", "d")]
    assert [len(page) for _, page in pages(range(100), 2)] == [2] * MOST_FIGURES
    assert pages([], 3) == []


@pytest.mark.identity
def test_spread_keeps_its_gap_and_its_ends() -> None:
    """Labels are moved apart as little as the gap asks, and stay on the panel."""
    places = spread([0.0, 0.0, 0.1, 5.0], 1.0, 0.0, 6.0)
    assert places == [0.0, 1.0, 2.0, 5.0]
    crowded = spread([3.0] * 5, 1.0, 0.0, 2.0)
    assert min(crowded) == 0
    assert max(crowded) == 2


@pytest.mark.identity
def test_long_names_keep_start_and_end() -> None:
    """A shortened name fits its width or its count of letters; what stands after it is kept whole."""
    assert shortened("abcdefghij" * 5, 12) == "abcdefg…ghij"
    assert shortened("short", 12) == "short"
    name = fitted("W" * 200, 1.5, 8)
    assert text_width_in(name, 8) <= 1.5
    assert "…" in name
    words = fitted_before("W" * 200, ": 5.12, within", 2.0, 8)
    assert text_width_in(words, 8) <= 2.0
    assert words.endswith("W: 5.12, within")


@pytest.mark.identity
def test_wrapped_lines_fit_and_numbers_keep_their_units() -> None:
    """No line is wider than its room, nothing is lost, and no line begins with a unit."""
    text = f"Each dose may be off by its 95 % range, 6.17 mol m⁻² d⁻¹ of 400-700 nm at most. {LONG}"
    for width in np.linspace(1.5, 6, 30):
        lines = wrapped(text, float(width), 9)
        assert all(text_width_in(line, 9) <= width for line in lines)
        assert not any(line.startswith(("%", "m⁻²", "d⁻¹", "nm")) for line in lines)
        assert "".join("".join(lines).split()) == "".join(drawable(text).split())
