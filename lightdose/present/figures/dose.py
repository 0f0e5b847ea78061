"""The dose of every coral on the usual range of its group, one plain bar a coral."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

from lightdose.answers.verdicts import out_of_band, table_words, verdict_sentence, worst_first
from lightdose.model.results import Analysis, Verdict
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
from lightdose.present.figures.dose_marks import draw_dose_mark, write_beside
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    LIMIT_FILL,
    TEXT_PT,
)
from lightdose.present.labels import DLI_UNIT_TYPESET, literal, number, range_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

CORALS_PER_FIGURE = 60
MOST_FIGURES = 5
"""Each takes a second and 20 MB; corals beyond them stand in tables and CSV. Our choice."""
LONG_LIST = 25
"""Longer lists carry the scale above them too."""

WIDTH_IN = 9.5
NAMES_IN = 2.5
WORDS_IN = 3.6
ROW_IN = 0.27
AXIS_IN = 0.55
TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 5, 10, 20, 50, 100, 200, 500, 1000)
LEAD = (
    "Dark bar and brackets: usual dose of its group; light bar: from floor to ceiling. Mark: the stated "
    "value, a disc within, an open diamond outside, a full one far outside. Line: 95 % of what the inputs "
    "allow."
)


def dose_drawings(analysis: Analysis) -> list[Drawing]:
    """Corals, worst first, on as many figures as they need, up to ``MOST_FIGURES``; none without corals."""
    every = worst_first(analysis.verdicts)
    ranked = every[: MOST_FIGURES * CORALS_PER_FIGURE]
    pages = [ranked[i : i + CORALS_PER_FIGURE] for i in range(0, len(ranked), CORALS_PER_FIGURE)]
    shown = f"; the {len(ranked)} furthest off of {len(every):,}" if len(ranked) < len(every) else ""
    limits = _limits(ranked)
    drawings = []
    for index, page in enumerate(pages, start=1):
        name = "doses" if len(pages) == 1 else f"doses-{index}"
        part = "" if len(pages) == 1 else f" ({index} of {len(pages)}{shown})"
        title = f"Daily dose of each coral{part}: {verdict_sentence(analysis.verdicts)}"
        drawings.append(drawn(lambda n=name, t=title, p=page: _draw(n, t, p, limits)))  # type: ignore[misc]
    return drawings


def _draw(name: str, title: str, verdicts: Sequence[Verdict], limits: tuple[float, float]) -> Drawing:
    scale_above = len(verdicts) > LONG_LIST
    head = head_height(title, LEAD, WIDTH_IN) + (0.2 if scale_above else 0.0)
    height = len(verdicts) * ROW_IN
    figure = new_figure(WIDTH_IN, head + height + AXIS_IN)
    write_head(figure, title, LEAD)
    axes = panel(figure, NAMES_IN, head, WIDTH_IN - NAMES_IN - WORDS_IN, height)
    axes.set_xscale("log")
    axes.set_xlim(*limits)
    axes.set_ylim(len(verdicts) - 0.5, -0.5)
    ticks = [t for t in TICKS if limits[0] <= t <= limits[1]]
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    axes.minorticks_off()
    quiet_grid(axes, "x")
    axes.set_yticks(range(len(verdicts)), [fitted(v.coral, NAMES_IN - 0.3, TEXT_PT) for v in verdicts])
    axes.tick_params(axis="y", length=0, labelsize=TEXT_PT, pad=8)
    axes.tick_params(axis="x", top=scale_above, labeltop=scale_above)
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(f"dose in a day [{DLI_UNIT_TYPESET}]", fontsize=TEXT_PT)
    for row, verdict in enumerate(verdicts):
        _draw_coral(axes, row, verdict, limits)
    return Drawing(name, title, _description(title, verdicts), figure)


def _draw_coral(axes: Axes, row: int, verdict: Verdict, limits: tuple[float, float]) -> None:
    words = table_words(verdict)
    if verdict.band_dli is not None:
        low, high = verdict.band_dli
        floor = limits[0] if verdict.floor_dli is None else max(verdict.floor_dli, limits[0])
        ceiling = limits[1] if verdict.ceiling_dli is None else verdict.ceiling_dli
        axes.barh(row, ceiling - floor, left=floor, height=0.34, color=LIMIT_FILL)
        axes.barh(row, high - max(low, limits[0]), left=max(low, limits[0]), height=0.52, color=BAND_FILL)
        words += f" ({range_text(low, high)})"
    place = min(max(verdict.dli_mol_m2_d, limits[0]), limits[1])
    if verdict.certainty is not None:
        ends = [min(max(x, limits[0]), limits[1]) for x in verdict.certainty.interval_dli]
        axes.plot(ends, [row, row], color=INK, linewidth=1.1, solid_capstyle="butt", zorder=4)
    draw_dose_mark(axes, place, row, verdict.dli_state)
    weight = "bold" if verdict.dli_state in ("far_below", "far_above") else "normal"
    write_beside(axes, row, number(verdict.dli_mol_m2_d), 46, ha="right", weight=weight)
    write_beside(axes, row, words, 54, weight=weight)


def _limits(verdicts: Sequence[Verdict]) -> tuple[float, float]:
    """Ends of the scale: every band, ceiling and dose is inside; a trace of light is at the left end."""
    lows = [x for v in verdicts for x in (v.floor_dli, *(v.band_dli or ())) if x]
    ends = [x for v in verdicts if v.certainty for x in v.certainty.interval_dli]
    doses = [x for x in (*(v.dli_mol_m2_d for v in verdicts), *ends) if x > 0]
    highs = [x for v in verdicts for x in (v.ceiling_dli, *(v.band_dli or ())) if x]
    least_mark = min(lows, default=min(doses, default=1.0))
    low = max(min([least_mark, *doses]), least_mark / 8)
    return 0.75 * low, 1.35 * max([least_mark, *highs, *doses])


def _description(title: str, verdicts: Sequence[Verdict]) -> str:
    off = out_of_band(tuple(verdicts))
    if not off:
        return f"{literal(title)}."
    worst = off[0]
    assert worst.band_dli is not None
    return (
        f"{literal(title)}. Furthest off: {literal(worst.coral)} with {number(worst.dli_mol_m2_d)} "
        f"{DLI_UNIT_TYPESET}, usual {range_text(*worst.band_dli)}."
    )
