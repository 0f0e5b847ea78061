"""The customer's page: exactly one sheet, whatever the names and however many the corals."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from lightdose.answers.blocks import Point
from lightdose.answers.handout import (
    finding,
    letters,
    light_sentences,
    more_text,
    standing_points,
    titles,
    why_points,
)
from lightdose.answers.words import literal
from lightdose.model.record import dataclass
from lightdose.model.results import Verdict
from lightdose.model.shop import Handout
from lightdose.present.figures.canvas import Drawing, drawn, new_figure, write_text
from lightdose.present.figures.handout import (
    ROW_IN,
    CoralRow,
    chosen_rows,
    coral_rows,
    day_top_ppfd,
    draw_corals,
    draw_day,
)
from lightdose.present.figures.lettering import fitted, shortened
from lightdose.present.figures.style import QUIET_INK
from lightdose.present.paper import (
    SHEETS_IN,
    Paper,
    write_rows,
    write_rule,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN_IN: Final = 0.5
LABEL_IN: Final = 1.24
GAP_IN: Final = 0.035
BETWEEN_IN: Final = 0.3
PART_IN: Final = 0.13
TITLE_PT: Final = 13.0
SIZES_PT: Final = (8.6, 8.2, 7.8, 7.4, 7.0)
"""The text is set as large as leaves room for enough corals."""

ENOUGH_ROWS: Final = 10
DAY_IN: Final = ((1.5, 2.2), (1.35, 2.0))
"""Least and greatest height of a day curve, of one setup and of two."""
KEY: Final = (
    "Bars: dark the usual range, light from floor to ceiling, the thin line what the inputs allow (95 %). "
    "Stated value: disc within, open diamond outside, full diamond far outside."
)


@dataclass(frozen=True)
class Plan:
    """How the sheet is shared out. [inch, pt]"""

    size_pt: float
    rows: int
    day_in: float


@drawn
def handout_pages(handout: Handout, paper: Paper) -> Drawing:
    """The one page of a hand-out; ``paper.pdf_bytes`` turns it into the file.

    The text is as large as leaves room for the corals, and the day curve taller where room is left.
    """
    rows = coral_rows(handout.lights)
    least, greatest = DAY_IN[len(handout.lights) - 1]
    for size in SIZES_PT:
        _, left = _written(handout, paper, rows, Plan(size, 1, least))
        fit = max(1 + math.floor(left / ROW_IN), 0)
        if left >= 0 and fit >= min(len(rows), ENOUGH_ROWS):
            break
    spare = max(left - (len(rows) - 1) * ROW_IN, 0.0)
    plan = Plan(size, min(fit, len(rows)), min(least + spare, greatest))
    figure, _ = _written(handout, paper, rows, plan)
    title = f"{_title(handout)}: {finding(handout)}"
    return Drawing("handout", title, f"{title}. {literal(handout.lights[0].analysis.basis.sentence)}", figure)


def _written(handout: Handout, paper: Paper, rows: list[CoralRow], plan: Plan) -> tuple[Figure, float]:
    """The sheet, and how much room is left on it. [inch]"""
    width_in, height_in = SHEETS_IN[paper]
    figure = new_figure(width_in, height_in)
    inner = width_in - 2 * MARGIN_IN
    top = _write_head(figure, handout, inner)
    top = _rows(figure, top, inner, why_points(handout), plan.size_pt) + PART_IN
    if rows:
        top = _write_corals(figure, top, inner, handout, rows, plan)
    top = _write_lights(figure, top, inner, handout, plan) + PART_IN
    write_rule(figure, MARGIN_IN, top - PART_IN / 2, inner)
    bottom = _rows(figure, top, inner, standing_points(handout), plan.size_pt)
    return figure, height_in - MARGIN_IN - bottom


def _title(handout: Handout) -> str:
    return shortened(handout.lights[0].analysis.setup.title, 60)


def _write_head(figure: Figure, handout: Handout, inner: float) -> float:
    date = f"   {handout.date}" if handout.date else ""
    named = titles(handout)
    if len(named) > 1:
        named = [f"A: {shortened(named[0], 45)}   B: {shortened(named[1], 45)}"]
    headline = fitted(finding(handout), inner, TITLE_PT, bold=True)
    top = write_text(figure, MARGIN_IN, MARGIN_IN, 20.0, headline, TITLE_PT, weight="bold")
    line = f"{fitted(named[0], inner - 1.2, 9.5)}{date}"
    top = write_text(figure, MARGIN_IN, top + 0.02, 20.0, line, 9.5, color=QUIET_INK)
    return top + 0.14


def _rows(figure: Figure, top: float, inner: float, rows: list[Point], size_pt: float) -> float:
    return write_rows(figure, MARGIN_IN, top, inner, rows, label_in=LABEL_IN, size_pt=size_pt, gap_in=GAP_IN)


def _heads(handout: Handout) -> list[str]:
    return [
        f"{letter}: {title}" if letter else ""
        for letter, title in zip(letters(handout), titles(handout), strict=True)
    ]


def _write_corals(
    figure: Figure, top: float, inner: float, handout: Handout, rows: list[CoralRow], plan: Plan
) -> float:
    shown = chosen_rows(rows, plan.rows)
    top = draw_corals(figure, MARGIN_IN, top, inner, shown, _heads(handout)) + 0.05
    if len(shown) < len(rows):
        hidden = [row for row in rows if row not in shown]
        text = more_text(handout, _verdicts(hidden, len(handout.lights)))
        top = write_text(figure, MARGIN_IN, top, inner, text, plan.size_pt)
    return write_text(figure, MARGIN_IN, top, inner, KEY, plan.size_pt - 0.8, color=QUIET_INK) + PART_IN


def _verdicts(rows: Sequence[CoralRow], setups: int) -> list[list[Verdict]]:
    return [[v for row in rows if (v := row.verdicts[side]) is not None] for side in range(setups)]


def _columns(handout: Handout, inner: float) -> tuple[float, float]:
    """Widths of both columns: one setup's day takes more than the words beside it."""
    first = (inner - BETWEEN_IN) * (0.6 if len(handout.lights) == 1 else 0.5)
    return first, inner - BETWEEN_IN - first


def _write_lights(figure: Figure, top: float, inner: float, handout: Handout, plan: Plan) -> float:
    """One setup: its day, and beside it how it looks; two: each in a column, its words below its day."""
    first, second = _columns(handout, inner)
    alone, highest = len(handout.lights) == 1, day_top_ppfd(handout.lights)
    bottoms = []
    for turn, light in enumerate(handout.lights):
        left = MARGIN_IN + turn * (first + BETWEEN_IN)
        head = "Light through the day" if alone else f"{'AB'[turn]}: light through the day"
        below = write_text(figure, left, top, first, head, plan.size_pt, weight="bold")
        day_bottom = below
        if light.days:
            day_bottom = draw_day(figure, left, below + 0.02, first, plan.day_in, light, highest)
        text_left, text_top = (MARGIN_IN + first + BETWEEN_IN, below) if alone else (left, day_bottom)
        for sentence in light_sentences(light, alone=alone):
            text_top = write_text(figure, text_left, text_top, second, sentence, plan.size_pt) + GAP_IN
        bottoms += [day_bottom, text_top]
    return max(bottoms)
