"""Numbers, lengths and times as people write them; nothing is guessed.

Each reader returns a float in a fixed unit or raises ``UnitProblem``, whose Problem says what to write.

Patterns keep to what every engine knows: no look-around, no flags. tests/files/test_editor_schema.py holds
them to the readers of ``units`` and ``toml_tables``, which decide.
"""

from __future__ import annotations

import datetime
import math
import re
from collections.abc import Iterable, Mapping, Sequence
from functools import cache
from typing import Any, Final, Literal

from lightdose.errors import Problem
from lightdose.files.toml_guard import LONGEST_TEXT
from lightdose.quantities import HOURS_PER_DAY, METRES_PER_INCH


class UnitProblem(ValueError):  # noqa: N818 - it carries a Problem, and is always turned into a LightdoseError
    """A number, length or time that cannot be read as written."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


_POINT_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][+-]?[0-9]+)?")
_COMMA_NUMBER: Final = re.compile(r"[+-]?(?:[0-9]+,?[0-9]*|,[0-9]+)(?:[eE][+-]?[0-9]+)?")
_NUMBER_FORMS: Final = {".": _POINT_NUMBER, ",": _COMMA_NUMBER}
_LONGEST_NUMBER: Final = 1200
"""Letters of a number: the longest float written in full has 1,079."""


def parse_number(text: str, decimal: str = ".") -> float:
    """A finite number with the given decimal mark; a decimal comma only where the caller knows of one."""
    cell = text.strip()
    if _NUMBER_FORMS[decimal].fullmatch(cell) is None:
        raise UnitProblem(_number_problem(cell, decimal))
    if len(cell) > _LONGEST_NUMBER:
        raise UnitProblem(Problem(f'"{cell}" is too long a number', f"up to {_LONGEST_NUMBER:,} digits"))
    value = float(cell.replace(",", ".") if decimal == "," else cell)
    if value in (float("inf"), float("-inf")):
        raise UnitProblem(Problem(f'"{cell}" is too large a number'))
    return value


def is_number(text: str) -> bool:
    """Whether ``text`` is a number with either decimal mark."""
    return _POINT_NUMBER.fullmatch(text) is not None or _COMMA_NUMBER.fullmatch(text) is not None


def _number_problem(cell: str, decimal: str) -> Problem:
    found = f'"{cell}" is not a number'
    allowed = f"digits with a decimal {'comma' if decimal == ',' else 'point'}"
    if not cell:
        return Problem("a number is missing here", allowed=allowed)
    if cell.endswith("%") and is_number(cell[:-1].rstrip()):
        return Problem(found, allowed, f"leave the % sign out: {cell[:-1].rstrip()}")
    if decimal == "." and _COMMA_NUMBER.fullmatch(cell):
        return Problem(f'"{cell}" has a decimal comma', allowed, f"write {cell.replace(',', '.')}")
    if decimal == "," and _POINT_NUMBER.fullmatch(cell):
        return Problem(
            f'"{cell}" has a decimal point, other numbers of this file a comma',
            allowed,
            f"write {cell.replace('.', ',')}",
        )
    if cell.lower().lstrip("+-") in ("nan", "inf", "infinity"):
        return Problem(found, allowed, "write the number, or leave the row out")
    if _THOUSANDS.fullmatch(cell):
        together = digits_together(cell, decimal)
        return Problem(
            found, f"{allowed}, without marks between thousands", f"write all digits together: {together}"
        )
    return Problem(found, allowed)


_THOUSANDS: Final = re.compile(r"[+-]?[0-9]{1,3}([ '._,\u00a0\u2009\u202f][0-9]{3})+([.,][0-9]*)?")


def digits_together(cell: str, decimal: str = "") -> str:
    """A number without the marks between its thousands: "1.234,5" is "1234,5", or "1234.5" if asked for.

    A last point or comma is the decimal mark where it differs from the mark before it, or parts no thousand.
    """
    marks = [(i, mark) for i, mark in enumerate(cell) if not mark.isdigit() and i > 0]
    at, last = marks[-1]
    is_decimal = last in ".," and (last != marks[0][1] or len(cell) - at != len(".000"))
    whole, part = (cell[:at], cell[at + 1 :]) if is_decimal else (cell, "")
    sign = whole[0] if whole[0] in "+-" else ""
    digits = sign + "".join(c for c in whole if c.isdigit())
    return f"{digits}{decimal or last}{part}" if part else digits


LengthUnit = Literal["cm", "in"]

# Metres are value * numerator / denominator, which rounds once for the usual figures (61 cm is exactly 0.61).
# Inch and foot: international yard and pound agreement 1959, exact.
LENGTH_UNITS: Final[dict[str, tuple[int, int]]] = {
    **dict.fromkeys(("mm", "millimetre", "millimetres", "millimeter", "millimeters"), (1, 1000)),
    **dict.fromkeys(("cm", "centimetre", "centimetres", "centimeter", "centimeters"), (1, 100)),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), (1, 1)),
    **dict.fromkeys(("in", "in.", "inch", "inches", '"', "''", "\u2033", "\u201d"), (254, 10_000)),
    **dict.fromkeys(("ft", "ft.", "foot", "feet", "'", "\u2032", "\u2019"), (3048, 10_000)),
}
_LENGTH_ALLOWED: Final = 'a number and a unit: in, ", ft, cm, mm or m'
_LENGTH_FORM: Final = re.compile(r"([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+))\s*(\D*)")


def parse_length(text: object, *, bare: str = "") -> float:
    """A length with its unit, such as "24 in", 24", "2 ft", "61 cm", "0,61 m". [m]

    ``bare`` is the unit of a number without one; "" refuses it.
    """
    if not isinstance(text, str):
        raise UnitProblem(
            Problem(f"{text!r} has no unit", _LENGTH_ALLOWED, f'write "{text} cm" or "{text} in", in quotes')
        )
    shown = text.strip()
    form = _LENGTH_FORM.fullmatch(shown)
    if form is None:
        raise UnitProblem(_length_problem(shown))
    number, unit = form[1], form[2].strip().lower() or bare
    if not unit:
        raise UnitProblem(
            Problem(f'"{shown}" has no unit', _LENGTH_ALLOWED, f'write "{shown} cm" or "{shown} in"')
        )
    if unit not in LENGTH_UNITS:
        raise UnitProblem(
            Problem(
                f'"{shown}" has the unknown unit "{form[2].strip()}"', _LENGTH_ALLOWED, 'for example "61 cm"'
            )
        )
    if re.fullmatch(r"[+-]?[1-9][0-9]{0,2},[0-9]{3}", number):
        small, large = number.replace(",", ".").rstrip("0").rstrip("."), number.replace(",", "")
        raise UnitProblem(
            Problem(
                f'"{shown}" can be read as {small} or as {large}',
                cure=f'write "{small} {unit}" or "{large} {unit}"',
            )
        )
    numerator, denominator = LENGTH_UNITS[unit]
    return float(number.replace(",", ".")) * numerator / denominator


BARE_CM: Final = (1.0, 200.0)
"""A bare number of an option outside these ends may be metres or millimetres: asked about, our choice."""
NEAR_CORNER_CM: Final = 3.0
"""Bare numbers of places that all lie so near to one corner may be metres: asked about, our choice."""


def typed_length(text: str) -> float:
    """A length as options take it: with its unit, or a bare number of centimetres. [m]

    A bare number that is more likely of metres or of millimetres is asked about.
    """
    length_m = parse_length(text, bare="cm")
    size_cm, low, high = abs(length_m) * 100, *BARE_CM
    if _is_bare(text) and size_cm and not low <= round(size_cm, 9) <= high:
        raise UnitProblem(_bare_problem(text.strip(), "m" if size_cm < low else "mm"))
    return length_m


def typed_place(texts: Sequence[str]) -> tuple[float, ...]:
    """The lengths of a place as options take them, each with its unit or bare centimetres. [m]"""
    lengths_m = tuple(parse_length(text, bare="cm") for text in texts)
    if all(map(_is_bare, texts)) and looks_like_metres(lengths_m):
        words = [text.strip() for text in texts]
        found = f"{' '.join(words)} without units would lie within {NEAR_CORNER_CM:g} cm of a corner"
        ways = (", ".join(f'"{word} {unit}"' for word in words) for unit in ("m", "cm"))
        raise UnitProblem(Problem(found, _LENGTH_ALLOWED, f"write {' or '.join(ways)}"))
    return lengths_m


def looks_like_metres(lengths_m: Iterable[float], near_cm: float = NEAR_CORNER_CM) -> bool:
    """Whether numbers taken for centimetres, a place's or a whole file's, were more likely metres."""
    sizes_cm = [round(abs(length_m) * 100, 9) for length_m in lengths_m]
    small = all(size < near_cm for size in sizes_cm)
    return small and any(size % 1 for size in sizes_cm)


METRES_PROBLEM: Final = Problem(
    "all places lie next to one corner: are these metres?",
    "centimetres, or a unit behind each number",
    'write 40 or "0.4 m" instead of 0.4',
)
"""Of a file of places that looks like metres."""


def has_length_unit(text: str) -> bool:
    """Whether a cell is a number with a unit of length behind it."""
    form = _LENGTH_FORM.fullmatch(text.strip())
    return form is not None and form[2].strip().lower() in LENGTH_UNITS


def _is_bare(text: str) -> bool:
    form = _LENGTH_FORM.fullmatch(text.strip())
    return form is not None and not form[2].strip()


def _bare_problem(shown: str, other: str) -> Problem:
    found = f'"{shown}" without a unit would be {shown} cm'
    return Problem(found, _LENGTH_ALLOWED, f'write "{shown} {other}" or "{shown} cm"')


def format_length(length_m: float, unit: LengthUnit) -> str:
    """A length for people: whole millimetres ("61 cm", "61.5 cm") or hundredths of an inch ("24 in")."""
    value, digits = (length_m * 100, 1) if unit == "cm" else (length_m / METRES_PER_INCH, 2)
    text = f"{value:.{digits}f}".rstrip("0").rstrip(".")
    return f"{'0' if text == '-0' else text} {unit}"


def format_length_exact(length_m: float, unit: LengthUnit = "cm") -> str:
    """A length that ``parse_length`` reads back to the same float, in metres where the unit cannot."""
    value = 100 * length_m if unit == "cm" else length_m / METRES_PER_INCH
    tries = (round(value, 9), value, math.nextafter(value, 0.0), math.nextafter(value, math.inf))
    texts = (f"{_plain(number)} {unit}" for number in tries)
    return next((text for text in texts if parse_length(text) == length_m), f"{_plain(length_m)} m")


def _plain(value: float) -> str:
    """The shortest decimal text of a number, without an exponent."""
    from decimal import Decimal

    text = format(Decimal(repr(float(value))), "f")
    return text.rstrip("0").rstrip(".") if "." in text else text


def _length_problem(shown: str) -> Problem:
    found = f'"{shown}" is not a length'
    if not shown:
        return Problem("the length is empty", _LENGTH_ALLOWED, 'for example "61 cm"')
    if re.search(r"[0-9]\s*/\s*[0-9]", shown):
        return Problem(found, _LENGTH_ALLOWED, 'write fractions as decimals: "23.5 in"')
    if marked := re.match(r"[+-]?[0-9.,]*[0-9][.,][0-9]+[.,][0-9]+", shown):
        if not _THOUSANDS.fullmatch(marked[0]):
            return Problem(found, _LENGTH_ALLOWED, 'one decimal mark: "61.5 cm"')
        together = digits_together(marked[0], ".") + shown[marked.end() :]
        return Problem(found, _LENGTH_ALLOWED, f'write no marks between thousands: "{together}"')
    if len(re.findall(r"[0-9]+(?:[.,][0-9]+)?", shown)) > 1:
        return Problem(found, _LENGTH_ALLOWED, 'one number and one unit: "30 in" instead of 2 ft 6 in')
    return Problem(found, _LENGTH_ALLOWED, 'for example "61 cm"')


_TIME_FORM: Final = re.compile(
    r"(?P<hour>[0-9]{1,2})"
    r"(?:[:.h](?P<minute>[0-9]{2})(?::(?P<second>[0-9]{2})(?:[.,](?P<decimals>[0-9]{1,1000}))?)?)?"
    r" ?(?P<half>[ap]\.?m\.?)? ?(?P<next>\+1)?"
)
_TIME_ALLOWED: Final = '"HH:MM", and "HH:MM+1" past midnight'
_SPACES: Final = re.compile(r"[\s\u00a0\u2009\u202f]+")


def parse_time(value: object) -> float:
    """A time of the day; "02:00+1" is 26, "24:00" is 24 (whether an end is meant, the caller knows). [h]

    Accepts "7:30", "07:30", "7.30", "7h30", "7:30 am", "7 am", seconds as "07:30:15", and TOML local times.
    """
    if isinstance(value, datetime.time):
        micros = ((value.hour * 60 + value.minute) * 60 + value.second) * 1_000_000 + value.microsecond
        return micros / 3_600_000_000
    if not isinstance(value, str):
        raise UnitProblem(_bare_time_problem(value))
    shown = value.strip()
    form = _TIME_FORM.fullmatch(_SPACES.sub(" ", shown).lower())
    if form is None or (form["minute"] is None and form["half"] is None):
        raise UnitProblem(_time_problem(shown))
    hour = int(form["hour"])
    minute, second = int(form["minute"] or 0), int(form["second"] or 0)
    if minute > 59 or second > 59:
        raise UnitProblem(Problem(f'"{shown}" has more than 59 minutes or seconds', _TIME_ALLOWED))
    if form["half"]:
        if not 1 <= hour <= 12:
            raise UnitProblem(
                Problem(f'"{shown}": hours go from 1 to 12 with am or pm', cure="write the time in 24 hours")
            )
        hour = hour % 12 + (12 if form["half"].startswith("p") else 0)
    decimals = form["decimals"] or ""
    scale: int = 10 ** len(decimals)
    ticks = (hour * 3600 + minute * 60 + second) * scale + int(decimals or 0)
    if ticks > 86400 * scale or (form["next"] and ticks >= 86400 * scale):
        raise UnitProblem(_late_problem(shown, hour, form["minute"] or "00"))
    if form["next"]:
        ticks += 86400 * scale
    return ticks / (3600 * scale)  # a quotient of integers is rounded once: format_time_exact relies on it


def format_time(time_h: float) -> str:
    """A time for people, 24 h, to the minute: 7.5 is "07:30", 24 is "24:00", 26 is "02:00+1"."""
    minutes = round(time_h * 60)
    day = "" if minutes <= 1440 else "+1"
    minutes -= 1440 if day else 0
    return f"{minutes // 60:02d}:{minutes % 60:02d}{day}"


def format_time_exact(time_h: float) -> str:
    """The shortest text, 24 h, that ``parse_time`` reads back to the same float; 24 is "00:00+1"."""
    numerator, denominator = float(time_h).as_integer_ratio()
    decimals = 0
    while True:
        scale = 10**decimals
        ticks = (2 * numerator * 3600 * scale + denominator) // (2 * denominator)  # rounded to the tick
        if ticks / (3600 * scale) == time_h:
            break
        decimals += 1
    next_day, ticks = divmod(ticks, 86400 * scale)
    seconds, fraction = divmod(ticks, scale)
    text = f"{seconds // 3600:02d}:{seconds // 60 % 60:02d}"
    if seconds % 60 or fraction:
        text += f":{seconds % 60:02d}"
    if fraction:
        text += f".{fraction:0{decimals}d}"
    return text + ("+1" if next_day else "")


def _bare_time_problem(value: object) -> Problem:
    found = f"{value!r} is not a time"
    if isinstance(value, float) and 0 <= value < HOURS_PER_DAY:
        readings = [format_time(value)]
        hour, clock_minute = divmod(round(value * 100), 100)
        if clock_minute < 60 and f"{hour:02d}:{clock_minute:02d}" not in readings:
            readings.append(f"{hour:02d}:{clock_minute:02d}")
        cure = "write " + " or ".join(f'"{text}"' for text in readings) + ", in quotes"
        return Problem(f"{value!r} is a bare number, not a time", _TIME_ALLOWED, cure)
    if isinstance(value, int) and not isinstance(value, bool) and 0 <= value <= HOURS_PER_DAY:
        return Problem(f"{value} is a bare number, not a time", _TIME_ALLOWED, f'write "{value:02d}:00"')
    return Problem(found, _TIME_ALLOWED, 'write it in quotes, such as "07:30"')


def _time_problem(shown: str) -> Problem:
    found = f'"{shown}" is not a time'
    if not shown:
        return Problem("the time is empty", _TIME_ALLOWED)
    if re.fullmatch(r"[0-9]{3,4}", shown):
        return Problem(f'"{shown}" has no colon', _TIME_ALLOWED, _write(f"{shown[:-2]:0>2}:{shown[-2:]}"))
    if hours := re.fullmatch(r"([0-9]{1,2}) ?h?", shown.lower()):
        cure = _write(f"{hours[1]:0>2}:00", f"{hours[1]} am")
        return Problem(f'"{shown}" has no minutes', _TIME_ALLOWED, cure)
    if short := re.fullmatch(r"([0-9]{1,2})[:.,h]([0-9])", shown):
        hour, digit = short.groups()
        cure = _write(f"{hour:0>2}:0{digit}", f"{hour:0>2}:{digit}0")
        return Problem(f'"{shown}" has one digit for the minutes', _TIME_ALLOWED, cure)
    if is_number(shown):
        return Problem(
            f'"{shown}" is a bare number, not a time',
            _TIME_ALLOWED,
            "in a spreadsheet, format the column as time hh:mm and save again",
        )
    if "+" in shown:
        return Problem(found, _TIME_ALLOWED, 'only one day further is possible: "02:00+1"')
    return Problem(found, _TIME_ALLOWED, 'for example "07:30" or "7:30 am"')


def _write(*texts: str) -> str:
    """The cure that names those of some texts that are times."""
    times = []
    for text in texts:
        try:
            parse_time(text)
        except UnitProblem:
            continue
        times.append(f'"{text}"')
    return f"write {' or '.join(times)}" if times else "hours go up to 24, minutes up to 59"


def _late_problem(shown: str, hour: int, minute: str) -> Problem:
    if 24 <= hour < 48 and "+1" not in shown:
        return Problem(
            f'"{shown}" is past the end of the day',
            'up to "24:00", and "HH:MM+1" past midnight',
            f'write "{hour - 24:02d}:{minute}+1"',
        )
    return Problem(f'"{shown}" is past the end of the day', 'up to "24:00", and "23:59+1" past midnight')


_BREAKS: Final = "[\\u0000-\\u001f\\u007f-\\u009f\\u2028\\u2029]"
NAME: Final[Mapping[str, Any]] = {
    "type": "string",
    "maxLength": LONGEST_TEXT,
    "pattern": "\\S",
    "not": {"pattern": _BREAKS},
}
"""Text of one line that is not blank."""

AMBIGUOUS_LENGTH: Final = r"^\s*[+-]?[1-9][0-9]{0,2},[0-9]{3}\s*[^0-9\s]"
"""A comma that may part thousands or decimals, such as "1,234 mm"."""

BELOW_ZERO: Final = r"^\s*-[0-9.,]*[1-9]"
ZERO: Final = r"^\s*[+-]?[0.,]+\s*[^0-9.,\s]"

DATE: Final[Mapping[str, Any]] = {
    "type": "string",
    "pattern": "^[0-9]{4}-?([0-9]{2}-?[0-9]{2}|W[0-9]{2}(-?[1-7])?)$",
}

_MINUTES: Final = r"[:.hH][0-5][0-9](:[0-5][0-9]([.,][0-9]+)?)?"
TIME: Final[Mapping[str, Any]] = {
    "type": "string",
    "pattern": (
        rf"^\s*(([01]?[0-9]|2[0-3]){_MINUTES}(\s*\+1)?"
        r"|24[:.hH]00(:00([.,]0+)?)?"
        rf"|(0?[1-9]|1[0-2])({_MINUTES})?\s*[aApP]\.?[mM]\.?(\s*\+1)?)\s*$"
    ),
}
"""A time of the day as ``units.parse_time`` reads it; the time type of TOML reaches an editor as its text."""


@cache
def length_pattern() -> str:
    """A number with one of the units of ``units.parse_length``."""
    units = "|".join(_either_case(unit) for unit in sorted(LENGTH_UNITS, key=len, reverse=True))
    return rf"^\s*[+-]?([0-9]+([.,][0-9]*)?|[.,][0-9]+)\s*({units})\s*$"


def words(known: Iterable[str]) -> dict[str, Any]:
    """One of a few words, whatever their capitals; an editor offers them."""
    known = list(known)
    pattern = f"^({'|'.join(_either_case(word) for word in known)})$"
    return {"anyOf": [{"enum": known}, {"type": "string", "pattern": pattern}]}


def between(low: float, high: float, *, above: bool = False) -> dict[str, Any]:
    """A number from ``low`` (or above it) to ``high``."""
    return {"type": "number", "exclusiveMinimum" if above else "minimum": low, "maximum": high}


def number_or(low: float, high: float, *known: str, above: bool = False) -> dict[str, Any]:
    """A number of a range, or one of a few words to the letter."""
    return {"anyOf": [between(low, high, above=above), {"enum": list(known)}]}


def pairs(
    left: Mapping[str, Any],
    right: Mapping[str, Any],
    *,
    least: int,
    most: int | None = None,
    first: Mapping[str, Any] | None = None,
) -> dict[str, Any]:
    """A list of points [left, right]; ``first`` is what its first point must be."""
    every = two(left, right)
    found: dict[str, Any] = {"type": "array", "items": every, "minItems": least}
    if first is not None:
        found |= {"items": [first], "additionalItems": every}
    return found | ({} if most is None else {"maxItems": most})


def two(left: Mapping[str, Any], right: Mapping[str, Any]) -> dict[str, Any]:
    """A list of two."""
    return {"type": "array", "items": [left, right], "minItems": 2, "maxItems": 2}


def _either_case(text: str) -> str:
    """A pattern for ``text`` in any capitals; a space stands for one or more, as readers of words take it."""
    return "".join(
        f"[{c.upper()}{c}]" if c.isascii() and c.isalpha() else r"\s+" if c == " " else re.escape(c)
        for c in text.lower()
    )
