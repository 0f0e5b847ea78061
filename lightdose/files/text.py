"""Bytes to text, and text to the lines and cells of a table.

Comments start with ``#``. In a table whose first column holds names, ``#12 hammer`` is a name: there a
comment has a space after its mark, or is one cell. What stands above the header is a title or an instrument's
own words; what could be a row there comes of sorting a sheet together with its header, and is refused.
"""

from __future__ import annotations

import codecs
import csv
import os
import re
from collections.abc import Callable, Iterable, Sequence
from functools import lru_cache
from pathlib import Path
from typing import BinaryIO, Final, Literal

from lightdose.errors import LightdoseError, Place, Problem, literal
from lightdose.files.units import digits_together, is_number
from lightdose.model.record import dataclass
from lightdose.near_names import near_names

_ALLOWED: Final = "text as UTF-8, UTF-16 with a byte order mark, or Windows-1252"
_CONTROL: Final = re.compile(r"[\x01-\x08\x0b\x0e-\x1f\x7f]")


class DelimitedError(LightdoseError):
    """A file that is no readable text, or text that is no table."""


def read_text(path: Path, *, limit_bytes: int, label: str) -> tuple[str, str]:
    """The text of a file and the encoding it was read with.

    Parameters
    ----------
    path : the file
    limit_bytes : largest size that is read
    label : its name in messages

    Returns
    -------
    (text, encoding)
        encoding is "utf-8", "UTF-16" or "Windows-1252"; a byte order mark is removed

    Raises
    ------
    DelimitedError
        If the file is missing, too large, empty, or no text in one of these encodings.
    """
    data = _read_bytes(path, limit_bytes, label)
    place = Place(label)
    if len(data) > limit_bytes:
        raise DelimitedError(Problem("is larger than allowed", f"up to {_size(limit_bytes)}", place=place))
    if not data:
        raise DelimitedError(Problem("is empty", place=place))
    if kind := _other_kind(data):
        raise DelimitedError(Problem(f"is {kind}, not text", "CSV", "save it as CSV", place))
    text, encoding = _decode(data, label)
    if "\0" in text:
        line = text.count("\n", 0, text.index("\0")) + 1
        raise DelimitedError(
            Problem(
                "holds NUL bytes: UTF-16 without a byte order mark, or not text",
                _ALLOWED,
                "save it as CSV UTF-8",
                Place(label, line),
            )
        )
    if control := _CONTROL.search(text):
        line = text.count("\n", 0, control.start()) + 1
        raise DelimitedError(
            Problem(
                f"holds the control character 0x{ord(control[0]):02x}",
                _ALLOWED,
                "save it as CSV UTF-8",
                Place(label, line),
            )
        )
    return text, encoding


def _read_bytes(path: Path, limit_bytes: int, label: str) -> bytes:
    try:
        with open_bytes(path) as stream:
            return stream.read(limit_bytes + 1)
    except FileNotFoundError:
        raise DelimitedError(
            Problem("there is no such file", _near_names(path), place=Place(label))
        ) from None
    except IsADirectoryError:
        raise DelimitedError(Problem("is a folder, not a file", place=Place(label))) from None
    except PermissionError as cause:
        found = "is a folder, not a file" if path.is_dir() else "may not be read with your rights"
        raise DelimitedError(Problem(found, place=Place(label))) from cause
    except (OSError, ValueError) as cause:
        reason = getattr(cause, "strerror", None) or "the name cannot be a file's"
        raise DelimitedError(Problem(f"cannot be read: {reason.lower()}", place=Place(label))) from cause


def open_bytes(path: Path) -> BinaryIO:
    """A file that is typed; a pipe that nobody writes into is empty, one with a writer is read to its end."""
    return open(path, "rb", opener=None if os.name == "nt" else _without_waiting)


def _without_waiting(path: str, flags: int) -> int:
    descriptor = os.open(path, flags | os.O_NONBLOCK)
    os.set_blocking(descriptor, True)
    return descriptor


def _near_names(path: Path) -> str:
    """Files of the same folder with similar names, as a hint against typos."""
    try:
        names = sorted(entry.name for entry in path.parent.iterdir() if entry.is_file())
    except (OSError, ValueError):
        return ""
    near = near_names(path.name, names, 3)
    return f"files here with a similar name: {', '.join(near)}" if near else ""


def _other_kind(data: bytes) -> str | None:
    if data.startswith(b"PK\x03\x04"):
        return "a spreadsheet or zip file"
    if data.startswith(b"\xd0\xcf\x11\xe0"):
        return "an old spreadsheet file"
    if data.startswith(b"%PDF"):
        return "a PDF"
    return None


def _decode(data: bytes, label: str) -> tuple[str, str]:
    if data.startswith((codecs.BOM_UTF32_LE, codecs.BOM_UTF32_BE)):
        raise DelimitedError(Problem("is UTF-32", _ALLOWED, "save it as CSV UTF-8", Place(label)))
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        try:
            return data.decode("utf-16"), "UTF-16"
        except UnicodeDecodeError as cause:
            raise _undecodable(data, cause, "UTF-16", label) from None
    unmarked = data.removeprefix(codecs.BOM_UTF8)
    try:
        return unmarked.decode("utf-8"), "utf-8"
    except UnicodeDecodeError as cause:
        if len(unmarked) < len(data):
            raise _undecodable(unmarked, cause, "UTF-8", label) from None
    try:
        return data.decode("cp1252"), "Windows-1252"
    except UnicodeDecodeError as cause:
        raise _undecodable(data, cause, "UTF-8 or Windows-1252", label) from None


def _undecodable(data: bytes, cause: UnicodeDecodeError, encoding: str, label: str) -> DelimitedError:
    line = data.count(b"\n", 0, cause.start) + 1
    return DelimitedError(
        Problem(
            f"byte 0x{data[cause.start]:02x} cannot be read as {encoding}",
            _ALLOWED,
            "save it as CSV UTF-8",
            Place(label, line),
        )
    )


def _size(n_bytes: int) -> str:
    return f"{n_bytes / 1e6:g} MB" if n_bytes >= 1e6 else f"{n_bytes / 1e3:g} kB"


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
    if " " in line or "\t" in line or not line.isascii():  # letters beyond ASCII may be spaces too
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
    starts, at = [], 0
    if '"' not in line:
        for cell in line.split(separator):
            starts.append(at + len(cell) - len(cell.lstrip(" ")) + 1)
            at += len(cell) + 1
        return starts
    ends, quoted = [], False
    for position, letter in enumerate(line):
        if letter == '"':
            quoted = not quoted
        elif letter == separator and not quoted:
            ends.append(position)
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


NAME_COLUMNS: Final = frozenset(
    ("site", "coral", "rock", "group", "genus", "meter", "unit", "name", "note", "pair")
)
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
