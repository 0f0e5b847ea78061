"""The figures and the words of `tune`, from records made by hand."""

from __future__ import annotations

import io
from dataclasses import replace

import numpy as np
import pytest
from present.made_analysis import made_analysis, made_days
from present.text_boxes import misplaced_words

from lightdose.model.plans import ChannelSetting, Conflict, CoralChange, DayShape, Remedy, TuneWishes, Tuning
from lightdose.model.results import Analysis
from lightdose.present.figures.canvas import Drawing, render
from lightdose.present.figures.tuning import shown_corals, tuning_drawings
from lightdose.present.tuning_text import conflict_sentences, headline, show_tuning, tune_lines

PAIR = Conflict(
    "pair",
    "stag [/]",
    "mush",
    8.0,
    6.0,
    4 / 3,
    (Remedy("shade", "mush", 0, open_sky=0.75), Remedy("move", "mush", 1, site="B1")),
)


def scaled(analysis: Analysis, factor: float) -> Analysis:
    """The same corals with so many times the dose, judged anew against their bands."""
    verdicts = []
    for v in analysis.verdicts:
        dli = factor * v.dli_mol_m2_d
        state = v.dli_state
        if v.band_dli is not None:
            state = "below" if dli < v.band_dli[0] else "above" if dli > v.band_dli[1] else "within"
        verdicts.append(replace(v, dli_mol_m2_d=dli, dli_state=state))
    return replace(analysis, verdicts=tuple(verdicts))


def made_tuning(factor: float = 1.4, conflict: Conflict | None = None) -> Tuning:
    """Today's made analysis, and the same with every dose times a factor."""
    before = made_analysis()
    after = scaled(before, factor)
    return Tuning(
        wishes=TuneWishes(),
        before=before,
        after=after,
        day_before=DayShape(8.5, 3.0, 6.0, 3.5),
        day_after=DayShape(20.0, 3.0, 6.0, 3.5),
        channels=(
            ChannelSetting("left [x]", "blue", 0.4, 0.466),
            ChannelSetting("left [x]", "red", 0.4, 0.0, "off as asked"),
        ),
        corals=tuple(
            CoralChange(b, a, "low" if i == 0 else None)
            for i, (b, a) in enumerate(zip(before.verdicts, after.verdicts, strict=True))
        ),
        conflict=conflict,
        schedules=(),
        largest_loss=(0.0031, "mush"),
        unchanged=False,
        notes=("Blue only: kept blue.",),
    )


def drawings(tuning: Tuning) -> list[Drawing]:
    receivers = [c.after.receiver for c in shown_corals(tuning)]
    days = made_days(tuning.before, receivers)
    return tuning_drawings(tuning, days, days, "cm")


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


@pytest.mark.pinned
def test_conflict_names_the_pair_the_factor_and_the_remedies() -> None:
    """Who, by how much, and what would solve it."""
    text = " ".join(conflict_sentences(PAIR))
    assert "'stag [/]' and 'mush' cannot both be served where they are" in text
    assert "gets at most 6.00 mol/m2/day and needs 8.00, 1.33 times as much" in text
    assert "Shade 'mush' to 0.75 of its light" in text
    assert "Move 'mush' to 'B1': then 1 coral would still be outside." in text
    assert conflict_sentences(None) == []
    for kind in ("pair", "several", "reach", "excess"):
        *_, last = conflict_sentences(replace(PAIR, kind=kind, remedies=()))  # type: ignore[arg-type]
        assert last.startswith(("No ", "What would: "))


@pytest.mark.identity
def test_piped_lines_hold_every_coral_and_channel() -> None:
    """One record a line: the basis first, the verdict and the next command last."""
    tuning = made_tuning(conflict=PAIR)
    lines = list(tune_lines(tuning, {}))
    assert all("\n" not in line and "\x1b" not in line for line in lines)
    assert sum(line.startswith("coral ") for line in lines) == len(tuning.corals)
    assert "channel left [x]/red\tlevel 40 to 0 %\toff as asked" in lines
    assert lines[-1].startswith(headline(tuning))
    assert " -o tuned" in lines[-1]


@pytest.mark.identity
def test_day_past_midnight_and_sudden_rise_are_said() -> None:
    """20:00 with 12.5 h of light ends the next morning; a rise of 40 % is too big for one day."""
    text = "\n".join(tune_lines(made_tuning(1.4), {"left [x]": "out/left.csv"}))
    assert "20:00 to 08:30+1" in text
    assert "Too big a change for one day" in text
    assert "lightdose acclimate" in text
    assert "With caution" not in text
    assert "Too big" not in "\n".join(tune_lines(made_tuning(1.1), {}))


@pytest.mark.identity
@pytest.mark.parametrize(("factor", "said"), [(1.09, False), (1.11, True), (1.24, True), (1.26, False)])
def test_rise_of_more_than_a_week_is_a_caution_of_its_own(factor: float, said: bool) -> None:
    """10 to 25 % up at once gets a caution; below that nothing, above it the warning."""
    text = "\n".join(tune_lines(made_tuning(factor), {}))
    assert ("10 to 25 % up at once" in text) == said
    assert ("Too big a change for one day" in text) == (factor > 1.25)


@pytest.mark.identity
def test_terminal_shows_names_literally() -> None:
    """Markup in names is not read as markup."""
    stream = io.StringIO()
    show_tuning(made_tuning(conflict=PAIR), {}, stream, colour=False, width=100)
    assert "left [x]" in stream.getvalue()
    assert "'stag [/]'" in stream.getvalue()
