"""Lines of a delimited text: cut into cells, their decimal mark, and those that are no rows of its table.

Comments start with ``#``. In a table whose first column holds names, ``#12 hammer`` is a name: there a
comment has a space after its mark, or is one cell. What stands above the header is a title or an instrument's
own words; what could be a row there comes of sorting a sheet together with its header, and is refused.
"""

from __future__ import annotations

import csv
import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from typing import Final, Literal

from lightdose.errors import Place, Problem, literal
from lightdose.files.text import DelimitedError
from lightdose.files.units import digits_together, is_number
from lightdose.model.record import dataclass

Separator = Literal["\t", ";", ",", " "]
SEPARATORS: Final[tuple[Separator, ...]] = ("\t", ";", ",", " ")
SEPARATOR_NAMES: Final = {"\t": "tab", ";": "';'", ",": "','", " ": "spaces"}

_QUOTED: Final = re.compile(r'(?:^|(?<=[\s;,]))"[^"]*"')


def separator_of(line: str) -> Separator | None:
    """The separator that a line by itself speaks for, or None for a single cell."""
    bare = _QUOTED.sub("q", line.strip())
    if "\t" in bare:
        return "\t"
    if ";" in bare:
        return ";"
    words = bare.split()
    if "," in bare:
        # "400,5 0,1" has spaces between its numbers; in "400, 0.1" the comma parts them.
        is_spaced = len(words) > 1 and all(is_number(word) and word.strip(",") == word for word in words)
        return " " if is_spaced else ","
    return " " if len(words) > 1 else None


def split_line(line: str, separator: Separator) -> tuple[str, ...]:
    """The cells without surrounding spaces; raises csv.Error where a quoted cell does not close."""
    if '"' in line:
        line = line.strip() if separator == " " else line
        reader = csv.reader([line], delimiter=separator, skipinitialspace=True, strict=True)
        return tuple(cell.strip() for cell in next(reader))
    if separator == " ":
        return tuple(line.split())
    if " " in line or "\t" in line or "\u00a0" in line:
        return tuple([cell.strip() for cell in line.split(separator)])
    return tuple(line.split(separator))


def cell_column(line: str, separator: Separator, index: int) -> int:
    """Position, counted from 1, at which a cell's text starts in its line."""
    starts = _cell_starts(line, separator)
    return starts[index] if index < len(starts) else len(line) + 1


@lru_cache(maxsize=4)
def _cell_starts(line: str, separator: Separator) -> list[int]:
    """Where every cell of a line starts; kept, because a header may have thousands of doubtful cells."""
    if separator == " ":
        return [word.start() + 1 for word in re.finditer(r'"(?:[^"]|"")*"|\S+', line)]
    ends, quoted = [], False
    for position, letter in enumerate(line):
        if letter == '"':
            quoted = not quoted
        elif letter == separator and not quoted:
            ends.append(position)
    starts = []
    for start in (0, *(end + 1 for end in ends)):
        while start < len(line) and line[start] == " ":
            start += 1
        starts.append(start + 1)
    return starts


Decimal = Literal[".", ","]

MOST_PROBLEMS: Final = 20
"""Problems of one kind that are shown; a file of 50,000 bad rows needs no more."""

_COMMA_DECIMAL: Final = re.compile(r"[+-]?[0-9]*,[0-9]+(?:[eE][+-]?[0-9]+)?")
_POINT_DECIMAL: Final = re.compile(r"[+-]?[0-9]*\.[0-9]+(?:[eE][+-]?[0-9]+)?")
_COMMA_THOUSAND: Final = re.compile(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}")
_THOUSANDS: Final = re.compile(
    r"[+-]?[0-9]{1,3}(?:(?:\.[0-9]{3})+,[0-9]*|(?:,[0-9]{3})+\.[0-9]*|(?:\.[0-9]{3}){2,}|(?:,[0-9]{3}){2,})"
)


@dataclass(frozen=True)
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


NAME_COLUMNS: Final = frozenset(("site", "coral", "group", "genus", "meter", "unit", "name", "note"))
"""Columns that hold names or words."""

SHOWN: Final = 3
"""Lines of a kind that are shown with their text; the rest is counted. Our choice."""

_SHOWN_LETTERS: Final = 40
_MARKED_NAME: Final = re.compile(r"[ \f]*#[^\s#]")

Kind = Literal["above", "comment", "head"]
"""A line above the table, a comment beside rows or like one, a comment in the head of a file."""


@dataclass(frozen=True)
class LeftOut:
    """One line that is no row, by its number in the file."""

    line: int
    text: str
    kind: Kind


def left_out_words(lines: Sequence[LeftOut]) -> list[str]:
    """What was left out, for the user to check; the comments in the head of a file go without saying."""
    above = [found for found in lines if found.kind == "above"]
    comments = [found for found in lines if found.kind == "comment"]
    words = []
    if above:
        words.append(f"{_counted(len(above), 'line')} above left out ({_listed(above)})")
    if comments:
        words.append(f"{_counted(len(comments), 'comment')} left out ({_listed(comments)})")
    return words


def starts_with_names(header: Sequence[str] | None) -> bool:
    """Whether the first column of a table holds names."""
    return header is not None and header[0].casefold() in NAME_COLUMNS


def has_marked_name(line: str) -> bool:
    """Whether a line starts with ``#`` and, without a space, what may be the rest of a name."""
    return _MARKED_NAME.match(line) is not None


def several_filled(cells: Iterable[str]) -> bool:
    """Whether two cells or more hold something: a title has one."""
    return sum(map(bool, cells)) > 1


def _listed(lines: Sequence[LeftOut]) -> str:
    shown = [f'line {found.line}: "{_short(found.text)}"' for found in lines[:SHOWN]]
    more = [f"and {len(lines) - SHOWN} more"] if len(lines) > SHOWN else []
    return ", ".join(shown + more)


def _short(text: str) -> str:
    text = literal(" ".join(text.split()))
    return text if len(text) <= _SHOWN_LETTERS else f"{text[: _SHOWN_LETTERS - 3].rstrip()}..."


def _counted(number: int, one: str) -> str:
    return f"{number} {one}{'' if number == 1 else 's'}"
