"""`lightdose acclimate`: dated steps from today's light to another, slow enough for every coral."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.options import (
    NumberRange,
    SetupRequest,
    dialect_option,
    figures_option,
    is_terminal,
    json_option,
    no_color_option,
    quiet_option,
    say,
    start_date,
    takes_setup_as,
    wants_colour,
)
from lightdose.cli.written import inputs_of, save_drawings, save_schedules

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.judge.earlier_light import Previous
    from lightdose.model.acclimation import Acclimation
    from lightdose.model.setup import Setup

HELP = """\b
Example:
  lightdose acclimate today/setup.toml planned/setup.toml -o steps --start 2026-03-01
  lightdose acclimate tank/setup.toml tank/setup.toml --schedule brighter.csv -o steps

Steps from today's light to another, slow enough for every coral.

FROM is today's setup, TO the other one; --fixture-height, --swap-fixture and --schedule change TO only.
Corals are matched by name. One that FROM lacks is a newcomer: say what it lived in with previous = 4.6 in its
[[coral]], or with --previous. Rise per week: common practice, no published rule per week."""


@click.command(help=HELP)
@click.argument("today", metavar="FROM", type=click.Path())
@takes_setup_as("TO")
@click.option(
    "-o", "--output", metavar="DIR", help="Write one schedule CSV a step and fixture into this folder."
)
@click.option(
    "--rise",
    type=NumberRange(0, 100, min_open=True),
    default=10.0,
    show_default=True,
    metavar="PERCENT",
    help="Most rise of a coral's daily dose in a week.",
)
@click.option(
    "--days", type=click.IntRange(1, 60), default=7, show_default=True, help="Days from step to step."
)
@click.option("--start", metavar="YYYY-MM-DD", help="Date of the first step.")
@click.option(
    "--previous",
    multiple=True,
    metavar="CORAL=DOSE",
    help='What a coral lived in, mol/m2/day, or "unknown"; repeatable.',
)
@dialect_option
@figures_option
@json_option
@quiet_option
@no_color_option
def command(
    request: SetupRequest,
    *,
    today: str,
    output: str | None,
    rise: float,
    days: int,
    start: str | None,
    previous: tuple[str, ...],
    csv_dialect: Literal["plain", "excel-eu"],
    figures: str | None,
    as_json: bool,
    quiet: bool,
    no_color: bool,
) -> None:
    """Steps from today's light to another, slow enough for every coral."""
    from lightdose.analysis import analyse
    from lightdose.judge.acclimation import AcclimationRequest, acclimate

    asked = AcclimationRequest(rise / 100, days, start_date(start), _previous(previous))
    before = SetupRequest(today).read()
    after = request.read()
    way = acclimate(analyse(before, certainty=False), analyse(after, certainty=False), asked)
    files = _write_steps(way, after, output, csv_dialect, inputs_of(before, after), quiet) if output else []
    if figures:
        from lightdose.present.figures.acclimation import acclimation_drawing

        save_drawings([acclimation_drawing(way)], figures, inputs_of(before, after), quiet)
    _print_result(way, files, as_json=as_json, no_color=no_color)
    if output is None:
        say("next: add -o DIR to write one schedule a step and fixture", quiet=quiet)


def _previous(words: Sequence[str]) -> dict[str, Previous]:
    """Coral -> dose; a name may hold "=" itself, so the last one parts it from the dose."""
    from lightdose.files.units import UnitProblem, parse_number

    found: dict[str, Previous] = {}
    for word in words:
        name, mark, dose = word.rpartition("=")
        name, dose = name.strip(), dose.strip()
        if not mark or not name:
            raise click.BadParameter(
                f'"{word}" is not CORAL=DOSE, such as "blue tip=4.6"', param_hint="--previous"
            )
        if name in found:
            raise click.BadParameter(f'"{name}" stands twice', param_hint="--previous")
        if dose.casefold() == "unknown":
            found[name] = "unknown"
            continue
        try:
            found[name] = parse_number(dose)
        except UnitProblem as trouble:
            raise click.BadParameter(
                f'"{word}": {trouble.problem}; write a number in mol/m2/day, or unknown',
                param_hint="--previous",
            ) from None
    return found


def _write_steps(
    way: Acclimation,
    after: Setup,
    folder: str,
    dialect: Literal["plain", "excel-eu"],
    inputs: list[Path],
    quiet: bool,
) -> list[dict[str, Path]]:
    """One schedule a step and fixture; gives fixture -> file for every step."""
    from pathlib import Path

    from lightdose.files.file_names import file_names

    fixtures = after.lit_fixtures
    endings = file_names([f.name for f in fixtures], ".csv")
    files = []
    for step in way.steps:
        targets = {
            fixture.name: Path(folder) / f"day-{step.day:03d}-{ending}"
            for fixture, ending in zip(fixtures, endings, strict=True)
        }
        save_schedules(targets, step.programmes, fixtures, dialect, inputs, quiet)
        files.append(targets)
    return files


def _print_result(way: Acclimation, files: list[dict[str, Path]], *, as_json: bool, no_color: bool) -> None:
    if as_json:
        from lightdose.files.acclimation_json import acclimate_json
        from lightdose.files.results_json import dump

        click.echo(dump(acclimate_json(way, files)))
    elif is_terminal():
        from lightdose.present.acclimation_text import show_acclimation

        show_acclimation(way, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.acclimation_text import acclimate_lines

        for line in acclimate_lines(way):
            click.echo(line)
