"""Dates as people and spreadsheets write them."""

from __future__ import annotations

import datetime

import pytest

from lightdose.files.diary_dates import month_first_in, parse_date, past_date
from lightdose.files.units import UnitProblem

MARCH_14 = datetime.date(2026, 3, 14)


@pytest.mark.identity
@pytest.mark.parametrize(
    "text",
    [
        "2026-03-14",
        "2026/3/14",
        "14.3.2026",
        "14.03.2026",
        "14. 3. 2026",
        "14/3/2026",
        "3/14/2026",
        "14-3-2026",
        " 2026-03-14 ",
        "2026-03-14T09:30:00Z",
        "14.3.2026 00:00",
    ],
)
def test_date_with_one_reading_is_read(text: str) -> None:
    """Whatever the order, where only one day is possible it is that day."""
    assert parse_date(text) == MARCH_14


@pytest.mark.identity
@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("3/4/2026", "can be 2026-03-04 or 2026-04-03"),
        ("14.3.26", "year of two figures"),
        ("46095", "spreadsheet's number of a day"),
        ("30.2.2026", "is not a date"),
        ("yesterday", "is not a date"),
        ("", "is not a date"),
        ("1.1.1066", "no date of a tank"),
    ],
)
def test_other_dates_are_refused_with_their_cure(text: str, says: str) -> None:
    """Nothing is guessed: two readings, no year, or no day at all."""
    with pytest.raises(UnitProblem, match=says):
        parse_date(text)


@pytest.mark.identity
def test_dates_of_one_table_tell_the_order_of_each_other() -> None:
    """A day above 12 settles the order for its column; contradicting ones settle nothing."""
    assert month_first_in(["3/4/2026", "3/14/2026"]) is True
    assert month_first_in(["3/4/2026", "14/3/2026"]) is False
    assert month_first_in(["3/14/2026", "14/3/2026"]) is None
    assert month_first_in(["3/4/2026", "2026-03-14"]) is None
    assert parse_date("3/4/2026", month_first=True) == datetime.date(2026, 3, 4)
    assert parse_date("3/4/2026", month_first=False) == datetime.date(2026, 4, 3)
    assert parse_date("4/4/2026") == datetime.date(2026, 4, 4)


@pytest.mark.identity
def test_days_to_come_are_refused() -> None:
    """Today is the last day that a diary takes."""
    assert past_date("2026-03-14", MARCH_14) == MARCH_14
    with pytest.raises(UnitProblem, match="still to come"):
        past_date("15.3.2026", MARCH_14)
