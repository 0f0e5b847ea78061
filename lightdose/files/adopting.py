"""Taking a change over into a setup: single values of its files are replaced where they stand.

Everything else in the file keeps its bytes. What would come out is read back before it is written: where
anything but the wanted values differs, nothing is touched.
"""

from __future__ import annotations

import copy
import json
import tomllib
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

from lightdose.errors import OutputError, Place, Problem
from lightdose.files.csv_text import plain_text
from lightdose.files.delimited import read_delimited
from lightdose.files.text import Row, Separator, cell_column, read_text
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import TomlDocument, read_document, value_at
from lightdose.files.writing import write_atomically


def adopt_values(path: Path, values: Mapping[KeyPath, str]) -> None:
    """Replace strings of a TOML file in one step.

    Parameters
    ----------
    path : the file
    values : key path -> the new string; each stands there already as a string on one line

    Raises
    ------
    OutputError
        If a value is written in another way, or the file cannot be written; then it is as it was.
    """
    data = path.read_bytes()
    document = read_document(data, str(path))
    wanted = copy.deepcopy(document.data)
    mark = b"\xef\xbb\xbf" if data.startswith(b"\xef\xbb\xbf") else b""
    lines = data.removeprefix(mark).decode("utf-8").split("\n")
    places = sorted(((document.value_place(key), key) for key in values), key=_from_the_end, reverse=True)
    for place, key in places:
        line = lines[place.line - 1]
        start = place.column - 1
        end = _end_of_string(line, start) if isinstance(value_at(document.data, key), str) else None
        if end is None:
            raise OutputError(_not_replaced(document, key))
        lines[place.line - 1] = f"{line[:start]}{json.dumps(values[key], ensure_ascii=False)}{line[end:]}"
        home: Any = value_at(wanted, key[:-1])
        home[key[-1]] = values[key]
    text = "\n".join(lines)
    if tomllib.loads(text.replace("\r\n", "\n")) != wanted:
        raise OutputError(_not_replaced(document, places[0][1]))
    write_atomically(path, mark + text.encode("utf-8"))


def _from_the_end(one: tuple[Place, KeyPath]) -> tuple[int, int]:
    return one[0].line, one[0].column


def _end_of_string(line: str, start: int) -> int | None:
    """Where a string that begins at ``start`` ends; None where it is none, or spans lines."""
    quote = line[start : start + 1]
    if quote not in ('"', "'") or line[start : start + 3] == 3 * quote:
        return None
    at = start + 1
    while at < len(line):
        if quote == '"' and line[at] == "\\":
            at += 2
            continue
        if line[at] == quote:
            return at + 1
        at += 1
    return None


def _not_replaced(document: TomlDocument, key: KeyPath) -> Problem:
    return Problem(
        "stands here in a way that --keep does not replace; nothing was changed",
        "the name of a file or a site in quotation marks, on one line",
        "change it by hand, then run lightdose keep",
        document.value_place(key),
    )


def adopt_site(setup_path: Path, coral: str, site: str) -> None:
    """Put a coral at another site, in its [[coral]] or in the corals file that the setup names.

    Raises
    ------
    OutputError
        If it stands there by its own place, or the file cannot be written; then it is as it was.
    """
    document = read_document(setup_path.read_bytes(), str(setup_path))
    for index, table in enumerate(document.data.get("coral", [])):
        if table.get("name") == coral and "site" in table:
            adopt_values(setup_path, {("coral", index, "site"): site})
            return
    named = document.data.get("corals")
    if not isinstance(named, str) or not _adopt_cell(setup_path.parent / named, coral, site):
        found = f"{coral!r} has no site of its own to replace; nothing was changed"
        cure = "write site instead of at, or change it by hand, then run lightdose keep"
        raise OutputError(Problem(found, cure=cure, place=Place(str(setup_path))))


def _adopt_cell(path: Path, coral: str, site: str) -> bool:
    """Replace the cell "site" of a coral's row; False where there is none."""
    text, encoding = read_text(path, limit_bytes=50_000_000, label=str(path))
    table = read_delimited(text, str(path), encoding, key_column="coral")
    header = [name.casefold() for name in table.header or ()]
    if "site" not in header or encoding != "utf-8":
        return False
    rows = [row for row in table.rows if plain_text(table.text(row, "coral")) == coral]
    if len(rows) != 1:
        return False
    data = path.read_bytes()
    mark = b"\xef\xbb\xbf" if data.startswith(b"\xef\xbb\xbf") else b""
    lines = data.removeprefix(mark).decode("utf-8").split("\n")
    at = rows[0].line - 1
    lines[at] = _with_cell(lines[at], table.separator, rows[0], header.index("site"), site)
    changed = read_delimited("\n".join(lines), str(path), encoding, key_column="coral")
    cells = list(rows[0].cells)
    cells[header.index("site")] = site
    wanted = [replace(r, cells=tuple(cells)) if r == rows[0] else r for r in table.rows]
    if list(changed.rows) != wanted:
        return False
    write_atomically(path, mark + "\n".join(lines).encode("utf-8"))
    return True


def _with_cell(line: str, separator: Separator, row: Row, index: int, text: str) -> str:
    start = cell_column(line, separator, index) - 1
    old = row.cells[index]
    length = len(old) + 2 if line[start : start + 1] == '"' else len(old)
    quoted = f'"{text}"' if separator in text or line[start : start + 1] == '"' else text
    return line[:start] + quoted + line[start + length :]
