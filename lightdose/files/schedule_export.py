"""Programmes to schedule.csv; what is written reads back to the same programme."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from lightdose.files.dialect import Cell, Dialect, csv_text, decimal_text
from lightdose.files.programme_rules import day_later_h, looks_like_fractions, percent_from_level
from lightdose.files.units import format_time_exact, parse_time
from lightdose.model.schedule import ChannelProgramme, Programme
from lightdose.quantities import HOURS_PER_DAY

PERCENT_NOTE: Final = "levels in percent"
"""A comment line that tells a programme of very low levels from one in fractions."""


@dataclass(frozen=True, slots=True)
class _Placed:
    """A channel's points on the time line of the file: exact times as text, and levels."""

    times: tuple[str, ...]
    levels: tuple[float, ...]


def write_schedule(
    programme: Programme,
    channels: Sequence[str],
    dialect: Dialect = "plain",
    glowing: Collection[str] = (),
) -> str:
    """The programme as schedule.csv: a column a channel in percent, without ``all_channels``.

    Reading it gives the same times and levels to the last bit. A channel without a programme is written as 0.
    Programmes that share no start from which all of them end within 24 h are cut at 24:00 first, which gives
    the same repeating day but for the times that ``glowing_gaps`` names.

    Parameters
    ----------
    programme : what to write
    channels : the columns and their order
    dialect : "plain" or "excel-eu"
    glowing : channels that give light at level 0; without a programme they get two rows at one time, which
        last no time, so that they stay dark
    """
    lit = {name: programme.channels[name] for name in channels if name in programme.channels}
    placed = _placed(lit)
    if placed is None:
        placed = {name: _texts(_fold(channel), is_next_day=False) for name, channel in lit.items()}
    cells: dict[tuple[str, int], dict[str, str]] = {}
    for name, points in placed.items():
        for index, (time, level) in enumerate(zip(points.times, points.levels, strict=True)):
            second = index > 0 and points.times[index - 1] == time
            cells.setdefault((time, int(second)), {})[name] = percent_from_level(level)
    order = sorted(cells, key=_row_order) or [("00:00", 0), ("00:00+1", 0)]
    for name in channels:
        if name not in lit:
            last = (order[0][0], 1) if name in glowing else order[-1]
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
    percents = [100 * level for points in placed.values() for level in points.levels]
    if not looks_like_fractions(percents or [0.0]):
        return table
    mark = "\ufeff" if table.startswith("\ufeff") else ""
    return f"{mark}# {PERCENT_NOTE}\n{table.removeprefix(mark)}"


def glowing_gaps(programme: Programme, glowing: Collection[str]) -> dict[str, tuple[float, float]]:
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
    return {name: (end, start) for name, (end, start) in ends.items() if name in glowing and 0 < end < start}


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
