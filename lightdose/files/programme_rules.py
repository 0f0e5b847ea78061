"""What every written programme obeys, in a file or inline: order of times, span, levels in percent."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Final

from lightdose.errors import Place, Problem
from lightdose.files.units import format_time, parse_time
from lightdose.frozen import dataclass
from lightdose.model.fixture import day_later_h
from lightdose.near_names import near_names
from lightdose.quantities import HOURS_PER_DAY

RESERVED_NAMES: Final = ("time", "all_channels")
FRACTIONS_CURE: Final = "write percent: 50 instead of 0.5"
LEVELS_ALLOWED: Final = "0 to 100 percent"
SUGGESTED: Final = 50
"""Names that the fixture lacks whose near names are told; no more problems of a programme are shown."""


@dataclass(frozen=True)
class Moment:
    """A time as written; ``time_h`` passes 24 on the next day, ``clock_h`` is the same without the day."""

    text: str
    time_h: float
    clock_h: float


def read_moment(value: object) -> Moment:
    """Read a time; raises UnitProblem."""
    time_h = parse_time(value)
    if not isinstance(value, str):
        return Moment(format_time(time_h), time_h, time_h)
    text = value.strip()
    # Taking 24 off again would round; reading without the day does not.
    clock_h = parse_time(text.removesuffix("+1")) if text.endswith("+1") else time_h
    return Moment(text, time_h, clock_h)


def time_problems(
    moments: Sequence[Moment | None], place_of: Callable[[int], Place], *, what: str = "a programme"
) -> list[Problem]:
    """Everything that is wrong with a sequence of times; None stands for one that could not be read."""
    read = [(index, moment) for index, moment in enumerate(moments) if moment is not None]
    problems: list[Problem] = []
    if not read:
        return problems
    for (_, earlier), (index, moment) in pairwise(read):
        if moment.time_h < earlier.time_h:
            problems.append(_order_problem(read, index, earlier, moment).at(place_of(index)))
    for (_, one), (_, two), (index, three) in zip(read, read[1:], read[2:], strict=False):
        if one.time_h == two.time_h == three.time_h:
            found = f'"{three.text}" stands more than twice'
            cure = "two points at one time make a jump; remove the others"
            problems.append(Problem(found, "at most two points at one time", cure, place_of(index)))
    end = max(moment.time_h for _, moment in read)
    for index, moment in read:
        if moment.time_h == HOURS_PER_DAY and not moment.text.endswith("+1") and end > HOURS_PER_DAY:
            found = f'"{moment.text}" is only an end, and the programme goes on'
            problems.append(Problem(found, cure='write "00:00+1"', place=place_of(index)))
    first_index, first = read[0]
    if first.time_h >= HOURS_PER_DAY:
        found = f'{what} starts at "{first.text}"'
        cure = f'write "{format_time(first.clock_h % HOURS_PER_DAY)}": programmes repeat every day'
        problems.append(Problem(found, "a start from 00:00 to 23:59", cure, place_of(first_index)))
    last_index, last = read[-1]
    passes = last.clock_h > first.time_h and last.time_h > day_later_h(first.time_h)  # by more than rounding
    if not problems and last.text.endswith("+1") and passes:
        found = f'{what} lasts from "{first.text}" to "{last.text}", {end - first.time_h:g} h'
        problems.append(Problem(found, "at most 24 h", "end it earlier", place_of(last_index)))
    return problems


def channel_times_h(moments: Sequence[Moment]) -> list[float]:
    """The times of one channel's points, as a model programme counts them: it starts before 24. [h]"""
    start_h = moments[0].time_h
    if start_h >= HOURS_PER_DAY:
        return [moment.clock_h for moment in moments]
    end_h = day_later_h(start_h)
    return [end_h if moment.clock_h == start_h < moment.time_h else moment.time_h for moment in moments]


def looks_like_fractions(levels: Sequence[float]) -> bool:
    """Whether no level is above 1 and one lies between 0 and 1, so that percents are doubtful."""
    return any(0 < level < 1 for level in levels) and max(levels) <= 1


def level_from_percent(text: str) -> float:
    """The level 0-1 of a percent number with a decimal point, rounded once: "57.3" is the float 0.573."""
    mantissa, _, exponent = text.lower().partition("e")
    return float(f"{mantissa}e{int(exponent or 0) - 2}")


def percent_from_level(level: float) -> str:
    """The shortest percent number that ``level_from_percent`` reads back to the same level."""
    from decimal import Decimal

    text = format(Decimal(repr(float(level))).scaleb(2), "f")
    return re.sub(r"\.?0+$", "", text) if "." in text else text


def channel_problems(
    named: Sequence[str], channels: Sequence[str], place_of: Callable[[str | None], Place], cure_missing: str
) -> list[Problem]:
    """Names that the fixture lacks and channels that the programme lacks, with the known ones.

    A channel that a misspelt name is nearest to is not told as missing too. ``place_of`` takes a name of the
    programme, or None for the programme as a whole; ``cure_missing`` says how to add the channel ``{name}``.
    """
    known = ", ".join(channels)
    unused = [channel for channel in channels if channel not in named]
    meant: set[str] = set()
    unknown: list[Problem] = []
    for name in named:
        if name in channels:
            continue
        near = near_names(name, unused, 2, cutoff=0.5) if len(unknown) < SUGGESTED else []
        meant.update([channel for channel in near if channel not in meant][:1])
        cure = "did you mean " + " or ".join(f'"{channel}"' for channel in near) + "?" if near else ""
        unknown.append(
            Problem(f'the fixture has no channel "{name}"', f"its channels: {known}", cure, place_of(name))
        )
    missing = [
        Problem(
            f'the channel "{channel}" of the fixture has no programme',
            f"every channel: {known}",
            cure_missing.format(name=channel),
            place_of(None),
        )
        for channel in unused
        if channel not in meant
    ]
    return unknown + missing


def _order_problem(
    read: Sequence[tuple[int, Moment]], index: int, earlier: Moment, moment: Moment
) -> Problem:
    around = [m.text for i, m in read if index - 3 < i <= index]
    order = ", ".join(around)
    found = f'"{moment.text}" comes after "{earlier.text}"; order read: {order}'
    if moment.time_h >= HOURS_PER_DAY:
        return Problem(found, "times that do not fall", "sort the points by time")
    cure = f'write "{format_time(moment.time_h)}+1" if it is past midnight, else sort the points by time'
    return Problem(found, 'times that do not fall; past midnight "HH:MM+1"', cure)
