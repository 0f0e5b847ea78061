"""`lightdose survey`: which readings to make, as a sheet to print and a table to fill in."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask, dialect_option, inputs_of
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.answers.answer import Answer
    from lightdose.model.plans import Survey
    from lightdose.model.results import Basis
    from lightdose.model.setup import Setup
    from lightdose.model.spectrum import Meter

SHEET = "survey.html"
TABLE = "survey-readings.csv"


@answers(imperial=True)
@click.option("-o", "--output", metavar="DIR", help=f"Write {SHEET} and {TABLE} into this folder.")
@click.option("--meter", "named", metavar="NAME", help="The meter of the setup that will be used.")
@click.option("--readings", "count", type=click.IntRange(1, 30), help="So many; by default 6 to 10.")
@dialect_option
def command(ask: Ask, output: str | None, named: str | None, count: int | None) -> Answer:
    """The few meter readings that would tell most, as a sheet to print.

    \b
    Example:
      lightdose survey my-tank/setup.toml -o survey

    Written are survey.html, one or two pages of A4 or Letter, and survey-readings.csv with blanks, which
    `lightdose calibrate` reads once the figures stand in it. Keep your face out of the beam.
    """
    from lightdose import __version__
    from lightdose.analysis import analyse
    from lightdose.answers.survey import survey_answer
    from lightdose.files.library import calibration_sources, reference_tables
    from lightdose.fit.survey import plan_survey
    from lightdose.judge.uncertain_inputs import basis_of

    setup, uncalibrated = ask.setup(), ask.request.read(uncalibrated=True)
    meter = _meter(setup, named)
    # Where a fixture states no output, nothing is known of the light: readings are to find it.
    unscaled = any(c.flux is None for f in setup.lit_fixtures for c in f.type.channels)
    analysis = None if unscaled and not setup.calibration else analyse(setup)
    survey = plan_survey(
        uncalibrated,
        meter,
        analysis.verdicts if analysis else None,
        reference_tables(),
        calibration_sources([meter] if meter else []),
        count=count,
        version=__version__,
    )
    basis = basis_of(uncalibrated)
    files = _write(ask, survey, output, basis) if output else ()
    return survey_answer(survey, ask.unit(setup), analysis, basis, files)


def _meter(setup: Setup, named: str | None) -> Meter | None:
    """The meter by name, or the only one of the setup; one that reads photons where there are several."""
    from lightdose.files.reading_rules import sole_meter
    from lightdose.files.typed_values import named_meter

    if named is None:
        named = sole_meter(setup.meters, "umol") or sole_meter(setup.meters, "lux")
    return None if named is None else named_meter(setup, named)


def _write(ask: Ask, survey: Survey, output: str, basis: Basis) -> tuple[Path, Path]:
    from pathlib import Path

    from lightdose.answers.survey import blank_table
    from lightdose.answers.words import as_typed
    from lightdose.files.readings_csv import must_hold_no_readings
    from lightdose.files.writing import csv_text, output_target
    from lightdose.present.paper import survey_sheet

    sheet = output_target(output, SHEET)
    table = sheet.with_name(TABLE if sheet.name == SHEET else f"{sheet.stem}-readings.csv")
    must_hold_no_readings(table)
    path, inputs = Path(survey.setup.path), inputs_of(survey.setup)
    paths = (path, table, path.with_name("calibration.toml"))
    typed = [as_typed(str(p)) for p in paths]
    command = f"lightdose calibrate {typed[0]} {typed[1]} -o {typed[2]}"
    ask.save(sheet, survey_sheet(survey, ask.unit(survey.setup), table.name, command, basis.sentence), inputs)
    blanks = blank_table(survey)
    text = csv_text([c.name for c in blanks.columns], blanks.values(), ask.csv_dialect)
    ask.save(table, text, inputs, f", {len(blanks.rows)} rows")
    return sheet, table
