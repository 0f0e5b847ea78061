"""JSON Schemas of the TOML files, for editors: written from the tables of keys that the readers use.

Draft-07: what editors check TOML with knows it for certain (from memory), 2020-12 not everywhere, and nothing
newer is needed. What JSON Schema cannot say is left to `lightdose check`:

- whether a file, site, group, genus or channel that is named is there, and whether a name stands twice;
- what must rise or fall: times, dimming levels and outputs, beam angles, the two ends of a band; and that a
  programme lasts at most a day;
- the upper ends of lengths, for they may be in any unit, and whether places and fixtures fit the tank;
- whether a place lies in rock, rock in the water, and what size the form of a colony needs;
- that levels which are all below 1 were meant as fractions; how many sites and channels there are in all;
- NaN, a whole number that is written 8.0, a date or time of TOML where text belongs (an editor sees its
  text), and a date that no calendar has.
"""

from __future__ import annotations

import json
import tomllib
from collections.abc import Iterator, Mapping, Sequence
from typing import Any, Final

from lightdose.files import calibration_file, fixture_file, groups_file, setup_schema
from lightdose.files.programme_rules import RESERVED_NAMES
from lightdose.files.setup_meters import CALIBRATION_SOURCES
from lightdose.files.toml_tables import REQUIRED, Key, Kind, Table
from lightdose.files.units import NAME, TIME, between, format_length, pairs, words
from lightdose.model.spectrum import SENSOR_SHAPES

DRAFT: Final = "http://json-schema.org/draft-07/schema#"
Schema = dict[str, Any]

_FILE: Final[Schema] = {
    "type": "object", "properties": {"file": NAME}, "required": ["file"], "additionalProperties": False,
}  # fmt: skip
_POINTS: Final = pairs(TIME, between(0, 100), least=2)


def schemas() -> dict[str, str]:
    """The text of every schema by its file name."""
    made = {
        "setup": _setup(),
        "fixture": _fixture(),
        "groups": _groups(),
        "calibration": _calibration(),
    }
    return {
        f"{kind}.schema.json": json.dumps(_shared(schema), indent=1, ensure_ascii=True) + "\n"
        for kind, schema in made.items()
    }


# ---- files ----------------------------------------------------------------------------------------------


def _setup() -> Schema:
    tables = setup_schema.TABLES
    spot = _exactly_one("depth", "height")
    spots = {"site": "at", "rack": "corner", "coral": "at", "rock": "at"}
    inside: dict[str, Schema] = {}
    for name in ("tank", "water", "cover", "electricity", "uncertainty"):
        inside[name] = _object(tables[name])
    for name in ("fixture", "site", "rack", "coral", "rock", "brace"):
        found = _object(tables[name])
        if name in spots:
            found["properties"][spots[name]] |= spot
        inside[name] = {"type": "array", "items": found, "minItems": 1}
    inside["coral"]["items"]["allOf"] = [
        _exactly_one("group", "genus"),
        {"not": {"required": ["site", "at"]}},
    ]
    inside["cover"]["properties"]["transmittance"] |= {"anyOf": [between(0, 1), NAME]}
    inside["fixture"]["items"]["properties"]["schedule"] |= {"anyOf": [NAME, _inline_schedule()]}
    meter = _object(tables["meter"])
    shape: Schema = {"type": "object", "properties": {"shape": {"enum": list(SENSOR_SHAPES)}}}
    shape |= {"required": ["shape"], "additionalProperties": False}
    meter["properties"]["response"] |= {"anyOf": [shape, _FILE]}
    meter["properties"]["calibrated_on"] |= {"anyOf": [*words(CALIBRATION_SOURCES)["anyOf"], _FILE]}
    inside["meter"] = {"type": "object", "additionalProperties": meter}
    return _top("a setup of lightdose: tank, fixtures, places and corals", setup_schema.SETUP, inside)


def _inline_schedule() -> Schema:
    names: Schema = {"not": {"enum": list(RESERVED_NAMES)}}
    return {"type": "object", "propertyNames": names, "additionalProperties": _POINTS, "minProperties": 1}


def _fixture() -> Schema:
    forms = [_object(form) for form in fixture_file.SPECTRUM_FORMS.values()]
    parts = [
        _object(fixture_file.with_share(form))
        for key, form in fixture_file.SPECTRUM_FORMS.items()
        if key != "mix"
    ]
    mix = {"type": "array", "items": {"anyOf": parts}, "minItems": 1, "maxItems": 100}
    forms[-1]["properties"]["mix"] |= mix
    channel = _object(fixture_file.CHANNEL)
    channel["properties"]["spectrum"] |= {"anyOf": forms}
    channel["properties"]["beam"] |= {"anyOf": [_object(f) for f in fixture_file.BEAM_FORMS.values()]}
    channel["properties"]["name"]["not"] = {"anyOf": [NAME["not"], {"enum": list(RESERVED_NAMES)}]}
    fluxes = [*fixture_file.FLUX_KEYS, "radiant_efficiency"]
    channel["allOf"] = [
        {"not": {"required": [one, other]}} for n, one in enumerate(fluxes) for other in fluxes[n + 1 :]
    ]
    channel["dependencies"] = {"radiant_efficiency": ["electrical_w"]}
    inside = {
        "aperture": _object(fixture_file.APERTURE),
        "emitters": _object(fixture_file.EMITTERS),
        "channel": {"type": "array", "items": channel, "minItems": 1},
    }
    return _top("a fixture type of lightdose: channels with spectrum, flux, beam and dimming",
                fixture_file.FIXTURE_FILE, inside)  # fmt: skip


def _groups() -> Schema:
    """A known group may change any key; a new one is like another, or has a name and a band."""
    shipped, _ = groups_file.default_groups()
    known: Schema = {"$ref": "#/definitions/group"}
    new = {"allOf": [known], "anyOf": [{"required": ["like"]}, {"required": ["name", "dli_band"]}]}
    return {
        "$schema": DRAFT,
        "title": "coral groups of your own for lightdose",
        "type": "object",
        "properties": {
            "format": {"enum": [groups_file.OWN_FORMAT], "description": "what kind of file this is"},
            "group": {
                "description": "tables [group.KEY]",
                "type": "object",
                "properties": dict.fromkeys(shipped, known),
                "additionalProperties": new,
                "minProperties": 1,
            },
        },
        "required": ["group"],
        "additionalProperties": False,
        "definitions": {"group": _object(groups_file.own_group_table())},
    }


def _calibration() -> Schema:
    tables = calibration_file.TABLES
    inside: dict[str, Schema] = {
        name: {"type": "array", "items": _object(table)} for name, table in tables.items()
    }
    inside["earlier"]["items"]["properties"]["gain"] |= inside["gain"]
    return _top("what calibrate wrote; rather run it again than edit this", calibration_file.TOP, inside)


# ---- parts ----------------------------------------------------------------------------------------------


def _top(title: str, table: Table, inside: Mapping[str, Schema]) -> Schema:
    """A whole file: its top-level keys, with the tables that the readers read on their own."""
    top = _object(table)
    for name, schema in inside.items():
        top["properties"][name] |= schema
    return {"$schema": DRAFT, "title": title, **top}


def _object(table: Table) -> Schema:
    return {
        "type": "object",
        "properties": {name: _key(key) for name, key in table.keys.items()},
        "required": [name for name, key in table.keys.items() if key.default is REQUIRED],
        "additionalProperties": False,
    }


def _key(key: Key) -> Schema:
    """What a key takes, and what an editor shows beside it."""
    found = _value(key.kind)
    said = "" if key.kind.allowed in key.meaning else f" ({key.kind.allowed})"
    found["description"] = key.meaning + said
    if "..." not in key.example:
        found["examples"] = [tomllib.loads(f"key = {key.example}")["key"]]
    if isinstance(key.default, bool | int | float):
        is_length = key.kind.allowed.startswith("a length")
        found["default"] = format_length(key.default, "cm") if is_length else key.default
    return found


def _value(kind: Kind) -> Schema:
    if kind.table is not None:
        return _object(kind.table)
    if kind.editor:
        return dict(kind.editor)
    core: Any = kind.schema
    match core["type"]:
        case "float" | "int":
            names = {"ge": "minimum", "gt": "exclusiveMinimum", "le": "maximum"}
            limits = {names[k]: core[k] for k in names if core.get(k) is not None}
            return {"type": "number" if core["type"] == "float" else "integer", **limits}
        case "bool":
            return {"type": "boolean"}
        case "literal":
            return {"enum": list(core["expected"])}
        case _:
            return {}


def _exactly_one(*keys: str) -> Schema:
    return {"oneOf": [{"required": [key]} for key in keys]}


# ---- one place for what stands often ---------------------------------------------------------------------


def _shared(schema: Schema) -> Schema:
    """The same schema, its long and frequent patterns said once under ``definitions``."""
    often = _frequent(schema)
    named = {key: f"value_{n}" for n, key in enumerate(often, 1)}

    def replaced(part: Any) -> Any:
        if isinstance(part, dict):
            key = _pattern_key(part)
            if key in named:
                rest = {k: replaced(v) for k, v in part.items() if k not in _PATTERN_KEYS}
                # Beside $ref everything is passed over in draft-07, so it stands in allOf.
                return {**rest, "allOf": [{"$ref": f"#/definitions/{named[key]}"}]}
            return {k: replaced(v) for k, v in part.items()}
        return [replaced(v) for v in part] if isinstance(part, list) else part

    fresh: Schema = replaced(schema)
    own = {named[key]: value for key, value in often.items()}
    return fresh | {"definitions": fresh.get("definitions", {}) | own}


_PATTERN_KEYS: Final = ("type", "pattern", "not")


def _frequent(schema: Schema) -> dict[str, Schema]:
    counts: dict[str, int] = {}
    values: dict[str, Schema] = {}
    for part in _dicts(schema):
        if (key := _pattern_key(part)) is not None:
            counts[key] = counts.get(key, 0) + 1
            values[key] = {k: part[k] for k in _PATTERN_KEYS if k in part}
    return {key: values[key] for key, count in counts.items() if count > 1}


def _pattern_key(part: Mapping[str, Any]) -> str | None:
    if not isinstance(part.get("pattern"), str):
        return None
    return json.dumps([part.get(k) for k in _PATTERN_KEYS])


def _dicts(part: Any) -> Iterator[Schema]:
    if isinstance(part, Mapping):
        yield dict(part)
        for value in part.values():
            yield from _dicts(value)
    elif isinstance(part, Sequence) and not isinstance(part, str):
        for value in part:
            yield from _dicts(value)
