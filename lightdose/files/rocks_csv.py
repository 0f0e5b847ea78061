"""rocks.csv: a row for each solid; the setup checks them against the tank."""

from __future__ import annotations

from pathlib import Path
from typing import Final

from lightdose.errors import Place, Problem
from lightdose.files.places_csv import TableCells, read_rows, understood
from lightdose.files.setup_schema import SMALLEST_SIDE_M
from lightdose.frozen import dataclass
from lightdose.model.forms import ROCK_REFLECTANCE, ROCK_SHAPES

AT_COLUMNS: Final = ("x_cm", "y_cm", "z_cm")
SIZE_COLUMNS: Final = ("size_x_cm", "size_y_cm", "size_z_cm")
ROCK_COLUMNS: Final = ("rock", "shape", *AT_COLUMNS, *SIZE_COLUMNS, "turn_deg", "reflectance")


@dataclass(frozen=True)
class RockRow:
    """A rock as written: the centre of its body, or of a slab's top; z is above the floor. [m]"""

    name: str
    shape: str
    at_m: tuple[float, float, float]
    size_m: tuple[float, float, float]
    turn_deg: float
    reflectance: float
    place: Place


def read_rocks(path: Path, label: str) -> tuple[list[RockRow], str]:
    """The rows of rocks.csv by ``ROCK_COLUMNS``; a blank turn is 0, a blank reflectance that of rock.

    With them comes what was understood.

    Raises
    ------
    SetupError
        With every problem of the file.
    """
    cells = TableCells(read_rows(path, label, "rock"), ROCK_COLUMNS)
    cells.require("rock", "shape", *AT_COLUMNS, *SIZE_COLUMNS)
    cells.raise_problems()
    rows = []
    for row in cells.table.rows:
        already = len(cells.problems)
        name = cells.name(row, "rock")
        shape = cells.word(row, "shape", cells.text(row, "shape") or "", ROCK_SHAPES)
        at = [cells.metres(row, column) for column in AT_COLUMNS]
        size = [cells.metres(row, column) for column in SIZE_COLUMNS]
        for column, side in zip(SIZE_COLUMNS, size, strict=True):
            if side is not None and not SMALLEST_SIDE_M <= side <= 20:
                place = cells.table.place(row, column)
                found = f"the size {100 * side:g} cm is outside the range"
                cells.problems.append(Problem(found, f"{100 * SMALLEST_SIDE_M:g} cm to 2000 cm", place=place))
        turn = cells.number(row, "turn_deg", 0.0, -360, 360)
        back = cells.number(row, "reflectance", ROCK_REFLECTANCE, 0, 0.99)
        if len(cells.problems) > already or name is None or shape is None:
            continue
        x, y, z = (v or 0.0 for v in at)
        a, b, c = (v or 0.0 for v in size)
        rows.append(RockRow(name, shape, (x, y, z), (a, b, c), turn, back, cells.table.place(row, "rock")))
    cells.raise_problems()
    return rows, understood(cells.table, len(rows), "rock")
