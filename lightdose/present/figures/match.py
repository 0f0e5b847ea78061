"""Photons of the day in each 10 nm: wanted as steps, got as bars, a panel a pair."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from lightdose.answers.match import headline, unmatched_sentence
from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.model.plans import BAND_WIDTH_NM, Match, PairMatch
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
from lightdose.present.figures.style import BAND_FILL, INK, QUIET_INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import DLI_UNIT, DLI_UNIT_TYPESET, PPFD_UNIT_TYPESET, literal, number
from lightdose.quantities import GRID_START_NM

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 8.8
LEFT_IN = 0.8
PANEL_IN = 2.0
NAME_IN = 0.26
GAP_IN = 0.3
PAIRS_DRAWN = 6
SHOWN_NM = (380, 740)
LEAD = (
    "Photons of the day in each 10 nm. Bars: there, with the written schedule. Black steps: here, what was "
    f"wanted. PPFD counts 400-700 nm. {SINGLE_VALUES}"
)


def match_drawing(match: Match) -> Drawing:
    """One panel a pair, on one scale."""
    return drawn(lambda: _draw(match))


def _draw(match: Match) -> Drawing:
    shown = match.pairs[:PAIRS_DRAWN]
    rest = len(match.pairs) - len(shown)
    title = headline(match).replace(DLI_UNIT, DLI_UNIT_TYPESET)
    lead = " ".join(
        [LEAD, unmatched_sentence(match), f"{rest} more pairs are not drawn." if rest > 0 else ""]
    )
    head = head_height(title, lead.strip(), WIDTH_IN)
    figure = new_figure(WIDTH_IN, head + len(shown) * (PANEL_IN + NAME_IN + GAP_IN) + 0.45)
    write_head(figure, title, lead.strip())
    top = 1.1 * max(float(max(p.band_target.max(), p.band_got.max())) for p in shown)
    for row, pair in enumerate(shown):
        at = head + NAME_IN + row * (PANEL_IN + NAME_IN + GAP_IN)
        axes = panel(figure, LEFT_IN, at, WIDTH_IN - LEFT_IN - 0.3, PANEL_IN)
        _draw_pair(axes, pair, top)
        if row == len(shown) - 1:
            axes.set_xlabel("wavelength [nm]", fontsize=TEXT_PT)
    return Drawing("match", title, f"{literal(title)} {unmatched_sentence(match)}".strip(), figure)


def _draw_pair(axes: Axes, pair: PairMatch, top: float) -> None:
    edges = GRID_START_NM + BAND_WIDTH_NM * np.arange(pair.band_target.size + 1)
    middle = edges[:-1] + BAND_WIDTH_NM / 2
    axes.bar(
        middle,
        pair.band_got,
        width=0.82 * BAND_WIDTH_NM,
        color=BAND_FILL,
        edgecolor=TONES["blue"],
        linewidth=0.6,
    )
    axes.stairs(pair.band_target, edges, color=INK, linewidth=1.4)
    axes.set_xlim(*SHOWN_NM)
    axes.set_ylim(0, top)
    axes.set_xticks(np.arange(400, SHOWN_NM[1] + 1, 50))
    for edge in (400, 700):
        axes.axvline(edge, color=QUIET_INK, linewidth=0.8, linestyle=(0, (2, 2)))
    quiet_grid(axes, "y")
    axes.set_ylabel(f"dose in 10 nm\n[{DLI_UNIT_TYPESET}]", fontsize=TEXT_PT)
    words = (
        f"dose {number(pair.dli_got)} of {number(pair.dli_target)} {DLI_UNIT_TYPESET}, peak "
        f"{number(pair.peak_got)} (here {number(pair.peak_target)}) {PPFD_UNIT_TYPESET}"
    )
    name = fitted(f"{pair.here} → {pair.there}", 2.9, TEXT_PT, bold=True)
    kept: dict[str, Any] = {"transform": axes.transAxes, "color": INK, "va": "bottom"}
    axes.text(0, 1.03, name, fontsize=TEXT_PT, weight="bold", **kept)
    axes.text(1, 1.03, words, fontsize=SMALL_PT, ha="right", **kept)
