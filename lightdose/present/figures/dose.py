"""The dose of every coral on the usual range of its group, one plain bar a coral."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lightdose.answers.verdicts import out_of_band, table_words, verdict_sentence, worst_first
from lightdose.answers.words import DLI_UNIT_TYPESET, literal, number, range_text
from lightdose.model.results import Analysis, Verdict
from lightdose.present.figures.canvas import (
    MOST_FIGURES,
    Drawing,
    Panel,
    dose_limits,
    drawn,
    pages,
    row_name,
    row_sheet,
)

DOSE: Final = f"dose in a day [{DLI_UNIT_TYPESET}]"
CORALS_PER_FIGURE: Final = 60
LONG_LIST: Final = 25
"""Longer lists carry the scale above them too."""

LEAD: Final = (
    "Dark bar, and the range behind the words: usual dose of its group; light bar: from floor to ceiling. "
    "Mark: the stated value, a disc within, an open diamond outside, a full one far outside. Line: 95 % of "
    "what the inputs allow."
)


def dose_drawings(analysis: Analysis) -> list[Drawing]:
    """Corals, worst first, on as many figures as they need, up to ``MOST_FIGURES``; none without corals."""
    every = worst_first(analysis.verdicts)
    ranked = every[: MOST_FIGURES * CORALS_PER_FIGURE]
    shared = pages(ranked, CORALS_PER_FIGURE)
    shown = f"; the {len(ranked)} furthest off of {len(every):,}" if len(ranked) < len(every) else ""
    drawings = []
    for index, (end, page) in enumerate(shared, start=1):
        part = "" if len(shared) == 1 else f" ({index} of {len(shared)}{shown})"
        title = f"Daily dose of each coral{part}: {verdict_sentence(analysis.verdicts)}"
        drawings.append(_draw(f"doses{end}", title, page, ranked))
    return drawings


@drawn
def _draw(name: str, title: str, verdicts: Sequence[Verdict], every: Sequence[Verdict]) -> Drawing:
    scale_above = len(verdicts) > LONG_LIST
    names = [row_name(v.coral) for v in verdicts]
    sheet, panel = row_sheet(title, LEAD, names, DOSE, gap_in=0.2 if scale_above else 0.0)
    ends = [end for v in every if v.certainty for end in v.certainty.interval_dli]
    panel.log_axis("x", *dose_limits(every, [*ends, *(v.dli_mol_m2_d for v in every)]))
    panel.axes.tick_params(axis="x", top=scale_above, labeltop=scale_above)
    for row, verdict in enumerate(verdicts):
        _draw_coral(panel, row, verdict)
    return sheet.drawing(name, _description(title, verdicts))


def _draw_coral(panel: Panel, row: int, verdict: Verdict) -> None:
    panel.range_bar(row, verdict)
    if verdict.certainty is not None:
        panel.span(row, *map(panel.held, verdict.certainty.interval_dli))
    panel.dose_mark(row, verdict.dli_mol_m2_d, verdict.dli_state)
    weight = "bold" if verdict.dli_state in ("far_below", "far_above") else "normal"
    usual = f" ({range_text(*verdict.band_dli)})" if verdict.band_dli else ""
    panel.beside(row, number(verdict.dli_mol_m2_d), 46, ha="right", weight=weight)
    panel.beside(row, table_words(verdict) + usual, 54, weight=weight)


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
