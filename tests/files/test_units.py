"""Numbers, lengths and times as people write them."""

from __future__ import annotations

import datetime
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.files.units import (
    UnitProblem,
    format_length,
    format_time,
    format_time_exact,
    parse_length,
    parse_number,
    parse_time,
)


def refusal(read, value) -> str:
    """The message with which ``read`` refuses ``value``, without the program's forbidden words."""
    with pytest.raises(UnitProblem) as caught:
        read(value)
    message = str(caught.value.problem)
    assert not {"invalid", "error", "please"} & set(message.lower().replace(":", " ").split())
    assert "!" not in message
    return message


@pytest.mark.identity
@pytest.mark.parametrize(
    ("written", "metres"),
    [
        ("24 in", 0.6096),
        ('24"', 0.6096),
        ("24\u2033", 0.6096),
        ("24 inches", 0.6096),
        ("2 ft", 0.6096),
        ("2'", 0.6096),
        ("61 cm", 0.61),
        ("61cm", 0.61),
        ("610 MM", 0.61),
        ("0,61 m", 0.61),
        ("0.61 m", 0.61),
        (".5 m", 0.5),
        (" 7.5  cm ", 0.075),
        ("-5 cm", -0.05),
        ("0 cm", 0.0),
    ],
)
def test_length_with_unit_is_read(written, metres):
    """Every unit and both decimal marks give the exact metres."""
    # Inch 0.0254 m and foot 0.3048 m: international yard and pound agreement 1959, exact.
    assert parse_length(written) == metres


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("61", 'write "61 cm" or "61 in"'),
        (61, 'write "61 cm" or "61 in", in quotes'),
        (0.61, "has no unit"),
        ("", "the length is empty"),
        ("61 km", 'unknown unit "km"'),
        ("1,200 mm", "can be read as 1.2 or as 1200"),
        ("1.234,5 cm", 'no marks between thousands: "1234.5 cm"'),
        ("2,345,678 mm", 'no marks between thousands: "2345678 mm"'),
        ("1.2.3 cm", "one decimal mark"),
        ("23 1/2 in", '"23.5 in"'),
        ("2 ft 6 in", "one number and one unit"),
        ("about a foot", "is not a length"),
        ("nan cm", "is not a length"),
        ("\u0661\u0662 cm", "is not a length"),
    ],
)
def test_doubtful_length_is_refused_with_hint(written, says):
    """A length without a unit, or with two meanings, is never guessed."""
    assert says in refusal(parse_length, written)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("metres", "unit", "shown"),
    [
        (0.61, "cm", "61 cm"),
        (0.615, "cm", "61.5 cm"),
        (0.6096, "in", "24 in"),
        (0.61, "in", "24.02 in"),
        (-1e-9, "cm", "0 cm"),
        (1.0, "cm", "100 cm"),
        (0.0, "in", "0 in"),
    ],
)
def test_length_is_shown_in_the_asked_unit(metres, unit, shown):
    """Millimetres or hundredths of an inch, without idle zeros."""
    assert format_length(metres, unit) == shown


@pytest.mark.identity
@given(st.integers(min_value=1, max_value=99_999))
def test_length_in_tenths_of_a_millimetre_survives_the_round_trip(tenths):
    """What is shown in whole millimetres reads back to the same length."""
    metres = tenths / 1000
    assert parse_length(format_length(metres, "cm")) == pytest.approx(metres, rel=1e-15)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("written", "hours"),
    [
        ("7:30", 7.5),
        ("07:30", 7.5),
        ("7.30", 7.5),
        ("7h30", 7.5),
        ("7:30 am", 7.5),
        ("7:30 PM", 19.5),
        ("7:30\u202fp.m.", 19.5),
        ("7 am", 7.0),
        ("12 am", 0.0),
        ("12:30 am", 0.5),
        ("12 pm", 12.0),
        ("00:00", 0.0),
        ("24:00", 24.0),
        ("02:00+1", 26.0),
        ("2:00 am +1", 26.0),
        ("00:00+1", 24.0),
        ("07:30:36", 7.51),
        ("07:30:36.0", 7.51),
        (datetime.time(7, 30), 7.5),
        (datetime.time(7, 30, 36), 7.51),
    ],
)
def test_time_as_people_write_it_is_read(written, hours):
    """Every spelling of experience gives the exact hours."""
    assert parse_time(written) == hours


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("written", "says"),
    [
        ("0730", "has no colon"),
        ("0730", 'mend it: write "07:30"'),
        ("730", 'write "07:30"'),
        ("7", 'write "07:00" or "7 am"'),
        ("7h", 'write "07:00"'),
        ("24:01", 'write "00:01+1"'),
        ("25:00", 'write "01:00+1"'),
        ("24:00+1", "past the end of the day"),
        ("48:00", "past the end of the day"),
        (7.3, 'write "07:18" or "07:30", in quotes'),
        (7.75, 'write "07:45", in quotes'),
        (7, 'write "07:00"'),
        (True, "is not a time"),
        ("7.5", 'write "07:05" or "07:50"'),
        ("0.3125", "format the column as time"),
        ("7,30", "is a bare number"),
        ("07:60", "more than 59"),
        ("13:00 pm", "1 to 12"),
        ("0:30 am", "1 to 12"),
        ("02:00+2", '"02:00+1"'),
        ("noon", '"07:30"'),
        ("", "the time is empty"),
        (datetime.date(2024, 1, 1), "is not a time"),
        (None, "is not a time"),
    ],
)
def test_doubtful_time_is_refused_with_its_own_hint(written, says):
    """Each mistake gets the sentence that mends it."""
    assert says in refusal(parse_time, written)


@pytest.mark.identity
def test_every_time_that_a_cure_names_is_a_time():
    """Of all short slips: "19h" is not told to be "19h am", and "2567" not "25:67"."""
    slips = [f"{n}{end}" for n in range(100) for end in ("", "h", " h", "H", ":0", ".7", ":6", "+1")]
    slips += [f"{n:03d}" for n in range(0, 10_000, 7)]
    for slip in slips:
        try:
            parse_time(slip)
        except UnitProblem as refused:
            cure = str(refused.problem).partition("mend it: ")[2]
            named = re.findall('"([^"]+)"', cure)
            assert named or cure.startswith("hours go up to 24"), slip
            for text in named:
                parse_time(text)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("hours", "shown"),
    [(0, "00:00"), (7.5, "07:30"), (19.999999, "20:00"), (24, "24:00"), (26, "02:00+1"), (47.99, "23:59+1")],
)
def test_time_is_shown_in_24_h(hours, shown):
    """Times are printed to the minute, without am and pm."""
    assert format_time(hours) == shown


@pytest.mark.identity
@given(st.integers(min_value=0, max_value=2 * 1440 - 1))
def test_whole_minute_survives_the_round_trip(minute):
    """Both ways of writing a whole minute read back to the same float."""
    hours = parse_time(format_time(minute / 60))
    assert hours == minute / 60
    assert format_time_exact(hours) in (format_time(hours), "00:00+1")


@pytest.mark.identity
@given(st.floats(min_value=0, max_value=47.99, allow_subnormal=False))
def test_any_time_survives_the_exact_round_trip(hours):
    """The exact text reads back to the same float, whatever the fraction of a second."""
    assert parse_time(format_time_exact(hours)) == hours


@pytest.mark.identity
@pytest.mark.parametrize(
    ("written", "decimal", "value"),
    [
        ("1.5", ".", 1.5),
        ("1,5", ",", 1.5),
        (".5", ".", 0.5),
        ("5.", ".", 5.0),
        ("1e-3", ".", 1e-3),
        ("1,5E+2", ",", 150.0),
        (" -3 ", ".", -3.0),
        ("12", ",", 12.0),
    ],
)
def test_number_is_read_with_its_decimal_mark(written, decimal, value):
    """A decimal comma counts where it was declared."""
    assert parse_number(written, decimal) == value


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("written", "decimal", "says"),
    [
        ("1,5", ".", "has a decimal comma"),
        ("1.5", ",", "has a decimal point"),
        ("1.234,5", ",", "without marks between thousands"),
        ("1.234,5", ",", "all digits together: 1234,5"),
        ("1.234,5", ".", "all digits together: 1234.5"),
        ("-2 345 678,91", ",", "all digits together: -2345678,91"),
        ("2'345,678", ".", "all digits together: 2345.678"),
        ("1.234.567", ".", "all digits together: 1234567"),
        ("1 234.5", ".", "without marks between thousands"),
        ("50%", ".", "leave the % sign out: 50"),
        ("50 %", ".", "leave the % sign out: 50"),
        ("nan", ".", "leave the row out"),
        ("-inf", ".", "leave the row out"),
        ("1e999", ".", "too large"),
        ("1_000", ".", "is not a number"),
        ("0x10", ".", "is not a number"),
        ("\u0665", ".", "is not a number"),
        ("", ".", "a number is missing here"),
        ("n/a", ".", "is not a number"),
    ],
)
def test_doubtful_number_is_refused(written, decimal, says):
    """What Python's float would take, or a comma nobody declared, is refused."""
    assert says in refusal(lambda text: parse_number(text, decimal), written)
