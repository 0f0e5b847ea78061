"""Coral groups: the shipped table, and the keeper's own my-groups.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightdose.errors import Place, Problem, SetupError
from lightdose.files.coral_names import shipped_genera
from lightdose.model.setup import CoralGroup

if TYPE_CHECKING:
    from lightdose.files.toml_tables import Table, TomlDocument

GROUPS_FILE = Path(__file__).parent.parent / "data" / "coral_groups.toml"
OWN_FORMAT = "lightdose-coral-groups/1"
NO_SOURCE = "the keeper's own group file, no source given"
OWN = "own"
GRADES = ("A", "B", "C", "D", OWN, "n/a")


@cache
def _shipped() -> tuple[dict[str, CoralGroup], dict[str, str]]:
    with GROUPS_FILE.open("rb") as stream:
        document = tomllib.load(stream)
    genera: dict[str, list[str]] = {key: [] for key in document["group"]}
    for genus, key, _ in shipped_genera():
        genera[key].append(genus)
    groups = {
        key: CoralGroup(
            key=key,
            name=entry["name"],
            genera=tuple(genera[key]),
            band_dli=_pair(entry.get("dli_band")),
            band_peak=_pair(entry.get("peak_band")),
            floor_dli=_number(entry.get("dli_floor")),
            ceiling_dli=_number(entry.get("dli_ceiling")),
            ek_range=_pair(entry.get("ek_range")),
            ek_source=entry.get("ek_source", ""),
            grade=entry["grade"],
            sources=tuple(entry["sources"]),
            note=entry["note"],
            ek_model=entry.get("ek_model", "tanh"),
            floor_harm=entry.get("floor_harm", ""),
            look=entry["look"],
        )
        for key, entry in document["group"].items()
    }
    return groups, document["source"]


def _pair(values: list[float] | None) -> tuple[float, float] | None:
    return None if values is None else (float(values[0]), float(values[1]))


def _number(value: float | None) -> float | None:
    return None if value is None else float(value)


def default_groups() -> tuple[dict[str, CoralGroup], dict[str, str]]:
    """The shipped groups by key, and the citations behind their short source keys."""
    groups, sources = _shipped()
    return dict(groups), dict(sources)


@cache
def own_group_table() -> Table:
    """The keys of a ``[group.KEY]`` table in a keeper's own file.

    Pydantic's core, which checks them, is loaded only when somebody has such a file.
    """
    from lightdose.files.toml_tables import Key, Table, name, names, number, one_of, pair

    dli, ppfd = "mol/m2/day", "umol/m2/s"
    return Table(
        {
            "name": Key(name(), '"my acropora"', "plain name", None),
            "like": Key(name(), '"sps-shallow"', "the group that missing keys come from", None),
            "genera": Key(names(), '["Acropora"]', "genera that mean this group", None),
            "dli_band": Key(pair(0, 200, dli), "[6, 12]", "usual daily dose", None),
            "peak_band": Key(pair(0, 5000, ppfd), "[200, 400]", "usual PPFD of the brightest hour", None),
            "dli_floor": Key(number(0, 200, unit=dli), "3", 'mark of "far below usual"', None),
            "dli_ceiling": Key(number(0, 1000, unit=dli), "25", 'mark of "far above usual"', None),
            "ek_range": Key(pair(1, 5000, ppfd), "[200, 500]", "light where saturation begins", None),
            "source": Key(name(), '"own records 2025"', "what the numbers stand on", None),
            "grade": Key(one_of(*GRADES), '"D"', "how well they are known", None),
        }
    )


def read_own_groups(path: Path, label: str, groups: Mapping[str, CoralGroup]) -> dict[str, CoralGroup]:
    """The groups of a keeper's own file, by key.

    A group may be ``like`` one of ``groups`` or one above it in the file; a group with a known key and no
    ``like`` changes that group.

    Raises
    ------
    SetupError
        With every problem of the file.
    """
    document = _read(path, label)
    problems = _unknown_top_level(document)
    known = dict(groups)
    own: dict[str, CoralGroup] = {}
    entries = document.data.get("group", {})
    if not isinstance(entries, dict) or not entries:
        problems.append(
            Problem("no group stands here", "[group.KEY] tables", "add [group.my-acropora]", Place(label, 1))
        )
        entries = {}
    for key in entries:
        group = _group(document, key, known, problems)
        if group is not None:
            own[key] = known[key] = group
    problems += _shared_genera(document, own)
    if problems:
        raise SetupError(*problems)
    return own


def with_own_groups(groups: Mapping[str, CoralGroup], own: Mapping[str, CoralGroup]) -> dict[str, CoralGroup]:
    """All groups, the keeper's own last; a genus that an own group claims no longer means another one."""
    claimed = {genus.lower() for group in own.values() for genus in group.genera}
    return {
        key: replace(group, genera=tuple(g for g in group.genera if g.lower() not in claimed))
        for key, group in groups.items()
        if key not in own
    } | dict(own)


def _read(path: Path, label: str) -> TomlDocument:
    from lightdose.files.text import open_bytes
    from lightdose.files.toml_guard import LIMIT_BYTES
    from lightdose.files.toml_tables import read_document

    try:
        with open_bytes(path) as stream:
            data = stream.read(LIMIT_BYTES + 1)
    except OSError as trouble:
        reason = (trouble.strerror or str(trouble)).lower()
        raise SetupError(Problem(f"the file cannot be read: {reason}", place=Place(label))) from None
    return read_document(data, label)


def _unknown_top_level(document: TomlDocument) -> list[Problem]:
    from lightdose.files.toml_tables import problem_at, show, suggestion

    problems = []
    for key, value in document.data.items():
        if key == "format" and value != OWN_FORMAT:
            problems.append(
                problem_at(document, (key,), f"{show(value)} is another format", f'"{OWN_FORMAT}"')
            )
        elif key not in ("format", "group"):
            cure = suggestion(key, ("format", "group")) or "groups are written as [group.KEY]"
            problems.append(
                problem_at(document, (key,), f"the key {key} is not known", "format, group", cure, key=True)
            )
    return problems


def _group(
    document: TomlDocument, key: str, known: Mapping[str, CoralGroup], problems: list[Problem]
) -> CoralGroup | None:
    """One group with what it takes over; None, with problems, where it cannot be used."""
    from lightdose.files.toml_tables import problem_at, show, suggestion

    path = ("group", key)
    before = len(problems)
    given = {k: v for k, v in own_group_table().read(document, path, problems).items() if v is not None}
    base = known.get(key)
    if (like := given.get("like")) is not None:
        base = known.get(like)
        if base is None:
            problems.append(
                problem_at(
                    document,
                    (*path, "like"),
                    f"{show(like)} is no group",
                    "a shipped group or one above this in the file; lightdose groups lists them",
                    suggestion(like, known),
                )
            )
            return None
    if base is None:
        for needed, example in (("name", '"my acropora"'), ("dli_band", "[6, 12]")):
            if needed not in given and needed not in _table_at(document, key):
                cure = f'add {needed} = {example}, or like = "sps-shallow" to take over the rest'
                problems.append(problem_at(document, path, f"the key {needed} is missing", "", cure))
    if len(problems) > before:
        return None
    values = _merged(key, given, base)
    if (problem := _unordered(document, key, given, values)) is not None:
        problems.append(problem)
        return None
    return CoralGroup(**values)


def _table_at(document: TomlDocument, key: str) -> Mapping[str, Any]:
    table = document.data["group"][key]
    return table if isinstance(table, dict) else {}


def _merged(key: str, given: Mapping[str, Any], base: CoralGroup | None) -> dict[str, Any]:
    """The fields of a group: what is given, else what it takes over."""
    taken: dict[str, Any] = (
        {name: getattr(base, name) for name in base.__dataclass_fields__}
        if base is not None
        else dict.fromkeys(("band_dli", "band_peak", "floor_dli", "ceiling_dli", "ek_range"))
        | {"genera": (), "ek_source": "", "grade": "D", "sources": (NO_SOURCE,)}
    )
    if base is not None and base.key != key:
        taken |= {"genera": (), "look": ""}
    own = {
        "key": key,
        "band_dli": given.get("dli_band"),
        "band_peak": given.get("peak_band"),
        "floor_dli": given.get("dli_floor"),
        "ceiling_dli": given.get("dli_ceiling"),
        "ek_range": given.get("ek_range"),
        "name": given.get("name"),
        "grade": given.get("grade"),
        "genera": tuple(given["genera"]) if "genera" in given else None,
    }
    values = taken | {k: v for k, v in own.items() if v is not None}
    if "source" in given:
        values["sources"] = (given["source"],)
    elif base is not None and {"dli_band", "peak_band", "dli_floor", "dli_ceiling"} & given.keys():
        values["sources"] = (NO_SOURCE, *(s for s in base.sources if s != NO_SOURCE))
    values |= _own_standing(given, base)
    if "ek_range" in given:
        values["ek_source"] = given.get("source", NO_SOURCE)
    return values


def _own_standing(given: Mapping[str, Any], base: CoralGroup | None) -> dict[str, Any]:
    """Grade and sentences where numbers are the keeper's own: another group's do not stand for them."""
    bands, marks = ("dli_band", "peak_band"), ("dli_floor", "dli_ceiling")
    found: dict[str, Any] = {}
    if given.keys() & {*bands} and "grade" not in given:
        found["grade"] = OWN
    if given.keys() & {"dli_band", "dli_floor"}:
        found["floor_harm"] = ""
    if "dli_band" in given:
        found["note"] = ""
    elif base is not None and base.note and (own := [key for key in (*bands, *marks) if key in given]):
        found["note"] = f"{base.note}; the keeper's own here: {', '.join(own)}"
    return found


def _unordered(
    document: TomlDocument, key: str, given: Mapping[str, Any], values: Mapping[str, Any]
) -> Problem | None:
    """Floor and ceiling must enclose the band; the mark that does not is named, with where it comes from."""
    from lightdose.files.toml_tables import problem_at

    if values["band_dli"] is None:
        return None
    low, high = values["band_dli"]
    for mark, edge, name, passes in (
        (values["floor_dli"], low, "dli_floor", "above the low"),
        (values["ceiling_dli"], high, "dli_ceiling", "below the high"),
    ):
        if mark is None or (mark <= edge if name == "dli_floor" else mark >= edge):
            continue
        path = ("group", key, name if name in given else "dli_band")
        origin = "" if name in given else f", taken over from {given.get('like', key)!r},"
        return problem_at(
            document,
            path,
            f"{name} {mark:g}{origin} is {passes} end {edge:g} of dli_band",
            "dli_floor <= low end < high end <= dli_ceiling",
            "" if name in given else f"give {name} too",
        )
    return None


def _shared_genera(document: TomlDocument, own: Mapping[str, CoralGroup]) -> list[Problem]:
    from lightdose.files.toml_tables import problem_at

    first: dict[str, str] = {}
    problems = []
    for key, group in own.items():
        for index, genus in enumerate(group.genera):
            other = first.setdefault(genus.lower(), key)
            if other != key:
                problems.append(
                    problem_at(
                        document,
                        ("group", key, "genera", index),
                        f"{genus} already means the group {other!r}",
                        "each genus in one group",
                    )
                )
    return problems
