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
    from lightdose.answers.survey import survey_answer
    from lightdose.judge.uncertain_inputs import basis_of
    from lightdose.workflows.measuring import planned_survey

    setup, uncalibrated = ask.setup(), ask.request.read(uncalibrated=True)
    survey, analysis = planned_survey(setup, uncalibrated, meter=named, count=count)
    basis = basis_of(uncalibrated)
    files = _write(ask, survey, output, basis) if output else ()
    return survey_answer(survey, ask.unit(setup), analysis, basis, files)


def _write(ask: Ask, survey: Survey, output: str, basis: Basis) -> tuple[Path, Path]:
    from lightdose.answers.survey import blank_table, calibrate_command
    from lightdose.files.csv_text import csv_text
    from lightdose.files.readings_csv import holds_blanks
    from lightdose.files.writing import page_target, together
    from lightdose.present.paper import survey_sheet

    sheet = page_target(output, SHEET)
    table = sheet.with_name(TABLE if sheet.name == SHEET else f"{sheet.stem}-readings.csv")
    blank = holds_blanks(table)
    inputs, command = inputs_of(survey.setup), calibrate_command(survey, table)
    page = survey_sheet(survey, ask.unit(survey.setup), table.name, command, basis.sentence)
    blanks = blank_table(survey)
    text = csv_text([c.name for c in blanks.columns], blanks.values(), ask.csv_dialect)
    with together():
        ask.save(sheet, page, inputs)
        ask.save(table, text, inputs, f", {len(blanks.rows)} rows", blank=blank)
    return sheet, table
