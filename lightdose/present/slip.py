"""The slip of a coral as a small page: a quarter of a sheet."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, Final

from lightdose.answers.blocks import Point
from lightdose.answers.slip import heading, origin_sentence, previous_line, slip_points, start_sentence
from lightdose.answers.words import DLI_UNIT, DLI_UNIT_TYPESET, PPFD_UNIT, PPFD_UNIT_TYPESET, literal
from lightdose.model.results import EYES
from lightdose.model.shop import Slip
from lightdose.present.figures.canvas import Drawing, drawn, new_figure, write_text
from lightdose.present.figures.lettering import fitted
from lightdose.present.figures.style import QUIET_INK
from lightdose.present.paper import (
    SLIPS_IN,
    Paper,
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
    """The slip on one page; ``paper.pdf_bytes`` turns it into the file.

    The text is as large as leaves room for a line of notes.
    """
    told = [*slip_points(slip), Point(literal(slip.analysis.basis.sentence), "basis")]
    rows = [Point(_typeset(point.text), point.about) for point in told]
    for size in SIZES_PT:
        figure = new_figure(*SLIPS_IN[paper])
        top = _write(figure, slip, rows, size)
        lines = int((SLIPS_IN[paper][1] - MARGIN_IN - top) / NOTES_IN)
        if lines >= 1:
            break
    _write_notes(figure, top, lines)
    title = f"{heading(slip)}: {rows[0].text}"
    return Drawing("slip", title, f"{title}; {origin_sentence(slip)}", figure)


def _write(figure: Figure, slip: Slip, rows: list[Point], size_pt: float) -> float:
    """Everything but the notes; the height below it. [inch]"""
    inner = figure.get_size_inches()[0] - 2 * MARGIN_IN

    def write(top: float, text: str, size: float, left: float = MARGIN_IN, **style: Any) -> float:
        return write_text(figure, left, top, inner, text, size, **style)

    top = write(MARGIN_IN, fitted(heading(slip), inner, TITLE_PT, bold=True), TITLE_PT, weight="bold")
    origin = fitted(slip.analysis.setup.title, inner - 0.9, SMALL_PT + 0.8)
    top = write(top + 0.02, f"{origin}, {slip.date}", SMALL_PT + 0.8, color=QUIET_INK) + 0.08
    write_rule(figure, MARGIN_IN, top, inner, dark=True)
    top = write_rows(
        figure, MARGIN_IN, top + 0.08, inner, rows, label_in=LABEL_IN, size_pt=size_pt, gap_in=GAP_IN
    )
    top = write(top + 0.05, start_sentence(slip), size_pt, weight="bold")
    top = write(top + 0.06, "In the [[coral]] of a lightdose setup.toml:", size_pt)
    top = write(top + 0.02, previous_line(slip), size_pt + 1, MARGIN_IN + 0.12, weight="bold")
    return write(top + 0.06, EYES, SMALL_PT, color=QUIET_INK) + 0.1


def _typeset(text: str) -> str:
    cut = text if len(text) <= LONGEST_TEXT else f"{text[: LONGEST_TEXT - 1]}…"
    return cut.replace(DLI_UNIT, DLI_UNIT_TYPESET).replace(PPFD_UNIT, PPFD_UNIT_TYPESET)


def _write_notes(figure: Figure, top: float, lines: int) -> None:
    """Ruled lines for the customer, as many as there is room for."""
    inner = figure.get_size_inches()[0] - 2 * MARGIN_IN
    if lines >= 1:
        write_text(figure, MARGIN_IN, top, inner, "notes", SMALL_PT, color=QUIET_INK)
    for turn in range(lines):
        write_rule(figure, MARGIN_IN, top + (turn + 1) * NOTES_IN, inner, dark=True)
