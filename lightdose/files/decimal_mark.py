"""Whether the numbers of a table have a decimal point or a decimal comma."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from lightdose.errors import Place, Problem
from lightdose.files.text import DelimitedError
from lightdose.files.units import digits_together

Decimal = Literal[".", ","]

MOST_PROBLEMS: Final = 20
"""Problems of one kind that are shown; a file of 50,000 bad rows needs no more."""

_COMMA_DECIMAL: Final = re.compile(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
_POINT_DECIMAL: Final = re.compile(r"[+-]?[0-9]*\.[0-9]+(?:[eE][+-]?[0-9]+)?")
_COMMA_THOUSAND: Final = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_THOUSANDS: Final = re.compile(
    r"[+-]?[0-9]{1,3}(?:(?:\.[0-9]{3})+,[0-9]*|(?:,[0-9]{3})+\.[0-9]*|(?:\.[0-9]{3}){2,}|(?:,[0-9]{3}){2,})"
)


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line in the file, counted from 1, and its cells without surrounding spaces."""

    line: int
    cells: tuple[str, ...]


def has_thousands(cell: str) -> bool:
    """Whether a number has marks between its thousands, such as "1.234,5" or "1,234,567"."""
    return _THOUSANDS.fullmatch(cell) is not None


def find_decimal(
    rows: Sequence[Row], numeric: Sequence[int], place_of: Callable[[Row, int], Place]
) -> Decimal:
    """The decimal mark of the cells in the columns ``numeric``; a point where no cell tells.

    Raises
    ------
    DelimitedError
        If thousands are marked, both marks occur, or every comma may as well stand between thousands.
    """
    cells = [(row, i, cell) for row in rows for i in numeric if "," in (cell := row.cells[i])]
    marked = [found for found in cells if has_thousands(found[2])]
    many_points = ((row, i, row.cells[i]) for row in rows for i in numeric if row.cells[i].count(".") > 1)
    marked += [found for found in many_points if has_thousands(found[2]) and found not in marked]
    raise_first(
        [
            Problem(
                f'"{cell}" has marks between thousands',
                "digits and one decimal mark",
                f"write all digits together: {digits_together(cell)}",
                place_of(row, i),
            )
            for row, i, cell in marked
        ]
    )
    commas = [found for found in cells if _COMMA_DECIMAL.fullmatch(found[2])]
    if not commas:
        return "."
    row, i, cell = commas[0]
    points = ((row, row.cells[i]) for row in rows for i in numeric if "." in row.cells[i])
    for point_row, point in points:
        if _POINT_DECIMAL.fullmatch(point):
            found = f'"{cell}" has a decimal comma, "{point}" in line {point_row.line} a decimal point'
            raise DelimitedError(Problem(found, "one decimal mark in a file", place=place_of(row, i)))
    if all(_COMMA_THOUSAND.fullmatch(cell) for _, _, cell in commas):
        small, large = cell.replace(",", "."), cell.replace(",", "")
        raise DelimitedError(
            Problem(
                f'"{cell}" can be read as {small} or as {large}, and no other number tells which',
                cure=f"write {cell}0 if the comma is decimal, else {large}",
                place=place_of(row, i),
            )
        )
    return ","


def raise_first(problems: Sequence[Problem]) -> None:
    """Raise the problems, if there are any, cut to the number that people read."""
    if not problems:
        return
    shown = list(problems[:MOST_PROBLEMS])
    if len(problems) > len(shown):
        place = shown[-1].place
        rest = len(problems) - len(shown)
        shown.append(Problem(f"and {rest} more like these", place=place, stands_for=rest))
    raise DelimitedError(*shown)
