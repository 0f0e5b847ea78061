"""Dates as keepers and spreadsheets write them, read only where one reading is possible."""

from __future__ import annotations

import datetime
import re
from collections.abc import Iterable
from typing import Final

from lightdose.errors import Problem
from lightdose.files.toml_tables import refuse, show
from lightdose.files.units import UnitProblem

ALLOWED: Final = "year-month-day such as 2026-03-14, or 14.3.2026"
_CURE: Final = "write 2026-03-14; in a spreadsheet, format the column as YYYY-MM-DD"
_CLOCK: Final = re.compile(r"[T ]\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?Z?$", re.ASCII)
"""A time of the day behind a date, as spreadsheets write it."""
_YEAR_FIRST: Final = re.compile(r"(\d{4})[-/.](\d{1,2})[-/.](\d{1,2})", re.ASCII)
_DOTTED: Final = re.compile(r"(\d{1,2})\.\s?(\d{1,2})\.\s?(\d{4})", re.ASCII)
_SLASHED: Final = re.compile(r"(\d{1,2})[/-](\d{1,2})[/-](\d{4})", re.ASCII)
_SHORT_YEAR: Final = re.compile(r"\d{1,2}[./-]\d{1,2}[./-]\d{2}", re.ASCII)
_DAY_NUMBER: Final = re.compile(r"[2-9]\d{4}", re.ASCII)
EARLIEST, LATEST = 1900, 9000


def parse_date(text: str, month_first: bool | None = None) -> datetime.date:
    """The day that a cell names.

    Parameters
    ----------
    text : 2026-03-14, 14.3.2026, or 3/14/2026 and 14/3/2026 where only one of them is a day
    month_first : how the other dates of the same table read, where they tell

    Raises
    ------
    UnitProblem
        If it is no day, or can be read as two.
    """
    cell = _CLOCK.sub("", text.strip())
    if match := _YEAR_FIRST.fullmatch(cell):
        return _day(text, *map(int, match.groups()))
    if match := _DOTTED.fullmatch(cell):
        day, month, year = map(int, match.groups())
        return _day(text, year, month, day)
    if match := _SLASHED.fullmatch(cell):
        first, second, year = map(int, match.groups())
        if first <= 12 and second <= 12 and first != second and month_first is None:
            one, other = (datetime.date(year, *pair) for pair in ((first, second), (second, first)))
            found = f"{show(text)} can be {one.isoformat()} or {other.isoformat()}"
            raise refuse(found, ALLOWED, _CURE)
        swapped = first > 12 or (second <= 12 and month_first is False)
        return _day(text, year, *((second, first) if swapped else (first, second)))
    if _SHORT_YEAR.fullmatch(cell):
        raise refuse(f"{show(text)} has a year of two figures", ALLOWED, _CURE)
    if _DAY_NUMBER.fullmatch(cell):
        raise refuse(f"{show(text)} is a spreadsheet's number of a day", ALLOWED, _CURE)
    raise refuse(f"{show(text)} is not a date", ALLOWED, _CURE)


def _day(text: str, year: int, month: int, day: int) -> datetime.date:
    try:
        date = datetime.date(year, month, day)
    except ValueError:
        raise refuse(f"{show(text)} is not a date", ALLOWED, _CURE) from None
    if not EARLIEST <= year <= LATEST:
        raise refuse(f"{show(text)} is no date of a tank", ALLOWED)
    return date


def month_first_in(cells: Iterable[str]) -> bool | None:
    """Whether the month leads in dates with slashes, by those that are a day in one order only.

    None where none tells, or where they contradict one another.
    """
    orders = set()
    for cell in cells:
        if match := _SLASHED.fullmatch(_CLOCK.sub("", cell.strip())):
            first, second = int(match[1]), int(match[2])
            if (first > 12) != (second > 12):
                orders.add(second > 12)
    return orders.pop() if len(orders) == 1 else None


def not_after(date: datetime.date, today: datetime.date) -> Problem | None:
    """The problem of a day that is still to come."""
    if date <= today:
        return None
    return Problem(f"{date.isoformat()} is still to come", f"up to today, {today.isoformat()}")


def past_date(text: str, today: datetime.date) -> datetime.date:
    """The day that a person names, today or earlier; UnitProblem for anything else."""
    date = parse_date(text)
    if (problem := not_after(date, today)) is not None:
        raise UnitProblem(problem)
    return date
