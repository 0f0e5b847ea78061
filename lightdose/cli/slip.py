"""`lightdose slip`: the light that a coral lived in, on a slip of paper that goes with it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import (
    Ask,
    inputs_of,
    language_option,
    paper_option,
    save_sheet_of_paper,
    start_date,
    today,
)
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.present.paper import Paper


@answers(folds=False)
@click.argument("coral")
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    help="Write the slip: slip.pdf, slip.html for a browser, or a folder for slip.pdf.",
)
@click.option("--date", metavar="YYYY-MM-DD", help="Date on the slip; today's where none is given.")
@click.option("--year", is_flag=True, help="Tell the coral's last year too, from the tank's diary.")
@language_option
@paper_option
def command(
    ask: Ask,
    coral: str,
    output: str | None,
    date: str | None,
    year: bool,
    language: str,
    paper: Paper | None,
) -> Answer:
    """The light that a coral lived in, on a small page to go with it when it leaves.

    \b
    Example:
      lightdose slip my-tank/setup.toml "zoanthid plug" -o slip.pdf
      lightdose slip my-tank/setup.toml "zoanthid plug" --date 2026-03-14 --paper letter -o slip.pdf
      lightdose slip my-tank/setup.toml "zoanthid plug" --language fr -o slip.pdf

    The page is a quarter of a sheet (A6, or 4.25 x 5.5 in). It holds a line for the next keeper's setup,
    previous = 4.6, from which `lightdose acclimate` begins. The date is today's unless --date names one.
    --year adds what the diary tells of its last year: doses, moves, colours. A coral that the diary notes as
    lost gets no slip of a later day.
    """
    from lightdose.analysis import analyse
    from lightdose.answers.slip import slip_answer
    from lightdose.workflows.compare import slip
    from lightdose.workflows.diary import refuse_lost

    day = start_date(date, "--date") or today(ask)
    setup = ask.setup()
    if lost := refuse_lost(setup, coral, day):
        ask.say(f"the diary notes {coral!r} as lost on this day, {lost.date}")
    found = slip(analyse(setup), coral, day)
    if year:
        from lightdose.workflows.diary import history

        (life,) = history(setup, [coral], intervals="none").corals
        found = replace(found, life=life)
    path = None
    if output:
        from lightdose.answers.language import language as language_of
        from lightdose.present.paper import paper_of, slip_page

        page = slip_page(found, paper or paper_of(setup.length_unit), language_of(language))
        path = save_sheet_of_paper(ask, output, "slip.pdf", page, language, inputs_of(setup))
    return slip_answer(found, path)
