"""Doses of both setups on their ranges, and each change as bars that multiply."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import TYPE_CHECKING, Final, TypeVar

from lightdose.answers.compare import (
    cell_factor,
    change_sentence,
    largest_changes_first,
    photon_words,
    photons_sentence,
    state_change,
    worst_changes_first,
)
from lightdose.model.comparison import Comparison, CoralComparison, PlaceChange
from lightdose.model.results import Verdict
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
from lightdose.present.figures.dose import MOST_FIGURES, TICKS
from lightdose.present.figures.dose_marks import write_beside
from lightdose.present.figures.style import BAND_FILL, INK, LIMIT_FILL, QUIET_INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import DLI_UNIT_TYPESET, count, literal, number, range_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

ROWS_PER_FIGURE: Final = 50
WIDTH_IN: Final = 9.5
NAMES_IN: Final = 2.4
WORDS_IN: Final = 3.6
ROW_IN: Final = 0.27
AXIS_IN: Final = 0.55
GAP_IN: Final = 0.2
DOSE_LEAD: Final = (
    "Dark bar: usual dose of the coral's group; light bar: from floor to ceiling. Ring: A, disc: B; the line "
    "leads from A to B. Each dose may be off by its 95 % range, which tables name."
)
SPLIT_LEAD: Final = (
    "Each bar starts at 1, no change; to the right is more. Photons = brightness x hours, exactly. Colour by "
    "absorption index over four curves (line: their span) is not growth."
)
TICK_GAP_IN: Final = 0.36
TICK_STEPS: Final = (
    (0.8, 0.9, 1, 1.1, 1.2),
    (0.6, 0.8, 1, 1.25, 1.5),
    (0.5, 0.7, 1, 1.4, 2),
    (0.25, 0.5, 1, 2, 4),
    (0.1, 0.3, 1, 3, 10),
    (0.01, 0.1, 1, 10, 100),
    (1e-6, 1e-4, 1e-2, 1, 1e2, 1e4, 1e6),
)
_Row = TypeVar("_Row")
PARTS: Final = ("photons", "brightness", "hours", "colour, not growth")


def dose_drawings(comparison: Comparison) -> list[Drawing]:
    """Each coral's dose under both, on as many figures as they need, up to ``MOST_FIGURES``."""
    ranked = worst_changes_first(comparison.corals)
    pages = _pages(ranked)
    limits = _limits(ranked)
    changed = sum(c.changes_state for c in ranked)
    words = f"{changed} of {count(len(ranked), 'coral')} {'changes' if changed == 1 else 'change'} state"
    words += f" by the stated values{_largest(pages, ranked)}"
    return [
        drawn(lambda page=page, i=i: _draw_doses(f"comparison-doses{_part(i, pages)}", words, page, limits))  # type: ignore[misc]
        for i, page in enumerate(pages)
    ]


def split_drawings(comparison: Comparison) -> list[Drawing]:
    """The split of each coral, or of each site where no coral stands in both; as many figures at most."""
    corals = [(c.coral, c) for c in worst_changes_first(comparison.corals)]
    sites = [(s.site, s) for s in largest_changes_first(comparison.sites)]
    rows: list[tuple[str, PlaceChange]] = [*corals] if corals else [*sites]
    pages = _pages(rows)
    title = photons_sentence(comparison).removesuffix(".") + _largest(pages, rows)
    return [
        drawn(lambda page=page, i=i: _draw_split(f"comparison-split{_part(i, pages)}", title, page))  # type: ignore[misc]
        for i, page in enumerate(pages)
    ]


def _pages(rows: Sequence[_Row]) -> list[Sequence[_Row]]:
    shown = range(0, min(len(rows), MOST_FIGURES * ROWS_PER_FIGURE), ROWS_PER_FIGURE)
    return [rows[i : i + ROWS_PER_FIGURE] for i in shown]


def _largest(pages: Sequence[Sequence[object]], rows: Sequence[object]) -> str:
    """That some rows are left out, in words."""
    shown = sum(map(len, pages))
    return f" (the {shown} that change most of {len(rows):,} are drawn)" if shown < len(rows) else ""


def _part(index: int, pages: Sequence[object]) -> str:
    return "" if len(pages) == 1 else f"-{index + 1}"


def _draw_doses(
    name: str, words: str, corals: Sequence[CoralComparison], limits: tuple[float, float]
) -> Drawing:
    title = f"Daily dose of each coral under A and B: {words}"
    head = head_height(title, DOSE_LEAD, WIDTH_IN)
    height = len(corals) * ROW_IN
    figure = new_figure(WIDTH_IN, head + height + AXIS_IN)
    write_head(figure, title, DOSE_LEAD)
    axes = panel(figure, NAMES_IN, head, WIDTH_IN - NAMES_IN - WORDS_IN, height)
    axes.set_xscale("log")
    axes.set_xlim(*limits)
    ticks = [t for t in TICKS if limits[0] <= t <= limits[1]]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    _name_rows(axes, [c.coral for c in corals])
    axes.set_xlabel(f"dose in a day [{DLI_UNIT_TYPESET}]", fontsize=TEXT_PT)
    for row, coral in enumerate(corals):
        _draw_range(axes, row, coral.verdict_after, limits)
        _draw_doses_of(axes, row, coral, limits)
    return Drawing(name, title, _described(title, [(c.coral, c) for c in corals]), figure)


def _name_rows(axes: Axes, names: Sequence[str]) -> None:
    axes.set_ylim(len(names) - 0.5, -0.5)
    axes.set_yticks(range(len(names)), [fitted(name, NAMES_IN - 0.3, TEXT_PT) for name in names])
    quiet_grid(axes, "x")
    axes.tick_params(axis="y", length=0, labelsize=TEXT_PT, pad=8)
    axes.spines["left"].set_visible(False)


def _draw_range(axes: Axes, row: int, verdict: Verdict, limits: tuple[float, float]) -> None:
    if verdict.band_dli is None:
        return
    low, high = verdict.band_dli
    floor = max(verdict.floor_dli or 0.0, limits[0])
    ceiling = limits[1] if verdict.ceiling_dli is None else verdict.ceiling_dli
    axes.barh(row, ceiling - floor, left=floor, height=0.34, color=LIMIT_FILL)
    axes.barh(row, high - max(low, limits[0]), left=max(low, limits[0]), height=0.52, color=BAND_FILL)


def _draw_doses_of(axes: Axes, row: int, coral: CoralComparison, limits: tuple[float, float]) -> None:
    doses = coral.before.dli_mol_m2_d, coral.after.dli_mol_m2_d
    held = [min(max(dose, limits[0]), limits[1]) for dose in doses]
    axes.plot(held, [row, row], color=INK, linewidth=1.1, zorder=4)
    for place, face in zip(held, ("white", TONES["total"]), strict=True):
        axes.plot(
            [place],
            [row],
            linestyle="none",
            marker="o",
            markersize=6.5,
            markerfacecolor=face,
            markeredgecolor=INK,
            markeredgewidth=1.3,
            clip_on=False,
            zorder=5,
        )
    band = coral.verdict_after.band_dli
    usual = f" (usual {range_text(*band)})" if band else ""
    text = f"{number(doses[0])} → {number(doses[1])}: {state_change(coral)}{usual}"
    weight = "bold" if coral.changes_state else "normal"
    write_beside(axes, row, fitted(text, WORDS_IN - 0.35, SMALL_PT), 12, weight=weight)


def _limits(corals: Sequence[CoralComparison]) -> tuple[float, float]:
    """Ends of the scale: every band and dose is inside; a trace of light is at the left end."""
    verdicts = [c.verdict_after for c in corals]
    lows = [x for v in verdicts for x in (v.floor_dli, *(v.band_dli or ())) if x]
    highs = [x for v in verdicts for x in (v.ceiling_dli, *(v.band_dli or ())) if x]
    doses = [x for c in corals for x in (c.before.dli_mol_m2_d, c.after.dli_mol_m2_d) if x > 0]
    least = min(lows, default=min(doses, default=1.0))
    return 0.75 * max(min([least, *doses]), least / 8), 1.35 * max([least, *highs, *doses])


def _draw_split(name: str, title: str, rows: Sequence[tuple[str, PlaceChange]]) -> Drawing:
    head = head_height(title, SPLIT_LEAD, WIDTH_IN) + 0.25
    height = len(rows) * ROW_IN
    figure = new_figure(WIDTH_IN, head + height + AXIS_IN)
    write_head(figure, title, SPLIT_LEAD)
    width = (WIDTH_IN - NAMES_IN - 0.2) / len(PARTS) - GAP_IN
    ends = _split_limits([change for _, change in rows])
    for column, part in enumerate(PARTS):
        axes = panel(figure, NAMES_IN + column * (width + GAP_IN), head, width, height)
        axes.set_xscale("log")
        axes.set_xlim(*ends)
        ticks = _factor_ticks(ends, width)
        axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
        axes.minorticks_off()
        _name_rows(axes, [row[0] for row in rows])
        if column:
            axes.tick_params(labelleft=False)
        axes.axvline(1, color=INK, linewidth=0.8)
        axes.set_title(
            part, fontsize=TEXT_PT, color=INK, loc="left", weight="bold" if column == 0 else "normal"
        )
        axes.set_xlabel("B over A, times", fontsize=SMALL_PT)
        for row, (_, change) in enumerate(rows):
            _draw_factor(axes, row, change, part)
    return Drawing(name, title, _described(title, rows), figure)


def _draw_factor(axes: Axes, row: int, change: PlaceChange, part: str) -> None:
    split = change.split
    colour = split.ln_colour
    ln = {
        "photons": split.ln_dli,
        "brightness": split.ln_intensity,
        "hours": split.ln_time,
        PARTS[3]: colour.default if colour else None,
    }[part]
    if ln is None:
        if part == PARTS[0]:
            _write_at_one(axes, 1.0, row, photon_words(change), INK)
        return
    ratio = math.exp(ln)
    fill = TONES["total"] if part == PARTS[0] else BAND_FILL
    axes.barh(row, ratio - 1, left=1, height=0.5, color=fill)
    high = ratio
    if part == PARTS[3] and colour is not None:
        high = math.exp(colour.high)
        axes.plot([math.exp(colour.low), high], [row, row], color=INK, linewidth=1.1, solid_capstyle="butt")
    _write_at_one(axes, max(1.0, high), row, cell_factor(ratio), INK if part == PARTS[0] else QUIET_INK)


def _write_at_one(axes: Axes, at: float, row: int, text: str, colour: str) -> None:
    """Words to the right of 1, or of a bar that ends there."""
    axes.annotate(
        text,
        (at, row),
        xytext=(4, 0),
        textcoords="offset points",
        va="center",
        fontsize=SMALL_PT,
        color=colour,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.6},
    )


def _split_limits(changes: Sequence[PlaceChange]) -> tuple[float, float]:
    logs = [0.0]
    for change in changes:
        split = change.split
        logs += [x for x in (split.ln_dli, split.ln_intensity, split.ln_time) if x is not None]
        if split.ln_colour is not None:
            logs += [split.ln_colour.low, split.ln_colour.high]
    low, high = min(logs), max(logs)
    span = max(high - low, math.log(1.25))
    return math.exp(low - 0.1 * span), math.exp(max(high, low + 0.3 * span) + 0.45 * span)


def _factor_ticks(ends: tuple[float, float], width_in: float) -> list[float]:
    """Round factors within the ends, 1 among them, as many as stand apart."""
    low, high = ends
    for steps in TICK_STEPS:
        ticks = [float(t) for t in steps if low <= t <= high]
        apart = min((math.log(y / x) for x, y in pairwise(ticks)), default=math.inf)
        if apart * width_in >= TICK_GAP_IN * math.log(high / low):
            return ticks
    return [1.0]


def _described(title: str, rows: Sequence[tuple[str, PlaceChange]]) -> str:
    shown = "; ".join(f"{literal(name)}: {change_sentence(change)}" for name, change in rows[:6])
    more = f"; and {len(rows) - 6} more" if len(rows) > 6 else ""
    return f"{literal(title)}. {shown}{more}." if rows else f"{literal(title)}."
