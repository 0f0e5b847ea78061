"""Tables as the text of a CSV, in the dialects of spreadsheets, and what describes their columns.

Numbers are written unrounded (the shortest text that reads back to the same float). A text cell that a
spreadsheet would take for a formula gets an apostrophe in front, which ``plain_text`` takes off again.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from typing import Any, Final, Literal

from lightdose.quantities import ValueColumn

Dialect = Literal["plain", "excel-eu"]
Cell = str | float | int | bool | None

_BOM: Final = "\ufeff"
_FORMULA_START: Final = re.compile(r"'*[=+\-@]")
_LIKE_THOUSANDS: Final = re.compile(r"-?[1-9][0-9]{0,2},[0-9]{3}")
_BREAKS: Final = re.compile(r"[\t\r\n\f\v]+")


def csv_text(header: Sequence[str], rows: Iterable[Sequence[Cell]], dialect: Dialect = "plain") -> str:
    """The table as CSV.

    plain is UTF-8 without a byte order mark, comma and decimal point; excel-eu has the mark, ``;`` and a
    decimal comma. None is an empty cell, True and False are written as 1 and 0. Line ends are a line feed.

    Raises
    ------
    ValueError
        For a number that is not finite: a table holds None instead.
    """
    separator, decimal = (",", ".") if dialect == "plain" else (";", ",")
    lines, point = [_BOM] if dialect == "excel-eu" else [""], decimal == "."
    for index, row in enumerate([header, *rows]):
        cells = [
            repr(cell)
            if point and type(cell) is float and cell - cell == 0
            else _cell(cell, separator, decimal)
            for cell in row
        ]
        # A line that starts with # is a comment to readers, unless its cell is quoted.
        if cells and cells[0].startswith("#"):
            cells[0] = f'"{cells[0]}"'
        lines.append(("" if index == 0 else "\n") + separator.join(cells))
    return "".join(lines) + "\n"


def plain_text(cell: str) -> str:
    """A text cell as it was before writing: without the apostrophe that keeps a formula from starting."""
    return cell[1:] if cell.startswith("'") and _FORMULA_START.match(cell) else cell


def neutral_text(text: str) -> str:
    """Text that no spreadsheet takes for a formula; line breaks and tabs become a space."""
    line = _BREAKS.sub(" ", text).strip()
    return f"'{line}" if _FORMULA_START.match(line) else line


def _cell(value: Cell, separator: str, decimal: str) -> str:
    if value is None:
        return ""
    if isinstance(value, str):
        text = neutral_text(value)
        return '"' + text.replace('"', '""') + '"' if separator in text or '"' in text else text
    if isinstance(value, bool | int):
        return str(int(value))
    number = float(value)
    if number - number != 0:
        raise ValueError(f"a table holds finite numbers, not {number}")
    return decimal_text(repr(number), decimal)


def decimal_text(number: str, decimal: str) -> str:
    """A number with a decimal point, rewritten with ``decimal``, so that no comma can stand for thousands."""
    if decimal == ".":
        return number
    text = number.replace(".", decimal)
    # "1,234" may be read as 1234; "1,2340" may not.
    return f"{text}0" if _LIKE_THOUSANDS.fullmatch(text) else text


def table_schema(
    columns: Sequence[ValueColumn], dialect: Dialect = "plain", provenance: Mapping[str, Any] | None = None
) -> dict[str, Any]:
    """A Table Schema (Frictionless, specs.frictionlessdata.io/table-schema) to lay beside a CSV.

    ``provenance`` is what identifies the run; the standard allows properties of one's own.
    """
    fields: list[dict[str, Any]] = []
    for column in columns:
        entry: dict[str, Any] = {"name": column.name, "type": column.kind}
        if column.title:
            entry["title"] = column.title
        if column.unit:
            entry["unit"] = column.unit
        if column.kind == "number" and dialect == "excel-eu":
            entry["decimalChar"] = ","
        if column.kind == "boolean":
            entry["trueValues"], entry["falseValues"] = ["1"], ["0"]
        fields.append(entry)
    schema = {"fields": fields, "missingValues": [""]}
    return schema if provenance is None else schema | {"provenance": dict(provenance)}


def schema_text(
    columns: Sequence[ValueColumn], dialect: Dialect = "plain", provenance: Mapping[str, Any] | None = None
) -> str:
    """JSON text of the Table Schema of a CSV with these columns."""
    import json

    return json.dumps(table_schema(columns, dialect, provenance), indent=2) + "\n"
