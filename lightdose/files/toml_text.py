"""Values as TOML text that reads back to the same values."""

from __future__ import annotations

import json
import re
from collections.abc import Mapping, Sequence
from typing import Any, Final

_BARE: Final = re.compile(r"[A-Za-z0-9_-]+")


def toml_value(value: object) -> str:
    """A value on one line: text, number, true or false, a list, or a table in braces.

    Raises
    ------
    TypeError
        If TOML has no such value.
    """
    if isinstance(value, str):  # JSON's escapes of text are TOML's too
        return json.dumps(value, ensure_ascii=False).replace("\x7f", "\\u007f")
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, float):
        return repr(float(value))
    if isinstance(value, int):
        return str(value)
    if isinstance(value, list | tuple):
        return "[" + ", ".join(toml_value(v) for v in value) + "]"
    if isinstance(value, Mapping):
        inside = ", ".join(f"{toml_key(k)} = {toml_value(v)}" for k, v in value.items() if v is not None)
        return f"{{ {inside} }}" if inside else "{}"
    raise TypeError(f"{value!r} is no value of TOML")


def toml_key(name: str) -> str:
    """A key, in quotation marks where it needs them."""
    return name if _BARE.fullmatch(name) else toml_value(name)


def toml_lines(values: Mapping[str, Any]) -> list[str]:
    """A line a key; None is left out."""
    return [f"{toml_key(key)} = {toml_value(value)}" for key, value in values.items() if value is not None]


def toml_table(header: str, values: Mapping[str, Any]) -> list[str]:
    """A blank line, a header such as "[tank]", and a line a key."""
    return ["", header, *toml_lines(values)]


def toml_tables(key: str, tables: Sequence[Mapping[str, Any]]) -> list[str]:
    """Several tables of one kind."""
    return [line for values in tables for line in toml_table(f"[[{key}]]", values)]
