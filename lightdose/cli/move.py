"""`lightdose move`: stepping stones for one coral, under the weekly rise."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from lightdose.cli.options import (
    NumberRange,
    SetupRequest,
    figures_option,
    imperial_option,
    is_terminal,
    json_option,
    no_color_option,
    quiet_option,
    say,
    start_date,
    takes_setup,
    wants_colour,
)

if TYPE_CHECKING:
    from lightdose.model.placement import Move
    from lightdose.model.setup import LengthUnit

HELP = """\b
Example:
  lightdose move my-tank/setup.toml "zoanthid plug" --to A2
  lightdose move my-tank/setup.toml "zoanthid plug" --to A2 --start 2026-03-01 --figures pictures

The way of one coral to another site, over free sites, in steps that it can follow.

Moving one coral spares all others a change of the programme. Each step is at most --rise a week brighter than
the one before, with the fewest steps; down is free above the floor of its group. Rise per week: common
practice, no published rule per week."""


@click.command(help=HELP)
@takes_setup
@click.argument("coral")
@click.option("--to", "to", required=True, metavar="SITE", help="Where it is to stand; a free site.")
@click.option(
    "--rise",
    type=NumberRange(0, 100, min_open=True),
    default=10.0,
    show_default=True,
    metavar="PERCENT",
    help="Most rise of its daily dose in a week.",
)
@click.option(
    "--days", type=click.IntRange(1, 60), default=7, show_default=True, help="Days from step to step."
)
@click.option("--start", metavar="YYYY-MM-DD", help="Date of the first step; else days are numbered.")
@figures_option
@imperial_option
@json_option
@quiet_option
@no_color_option
def command(
    request: SetupRequest,
    *,
    coral: str,
    to: str,
    rise: float,
    days: int,
    start: str | None,
    figures: str | None,
    imperial: bool,
    as_json: bool,
    quiet: bool,
    no_color: bool,
) -> None:
    """The way of one coral to another site, over free sites, in steps that it can follow."""
    from lightdose.model.placement import MoveWishes
    from lightdose.workflows.plans import move

    wishes = MoveWishes(coral, to, rise / 100, days, start_date(start))
    setup = request.read()
    found = move(setup, wishes)
    unit: LengthUnit = "in" if imperial else setup.length_unit
    if figures:
        from lightdose.cli.written import inputs_of, save_drawings
        from lightdose.present.figures.move import move_drawing

        save_drawings([move_drawing(found)], figures, inputs_of(setup), quiet)
    _print_result(found, unit, as_json=as_json, no_color=no_color)
    say("next: change its site in the setup after the last step, and run `lightdose dose`", quiet=quiet)


def _print_result(move: Move, unit: LengthUnit, *, as_json: bool, no_color: bool) -> None:
    if as_json:
        from lightdose.files.placement_json import move_json
        from lightdose.files.results_json import dump

        click.echo(dump(move_json(move)))
    elif is_terminal():
        from lightdose.present.move_text import show_move

        show_move(move, unit, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.move_text import move_lines

        for line in move_lines(move, unit):
            click.echo(line)
