"""The figures and words of calibration show the record, and nothing is clipped."""

from __future__ import annotations

import numpy as np
import pytest
from present.made_analysis import made_analysis

from lightdose.answers.calibrate import calibrate_answer, closing_line
from lightdose.errors import Place
from lightdose.model.calibration import (
    BeamWidth,
    Calibration,
    CalibrationFit,
    ChannelGain,
    Contradiction,
    Parameter,
    ReadingFit,
    TogetherFactor,
    Trend,
    Untying,
)
from lightdose.model.results import Basis
from lightdose.model.spectrum import Reading
from lightdose.present.figures.calibration import calibration_drawings
from lightdose.present.figures.canvas import Drawing, drawing_settings, render
from lightdose.present.text import Window, lines_of


def made_fit(readings: int = 12) -> CalibrationFit:
    """Readings at three sites, every fifth one a factor of 2 off, with long and hostile names."""
    gains = (
        ChannelGain("left [x]", "royal blue", 0.8, (0.74, 0.86), 48.0),
        ChannelGain("left [x]", "white", 1.2, (0.6, 2.4), 1.0, tied_to="royal blue"),
    )
    calibration = Calibration(
        "2026-03-14",
        ("handheld",),
        readings,
        gains,
        tuple(Parameter("gain", g.fixture, g.channel) for g in gains),
        np.eye(2) * 1e-3,
        beams=(BeamWidth("left [x]", 120.0, 96.0, (90.0, 103.0)),),
        together=(TogetherFactor("left [x]", 0.93, (0.9, 0.96)),),
    )
    residuals = []
    for n in range(readings):
        model = 20.0 * 1.35**n
        off = 2.0 if n % 5 == 3 else 1 + 0.04 * (-1) ** n
        value = model * off
        where = ("ridge", "a very long name of a site that nobody would give " * 2, "sand <left>")[n % 3]
        on = "royal blue" if n % 2 else "6 channels together"
        residuals.append(ReadingFit(n + 2, where, on, value, (0.92 * value, 1.08 * value), model, n % 5 == 3))
    five, seven = (Reading(Place("", n), 100.0 + n, "umol", "ridge", 0.2, 0.2, 0.1) for n in (5, 7))
    return CalibrationFit(
        calibration,
        tuple(residuals),
        (Contradiction(five, (seven,)),),
        Untying("left [x]", "white", five),
        Trend("2025-03-14", {"left [x]": -0.12}, same_meters=True, usual=False),
    )


def boxes_inside(drawing: Drawing) -> bool:
    """Whether every text lies on the canvas."""
    with drawing_settings():
        figure = drawing.figure
        from matplotlib.backends.backend_agg import FigureCanvasAgg

        renderer = FigureCanvasAgg(figure).get_renderer()
        figure.draw(renderer)
        width, height = figure.bbox.width, figure.bbox.height
        texts = [*figure.texts, *(t for axes in figure.axes for t in axes.texts)]
        for axes in figure.axes:
            low, high = axes.get_xlim()
            shown = [t for t in axes.get_xticklabels() if low <= t.get_position()[0] <= high]
            texts += [axes.xaxis.label, axes.yaxis.label, *shown, *axes.get_yticklabels()]
        boxes = [t.get_window_extent(renderer) for t in texts if t.get_text()]
        return all(b.x0 >= 0 and b.y0 >= 0 and b.x1 <= width and b.y1 <= height for b in boxes)


@pytest.mark.identity
@pytest.mark.parametrize("readings", [1, 12])
def test_figures_hold_every_reading_and_clip_nothing(readings: int) -> None:
    """Points are the record's, bars its intervals; texts lie on the canvas."""
    fit = made_fit(readings)
    agreement, by_site, by_channel = calibration_drawings(fit)
    lines = agreement.figure.axes[0].lines
    marks = [line for line in lines if line.get_marker() in ("o", "x")]
    shown = sorted((float(x), float(y)) for line in marks for x, y in line.get_xydata())
    assert shown == sorted((r.model_umol_m2_s, r.reading_umol_m2_s) for r in fit.residuals)
    bars = [line for line in lines if len(line.get_xdata()) == 2 and len(set(line.get_xdata())) == 1]
    assert sorted(tuple(map(float, b.get_ydata())) for b in bars) == sorted(
        r.interval_95 for r in fit.residuals
    )
    assert len(by_site.figure.axes[0].get_yticklabels()) == min(readings, 3)
    assert len(by_channel.figure.axes[0].get_yticklabels()) == min(readings, 2)
    assert all(boxes_inside(d) for d in (agreement, by_site, by_channel))
    assert "umol" not in agreement.figure.axes[0].get_xlabel()  # typeset units in figures


@pytest.mark.identity
def test_figures_come_out_the_same_each_time() -> None:
    """Two runs give the same bytes, with a title and a description for readers that speak."""
    first, second = (render(calibration_drawings(made_fit())[0], "svg") for _ in range(2))
    assert first == second
    assert b"<title>Readings of 2026-03-14" in first
    assert b"<desc>" in first


@pytest.mark.pinned
def test_words_of_the_verdict() -> None:
    """What was used, what was left out by its line, and how well the rest agrees."""
    expected = "10 readings used, lines 5, 10 left out; half of them lie within 4 % of the model."
    assert closing_line(made_fit()) == expected


@pytest.mark.identity
def test_terminal_and_pipe_show_names_literally() -> None:
    """Brackets in names stay; no escape byte without colour; every sentence of the record is there."""
    answer = calibrate_answer(made_fit(), made_analysis().setup, Basis("measured", "Measured."), (), {})
    for window in (Window(), Window(100, wraps=True, everything=True)):
        shown = "\n".join(lines_of(answer.blocks, window))
        told = " ".join(shown.split())
        assert shown.startswith("Measured.\n")
        assert "left [x]" in shown
        assert "\x1b" not in shown
        assert "One reading at ridge with only white on would tell it apart." in told
        assert "line 5 (105 umol) contradicts line 7 (107) at the same place and levels" in told
        assert "Since 2025-03-14: left [x] 12 % lower; more than readings with one meter usually" in told
        assert "left [x], white: not told apart from royal blue" in told
        assert "left [x]: beam 96 deg wide (95 %: 90 to 103), 120 by its file" in told
        assert "left [x]: many channels together give 0.93 of their sum" in told
        assert shown.endswith("of the model.")
