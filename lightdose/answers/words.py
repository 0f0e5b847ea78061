"""Words, numbers and units as people read them, and programmes in words."""

from __future__ import annotations

import math
import os
from collections.abc import Iterable, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.errors import literal
from lightdose.model.results import DliState
from lightdose.model.setup import LengthUnit, Setup
from lightdose.quantities import METRES_PER_INCH

STATE_WORDS: Final[Mapping[DliState, str]] = {
    "far_below": "far below usual",
    "below": "below usual",
    "within": "within common practice",
    "above": "above usual",
    "far_above": "far above usual",
    "not_judged": "not judged by light",
}

USABLE_SHARE: Final = "usable share (lowest-highest of nine published curves), not growth"
"""How the share of light that symbionts use is called; its default is the mean of five of the curves."""

DLI_UNIT: Final = "mol/m2/day"
PPFD_UNIT: Final = "umol/m2/s"
DLI_UNIT_TYPESET: Final = "mol m⁻² d⁻¹"
PPFD_UNIT_TYPESET: Final = "µmol m⁻² s⁻¹"
SPECTRAL_UNIT_TYPESET: Final = "µmol m⁻² s⁻¹ nm⁻¹"
"""ASCII units for terminals, typeset ones for figures and HTML."""


_UNITS: Final[Mapping[str, tuple[str, str]]] = {
    "mol m-2 d-1": (DLI_UNIT, DLI_UNIT_TYPESET),
    "umol m-2 s-1": (PPFD_UNIT, PPFD_UNIT_TYPESET),
    "umol J-1": ("umol/J", "µmol J⁻¹"),
    "kWh d-1": ("kWh/day", "kWh d⁻¹"),
}


def ascii_unit(unit: str) -> str:
    """A unit as terminals show it."""
    return _UNITS.get(unit, (unit, unit))[0]


def typeset_unit(unit: str) -> str:
    """A unit as pages and figures set it."""
    return _UNITS.get(unit, (unit, unit))[1]


def typeset(text: str) -> str:
    """A sentence of ours as pages set it: units in type, on one line, and no line break before a "%"."""
    units = ((PPFD_UNIT, PPFD_UNIT_TYPESET), (DLI_UNIT, DLI_UNIT_TYPESET), ("umol/J", "µmol J⁻¹"))
    for plain, unit in units:
        text = text.replace(plain, unit.replace(" ", "\u00a0"))
    return text.replace(" %", "\u00a0%")


def number(value: float, digits: int = 3) -> str:
    """``value`` with so many significant digits, never in powers of ten; large ones keep their integers."""
    if value == 0 or not math.isfinite(value):
        return "0" if value == 0 else "-"
    magnitude = math.floor(math.log10(abs(value)))
    decimals = max(0, min(digits - 1 - magnitude, 2 if magnitude >= -1 else 3))
    text = f"{value:.{decimals}f}"
    return "below 0.001" if float(text) == 0 else text


def factor_words(factor: float) -> str:
    """A 95 % factor in words: "within 9 %", "a factor of 2.1"."""
    return f"within {100 * (factor - 1):.0f} %" if factor < 1.5 else f"a factor of {number(factor, 2)}"


def named(names: Sequence[str]) -> str:
    """Names in a sentence: "a", "a and b", "a, b and c"."""
    *first, last = names
    return f"{', '.join(first)} and {last}" if first else last


def hours(value: float) -> str:
    """Hours to the tenth, "-" where there are none to state."""
    return f"{value:.1f}" if math.isfinite(value) else "-"


def range_text(low: float, high: float) -> str:
    """A range such as "8-15" or "2.5-5.5"."""
    return f"{low:g}-{high:g}"


def clock(time_h: float) -> str:
    """A time of the day's programme to the minute: "08:30", past midnight "02:00+1"; the end is "24:00"."""
    minutes = round(time_h * 60)
    past = minutes > 24 * 60
    minutes -= 24 * 60 if past else 0
    return f"{minutes // 60:02d}:{minutes % 60:02d}{'+1' if past else ''}"


def length(metres: float, unit: LengthUnit) -> str:
    """A length's number in centimetres or inches, to the millimetre or the twentieth of an inch."""
    value = metres * 100 if unit == "cm" else metres / METRES_PER_INCH
    return f"{round(value, 1) + 0.0:.1f}".removesuffix(".0")


def lengths(metres: Iterable[float], unit: LengthUnit) -> str:
    """Several lengths in one cell, such as a place's "22, 24, 9.5"."""
    return ", ".join(length(m, unit) for m in metres)


def percent(fraction: float) -> str:
    """A share such as "52 %"."""
    return f"{100 * fraction:.0f} %"


def percent_words(level: float) -> str:
    """A level in percent to two decimals at most: "12.8", "55"."""
    return f"{round(100 * level, 2) + 0.0:g}"


def count(n: int, one: str, many: str = "") -> str:
    """A counted noun: "1 coral", "8 corals"."""
    return f"{n} {one if n == 1 else many or one + 's'}"


def as_typed(path: str) -> str:
    """A path or name as it is typed in a command: quoted where a shell would part or change it."""
    import re
    import shlex

    windows = os.name == "nt"  # where a backslash parts folders, and no name holds a quotation mark
    if re.fullmatch(r"(?!~)[\w./\\:@%+,=~-]+", path) and (windows or "\\" not in path):
        return path
    return f'"{path}"' if windows or not re.search(r'[$`"\\!]', path) else shlex.quote(path)


def percent_text(percent: float) -> str:
    """A level in percent as a controller shows it: to a tenth."""
    return f"{percent:.1f}".removesuffix(".0")


def span_of_hours(value: float) -> str:
    """Hours and minutes of a part of the day, such as "3:30 h"."""
    minutes = round(60 * value)
    return f"{minutes // 60}:{minutes % 60:02d} h"


def typed_path(setup: Setup) -> str:
    """The setup's file as it is typed in a command."""
    path = setup.path or "setup.toml"
    return as_typed(f"./{path}" if path.startswith("-") else path)


def path_from(setup: Setup, file: Path) -> str:
    """A file as the setup must name it: paths there start from the setup's own folder."""
    try:
        relative = os.path.relpath(file, os.path.dirname(os.path.abspath(setup.path)))
    except ValueError:  # another drive
        relative = os.path.abspath(file)
    return relative.replace(os.sep, "/")


def schedule_json(fixture: str, file: Path | None) -> dict[str, Any]:
    """A fixture and its schedule; null where none was written."""
    return {"fixture": fixture, "file": None if file is None else str(file.absolute())}


def try_schedules(setup: Setup, files: Mapping[str, Path], *, in_steps: bool = False) -> str:
    """The command that tries schedules by fixture, or goes there in steps where the change is too big.

    One schedule for the only fixture goes into the command; several are named in the setup first.
    """
    path, typed = setup.path or "setup.toml", typed_path(setup)
    if len(files) == len(setup.fixtures) == 1:
        schedule = f"--schedule {as_typed(str(next(iter(files.values()))))}"
        if in_steps:
            return f"lightdose acclimate {typed} {typed} {schedule} -o steps"
        return f"lightdose dose {typed} {schedule}"
    named = ", ".join(
        f'schedule = "{path_from(setup, file)}" under fixture "{literal(name)}"'
        for name, file in files.items()
    )
    if in_steps:
        return f"in a copy of {path} set {named}; then lightdose acclimate {typed} COPY -o steps"
    return f"in {path} set {named}; then lightdose dose {typed}"


def joined_ends(name: str, longest: int) -> str:
    """A name of at most so many letters: its start and its end."""
    if len(name) <= longest:
        return name
    tail = longest // 3
    return f"{name[: longest - tail - 1].rstrip()}…{name[len(name) - tail :].lstrip()}"
