"""Programmes: from schedule.csv, from points inline in a setup, and back to CSV.

``all_channels`` is multiplied in at the rows of a file, and products are linear between them. A blank cell is
no point. Where a row has a point of a channel and no ``all_channels``, or the other way round, the blank one
is taken from the straight line between its own points.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from math import isnan
from pathlib import Path
from typing import Final

import numpy as np

from lightdose.errors import Place, Problem, ScheduleError, first_few
from lightdose.files.csv_text import Cell, Dialect, csv_text, decimal_text, plain_text
from lightdose.files.delimited import DelimitedError, DelimitedTable, read_delimited, read_text
from lightdose.files.programme_rules import (
    FRACTIONS_CURE,
    LEVELS_ALLOWED,
    RESERVED_NAMES,
    Moment,
    channel_problems,
    channel_times_h,
    level_from_percent,
    looks_like_fractions,
    percent_from_level,
    read_moment,
    time_problems,
)
from lightdose.files.toml_tables import show
from lightdose.files.units import UnitProblem, format_time, format_time_exact, parse_time
from lightdose.frozen import dataclass
from lightdose.model.fixture import ChannelProgramme, Dial, Programme, day_later_h
from lightdose.quantities import HOURS_PER_DAY

PERCENT_NOTE: Final = "levels in percent"
"""A comment line that tells a programme of very low levels from one in fractions."""


@dataclass(frozen=True)
class _Placed:
    """A channel's points on the time line of the file: exact times as text, and levels."""

    times: tuple[str, ...]
    levels: tuple[float, ...]


def write_schedule(
    programme: Programme,
    channels: Sequence[str],
    dialect: Dialect = "plain",
    lit_at_zero: Collection[str] = (),
) -> str:
    """The programme as schedule.csv: a column a channel in percent, without ``all_channels``.

    Reading it gives the same times and levels to the last bit. A channel without a programme is written as 0.
    Programmes that share no start from which all of them end within 24 h are cut at 24:00 first, which gives
    the same repeating day but for the times that ``gaps_lit_at_zero`` names.

    Parameters
    ----------
    programme : what to write
    channels : the columns and their order
    dialect : "plain" or "excel-eu"
    lit_at_zero : channels that give light at level 0; without a programme they get two rows at one time,
        which last no time, so that they stay dark
    """
    lit = {name: programme.channels[name] for name in channels if name in programme.channels}
    placed = _placed(lit)
    if placed is None:
        placed = {name: _texts(_fold(channel), is_next_day=False) for name, channel in lit.items()}
    placed = _one_text_a_time(placed)
    cells: dict[tuple[str, int], dict[str, str]] = {}
    for name, points in placed.items():
        for index, (time, level) in enumerate(zip(points.times, points.levels, strict=True)):
            second = index > 0 and points.times[index - 1] == time
            cells.setdefault((time, int(second)), {})[name] = percent_from_level(level)
    order = sorted(cells, key=_row_order) or [("00:00", 0), ("00:00+1", 0)]
    for name in channels:
        if name not in lit:
            last = (order[0][0], 1) if name in lit_at_zero else order[-1]
            for row in (order[0], last):
                cells.setdefault(row, {})[name] = "0"
    order = sorted(cells, key=_row_order)
    end = "24:00" if not any(points.times[0].endswith("+1") for points in placed.values()) else ""
    decimal = "," if dialect == "excel-eu" else "."
    rows: list[list[Cell]] = []
    for row in order:
        time = end if end and row[0] == "00:00+1" == order[-1][0] else row[0]
        rows.append([time, *(_mark(cells[row].get(name), decimal) for name in channels)])
    table = csv_text(["time", *channels], rows, dialect)
    return _noted(table, [level for points in placed.values() for level in points.levels])


def write_dial(dial: Dial, channels: Sequence[str], dialect: Dialect = "plain") -> str:
    """A dial as schedule.csv: levels as they are set, and the overall setting as ``all_channels``.

    Reading it gives the same rows, levels and factor. ``channels`` are those of the dial, in their order.
    """
    columns = {name: dial.levels[name].tolist() for name in channels} | {_ALL: dial.overall.tolist()}
    decimal = "," if dialect == "excel-eu" else "."
    times = [format_time_exact(time) for time in dial.time_h.tolist()]
    if times[-1] == "00:00+1":
        times = ["24:00" if time == times[-1] else time for time in times]
    cells = [
        [None if isnan(level) else decimal_text(percent_from_level(level), decimal) for level in column]
        for column in columns.values()
    ]
    table = csv_text([_KEY, *columns], list(zip(times, *cells, strict=True)), dialect)
    levels = [level for name in channels for level in columns[name]]
    return _noted(table, *([v for v in kind if not isnan(v)] for kind in (levels, columns[_ALL])))


def schedule_text(
    programme: Programme,
    channels: Sequence[str],
    dialect: Dialect = "plain",
    lit_at_zero: Collection[str] = (),
) -> str:
    """The programme as it is set: with its overall setting where it has one, else by ``write_schedule``."""
    if programme.dial is not None:
        return write_dial(programme.dial, channels, dialect)
    return write_schedule(programme, channels, dialect, lit_at_zero)


def _noted(table: str, *kinds: Sequence[float]) -> str:
    """A table with a line that its levels are percents, where some kind of them is very low."""
    if not any(looks_like_fractions([100 * level for level in levels] or [0.0]) for levels in kinds):
        return table
    mark = "\ufeff" if table.startswith("\ufeff") else ""
    return f"{mark}# {PERCENT_NOTE}\n{table.removeprefix(mark)}"


def gaps_lit_at_zero(programme: Programme, lit_at_zero: Collection[str]) -> dict[str, tuple[float, float]]:
    """Channels that ``write_schedule`` must hold at level 0 where they are off, and from when to when.

    One that gives light at level 0, goes past midnight and has to be cut at 24:00 runs from 00:00 to 24:00 in
    the file: no row can switch it off in between.
    """
    if _placed(programme.channels) is not None:
        return {}
    ends = {
        name: (float(c.time_h[-1]) - HOURS_PER_DAY, float(c.time_h[0]))
        for name, c in programme.channels.items()
    }
    return {
        name: (end, start) for name, (end, start) in ends.items() if name in lit_at_zero and 0 < end < start
    }


def _one_text_a_time(placed: Mapping[str, _Placed]) -> dict[str, _Placed]:
    """The same points, with one text for texts that are one time to the reader.

    Past midnight a time has fewer bits, so that two texts may be one. A channel that starts there is read by
    the clock, which has more, and its texts stand; to all others either text is the same.
    """
    time_h = {text: parse_time(text) for points in placed.values() for text in points.times}
    texts: dict[float, str] = {}
    for points in sorted(placed.values(), key=lambda points: not points.times[0].endswith("+1")):
        for text in points.times:
            texts.setdefault(time_h[text], text)
    return {
        name: _Placed(tuple(texts[time_h[text]] for text in points.times), points.levels)
        for name, points in placed.items()
    }


def _row_order(row: tuple[str, int]) -> tuple[float, tuple[str, int]]:
    return parse_time(row[0]), row


def _placed(lit: Mapping[str, ChannelProgramme]) -> dict[str, _Placed] | None:
    """All channels on one time line of at most 24 h, those before its start a day later; None if none is."""
    for start in sorted({float(channel.time_h[0]) for channel in lit.values()}) or [0.0]:
        later = {name: bool(channel.time_h[0] < start) for name, channel in lit.items()}
        day = {name: 0.0 if later[name] else HOURS_PER_DAY for name in lit}
        if all(channel.time_h[-1] - day[name] <= start for name, channel in lit.items()):
            return {name: _texts(channel, later[name]) for name, channel in lit.items()}
    return None


def _texts(channel: ChannelProgramme, is_next_day: bool) -> _Placed:
    times = [format_time_exact(t) for t in channel.time_h.tolist()]
    if is_next_day:
        times = [f"{text}+1" for text in times]
    elif channel.time_h[-1] == day_later_h(float(channel.time_h[0])):
        last = channel.time_h[-1]
        times = [
            f"{times[0]}+1" if t == last else text for t, text in zip(channel.time_h, times, strict=True)
        ]
    return _Placed(tuple(times), tuple(channel.level.tolist()))


def _fold(channel: ChannelProgramme) -> ChannelProgramme:
    """The same repeating day from 00:00 to 24:00."""
    time, level = channel.time_h, channel.level
    if time[-1] <= HOURS_PER_DAY:
        return channel
    before, after = time < HOURS_PER_DAY, time > HOURS_PER_DAY
    at_midnight = level[time == HOURS_PER_DAY]
    if at_midnight.size == 0:
        at_midnight = np.interp([HOURS_PER_DAY], time, level)
    early = [
        (0.0, float(at_midnight[-1])),
        *zip((time[after] - HOURS_PER_DAY).tolist(), level[after].tolist(), strict=True),
    ]
    late = [
        *zip(time[before].tolist(), level[before].tolist(), strict=True),
        (HOURS_PER_DAY, float(at_midnight[0])),
    ]
    if early[-1][0] < late[0][0]:
        # Off in between; a jump at an end keeps the level that is inside the programme.
        if len(early) > 1 and early[-2][0] == early[-1][0]:
            early.pop()
        if late[1][0] == late[0][0]:
            late.pop(0)
        early.append((early[-1][0], 0.0))
        late.insert(0, (late[0][0], 0.0))
    points = [*early, *late]
    return ChannelProgramme(np.array([t for t, _ in points]), np.array([v for _, v in points]))


def _mark(percent: str | None, decimal: str) -> str | None:
    return decimal_text(percent, decimal) if percent is not None else None


__all__ = [
    "programme_from_points",
    "read_schedule",
    "schedule_from_text",
    "schedule_text",
    "write_dial",
    "write_schedule",
]

LIMIT_BYTES: Final = 20_000_000
LIMIT_ROWS: Final = 50_000
MOST_PROBLEMS: Final = 50
"""Problems that are shown; a file of 50,000 bad rows needs no more."""

_KEY: Final = "time"
_ALL: Final = "all_channels"

KeyPath = tuple[str | int, ...]
Levels = list[float | None]


def read_schedule(path: Path, label: str, channels: Sequence[str]) -> tuple[Programme, str]:
    """The programme of a fixture, and what was understood.

    Parameters
    ----------
    path : the file
    label : its name in messages
    channels : all channels of the fixture; each needs a column

    Raises
    ------
    ScheduleError
        With every problem of the file.
    """
    try:
        text, encoding = read_text(path, limit_bytes=LIMIT_BYTES, label=label)
    except DelimitedError as trouble:
        raise ScheduleError(*trouble.problems) from None
    return schedule_from_text(text, label, channels, encoding)


def schedule_from_text(
    text: str, label: str, channels: Sequence[str], encoding: str = "utf-8"
) -> tuple[Programme, str]:
    """The same from the text of a file.

    Raises
    ------
    ScheduleError
        With every problem of the text.
    """
    try:
        table = read_delimited(text, label, encoding, key_column=_KEY)
    except DelimitedError as trouble:
        raise ScheduleError(*trouble.problems) from None
    if len(table.rows) > LIMIT_ROWS:
        place = table.place(table.rows[LIMIT_ROWS])
        found = f"has {len(table.rows):,} rows"
        raise ScheduleError(
            Problem(found, f"up to {LIMIT_ROWS:,}", "keep the rows where a ramp bends", place)
        )
    return _programme(table, channels), _understood(table)


def programme_from_points(
    points: Mapping[str, Sequence[tuple[object, object]]],
    channels: Sequence[str],
    place_of: Callable[[KeyPath], Place],
) -> Programme:
    """The programme written inline, with the rules of a file.

    Parameters
    ----------
    points : channel -> [time, percent] pairs
    channels : all channels of the fixture; each needs points
    place_of : the place of a key path below the schedule, such as ("blue 445", 2, 1); () is the schedule

    Raises
    ------
    ScheduleError
        With every problem of the schedule.
    """
    cure = 'add "{name}" = [["00:00", 0], ["24:00", 0]] to keep it off'
    reserved = [name for name in points if name in RESERVED_NAMES]
    problems = [
        Problem(
            f'"{name}" is a reserved name, not a channel',
            cure="multiply it into the levels, or use a schedule.csv" if name == _ALL else "",
            place=place_of((name,)),
        )
        for name in reserved
    ]
    named = [name for name in points if name not in reserved]
    _raise(
        [
            Problem(f"has {len(points[name]):,} points", f"up to {LIMIT_ROWS:,}", place=place_of((name,)))
            for name in named
            if len(points[name]) > LIMIT_ROWS
        ]
    )
    problems += channel_problems(named, channels, lambda name: place_of((name,) if name else ()), cure)
    percents: list[float] = []
    built: dict[str, ChannelProgramme] = {}
    for name in named:
        moments, levels = _inline_points(name, points[name], place_of, problems, percents)
        found = time_problems(moments, lambda i, name=name: place_of((name, i)))  # type: ignore[misc]
        if len(points[name]) < 2:
            found.append(_too_few(name, len(points[name]), place_of((name,))))
        problems += found
        kept = [(m, v) for m, v in zip(moments, levels, strict=True) if m is not None and v is not None]
        if not found and len(kept) == len(moments):
            built[name] = _channel([m for m, _ in kept], [v for _, v in kept])
    if looks_like_fractions(percents or [0.0]):
        problems.append(_fractions(max(percents), place_of(())))
    _raise(problems)
    return Programme(built)


def _inline_points(
    name: str,
    points: Sequence[tuple[object, object]],
    place_of: Callable[[KeyPath], Place],
    problems: list[Problem],
    percents: list[float],
) -> tuple[list[Moment | None], Levels]:
    moments: list[Moment | None] = []
    levels: Levels = []
    for index, point in enumerate(points):
        moment, level = None, None
        if not isinstance(point, Sequence) or isinstance(point, str) or len(point) != 2:
            cure = 'write ["08:00", 60]'
            problems.append(
                Problem(f"{point!r} is not a point", "[time, percent]", cure, place_of((name, index)))
            )
        else:
            try:
                moment = read_moment(point[0])
            except UnitProblem as trouble:
                problems.append(trouble.problem.at(place_of((name, index, 0))))
            level = _inline_level(point[1], place_of((name, index, 1)), problems, percents)
        moments.append(moment)
        levels.append(level)
    return moments, levels


def _inline_level(
    value: object, place: Place, problems: list[Problem], percents: list[float]
) -> float | None:
    if isinstance(value, bool) or not isinstance(value, int | float):
        problems.append(Problem(f"{value!r} is not a number", LEVELS_ALLOWED, place=place))
        return None
    if not 0 <= value <= 100:
        problems.append(Problem(f"the level {show(value)} is out of range", LEVELS_ALLOWED, place=place))
        return None
    percents.append(float(value))
    return level_from_percent(repr(value))


def _programme(table: DelimitedTable, channels: Sequence[str]) -> Programme:
    problems: list[Problem] = []
    columns, unknown = _columns(table, channels, problems)
    moments = _moments(table, problems)
    percents: dict[str, list[float]] = {_ALL: [], "": []}
    levels = {
        name: _levels(table, index, problems, percents[_ALL if name == _ALL else ""])
        for name, index in (columns | unknown).items()
    }
    for kind, values in percents.items():
        if looks_like_fractions(values or [0.0]) and PERCENT_NOTE not in table.preamble:
            index = (
                columns[_ALL] if kind else next(i for name, i in (columns | unknown).items() if name != _ALL)
            )
            place = table.place(table.rows[0], index)
            problems.append(
                _fractions(max(values), place, f'; or add the line "# {PERCENT_NOTE}" if they are percents')
            )
    counted = {name: sum(level is not None for level in column) for name, column in levels.items()}
    has_unread = bool(problems)
    if _ALL in levels and not has_unread:
        problems += _all_channels_problems(table, columns[_ALL], levels)
    if not has_unread:
        problems += [
            _too_few(name, counted[name], table.place(None, index))
            for name, index in columns.items()
            if name != _ALL and counted[name] < 2
        ]
    _raise(problems)
    read = [moment for moment in moments if moment is not None]
    if _ALL not in levels:
        return Programme({name: _channel(read, levels[name]) for name in channels})
    cells = {name: np.array(column, dtype=np.float64) for name, column in levels.items()}  # None is NaN
    time_h = np.array([moment.time_h for moment in read])
    return Dial(time_h, cells[_ALL], {name: cells[name] for name in channels}).programme()


def _columns(
    table: DelimitedTable, channels: Sequence[str], problems: list[Problem]
) -> tuple[dict[str, int], dict[str, int]]:
    """Where the columns of known channels (and all_channels) stand, and those of unknown ones."""
    columns: dict[str, int] = {}
    unknown: dict[str, int] = {}
    has_time = False
    for index, cell in enumerate(table.header or ()):
        reserved = cell.casefold() in RESERVED_NAMES
        name = cell.casefold() if reserved else plain_text(cell)
        repeated = (name == _KEY and has_time) or name in columns or name in unknown
        if not cell:
            found, cure = f"column {index + 1} has no name", "name it after its channel, or remove it"
            problems.append(Problem(found, cure=cure, place=table.place(None, index)))
        elif repeated:
            found, cure = f'the column "{cell}" stands twice', "remove or rename one of them"
            problems.append(Problem(found, cure=cure, place=table.place(None, index)))
        elif name == _KEY:
            has_time = True
        elif name == _ALL or name in channels:
            columns[name] = index
        else:
            unknown[name] = index
    named = [name for name in (*columns, *unknown) if name != _ALL]
    cure = 'add a column "{name}", with 0 in its rows to keep it off'
    problems += channel_problems(
        named, channels, lambda name: table.place(None, unknown[name] if name else None), cure
    )
    return columns, unknown


def _moments(table: DelimitedTable, problems: list[Problem]) -> list[Moment | None]:
    column = table.column(_KEY)
    moments: list[Moment | None] = []
    for row in table.rows:
        try:
            moments.append(read_moment(row.cells[column]))
        except UnitProblem as trouble:
            problems.append(trouble.problem.at(table.place(row, column)))
            moments.append(None)
    problems += time_problems(moments, lambda index: table.place(table.rows[index], column))
    return moments


def _levels(table: DelimitedTable, column: int, problems: list[Problem], percents: list[float]) -> Levels:
    """Levels 0-1 of a column, None where a cell is blank."""
    levels: Levels = []
    known: dict[str, float | None] = {"": None}  # programmes repeat few levels in many rows
    for row in table.rows:
        cell = row.cells[column]
        if cell not in known:
            try:
                percent = table.number(row, column)
            except UnitProblem as trouble:
                problems.append(trouble.problem)
                continue
            if not 0 <= percent <= 100:
                found = f'the level "{cell}" is out of range'
                problems.append(Problem(found, LEVELS_ALLOWED, place=table.place(row, column)))
                continue
            percents.append(percent)
            known[cell] = level_from_percent(cell.replace(",", "."))
        levels.append(known[cell])
    return levels


def _all_channels_problems(table: DelimitedTable, column: int, levels: Mapping[str, Levels]) -> list[Problem]:
    """all_channels must reach over every row that has a level: outside its points nothing is guessed."""
    given = [index for index, level in enumerate(levels[_ALL]) if level is not None]
    lit = [
        i
        for name, rows in levels.items()
        if name != _ALL
        for i, level in enumerate(rows)
        if level is not None
    ]
    cure = "give it in the first and the last row with levels (100 leaves them as they are)"
    if not given:
        return [Problem(f'the column "{_ALL}" is empty', cure=cure, place=table.place(None, column))]
    outside = [i for i in ((min(lit), max(lit)) if lit else ()) if not given[0] <= i <= given[-1]]
    return [
        Problem(
            f'"{_ALL}" is blank here and has no value on one side to go by',
            cure=cure,
            place=table.place(table.rows[i], column),
        )
        for i in outside
    ]


def _channel(moments: Sequence[Moment], levels: Levels) -> ChannelProgramme:
    points = [(m, level) for m, level in zip(moments, levels, strict=True) if level is not None]
    times = channel_times_h([moment for moment, _ in points])
    return ChannelProgramme(np.array(times), np.array([level for _, level in points]))


def _level_columns(table: DelimitedTable) -> list[tuple[int, str]]:
    """The columns of channels with their names."""
    return [(i, name) for i, name in enumerate(table.header or ()) if name.casefold() not in RESERVED_NAMES]


def _makes_points(table: DelimitedTable, overall: int, channel: int) -> bool:
    """Whether a blank level stands between two of its channel, in a row with an overall setting."""
    rows = [row.cells for row in table.rows]
    given = [n for n, cells in enumerate(rows) if cells[channel]]
    between = rows[given[0] : given[-1]] if given else []
    return any(cells[overall] and not cells[channel] for cells in between)


def _understood(table: DelimitedTable) -> str:
    column = table.column(_KEY)
    first, last = (
        format_time(read_moment(row.cells[column]).time_h) for row in (table.rows[0], table.rows[-1])
    )
    sentence = f"{table.understood}, programme {first} to {last}"
    if any(name.casefold() == _ALL for name in table.header or ()):
        sentence += f", {_ALL} multiplied into the levels at the rows"
        column = table.column(_ALL)
        if any(not row.cells[column] for row in table.rows):
            sentence += ", its blank cells taken from the line between its own values"
        made = [name for index, name in _level_columns(table) if _makes_points(table, column, index)]
        if made:
            sentence += (
                f", blank levels beside it taken from the line between their own values, as points there: "
                f"{', '.join(made)}"
            )
    return sentence


def _too_few(name: str, n_points: int, place: Place) -> Problem:
    count = "no point" if n_points == 0 else "one point"
    cure = "give a start and an end; 0 in both keeps it off"
    return Problem(f'the channel "{name}" has {count}', "two or more points", cure, place)


def _fractions(highest: float, place: Place, way_out: str = "") -> Problem:
    found = f"no level is above {highest:g} percent: are these fractions?"
    return Problem(found, LEVELS_ALLOWED, FRACTIONS_CURE + way_out, place)


def _raise(problems: Sequence[Problem]) -> None:
    if problems:
        raise ScheduleError(*first_few(problems, MOST_PROBLEMS))
