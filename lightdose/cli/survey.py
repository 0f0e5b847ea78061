"""`lightdose survey`: which readings to make, as a sheet to print and a table to fill in."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Literal

import click

from lightdose.cli.options import (
    SetupRequest,
    dialect_option,
    imperial_option,
    is_terminal,
    json_option,
    no_color_option,
    quiet_option,
    say,
    takes_setup,
    wants_colour,
)

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.model.plans import Survey
    from lightdose.model.results import Analysis
    from lightdose.model.setup import LengthUnit, Setup
    from lightdose.model.spectrum import Meter

SHEET = "survey.html"
TABLE = "survey-readings.csv"

HELP = """\b
Example:
  lightdose survey my-tank/setup.toml -o survey

The few meter readings that would tell most, as a sheet to print.

Written are survey.html, one or two pages of A4 or Letter, and survey-readings.csv with blanks, which
`lightdose calibrate` reads once the figures stand in it. Keep your face out of the beam."""


@click.command(help=HELP)
@takes_setup
@click.option("-o", "--output", metavar="DIR", help=f"Write {SHEET} and {TABLE} into this folder.")
@click.option("--meter", "named", metavar="NAME", help="The meter of the setup that will be used.")
@click.option("--readings", "count", type=click.IntRange(1, 30), help="So many; by default 6 to 10.")
@json_option
@dialect_option
@imperial_option
@quiet_option
@no_color_option
def command(
    request: SetupRequest,
    *,
    output: str | None,
    named: str | None,
    count: int | None,
    as_json: bool,
    csv_dialect: Literal["plain", "excel-eu"],
    imperial: bool,
    quiet: bool,
    no_color: bool,
) -> None:
    """The few meter readings that would tell most, as a sheet to print."""
    setup = request.read()
    unit: LengthUnit = "in" if imperial else setup.length_unit
    survey = _plan(setup, request.read(uncalibrated=True), _meter(setup, named), count)
    files = _write(survey, unit, output, csv_dialect, quiet) if output else []
    if as_json:
        from lightdose.files.results_json import dump
        from lightdose.files.survey_json import survey_json

        click.echo(dump(survey_json(survey, [str(f.resolve()) for f in files])))
    elif is_terminal():
        from lightdose.present.survey_text import show_survey

        show_survey(survey, unit, sys.stdout, colour=wants_colour(no_color), written=_names(files))
    else:
        from lightdose.present.survey_text import survey_lines

        for line in survey_lines(survey, unit, _names(files)):
            click.echo(line)


def _names(files: list[Path]) -> tuple[str, str] | None:
    return (str(files[0]), str(files[1])) if files else None


def _meter(setup: Setup, named: str | None) -> Meter | None:
    """The meter by name, or the only one of the setup; one that reads photons where there are several."""
    from lightdose.errors import Problem, ReadingsError
    from lightdose.files.readings_csv import sole_meter
    from lightdose.files.toml_tables import show, suggestion

    meters = setup.meters
    if named is None:
        name = sole_meter(meters, "umol") or sole_meter(meters, "lux")
        return None if name is None else meters[name]
    if named not in meters:
        cure = suggestion(named, meters) or f"describe it in setup.toml: [meter.{named}]"
        raise ReadingsError(
            Problem(f"--meter {show(named)}: there is no such meter", ", ".join(meters), cure)
        )
    return meters[named]


def _plan(setup: Setup, uncalibrated: Setup, meter: Meter | None, count: int | None) -> Survey:
    from lightdose import __version__
    from lightdose.files.library import calibration_sources, reference_tables
    from lightdose.fit.survey import plan_survey

    analysis = _analysis(setup)
    return plan_survey(
        uncalibrated,
        meter,
        None if analysis is None else analysis.verdicts,
        reference_tables(),
        calibration_sources([] if meter is None else [meter]),
        count=count,
        version=__version__,
    )


def _analysis(setup: Setup) -> Analysis | None:
    """What is known of the light; None where a fixture states no output, which readings are to find."""
    from lightdose.analysis import analyse

    if any(c.flux is None for f in setup.lit_fixtures for c in f.type.channels) and not setup.calibration:
        return None
    return analyse(setup)


def _write(
    survey: Survey, unit: LengthUnit, output: str, dialect: Literal["plain", "excel-eu"], quiet: bool
) -> list[Path]:
    from pathlib import Path

    from lightdose.cli.written import inputs_of
    from lightdose.files.survey_csv import must_hold_no_readings, survey_csv
    from lightdose.files.writing import output_target, write_atomically
    from lightdose.judge.uncertain_inputs import basis_of
    from lightdose.present.survey_sheet import survey_sheet

    sheet = output_target(output, SHEET)
    table = sheet.with_name(TABLE if sheet.name == SHEET else f"{sheet.stem}-readings.csv")
    must_hold_no_readings(table)
    path, inputs = Path(survey.setup.path), inputs_of(survey.setup)
    result = _quoted(path.with_name("calibration.toml"))
    command = f"lightdose calibrate {_quoted(path)} {_quoted(table)} -o {result}"
    page = survey_sheet(survey, unit, table.name, command, basis_of(survey.setup).sentence)
    say(f"wrote {write_atomically(sheet, page, inputs=inputs)}", quiet=quiet)
    rows = f"{len(survey.readings)} rows"
    say(f"wrote {write_atomically(table, survey_csv(survey, dialect), inputs=inputs)}, {rows}", quiet=quiet)
    return [sheet, table]


def _quoted(path: Path) -> str:
    return f'"{path}"' if " " in str(path) else str(path)
