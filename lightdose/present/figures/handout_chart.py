"""The pictures of the customer's page: corals on their usual range, and light through the day."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, Any, Final, Literal

from lightdose.answers.handout import state_words
from lightdose.answers.verdicts import SEVERITY, bar_of, worst_first
from lightdose.model.record import dataclass
from lightdose.model.results import Verdict
from lightdose.model.shop import HandedLight
from lightdose.present.figures.canvas import fitted, panel, quiet_grid
from lightdose.present.figures.dose_marks import draw_dose_mark
from lightdose.present.figures.style import BAND_FILL, INK, LIMIT_FILL, QUIET_INK, TONES
from lightdose.present.labels import DLI_UNIT_TYPESET, PPFD_UNIT_TYPESET, number, range_text
from lightdose.present.paper import line_in, write_rule, write_text
from lightdose.present.range_bar import WIDTH, range_bar

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

ROW_IN: Final = 0.185
HEAD_IN: Final = 0.36
ROW_PT: Final = 7.5
LINES: Final[tuple[tuple[str, Any], ...]] = ((TONES["total"], "solid"), (TONES["blue"], (0, (4, 1.6))))
"""The brightest place and the dimmest."""

LEGEND_IN: Final = 0.3
AXIS_IN: Final = 0.42
LEFT_IN: Final = 0.5


@dataclass(frozen=True)
class CoralRow:
    """One coral under each setup; None where it is not in it."""

    name: str
    verdicts: tuple[Verdict | None, ...]


def coral_rows(lights: Sequence[HandedLight]) -> list[CoralRow]:
    """The corals by name, in the order of concern; those that every setup has stand first."""
    found = [{v.coral: v for v in worst_first(light.analysis.verdicts)} for light in lights]
    names = dict.fromkeys(name for one in found for name in one)
    rows = [CoralRow(name, tuple(one.get(name) for one in found)) for name in names]
    return sorted(rows, key=lambda row: None in row.verdicts)


def chosen_rows(rows: Sequence[CoralRow], room: int) -> list[CoralRow]:
    """As many as there is room for: those furthest off in half of it, else one of each group in turn."""
    if len(rows) <= room:
        return list(rows)
    off = [i for i, row in enumerate(rows) if any(v and SEVERITY[v.likely_state] < 2 for v in row.verdicts)]
    kept = off[: room // 2]
    seen: dict[str, int] = {}
    turns = []
    for i, row in enumerate(rows):
        group = next(v.group for v in row.verdicts if v)
        seen[group] = seen.get(group, 0) + 1
        turns.append((seen[group], i))
    kept += [i for _, i in sorted(turns) if i not in kept][: max(room - len(kept), 0)]
    return [rows[i] for i in sorted(kept[:room])]


@dataclass(frozen=True)
class Column:
    """A column of the table of corals, from its left edge. [inch]"""

    head: str
    left_in: float
    width_in: float
    words: Callable[[CoralRow], str]
    align: Literal["left", "right"] = "left"


def draw_corals(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    rows: Sequence[CoralRow],
    heads: Sequence[str],
) -> float:
    """The table with its bars; the height below it. [inch from the top]"""
    sides = len(heads)
    name_in, number_in, bar_in, words_in = (1.7, 0.5, 1.4, 2.1) if sides == 1 else (1.3, 0.42, 1.05, 0.92)
    columns = [Column("coral", 0.0, name_in, lambda row: row.name)]
    edge = name_in
    for side in range(sides):
        columns.append(Column("", edge, number_in, lambda row, s=side: _dose(row, s), "right"))  # type: ignore[misc]
        edge += number_in + bar_in + 0.2
        columns.append(Column("", edge, words_in, lambda row, s=side: _state(row, s, sides), "left"))  # type: ignore[misc]
        edge += words_in
    columns.append(Column("usual, grade", edge, width_in - edge, _usual))
    _draw_heads(figure, left_in, top_in, columns, heads, number_in + bar_in + words_in)
    top_in += HEAD_IN
    for row_number, row in enumerate(rows):
        for column in columns:
            _write_cell(figure, left_in, top_in + row_number * ROW_IN, column, row)
    for side in range(sides):
        start = left_in + columns[1 + 2 * side].left_in + number_in + 0.1
        _draw_bars(figure, start, top_in, bar_in, [row.verdicts[side] for row in rows])
    return top_in + len(rows) * ROW_IN


def _draw_heads(
    figure: Figure,
    left_in: float,
    top_in: float,
    columns: Sequence[Column],
    heads: Sequence[str],
    side_in: float,
) -> None:
    quiet = {"color": QUIET_INK}
    below = top_in + line_in(ROW_PT)
    for side, head in enumerate(heads):
        first = columns[1 + 2 * side]
        if head:
            name = fitted(head, side_in, ROW_PT, bold=True)
            write_text(figure, left_in + first.left_in + 0.1, top_in, 9.0, name, ROW_PT, weight="bold")
        start = left_in + first.left_in + 0.1
        write_text(figure, start, below, 2.0, f"dose in a day, {DLI_UNIT_TYPESET}", ROW_PT - 0.5, **quiet)
    write_text(figure, left_in, below, 1.0, "coral", ROW_PT - 0.5, **quiet)
    write_text(figure, left_in + columns[-1].left_in, below, 2.0, "usual, grade", ROW_PT - 0.5, **quiet)
    write_rule(figure, left_in, top_in + HEAD_IN - 0.03, columns[-1].left_in + columns[-1].width_in)


def _write_cell(figure: Figure, left_in: float, top_in: float, column: Column, row: CoralRow) -> None:
    width, height = figure.get_size_inches()
    text = fitted(column.words(row), column.width_in - 0.04, ROW_PT)
    at = left_in + column.left_in + (column.width_in if column.align == "right" else 0.0)
    middle = 1 - (top_in + ROW_IN / 2) / height
    figure.text(at / width, middle, text, fontsize=ROW_PT, color=INK, ha=column.align, va="center_baseline")


def _dose(row: CoralRow, side: int) -> str:
    verdict = row.verdicts[side]
    return "-" if verdict is None else number(verdict.dli_mol_m2_d)


def _state(row: CoralRow, side: int, sides: int) -> str:
    from lightdose.answers.verdicts import table_words

    verdict = row.verdicts[side]
    if verdict is None:
        return "not in it"
    return table_words(verdict) if sides == 1 else state_words(verdict)


def _usual(row: CoralRow) -> str:
    verdict = next(v for v in row.verdicts if v)
    if verdict.band_dli is None:
        return "-"
    return f"{range_text(*verdict.band_dli)}, {verdict.grade}"


def _draw_bars(
    figure: Figure, left_in: float, top_in: float, width_in: float, verdicts: Sequence[Verdict | None]
) -> None:
    axes = panel(figure, left_in, top_in, width_in, len(verdicts) * ROW_IN)
    axes.set_xlim(0, WIDTH)
    axes.set_ylim(len(verdicts) - 0.5, -0.5)
    axes.axis("off")
    for row, verdict in enumerate(verdicts):
        found = bar_of(verdict) if verdict is not None else None
        if found is None:
            continue
        bar = range_bar(found)
        axes.barh(row, bar.ceiling - bar.floor, left=bar.floor, height=0.36, color=LIMIT_FILL)
        axes.barh(row, bar.high - bar.low, left=bar.low, height=0.6, color=BAND_FILL)
        if bar.line:
            axes.plot(bar.line, [row, row], color=INK, linewidth=0.9, solid_capstyle="butt", zorder=4)
        draw_dose_mark(axes, bar.mark, row, bar.state, size_pt=5, edge_pt=1.1)


def day_top_ppfd(lights: Sequence[HandedLight]) -> float:
    """The highest light of any day: setups beside one another share the scale. [umol m-2 s-1]"""
    return max(
        (float(day.by_channel.sum(axis=0).max(initial=0.0)) for light in lights for day in light.days),
        default=0.0,
    )


def draw_day(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    height_in: float,
    light: HandedLight,
    top_ppfd: float,
) -> float:
    """Light through the day at the brightest and the dimmest place; the height below it."""
    from matplotlib.lines import Line2D

    sheet_width, sheet_height = figure.get_size_inches()
    axes = panel(
        figure, left_in + LEFT_IN, top_in + LEGEND_IN, width_in - LEFT_IN, height_in - LEGEND_IN - AXIS_IN
    )
    for turn, (day, (colour, dash)) in enumerate(zip(light.days, LINES, strict=False)):
        ppfd = day.by_channel.sum(axis=0)
        axes.plot(day.time_h, ppfd, color=colour, linestyle=dash, linewidth=1.5)
        name = fitted(light.place_name(day.receiver), width_in - LEFT_IN - 0.95, ROW_PT)
        words = f"{name}, peak {number(float(ppfd.max(initial=0.0)))}"
        line_top = top_in + turn * line_in(ROW_PT)
        y = 1 - (line_top + 0.06) / sheet_height
        ends = ((left_in + LEFT_IN) / sheet_width, (left_in + LEFT_IN + 0.22) / sheet_width)
        figure.add_artist(Line2D(ends, (y, y), color=colour, linestyle=dash, linewidth=1.5))
        write_text(figure, left_in + LEFT_IN + 0.28, line_top, width_in, words, ROW_PT)
    _scale(axes, top_ppfd)
    return top_in + height_in


def _scale(axes: Axes, top_ppfd: float) -> None:
    axes.set_xlim(0, 24)
    axes.set_xticks(range(0, 25, 3))
    axes.set_ylim(0, 1.08 * top_ppfd if top_ppfd > 0 else 1.0)
    axes.locator_params(axis="y", nbins=4)
    axes.set_xlabel("hour of the day", fontsize=ROW_PT, labelpad=2)
    axes.set_ylabel(PPFD_UNIT_TYPESET, fontsize=ROW_PT, labelpad=3)
    quiet_grid(axes)
    axes.tick_params(labelsize=ROW_PT - 0.5)
