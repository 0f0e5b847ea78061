from __future__ import annotations

import itertools
import random
from collections.abc import Sequence

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.text import Text
from present.made_analysis import made_analysis, made_days, made_spectra

from lightdose.errors import SetupError
from lightdose.model.results import Analysis
from lightdose.present.figures.canvas import (
    Drawing,
    drawing_settings,
    fitted,
    render,
    shortened,
    spread,
    text_width_in,
)
from lightdose.present.figures.day import (
    MOST_LINES,
    channel_lines,
    day_drawing,
    shown_receivers,
    spectrum_drawing,
)
from lightdose.present.figures.dose import CORALS_PER_FIGURE, MOST_FIGURES, dose_drawings
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


def _texts(drawing: Drawing) -> list[Text]:
    texts = drawing.figure.findobj(lambda a: isinstance(a, Text) and bool(a.get_text().strip()))
    return [t for t in texts if isinstance(t, Text) and t.get_visible()]


@pytest.mark.identity
@pytest.mark.parametrize("case", CASES)
def test_text_lies_inside_the_canvas_and_does_not_overlap(case: str) -> None:
    """No label is clipped, and no two labels meet."""
    for drawing in _drawings(CASES[case]):
        with drawing_settings():
            FigureCanvasAgg(drawing.figure).draw()
            width, height = drawing.figure.bbox.width, drawing.figure.bbox.height
            hidden = _off_scale_ticks(drawing)
            texts = [t for t in _texts(drawing) if t not in hidden]
            boxes = [(t.get_text(), t.get_window_extent()) for t in texts]
        for words, box in boxes:
            assert box.x0 >= 0, words
            assert box.y0 >= 0, words
            assert box.x1 <= width, words
            assert box.y1 <= height, words
        for (a, box_a), (b, box_b) in itertools.combinations(boxes, 2):
            across = min(box_a.x1, box_b.x1) - max(box_a.x0, box_b.x0)
            along = min(box_a.y1, box_b.y1) - max(box_a.y0, box_b.y0)
            assert across <= 0.5 or along <= 0.5, (drawing.name, a, b)


def _off_scale_ticks(drawing: Drawing) -> set[Text]:
    """Tick labels that matplotlib keeps but does not draw."""
    hidden: set[Text] = set()
    for axes in drawing.figure.axes:
        for axis, limits in ((axes.xaxis, axes.get_xlim()), (axes.yaxis, axes.get_ylim())):
            low, high = sorted(limits)
            shown = {id(t) for t in axis._update_ticks()}  # type: ignore[attr-defined]
            for tick in [*axis.majorTicks, *axis.minorTicks]:
                off = id(tick) not in shown or not low <= tick.get_loc() <= high
                hidden |= {t for t, on in ((tick.label1, not off), (tick.label2, not off)) if not on}
    return hidden


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
    monkeypatch.setattr("lightdose.present.figures.dose.CORALS_PER_FIGURE", 2)
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
def test_shown_sites_are_brightest_middle_and_dimmest_with_corals() -> None:
    """Without names the choice spans the doses; names are taken as given, once each."""
    analysis = CASES["example"]
    names = [s.name for s in analysis.setup.sites]
    assert [names[i] for i in shown_receivers(analysis)] == ["ridge", "sand left", "cave mouth"]
    assert shown_receivers(analysis, ["front glass", "ridge", "ridge"]) == (names.index("front glass"), 0)
    assert shown_receivers(made_analysis(corals=(), bare_sites=())) == ()


@pytest.mark.pinned
def test_unknown_site_is_named_with_the_known_ones() -> None:
    """A typo gets the close match."""
    with pytest.raises(SetupError, match="there is no site 'rigde'") as refusal:
        shown_receivers(CASES["example"], ["rigde"])
    assert "did you mean 'ridge'?" in str(refusal.value)


@pytest.mark.identity
def test_lines_keep_every_channel_once() -> None:
    """Channels of one name are added over fixtures; nothing is lost or counted twice."""
    analysis = CASES["example"]
    lines = channel_lines(analysis, (0,))
    assert len(lines) <= MOST_LINES
    drawn = sorted(i for line in lines for i in line.channels)
    assert drawn == list(range(len(analysis.light_field.channels)))


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
    """A shortened name fits its width or its count of letters."""
    assert shortened("abcdefghij" * 5, 12) == "abcdefg…ghij"
    assert shortened("short", 12) == "short"
    name = fitted("W" * 200, 1.5, 8)
    assert text_width_in(name, 8) <= 1.5
    assert "…" in name
