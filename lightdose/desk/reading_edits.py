"""Readings of a meter, typed on the page: rows of readings.csv beside the setup, and what they say."""

from __future__ import annotations

import datetime
import os
from collections.abc import Callable
from typing import Any, Final

from lightdose.desk.bench import Bench, Change, metres_of, text_of
from lightdose.desk.keys import number
from lightdose.desk.table_edits import TableText
from lightdose.errors import Problem, ReadingsError
from lightdose.files.csv_text import csv_text

READINGS: Final = "readings.csv"
CALIBRATION: Final = "calibration.toml"
COLUMNS: Final = ("date", "site", "x_cm", "y_cm", "depth_cm", "time", "reading", "unit", "meter", "note")


def table_of(bench: Bench) -> tuple[TableText, str]:
    """The readings as they are, and their path."""
    path = bench.beside(READINGS)
    content = bench.content(path)
    if content is None:
        raise ReadingsError(Problem("there are no readings yet"))
    return TableText(content, READINGS, "reading"), path


def add_reading(bench: Bench, change: Change) -> str:
    """A reading at a place by its name, or anywhere, at a time of the programme."""
    value, unit = number(text_of(change, "reading")), text_of(change, "unit")
    if unit not in ("umol_m2_s", "lux"):
        raise ReadingsError(Problem("a reading is in umol/m2/s or in lux"))
    cells = {
        "reading": f"{value:g}",
        "unit": unit,
        "time": text_of(change, "time"),
        "meter": text_of(change, "meter"),
        "note": text_of(change, "note"),
        "date": datetime.date.today().isoformat(),
    }
    site = text_of(change, "site")
    if site and (bench.setup is None or any(s.name == site and not s.implicit for s in bench.setup.sites)):
        cells["site"] = site
    else:
        spot = _top_of(bench, site) if site else [metres_of(change, k) for k in ("x_m", "y_m", "depth_m")]
        for column, metres in zip(("x_cm", "y_cm", "depth_cm"), spot, strict=True):
            if metres is None:
                raise ReadingsError(Problem("a reading needs its place: choose one, or click into the tank"))
            cells[column] = f"{round(100 * metres, 2):g}"
    path = bench.beside(READINGS)
    if bench.content(path) is None:
        bench.changed[path] = csv_text(COLUMNS, [[cells.get(name, "") for name in COLUMNS]]).encode()
    else:
        table, _ = table_of(bench)
        table.add_row({name: text for name, text in cells.items() if text})
        bench.changed[path] = table.data
    return f"reading {value:g} at {site or 'a spot'}"


def _top_of(bench: Bench, coral: str) -> list[float | None]:
    """Where a coral that has a place of its own is judged. [m]"""
    receivers = bench.setup.receivers if bench.setup else ()
    found = [r for r in receivers if coral in (r.coral, r.site)]
    if not found:
        raise ReadingsError(Problem("there is no such place"))
    return [found[-1].x_m, found[-1].y_m, found[-1].depth_m]


def set_reading(bench: Bench, change: Change) -> str:
    """Another text for a cell of the readings."""
    table, path = table_of(bench)
    row, column = change["row"], text_of(change, "column")
    if isinstance(row, bool) or not isinstance(row, int) or not 0 <= row < len(table.rows()):
        raise ValueError("row")
    text = text_of(change, "text").strip()
    if column == "reading":
        table.put_number(row, column, f"{number(text):g}")
    else:
        table.put(row, column, text)
    bench.changed[path] = table.data
    return f"{column} of a reading changed"


def drop_reading(bench: Bench, change: Change) -> str:
    """Take a reading out."""
    table, path = table_of(bench)
    row = change["row"]
    if isinstance(row, bool) or not isinstance(row, int) or not 0 <= row < len(table.rows()):
        raise ValueError("row")
    if len(table.rows()) == 1:  # a table without rows is none
        bench.changed[path] = None
    else:
        table.drop_row(row)
        bench.changed[path] = table.data
    return "a reading taken out"


def take_calibration(bench: Bench, change: Change) -> str:
    """Lay a calibration beside the setup and let the setup name it."""
    toml = bench.toml()
    named = toml.get(("calibration",))
    if not isinstance(named, str):
        named = CALIBRATION
        toml.put(("calibration",), named)
        bench.keep(toml)
    bench.changed[bench.beside(named)] = text_of(change, "calibration").encode()
    return "calibrated by the readings"


def readings_shown(bench: Bench) -> dict[str, Any]:
    """The readings as the page shows them."""
    if bench.content(os.path.join(bench.path.parent, READINGS)) is None:
        return {"columns": list(COLUMNS), "rows": []}
    table, _ = table_of(bench)
    rows = [[row.get(name, "") for name in table.columns] for row in table.rows()]
    return {"columns": list(table.columns), "rows": rows}


CHANGES: Final[dict[str, Callable[[Bench, Change], str]]] = {
    "reading": add_reading,
    "reading-cell": set_reading,
    "no-reading": drop_reading,
    "calibration": take_calibration,
}
