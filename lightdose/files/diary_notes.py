"""notes.csv of a diary: one fact a row, read with care and only ever added to."""

from __future__ import annotations

import datetime
import json
import os
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from lightdose.errors import OutputError, Place, Problem, ReadingsError, first_few
from lightdose.files.diary_dates import month_first_in, not_after, parse_date
from lightdose.files.diary_rows import DiaryRow, DiaryTable, add_rows, locked, read_table
from lightdose.files.toml_tables import show
from lightdose.files.units import UnitProblem, is_number, parse_number
from lightdose.files.writing import write_atomically
from lightdose.model.diary import KINDS, SCORES, Note
from lightdose.near_names import near_names

NOTES: Final = "notes.csv"
SCHEMA: Final = "notes.schema.json"
COLUMNS: Final = ("date", "coral", "kind", "value", "unit", "remark")
MOST_PROBLEMS: Final = 50
LARGEST_CM: Final = 1000.0
UNITS: Final[Mapping[str, str]] = {"size_cm": "cm"}

_TERMS: Final = "http://rs.tdwg.org/dwc/terms/"
_MEANING: Final[Mapping[str, tuple[str, str, str]]] = {
    "date": ("date", "eventDate", "day of the observation, ISO 8601"),
    "coral": ("string", "organismName", "name of the coral in the setup; empty: the whole tank"),
    "kind": ("string", "measurementType", "; ".join(f"{k}: {what}" for k, what in KINDS.items())),
    "value": ("string", "measurementValue", "a number, or empty"),
    "unit": ("string", "measurementUnit", "of the value"),
    "remark": ("string", "measurementRemarks", "in the observer's words"),
}
"""Type of each column, the term of Darwin Core (TDWG) that it means, and what it holds."""

_ALIASES: Final[Mapping[str, str]] = {
    **{kind: kind for kind in KINDS},
    "color": "colour",
    "size": "size_cm",
    "opening": "open",
    "note": "free",
    "": "free",
}
_LIKE_THOUSANDS: Final = re.compile(r"[1-9][0-9]{0,2}[,.][0-9]{3}")


def notes_schema() -> str:
    """The Table Schema beside notes.csv, with the meaning of its columns."""
    fields: list[dict[str, Any]] = [
        {"name": name, "type": kind, "title": title, "rdfType": _TERMS + term}
        for name, (kind, term, title) in _MEANING.items()
    ]
    return json.dumps({"fields": fields, "missingValues": [""]}, indent=2) + "\n"


def read_notes(folder: Path, label: str) -> tuple[tuple[Note, ...], tuple[Problem, ...]]:
    """Every note that can be read, by date, and what is wrong with the other rows.

    Parameters
    ----------
    folder : of the diary
    label : of the same folder in messages
    """
    table = read_table(folder / NOTES, os.path.join(label, NOTES), "date")
    notes, problems = notes_of(table)
    return notes, (*table.problems, *problems)


def notes_of(table: DiaryTable, date: str = "") -> tuple[tuple[Note, ...], tuple[Problem, ...]]:
    """The notes of a table, by date; ``date`` is that of rows without one."""
    month_first = month_first_in(row.of("date") for row in table.rows)
    days: dict[str, str | Problem] = {}
    found, problems = [], []
    for row in table.rows:
        text = row.of("date") or date
        if text not in days:
            days[text] = _day(text, month_first)
        day = days[text]
        kind = _ALIASES.get(row.of("kind").casefold(), row.of("kind"))
        value, problem = _value(kind, row.of("value"), row.of("unit"))
        if isinstance(day, Problem):
            problems.append(day.at(table.place(row, "date")))
        elif problem is not None:
            problems.append(problem.at(table.place(row, "value")))
        else:
            found.append(_note(row, day, kind, value))
    return tuple(sorted(found, key=lambda note: note.date)), tuple(problems)


def _day(text: str, month_first: bool | None) -> str | Problem:
    try:
        return parse_date(text, month_first).isoformat()
    except UnitProblem as trouble:
        return trouble.problem


def _note(row: DiaryRow, day: str, kind: str, value: float | None) -> Note:
    unit = row.of("unit") or UNITS.get(kind, "")
    return Note(day, row.of("coral"), kind, value, unit, row.of("remark"), row.of("value"), row.place)


def _value(kind: str, text: str, unit: str) -> tuple[float | None, Problem | None]:
    """The number of a note, and what is wrong with it; kinds that are not known take anything."""
    needed = kind in SCORES or kind in ("size_cm", "reading")
    if not text:
        return None, Problem(f"{kind} has no value", allowed_values(kind)) if needed else None
    if not needed:
        decimal = "," if "," in text and "." not in text else "."
        return (parse_number(text, decimal) if _is_number(text, decimal) else None), None
    if _LIKE_THOUSANDS.fullmatch(text):
        found = f"{show(text)} can be {text.replace(',', '').replace('.', '')} or {text.replace(',', '.')}"
        return None, Problem(found, "a number without marks between thousands")
    try:
        value = parse_number(text, "," if "," in text and "." not in text else ".")
    except UnitProblem as trouble:
        return None, replace(trouble.problem, allowed=allowed_values(kind))
    return value, value_problem(kind, value, unit)


def _is_number(text: str, decimal: str) -> bool:
    return is_number(text) and (("," in text) == (decimal == ","))


def allowed_values(kind: str) -> str:
    """What a kind takes as its value, in words."""
    if kind in SCORES:
        return f"{SCORES[kind][0]} to {SCORES[kind][1]}: {KINDS[kind]}"
    return f"above 0, to {LARGEST_CM:g}" if kind == "size_cm" else "0 or above"


def value_problem(kind: str, value: float, unit: str = "") -> Problem | None:
    """What is wrong with the value of a kind."""
    if kind in SCORES:
        low, high = SCORES[kind]
        if not low <= value <= high:
            return Problem(f"{kind} {value:g} is outside its scale", allowed_values(kind))
    elif kind == "size_cm" and not 0 < value <= LARGEST_CM:
        return Problem(f"size_cm {value:g} is no size of a coral", allowed_values(kind))
    elif kind == "size_cm" and unit not in ("", "cm"):
        return Problem(f"size_cm in {show(unit)}", "cm", "write the size in centimetres")
    elif kind == "reading" and value < 0:
        return Problem(f"the reading {value:g} is negative", allowed_values(kind))
    return None


def known_kind(word: str) -> str:
    """The kind that a word means; a word that is none of ours is a kind of its own.

    Raises
    ------
    ReadingsError
        If it is spelled nearly like one that lightdose knows.
    """
    kind = _ALIASES.get(word.strip().casefold())
    if kind is not None:
        return kind
    near = near_names(word, KINDS, 1, 0.75)
    if near:
        cure = f"did you mean {near[0]}? A kind of your own needs a name that is less like it"
        raise ReadingsError(Problem(f"--kind {show(word)} is not known", ", ".join(KINDS), cure))
    return " ".join(word.split())


def made_note(date: str, coral: str, kind: str, value: str, unit: str, remark: str) -> Note:
    """A note as a person gives it; ReadingsError where its kind does not take its value."""
    number, problem = _value(kind, value.strip(), unit)
    if problem is not None:
        raise ReadingsError(problem)
    text = "" if kind == "lost" and number is None else value.strip()
    return Note(date, coral, kind, number, unit or UNITS.get(kind, ""), " ".join(remark.split()), text)


def add_notes(folder: Path, notes: Sequence[Note]) -> int:
    """Add notes to a diary; those that stand in it already are left out. Gives how many were added.

    Raises
    ------
    OutputError
        If they cannot be written; then none is.
    """
    with locked(folder):
        there, _ = read_notes(folder, str(folder))
        known = {_key(note) for note in there}
        new = [note for note in notes if _key(note) not in known] if len(notes) > 1 else list(notes)
        if new:
            add_rows(folder / NOTES, COLUMNS, "date", [_cells(note) for note in new])
        _schema_beside(folder)
    return len(new)


def _schema_beside(folder: Path) -> None:
    if not os.path.exists(folder / SCHEMA):
        write_atomically(folder / SCHEMA, notes_schema())


def _key(note: Note) -> tuple[str, ...]:
    return note.date, note.coral, note.kind, note.text, note.unit, note.remark


def _cells(note: Note) -> dict[str, str]:
    cells = (note.date, note.coral, note.kind, note.text, note.unit, note.remark)
    return dict(zip(COLUMNS, cells, strict=True))


def check_dates(notes: Iterable[Note], today: datetime.date) -> list[Problem]:
    """Notes of days that are still to come."""
    problems = []
    for note in notes:
        problem = not_after(datetime.date.fromisoformat(note.date), today)
        if problem is not None:
            problems.append(problem.at(note.place) if note.place else problem)
    return problems


# ---- a sheet that was filled in ---------------------------------------------------------------------------

SHEET_KINDS: Final = ("colour", "open", "size_cm", "lost")
SHEET_COLUMNS: Final = ("coral", "place", "date", *SHEET_KINDS, "remark")
_YES: Final = frozenset(("x", "yes", "y", "1", "lost", "dead", "gone", "true"))


def read_filled_sheet(path: Path, corals: Sequence[str], date: str, today: datetime.date) -> list[Note]:
    """The notes of a sheet that was filled in, or of a table like notes.csv.

    Parameters
    ----------
    path : the file
    corals : names that may stand in it
    date : day of rows without one
    today : no note is of a later day

    Raises
    ------
    ReadingsError
        With every problem of the file.
    """
    if not os.path.isfile(path):
        raise ReadingsError(Problem("there is no such file", place=Place(str(path))))
    table = read_table(path, str(path), "coral")
    is_sheet = "kind" not in table.columns
    rows = _unfolded(table) if is_sheet else table
    notes, problems = notes_of(rows, date)
    notes = tuple(note for note in notes if note.kind != "lost" or note.text.casefold() != "no")
    known = set(corals)
    strange = [note for note in notes if note.coral and note.coral not in known]
    for note in strange:
        near = near_names(note.coral, corals)
        cure = f"did you mean {near[0]}?" if near else ""
        problems = (*problems, Problem(f"there is no coral {show(note.coral)}", "", cure, note.place))
    problems = (*table.problems, *problems, *check_dates(notes, today))
    if problems:
        raise ReadingsError(*first_few(problems, MOST_PROBLEMS))
    return list(notes)


def _unfolded(table: DiaryTable) -> DiaryTable:
    """A row a fact, of a table with a row a coral and a column a kind."""
    kinds = [c for c in table.columns if c not in ("coral", "place", "site", "date", "remark", "")]
    rows = []
    for row in table.rows:
        filled = [kind for kind in kinds if row.of(kind)]
        remark = row.of("remark")
        for kind in filled:
            value = row.of(kind)
            known = _ALIASES.get(kind, kind)
            if known == "lost" and value.casefold() in _YES:
                value = ""
            cells = {"date": row.of("date"), "coral": row.of("coral"), "kind": kind, "value": value}
            rows.append(row._replace(cells=cells | {"remark": remark}))
            remark = ""
        if remark:
            cells = {"date": row.of("date"), "coral": row.of("coral"), "kind": "free", "value": ""}
            rows.append(row._replace(cells=cells | {"remark": remark}))
    return replace(table, rows=tuple(rows))


def holds_blank_sheet(path: Path) -> bool:
    """Whether a sheet without a note is there; OutputError where somebody has filled it in."""
    table = read_table(path, str(path), "coral")
    if any(row.of(column) for row in table.rows for column in (*SHEET_KINDS, "remark")):
        cure = "read it back with --from first, or name another file with -o"
        raise OutputError(Problem("was not written: notes stand in it", cure=cure, place=Place(str(path))))
    return table.columns == SHEET_COLUMNS
