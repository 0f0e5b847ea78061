"""Pages for the printer: the sheet asked for, and the hand-out that `report` writes."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lightdose.cli.frame import Ask

if TYPE_CHECKING:
    from lightdose.model.results import Analysis
    from lightdose.present.paper import Paper

paper_option = click.option(
    "--paper",
    type=click.Choice(["a4", "letter"]),
    help="Sheet of a printed page; default letter where the setup is in inches, else a4.",
)


def save_handout(
    ask: Ask,
    target: str,
    paper: Paper | None,
    analysis: Analysis,
    other: Analysis | None,
    inputs: Iterable[Path],
    *,
    date: str | None = None,
) -> Path:
    """Write the customer's page of one setup or of two beside one another as PDF; gives its path."""
    from lightdose.files.writing import output_target
    from lightdose.present.handout import handout_pages
    from lightdose.present.paper import paper_of, pdf_bytes
    from lightdose.workflows.handout import handout

    path = output_target(target, "handout.pdf")
    sheet = paper or paper_of(analysis.setup.length_unit)
    page = pdf_bytes(handout_pages(handout(analysis, other, date), sheet))
    ask.save(path, page, inputs)
    return path
