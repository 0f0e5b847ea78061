"""Gross photosynthesis against overall output: each further step of light brings less."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from lightdose.answers.photosynthesis import (
    coral_sentence,
    ek_words,
    hours_span,
    percent_span,
    return_finding,
)
from lightdose.model.changes import CoralReturn, DiminishingReturn
from lightdose.present.figures.canvas import (
    Drawing,
    drawn,
    fitted,
    head_height,
    new_figure,
    panel,
    quiet_grid,
    text_width_in,
    write_head,
)
from lightdose.present.figures.style import BAND_FILL, INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import PPFD_UNIT_TYPESET, count, percent

if TYPE_CHECKING:
    from matplotlib.axes import Axes

MOST_CORALS = 6
WIDTH_IN = 9.5
LEFT_IN = 0.75
PANEL_WIDE_IN = 3.85
PANEL_HIGH_IN = 1.55
COLUMN_GAP_IN = 0.75
ROW_GAP_IN = 0.9
AXIS_IN = 0.6


def diminishing_drawing(record: DiminishingReturn, sites: Sequence[str] = ()) -> Drawing | None:
    """Hours at Pmax against output, a panel a coral; None where no coral has light and an Ek.

    Those at ``sites`` where any are named, else some from the brightest to the dimmest.
    """
    if not record.corals:
        return None
    shown = _shown(record, sites)
    return drawn(lambda: _draw(record, shown))


def _shown(record: DiminishingReturn, sites: Sequence[str]) -> list[CoralReturn]:
    pool = [c for c in record.corals if c.site in sites] or list(record.corals)
    if len(pool) <= MOST_CORALS:
        return pool
    last = len(pool) - 1
    return [pool[round(i * last / (MOST_CORALS - 1))] for i in range(MOST_CORALS)]


def _lead(record: DiminishingReturn, shown: Sequence[CoralReturn]) -> str:
    some = ""
    if len(shown) < len(record.corals):
        some = f"{len(shown)} of {count(len(record.corals), 'coral')}. "
    others = any(c.ek_model != "tanh" for c in shown)
    others_say = " (where it is of a fit of another curve, tanh gives a little more)" if others else ""
    return (
        f"{some}Hours at Pmax that the day's gross photosynthesis is worth by tanh, relative to Pmax. Band: "
        f"range of the onset of saturation, Ek{others_say}. Output: today's programme scaled; at 100 % the "
        "first channel runs at full. Not in it: respiration, growth, harm by strong light, acclimation."
    )


def _draw(record: DiminishingReturn, shown: Sequence[CoralReturn]) -> Drawing:
    title, lead = return_finding(record), _lead(record, shown)
    head = head_height(title, lead, WIDTH_IN) + 0.6
    columns = min(2, len(shown))
    rows = -(-len(shown) // columns)
    step = PANEL_HIGH_IN + ROW_GAP_IN
    figure = new_figure(WIDTH_IN, head + rows * step - ROW_GAP_IN + AXIS_IN)
    write_head(figure, title, lead)
    top = 1.08 * max(float(c.hours_high.max()) for c in shown)
    for index, coral in enumerate(shown):
        row, column = divmod(index, columns)
        left = LEFT_IN + column * (PANEL_WIDE_IN + COLUMN_GAP_IN)
        axes = panel(figure, left, head + row * step, PANEL_WIDE_IN, PANEL_HIGH_IN)
        _draw_coral(axes, record, coral, top)
        if index + columns >= len(shown):
            axes.set_xlabel("overall output, share of all in today's mix [%]", fontsize=TEXT_PT)
        if column == 0:
            axes.set_ylabel("hours at Pmax [h]", fontsize=TEXT_PT)
    words = " ".join(coral_sentence(c) for c in shown)
    return Drawing("diminishing-return", title, f"{title}. {words}", figure)


def _draw_coral(axes: Axes, record: DiminishingReturn, coral: CoralReturn, top: float) -> None:
    output = 100 * record.output
    axes.fill_between(output, coral.hours_low, coral.hours_high, color=BAND_FILL, alpha=0.55, linewidth=0)
    for edge in (coral.hours_low, coral.hours_high):
        axes.plot(output, edge, color=TONES["blue"], linewidth=1.3)
    today = 100 * record.today
    axes.axvline(today, color=INK, linewidth=1.0, linestyle=(0, (3, 2)))
    axes.plot([today, today], coral.today_h, color=INK, linewidth=2.2, marker="_", markersize=7, zorder=5)
    axes.set_xlim(0, 100)
    axes.set_ylim(0, top)
    axes.set_xticks(range(0, 101, 25))
    axes.set_yticks([h for h in range(0, 25, 3 if top > 5 else 1) if h <= top])
    quiet_grid(axes)
    _write_today(axes, today, f"today {percent(record.today)}", top)
    _panel_head(axes, coral)


def _panel_head(axes: Axes, coral: CoralReturn) -> None:
    """Name, Ek and today's figures above a panel."""
    beside = f"full: {hours_span(coral.full_h)} h"
    room = PANEL_WIDE_IN - text_width_in(beside, SMALL_PT) - 0.2
    words = f"today: {hours_span(coral.today_h)} h"
    if coral.above_saturation_h is not None and coral.beyond_saturation_fraction is not None:
        beyond = percent_span(coral.beyond_saturation_fraction)
        words += f"; above Ek {hours_span(coral.above_saturation_h)} h, {beyond} % of photons beyond it"
    basis = fitted(ek_words(coral, PPFD_UNIT_TYPESET), PANEL_WIDE_IN, SMALL_PT)
    kept: dict[str, Any] = {"transform": axes.transAxes, "color": INK, "va": "bottom"}
    name = fitted(coral.coral, room, TEXT_PT, bold=True)
    axes.text(0, 1.24, name, fontsize=TEXT_PT, weight="bold", **kept)
    axes.text(1, 1.24, beside, fontsize=SMALL_PT, ha="right", **kept)
    axes.text(0, 1.13, basis, fontsize=SMALL_PT, **kept)
    axes.text(0, 1.02, words, fontsize=SMALL_PT, **kept)


def _write_today(axes: Axes, today: float, words: str, top: float) -> None:
    """Beside the line of today, on the side with more room, near the floor where the curves leave it free."""
    right = today < 55
    axes.annotate(
        words,
        (today, 0.04 * top),
        xytext=(5 if right else -5, 0),
        textcoords="offset points",
        ha="left" if right else "right",
        va="bottom",
        fontsize=SMALL_PT,
        color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "alpha": 0.8, "pad": 0.8},
    )
