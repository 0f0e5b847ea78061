"""A field: one figure of an answer's rows, said once and printed everywhere.

A field knows how to get its value out of a row, what it is called, in which unit and to how many digits
it is shown, its columns in the CSV and its key in the JSON. Table, pipe, page, CSV, Table Schema, JSON and
the guide are made of the same list of fields.
"""

from __future__ import annotations

import dataclasses
import math
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field, is_dataclass
from typing import Any, Final, Literal

from lightdose.answers.blocks import Bar, Column, LateCells, Table
from lightdose.answers.words import number
from lightdose.model.record import dataclass
from lightdose.model.results import Span
from lightdose.quantities import QUANTITIES, Quantity, ValueColumn

Kind = Literal["string", "number", "integer", "boolean"]
Cell = str | float | int | bool | None

NONE: Final = "-"
"""Stands in tables for people where there is nothing to say."""

_QUANTITIES: Final[Mapping[str, Quantity]] = {q.key: q for q in QUANTITIES}


@dataclass(frozen=True)
class Field:
    """One figure of a row.

    Attributes
    ----------
    name : column of the CSV and key of the JSON, with its unit
    head : what stands over its column
    get : the value in a row; None where there is none. A tuple, ``Span`` or mapping has several ``parts``.
    of : key of its quantity, which gives unit, meaning and digits where the field does not
    what : meaning, for the Table Schema and the guide
    show : the value in words for people
    parts : CSV columns of a value with several parts, and what each is
    key : key of the JSON where it is not ``name``, with points into objects; "" keeps it out of the JSON
    kind : of its CSV columns
    csv : whether it has columns in the CSV
    at : tables for people in which it stands, with its rank there: narrow windows drop high ranks first
    fold : a long text, which a table for people may fold onto several lines
    note : small print under a table in which it shows
    """

    name: str
    head: str
    get: Callable[[Any], Any]
    of: str = ""
    what: str = ""
    unit: str = ""
    show: Callable[[Any], str] | None = None
    parts: tuple[tuple[str, str], ...] = ()
    key: str | None = None
    kind: Kind = "number"
    csv: bool = True
    at: Mapping[str, float] = field(default_factory=dict)
    fold: bool = False
    note: str = ""

    @property
    def quantity(self) -> Quantity | None:
        """The quantity it is a value of."""
        return _QUANTITIES[self.of] if self.of else None

    @property
    def canonical_unit(self) -> str:
        """Its unit as files state it, such as "mol m-2 d-1"; "length" is centimetres or inches."""
        return self.unit or (self.quantity.unit if self.quantity else "")

    @property
    def meaning(self) -> str:
        """What it is, in a few words."""
        return self.what or (self.quantity.definition if self.quantity else "")

    def shown(self, row: Any) -> str | Bar:
        """Its value in a row as people read it."""
        value = self.get(row)
        if isinstance(value, Bar):
            return value
        if value is None or value == "" or (isinstance(value, float) and math.isnan(value)):
            return NONE
        if self.show is not None:
            return self.show(value)
        if isinstance(value, str | int):
            return str(value)
        return number(float(value), self.quantity.digits if self.quantity else 3)

    def cells(self, rows: Sequence[Any]) -> list[Sequence[Cell]]:
        """Its columns in the CSV, each with a cell for every row."""
        values = map(self.get, rows)
        if not self.parts:
            return [["; ".join(v) if isinstance(v, tuple) else plain(v) for v in values]]
        none = (None,) * len(self.parts)
        return [*zip(*(none if v is None else [plain(p) for p in _parts(v)] for v in values), strict=True)]


def said(name: str, head: str, get: Callable[[Any], Any], **more: Any) -> Field:
    """A column for people alone: made of figures that other fields write."""
    return Field(name, head, get, csv=False, key="", **more)


def plain(value: Any) -> Any:
    """A value as JSON and CSV hold it: records as objects of their fields, tuples as lists, no NaN."""
    if type(value) is float:  # most are
        return value if math.isfinite(value) else None
    if value is None or isinstance(value, str | bool | int):
        return value
    if is_dataclass(value):
        return {f.name: plain(getattr(value, f.name)) for f in dataclasses.fields(value)}
    if isinstance(value, Mapping):
        return {key: plain(part) for key, part in value.items()}
    if isinstance(value, tuple | list):
        return [plain(part) for part in value]
    number = float(value)
    return number if math.isfinite(number) else None


def _parts(value: Any) -> Sequence[Any]:
    if isinstance(value, Mapping):
        return tuple(value.values())
    return (value.default, value.low, value.high) if isinstance(value, Span) else tuple(value)


def as_json(fields: Iterable[Field], row: Any) -> dict[str, Any]:
    """A row as a JSON object."""
    made: dict[str, Any] = {}
    for one in fields:
        if one.key == "":
            continue
        *path, last = (one.key or one.name).split(".")
        home = made
        for step in path:
            home = home.setdefault(step, {})
        home[last] = plain(one.get(row))
    return made


@dataclass(frozen=True, eq=False)
class Sheet:
    """The rows of an answer as a table of values, for CSV, data frames and Table Schemas."""

    fields: tuple[Field, ...]
    rows: Sequence[Any] = ()

    @property
    def columns(self) -> list[ValueColumn]:
        """Every column, in order."""
        return list(_columns(self.fields))

    def values(self) -> Iterator[list[Cell]]:
        """The cells of every row, in the order of the columns."""
        written = [one for one in self.fields if one.csv and len(self.rows)]
        return map(list, zip(*(column for one in written for column in one.cells(self.rows)), strict=True))

    def records(self) -> list[dict[str, Cell]]:
        """Every row by the names of its columns."""
        names = [c.name for c in self.columns]
        return [dict(zip(names, cells, strict=True)) for cells in self.values()]


def _columns(fields: Iterable[Field]) -> Iterator[ValueColumn]:
    for one in fields:
        if not one.csv:
            continue
        if not one.parts:
            yield ValueColumn(one.name, one.kind, one.meaning, one.canonical_unit)
        for name, what in one.parts:
            yield ValueColumn(name, one.kind, what, one.canonical_unit)


def table(
    key: str,
    caption: str,
    fields: Iterable[Field],
    rows: Sequence[Any],
    *,
    strong: Callable[[Any], bool] | None = None,
    **more: Any,
) -> Table:
    """The fields that stand in the table ``key``, lowest rank first, with a cell for every row.

    ``strong`` tells the rows of concern; ``more`` goes to ``Table``.
    """
    ranked = sorted((one for one in fields if key in one.at), key=lambda one: one.at[key])
    columns = tuple(
        Column(
            head=one.head,
            cells=LateCells(one.shown, rows),
            unit=one.canonical_unit,
            right=one.kind != "string" and one.csv,
            fold=one.fold,
            note=one.note,
        )
        for one in ranked
    )
    return Table(key, caption, columns, tuple(strong is not None and strong(row) for row in rows), **more)
