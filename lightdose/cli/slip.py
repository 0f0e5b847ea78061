"""`lightdose slip`: the light that a coral lived in, on a slip of paper that goes with it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lightdose.cli.options import (
    SetupRequest,
    is_terminal,
    json_option,
    quiet_option,
    say,
    start_date,
    takes_setup,
)
from lightdose.cli.printed import paper_option

if TYPE_CHECKING:
    from lightdose.present.paper import Paper

HELP = """\b
Example:
  lightdose slip my-tank/setup.toml "zoanthid plug" -o slip.pdf
  lightdose slip my-tank/setup.toml "zoanthid plug" --date 2026-03-14 --paper letter -o slip.pdf

The light that a coral lived in, on a small page to go with it when it leaves.

The page is a quarter of a sheet (A6, or 4.25 x 5.5 in). It holds a line for the next keeper's setup,
previous = 4.6, from which `lightdose acclimate` begins. The date is today's unless --date names one."""


@click.command(help=HELP)
@takes_setup
@click.argument("coral")
@click.option(
    "-o", "--output", metavar="FILE", help="Write the slip as PDF: a file, or a folder for slip.pdf."
)
@click.option("--date", metavar="YYYY-MM-DD", help="Date on the slip; today's where none is given.")
@paper_option
@json_option
@quiet_option
def command(
    request: SetupRequest,
    *,
    coral: str,
    output: str | None,
    date: str | None,
    paper: Paper | None,
    as_json: bool,
    quiet: bool,
) -> None:
    """The light that a coral lived in, on a small page to go with it when it leaves."""
    from lightdose.analysis import analyse
    from lightdose.present.slip_words import slip_lines
    from lightdose.workflows.handout import slip

    day = start_date(date, "--date") or _today(quiet)
    setup = request.read()
    found = slip(analyse(setup), coral, day)
    path = None
    if output:
        from lightdose.cli.written import inputs_of
        from lightdose.files.writing import output_target, write_atomically
        from lightdose.present.paper import paper_of, pdf_bytes
        from lightdose.present.slip import slip_page

        path = output_target(output, "slip.pdf")
        page = pdf_bytes(slip_page(found, paper or paper_of(setup.length_unit)))
        say(f"wrote {write_atomically(path, page, inputs=inputs_of(setup))}", quiet=quiet)
    if as_json:
        from lightdose.files.results_json import dump
        from lightdose.files.slip_json import slip_json

        click.echo(dump(slip_json(found, path)))
    else:
        import shutil

        for line in slip_lines(found, shutil.get_terminal_size().columns if is_terminal() else None):
            click.echo(line)
    if path is None:
        say("next: add -o slip.pdf for a page to print", quiet=quiet)


def _today(quiet: bool) -> str:
    import datetime

    today = datetime.date.today().isoformat()
    say(f"dated {today}, today; --date names another", quiet=quiet)
    return today
