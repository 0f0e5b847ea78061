"""Cutting one line of a delimited text into cells."""

from __future__ import annotations

import csv
import re
from typing import Final, Literal

from lightdose.files.units import is_number

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
    if separator == " ":
        starts = [word.start() for word in re.finditer(r'"(?:[^"]|"")*"|\S+', line)]
        return starts[index] + 1 if index < len(starts) else len(line) + 1
    position, quoted = 0, False
    while index > 0 and position < len(line):
        if line[position] == '"':
            quoted = not quoted
        elif line[position] == separator and not quoted:
            index -= 1
        position += 1
    while position < len(line) and line[position] == " ":
        position += 1
    return position + 1
