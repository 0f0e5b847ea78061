"""Tornado figure: how far each plausible change moves the day's light, the farthest on top."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lightdose.answers.words import count, literal
from lightdose.model.changes import CaseRow, CaseSpan, Sensitivity, case_rows
from lightdose.present.figures.canvas import (
    NAMES_IN,
    ROWS_WIDTH_IN,
    Drawing,
    Panel,
    drawn,
    row_name,
    row_sheet,
)
from lightdose.present.figures.lettering import text_width_in
from lightdose.present.figures.style import BAND_FILL, INK, QUIET_INK, SMALL_PT, TONES

WORDS_IN, ROW_IN = 1.9, 0.30
ROWS_AT_MOST: Final = 18
SITES_LEAD: Final = (
    "Bar: the middle site. Line: from the site that changes least to the one that changes most. "
)
LEAD: Final = (
    "Right: how many corals get farther from usual. Sizes of the changes: our choice, unless marked yours."
)


def tornado_drawings(sensitivity: Sensitivity, sites: Sequence[str] = ()) -> list[Drawing]:
    """One figure over all sites, and one for each site that is named."""
    names = [s.name for s in sensitivity.analysis.setup.sites]
    shown = [(case_rows(sensitivity.outcomes), "")]
    shown += [(case_rows(sensitivity.outcomes, names.index(site)), site) for site in sites]
    return [_draw(rows, site) for rows, site in shown if rows]


@drawn
def _draw(rows: Sequence[CaseRow], site: str) -> Drawing:
    shown, left_out = rows[:ROWS_AT_MOST], len(rows) - ROWS_AT_MOST
    at = f" at {literal(site)}" if site else ""
    case, ratio = shown[0].farthest
    farthest = f"{literal(case)}: {ratio:.2f} times"
    title = f"What moves the daily dose{at} most: {literal(shown[0].name)} ({farthest})"
    lead = LEAD if site else SITES_LEAD + LEAD
    lead += f" {count(left_out, 'smaller row')} left out." if left_out > 0 else ""
    sheet, panel = row_sheet(
        title,
        lead,
        [row_name(row.name) for row in shown],
        "daily dose, times the dose before the change",
        words_in=WORDS_IN,
        row_in=ROW_IN,
        gap_in=0.1,
    )
    panel.axes.set_xlim(*_limits(shown))
    for number, row in enumerate(shown):
        _draw_row(panel, number, row)
    panel.axes.axvline(1, color=INK, linewidth=1.2, zorder=4)
    name = "".join(c if c.isalnum() or c in "-_" else "-" for c in f"-{site}") if site else ""
    return sheet.drawing(f"sensitivity{name}", _description(title, shown))


def _extremes(row: CaseRow) -> list[tuple[int, CaseSpan, float]]:
    """The cases that reach farthest to the left (-1) and to the right (1) of no change, and where to."""
    falling, rising = min(row.spans, key=lambda s: s.low), max(row.spans, key=lambda s: s.high)
    ends = ((-1, falling, falling.low), (1, rising, rising.high))
    return [(side, span, ratio) for side, span, ratio in ends if side * (ratio - 1) > 1e-9]


def _limits(rows: Sequence[CaseRow]) -> tuple[float, float]:
    """Ends of the scale with room for the words at the ends of the bars."""
    ends = [end for row in rows for end in _extremes(row)]
    ratios = [1.0, *(ratio for _, _, ratio in ends)]
    low, high = min(ratios), max(ratios)
    left, right = (
        0.15 + max((text_width_in(span.end, SMALL_PT) for at, span, _ in ends if at == side), default=0.0)
        for side in (-1, 1)
    )
    room = ROWS_WIDTH_IN - NAMES_IN - WORDS_IN - left - right
    per_in = max(high - low, 0.02) / max(room, 1.0)
    return low - left * per_in, high + right * per_in


def _draw_row(panel: Panel, number: int, row: CaseRow) -> None:
    for span in sorted(row.spans, key=lambda s: -abs(s.middle - 1)):
        less = span.middle < 1
        fill, edge = (BAND_FILL, TONES["blue"]) if less else ("white", TONES["amber"])
        style = {"edgecolor": edge, "linewidth": 1.2, "hatch": None if less else "////", "zorder": 2}
        panel.bar(number, 1, span.middle, 0.56, fill, **style)
        if span.high - span.low > 1e-9:
            panel.span(number, span.low, span.high)
    for side, span, ratio in _extremes(row):
        panel.note(
            ratio, number, span.end, (4 * side, 0), ha="right" if side < 0 else "left", color=QUIET_INK
        )
    if row.worse:
        panel.beside(number, f"{count(row.worse, 'coral')} farther off", weight="bold")


def _description(title: str, rows: Sequence[CaseRow]) -> str:
    spans = []
    for row in rows[:3]:
        low, high = min(s.low for s in row.spans), max(s.high for s in row.spans)
        spans.append(f"{literal(row.name)} {low:.2f} to {high:.2f}")
    return f"{title}. Dose times that before, over all sites shown: {'; '.join(spans)}."
