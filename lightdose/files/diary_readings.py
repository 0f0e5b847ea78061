"""A noted light reading goes into readings.csv beside the setup too, as `calibrate` reads it."""

from __future__ import annotations

import os
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from lightdose.errors import OutputError, Place, Problem, ReadingsError
from lightdose.files.diary_rows import add_rows, locked, read_table
from lightdose.files.readings_csv import COLUMNS as READINGS_COLUMNS
from lightdose.files.readings_csv import UNITS
from lightdose.files.toml_tables import show
from lightdose.files.units import UnitProblem, parse_time
from lightdose.model.setup import Setup
from lightdose.near_names import did_you_mean

READINGS: Final = "readings.csv"
COLUMNS: Final = ("site", "x_cm", "y_cm", "depth_cm", "reading", "unit", "time", "meter", "date", "note")
_SPOT: Final = ("x_cm", "y_cm", "depth_cm")


def reading_row(
    setup: Setup, where: str, value: float, unit: str, time: str, date: str, remark: str, meter: str = ""
) -> dict[str, str]:
    """The row of a reading at a coral or a site.

    Parameters
    ----------
    where : name of a coral or of a site
    value, unit : as the meter showed it; umol_m2_s or lux
    time : of the programme, "14:30"
    meter : its name in the setup; where that describes one alone, it need not be told

    Raises
    ------
    ReadingsError
        If place, unit or time say nothing that `calibrate` could use.
    """
    problems = []
    if unit.casefold() not in UNITS:
        found = f"{show(unit)} is no unit of a reading" if unit else "a reading needs its unit"
        problems.append(Problem(found, "--unit umol_m2_s or --unit lux"))
    try:
        parse_time(time)
    except UnitProblem as trouble:
        cure = "--time 14:30, the time of the programme at which you read"
        problems.append(Problem(trouble.problem.found if time else "a reading needs its time", cure=cure))
    if not where:
        problems.append(Problem("a reading needs its place", cure="--coral NAME, or the name of a site"))
    if problem := _unclear_meter(setup, meter):
        problems.append(problem)
    if problems:
        raise ReadingsError(*problems)
    row = {"reading": f"{value:g}", "unit": "lux" if UNITS[unit.casefold()] == "lux" else "umol_m2_s"}
    row |= {"time": time, "meter": meter, "date": date, "note": remark}
    top = next((r for r in setup.receivers if r.coral == where), None)
    if top is None:
        coral = next((c for c in setup.corals if c.name == where), None)
        return row | {"site": coral.site if coral else where}
    spot = (top.x_m, top.y_m, top.depth_m)
    return row | {name: f"{100 * m:g}" for name, m in zip(_SPOT, spot, strict=True)}


def _unclear_meter(setup: Setup, meter: str) -> Problem | None:
    """What is wrong with the name of a meter; None where it is clear which one read."""
    known = sorted(setup.meters)
    if meter and meter not in known:
        allowed = ", ".join(map(repr, known)) or "none: describe it as [meter.NAME]"
        return Problem(f"there is no meter {meter!r} in the setup", allowed, did_you_mean(meter, known))
    if not meter and len(known) > 1:
        return Problem(
            "a reading needs its meter, for there are several", ", ".join(map(repr, known)), "--meter NAME"
        )
    return None


def add_reading(setup: Setup, row: Mapping[str, str]) -> Path:
    """Add a reading to readings.csv beside the setup; gives that file.

    Raises
    ------
    OutputError
        If the file lacks a column that the row needs, or cannot be written.
    """
    path = Path(setup.path).parent / READINGS
    check_readings(path, row)
    with locked(path.parent / "diary"):
        add_rows(path, COLUMNS, "reading", [row])
    return path


def check_readings(path: Path, row: Mapping[str, str]) -> None:
    """Refuse a row that the file cannot take, before anything is written."""
    if not os.path.exists(path):
        return
    table = read_table(path, str(path), "reading")
    missing = [c for c, cell in row.items() if cell and c not in table.columns and c in READINGS_COLUMNS]
    if missing:
        found = f"has no column {', '.join(missing)}: neither the note nor the reading was written"
        raise OutputError(Problem(found, cure="add it to the line of names", place=Place(str(path))))
