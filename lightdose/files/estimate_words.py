"""The counter question as typed on the command line."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final, Literal

from lightdose.errors import Problem, ReadingsError
from lightdose.files.readings_csv import PLAUSIBLE
from lightdose.files.toml_tables import show, suggestion
from lightdose.files.units import UnitProblem, parse_length, parse_number
from lightdose.model.coral import CoralGroup
from lightdose.model.estimate import Question, Where, WhiteAmount
from lightdose.model.readings import ReadsQuantity
from lightdose.model.record import dataclass
from lightdose.quantities import HOURS_PER_DAY

DEFAULT_RAMP_H = 1.0
"""Rise and fall of a day that says nothing about them: our choice."""

DEEPEST_M = 5.0
LAMP_LOW_M, LAMP_HIGH_M = 0.01, 3.0

_UNIT: Final[Mapping[ReadsQuantity, str]] = {"umol": "umol m-2 s-1", "lux": "lx"}


@dataclass(frozen=True)
class QuestionWords:
    """Every option as typed; None where it was left out."""

    reading: str
    unit: ReadsQuantity
    where: Where
    white: WhiteAmount
    hours: str
    ramp: str | None = None
    depth: str | None = None
    lamp_height: str | None = None
    immersion: str | None = None


def question_from_words(words: QuestionWords) -> Question:
    """The question, checked.

    Raises
    ------
    ReadingsError
        With everything that cannot be used.
    """
    problems: list[Problem] = []

    def read(option: str, text: str, parse: Callable[[str], float]) -> float | None:
        try:
            return parse(text)
        except UnitProblem as trouble:
            found = trouble.problem
            problems.append(Problem(f"{option} {found.found}", found.allowed, found.cure))
            return None

    reading = read("--reading", words.reading, _number)
    hours = read("--hours", words.hours, _number)
    ramp = None if words.ramp is None else read("--ramp", words.ramp, _number)
    depth = None if words.depth is None else read("--depth", words.depth, parse_length)
    height = None if words.lamp_height is None else read("--lamp-height", words.lamp_height, parse_length)
    if reading is not None:
        problems += _reading_problems(reading, words.unit)
    if hours is not None:
        problems += _day_problems(hours, ramp)
    if depth is not None and not 0 <= depth <= DEEPEST_M:
        problems.append(Problem(f"--depth {show(words.depth)} is outside the range", f"0 to {DEEPEST_M:g} m"))
    if height is not None and not LAMP_LOW_M <= height <= LAMP_HIGH_M:
        allowed = f"{100 * LAMP_LOW_M:g} cm to {LAMP_HIGH_M:g} m above the water"
        problems.append(Problem(f"--lamp-height {show(words.lamp_height)} is outside the range", allowed))
    if words.lamp_height is not None and (words.where == "water" or words.depth is None):
        found = "--lamp-height helps to carry a reading in the air down to a coral"
        problems.append(Problem(found, "together with --where air and --depth"))
    immersion = _immersion(words, problems)
    if problems or reading is None or hours is None:
        raise ReadingsError(*problems)
    assumed = ramp is None
    return Question(
        reading=reading,
        unit=words.unit,
        where=words.where,
        white=words.white,
        hours_h=hours,
        ramp_h=min(DEFAULT_RAMP_H, hours / 2) if ramp is None else ramp,
        immersion=immersion,
        depth_m=depth,
        lamp_height_m=height,
        ramp_assumed=assumed,
    )


def _number(text: str) -> float:
    """A number with a decimal point or comma: one number alone cannot be mistaken for two."""
    shown = text.strip()
    if "," in shown and "." not in shown and len(shown.rpartition(",")[2]) != 3:
        return parse_number(shown, ",")
    return parse_number(shown)


def _reading_problems(reading: float, unit: ReadsQuantity) -> list[Problem]:
    if not reading > 0:
        cure = "0 says that no light fell on the sensor" if reading == 0 else ""
        return [Problem(f"the reading {reading:g} is not above 0", f"above 0 {_UNIT[unit]}", cure)]
    if reading <= PLAUSIBLE[unit]:
        return []
    lux = unit == "umol" and reading <= PLAUSIBLE["lux"]
    times = "" if unit == "lux" else f": {reading / 2000:.0f} times full sun"
    return [
        Problem(
            f"the reading {reading:.10g} {_UNIT[unit]} is above any plausible light{times}",
            f"up to {PLAUSIBLE[unit]:g} {_UNIT[unit]}",
            f"this looks like lux: write --unit lux --reading {reading:.10g}" if lux else "",
        )
    ]


def _day_problems(hours: float, ramp: float | None) -> list[Problem]:
    problems = []
    if not 0 < hours <= HOURS_PER_DAY:
        problems.append(Problem(f"--hours {hours:g} is not a day's light", "above 0, to 24"))
    each = "for the rise and for the fall each"
    if ramp is not None and ramp < 0:
        problems.append(Problem(f"--ramp {ramp:g} is negative", f"0 or more hours, {each}"))
    elif ramp is not None and 2 * ramp > hours > 0:
        problems.append(
            Problem(
                f"--ramp {ramp:g} twice is longer than the {hours:g} h of light",
                f"0 to {hours / 2:g} h, {each}",
                "--hours counts from the first light to the last, ramps included",
            )
        )
    return problems


def _immersion(
    words: QuestionWords, problems: list[Problem]
) -> float | Literal["built in", "unknown"] | None:
    said = words.immersion
    if words.where == "air":
        if said is not None:
            problems.append(Problem("--immersion is for readings under water", "together with --where water"))
        return None
    if said is None or said == "unknown":
        return "unknown"
    if said == "built in":
        return "built in"
    allowed = 'a factor 1 to 2, "built in", or "unknown"'
    try:
        factor = _number(said)
    except UnitProblem:
        problems.append(Problem(f"--immersion {show(said)} is not known here", allowed))
        return None
    if not 1 <= factor <= 2:
        problems.append(Problem(f"--immersion {factor:g} is outside the range", allowed))
    return factor


def group_from_word(word: str, groups: Mapping[str, CoralGroup]) -> CoralGroup:
    """The group of that key, or of that genus.

    Raises
    ------
    ReadingsError
        If there is none; names the nearest.
    """
    if word in groups:
        return groups[word]
    of_genus = {genus.casefold(): group for group in groups.values() for genus in group.genera}
    if (group := of_genus.get(word.casefold())) is not None:
        return group
    cure = suggestion(word, [*groups, *(g for group in groups.values() for g in group.genera)])
    raise ReadingsError(
        Problem(
            f"--group {show(word)} is no coral group and no genus of one",
            ", ".join(groups),
            cure or "`lightdose groups` lists them with their genera",
        )
    )
