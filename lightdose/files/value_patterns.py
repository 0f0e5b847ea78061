"""Names, lengths, times and words as JSON Schema says them, for the editors of keepers.

Patterns keep to what every engine knows: no look-around, no flags. tests/files/test_editor_schema.py holds
them to the readers of ``units`` and ``toml_tables``, which decide.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from functools import cache
from typing import Any, Final

from lightdose.files.units import LENGTH_UNITS

_BREAKS: Final = "[\\u0000-\\u001f\\u007f-\\u009f\\u2028\\u2029]"
NAME: Final[Mapping[str, Any]] = {"type": "string", "pattern": "\\S", "not": {"pattern": _BREAKS}}
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
