"""`lightdose match`: another fixture and tank set so that its places get what places here get."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.options import (
    SetupRequest,
    dialect_option,
    figures_option,
    is_terminal,
    json_option,
    no_color_option,
    quiet_option,
    say,
    strict_option,
    takes_setup_as,
    wants_colour,
)
from lightdose.cli.written import inputs_of, save_drawings, save_schedules

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.model.matching import Match
    from lightdose.model.setup import Setup

HELP = """\b
Example:
  lightdose match shop/setup.toml customer/setup.toml --pair "ridge=rock top" -o new-schedules

Another fixture and tank set so that its places get what places here get.

The dose of a day is equal, its colour as near as the other channels allow, its day shape the one here.
A place is a site or a coral; several pairs share one factor. --fixture-height, --swap-fixture and --schedule
change OTHER only."""


@click.command(help=HELP)
@click.argument("setup_here", metavar="SETUP", type=click.Path())
@takes_setup_as("OTHER")
@click.option(
    "--pair",
    "pairs",
    multiple=True,
    required=True,
    metavar="HERE=THERE",
    help="A place here and the place there that should get the same; repeatable.",
)
@click.option(
    "-o", "--output", metavar="PATH", help="Write the schedules: a folder, or a file for one fixture."
)
@dialect_option
@figures_option
@json_option
@quiet_option
@no_color_option
@strict_option
def command(
    request: SetupRequest,
    *,
    setup_here: str,
    pairs: tuple[str, ...],
    output: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    figures: str | None,
    as_json: bool,
    quiet: bool,
    no_color: bool,
    strict: bool,
) -> int:
    """Another fixture and tank set so that its places get what places here get."""
    one = SetupRequest(setup_here).read()
    other = request.read()
    found = _match(one, other, pairs)
    inputs = inputs_of(one, other)
    files = _targets(other, output) if output else {}
    save_schedules(files, found.programmes, other.lit_fixtures, csv_dialect, inputs, quiet)
    if figures:
        from lightdose.present.figures.match import match_drawing

        save_drawings([match_drawing(found)], figures, inputs, quiet)
    _print_result(found, files, as_json=as_json, no_color=no_color)
    if not output:
        say("next: add -o DIR to write the schedules", quiet=quiet)
    return 3 if strict and not found.reached else 0


def _match(one: Setup, other: Setup, words: tuple[str, ...]) -> Match:
    from lightdose.analysis import analyse
    from lightdose.files.library import reference_tables
    from lightdose.fit.matching import match_places
    from lightdose.judge.place_pairs import place_pairs
    from lightdose.physics.weightings import TEN_NM_WEIGHTINGS

    here, there = (analyse(s, certainty=False, also=TEN_NM_WEIGHTINGS) for s in (one, other))
    return match_places(here, there, place_pairs(here, there, words), reference_tables())


def _targets(other: Setup, output: str) -> dict[str, Path]:
    from lightdose.files.file_names import file_names
    from lightdose.files.writing import output_target

    fixtures = other.lit_fixtures
    names = file_names([f.name for f in fixtures], ".csv")
    paths = [output_target(output, name) for name in names]
    if len(set(paths)) < len(paths):
        raise click.UsageError(f"-o {output} is one file, and there are {len(paths)} fixtures: name a folder")
    return {fixture.name: path for fixture, path in zip(fixtures, paths, strict=True)}


def _print_result(found: Match, files: dict[str, Path], *, as_json: bool, no_color: bool) -> None:
    if as_json:
        from lightdose.files.match_json import match_json
        from lightdose.files.results_json import dump

        click.echo(dump(match_json(found, files)))
    elif is_terminal():
        from lightdose.present.match_text import show_match

        show_match(found, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.match_text import match_lines

        for line in match_lines(found):
            click.echo(line)
