"""What is typed on the command line: a reading, a question at the counter, a keeper's own case."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from lightdose.errors import Place, Problem, ReadingsError, SetupError
from lightdose.files.reading_rules import PLAUSIBLE, air_problems, range_problem, sole_meter
from lightdose.files.readings_csv import check_sites
from lightdose.files.toml_tables import show, suggestion
from lightdose.files.units import (
    UnitProblem,
    format_length,
    is_number,
    parse_number,
    parse_time,
    typed_length,
    typed_place,
)
from lightdose.model.changes import Case, Change
from lightdose.model.setup import WALL_NAMES, Setup, Tank, WallKind
from lightdose.model.shop import Question, Where, WhiteAmount
from lightdose.model.spectrum import READING_UNITS, Immersion, Meter, Reading, ReadsQuantity
from lightdose.quantities import HOURS_PER_DAY

DEFAULT_RAMP_H: Final = 1.0
"""Rise and fall of a day that says nothing about them: our choice."""

DEEPEST_M: Final = 5.0
LAMP_LOW_M, LAMP_HIGH_M = 0.01, 3.0

_AIR_ALLOWED: Final = 'three lengths: "22 cm, 22 cm, 15 cm" from the left, from the front, above the water'


def typed_number(words: str) -> float:
    """A number with a decimal point or comma; "1,250" may be either, so it is refused."""
    words = words.strip()
    if re.fullmatch(r"[1-9][0-9]{0,2},[0-9]{3}", words):
        plain = words.replace(",", "")
        found = f'"{words}" can be read as {words.replace(",", ".")} or as {plain}'
        raise UnitProblem(Problem(found, cure=f"write {plain}, or {words}0 if the comma is decimal"))
    return parse_number(words, "," if "," in words and "." not in words else ".")


def typed_immersion(words: str) -> Immersion:
    """A factor 1 to 2, "built in" or "unknown"; UnitProblem for anything else."""
    if words == "built in":
        return "built in"
    if words == "unknown":
        return "unknown"
    allowed = 'a factor 1 to 2, "built in", or "unknown"'
    try:
        factor = typed_number(words)
    except UnitProblem:
        raise UnitProblem(Problem(f"--immersion {show(words)} is not known here", allowed)) from None
    if not 1 <= factor <= 2:
        raise UnitProblem(Problem(f"--immersion {factor:g} is outside the range", allowed))
    return factor


def _value_problems(value: float, unit: ReadsQuantity) -> list[Problem]:
    """What is wrong with what a meter is said to show."""
    shown = READING_UNITS[unit]
    if not value > 0:
        cure = "0 says that no light fell on the sensor" if value == 0 else ""
        return [Problem(f"the reading {value:g} is not above 0", f"above 0 {shown}", cure)]
    if value <= PLAUSIBLE[unit]:
        return []
    suns = f": {value / 2000:.0f} times full sun" if unit == "umol" else ""
    found = f"the reading {value:.10g} {shown} is above any plausible light{suns}"
    lux = unit == "umol" and value <= PLAUSIBLE["lux"]
    cure = "this looks like lux: write --unit lux" if lux else ""
    return [Problem(found, f"up to {PLAUSIBLE[unit]:g} {shown}", cure)]


# ---- meter -----------------------------------------------------------------------------------------------


def typed_reading(
    setup: Setup,
    words: str,
    *,
    site: str | None,
    air: str | None,
    time: str | None,
    unit: ReadsQuantity | None,
    meter: str | None,
) -> Reading:
    """A reading at a site of the setup, or above the water.

    Raises
    ------
    ReadingsError
        With what cannot be understood.
    """
    try:
        value = typed_number(words)
        time_h = None if time is None else parse_time(time)
    except UnitProblem as trouble:
        raise ReadingsError(trouble.problem) from None
    name, quantity = _meter(setup, meter, unit)
    if problems := _value_problems(value, quantity):
        raise ReadingsError(*problems)
    if name is not None and (beyond := range_problem(value, setup.meters[name])):
        raise ReadingsError(beyond)
    if site is None:
        spot = _above_water(air or "", setup.tank)
    else:
        check_sites(setup, (site,), "--site")
        place = next(s for s in setup.sites if s.name == site)
        spot = (place.x_m, place.y_m, place.depth_m)
    return Reading(Place(""), value, quantity, site, *spot, time_h=time_h, meter=name)


def stated_immersion(words: str, meter: Meter, *, under_water: bool) -> Immersion:
    """The immersion that the command line states for a meter that says nothing itself.

    Raises
    ------
    ReadingsError
        If the meter states its own, the reading was in air, or the words mean nothing.
    """
    if not under_water:
        raise ReadingsError(Problem("--immersion is for readings under water, and this one was in the air"))
    if meter.immersion is not None:
        stated = f'"{meter.immersion}"' if isinstance(meter.immersion, str) else f"{meter.immersion:g}"
        raise ReadingsError(
            Problem(
                f"meter {meter.name!r} states its immersion already ({stated}): it would be applied twice",
                "one statement",
                "leave --immersion out, or mend [meter] in setup.toml",
            )
        )
    try:
        return typed_immersion(words)
    except UnitProblem as trouble:
        raise ReadingsError(trouble.problem) from None


def named_meter(setup: Setup, name: str) -> Meter:
    """The meter of the setup that ``--meter`` names.

    Raises
    ------
    ReadingsError
        If there is none; names the nearest.
    """
    if name not in setup.meters:
        cure = suggestion(name, setup.meters) or f"describe it in setup.toml: [meter.{name}]"
        found = f"--meter {show(name)}: there is no such meter"
        raise ReadingsError(Problem(found, ", ".join(setup.meters), cure))
    return setup.meters[name]


def _meter(setup: Setup, named: str | None, unit: ReadsQuantity | None) -> tuple[str | None, ReadsQuantity]:
    """The meter and what it reads; without a name, the only one of the setup that reads this unit."""
    if named is None:
        quantity: ReadsQuantity = unit or "umol"
        return sole_meter(setup.meters, quantity), quantity
    meter = named_meter(setup, named)
    if unit is not None and unit != meter.reads:
        found = f"meter {show(named)} reads {meter.reads}, and --unit says {unit}"
        raise ReadingsError(Problem(found, cure="leave --unit out, or mend [meter] reads in setup.toml"))
    return named, meter.reads


def _above_water(words: str, tank: Tank) -> tuple[float, float, float]:
    parts = words.split(";") if ";" in words else words.split(",")
    if len(parts) != 3:
        raise ReadingsError(Problem(f"--air {show(words)} is no place", _AIR_ALLOWED))
    try:
        x_m, y_m, height_m = typed_place(parts)
    except UnitProblem as trouble:
        found = f"--air {show(words)} is no place: {trouble.problem.found}"
        raise ReadingsError(Problem(found, _AIR_ALLOWED, trouble.problem.cure)) from None
    if not height_m > 0:
        found = f"--air: {format_length(height_m, 'cm')} is not above the water"
        raise ReadingsError(Problem(found, _AIR_ALLOWED, "name a --site for a reading under water"))
    if far := air_problems(x_m, y_m, height_m, tank):
        raise ReadingsError(*(replace(p, found=f"--air: {p.found}") for p in far))
    return x_m, y_m, -height_m


# ---- estimate --------------------------------------------------------------------------------------------


def typed_question(
    reading: str,
    unit: ReadsQuantity,
    where: Where,
    white: WhiteAmount,
    hours: str,
    ramp: str | None = None,
    depth: str | None = None,
    lamp_height: str | None = None,
    immersion: str | None = None,
) -> Question:
    """The counter question, checked; every option as typed, None where it was left out.

    Raises
    ------
    ReadingsError
        With everything that cannot be used.
    """
    problems: list[Problem] = []

    def read(option: str, text: str | None, parse: Callable[[str], Any]) -> Any:
        try:
            return None if text is None else parse(text)
        except UnitProblem as trouble:
            found = trouble.problem
            lead = "" if option in found.found else f"{option} "
            problems.append(Problem(f"{lead}{found.found}", found.allowed, found.cure))
            return None

    value: float | None = read("--reading", reading, typed_number)
    hours_h: float | None = read("--hours", hours, typed_number)
    ramp_h: float | None = read("--ramp", ramp, typed_number)
    depth_m: float | None = read("--depth", depth, typed_length)
    height_m: float | None = read("--lamp-height", lamp_height, typed_length)
    stated: Immersion | None = read("--immersion", immersion, typed_immersion)
    if value is not None:
        problems += _value_problems(value, unit)
    if hours_h is not None:
        problems += _day_problems(hours_h, ramp_h)
    if depth_m is not None and not 0 <= depth_m <= DEEPEST_M:
        problems.append(Problem(f"--depth {show(depth)} is outside the range", f"0 to {DEEPEST_M:g} m"))
    if height_m is not None and not LAMP_LOW_M <= height_m <= LAMP_HIGH_M:
        allowed = f"{100 * LAMP_LOW_M:g} cm to {LAMP_HIGH_M:g} m above the water"
        problems.append(Problem(f"--lamp-height {show(lamp_height)} is outside the range", allowed))
    if lamp_height is not None and (where == "water" or depth is None):
        found = "--lamp-height helps to carry a reading in the air down to a coral"
        problems.append(Problem(found, "together with --where air and --depth"))
    if immersion is not None and where == "air":
        problems.append(Problem("--immersion is for readings under water", "together with --where water"))
    if problems or value is None or hours_h is None:
        raise ReadingsError(*problems)
    return Question(
        reading=value,
        unit=unit,
        where=where,
        white=white,
        hours_h=hours_h,
        ramp_h=min(DEFAULT_RAMP_H, hours_h / 2) if ramp_h is None else ramp_h,
        immersion=stated if stated is not None or where == "air" else "unknown",
        depth_m=depth_m,
        lamp_height_m=height_m,
        ramp_assumed=ramp_h is None,
    )


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


FORMS: Final = (
    "height +5 cm",
    "height 25 cm",
    "level -2 cm",
    "yellowing 0.3",
    "output -15 %",
    "channel royal blue off",
    "channel royal blue +10 points",
    "open sky 0.5",
    "back pane dark",
    "floor 0.5",
    "cover 0.9",
)
"""One example of each form; height, output and channel take a fixture's name: "height left +5 cm"."""

_OWN: Final = "yours"
_KINDS: Final[tuple[WallKind, ...]] = ("clean", "painted", "dark")


def case_from_words(words: str, setup: Setup) -> Case:
    """The case that the words mean; a name may stand before a colon.

    Raises
    ------
    SetupError
        With every part that means nothing.
    """
    head, colon, rest = words.partition(":")
    name, body = (head.strip(), rest) if colon else ("", words)
    parts = [p.strip() for p in re.split(r"\s+and\s+|;", body.replace("\N{MINUS SIGN}", "-")) if p.strip()]
    problems: list[Problem] = []
    changes: list[Change] = []
    if not parts:
        problems.append(Problem("--case is empty", _forms()))
    for part in parts:
        try:
            changes.append(_change(part, setup))
        except UnitProblem as trouble:
            problems.append(trouble.problem)
    if problems:
        raise SetupError(*problems)
    shown = name or " and ".join(parts)
    return Case(shown, tuple(changes), shown, "yours" if name else "", source=_OWN)


def _forms() -> str:
    return "; ".join(FORMS)


def _refused(part: str, found: str, allowed: str = "", cure: str = "") -> UnitProblem:
    return UnitProblem(Problem(f"--case {show(part)}: {found}", allowed, cure))


def _change(part: str, setup: Setup) -> Change:
    word, _, rest = part.partition(" ")
    if part.startswith("open sky"):
        return Change("open_sky", _number(part, part.removeprefix("open sky"), 0, 1))
    if len(parts := part.split()) == 3 and parts[1] in ("pane", "wall"):
        return _pane(part, parts[0], parts[2])
    make = _PARTS.get(word)
    if make is None:
        raise _refused(part, "means nothing here", _forms(), suggestion(word, _PARTS))
    return make(part, rest.strip(), setup)


def _number(part: str, text: str, low: float, high: float) -> float:
    text = text.strip()
    try:
        value = parse_number(text, "," if "," in text else ".")
    except UnitProblem as trouble:
        raise _refused(part, trouble.problem.found, trouble.problem.allowed, trouble.problem.cure) from None
    if not low <= value <= high:
        raise _refused(part, f"{value:g} is outside the range", f"{low:g} to {high:g}")
    return value


def _length(part: str, text: str) -> float:
    try:
        return typed_length(text)
    except UnitProblem as trouble:
        raise _refused(part, trouble.problem.found, trouble.problem.allowed, trouble.problem.cure) from None


def _split(part: str, text: str) -> tuple[str, str, str]:
    """A name, the last number of the text with its sign, and what stands behind it."""
    found = re.fullmatch(r"(.*?)\s*([+-]?(?:[0-9]+(?:[.,][0-9]*)?|[.,][0-9]+))\s*([^0-9]*)", text)
    if found is None:
        raise _refused(part, "a number is missing", _forms())
    return found[1].strip(), found[2], found[3].strip()


def _fixture(part: str, name: str, setup: Setup) -> str | None:
    known = [f.name for f in setup.lit_fixtures]
    if name in ("", "all"):
        return None
    if name not in known:
        raise _refused(
            part, f"there is no lit fixture {show(name)}", ", ".join(known), suggestion(name, known)
        )
    return name


def _height(part: str, rest: str, setup: Setup) -> Change:
    name, number, unit = _split(part, rest)
    amount = _length(part, f"{number} {unit}")
    return Change("height", amount, relative=number[0] in "+-", fixture=_fixture(part, name, setup))


def _level(part: str, rest: str, _: Setup) -> Change:
    if not rest.startswith(("+", "-")):
        raise _refused(part, "a change of the water level has a sign", "level +2 cm, level -2 cm")
    return Change("level", _length(part, rest))


def _yellowing(part: str, rest: str, setup: Setup) -> Change:
    today = setup.water.yellowing_440_per_m
    if rest.startswith(("+", "-")):
        return Change("yellowing", _number(part, rest, -today, 50), relative=True)
    return Change("yellowing", _number(part, rest.removesuffix("per m"), 0, 50))


def _output(part: str, rest: str, setup: Setup) -> Change:
    name, number, unit = _split(part, rest)
    if unit != "%" or number[0] not in "+-":
        raise _refused(part, "a change of output is a share with its sign", "output -15 %, output left +10 %")
    factor = 1 + _number(part, number, -99.9, 900) / 100
    return Change("output", factor, fixture=_fixture(part, name, setup))


def _channel(part: str, rest: str, setup: Setup) -> Change:
    if rest.endswith(" off"):
        fixture, channel = _channel_name(part, rest.removesuffix(" off").strip(), setup)
        return Change("channel_off", fixture=fixture, channel=channel)
    name, number, unit = _split(part, rest)
    if number[0] not in "+-" or unit not in ("", "points", "%"):
        raise _refused(part, "is not clear", "channel NAME off, channel NAME +10 points")
    fixture, channel = _channel_name(part, name, setup)
    return Change("channel_points", _number(part, number, -100, 100) / 100, fixture=fixture, channel=channel)


def _channel_name(part: str, name: str, setup: Setup) -> tuple[str | None, str]:
    """Fixture (None for all) and channel; "left / royal blue" names one fixture's."""
    fixture, slash, channel = (w.strip() for w in name.partition("/"))
    if not slash:
        fixture, channel = "", fixture
    one = _fixture(part, fixture, setup)
    known = dict.fromkeys(
        c.name for f in setup.lit_fixtures if one in (None, f.name) for c in f.type.channels
    )
    if channel not in known:
        cure = suggestion(channel, known)
        raise _refused(part, f"there is no channel {show(channel)}", ", ".join(known), cure)
    return one, channel


def _pane(part: str, wall: str, kind: str) -> Change:
    if wall not in WALL_NAMES:
        raise _refused(part, f"there is no pane {show(wall)}", ", ".join(WALL_NAMES))
    for known in _KINDS:
        if kind == known:
            return Change("wall", wall=wall, wall_kind=known)
    if not is_number(kind):
        allowed = f"{', '.join(_KINDS)}, or a reflectance 0 to 1"
        raise _refused(part, f"{show(kind)} is no kind of pane", allowed)
    return Change("wall", _number(part, kind, 0, 1), wall=wall, wall_kind="reflectance")


def _floor(part: str, rest: str, _: Setup) -> Change:
    return Change("floor", _number(part, rest, 0, 0.99))


def _cover(part: str, rest: str, _: Setup) -> Change:
    return Change("cover", _number(part, rest, 0, 1))


_PARTS: Final[Mapping[str, Callable[[str, str, Setup], Change]]] = {
    "height": _height,
    "level": _level,
    "yellowing": _yellowing,
    "output": _output,
    "channel": _channel,
    "floor": _floor,
    "cover": _cover,
}


def cases_from_words(words: Sequence[str], setup: Setup) -> tuple[Case, ...]:
    """Every case typed; all slips are named in one run.

    Raises
    ------
    SetupError
        With every part that means nothing.
    """
    problems: list[Problem] = []
    cases = []
    for text in words:
        try:
            cases.append(case_from_words(text, setup))
        except SetupError as trouble:
            problems.extend(trouble.problems)
    if problems:
        raise SetupError(*problems)
    return tuple(cases)
