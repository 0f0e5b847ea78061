"""What an installation must hold: tables with the sums of SOURCES.toml, editor schemas, libraries."""

from __future__ import annotations

import hashlib
import re
import tomllib
from importlib.metadata import PackageNotFoundError, requires, version
from pathlib import Path

from lightdose.files.library import data_file

MISSING = "missing"


def table_sums() -> list[tuple[str, str, str]]:
    """Every table of SOURCES.toml: its path, the sha256 that stands there, and that of the installed file.

    A table that lies there without a row has an empty sum to match.
    """
    rows = tomllib.loads(data_file("SOURCES.toml").read_text(encoding="utf-8"))["file"]
    expected = {row["path"]: row["sha256"] for row in rows}
    home = data_file()
    others = sorted(p.relative_to(home).as_posix() for p in home.rglob("*.csv"))
    return [(name, expected.get(name, ""), _sum(home / name)) for name in dict.fromkeys([*expected, *others])]


def schema_states(example: Path) -> list[tuple[str, str]]:
    """Every editor schema beside the example, and whether it is what the readers of the files check."""
    from lightdose.files.editor_schema import schemas

    states = []
    for name, text in schemas().items():
        path = example / "schemas" / name
        state = "as the readers check"
        if not path.is_file():
            state = MISSING
        elif path.read_text(encoding="utf-8") != text:
            state = "of another version"
        states.append((name, state))
    return states


def library_versions() -> list[tuple[str, str, str]]:
    """Every library that lightdose needs: its name, the least version asked for, and what is installed."""
    try:
        lines = requires("lightdose") or []
    except PackageNotFoundError:
        return []
    found = (re.fullmatch(r"([\w.-]+)\s*>=\s*([\d.]+)", line) for line in lines)
    return [(match[1], match[2], _version(match[1])) for match in found if match]


def is_at_least(found: str, least: str) -> bool:
    """Whether a version is the least one or later, by its leading numbers."""
    return found != MISSING and _numbers(found) >= _numbers(least)


def _numbers(text: str) -> list[int]:
    leading = re.match(r"\d+(?:\.\d+)*", text)
    return [int(part) for part in leading[0].split(".")] if leading else []


def _version(name: str) -> str:
    try:
        return version(name)
    except PackageNotFoundError:
        return MISSING


def _sum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else MISSING
