"""`lightdose hazard`: how to behave around these lights, and how long staring into them is too long."""

from __future__ import annotations

import functools
import sys
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.options import (
    ManySetups,
    SetupRequest,
    csv_option,
    dialect_option,
    imperial_option,
    is_terminal,
    json_option,
    no_color_option,
    quiet_option,
    takes_setups,
    wants_colour,
)

if TYPE_CHECKING:
    from lightdose.cli.many import Answer, OneOfMany
    from lightdose.model.hazard import Hazard
    from lightdose.model.setup import LengthUnit, Setup

HELP = """\b
Example:
  lightdose hazard my-tank/setup.toml
  lightdose hazard shop customer --csv hazards.csv

How to behave around these lights, and how soon staring into them reaches a limit.

Figures are for staring straight into a fixture from 0.2 and 0.5 m through air, whatever the cover: at full
output, the worst that the controller can do, and at the peak of the programme. They are estimates, no
assessment to IEC 62471.

Several setups, or a folder without a setup.toml of its own, which stands for every setup.toml below it, give
one line each, the soonest limit first."""


@click.command(help=HELP)
@takes_setups
@json_option
@csv_option
@dialect_option
@imperial_option
@quiet_option
@no_color_option
def command(
    request: SetupRequest,
    many: ManySetups | None,
    *,
    as_json: bool,
    csv_file: str | None,
    csv_dialect: Literal["plain", "excel-eu"],
    imperial: bool,
    quiet: bool,
    no_color: bool,
) -> int:
    """How to behave around these lights, and how soon staring into them reaches a limit."""
    if many:
        return _run_many(many, as_json, csv_file, csv_dialect, imperial, quiet, no_color)
    setup = request.read()
    hazard = _compute(setup)
    unit: LengthUnit = "in" if imperial else setup.length_unit
    if csv_file:
        _write_csv(hazard, csv_file, csv_dialect, quiet)
    if as_json:
        from lightdose.files.hazard_files import hazard_json
        from lightdose.files.results_json import dump

        click.echo(dump(hazard_json(hazard)))
    elif is_terminal():
        from lightdose.present.hazard_text import show_hazard

        show_hazard(hazard, unit, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.hazard_text import hazard_lines

        for line in hazard_lines(hazard, unit):
            click.echo(line)
    return 0


def _run_many(
    many: ManySetups,
    as_json: bool,
    csv_file: str | None,
    dialect: Literal["plain", "excel-eu"],
    imperial: bool,
    quiet: bool,
    no_color: bool,
) -> int:
    from lightdose.cli.many import Wanted, run_many, table_of_many
    from lightdose.files.hazard_files import COLUMNS, hazard_schema

    wanted = Wanted(
        "lightdose-hazard-many/1",
        ("first limit",),
        as_json=as_json,
        table=table_of_many(csv_file, "hazard.csv", COLUMNS, dialect, hazard_schema(dialect, many=True)),
        worth_a_process=50,
        quiet=quiet,
        no_color=no_color,
    )
    with_table = csv_file is not None
    each = functools.partial(
        _one_of_many, as_json=as_json, dialect=dialect, with_table=with_table, imperial=imperial
    )
    return run_many(many, each, wanted)


def _one_of_many(
    one: OneOfMany, *, as_json: bool, dialect: Literal["plain", "excel-eu"], with_table: bool, imperial: bool
) -> Answer:
    from lightdose.cli.many import Answer
    from lightdose.files.hazard_files import hazard_csv, hazard_json
    from lightdose.present.overview import hazard_overview

    setup = one.request.read()
    hazard = _compute(setup)
    return Answer(
        hazard_overview(hazard, one.file, one.label, "in" if imperial else setup.length_unit),
        result=hazard_json(hazard) if as_json else None,
        table=hazard_csv(hazard, dialect, one.file) if with_table else "",
        inputs=tuple(setup.inputs_sha256),
    )


def _compute(setup: Setup) -> Hazard:
    from lightdose import __version__
    from lightdose.analysis import fixture_emission
    from lightdose.files.library import hazard_tables
    from lightdose.judge.hazard_advice import describe_hazard
    from lightdose.physics.day_curve import day_curve

    curve = day_curve(setup.lit_fixtures)
    return describe_hazard(setup, fixture_emission(setup), hazard_tables(), curve, __version__)


def _write_csv(hazard: Hazard, target: str, dialect: Literal["plain", "excel-eu"], quiet: bool) -> None:
    from lightdose.cli.written import inputs_of, save_table
    from lightdose.files.hazard_files import hazard_csv, hazard_schema
    from lightdose.files.writing import output_target

    path, inputs = output_target(target, "hazard.csv"), inputs_of(hazard.setup)
    text = hazard_csv(hazard, dialect)
    save_table(path, text, hazard_schema(dialect), text.count("\n") - 1, inputs, quiet)
