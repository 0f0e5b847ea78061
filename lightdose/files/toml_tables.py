"""A TOML file, read with a place for every key, and what may stand in its tables, as data.

The checks run in pydantic's compiled core: strict numbers, unknown keys refused, no unions. The same models
written as classes cost 75 ms at start-up, over a quarter of what `dose` may take; the core alone costs 12.
Each of its findings becomes a problem in our words here.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import field
from functools import cached_property
from itertools import islice
from typing import Any

from pydantic_core import SchemaValidator, ValidationError, core_schema

from lightdose.errors import Place, Problem, SetupError
from lightdose.files.toml_guard import LIMIT_BYTES, LONGEST_TEXT, beyond_reading, may_hold_long_text
from lightdose.files.toml_positions import KeyPath, PositionMap, map_positions, printable, shown_line
from lightdose.files.units import (
    AMBIGUOUS_LENGTH,
    BELOW_ZERO,
    NAME,
    ZERO,
    UnitProblem,
    length_pattern,
    parse_length,
)
from lightdose.model.record import dataclass
from lightdose.near_names import near_names


@dataclass(frozen=True, eq=False)
class TomlDocument:
    """The tables of a file, and where their keys stand; positions are found when they are first asked for."""

    file: str
    text: str
    data: dict[str, Any]

    @cached_property
    def positions(self) -> PositionMap:
        """Lines and columns by key path."""
        return map_positions(self.text)

    def value_place(self, path: KeyPath) -> Place:
        """Where the value of ``path`` starts, or the nearest table around it."""
        return self._place(*self.positions.value(path))

    def key_place(self, path: KeyPath) -> Place:
        """Where the key itself stands."""
        return self._place(*self.positions.key(path))

    def _place(self, line: int, column: int) -> Place:
        if not line:
            return Place(self.file)
        return Place(self.file, line, column, self.positions.shown_text(line))


def read_document(data: bytes, file: str) -> TomlDocument:
    """Decode and parse; every problem of encoding or syntax is a SetupError with its place."""
    if len(data) > LIMIT_BYTES:
        raise SetupError(
            Problem(
                f"the file has {len(data) / 1e6:.1f} MB",
                f"up to {LIMIT_BYTES / 1e6:.0f} MB",
                "move sites and corals into CSV files (sites = ..., corals = ...)",
                Place(file),
            )
        )
    text = _decode(data, file).replace("\r\n", "\n")
    if (beyond := beyond_reading(text)) is not None:
        line, found, allowed = beyond
        raise SetupError(Problem(found, allowed, place=Place(file, line)))
    try:
        document = TomlDocument(file, text, tomllib.loads(text))
    except (ValueError, RecursionError):
        from lightdose.files.toml_hints import syntax_problems

        raise SetupError(*syntax_problems(text, file)) from None
    long = list(islice(_long_texts(document, document.data), _MOST_LONG)) if may_hold_long_text(text) else ()
    if long:
        raise SetupError(*long)
    return document


def _long_texts(document: TomlDocument, value: object, path: KeyPath = ()) -> Iterator[Problem]:
    """Problems of keys and texts that are longer than a text may be, in a value and below."""
    if isinstance(value, dict):
        for key, within in value.items():
            if len(key) > LONGEST_TEXT:
                yield Problem(
                    f"a key has {len(key):,} letters",
                    f"up to {LONGEST_TEXT}",
                    place=document.key_place((*path, key)),
                )
            else:
                yield from _long_texts(document, within, (*path, key))
    elif isinstance(value, list):
        for n, within in enumerate(value):
            yield from _long_texts(document, within, (*path, n))
    elif isinstance(value, str) and len(value) > LONGEST_TEXT:
        yield problem_at(document, path, f"the text has {len(value):,} letters", f"up to {LONGEST_TEXT}")


def _decode(data: bytes, file: str) -> str:
    encoding = "utf-16" if data.startswith((b"\xff\xfe", b"\xfe\xff")) else "utf-8-sig"
    zero = data.find(b"\0")
    if encoding != "utf-16" and zero >= 0:
        raise SetupError(
            Problem(
                "the file holds zero bytes: it is no plain text, or UTF-16 without its mark",
                "TOML text in UTF-8",
                "save it again as plain text, encoding UTF-8",
                Place(file, data.count(b"\n", 0, zero) + 1),
            )
        )
    try:
        return data.decode(encoding)
    except UnicodeDecodeError as trouble:
        raise SetupError(_encoding_problem(data, file, encoding, trouble)) from None


def _encoding_problem(data: bytes, file: str, encoding: str, trouble: UnicodeDecodeError) -> Problem:
    cure = "save it again with the encoding UTF-8 (in the Save As dialogue of the editor)"
    if encoding == "utf-16":
        return Problem(
            "the file begins as UTF-16 but does not go on so", "TOML text in UTF-8", cure, Place(file)
        )
    line = data.count(b"\n", 0, trouble.start) + 1
    start = data.rfind(b"\n", 0, trouble.start) + 1
    end = data.find(b"\n", trouble.start)
    text = data[start : None if end < 0 else end].decode("cp1252", errors="replace").rstrip("\r")
    letter = data[trouble.start : trouble.start + 1].decode("cp1252", errors="replace")
    return Problem(
        f"the file is not UTF-8: here stands the byte {data[trouble.start]:#04x}"
        + (f" ({letter} in Windows-1252)" if letter.isprintable() else ""),
        "TOML text in UTF-8",
        cure,
        Place(
            file,
            line,
            len(data[start : trouble.start].decode("utf-8", errors="replace")) + 1,
            shown_line(text),
        ),
    )


_MOST_LONG = 20
"""Texts that are too long and are named: no file needs more. Our choice."""

REQUIRED: Any = object()
"""The default of a key that has none."""


@dataclass(frozen=True, eq=False)
class Kind:
    """What values a key takes: the check, the sentence that allows, and as much as JSON Schema can say of it.

    ``editor`` stands where ``schema`` is a function, into which the writer of the JSON Schemas cannot look.
    """

    schema: core_schema.CoreSchema
    allowed: str
    table: Table | None = None
    editor: Mapping[str, Any] | None = None


@dataclass(frozen=True, eq=False)
class Key:
    """A key of a table. ``example`` is the value as it would be typed; ``meaning`` documents it."""

    kind: Kind
    example: str
    meaning: str
    default: Any = REQUIRED


@dataclass(frozen=True, eq=False)
class Table:
    """A table of a file: its keys in the order in which they are documented.

    ``cures`` are for words that are no slips of a key, in small letters.
    """

    keys: Mapping[str, Key]
    cures: Mapping[str, str] = field(default_factory=dict)

    @cached_property
    def schema(self) -> core_schema.CoreSchema:
        """The table for pydantic's core; a value is a dict with every key that has a default."""
        return core_schema.typed_dict_schema(
            {
                name: core_schema.typed_dict_field(
                    key.kind.schema
                    if key.default is REQUIRED
                    else core_schema.with_default_schema(key.kind.schema, default=key.default),
                    required=key.default is REQUIRED,
                )
                for name, key in self.keys.items()
            },
            extra_behavior="forbid",
        )

    @cached_property
    def _validator(self) -> SchemaValidator:
        return SchemaValidator(self.schema)

    def read(self, document: TomlDocument, path: KeyPath, problems: list[Problem]) -> dict[str, Any]:
        """The values of the table at ``path``; what is missing or not allowed is left out and named."""
        found = value_at(document.data, path)
        try:
            values: dict[str, Any] = self._validator.validate_python(found)
            return values
        except ValidationError as refusal:
            details = refusal.errors(include_url=False)
            meant = {_meant(self, detail) for detail in details if detail["type"] == "extra_forbidden"}
            problems += [
                _problem(self, document, path, detail)
                for detail in details
                if detail["type"] != "missing" or detail["loc"] not in meant
            ]
        if not isinstance(found, dict):
            return {}
        bad = {detail["loc"][0] for detail in details if detail["loc"]}
        good = Table({name: key for name, key in self.keys.items() if name not in bad})
        rest: dict[str, Any] = good._validator.validate_python({k: found[k] for k in good.keys if k in found})
        return rest


def subject(document: TomlDocument, path: KeyPath) -> str:
    """What a path is called in messages: "site[3] 'ridge top' depth"; elements count from 1."""
    words: list[str] = []
    for n, step in enumerate(path):
        if isinstance(step, int):
            words[-1] += f"[{step + 1}]"
            inside = value_at(document.data, path[: n + 1])
            name = inside.get("name") if isinstance(inside, dict) else None
            if isinstance(name, str):
                words.append(f"{name!r}")
        elif step != "at" or n == len(path) - 1:
            words.append(step)
    return " ".join(words)


def problem_at(
    document: TomlDocument, path: KeyPath, found: str, allowed: str = "", cure: str = "", *, key: bool = False
) -> Problem:
    """A problem about the value (or the key) at ``path``, its subject put in front."""
    place = document.key_place(path) if key else document.value_place(path)
    named = subject(document, path[:-1] if key else path)
    return Problem(f"{named}: {found}" if named else found, allowed, cure, place)


def show(value: object) -> str:
    """A value as it stands in the file, shortened."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        text = printable(value)
        return f'"{text}"' if len(text) <= 60 else f'"{text[:57]}..."'
    if isinstance(value, dict):
        return "a table { ... }"
    if isinstance(value, list):
        return "a list [ ... ]"
    text = str(value)
    return text if len(text) <= 40 else f"{text[:37]}..."


def counted(count: int, what: str) -> str:
    """A number and its noun: "3 sites"."""
    return f"{count} {what}{'' if count == 1 else 's'}"


def close_matches(word: str, known: Iterable[str], count: int = 1, cutoff: float = 0.6) -> list[str]:
    """The known words nearest to ``word``, whatever their capitals."""
    known = tuple(known)
    close = near_names(word, known, count, cutoff)
    if not close and len(word) > 2:
        close = [k for k in dict.fromkeys(known) if k.lower().startswith(word.lower())][:count]
    return close


def suggestion(word: str, known: Iterable[str], count: int = 1, cutoff: float = 0.6) -> str:
    """A cure that names the close matches, or nothing."""
    close = close_matches(word, known, count, cutoff)
    return f"did you mean {' or '.join(close)}?" if close else ""


def refuse(found: str, allowed: str = "", cure: str = "") -> UnitProblem:
    """What a check of one value raises; its place is added where the table is read."""
    return UnitProblem(Problem(found, allowed, cure))


# ---- kinds ----------------------------------------------------------------------------------------------


def checked(check: Callable[[Any], object], allowed: str, editor: Mapping[str, Any] | None = None) -> Kind:
    """A value that ``check`` turns into what the program uses, or refuses with ``refuse``."""
    return Kind(core_schema.no_info_plain_validator_function(check), allowed, editor=editor)


def number(low: float, high: float, *, above: bool = False, unit: str = "") -> Kind:
    """A finite number from ``low`` (or above it) to ``high``; neither true nor "3"."""
    schema = core_schema.float_schema(
        strict=True, allow_inf_nan=False, le=high, gt=low if above else None, ge=None if above else low
    )
    ends = f"above {low:g}, up to {high:,.6g}" if above else f"{low:g} to {high:,.6g}"
    return Kind(schema, f"a number, {ends}{' ' if unit else ''}{unit}")


def whole(low: int, high: int) -> Kind:
    """A whole number from ``low`` to ``high``."""
    return Kind(core_schema.int_schema(strict=True, ge=low, le=high), f"a whole number, {low} to {high:,}")


def flag() -> Kind:
    """True or false."""
    return Kind(core_schema.bool_schema(strict=True), "true or false")


def name() -> Kind:
    """A name of one line."""
    return checked(_name, "text in quotation marks", NAME)


def one_of(*words: str) -> Kind:
    """One of a few words."""
    return Kind(core_schema.literal_schema(list(words)), " | ".join(f'"{w}"' for w in words))


def length(
    low_m: float, high_m: float, too_low: str = "is outside the range", *, above: bool = False
) -> Kind:
    """A length with its unit, in metres from ``low_m`` to ``high_m``; ``above`` leaves the lower end out."""
    allowed = f"{'above ' if above else ''}{100 * low_m:g} cm to {100 * high_m:g} cm"

    def check(value: object) -> float:
        if isinstance(value, bool) or not isinstance(value, str | int | float):
            raise refuse(f"{show(value)} is not a length", f"a length with its unit, {allowed}")
        metres = parse_length(value)
        if metres < low_m or (above and metres == low_m):
            raise refuse(f"{show(value)} {too_low}", allowed)
        if not metres <= high_m:
            raise refuse(f"{show(value)} is outside the range", allowed)
        return metres

    refused = [] if low_m < 0 else [BELOW_ZERO] if low_m == 0 and not above else [BELOW_ZERO, ZERO]
    patterns = [{"pattern": pattern} for pattern in (AMBIGUOUS_LENGTH, *refused)]
    editor = {"type": "string", "pattern": length_pattern(), "not": {"anyOf": patterns}}
    return checked(check, f'a length with its unit, such as "61 cm" or "24 in", {allowed}', editor)


def pair(low: float, high: float, unit: str) -> Kind:
    """Two numbers [low, high] that rise."""
    allowed = f"[low, high] in {unit}, {low:g} to {high:g}"

    def check(value: object) -> tuple[float, float]:
        if not isinstance(value, list) or len(value) != 2:
            raise refuse(f"{show(value)} is not a pair of numbers", allowed)
        ends = [plain_number(v) for v in value]
        if not low <= ends[0] < ends[1] <= high:
            raise refuse(f"[{ends[0]:g}, {ends[1]:g}] does not rise within the allowed range", allowed)
        return ends[0], ends[1]

    end = {"type": "number", "minimum": low, "maximum": high}
    return checked(check, allowed, {"type": "array", "items": end, "minItems": 2, "maxItems": 2})


def file_name(instead: str) -> Kind:
    """The name of a file; a list or table under this key was meant as the tables [[instead]]."""

    def check(value: object) -> str:
        if isinstance(value, list | dict):
            raise refuse("this key names a file", "the name of a CSV file", f"write [[{instead}]] for tables")
        return _name(value)

    return checked(check, "the name of a CSV file", NAME)


def names() -> Kind:
    """A list of names."""
    schema = core_schema.list_schema(core_schema.no_info_plain_validator_function(_name))
    return Kind(schema, "a list of names", editor={"type": "array", "items": NAME})


def inner(table: Table) -> Kind:
    """A table inside the table."""
    example = ", ".join(f"{n} = {k.example}" for n, k in table.keys.items() if k.default is REQUIRED)
    return Kind(table.schema, f"a table {{ {example or '...'} }}", table)


def anything(allowed: str, editor: Mapping[str, Any] | None = None) -> Kind:
    """A value that has several forms; the reader checks it."""
    return Kind(core_schema.any_schema(), allowed, editor=editor)


def plain_number(value: object, what: str = "a number") -> float:
    """A finite number, neither true nor text."""
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise refuse(f"{show(value)} is not {what}", cure=_unquote(value))
    if not abs(value) < 1e300:
        raise refuse(f"{show(value)} is not a finite number")
    return float(value)


def _name(value: object) -> str:
    if not isinstance(value, str):
        raise refuse(f"{show(value)} is not text", "text in quotation marks", _quote(value))
    if not value.strip():
        raise refuse("the text is empty", "a name of one line")
    if any(ord(c) < 32 or c == "\x7f" or 0x80 <= ord(c) < 0xA0 or c in "\u2028\u2029" for c in value):
        raise refuse("the text holds a line break or a control character", "a name of one line")
    return value.strip()


# ---- words for the core's findings ------------------------------------------------------------------------

_NOT = {
    "float_type": "is not a number",
    "int_type": "is not a whole number",
    "int_from_float": "is not a whole number",
    "bool_type": "is neither true nor false",
    "dict_type": "is not a table",
    "list_type": "is not a list",
    "finite_number": "is not a finite number",
    "literal_error": "is not known here",
}


def _problem(table: Table, document: TomlDocument, base: KeyPath, detail: Any) -> Problem:
    loc: tuple[str | int, ...] = tuple(detail["loc"])
    path, found = (*base, *loc), detail["input"]
    owner, key = _owner(table, loc)
    kind = detail["type"]
    if kind == "extra_forbidden":
        return _unknown_key(document, path, owner)
    if kind == "missing":
        missing = owner.keys[str(loc[-1])]
        allowed, example = missing.kind.allowed, missing.example
        cure = f"add {allowed if example == '...' else f'{loc[-1]} = {example}'}"
        return problem_at(document, path[:-1], f"the key {loc[-1]} is missing", allowed, cure)
    if kind == "value_error" and isinstance(detail["ctx"]["error"], UnitProblem):
        own = detail["ctx"]["error"].problem
        return problem_at(
            document, path, own.found, own.allowed or (key.kind.allowed if key else ""), own.cure
        )
    allowed = key.kind.allowed if key else ""
    cure = ""
    if kind in ("float_type", "int_type"):
        cure = _unquote(found)
    elif kind == "literal_error" and isinstance(found, str):
        cure = suggestion(found, re.findall('"([^"]*)"', allowed))
    elif kind == "dict_type" and len(path) == 1 and isinstance(path[0], str):
        cure = f"write it as a table of its own: [{path[0]}]"
    return problem_at(
        document, path, f"{show(found)} {_NOT.get(kind, 'is outside the range')}", allowed, cure
    )


def _meant(table: Table, detail: Any) -> tuple[str | int, ...]:
    """The known key that an unknown one stands for, so that it is not called missing too."""
    *inside, word = detail["loc"]
    owner, _ = _owner(table, detail["loc"])
    if str(word).lower() in owner.cures:
        return ()
    return (*inside, *close_matches(str(word), owner.keys))


def _owner(table: Table, loc: Sequence[str | int]) -> tuple[Table, Key | None]:
    """The table that holds the last key of ``loc``, and that key if it is known."""
    key: Key | None = None
    for n, step in enumerate(loc):
        if isinstance(step, int):
            continue
        key = table.keys.get(step)
        if key is None or key.kind.table is None or n == len(loc) - 1:
            return table, key
        table = key.kind.table
    return table, key


def _unknown_key(document: TomlDocument, path: KeyPath, table: Table) -> Problem:
    word = str(path[-1])
    known = [k for k in table.keys if k != word]
    return problem_at(
        document,
        path,
        f"the key {word} is not known",
        ", ".join(known),
        table.cures.get(word.lower()) or suggestion(word, known),
        key=True,
    )


def _unquote(value: object) -> str:
    if isinstance(value, str) and re.fullmatch(r"\s*[+-]?\d+(?:[.,]\d+)?\s*%?\s*", value):
        return f"write {value.strip().rstrip('%').strip().replace(',', '.')}, without quotation marks"
    return ""


def _quote(value: object) -> str:
    if isinstance(value, dict | list):
        return ""
    return f'write "{show(value)}"'


def value_at(data: object, path: KeyPath) -> Any:
    """What stands at a key path that is known to exist."""
    for step in path:
        data = data[step]  # type: ignore[index]
    return data
