from __future__ import annotations

import random
from collections.abc import Sequence

import numpy as np
import pytest
from present.made_analysis import made_analysis, made_days, made_spectra
from present.text_boxes import misplaced_words

from lightdose.judge.map_choice import shown_receivers
from lightdose.model.results import Analysis
from lightdose.present.figures.canvas import MOST_FIGURES, Drawing, render
from lightdose.present.figures.day import (
    CORALS_PER_FIGURE,
    MOST_LINES,
    channel_lines,
    day_drawing,
    dose_drawings,
    spectrum_drawing,
)
from lightdose.present.figures.style import TONES
from lightdose.quantities import BANDS

LONG = "$x_1$ ünï 😀 " + "nam e" * 38


def _random_corals(n: int) -> tuple[tuple[str, str, str, float], ...]:
    dice = random.Random(3)
    groups = ["sps-shallow", "lps-branching", "mushroom"]
    return tuple(
        (f"coral {i}", dice.choice(groups), f"s{i}", 10 ** dice.uniform(-0.5, 1.6)) for i in range(n)
    )


CASES = {
    "example": made_analysis(),
    "one coral": made_analysis((("c", "mushroom", "s", 2.0),)),
    "45 corals": made_analysis(_random_corals(45)),
    "long names": made_analysis(((LONG, "mushroom", LONG, 2.0), ("W" * 200, "sps-shallow", "W" * 200, 0.0))),
    "no corals": made_analysis(corals=()),
    "dark": made_analysis((("c", "mushroom", "s", 0.0),), bare_sites=()),
}


def _drawings(analysis: Analysis) -> list[Drawing]:
    shown = shown_receivers(analysis)
    return [
        *dose_drawings(analysis),
        day_drawing(analysis, made_days(analysis, shown), "cm"),
        spectrum_drawing(analysis, made_spectra(analysis, shown), "in"),
    ]


@pytest.mark.identity
@pytest.mark.parametrize("case", CASES)
def test_text_lies_inside_the_canvas_and_does_not_overlap(case: str) -> None:
    """No label is clipped, and no two labels meet."""
    for drawing in _drawings(CASES[case]):
        assert misplaced_words(drawing) == []


@pytest.mark.identity
def test_day_figure_draws_the_record() -> None:
    """The black line of each panel is the sum of the record's channels; the scale is shared."""
    analysis = CASES["example"]
    days = made_days(analysis, shown_receivers(analysis))
    panels = day_drawing(analysis, days, "cm").figure.axes
    assert len({p.get_ylim() for p in panels}) == 1
    for axes, day in zip(panels, days, strict=True):
        total = next(
            line
            for line in axes.lines
            if line.get_color() == TONES["total"] and len(line.get_xdata()) > 2  # type: ignore[arg-type]
        )
        np.testing.assert_array_equal(total.get_ydata(), day.by_channel.sum(axis=0))
        np.testing.assert_array_equal(total.get_xdata(), day.time_h)
        assert list(axes.get_xticks()) == list(range(0, 25, 3))
        assert axes.get_ylabel() == "PPFD [µmol m⁻² s⁻¹]"
    assert panels[-1].get_xlabel() == "time of day [hh:mm]"


@pytest.mark.identity
def test_spectrum_figure_prints_the_band_edges() -> None:
    """Every band stands over each panel with its edges, and the axis carries its unit."""
    analysis = CASES["example"]
    drawing = spectrum_drawing(analysis, made_spectra(analysis, shown_receivers(analysis)), "cm")
    for axes in drawing.figure.axes:
        words = [t.get_text() for t in axes.texts]
        for band in BANDS:
            assert f"{band.name} {band.low_nm:g}-{band.high_nm:g}" in words
        assert axes.get_ylabel() == "photons [µmol m⁻² s⁻¹ nm⁻¹]"
    assert drawing.figure.axes[-1].get_xlabel() == "wavelength [nm]"


@pytest.mark.identity
def test_dose_figure_marks_each_coral_at_its_dose_with_its_word() -> None:
    """Rows are worst first; the mark stands at the dose and the word says the state."""
    (drawing,) = dose_drawings(CASES["example"])
    (axes,) = drawing.figure.axes
    marks = [float(line.get_xdata()[0]) for line in axes.lines if line.get_marker() in ("o", "D", "|")]  # type: ignore[index]
    assert marks[:2] == [9.6, 1.2]
    assert sorted(marks) == sorted(d for *_, d in (v for v in _example_doses()))
    words = " ".join(t.get_text() for t in axes.texts)
    assert "far above usual (1-3.2)" in words
    assert "not judged by light" in words
    assert axes.get_xlabel() == "dose in a day [mol m⁻² d⁻¹]"


def _example_doses() -> Sequence[tuple[str, float]]:
    return [(v.coral, v.dli_mol_m2_d) for v in CASES["example"].verdicts]


@pytest.mark.identity
def test_many_corals_take_several_figures() -> None:
    """A page holds 60 corals, and every coral stands on one of them."""
    drawings = dose_drawings(made_analysis(_random_corals(CORALS_PER_FIGURE + 1)))
    assert [d.name for d in drawings] == ["doses-1", "doses-2"]
    assert [len(d.figure.axes[0].get_yticks()) for d in drawings] == [CORALS_PER_FIGURE, 1]
    assert dose_drawings(CASES["no corals"]) == []


@pytest.mark.identity
def test_a_thousand_corals_take_few_figures(monkeypatch: pytest.MonkeyPatch) -> None:
    """Beyond so many figures the corals furthest off are drawn, and the title says that others are not."""
    monkeypatch.setattr("lightdose.present.figures.day.CORALS_PER_FIGURE", 2)
    drawings = dose_drawings(made_analysis(_random_corals(2 * MOST_FIGURES + 1)))
    assert len(drawings) == MOST_FIGURES
    assert f"(1 of {MOST_FIGURES}; the {2 * MOST_FIGURES} furthest off of" in drawings[0].title


@pytest.mark.identity
def test_files_are_the_same_in_two_runs_and_hold_title_and_finding() -> None:
    """Two drawings of one analysis give the same bytes; text in the SVG is outlined."""
    once, again = (dose_drawings(made_analysis())[0] for _ in range(2))
    assert render(once, "png") == render(again, "png")
    svg = render(once, "svg")
    assert svg == render(again, "svg")
    assert b"<title>Daily dose of each coral" in svg
    assert b"Furthest off: green mushroom with 9.60" in svg
    assert b"<text" not in svg
    assert b"<dc:date>" not in svg


@pytest.mark.identity
def test_hostile_name_is_escaped_in_the_svg() -> None:
    """A name cannot open an element."""
    analysis = made_analysis((("</desc><script>", "mushroom", "s", 9.0),))
    assert b"<script" not in render(dose_drawings(analysis)[0], "svg")


@pytest.mark.identity
def test_descriptions_state_numbers() -> None:
    """Title and description say the finding, with its numbers."""
    for drawing in _drawings(CASES["example"]):
        assert any(c.isdigit() for c in drawing.title)
        assert drawing.title in drawing.description


@pytest.mark.identity
def test_lines_keep_every_channel_once() -> None:
    """Channels of one name are added over fixtures; nothing is lost or counted twice."""
    analysis = CASES["example"]
    lines = channel_lines(analysis, (0,))
    assert len(lines) <= MOST_LINES
    drawn = sorted(i for line in lines for i in line.channels)
    assert drawn == list(range(len(analysis.light_field.channels)))
