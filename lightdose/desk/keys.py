"""What stands in the tables of a setup as fields that a person fills in, made of the readers' own tables.

Every key is either a field here, or one of ``FILE_ONLY``: the page shows those as they stand, and says that
they are changed in the file.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

from lightdose.files.fixture_file import APERTURE, CHANNEL, EMITTERS, FIXTURE_FILE
from lightdose.files.setup_schema import SETUP, TABLES, sky_word
from lightdose.files.toml_tables import REQUIRED, Kind, Table, inner, refuse
from lightdose.files.units import has_length_unit, is_number
from lightdose.model.setup import LengthUnit

FieldKind = Literal["length", "number", "whole", "flag", "choice", "text", "either", "pair", "list"]

FILE_ONLY: Final[Mapping[str, str]] = {
    "setup.format": "what kind of file this is",
    "fixture.schedule": "the programme has a table of its own, under The light",
    "fixture.type": "the file of its kind",
    "meter.response": "the response of its sensor",
    "meter.calibrated_on": "the lamp it was calibrated on",
    "kind.format": "what kind of file this is",
    "channel.name": "the programmes name it",
    "channel.spectrum": "its colour",
    "channel.beam": "its spread",
    "channel.dimming": "output against level",
}
"""Keys that the page shows and does not change, and why or what they are."""

NUMBER_OR_WORD: Final = (
    "open_sky",
    "faces",
    "walls",
    "previous",
    "immersion",
    "transmittance",
    "reflectance",
)


@dataclass(frozen=True)
class FormField:
    """A key as a field: its path with dots within its table, what may stand there, and what it means."""

    path: str
    kind: FieldKind
    meaning: str
    example: str
    allowed: str
    choices: tuple[str, ...] = ()
    needed: bool = False

    def as_json(self) -> dict[str, Any]:
        """For the page."""
        return {
            "path": self.path,
            "kind": self.kind,
            "meaning": self.meaning,
            "example": self.example.strip('"'),
            "allowed": self.allowed,
            "choices": list(self.choices),
            "needed": self.needed,
        }


def keys_of(table: str) -> Table:
    """The keys of a table of setup.toml ("setup" is what stands above all), or of a lamp's kind."""
    own = {"setup": TOP, "kind": KIND, "channel": CHANNEL}
    return own[table] if table in own else TABLES[table]


def fields_of(table: str) -> list[FormField]:
    """The fields of a table, inner tables included."""
    return list(_fields(table, keys_of(table), ""))


TOP: Final = Table({k: v for k, v in SETUP.keys.items() if k not in TABLES})
KIND: Final = Table(
    {
        **{key: FIXTURE_FILE.keys[key] for key in ("format", "name", "electrical_w")},
        "aperture": replace(FIXTURE_FILE.keys["aperture"], kind=inner(APERTURE)),
        "emitters": replace(FIXTURE_FILE.keys["emitters"], kind=inner(EMITTERS)),
    }
)
"""A fixture file above its channels."""


def _fields(table: str, keys: Table, lead: str) -> Iterator[FormField]:
    for name, key in keys.keys.items():
        path = f"{lead}{name}"
        if f"{table}.{path}" in FILE_ONLY:
            continue
        if key.kind.table is not None:
            yield from _fields(table, key.kind.table, f"{path}.")
            continue
        kind, choices = _kind_of(path, key.kind)
        needed = key.default is REQUIRED and not lead
        yield FormField(path, kind, key.meaning, key.example, key.kind.allowed, choices, needed)


def _kind_of(path: str, kind: Kind) -> tuple[FieldKind, tuple[str, ...]]:
    of_core: dict[str, FieldKind] = {"float": "number", "int": "whole", "bool": "flag", "list": "list"}
    schema: Mapping[str, Any] = kind.schema
    if schema["type"] == "literal":
        return "choice", tuple(schema["expected"])
    if schema["type"] in of_core:
        return of_core[schema["type"]], ()
    head = path.rpartition(".")
    if head[2] in NUMBER_OR_WORD or head[0] in NUMBER_OR_WORD:
        words = tuple(w for w in re.findall(r'"([^"]+)"', kind.allowed) if not w[0].isdigit())
        return "either", words
    if kind.allowed.startswith("[low, high]"):
        return "pair", ()
    return ("length" if kind.allowed.startswith("a length") else "text"), ()


def field_of(table: str, path: str) -> FormField:
    """One field; UnitProblem where the key is none, or is changed in the file alone."""
    for one in fields_of(table):
        if one.path == path:
            return one
    if (why := FILE_ONLY.get(f"{table}.{path}")) is not None:
        raise refuse(f"{path} is changed in the file only ({why})")
    raise refuse(f"there is no field {path} here")


def typed(field: FormField, text: str, unit: LengthUnit) -> Any:
    """What a field's text means as a value of the file; None where it is empty, which takes the key out.

    Raises
    ------
    UnitProblem
        If it is not of the field's kind; the readers look at the rest.
    """
    text = " ".join(text.split())
    if not text:
        return None
    if field.kind == "length":
        return text if has_length_unit(text) else f"{_number_text(text)} {unit}"
    if field.kind in ("number", "whole"):
        value = number(text)
        return int(value) if field.kind == "whole" and value == int(value) else value
    if field.kind == "flag":
        return text.casefold() in ("yes", "true", "1", "on")
    if field.kind == "either":
        return number(text) if is_number(text) else sky_word(text) or text
    if field.kind == "pair":
        ends = re.findall(r"\d+(?:[.,]\d+)?", text)
        if len(ends) != 2:
            raise refuse(f'"{text}" is no range', "two numbers, such as 3 to 6")
        return [number(end) for end in ends]
    if field.kind == "list":
        return [part.strip() for part in text.split(",") if part.strip()]
    return text


def number(text: str) -> float:
    """A number with either decimal mark; UnitProblem where it is none."""
    text = text.strip().removesuffix("%").strip()
    if not is_number(text):
        raise refuse(f'"{text}" is not a number', "such as 12 or 12.5")
    value = float(text.replace(",", "."))
    if not abs(value) < 1e12:
        raise refuse(f'"{text}" is too large a number')
    return value


def _number_text(text: str) -> str:
    return f"{number(text):g}" if is_number(text) else text


def shown(value: Any) -> str:
    """A value of the file as a field shows it."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float | int):
        return f"{value:g}"
    if isinstance(value, list):
        numbers = all(isinstance(v, int | float) for v in value)
        return (" to " if numbers else ", ").join(shown(v) for v in value)
    if isinstance(value, dict):
        return ", ".join(f"{key} {shown(v)}" for key, v in value.items())
    return str(value)
