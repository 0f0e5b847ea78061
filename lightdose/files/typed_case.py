"""A keeper's own case as typed: "height +5 cm", "yellowing 0.3 and output -10 %"."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from typing import Final

from lightdose.errors import Problem, SetupError
from lightdose.files.toml_tables import show, suggestion
from lightdose.files.units import UnitProblem, is_number, parse_length, parse_number
from lightdose.model.changes import Case, Change
from lightdose.model.setup import WALL_NAMES, Setup, WallKind

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
        return parse_length(text)
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
