"""From eight answers to a setup: its files as texts, on typical values until somebody measures."""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping, Sequence
from typing import Any, Final

from lightdose.desk.bench import Bench, Change, text_of
from lightdose.desk.keys import number
from lightdose.errors import Problem, ScheduleError, SetupError
from lightdose.files.coral_names import CoralNames, folded
from lightdose.files.csv_text import csv_text
from lightdose.files.groups_file import default_groups
from lightdose.files.setup_schema import WALL_WORDS
from lightdose.files.units import has_length_unit, is_number, parse_length
from lightdose.model.setup import WALL_NAMES, CoralGroup

COLOURS: Final[Mapping[str, str]] = {
    "near UV": "violet-395",
    "violet": "violet-420",
    "royal blue": "blue-450",
    "blue": "blue-470",
    "cyan": "cyan-495",
    "green": "green-520",
    "warm white": "white-led-b1",
    "cool white": "white-led-b5",
    "red": "red-630",
    "deep red": "deep-red-660",
    "far red": "far-red-730",
}
"""Words for the colours of channels -> the library's LEDs."""

LAMP: Final = "fixtures/lamp.toml"
PROGRAMME: Final = "programme.csv"
MOST_LAMPS, MOST_NAMES, LONGEST_NAME = 12, 1000, 200
DEFAULT_BEAM_DEG: Final = 120
TYPICAL: Final = "typical values: measure"


def begin(bench: Bench, change: Change) -> str:
    """The files of a new setup from the answers to the eight questions."""
    if bench.content(str(bench.path)) is not None:
        raise SetupError(Problem("a setup stands here already"))
    problems: list[Problem] = []
    channels = _channels(change, problems)
    setup = _setup_text(change, problems)
    lamp = _lamp_text(change, channels, problems)
    if problems:
        raise SetupError(*problems)
    programme = _programme_text(change, [name for name, *_ in channels])
    bench.changed[str(bench.path)] = setup.encode()
    bench.changed[bench.beside(LAMP)] = lamp.encode()
    bench.changed[bench.beside(PROGRAMME)] = programme.encode()
    return "a new tank"


def _asked(problems: list[Problem], question: str, found: str, allowed: str = "") -> None:
    problems.append(Problem(f"{question}: {found}", allowed))


def _length(change: Change, key: str, question: str, problems: list[Problem], default: str = "") -> str:
    """A length as it is written in a file; a bare number is in the unit that was chosen."""
    unit = change.get("unit", "cm")
    text = " ".join(str(change.get(key, "")).split()) or default
    if unit not in ("cm", "in"):
        raise ValueError("unit")
    written = text if has_length_unit(text) else f"{text} {unit}"
    if not (is_number(text) or has_length_unit(text)):
        _asked(
            problems, question, f'"{text}" is not a length' if text else "a length is missing", "such as 60"
        )
        return f"60 {unit}"
    return written


def _setup_text(change: Change, problems: list[Problem]) -> str:
    q = _quoted
    size = {
        key: _length(change, key, question, problems)
        for key, question in (
            ("length", "Length of the tank"),
            ("width", "Width of the tank"),
            ("water_depth", "Depth of the water"),
        )
    }
    walls = change["walls"]
    if set(walls) != set(WALL_NAMES) or any(kind not in WALL_WORDS for kind in walls.values()):
        raise ValueError("walls")
    floor = {"sand": 0.35, "bare": 0.1}[text_of(change, "floor")]
    title = " ".join(text_of(change, "title").split())[:LONGEST_NAME] or "My tank"
    sides = ", ".join(f"{side} = {q(kind)}" for side, kind in walls.items())
    lines = [
        "# Written by lightdose desk from eight answers. Every line may be changed, here or on the page.",
        f"# The light stands on {TYPICAL}. Until then doses are good to a factor of 2 or so.",
        "",
        'format = "lightdose-setup/1"',
        f"title = {q(title)}",
        "",
        "[tank]",
        f"length = {q(size['length'])}",
        f"width = {q(size['width'])}",
        f"water_depth = {q(size['water_depth'])}",
        f"rim = {q(_length(change, 'rim', 'Dry glass above the water', problems, '0'))}",
        f"walls = {{ {sides} }}",
        f"floor_reflectance = {floor:g}",
        "",
        *_fixture_lines(change, size, problems),
        *_meter_lines(change),
        *_coral_lines(change, problems),
    ]
    return "\n".join(lines)


def _fixture_lines(change: Change, size: Mapping[str, str], problems: list[Problem]) -> list[str]:
    """The lamps side by side along the tank, over the middle of its width."""
    lamps = number(str(change["lamps"]))
    if not (lamps == int(lamps) and 1 <= lamps <= MOST_LAMPS):
        _asked(problems, "Lamps", f"{lamps:g} is no number of lamps", f"1 to {MOST_LAMPS}")
        return []
    height = _length(change, "height", "Height of the lamps", problems)
    unit, in_cm = ("cm", 100.0) if change.get("unit", "cm") == "cm" else ("in", 100 / 2.54)
    length, width = (in_cm * parse_length(size[key]) for key in ("length", "width"))
    turned = 90 if change.get("across") is True else 0
    lines = []
    for n in range(int(lamps)):
        x = round(length * (n + 0.5) / lamps, 1)
        at = f'x = "{x:g} {unit}", y = "{round(width / 2, 1):g} {unit}", height = {_quoted(height)}'
        name = "lamp" if lamps == 1 else f"lamp {n + 1}"
        lines += [
            "[[fixture]]",
            f"name = {_quoted(name)}",
            f"type = {_quoted(LAMP)}",
            f"at = {{ {at}, rotation_deg = {turned} }}",
            f"schedule = {_quoted(PROGRAMME)}",
            "",
        ]
    return lines


def _meter_lines(change: Change) -> list[str]:
    meter = text_of(change, "meter")
    if meter == "none":
        return []
    reads, shape = {"umol": ("umol", "soft"), "lux": ("lux", "v-lambda")}[meter]
    return [
        "[meter.mine]",
        f"reads = {_quoted(reads)}",
        f"response = {{ shape = {_quoted(shape)} }}",
        'calibrated_on = "A"',
        'immersion = "unknown"',
        "",
    ]


def _coral_lines(change: Change, problems: list[Problem]) -> list[str]:
    corals = change["corals"]
    if not isinstance(corals, list) or len(corals) > MOST_NAMES:
        raise ValueError("corals")
    lines = []
    for one in corals:
        name, group = " ".join(text_of(one, "name").split()), text_of(one, "group")
        if not name or len(name) > LONGEST_NAME:
            _asked(problems, "Corals", "a name is empty or very long", f"up to {LONGEST_NAME} letters")
        lines += ["[[coral]]", f"name = {_quoted(name)}", f"group = {_quoted(group)}", ""]
    return lines


def _channels(change: Change, problems: list[Problem]) -> list[tuple[str, str, float]]:
    """Name, colour in the library, and LEDs of every channel."""
    found: list[tuple[str, str, float]] = []
    for one in change["channels"]:
        name, colour = " ".join(text_of(one, "name").split()), text_of(one, "colour")
        count = str(one.get("leds", "")).strip()
        leds = number(count) if count else 1.0
        if not leds > 0:
            _asked(problems, "Channels", f"{name} has no LED")
        found.append((name or colour, COLOURS[colour], leds))
    if not found:
        _asked(problems, "Channels", "a lamp has one or more")
    if len({name for name, *_ in found}) < len(found):
        _asked(problems, "Channels", "two have the same name", "a name of its own for each")
    return found


def _lamp_text(change: Change, channels: Sequence[tuple[str, str, float]], problems: list[Problem]) -> str:
    watts = number(str(change["watts"])) if str(change["watts"]).strip() else 0.0
    if not 0 < watts <= 10_000:
        _asked(problems, "Watts of a lamp", "what all channels of one lamp draw together at full", "above 0")
        watts = 1.0
    long = _length(change, "lamp_length", "Length of the shining area", problems)
    wide = _length(change, "lamp_width", "Width of the shining area", problems)
    leds = sum(count for *_, count in channels) or 1.0
    lines = [
        "# Written by lightdose desk: the watts of the lamp shared among its channels by their LEDs,",
        f"# light by the typical efficiency of their colours, a wide beam. All of it {TYPICAL}.",
        "",
        'format = "lightdose-fixture/1"',
        f'name = "lamp ({TYPICAL})"',
        f"aperture = {{ length = {_quoted(long)}, width = {_quoted(wide)} }}",
        "",
    ]
    for name, library, count in channels:
        lines += [
            "[[channel]]",
            f"name = {_quoted(name)}",
            f"spectrum = {{ library = {_quoted(library)} }}",
            f"electrical_w = {round(watts * count / leds, 2):g}",
            'radiant_efficiency = "typical"',
            "",
        ]
    return "\n".join(lines)


def _programme_text(change: Change, channels: Sequence[str]) -> str:
    """The rows as they stand in the controller, with its overall setting, 100 where there is none."""
    rows = change["rows"]
    overall = str(change.get("overall", "")).strip() or "100"
    if not isinstance(rows, list) or not 2 <= len(rows) <= 200:
        raise ScheduleError(Problem("Programme: two rows or more are needed", "such as 09:00 and 21:00"))
    cells = []
    for row in rows:
        levels = [str(level).strip() for level in row["levels"]]
        if len(levels) != len(channels):
            raise ValueError("levels")
        numbers = [f"{number(level):g}" if level else "" for level in levels]
        cells.append([" ".join(text_of(row, "time").split()), *numbers, f"{number(overall):g}"])
    head = "# From the rows of the controller. Levels in percent; all_channels is its overall setting.\n"
    return head + csv_text(["time", *channels, "all_channels"], cells)


def _quoted(text: str) -> str:
    """A TOML string."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


# ---- names of corals --------------------------------------------------------------------------------------


def recognised(text: str, groups: Mapping[str, CoralGroup] | None = None) -> list[dict[str, Any]]:
    """A pasted list, a coral a line: each name with the group that its words mean, "" where none does.

    Behind a comma, a semicolon or a tab may stand what it is: "green one; hammer".
    """
    names = CoralNames(groups if groups is not None else default_groups()[0])
    found: list[dict[str, Any]] = []
    taken: set[str] = set()
    for line in text.splitlines()[:MOST_NAMES]:
        name, said = _parted(line)
        if not name:
            continue
        first, turn = name, 1
        while name in taken:
            turn += 1
            name = f"{first} {turn}"
        taken.add(name)
        word, meant = _meaning(said or first, names)
        group = meant.groups[0] if meant is not None and len(meant.groups) == 1 else None
        found.append(
            {
                "name": name,
                "group": (meant.genus or group.key) if meant is not None and group is not None else "",
                "words": f"{word}: {group.name}" if group is not None else "",
                "any_of": [g.key for g in meant.groups] if meant is not None and group is None else [],
            }
        )
    return found


def _parted(line: str) -> tuple[str, str]:
    for mark in ("\t", ";", ","):
        name, found, said = line.partition(mark)
        if found:
            return _clean(name), _clean(said)
    return _clean(line), ""


def _clean(text: str) -> str:
    kept = "".join(c if c.isprintable() else " " for c in text)
    return " ".join(kept.split()).strip("*•-–· ")[:LONGEST_NAME].strip()


def _meaning(said: str, names: CoralNames) -> tuple[str, Any]:
    """The word of a name that tells what it is, the longest first, the last of equals, and what it means."""
    whole = names.find(said)
    if whole is not None:
        return said, whole
    parts = said.split()[:12]
    for size in range(len(parts), 0, -1):
        for start in range(len(parts) - size, -1, -1):
            word = " ".join(parts[start : start + size]).strip("()[]\"'.:")
            meant = names.known.get(folded(word)) if word else None
            if meant is not None:
                return word, meant
    return "", None


CHANGES: Final[dict[str, Callable[[Bench, Change], str]]] = {"begin": begin}
