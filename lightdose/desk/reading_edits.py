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

READINGS: Final = "readings.csv"
CALIBRATION: Final = "calibration.toml"
COLUMNS: Final = ("date", "site", "x_cm", "y_cm", "depth_cm", "time", "reading", "unit", "meter", "note")


def table_of(bench: Bench) -> tuple[TableText, str]:
    """The readings as they are, or an empty table, and its path."""
    path = bench.beside(READINGS)
    content = bench.content(path) or (",".join(COLUMNS) + "\n").encode()
    return TableText(content, READINGS, "reading"), path


def add_reading(bench: Bench, change: Change) -> str:
    """A reading at a place by its name, or anywhere, at a time of the programme."""
    value, unit = number(text_of(change, "reading")), text_of(change, "unit")
    if unit not in ("umol_m2_s", "lux"):
        raise ReadingsError(Problem("a reading is in umol m-2 s-1 or in lux"))
    cells = {
        "reading": f"{value:g}",
        "unit": unit,
        "time": text_of(change, "time"),
        "meter": text_of(change, "meter"),
        "note": text_of(change, "note"),
        "date": datetime.date.today().isoformat(),
    }
    site = text_of(change, "site")
    if site:
        cells["site"] = site
    else:
        spot = [metres_of(change, key) for key in ("x_m", "y_m", "depth_m")]
        for column, metres in zip(("x_cm", "y_cm", "depth_cm"), spot, strict=True):
            if metres is None:
                raise ReadingsError(Problem("a reading needs its place: choose one, or click into the tank"))
            cells[column] = f"{round(100 * metres, 2):g}"
    table, path = table_of(bench)
    table.add_row({name: text for name, text in cells.items() if text})
    bench.changed[path] = table.data
    return f"reading {value:g} at {site or 'a spot'}"


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
