"""The plan of a survey as readings.csv with blanks, which `calibrate` reads once they are filled."""

from __future__ import annotations

import csv
import io
import os.path
from pathlib import Path

from lightdose.errors import OutputError, Place, Problem
from lightdose.files.dialect import Cell, Dialect, csv_text
from lightdose.files.units import format_time
from lightdose.model.plans import PlannedReading, Survey

UNIT_WORDS = {"umol": "umol_m2_s", "lux": "lux"}


def level_columns(survey: Survey) -> dict[tuple[str, str], str]:
    """The column of each single channel of the plan; the fixture is named where there are several."""
    several = len(survey.setup.lit_fixtures) > 1
    used = dict.fromkeys(key for r in survey.readings for key in (r.on.levels or ()))
    order = [(f.name, c.name) for f in survey.setup.lit_fixtures for c in f.type.channels]
    return {key: "/".join(key) if several else key[1] for key in order if key in used}


def survey_csv(survey: Survey, dialect: Dialect = "plain") -> str:
    """One row a reading, in the order of the sheet; reading, date and note of circumstances stay blank."""
    columns = level_columns(survey)
    head = ["site", "x_cm", "y_cm", "depth_cm", "reading", "unit", "time", *columns.values()]
    rows = [_row(survey, reading, list(columns)) for reading in survey.readings]
    return csv_text([*head, "meter", "date", "note"], rows, dialect)


def _row(survey: Survey, reading: PlannedReading, columns: list[tuple[str, str]]) -> list[Cell]:
    spot, on = reading.spot, reading.on
    place: list[Cell] = [spot.site, None, None, None]
    if spot.site is None:
        place = [None, *(round(100 * m, 6) for m in (spot.x_m, spot.y_m, spot.depth_m))]
    levels = on.levels or {}
    lit: list[Cell] = [round(100 * levels[key]) if key in levels else None for key in columns]
    time = None if on.time_h is None else format_time(on.time_h)
    note = f"{reading.number} of the sheet: {spot.name}"
    return [
        *place, None, UNIT_WORDS[survey.meter.reads], time, *lit, survey.meter.name or None, None, note,
    ]  # fmt: skip


def must_hold_no_readings(path: Path) -> None:
    """Refuse to replace a sheet that somebody has filled in.

    Raises
    ------
    OutputError
        If a reading stands in the file.
    """
    if not os.path.isfile(path):
        return
    text = path.read_bytes().decode("utf-8-sig", errors="replace")
    separator = ";" if text.partition("\n")[0].count(";") > text.partition("\n")[0].count(",") else ","
    rows = csv.DictReader(io.StringIO(text), delimiter=separator)
    if any((row.get("reading") or "").strip() for row in rows):
        raise OutputError(
            Problem(
                "was not written: readings stand in it already",
                cure="name another file or folder with -o, or move this one away",
                place=Place(str(path)),
            )
        )
