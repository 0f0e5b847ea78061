"""The tables of a diary: rows are read one by one, so that a broken one hides no other, and only added.

Whatever a spreadsheet made of a table is read as it is: byte order mark, UTF-16, Windows-1252, ``;`` or tabs,
columns in another order. A row is added at the end in the file's own manner, under a lock that two processes
share, in one write that reaches the disk before anybody is told; where it cannot be written whole, nothing
of it stays.
"""

from __future__ import annotations

import codecs
import csv
import io
import os
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import field
from pathlib import Path
from typing import Final, NamedTuple

from lightdose.errors import OutputError, Place, Problem
from lightdose.files.csv_text import Dialect, csv_text, neutral_text, plain_text
from lightdose.files.text import Separator, cell_column, open_bytes
from lightdose.files.unfinished import taken
from lightdose.files.writing import write_atomically, write_problem
from lightdose.model.record import dataclass

LIMIT_BYTES: Final = 50_000_000
LONGEST_LINE: Final = 20_000
LINES_OF_A_CELL: Final = 20
"""A quoted cell that spans more lines is taken for a stray quotation mark. Our choice."""
MOST_PROBLEMS: Final = 50
LOCK: Final = ".lock"
WAIT_S: Final = 10.0
"""So long another process is waited for. Our choice. [s]"""

_SEPARATORS: Final[tuple[Separator, ...]] = ("\t", ";", ",")


class DiaryRow(NamedTuple):
    """A row: its line, counted from 1, and its cells by column."""

    line: int
    cells: Mapping[str, str]
    place: Place

    def of(self, column: str) -> str:
        """A cell; "" where the table has no such column."""
        return self.cells.get(column, "")


@dataclass(frozen=True, eq=False)
class DiaryTable:
    """What stands in a table of the diary, and what could not be read of it."""

    file: str
    columns: tuple[str, ...] = ()
    separator: Separator = ","
    encoding: str = "utf-8"
    line_end: str = "\n"
    rows: tuple[DiaryRow, ...] = ()
    problems: tuple[Problem, ...] = field(default=())

    def place(self, row: DiaryRow, column: str) -> Place:
        """Where a cell stands."""
        if column not in self.columns or not row.place.text:
            return row.place
        at = cell_column(row.place.text, self.separator, self.columns.index(column))
        return Place(self.file, row.line, at, row.place.text)


def read_table(path: Path, label: str, key: str) -> DiaryTable:
    """Every row of a table that can be read; the others are among its problems.

    Parameters
    ----------
    path : the file; one that is not there has no rows
    label : its name in messages
    key : the column that its header must have
    """
    try:
        with open_bytes(path) as stream:
            data = stream.read(LIMIT_BYTES + 1)
    except FileNotFoundError:
        return DiaryTable(label)
    except OSError as trouble:
        reason = (trouble.strerror or str(trouble)).lower()
        return DiaryTable(label, problems=(Problem(f"cannot be read: {reason}", place=Place(label)),))
    if len(data) > LIMIT_BYTES:
        return DiaryTable(label, problems=(Problem("is larger than 50 MB", place=Place(label)),))
    return _Reading(data, label, key).table()


class _Reading:
    """The lines of a table, and how it parts its cells."""

    def __init__(self, data: bytes, label: str, key: str) -> None:
        self.label, self.key = label, key
        self.encoding, self.lines = _lines(data)
        self.line_end = "\r\n" if "\r\n" in self.lines[:1] or b"\r\n" in data[:LONGEST_LINE] else "\n"
        self.problems: list[Problem] = []

    def table(self) -> DiaryTable:
        start = 0
        while start < len(self.lines) and not self.lines[start].strip():
            start += 1
        separator: Separator = ","
        if start < len(self.lines) and self.lines[start].casefold().startswith("sep="):
            declared = self.lines[start][4:5]
            separator = next((s for s in _SEPARATORS if s == declared), ",")
            start += 1
        found = self._header(start)
        if found is None:
            problem = Problem(
                f'no line names the column "{self.key}"',
                "a first line with the names of the columns",
                place=Place(self.label, 1),
            )
            return DiaryTable(self.label, problems=(problem,) if any(map(str.strip, self.lines)) else ())
        head, separator, columns = found
        rows = tuple(self._rows(head + 1, separator, columns))
        return DiaryTable(
            self.label, columns, separator, self.encoding, self.line_end, rows, tuple(self.problems)
        )

    def _header(self, start: int) -> tuple[int, Separator, tuple[str, ...]] | None:
        for index in range(start, min(start + 20, len(self.lines))):
            for separator in _SEPARATORS:
                cells = _split(self.lines[index], separator)
                names = [plain_text(cell).strip().casefold() for cell in cells or ()]
                if self.key in names:
                    while names and not names[-1]:
                        names.pop()
                    return index, separator, tuple(names)
        return None

    def _rows(self, first: int, separator: Separator, columns: Sequence[str]) -> Iterator[DiaryRow]:
        index = first
        while index < len(self.lines):
            line, number = self.lines[index], index + 1
            index += 1
            if not line.strip(f" \t{separator}"):
                continue
            cells = _split(line, separator)
            taken = 1
            while cells is None and taken < LINES_OF_A_CELL and index - 1 + taken < len(self.lines):
                taken += 1
                cells = _split("\n".join(self.lines[number - 1 : number - 1 + taken]), separator)
            shown = line if len(line) <= 160 else ""
            place = Place(self.label, number, 0, shown)
            found = _fault(line, cells, len(columns))
            if found or cells is None:
                self.problems.append(Problem(found or "a quotation mark does not close", place=place))
                continue
            index = number - 1 + taken
            texts = [" ".join(plain_text(cell.strip()).split()) for cell in cells[: len(columns)]]
            texts += [""] * (len(columns) - len(texts))
            yield DiaryRow(number, dict(zip(columns, texts, strict=True)), place)


def _fault(line: str, cells: Sequence[str] | None, columns: int) -> str:
    """Why a line is no row; "" where it is one."""
    if "\0" in line:
        return "holds NUL bytes, as an unfinished write leaves"
    if len(line) > LONGEST_LINE:
        return f"has more than {LONGEST_LINE:,} letters"
    if cells is None:
        return "a quotation mark does not close"
    extra = [cell for cell in cells[columns:] if cell.strip()]
    if extra:
        return f"has {len(cells)} cells, the header {columns}"
    if len(cells) < min(columns, 2):
        return f"has {len(cells)} cell of {columns}"
    return ""


def _lines(data: bytes) -> tuple[str, list[str]]:
    """Encoding and lines; of a mixed file each line is read in its own."""
    if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        return "utf-16", _cut(data.decode("utf-16", "replace"))
    mark = data.startswith(codecs.BOM_UTF8)
    text = data.removeprefix(codecs.BOM_UTF8)
    try:
        return ("utf-8-sig" if mark else "utf-8"), _cut(text.decode("utf-8"))
    except UnicodeDecodeError:
        lines = [_either(line) for line in text.replace(b"\r\n", b"\n").split(b"\n")]
        return "cp1252", lines


def _cut(text: str) -> list[str]:
    return text.replace("\r\n", "\n").replace("\r", "\n").split("\n")


def _either(line: bytes) -> str:
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("cp1252", "replace")


def _split(line: str, separator: Separator) -> list[str] | None:
    """The cells of a line; None where a quoted cell does not close in it."""
    if '"' not in line:
        return line.split(separator)
    try:
        rows = list(csv.reader(io.StringIO(line), delimiter=separator, strict=True))
    except csv.Error:
        return None
    return rows[0] if len(rows) == 1 else None


# ---- adding -----------------------------------------------------------------------------------------------


@contextmanager
def locked(folder: Path) -> Iterator[None]:
    """Keep every other lightdose from writing into a diary; the system frees the lock of a dead process.

    Raises
    ------
    OutputError
        If the folder cannot be written to, or another process does not end.
    """
    try:
        folder.mkdir(parents=True, exist_ok=True)
        descriptor = os.open(folder / LOCK, os.O_RDWR | os.O_CREAT, 0o666)
    except OSError as cause:
        raise OutputError(write_problem(cause, folder)) from cause
    try:
        deadline = time.monotonic() + WAIT_S
        while not taken(descriptor):
            if time.monotonic() > deadline:
                found = "another lightdose is writing in this diary"
                raise OutputError(Problem(found, cure="run the command again", place=Place(str(folder))))
            time.sleep(0.02)
        yield
    finally:
        os.close(descriptor)


def add_rows(path: Path, columns: Sequence[str], key: str, rows: Sequence[Mapping[str, str]]) -> None:
    """Add rows at the end of a table, in its own manner; a table that is not there is begun.

    Call it under ``locked``. What stands in the file already is not touched.

    Raises
    ------
    OutputError
        If the table lacks a column that a row needs, cannot hold its letters, or cannot be written.
    """
    if not os.path.exists(path):
        lines = [[row.get(column, "") for column in columns] for row in rows]
        write_atomically(path, csv_text(columns, lines))
        return
    table = read_table(path, str(path), key)
    if not table.columns:
        if table.problems:
            raise OutputError(*table.problems)
        table = DiaryTable(str(path), tuple(columns))
        rows = [{column: column for column in columns}, *rows]
    _check_columns(table, rows)
    text = _as_table_has_it(table, rows)
    _append(path, text, table)


def _check_columns(table: DiaryTable, rows: Sequence[Mapping[str, str]]) -> None:
    needed = dict.fromkeys(column for row in rows for column, cell in row.items() if cell)
    missing = [column for column in needed if column not in table.columns]
    if missing:
        found = f"has no column {', '.join(missing)}; nothing was written"
        raise OutputError(Problem(found, cure="add it to the first line", place=Place(table.file, 1)))


def _as_table_has_it(table: DiaryTable, rows: Sequence[Mapping[str, str]]) -> str:
    dialect: Dialect = "excel-eu" if table.separator == ";" else "plain"
    cells = [[row.get(column, "") for column in table.columns] for row in rows]
    text = csv_text([""] * len(table.columns), cells, dialect).partition("\n")[2]
    if table.separator == "\t":
        lines = ["\t".join(map(neutral_text, row)) for row in cells]
        text = "\n".join(lines) + "\n"
    return text.replace("\n", table.line_end)


def _append(path: Path, text: str, table: DiaryTable) -> None:
    """One write at the end of a file, on the disk before this returns, or not at all."""
    try:
        descriptor = os.open(path, os.O_RDWR | os.O_APPEND | getattr(os, "O_BINARY", 0))
    except OSError as cause:
        raise OutputError(write_problem(cause, path)) from cause
    try:
        size = os.fstat(descriptor).st_size
        data = _encoded(text, table, descriptor, size)
        try:
            written = os.write(descriptor, data)
            if written < len(data):
                written += os.write(descriptor, data[written:])
            os.fsync(descriptor)
        except OSError as cause:
            os.ftruncate(descriptor, size)
            raise OutputError(write_problem(cause, path)) from cause
    finally:
        os.close(descriptor)


def _encoded(text: str, table: DiaryTable, descriptor: int, size: int) -> bytes:
    """The bytes of new rows, after an end for a last line that has none."""
    encoding = table.encoding
    if encoding == "utf-16":
        os.lseek(descriptor, 0, os.SEEK_SET)
        encoding = "utf-16-le" if os.read(descriptor, 2) == codecs.BOM_UTF16_LE else "utf-16-be"
    encoding = "utf-8" if encoding == "utf-8-sig" else encoding
    end = "\n".encode(encoding)
    os.lseek(descriptor, max(0, size - len(end)), os.SEEK_SET)
    unfinished = size > 0 and os.read(descriptor, len(end)) != end
    try:
        return ((table.line_end if unfinished else "") + text).encode(encoding)
    except UnicodeEncodeError as cause:
        found = f"cannot hold {cause.object[cause.start : cause.end]!r}: it is in Windows-1252"
        cure = 'save it as "CSV UTF-8", then run the command again'
        raise OutputError(Problem(found, cure=cure, place=Place(table.file))) from None
