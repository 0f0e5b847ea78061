"""`lightdose slip`: the light that a coral lived in, on a slip of paper that goes with it."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask, inputs_of, paper_option, start_date
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.present.paper import Paper


@answers(folds=False)
@click.argument("coral")
@click.option(
    "-o", "--output", metavar="FILE", help="Write the slip as PDF: a file, or a folder for slip.pdf."
)
@click.option("--date", metavar="YYYY-MM-DD", help="Date on the slip; today's where none is given.")
@click.option("--year", is_flag=True, help="Tell the coral's last year too, from the tank's diary.")
@paper_option
def command(
    ask: Ask, coral: str, output: str | None, date: str | None, year: bool, paper: Paper | None
) -> Answer:
    """The light that a coral lived in, on a small page to go with it when it leaves.

    \b
    Example:
      lightdose slip my-tank/setup.toml "zoanthid plug" -o slip.pdf
      lightdose slip my-tank/setup.toml "zoanthid plug" --date 2026-03-14 --paper letter -o slip.pdf

    The page is a quarter of a sheet (A6, or 4.25 x 5.5 in). It holds a line for the next keeper's setup,
    previous = 4.6, from which `lightdose acclimate` begins. The date is today's unless --date names one.
    --year adds what the diary tells of its last year: doses, moves, colours.
    """
    from lightdose.analysis import analyse
    from lightdose.answers.handout import slip_answer
    from lightdose.workflows.compare import slip

    day = start_date(date, "--date") or _today(ask)
    setup = ask.setup()
    found = slip(analyse(setup), coral, day)
    if year:
        from lightdose.workflows.diary import history

        (life,) = history(setup, [coral], intervals="none").corals
        found = replace(found, life=life)
    path = None
    if output:
        from lightdose.files.writing import output_target
        from lightdose.present.paper import paper_of, pdf_bytes, slip_page

        path = output_target(output, "slip.pdf")
        ask.save(path, pdf_bytes(slip_page(found, paper or paper_of(setup.length_unit))), inputs_of(setup))
    return slip_answer(found, path)


def _today(ask: Ask) -> str:
    import datetime

    today = datetime.date.today().isoformat()
    ask.say(f"dated {today}, today; --date names another")
    return today
