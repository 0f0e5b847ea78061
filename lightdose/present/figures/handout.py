"""The pictures of the customer's page: corals on their usual range, and light through the day."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final, Literal

from lightdose.answers.handout import state_words
from lightdose.answers.verdicts import SEVERITY, bar_of, table_words, worst_first
from lightdose.answers.words import DLI_UNIT_TYPESET, PPFD_UNIT_TYPESET, number, range_text
from lightdose.model.record import dataclass
from lightdose.model.results import Verdict
from lightdose.model.shop import HandedLight
from lightdose.present.figures.canvas import Panel, line_in, write_text
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    LIMIT_FILL,
    QUIET_INK,
    TONES,
    Stroke,
    fitted,
    write_line,
    write_rule,
)
from lightdose.present.page import WIDTH, range_bar

if TYPE_CHECKING:
    from matplotlib.figure import Figure

ROW_IN, HEAD_IN, ROW_PT = 0.185, 0.36, 7.5
LEGEND_IN, AXIS_IN, LEFT_IN = 0.3, 0.42, 0.5
STROKES: Final = (Stroke(TONES["total"], "solid", 1.5), Stroke(TONES["blue"], (0, (4, 1.6)), 1.5))
"""The brightest place and the dimmest."""


@dataclass(frozen=True)
class CoralRow:
    """One coral under each setup; None where it is not in it."""

    name: str
    verdicts: tuple[Verdict | None, ...]

    @property
    def verdict(self) -> Verdict:
        """That of the first setup that has the coral."""
        return next(verdict for verdict in self.verdicts if verdict)


def coral_rows(lights: Sequence[HandedLight]) -> list[CoralRow]:
    """The corals by name, in the order of concern; those that every setup has stand first."""
    by_name = [{v.coral: v for v in worst_first(light.analysis.verdicts)} for light in lights]
    names = dict.fromkeys(name for verdicts in by_name for name in verdicts)
    rows = [CoralRow(name, tuple(verdicts.get(name) for verdicts in by_name)) for name in names]
    return sorted(rows, key=lambda row: None in row.verdicts)


def chosen_rows(rows: Sequence[CoralRow], room: int) -> list[CoralRow]:
    """As many as there is room for: those furthest off in half of it, else one of each group in turn."""
    if len(rows) <= room:
        return list(rows)
    off = [i for i, row in enumerate(rows) if any(v and SEVERITY[v.dli_verdict] < 2 for v in row.verdicts)]
    kept = off[: room // 2]
    seen: dict[str, int] = {}
    turns = []
    for i, row in enumerate(rows):
        seen[row.verdict.group] = seen.get(row.verdict.group, 0) + 1
        turns.append((seen[row.verdict.group], i))
    kept += [i for _, i in sorted(turns) if i not in kept][: max(room - len(kept), 0)]
    return [rows[i] for i in sorted(kept[:room])]


def draw_corals(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    rows: Sequence[CoralRow],
    heads: Sequence[str],
) -> float:
    """The table with its bars; the height below it. [inch from the top]"""
    alone = len(heads) == 1
    name_in, number_in, bar_in, words_in = (1.7, 0.5, 1.4, 2.1) if alone else (1.3, 0.42, 1.05, 0.92)
    _write_column(figure, left_in, top_in, name_in, "coral", [row.name for row in rows])
    edge = left_in + name_in
    for side, head in enumerate(heads):
        verdicts = [row.verdicts[side] for row in rows]
        name = fitted(head, number_in + bar_in + words_in, ROW_PT, bold=True)
        write_text(figure, edge + 0.1, top_in, width_in, name, ROW_PT, weight="bold")
        doses = ["-" if v is None else number(v.dli_mol_m2_d) for v in verdicts]
        _write_column(figure, edge, top_in, number_in, "", doses, "right")
        _write_head(figure, edge + 0.1, top_in, f"dose in a day, {DLI_UNIT_TYPESET}")
        _draw_bars(figure, edge + number_in + 0.1, top_in + HEAD_IN, bar_in, verdicts)
        edge += number_in + bar_in + 0.2
        _write_column(figure, edge, top_in, words_in, "", [_state(v, alone) for v in verdicts])
        edge += words_in
    usual_in = left_in + width_in - edge
    _write_column(figure, edge, top_in, usual_in, "usual, grade", [_usual(row.verdict) for row in rows])
    write_rule(figure, left_in, top_in + HEAD_IN - 0.03, width_in)
    return top_in + HEAD_IN + len(rows) * ROW_IN


def _write_head(figure: Figure, left_in: float, top_in: float, head: str) -> None:
    below = top_in + line_in(ROW_PT)
    write_text(figure, left_in, below, 2.0, head, ROW_PT - 0.5, color=QUIET_INK)


def _write_column(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    head: str,
    cells: Sequence[str],
    align: Literal["left", "right"] = "left",
) -> None:
    _write_head(figure, left_in, top_in, head)
    width, height = figure.get_size_inches()
    at = left_in + (width_in if align == "right" else 0.0)
    for row, cell in enumerate(cells):
        middle = 1 - (top_in + HEAD_IN + (row + 0.5) * ROW_IN) / height
        text = fitted(cell, width_in - 0.04, ROW_PT)
        figure.text(at / width, middle, text, fontsize=ROW_PT, color=INK, ha=align, va="center_baseline")


def _state(verdict: Verdict | None, alone: bool) -> str:
    if verdict is None:
        return "not in it"
    return table_words(verdict) if alone else state_words(verdict)


def _usual(verdict: Verdict) -> str:
    return "-" if verdict.band_dli is None else f"{range_text(*verdict.band_dli)}, {verdict.grade}"


def _draw_bars(
    figure: Figure, left_in: float, top_in: float, width_in: float, verdicts: Sequence[Verdict | None]
) -> None:
    panel = Panel.on(figure, left_in, top_in, width_in, len(verdicts) * ROW_IN)
    panel.axes.set(xlim=(0, WIDTH), ylim=(len(verdicts) - 0.5, -0.5))
    panel.axes.axis("off")
    for row, verdict in enumerate(verdicts):
        known = bar_of(verdict) if verdict is not None else None
        if known is None:
            continue
        bar = range_bar(known)
        panel.bar(row, bar.floor, bar.ceiling, 0.36, LIMIT_FILL)
        panel.bar(row, bar.low, bar.high, 0.6, BAND_FILL)
        if bar.line:
            panel.span(row, *bar.line, 0.9)
        panel.dose_mark(row, bar.mark, bar.state, markersize=5, markeredgewidth=1.1)


def day_top_ppfd(lights: Sequence[HandedLight]) -> float:
    """The highest light of any day: setups beside one another share the scale. [umol m-2 s-1]"""
    peaks = (float(day.total.max(initial=0.0)) for light in lights for day in light.days)
    return max(peaks, default=0.0)


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
    left, room = left_in + LEFT_IN, width_in - LEFT_IN
    panel = Panel.on(figure, left, top_in + LEGEND_IN, room, height_in - LEGEND_IN - AXIS_IN)
    panel.day_axis(top_ppfd if top_ppfd > 0 else 1.0, "{}")
    panel.axes.locator_params(axis="y", nbins=4)
    panel.axes.set_xlabel("hour of the day", fontsize=ROW_PT, labelpad=2)
    panel.axes.set_ylabel(PPFD_UNIT_TYPESET, fontsize=ROW_PT, labelpad=3)
    panel.grid()
    panel.axes.tick_params(labelsize=ROW_PT - 0.5)
    for turn, (day, stroke) in enumerate(zip(light.days, STROKES, strict=False)):
        panel.line(day.time_h, day.total, stroke, clip_on=True)
        peak = number(float(day.total.max(initial=0.0)))
        name = fitted(light.place_name(day.receiver), room - 0.95, ROW_PT)
        top = top_in + turn * line_in(ROW_PT)
        write_line(figure, left, top + 0.06, 0.22, stroke)
        write_text(figure, left + 0.28, top, width_in, f"{name}, peak {peak}", ROW_PT)
    return top_in + height_in
