"""Tornado figure: how far each plausible change moves the day's light, the farthest on top."""

from __future__ import annotations

import math
import statistics
from collections.abc import Sequence
from typing import TYPE_CHECKING

from lightdose.model.changes import CaseOutcome, Sensitivity
from lightdose.model.record import dataclass
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
from lightdose.present.figures.dose_marks import write_beside
from lightdose.present.figures.style import BAND_FILL, INK, QUIET_INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import count, literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 8.8
NAMES_IN = 2.6
WORDS_IN = 1.9
ROW_IN = 0.30
AXIS_IN = 0.55
ROWS_AT_MOST = 18
LEAST_SHOWN = 0.005
"""Rows whose largest change is smaller are left out: our choice."""

LEAD_ALL = (
    "Bar: the middle site. Line: from the site that changes least to the one that changes most. Right: how "
    "many corals get farther from usual. Sizes of the changes: our choice, unless marked yours."
)
LEAD_ONE = (
    "Right: how many corals get farther from usual. Sizes of the changes: our choice, unless marked yours."
)


@dataclass(frozen=True)
class Bar:
    """One case in its row: ratio at the middle site, and the lowest and the highest of all."""

    end: str
    middle: float
    low: float
    high: float


@dataclass(frozen=True)
class TornadoRow:
    """One kind of change; ``worse`` counts the corals that its worst case brings farther from usual."""

    name: str
    bars: tuple[Bar, ...]
    worse: int

    @property
    def reach(self) -> float:
        """The largest change of any bar at any site, as |ln ratio|."""
        return max(abs(math.log(max(end, 1e-9))) for b in self.bars for end in (b.low, b.high))


def tornado_rows(outcomes: Sequence[CaseOutcome], site: int | None = None) -> list[TornadoRow]:
    """Rows by the reach of their cases, the farthest first."""
    grouped: dict[str, list[CaseOutcome]] = {}
    for outcome in outcomes:
        grouped.setdefault(outcome.case.row, []).append(outcome)
    rows = []
    for name, members in grouped.items():
        bars, worse = [], []
        for outcome in members:
            places = outcome.sites if site is None else (outcome.sites[site],)
            ratios = [p.dli_ratio for p in places if p.dli_ratio is not None]
            if ratios:
                bars.append(Bar(outcome.case.end, statistics.median(ratios), min(ratios), max(ratios)))
                worse.append(sum(c.worsens for p in places for c in p.corals))
        if bars:
            mark = " (yours)" if members[0].case.source == "yours" else ""
            rows.append(TornadoRow(name + mark, tuple(bars), max(worse)))
    rows.sort(key=lambda r: -r.reach)
    return [r for r in rows if r.reach >= LEAST_SHOWN or r.name.endswith("(yours)")]


def tornado_drawings(found: Sensitivity, sites: Sequence[str] = ()) -> list[Drawing]:
    """One figure over all sites, and one for each site that is named."""
    names = [s.name for s in found.analysis.setup.sites]
    wanted: list[int | None] = [None, *(names.index(s) for s in sites)]
    drawings = []
    for place in wanted:
        rows = tornado_rows(found.outcomes, place)
        if rows:
            where = "" if place is None else names[place]
            drawings.append(drawn(lambda r=rows, w=where: _draw(r, w)))  # type: ignore[misc]
    return drawings


def _draw(rows: Sequence[TornadoRow], site: str) -> Drawing:
    shown, left_out = list(rows[:ROWS_AT_MOST]), len(rows) - ROWS_AT_MOST
    at = f" at {literal(site)}" if site else ""
    title = f"What moves the daily dose{at} most: {literal(shown[0].name)} ({_farthest(shown[0])})"
    lead = LEAD_ONE if site else LEAD_ALL
    if left_out > 0:
        lead += f" {count(left_out, 'smaller row')} left out."
    head = head_height(title, lead, WIDTH_IN) + 0.1
    height = len(shown) * ROW_IN
    figure = new_figure(WIDTH_IN, head + height + AXIS_IN)
    write_head(figure, title, lead)
    width = WIDTH_IN - NAMES_IN - WORDS_IN
    axes = panel(figure, NAMES_IN, head, width, height)
    axes.set_xlim(*_limits(shown, width))
    axes.set_ylim(len(shown) - 0.5, -0.5)
    quiet_grid(axes, "x")
    axes.set_yticks(range(len(shown)), [fitted(r.name, NAMES_IN - 0.3, TEXT_PT) for r in shown])
    axes.tick_params(axis="y", length=0, labelsize=TEXT_PT, pad=8)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel("daily dose, times the dose before the change", fontsize=TEXT_PT)
    for number, row in enumerate(shown):
        _draw_row(axes, number, row)
    axes.axvline(1, color=INK, linewidth=1.2, zorder=4)
    name = f"sensitivity-{site}" if site else "sensitivity"
    return Drawing(_file_stem(name), title, _description(title, shown), figure)


def _file_stem(name: str) -> str:
    return "".join(c if c.isalnum() or c in "-_" else "-" for c in name)


def _limits(rows: Sequence[TornadoRow], width_in: float) -> tuple[float, float]:
    """Ends of the scale with room for the words at the ends of the bars."""
    low = min(1.0, *(b.low for r in rows for b in r.bars))
    high = max(1.0, *(b.high for r in rows for b in r.bars))
    left = max((text_width_in(_extreme(r, -1).end, SMALL_PT) for r in rows if _falls(r)), default=0.0) + 0.15
    right = max((text_width_in(_extreme(r, 1).end, SMALL_PT) for r in rows if _rises(r)), default=0.0) + 0.15
    per_in = max(high - low, 0.02) / max(width_in - left - right, 1.0)
    return low - left * per_in, high + right * per_in


def _farthest(row: TornadoRow) -> str:
    """The bar that reaches farthest, in words: "half the sky: 0.50 times"."""
    ends = [(abs(math.log(max(e, 1e-9))), b.end, e) for b in row.bars for e in (b.low, b.high)]
    _, words, ratio = max(ends)
    return f"{literal(words)}: {ratio:.2f} times"


def _falls(row: TornadoRow) -> bool:
    return min(b.low for b in row.bars) < 1 - 1e-9


def _rises(row: TornadoRow) -> bool:
    return max(b.high for b in row.bars) > 1 + 1e-9


def _extreme(row: TornadoRow, side: int) -> Bar:
    """The bar that reaches farthest to the left (-1) or to the right (1)."""
    return min(row.bars, key=lambda b: b.low) if side < 0 else max(row.bars, key=lambda b: b.high)


def _draw_row(axes: Axes, number: int, row: TornadoRow) -> None:
    for bar in sorted(row.bars, key=lambda b: -abs(b.middle - 1)):
        less = bar.middle < 1
        axes.barh(
            number,
            bar.middle - 1,
            left=1,
            height=0.56,
            color=BAND_FILL if less else "white",
            edgecolor=TONES["blue"] if less else TONES["amber"],
            linewidth=1.2,
            hatch=None if less else "////",
            zorder=2,
        )
        if bar.high - bar.low > 1e-9:
            axes.plot([bar.low, bar.high], [number, number], color=INK, linewidth=1.1, zorder=3)
    for side, present in ((-1, _falls(row)), (1, _rises(row))):
        if present:
            bar = _extreme(row, side)
            axes.annotate(
                bar.end,
                (bar.low if side < 0 else bar.high, number),
                xytext=(4 * side, 0),
                textcoords="offset points",
                ha="right" if side < 0 else "left",
                va="center",
                fontsize=SMALL_PT,
                color=QUIET_INK,
            )
    if row.worse:
        write_beside(axes, number, f"{count(row.worse, 'coral')} farther off", 8, weight="bold")


def _description(title: str, rows: Sequence[TornadoRow]) -> str:
    spans = []
    for row in rows[:3]:
        low, high = min(b.low for b in row.bars), max(b.high for b in row.bars)
        spans.append(f"{literal(row.name)} {low:.2f} to {high:.2f}")
    return f"{title}. Dose times that before, over all sites shown: {'; '.join(spans)}."
