"""Two spans on one scale: what colour can change at equal photons, and what output and hours can."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightdose.answers.colour import DEFAULT_CURVE, colour_finding, colour_sentences
from lightdose.model.changes import ColourOrIntensity, IndexSpan
from lightdose.present.figures.canvas import (
    Drawing,
    drawn,
    fitted,
    head_height,
    new_figure,
    panel,
    quiet_grid,
    write_head,
)
from lightdose.present.figures.dose_marks import write_beside
from lightdose.present.figures.style import BAND_FILL, INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import DLI_UNIT_TYPESET, PPFD_UNIT_TYPESET, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 9.5
NAMES_IN = 2.6
WORDS_IN = 2.6
ROW_IN = 0.5
AXIS_IN = 0.6
TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 1, 1.5, 2, 3, 5, 10, 20, 50, 100)
EVERY = "absorption index,\nevery mix at equal photons"
QUIET = "absorption index,\nmixes without a warning"


def colour_drawing(record: ColourOrIntensity) -> Drawing:
    """Bars of what can be reached, over today's value, on one log scale."""
    return drawn(lambda: _draw(record))


def _draw(record: ColourOrIntensity) -> Drawing:
    title = colour_finding(record)
    lead = (
        f"At {fitted(record.place, 3, TEXT_PT)}, over today's value. Index: at today's peak of "
        f"{number(record.peak_ppfd_umol_m2_s)} {PPFD_UNIT_TYPESET}; line: all four absorption curves. It is "
        "not growth. Dose: 25-100 % of output in today's mix for 4-12 h, our choice."
    )
    head = head_height(title, lead, WIDTH_IN) + 0.1
    figure = new_figure(WIDTH_IN, head + 3 * ROW_IN + AXIS_IN)
    write_head(figure, title, lead)
    axes = panel(figure, NAMES_IN, head, WIDTH_IN - NAMES_IN - WORDS_IN, 3 * ROW_IN)
    axes.set_xscale("log")
    low, high = record.dose_range
    hours = "-".join(f"{h:g}" for h in record.hours_range)
    _bar(axes, 0, record.dose_over_today, f"{number(low)}-{number(high)} {DLI_UNIT_TYPESET}")
    names = [f"dose,\n25-100 % of output for {hours} h", EVERY, QUIET]
    for row, span in enumerate((record.all_mixes, record.without_warnings), start=1):
        _draw_index(axes, row, record, span)
    axes.axvline(1, color=INK, linewidth=1.0, linestyle=(0, (3, 2)))
    ends = [*record.dose_over_today, 1.0, *_all_ends(record)]
    limits = 0.8 * min(ends), 1.25 * max(ends)
    axes.set_xlim(*limits)
    axes.set_ylim(2.5, -0.5)
    ticks = [t for t in TICKS if limits[0] <= t <= limits[1]]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    quiet_grid(axes, "x")
    axes.set_yticks(range(3), names)
    axes.tick_params(axis="y", length=0, labelsize=SMALL_PT, pad=8)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("times today's value (dashed: today)", fontsize=TEXT_PT)
    description = " ".join(colour_sentences(record)[1:5])
    return Drawing("colour-or-dose", title, f"{title}. {description}", figure)


def _draw_index(axes: Axes, row: int, record: ColourOrIntensity, span: IndexSpan) -> None:
    ends = record.index_over_today(span, DEFAULT_CURVE)
    if span.spans is None or ends is None:
        write_beside(axes, row, "no such mix", 8)
        return
    curves = [e for e in (record.index_over_today(span, key) for key in span.spans) if e is not None]
    low, high = span.spans[DEFAULT_CURVE]
    _bar(axes, row, ends, f"index {low:.2f}-{high:.2f}")
    widest = min(e[0] for e in curves), max(e[1] for e in curves)
    axes.plot(widest, [row, row], color=INK, linewidth=1.1, solid_capstyle="butt", zorder=4)


def _bar(axes: Axes, row: int, ends: tuple[float, float], words: str) -> None:
    low, high = ends
    axes.barh(row, high - low, left=low, height=0.5, color=BAND_FILL, edgecolor=TONES["blue"], linewidth=1.0)
    write_beside(axes, row, f"{number(high / low, 3)} times: {words}", 8)


def _all_ends(record: ColourOrIntensity) -> list[float]:
    found: list[float] = []
    for span in (record.all_mixes, record.without_warnings):
        for key in span.spans or ():
            found.extend(record.index_over_today(span, key) or ())
    return found
