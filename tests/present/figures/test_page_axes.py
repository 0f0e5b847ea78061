"""A page's figures, drawn quickly, against the same figures on matplotlib's own axes."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise

import numpy as np
import pytest
from present.figures.test_map import made_map
from present.figures.test_trial import CASES, TRIAL
from present.made_analysis import made_analysis, made_days, made_spectra
from present.made_explaining import made_colour, made_diminishing, made_return
from present.made_history import made_history

from lightdose.judge.map_choice import shown_receivers
from lightdose.present.figures import canvas
from lightdose.present.figures.canvas import Drawing, Panel, new_figure
from lightdose.present.figures.day import day_drawing, spectrum_drawing
from lightdose.present.figures.explaining import colour_drawing, diminishing_drawing
from lightdose.present.figures.fitting import BROAD, PAGE, fitted_to
from lightdose.present.figures.history import tank_drawing
from lightdose.present.figures.inline_svg import inline_figure
from lightdose.present.figures.map import map_drawings
from lightdose.present.figures.page_axes import PageAxes
from lightdose.present.figures.trial import trial_drawing

NEAR_PT = 0.06
"""Long paths of a page are rounded to a tenth of a point, so their ends may differ by half of that."""

ANALYSIS = made_analysis()
SHOWN = shown_receivers(ANALYSIS)
FIGURES: dict[str, Callable[[], Drawing | None]] = {
    "map": lambda: map_drawings(made_map(), "dli", "cm")[1],
    "day": lambda: day_drawing(ANALYSIS, made_days(ANALYSIS, SHOWN), "cm"),
    "spectrum": lambda: spectrum_drawing(ANALYSIS, made_spectra(ANALYSIS, SHOWN), "in"),
    "trial": lambda: trial_drawing(TRIAL, CASES["two tanks"]),
    "diminishing return": lambda: diminishing_drawing(made_diminishing(made_return("acropora"))),
    "colour": lambda: colour_drawing(made_colour()),
    "lives": lambda: tank_drawing(made_history(5), made_history(5).corals, "lives"),
}

_NUMBER = re.compile(r"-?\d+(?:\.\d+)?")
_LINE = re.compile(r"M([\d.]+ [\d.]+)L([\d.]+ [\d.]+)")


def marks_of(svg: str) -> dict[str, list[list[float]]]:
    """What an SVG shows, by its words and attributes without numbers: the numbers of each."""
    shapes = dict(re.findall(r'<path id="([^"]*)" (d="[^"]*")', svg))
    found: dict[str, list[list[float]]] = {}
    for line in svg.splitlines()[3:]:
        if "<defs" in line or " id=" in line or "<rect" in line:
            continue
        shown = re.sub(r'href="#([^"]*)"', lambda name: shapes[name[1]], line)
        shown = re.sub(r"url\([^)]*\)", "clip", shown)
        # Rules of one scale are one path on one side, and a path each on the other.
        d, runs = re.search(r' d="([^"]*)"', shown), _LINE.findall(shown)
        apart = bool(d) and d is not None and d[1] == "".join(f"M{a}L{b}" for a, b in runs)
        for part in [shown.replace(d[1], f"M{a}L{b}") for a, b in runs] if apart and d else [shown]:
            found.setdefault(_NUMBER.sub("#", part), []).append([float(n) for n in _NUMBER.findall(part)])
    return found


@pytest.mark.identity
@pytest.mark.parametrize("fit", [PAGE, BROAD])
@pytest.mark.parametrize("name", FIGURES)
def test_quick_scales_show_what_those_of_matplotlib_show(
    monkeypatch: pytest.MonkeyPatch, name: str, fit: object
) -> None:
    """Every word, mark, rule and line of either stands in the other, at the same place."""
    drawn = []
    for own in (True, False):
        if not own:
            monkeypatch.setattr(canvas, "_axes", lambda figure, box: figure.add_axes(box))
        with fitted_to(fit):  # type: ignore[arg-type]
            drawing = FIGURES[name]()
            assert drawing is not None
            assert all((type(axes) is PageAxes) is own for axes in drawing.figure.axes)
            drawn.append(marks_of(inline_figure(drawing, "f").svg))
    quick, usual = drawn
    assert quick.keys() == usual.keys()
    assert sum(map(len, quick.values())) > 20
    for key, rows in quick.items():
        one, other = np.array(rows), np.array(usual[key])
        assert one.shape == other.shape, key
        apart = np.abs(one[:, None] - other).max(axis=2, initial=0.0)
        assert max(apart.min(axis=0).max(), apart.min(axis=1).max()) < NEAR_PT, key


@pytest.mark.identity
def test_scale_grows_to_hold_its_ticks_and_shows_none_beyond_its_ends() -> None:
    """As matplotlib's: ticks widen the ends, ends set later cut them off; no word is lost between."""
    with fitted_to(PAGE):
        figure = new_figure(3.0, 2.0)
        axes = Panel.on(figure, 0.5, 0.5, 2.0, 1.0).axes
    axes.set_xlim(2, 3)
    axes.set_xticks([0, 5, 10], ["none", "half", "all"])
    assert axes.get_xlim() == (0, 10)
    axes.set_xlim(0, 6)
    svg = inline_figure(Drawing("x", "x", "x", figure), "f").svg
    assert re.findall(r">(\w+)</text>", svg)[:2] == ["none", "half"]
    assert "all" not in svg
    x = [float(at) for at in re.findall(r'<text[^>]* x="([\d.]+)"[^>]*>(?:none|half)', svg)]
    assert [b - a for a, b in pairwise(x)] == pytest.approx([72 * 2.0 * 5 / 6], abs=0.02)
