"""Changes of programmes: single levels and times, the overall setting, hours of full light."""

from __future__ import annotations

import math
import os
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

import numpy as np

from lightdose.desk.bench import Bench, Change, text_of
from lightdose.desk.keys import number
from lightdose.desk.table_edits import TableText
from lightdose.errors import OutputError, Problem, ScheduleError, literal
from lightdose.files.programme_rules import percent_from_level
from lightdose.files.schedule_csv import schedule_text
from lightdose.files.units import format_time_exact
from lightdose.files.writing import file_names
from lightdose.model.fixture import Fixture
from lightdose.physics.changed_day import DayChange, plateau_of, with_times

OVERALL: Final = "all_channels"
FURTHEST_H: Final = 12.0


def file_of(bench: Bench, fixture: str) -> str | None:
    """The schedule file of a fixture as the setup names it; None where the programme stands in the setup."""
    index = bench.index("fixture", fixture)
    if index is None:
        raise OutputError(Problem(f"there is no fixture {literal(fixture)} that can be changed here"))
    named = bench.toml().get(("fixture", index, "schedule"))
    return named if isinstance(named, str) else None


def _table(bench: Bench, named: str) -> tuple[TableText, str]:
    path = bench.beside(named)
    content = bench.content(path)
    if content is None:
        raise OutputError(Problem(f"{literal(named)} is not there"))
    return TableText(content, named, "time"), path


def _fixtures(bench: Bench, names: Sequence[str]) -> list[Fixture]:
    assert bench.setup is not None
    found = [f for f in bench.setup.fixtures if not names or f.name in names]
    if not found:
        raise ValueError("fixtures")
    return found


def set_level(bench: Bench, change: Change) -> str:
    """A level or a time of one row of a programme."""
    fixture, column = text_of(change, "fixture"), text_of(change, "column")
    row, text = change["row"], text_of(change, "text").strip()
    if isinstance(row, bool) or not isinstance(row, int):
        raise ValueError("row")
    named = file_of(bench, fixture)
    if column != "time" and text:
        text = f"{number(text):g}"
    if named is None:
        _set_point(bench, fixture, column, row, change, text)
        return f"{column} of {fixture} changed"
    table, path = _table(bench, named)
    if column.casefold() == "time":
        table.put(row, "time", text)
    elif text:
        table.put_number(row, column.casefold(), text)
    else:
        table.put(row, column.casefold(), "")
    bench.changed[path] = table.data
    return f"{column} of {fixture} changed"


def _set_point(bench: Bench, fixture: str, column: str, row: int, change: Change, text: str) -> None:
    """A point of a programme that stands in the setup itself: [time, level] of a channel."""
    index, toml = bench.index("fixture", fixture), bench.toml()
    assert index is not None
    channel = text_of(change, "channel") if column == "time" else column
    path = ("fixture", index, "schedule", channel, row)
    points = toml.get(path[:-1])
    if not isinstance(points, list) or not 0 <= row < len(points):
        raise OutputError(Problem(f"{literal(channel)} of {literal(fixture)} has no such point"))
    toml.put((*path, 0 if column == "time" else 1), text if column == "time" else float(text))
    bench.keep(toml)


def add_row(bench: Bench, change: Change) -> str:
    """Another row of a programme, with levels on the line between its neighbours."""
    fixture, time = text_of(change, "fixture"), text_of(change, "time")
    before = change["before"]
    table, path = _table(bench, _needs_file(bench, fixture))
    rows = table.rows()
    if isinstance(before, bool) or not isinstance(before, int) or not 0 <= before <= len(rows):
        raise ValueError("before")
    near = rows[min(before, len(rows) - 1)] if rows else {}
    cells = {**near, "time": time}
    table.add_row(cells, before if before < len(rows) else None)
    bench.changed[path] = table.data
    return f"a row at {time} added to {fixture}"


def drop_row(bench: Bench, change: Change) -> str:
    """Take a row of a programme out."""
    fixture, row = text_of(change, "fixture"), change["row"]
    table, path = _table(bench, _needs_file(bench, fixture))
    if isinstance(row, bool) or not isinstance(row, int) or not 0 <= row < len(table.rows()):
        raise ValueError("row")
    time = table.rows()[row]["time"]
    table.drop_row(row)
    bench.changed[path] = table.data
    return f"the row at {time} of {fixture} taken out"


def _needs_file(bench: Bench, fixture: str) -> str:
    named = file_of(bench, fixture)
    if named is None:
        _into_file(bench, next(f for f in _fixtures(bench, [fixture])))
        named = file_of(bench, fixture)
    assert named is not None
    return named


def _into_file(bench: Bench, fixture: Fixture) -> None:
    """Give a programme that stands in the setup a file of its own."""
    assert bench.setup is not None
    named = _free_name(bench, fixture.name, "")
    channels = [c.name for c in fixture.type.channels]
    text = schedule_text(fixture.programme, channels, lit_at_zero=fixture.type.lit_at_zero)
    bench.changed[bench.beside(named)] = text.encode()
    _name_schedule(bench, fixture.name, named)


def _free_name(bench: Bench, fixture: str, folder: str) -> str:
    """A name for the schedule of a lamp, beside the others, that no file has."""
    (stem,) = file_names([fixture], "")
    turn = 1
    while True:
        named = os.path.join(folder, f"{stem}{'' if turn == 1 else f'-{turn}'}.csv").replace(os.sep, "/")
        if bench.content(bench.beside(named)) is None:
            return named
        turn += 1


def _name_schedule(bench: Bench, fixture: str, named: str) -> None:
    toml = bench.toml()
    index = bench.index("fixture", fixture)
    assert index is not None
    toml.put(("fixture", index, "schedule"), named)
    bench.keep(toml)


def _part_files(bench: Bench, chosen: Sequence[str]) -> None:
    """Give lamps that are turned alone a copy of a programme that other lamps run too."""
    assert bench.setup is not None
    rest = {file_of(bench, f.name) for f in bench.setup.fixtures if f.name not in chosen}
    copies: dict[str, str] = {}
    for name in chosen:
        named = file_of(bench, name)
        if named is None or named not in rest:
            continue
        if named not in copies:
            content = bench.content(bench.beside(named))
            if content is None:
                raise OutputError(Problem(f"{literal(named)} is not there"))
            copies[named] = _free_name(bench, name, os.path.dirname(named))
            bench.changed[bench.beside(copies[named])] = content
        _name_schedule(bench, name, copies[named])


def set_overall(bench: Bench, change: Change) -> str:
    """The plateau of the overall setting of some fixtures, or of all. [%]"""
    percent = change["percent"]
    if isinstance(percent, bool) or not isinstance(percent, int | float) or not 0 < percent <= 100:
        raise ScheduleError(Problem("an overall setting is above 0, up to 100 %"))
    done: set[str] = set()
    chosen = _fixtures(bench, change.get("fixtures") or ())
    _part_files(bench, [fixture.name for fixture in chosen])
    for fixture in chosen:
        named = _needs_file(bench, fixture.name)
        if named in done:
            continue
        done.add(named)
        table, path = _table(bench, named)
        dial = fixture.programme.dial
        if dial is None or OVERALL not in table.columns:
            table.add_column(OVERALL, [f"{percent:g}"] * len(table.rows()))
        else:
            for row, value in enumerate(dial.at(percent / 100).overall.tolist()):
                if not math.isnan(value):
                    table.put_number(row, OVERALL, percent_from_level(value))
        bench.changed[path] = table.data
    return f"overall setting {percent:g} %"


def set_hours(bench: Bench, change: Change) -> str:
    """A longer or shorter plateau of all fixtures, around its middle. [h]"""
    longer = change["longer_h"]
    if isinstance(longer, bool) or not isinstance(longer, int | float) or not abs(longer) <= FURTHEST_H:
        raise ScheduleError(Problem("the plateau can change by up to 12 hours"))
    assert bench.setup is not None
    lit = bench.setup.lit_fixtures
    weight = np.ones(sum(len(f.type.channels) for f in lit))
    plateau = plateau_of(lit, weight)
    if plateau is None:
        raise ScheduleError(Problem("nothing shines by this programme: there is no plateau"))
    done: set[str] = set()
    for fixture in lit:
        named = _needs_file(bench, fixture.name)
        if named in done:
            continue
        done.add(named)
        changed = with_times(fixture, plateau, DayChange(longer_h=float(longer)))
        table, path = _table(bench, named)
        _put_times(table, fixture, changed)
        bench.changed[path] = table.data
    way = "longer" if longer > 0 else "shorter"
    return f"plateau {abs(longer):g} h {way}"


def _put_times(table: TableText, before: Fixture, after: Fixture) -> None:
    """The times of a changed programme; where it has other rows, all rows are written anew."""
    old, new = before.programme.dial, after.programme.dial
    if old is not None and new is not None and old.time_h.size == new.time_h.size == len(table.rows()):
        for row, (was, is_now) in enumerate(zip(old.time_h.tolist(), new.time_h.tolist(), strict=True)):
            if was != is_now:
                table.put(row, "time", format_time_exact(is_now))
        return
    channels = [c.name for c in after.type.channels]
    text = schedule_text(after.programme, channels, lit_at_zero=after.type.lit_at_zero)
    lines = [line.split(",") for line in text.splitlines() if not line.startswith("#")]
    table.replace_rows(lines[0], lines[1:])


def programme_rows(fixture: Fixture, text: TableText | None, inline: Any) -> dict[str, Any]:
    """The programme of a fixture as rows that can be typed in: columns, rows, and the overall setting. [%]"""
    dial = fixture.programme.dial
    shown: dict[str, Any] = {
        "fixture": fixture.name,
        "overall": None if dial is None else round(100 * dial.plateau, 6),
    }
    if text is not None:
        names = [name for name in (text.table.header or ()) if name.casefold() != "time"]
        rows = text.rows()
        return shown | {
            "columns": names,
            "rows": [{"time": r["time"], "levels": [r.get(n.casefold(), "") for n in names]} for r in rows],
        }
    points = inline if isinstance(inline, Mapping) else {}
    return shown | {
        "columns": [],
        "rows": [],
        "points": [
            {"channel": str(channel), "points": [[str(p[0]), f"{float(p[1]):g}"] for p in given]}
            for channel, given in points.items()
        ],
    }


CHANGES: Final[dict[str, Callable[[Bench, Change], str]]] = {
    "level": set_level,
    "row": add_row,
    "no-row": drop_row,
    "overall": set_overall,
    "hours": set_hours,
}
