"""The one reader of CSV-like text: spectra, schedules, sites, corals, readings.

It decides by fixed rules, says what it understood, and refuses what can be read in two ways. Sniffing
libraries guess from samples instead, and misread such files without a word.

The rules: a ``sep=`` line decides; else the line with the caller's key column; else what most lines hold, a
tab before ``;`` before ``,`` before spaces. Where tabs, ``;`` or spaces separate, numbers may have a decimal
comma.
"""

from __future__ import annotations

import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import field
from itertools import product
from typing import Final

from lightdose.errors import Place, Problem
from lightdose.files.text import (
    NAME_COLUMNS,
    SEPARATOR_NAMES,
    SEPARATORS,
    Decimal,
    DelimitedError,
    Kind,
    LeftOut,
    Row,
    Separator,
    cell_column,
    find_decimal,
    has_marked_name,
    has_thousands,
    left_out_words,
    raise_first,
    read_text,
    separator_of,
    several_filled,
    split_line,
    starts_with_names,
)
from lightdose.files.toml_guard import LONGEST_TEXT
from lightdose.files.units import UnitProblem, has_length_unit, is_number, parse_length, parse_number
from lightdose.model.record import dataclass

__all__ = ["DelimitedError", "DelimitedTable", "Row", "read_delimited", "read_text"]


LONGEST_LINE: Final = 20_000
"""Characters in a line: 200 channels with 17 digits each need 4,000; our choice."""
TEXT_COLUMNS: Final = NAME_COLUMNS | {"time", "date"}
"""Columns whose cells are never numbers, so "7.30" there says nothing about the decimal mark."""

_NO_TABLE: Final = "a header line, then one line a row"
_QUOTED_COMMENT: Final = re.compile(r'"#[^"]*"')


@dataclass(frozen=True, eq=False)
class DelimitedTable:
    """A table as text, with what the reader understood.

    ``header`` is None where the file has only numbers; all rows have the same number of cells. Every line of
    the file is a row, the header, blank, a ``sep=`` line, or among those left out.
    """

    file: str
    header: tuple[str, ...] | None
    header_line: int
    rows: tuple[Row, ...]
    separator: Separator
    decimal: Decimal
    preamble: tuple[str, ...]
    encoding: str = "utf-8"
    left_out: tuple[LeftOut, ...] = ()
    lines: tuple[str, ...] = field(default=(), repr=False)

    @property
    def n_columns(self) -> int:
        """Number of cells in every row."""
        return len(self.header) if self.header is not None else len(self.rows[0].cells)

    @property
    def understood(self) -> str:
        """What was read, for the user to check: "401 rows, separator ';', decimal comma"."""
        parts = [f"{len(self.rows)} row{'s' if len(self.rows) != 1 else ''}"]
        if self.header is None:
            parts.append("no header")
        elif self.header_line > 1:
            parts.append(f"header in line {self.header_line}")
        parts.append(f"separator {SEPARATOR_NAMES[self.separator]}")
        parts.append("decimal comma" if self.decimal == "," else "decimal point")
        if self.encoding != "utf-8":
            parts.append(self.encoding)
        return ", ".join([*parts, *self.passed_over])

    @property
    def passed_over(self) -> list[str]:
        """What was left out, and which rows could be taken for comments, in words."""
        words = left_out_words(self.left_out)
        marked = [row.line for row in self.rows if has_marked_name(self.lines[row.line - 1])]
        if marked:
            words.append(
                f"{len(marked)} name{'s start' if len(marked) > 1 else ' starts'} with # (line {marked[0]}"
                f"{' and on' if len(marked) > 1 else ''}; with a space after it, it begins a comment)"
            )
        return words

    def column(self, column: int | str) -> int:
        """Index of a column; a name is looked up as written, else without regard to capitals."""
        if isinstance(column, int):
            return column
        header = self.header or ()
        if column in header:
            return header.index(column)
        return [name.casefold() for name in header].index(column.casefold())

    def text(self, row: Row, column: int | str) -> str:
        """The cell as text."""
        return row.cells[self.column(column)]

    def number(self, row: Row, column: int | str) -> float:
        """The cell as a number; raises UnitProblem with its place."""
        index = self.column(column)
        try:
            return parse_number(row.cells[index], self.decimal)
        except UnitProblem as trouble:
            raise UnitProblem(trouble.problem.at(self.place(row, index))) from None

    def length_m(self, row: Row, column: int | str) -> float:
        """The cell as a length: centimetres, unless a unit stands behind the number; as ``number``. [m]"""
        index = self.column(column)
        cell = row.cells[index]
        if not has_length_unit(cell):
            return self.number(row, index) / 100
        try:
            return parse_length(cell)
        except UnitProblem as trouble:
            raise UnitProblem(trouble.problem.at(self.place(row, index))) from None

    def place(self, row: Row | None, column: int | str | None = None) -> Place:
        """Where a row, or a cell of it, stands; None means the header line."""
        line = self.header_line if row is None else row.line
        index = None if column is None else self.column(column)
        return _place(self.file, self.lines, line, self.separator, index)


def read_delimited(
    text: str, file: str, encoding: str = "utf-8", *, key_column: str | None = None
) -> DelimitedTable:
    """Read CSV-like text.

    Parameters
    ----------
    text : the whole file
    file : its name in messages
    encoding : how it was decoded, for ``understood``
    key_column : a column that the header must name; without one, a header is the text line above the first
        row of numbers, and may be missing

    Raises
    ------
    DelimitedError
        With every line that cannot be read, or the first thing that can be read in two ways.
    """
    return _Reading(text, file, encoding).table(key_column)


class _Reading:
    """The state of reading one text, in the order of the steps."""

    def __init__(self, text: str, file: str, encoding: str) -> None:
        self.file = file
        self.encoding = encoding
        plain = text.removeprefix("\ufeff").replace("\r\n", "\n").replace("\r", "\n")
        self.lines = plain.split("\n")
        self.preamble: list[str] = []
        self.comments: list[int] = []
        self.above: list[int] = []
        self.declared: Separator | None = None
        self.content: list[tuple[int, str]] = []
        self._sort_lines()

    def table(self, key_column: str | None) -> DelimitedTable:
        if key_column is None:
            separator = self.declared or self._usual_separator()
            header, rows = self._find_header(self._split_all(self.content, separator), separator)
        else:
            separator, start = self._find_key(key_column)
            self._take_above(self.content[:start])
            header, *rows = self._split_all(self.content[start:], separator)
            self._check_above(header, separator, key_column)
        if header is not None and starts_with_names(header.cells):
            rows = self._with_marked_names(header, rows, separator)
        if not rows:
            place = Place(self.file, header.line if header else 0)
            raise DelimitedError(Problem("has a header and no rows below it", _NO_TABLE, place=place))
        self._check_widths(header, rows, separator)
        self._check_texts(header, rows, separator)
        header, rows = _drop_empty_tail(header, rows)
        if header is None and separator == "," and self.declared is None:
            self._check_comma_without_header(rows)
        columns = range(len(rows[0].cells))
        numeric = [i for i in columns if header is None or header.cells[i].casefold() not in TEXT_COLUMNS]
        decimal = find_decimal(rows, numeric, lambda row, i: self._place(row.line, separator, i))
        return DelimitedTable(
            self.file,
            header.cells if header else None,
            header.line if header else 0,
            tuple(rows),
            separator,
            decimal,
            tuple(self.preamble),
            self.encoding,
            self._left_out(header, rows, separator),
            tuple(self.lines),
        )

    def _sort_lines(self) -> None:
        """Set comments, blank lines and the ``sep=`` line apart from the lines of the table."""
        for number, line in enumerate(self.lines, start=1):
            # Spreadsheets fill lines with separators at the end; in front, a separator is an empty cell.
            stripped = line.rstrip(" \t,;\f").lstrip(" \f")
            if not stripped:
                continue
            if len(line) > LONGEST_LINE:
                raise DelimitedError(
                    Problem(
                        f"the line has {len(line):,} characters",
                        f"up to {LONGEST_LINE:,}",
                        "put each row on a line of its own",
                        Place(self.file, number),
                    )
                )
            if stripped.startswith("#") or _QUOTED_COMMENT.fullmatch(stripped):
                self.preamble.append(stripped.strip('"').lstrip("# "))
                self.comments.append(number)
            elif not self.content and stripped.strip('"').lower().startswith("sep="):
                self.declared = self._declared(line, number)
            else:
                self.content.append((number, line))
        if not self.content:
            found = "has only comments" if self.preamble else "has no rows"
            raise DelimitedError(Problem(found, _NO_TABLE, place=Place(self.file)))

    def _declared(self, line: str, number: int) -> Separator:
        mark = line.partition("=")[2].strip('"')
        mark = mark.strip().replace("\\t", "\t") if mark.strip() else mark[:1]
        for separator in SEPARATORS:
            if mark == separator:
                return separator
        raise DelimitedError(
            Problem(
                f'the sep= line names "{mark}"',
                "a tab, ; , or a space",
                place=Place(self.file, number, 5, line),
            )
        )

    def _usual_separator(self) -> Separator:
        votes = Counter(vote for _, line in self.content if (vote := separator_of(line)) is not None)
        if not votes:
            number, line = self.content[0]
            raise DelimitedError(
                Problem(
                    "no line has two cells",
                    "cells separated by a tab, ; , or spaces",
                    place=Place(self.file, number, 0, _shown(line)),
                )
            )
        return max(SEPARATORS, key=lambda separator: votes[separator])

    def _find_key(self, key_column: str) -> tuple[Separator, int]:
        """Separator and index of the line that names the key column."""
        key = key_column.casefold()
        lines = [(i, line) for i, (_, line) in enumerate(self.content) if key in line.casefold()]
        # Spaces come last: the row "site 1,30,20,10" names no columns.
        choices = ((self.declared,),) if self.declared else (SEPARATORS[:-1], SEPARATORS[-1:])
        for separators in choices:
            for (index, line), separator in product(lines, separators):
                try:
                    cells = split_line(line, separator)
                except csv.Error:
                    continue
                if len(cells) > 1 and key in (cell.casefold() for cell in cells):
                    return separator, index
        number, line = self.content[0]
        raise DelimitedError(
            Problem(
                f'no line names the column "{key_column}" beside others',
                "a first line with the names of the columns",
                place=Place(self.file, number, 0, _shown(line)),
            )
        )

    def _split_all(self, content: Sequence[tuple[int, str]], separator: Separator) -> list[Row]:
        rows, problems = [], []
        for number, line in content:
            try:
                rows.append(Row(number, split_line(line, separator)))
            except csv.Error:
                problems.append(
                    Problem(
                        "a quoted cell does not end where the cell ends",
                        'cells in double quotes, a quote inside written twice: "24"" tank"',
                        "close the quote on the same line",
                        Place(self.file, number, line.find('"') + 1, _shown(line)),
                    )
                )
        raise_first(problems)
        return rows

    def _find_header(self, split: list[Row], separator: Separator) -> tuple[Row | None, list[Row]]:
        """Header, if any, and rows of a table whose columns nobody named beforehand."""
        start = _first_row(split)
        header: Row | None = None
        width = len(split[start].cells) if start < len(split) else 0
        # "400;n/a" above the first row of numbers is a row that cannot be read, neither header nor preamble.
        while start > 0 and is_number(split[start - 1].cells[0]):
            start -= 1
        start = _below_header(split, start, width) if separator != " " else start
        if start > 0:
            candidate = split[start - 1]
            cells = candidate.cells
            # A line above the numbers is a preamble if it holds a number ("exposure;100"), is one cell of
            # another width, or words between spaces; any other that does not fit is refused below.
            fits = start == len(split) or len(cells) == width or (len(cells) > 1 and separator != " ")
            other = separator_of(self.lines[candidate.line - 1]) not in (None, " ", separator)
            if (fits or other) and (not width or not any(is_number(cell) for cell in cells)):
                header = candidate
        while header is None and start > 0 and _like_row_of_numbers(split[start - 1].cells, width):
            start -= 1
        first_row_line = header.line if header else (split[start].line if start < len(split) else 0)
        self._take_above([(number, line) for number, line in self.content if number < first_row_line])
        return header, split[start:]

    def _take_above(self, content: Sequence[tuple[int, str]]) -> None:
        """Set the lines above the table aside."""
        self.preamble.extend(line for _, line in content)
        self.above.extend(number for number, _ in content)

    def _check_above(self, header: Row, separator: Separator, key_column: str) -> None:
        """Refuse what could be a row above the header: of a sheet that was sorted together with it."""
        key = [cell.casefold() for cell in header.cells].index(key_column.casefold())
        named = starts_with_names(header.cells)
        marked = [n for n in self.comments if n < header.line and self._has_marked_name(n)] if named else []
        problems = []
        for number in sorted([*self.above, *marked]):
            cells = self._cells(number, separator)
            if not several_filled(cells) or len(cells) < _filled(header.cells):
                continue
            if key_column in NAME_COLUMNS or any(map(str.isdigit, cells[key])):
                found = f"a row stands above the names of the columns, which are in line {header.line}"
                cure = f"move line {header.line} to the top; put # and a space before a line that is no row"
                place = self._place(number, separator, None)
                problems.append(Problem(found, "the names of the columns, then the rows", cure, place))
        raise_first(problems)

    def _with_marked_names(self, header: Row, rows: list[Row], separator: Separator) -> list[Row]:
        """The rows with those whose name starts with # like a comment."""
        marked = [
            number
            for number in self.comments
            if number > header.line
            and self._has_marked_name(number)
            and several_filled(self._cells(number, separator))
        ]
        if not marked:
            return rows
        self.comments = [number for number in self.comments if number not in set(marked)]
        more = self._split_all([(number, self.lines[number - 1]) for number in marked], separator)
        return sorted([*rows, *more], key=lambda row: row.line)

    def _left_out(self, header: Row | None, rows: list[Row], separator: Separator) -> tuple[LeftOut, ...]:
        named = header is not None and starts_with_names(header.cells)
        table_line = header.line if header is not None else rows[0].line
        found = [LeftOut(number, self.lines[number - 1], "above") for number in self.above]
        for number in self.comments:
            cells = self._cells(number, separator, start=self.lines[number - 1].index("#") + 1)
            like_row = len(cells) >= len(rows[0].cells) and several_filled(cells)
            like_row &= named or cells[0][:1].isdigit()
            kind: Kind = "comment" if number > table_line or like_row else "head"
            found.append(LeftOut(number, self.lines[number - 1], kind))
        return tuple(sorted(found, key=lambda line: line.line))

    def _has_marked_name(self, number: int) -> bool:
        return has_marked_name(self.lines[number - 1])

    def _cells(self, number: int, separator: Separator, start: int = 0) -> tuple[str, ...]:
        """The cells of a line that may be no row; one where they cannot be told apart."""
        line = self.lines[number - 1][start:]
        try:
            return split_line(line, separator)
        except csv.Error:
            return (line,)

    def _check_widths(self, header: Row | None, rows: list[Row], separator: Separator) -> None:
        width = _filled(header.cells) if header else len(rows[0].cells)
        measure = "the header" if header else f"line {rows[0].line}"
        if header and width == 1:
            rows_width = max(len(row.cells) for row in rows)
            problems = [self._ragged(header, width, rows_width, f"line {rows[0].line}", separator)]
        else:
            problems = [
                self._ragged(row, len(row.cells), width, measure, separator)
                for row in rows
                if len(row.cells) < width or (len(row.cells) > width and _filled(row.cells) > width)
            ]
        raise_first(problems)

    def _ragged(self, row: Row, got: int, expected: int, measure: str, separator: Separator) -> Problem:
        line = self.lines[row.line - 1]
        found = f"{got} cell{'s' if got != 1 else ''}, {measure} has {expected}"
        cure = "add or remove cells, or put # and a space before a line that is no row"
        other = separator_of(line)
        if other is not None and other != separator and (got == 1 or SEPARATORS.index(other) < 3):
            found += f"; {SEPARATOR_NAMES[other]} here, {SEPARATOR_NAMES[separator]} there"
            cure = "use one separator in the whole file"
        elif separator == "," and got > expected:
            cure = "numbers with a decimal comma need ; or a tab between cells"
        return Problem(found, cure=cure, place=Place(self.file, row.line, 0, _shown(line)))

    def _check_texts(self, header: Row | None, rows: Sequence[Row], separator: Separator) -> None:
        """Refuse names and notes that are no line to read."""
        named = [
            i for i, cell in enumerate(header.cells if header else ()) if cell.casefold() in NAME_COLUMNS
        ]
        long = [row for row in rows if len(self.lines[row.line - 1]) > LONGEST_TEXT]
        raise_first(
            [
                Problem(
                    f"the text has {len(row.cells[i]):,} letters",
                    f"up to {LONGEST_TEXT}",
                    place=self._place(row.line, separator, i),
                )
                for row in long
                for i in named
                if len(row.cells[i]) > LONGEST_TEXT
            ]
        )

    def _check_comma_without_header(self, rows: list[Row]) -> None:
        """Commas between plain digits alone may separate, or be decimal: ``400,5,0,1``, ``1.234,5``."""
        for row in rows:
            cells = row.cells
            if any(re.fullmatch(r"[0-9]+", cell) is None for cell in cells[1:]):
                return  # "400,0.1", "400,-2", "400,": only a separator can stand before these
        doubtful = next((row for row in rows if len(row.cells) > 2 or "." in row.cells[0]), None)
        if doubtful is not None:
            line = self.lines[doubtful.line - 1]
            raise DelimitedError(
                Problem(
                    f'"{line.strip()[:60]}" can be read in several ways: are the commas decimal?',
                    cure="name the columns in a first line, or use ; between cells",
                    place=Place(self.file, doubtful.line, line.find(",") + 1, _shown(line)),
                )
            )

    def _place(self, line: int, separator: Separator, index: int | None) -> Place:
        return _place(self.file, self.lines, line, separator, index)


def _first_row(split: Sequence[Row]) -> int:
    """Index of the first row of numbers; a table of text alone starts below its first line."""
    for index, row in enumerate(split):
        filled = [cell for cell in row.cells if cell]
        if len(filled) > 1 and all(is_number(cell) or has_thousands(cell) for cell in filled):
            return index
    wide = (index for index, row in enumerate(split) if len(row.cells) > 1)
    return next(wide, 0) + 1


def _like_row_of_numbers(cells: Sequence[str], width: int) -> bool:
    """Whether a line above the rows is one of them with a slip, such as "4OO,0.1"."""
    return len(cells) == width and cells[0][:1].isdigit() and any(map(is_number, cells[1:]))


def _below_header(split: Sequence[Row], start: int, width: int) -> int:
    """The row under a line of words, if only rows with some number stand between it and ``start``.

    "4OO,0.1" under a header is a row that cannot be read, not the end of a preamble.
    """
    above = start - 1
    while above >= 0 and len(split[above].cells) == width and any(map(is_number, split[above].cells)):
        above -= 1
    return above + 1 if above >= 0 and len(split[above].cells) == width else start


def _filled(cells: Sequence[str]) -> int:
    """Number of cells without the empty ones at the end, which spreadsheets add."""
    count = len(cells)
    while count > 1 and not cells[count - 1]:
        count -= 1
    return count


def _drop_empty_tail(header: Row | None, rows: list[Row]) -> tuple[Row | None, list[Row]]:
    if header is None:
        width = max(_filled(row.cells) for row in rows)
        return None, [Row(row.line, row.cells[:width]) for row in rows]
    width = _filled(header.cells)
    return Row(header.line, header.cells[:width]), [Row(row.line, row.cells[:width]) for row in rows]


def _shown(line: str) -> str:
    return line if len(line) <= 160 else ""


def _place(file: str, lines: Sequence[str], number: int, separator: Separator, index: int | None) -> Place:
    line = lines[number - 1] if 0 < number <= len(lines) else ""
    if index is None:
        return Place(file, number, 0, _shown(line))
    return Place(file, number, cell_column(line, separator, index), _shown(line))
