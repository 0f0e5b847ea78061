"""What rows of bars share: the mark of a dose by its state, and words at the end of a row."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from lightdose.model.results import DliState
from lightdose.present.figures.style import INK, SMALL_PT, STATE_MARKS, TONES

if TYPE_CHECKING:
    from matplotlib.axes import Axes


def draw_dose_mark(
    axes: Axes, dose: float, row: float, state: DliState, *, size_pt: float = 7, edge_pt: float = 1.3
) -> None:
    """A disc within the usual range, a diamond outside it, filled when far outside."""
    marker, face = STATE_MARKS[state]
    axes.plot(
        [dose],
        [row],
        linestyle="none",
        marker=marker,
        markersize=size_pt,
        markerfacecolor=face,
        markeredgecolor=TONES["blue"] if state == "within" else INK,
        markeredgewidth=edge_pt,
        clip_on=False,
        zorder=5,
    )


def write_beside(axes: Axes, row: float, words: str, gap_pt: float, **style: Any) -> None:
    """Small words to the right of a row of bars."""
    axes.annotate(
        words,
        (1, row),
        xycoords=("axes fraction", "data"),
        xytext=(gap_pt, 0),
        textcoords="offset points",
        va="center",
        fontsize=SMALL_PT,
        color=INK,
        **style,
    )
