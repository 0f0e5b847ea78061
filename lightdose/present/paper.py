"""Pages to print: sheet sizes, labelled rows down a column, PDF files that come out the same each time."""

from __future__ import annotations

import io
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, Literal

from lightdose.answers.blocks import Point
from lightdose.model.setup import LengthUnit
from lightdose.present.figures.canvas import Drawing, drawing_settings, write_text
from lightdose.present.figures.style import QUIET_INK, RULE, Stroke

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LABEL_GAP_IN: Final = 0.06

Paper = Literal["a4", "letter"]
MM_PER_IN: Final = 25.4
SHEETS_IN: Final[Mapping[Paper, tuple[float, float]]] = {
    "a4": (210 / MM_PER_IN, 297 / MM_PER_IN),
    "letter": (8.5, 11.0),
}
"""Width and height. Source: ISO 216; ANSI/ASME Y14.1 size A."""

SLIPS_IN: Final[Mapping[Paper, tuple[float, float]]] = {
    "a4": (105 / MM_PER_IN, 148 / MM_PER_IN),
    "letter": (4.25, 5.5),
}
"""A quarter of the sheet: ISO A6, and a Letter sheet cut twice."""


def paper_of(unit: LengthUnit) -> Paper:
    """The sheet where lengths are told in this unit: our choice."""
    return "letter" if unit == "in" else "a4"


def pdf_bytes(drawing: Drawing) -> bytes:
    """One page with its text as text, fonts inside, and no date: two runs give the same bytes."""
    import matplotlib as mpl

    metadata: dict[str, Any] = {
        "Title": drawing.title,
        "Subject": drawing.description,
        "Creator": None,
        "Producer": None,
        "CreationDate": None,
    }
    buffer = io.BytesIO()
    with drawing_settings():
        mpl.rcParams["pdf.fonttype"] = 42
        drawing.figure.savefig(buffer, format="pdf", metadata=metadata)
    return buffer.getvalue()


def write_rows(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    rows: Sequence[Point],
    *,
    label_in: float,
    size_pt: float,
    gap_in: float,
) -> float:
    """Write rows, what each is about in bold to the left of its text; return the height below them."""
    wide_in = label_in - LABEL_GAP_IN
    for row in rows:
        label = write_text(figure, left_in, top_in, wide_in, row.about, size_pt, weight="bold")
        text = write_text(figure, left_in + label_in, top_in, width_in - label_in, row.text, size_pt)
        top_in = max(label, text) + gap_in
    return top_in


def write_rule(figure: Figure, left_in: float, top_in: float, width_in: float, *, dark: bool = False) -> None:
    """A thin line across a column."""
    write_line(figure, left_in, top_in, width_in, Stroke(QUIET_INK if dark else RULE, "solid", 0.7))


def write_line(figure: Figure, left_in: float, top_in: float, width_in: float, stroke: Stroke) -> None:
    """A level piece of a line."""
    from matplotlib.lines import Line2D

    width, height = figure.get_size_inches()
    y, ends = 1 - top_in / height, (left_in / width, (left_in + width_in) / width)
    figure.add_artist(Line2D(ends, (y, y), **stroke.style))
