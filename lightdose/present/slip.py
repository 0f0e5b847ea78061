"""The slip of a coral as a small page: a quarter of a sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from lightdose.answers.blocks import Point
from lightdose.answers.slip import heading, origin_sentence, previous_line, slip_points, start_sentence
from lightdose.answers.words import DLI_UNIT, DLI_UNIT_TYPESET, PPFD_UNIT, PPFD_UNIT_TYPESET, literal
from lightdose.model.results import EYES
from lightdose.model.shop import Slip
from lightdose.present.figures.canvas import Drawing, drawn, line_in, new_figure, text_height_in, write_text
from lightdose.present.figures.lettering import fitted
from lightdose.present.figures.style import QUIET_INK
from lightdose.present.paper import (
    SLIPS_IN,
    Paper,
    rows_height_in,
    write_rows,
    write_rule,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

MARGIN_IN: Final = 0.3
LABEL_IN: Final = 0.9
TITLE_PT: Final = 13.0
SMALL_PT: Final = 7.2
SIZES_PT: Final = (8.6, 8.2, 7.8, 7.4, 7.0, 6.6)
GAP_IN: Final = 0.035
NOTES_IN: Final = 0.28
"""Height of one ruled line for the customer's notes."""

LONGEST_TEXT: Final = 260
"""Letters of one line of the slip: no name drives the rest off the page."""


@drawn
def slip_page(slip: Slip, paper: Paper) -> Drawing:
    """The slip on one page; ``paper.pdf_bytes`` turns it into the file."""
    width_in, height_in = SLIPS_IN[paper]
    figure = new_figure(width_in, height_in)
    inner = width_in - 2 * MARGIN_IN
    told = [*slip_points(slip), Point(literal(slip.analysis.basis.sentence), "basis")]
    rows = [Point(_typeset(point.text), point.about) for point in told]
    size_pt = _size(slip, rows, inner, height_in - 2 * MARGIN_IN)
    name = fitted(heading(slip), inner, TITLE_PT, bold=True)
    top = write_text(figure, MARGIN_IN, MARGIN_IN, 20.0, name, TITLE_PT, weight="bold")
    origin = fitted(slip.analysis.setup.title, inner - 0.9, SMALL_PT + 0.8)
    top = write_text(
        figure, MARGIN_IN, top + 0.02, 20.0, f"{origin}, {slip.date}", SMALL_PT + 0.8, color=QUIET_INK
    )
    top += 0.08
    write_rule(figure, MARGIN_IN, top, inner, dark=True)
    top = write_rows(
        figure, MARGIN_IN, top + 0.08, inner, rows, label_in=LABEL_IN, size_pt=size_pt, gap_in=GAP_IN
    )
    top = write_text(figure, MARGIN_IN, top + 0.05, inner, start_sentence(slip), size_pt, weight="bold")
    top = _write_line(figure, top + 0.06, inner, slip, size_pt)
    top = write_text(figure, MARGIN_IN, top + 0.06, inner, EYES, SMALL_PT, color=QUIET_INK)
    _write_notes(figure, top + 0.1, inner, height_in)
    title = f"{heading(slip)}: {rows[0].text}"
    return Drawing("slip", title, f"{title}; {origin_sentence(slip)}", figure)


def _typeset(text: str) -> str:
    cut = text if len(text) <= LONGEST_TEXT else f"{text[: LONGEST_TEXT - 1]}…"
    return cut.replace(DLI_UNIT, DLI_UNIT_TYPESET).replace(PPFD_UNIT, PPFD_UNIT_TYPESET)


def _size(slip: Slip, rows: list[Point], inner: float, room: float) -> float:
    """The largest text at which everything stands on the page with a line for notes."""
    for size in SIZES_PT:
        used = line_in(TITLE_PT) + line_in(SMALL_PT + 0.8) + 0.5 + NOTES_IN
        used += rows_height_in(rows, LABEL_IN, inner, size, GAP_IN)
        used += text_height_in(start_sentence(slip), inner, size, bold=True) + 2 * line_in(size)
        used += text_height_in(EYES, inner, SMALL_PT)
        if used <= room:
            return size
    return SIZES_PT[-1]


def _write_line(figure: Figure, top: float, inner: float, slip: Slip, size_pt: float) -> float:
    top = write_text(figure, MARGIN_IN, top, inner, "In the [[coral]] of a lightdose setup.toml:", size_pt)
    return write_text(
        figure, MARGIN_IN + 0.12, top + 0.02, inner, previous_line(slip), size_pt + 1, weight="bold"
    )


def _write_notes(figure: Figure, top: float, inner: float, height_in: float) -> None:
    """Ruled lines for the customer, as many as there is room for."""
    lines = int((height_in - MARGIN_IN - top) / NOTES_IN)
    if lines < 1:
        return
    write_text(figure, MARGIN_IN, top, inner, "notes", SMALL_PT, color=QUIET_INK)
    for turn in range(lines):
        write_rule(figure, MARGIN_IN, top + (turn + 1) * NOTES_IN, inner, dark=True)
