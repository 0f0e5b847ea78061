"""Changes in a CSV file that leave all else as it is: single cells, rows and columns of a table.

Comments, the separator, the decimal mark, the encoding and the line ends of the file stay its own.
"""

from __future__ import annotations

import codecs
from collections.abc import Mapping, Sequence
from typing import Final

from lightdose.errors import LightdoseError, OutputError, Place, Problem
from lightdose.files.csv_text import decimal_text, neutral_text, plain_text
from lightdose.files.delimited import DelimitedTable, read_delimited
from lightdose.files.text import cell_column

_MARKS: Final[Mapping[bytes, str]] = {
    codecs.BOM_UTF8: "utf-8",
    codecs.BOM_UTF16_LE: "utf-16-le",
    codecs.BOM_UTF16_BE: "utf-16-be",
}


class TableText:
    """A table that can be changed; ``key`` is a column that its header names.

    Raises
    ------
    OutputError
        If the file is no such table.
    """

    def __init__(self, data: bytes, file: str, key: str) -> None:
        self.file, self.key = file, key
        self._mark = next((mark for mark in _MARKS if data.startswith(mark)), b"")
        self._encoding = _MARKS.get(self._mark, "utf-8")
        body = data.removeprefix(self._mark)
        try:
            text = body.decode(self._encoding)
        except UnicodeDecodeError:
            self._encoding, text = "cp1252", body.decode("cp1252", "replace")
        self._end = "\r\n" if "\r\n" in text else "\n"
        self._lines = text.replace("\r\n", "\n").split("\n")
        self._read()

    def _read(self) -> None:
        try:
            self.table: DelimitedTable = read_delimited(
                "\n".join(self._lines), self.file, self._encoding, key_column=self.key
            )
        except LightdoseError as trouble:
            raise OutputError(*trouble.problems) from trouble
        if self.table.header is None:
            raise OutputError(Problem("this table has no header", place=Place(self.file)))

    @property
    def data(self) -> bytes:
        """The file as it is now.

        Raises
        ------
        OutputError
            If its encoding lacks a letter that was put in.
        """
        text = self._end.join(self._lines)
        try:
            return self._mark + text.encode(self._encoding)
        except UnicodeEncodeError as cause:
            found = f"this file is in Windows-1252 and cannot hold {text[cause.start : cause.end]!r}"
            cure = 'save it once as "CSV UTF-8", from a spreadsheet'
            raise OutputError(Problem(found, cure=cure, place=Place(self.file))) from None

    @property
    def columns(self) -> tuple[str, ...]:
        """Names of the columns in small letters."""
        return tuple(name.casefold() for name in self.table.header or ())

    def rows(self) -> list[dict[str, str]]:
        """Every row as texts by the name of its column."""
        names = self.columns
        return [dict(zip(names, map(plain_text, row.cells), strict=False)) for row in self.table.rows]

    def row_of(self, name: str) -> int | None:
        """The row whose key cell holds a name."""
        return next((n for n, row in enumerate(self.rows()) if row[self.key] == name), None)

    def put(self, row: int, column: str, text: str) -> None:
        """Let a cell hold a text; a column that is not there is added, empty in all other rows."""
        if column not in self.columns:
            if not text:
                return
            self.add_column(column, [""] * len(self.table.rows))
        one = self.table.rows[row]
        at, index = one.line - 1, self.columns.index(column)
        cells = list(one.cells)
        while len(cells) <= index:
            cells.append("")
        line = self._lines[at]
        if index < len(one.cells) and self.table.separator != " ":
            start = cell_column(line, self.table.separator, index) - 1
            old = cells[index]
            quoted = line[start : start + 1] == '"'
            length = len(old.replace('"', '""')) + 2 if quoted else len(old)
            self._lines[at] = line[:start] + self._cell(text) + line[start + length :]
        else:
            cells[index] = text
            self._lines[at] = self._line(cells)
        self._read()

    def put_number(self, row: int, column: str, number: str) -> None:
        """Let a cell hold a number, which is given with a decimal point."""
        self.put(row, column, decimal_text(number, self.table.decimal))

    def add_row(self, cells: Mapping[str, str], before: int | None = None) -> int:
        """A row of texts by column, behind the last one or before another; gives its index."""
        for column, text in cells.items():
            if text and column not in self.columns:
                self.add_column(column, [""] * len(self.table.rows))
        line = self._line([cells.get(name, "") for name in self.columns])
        rows = self.table.rows
        if before is not None and before < len(rows):
            self._lines.insert(rows[before].line - 1, line)
        else:
            last = rows[-1].line if rows else self.table.header_line
            self._lines.insert(last, line)
        if self._lines[-1] != "":
            self._lines.append("")
        self._read()
        return len(self.table.rows) - 1 if before is None else before

    def drop_row(self, row: int) -> None:
        """Take a row out."""
        del self._lines[self.table.rows[row].line - 1]
        self._read()

    def add_column(self, name: str, texts: Sequence[str]) -> None:
        """A column behind the last one, with a text for every row."""
        separator = "," if self.table.separator == " " else self.table.separator
        self._lines[self.table.header_line - 1] += f"{separator}{self._cell(name)}"
        for row, text in zip(self.table.rows, texts, strict=True):
            missing = len(self.table.header or ()) - len(row.cells)
            self._lines[row.line - 1] += separator * missing + f"{separator}{self._cell(text)}"
        self._read()

    def replace_rows(self, header: Sequence[str], rows: Sequence[Sequence[str]]) -> None:
        """Another table below the comments that stand above the header."""
        kept = self._lines[: self.table.header_line - 1]
        self._lines = [*kept, self._line(header), *(self._line(row) for row in rows), ""]
        self._read()

    def _line(self, cells: Sequence[str]) -> str:
        separator = "," if self.table.separator == " " else self.table.separator
        line = separator.join(map(self._cell, cells))
        return f'"{cells[0]}"{line[len(cells[0]) :]}' if line.startswith("#") else line

    def _cell(self, text: str) -> str:
        text = neutral_text(text)
        separator = self.table.separator if hasattr(self, "table") else ","
        return '"' + text.replace('"', '""') + '"' if separator in text or '"' in text else text
