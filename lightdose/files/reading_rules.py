"""What holds for readings wherever they are given: units, what a meter can show, and what pairs share."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from typing import Final

from lightdose.errors import Problem
from lightdose.files.programme_rules import SUGGESTED
from lightdose.files.toml_tables import show, suggestion
from lightdose.files.units import format_length, format_time
from lightdose.model.setup import Tank
from lightdose.model.spectrum import READING_UNITS, Meter, Reading, ReadsQuantity

PLAUSIBLE: Final[Mapping[ReadsQuantity, float]] = {"umol": 6000.0, "lux": 400_000.0}
"""Largest reading that is taken: three times full sun, our choice."""
FAINTEST: Final[Mapping[ReadsQuantity, float]] = {"umol": 0.001, "lux": 0.01}
"""Least reading above 0 that is taken: meters show no less but their noise, our choice."""
END_OF_RANGE: Final = 0.98
"""From this share of a meter's range on, a reading stands at its end: our choice."""


def sole_meter(meters: Mapping[str, Meter], unit: ReadsQuantity) -> str | None:
    """The one meter of the setup that reads this unit; None where there is none, or a choice."""
    fitting = [name for name, meter in meters.items() if meter.reads == unit]
    return fitting[0] if len(fitting) == 1 else None


# ---- the range of a meter ------------------------------------------------------------------------------


def range_problem(value: float, meter: Meter) -> Problem | None:
    """What is wrong with a reading above the range of the meter that showed it; None if nothing is."""
    if meter.reads_up_to is None or value <= meter.reads_up_to:
        return None
    found = f"the reading {value:g} is above the range of meter {show(meter.name)}"
    allowed = f"up to {meter.reads_up_to:g} {READING_UNITS[meter.reads]} (reads_up_to)"
    return Problem(found, allowed, "move the sensor down or dim the light, and read again")


def range_sentence(value: float, meter: Meter) -> str | None:
    """What to know of a reading at the very end of its meter's range; None elsewhere."""
    if meter.reads_up_to is None or value < END_OF_RANGE * meter.reads_up_to:
        return None
    return (
        f"{value:g} is at the end of the range of {meter.name} ({meter.reads_up_to:g} "
        f"{READING_UNITS[meter.reads]}): the light may be stronger than it shows"
    )


# ---- above the water -----------------------------------------------------------------------------------

BESIDE_TANK_M, HIGHEST_M = 1.0, 20.0
"""So far beside the tank, and so high, a sensor in the air may be: our choice; no lamp hangs higher."""


def air_problems(x_m: float, y_m: float, height_m: float, tank: Tank) -> list[Problem]:
    """What is odd about a place above the water, height up from the surface. [m]"""
    spans = [("x", x_m, -BESIDE_TANK_M, tank.length_m + BESIDE_TANK_M)]
    spans += [("y", y_m, -BESIDE_TANK_M, tank.width_m + BESIDE_TANK_M)]
    spans += [("the height", height_m, 0.0, HIGHEST_M)]
    return [
        Problem(
            f"{axis} {format_length(at_m, 'cm')} is far from the tank",
            f"{format_length(low_m, 'cm')} to {format_length(high_m, 'cm')}",
            "give lengths in cm, or with their unit",
        )
        for axis, at_m, low_m, high_m in spans
        if not low_m <= at_m <= high_m
    ]


# ---- pairs ---------------------------------------------------------------------------------------------


def pair_problems(readings: Iterable[Reading], rows_of: Mapping[str, int]) -> list[Problem]:
    """Pairs that calibrate no meter against another.

    Parameters
    ----------
    readings : with the place of the cell that names the pair
    rows_of : text of a pair -> rows of the file that name it, those included that cannot be read
    """
    pairs: dict[str, list[Reading]] = {}
    for reading in readings:
        if reading.pair is not None:
            pairs.setdefault(reading.pair, []).append(reading)
    problems: list[Problem] = []
    for name, members in pairs.items():
        first, *others = members
        if rows_of[name] == 1:
            known = [n for n in rows_of if n != name] if len(problems) < SUGGESTED else []
            problems.append(_single(first, known))
        for other in others:
            problems += _apart(first, other)
        problems += _same_meter(members)
    return problems


def _single(reading: Reading, known: Sequence[str]) -> Problem:
    cure = "write it in the row of the other meter too, or leave it out here"
    found = f"the pair {show(reading.pair)} has one row only"
    near = suggestion(reading.pair or "", known)
    return Problem(found, "two rows or more, each with a meter of its own", near or cure, reading.place)


def _apart(first: Reading, other: Reading) -> list[Problem]:
    """In what two readings of a pair differ although they must not."""
    differ = []
    if (other.site, other.x_m, other.y_m, other.depth_m) != (first.site, first.x_m, first.y_m, first.depth_m):
        differ.append(("was read at another place", _spot(other), _spot(first), "one spot"))
    if (other.time_h, _lit(other)) != (first.time_h, _lit(first)):
        allowed = "one time, or the same levels,"
        differ.append(("was read under other light", _light(other), _light(first), allowed))
    if other.date and first.date and other.date != first.date:
        differ.append(("is of another date", other.date, first.date, "one date"))
    return [
        Problem(
            f"this row of the pair {show(other.pair)} {what}: {here}; line {first.place.line}: {there}",
            f"{allowed} in all rows of a pair",
            "mend the row, or give it a pair of its own",
            other.place,
        )
        for what, here, there, allowed in differ
    ]


def _spot(reading: Reading) -> str:
    if reading.site is not None:
        return reading.site
    x, y, depth = (format_length(v, "cm") for v in (reading.x_m, reading.y_m, reading.depth_m))
    return f"x {x}, y {y}, depth {depth}"


def _lit(reading: Reading) -> dict[tuple[str, str], float]:
    return {name: level for name, level in (reading.levels or {}).items() if level > 0}


def _light(reading: Reading) -> str:
    if reading.time_h is not None:
        return format_time(reading.time_h)
    shown = [f"{fixture}/{channel} {100 * level:g} %" for (fixture, channel), level in _lit(reading).items()]
    return ", ".join(shown[:4]) + (f" and {len(shown) - 4} more" if len(shown) > 4 else "")


def _same_meter(members: Sequence[Reading]) -> list[Problem]:
    problems: list[Problem] = []
    seen: dict[tuple[str | None, str], Reading] = {}
    for reading in members:
        earlier = seen.setdefault((reading.meter, reading.unit), reading)
        if earlier is not reading:
            what = f"with meter {show(reading.meter)}" if reading.meter else "without a meter's name"
            found = f"the pair {show(reading.pair)} has a row {what} already, line {earlier.place.line}"
            cure = "name the other meter, or take the pair out of this row"
            problems.append(Problem(found, "each meter once in a pair", cure, reading.place))
    return problems


# ---- dates ---------------------------------------------------------------------------------------------


def dates_sentence(readings: Sequence[Reading]) -> str | None:
    """That readings are of several dates, and what is made of it; None where they are not."""
    dates = Counter(reading.date for reading in readings)
    undated = dates.pop(None, 0)
    if len(dates) < 2:
        return None
    counts = [f"{count} of {date}" for date, count in sorted(dates.items(), key=lambda item: str(item[0]))]
    counts += [f"{undated} without a date"] if undated else []
    return f"readings of {len(dates)} dates: {', '.join(counts)}: taken as one state of the lamps"
