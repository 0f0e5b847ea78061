"""The figures and the words of `tune`, from records made by hand."""

from __future__ import annotations

import numpy as np
import pytest
from present.made_analysis import made_days
from present.made_tuning import made_tuning
from present.text_boxes import misplaced_words

from lightdose.judge.map_choice import shown_corals
from lightdose.model.plans import Tuning
from lightdose.present.figures.canvas import Drawing, render
from lightdose.present.figures.tuning import tuning_drawings


def drawings(tuning: Tuning) -> list[Drawing]:
    shown = shown_corals(tuning)
    days = made_days(tuning.before, [c.after.receiver for c in shown])
    return tuning_drawings(tuning, shown, days, days, "cm")


@pytest.mark.identity
@pytest.mark.parametrize("factor", [0.2, 1.4, 30.0])
def test_words_of_the_figures_are_on_the_canvas_and_apart(factor: float) -> None:
    """No text is clipped or meets another, whatever the doses."""
    for drawing in drawings(made_tuning(factor)):
        assert misplaced_words(drawing) == []


@pytest.mark.identity
def test_doses_figure_shows_the_record() -> None:
    """For every coral a tick at today's dose and a mark at the tuned one, on a log scale with its unit."""
    tuning = made_tuning()
    axes = drawings(tuning)[0].figure.axes[0]
    marks = {
        (float(x), int(y))
        for line in axes.lines
        for x, y in zip(line.get_xdata(), line.get_ydata(), strict=True)
    }
    rows = sorted(tuning.corals, key=lambda c: -abs(c.rise if c.rise is not None else 1e9))
    low, high = axes.get_xlim()
    for row, change in enumerate(rows):
        for verdict in (change.before, change.after):
            shown = min(max(verdict.dli_mol_m2_d, low), high)
            assert any(y == row and x == pytest.approx(shown) for x, y in marks)
    assert axes.get_xscale() == "log"
    assert "mol m⁻² d⁻¹" in axes.get_xlabel()


@pytest.mark.identity
def test_days_figure_shows_both_totals() -> None:
    """Two lines a panel, dashed and solid, each the sum over channels; a panel for each chosen coral."""
    tuning = made_tuning()
    figure = drawings(tuning)[1].figure
    shown = shown_corals(tuning)
    days = made_days(tuning.before, [c.after.receiver for c in shown])
    assert len(figure.axes) == len(shown)
    for axes, day in zip(figure.axes, days, strict=True):
        today, tuned = axes.lines
        assert np.asarray(today.get_ydata()) == pytest.approx(day.by_channel.sum(axis=0))
        assert np.asarray(tuned.get_ydata()) == pytest.approx(day.by_channel.sum(axis=0))
        assert today.get_linestyle() != tuned.get_linestyle()


@pytest.mark.identity
def test_figures_come_out_the_same_each_time() -> None:
    """Two runs give the same SVG bytes."""
    first, second = ([render(d, "svg") for d in drawings(made_tuning())] for _ in range(2))
    assert first == second
