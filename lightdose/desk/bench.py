"""The texts of files on which changes work, and what a change is."""

from __future__ import annotations

import os
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Final

from lightdose.desk.table_edits import TableText
from lightdose.desk.toml_edits import TomlText
from lightdose.errors import OutputError, Place, Problem, literal
from lightdose.files.units import format_length
from lightdose.model.setup import LengthUnit, Setup

Change = Mapping[str, Any]

SEVERAL: Final = ("coral", "site", "rack", "rock", "brace", "fixture")
SINGLE: Final = ("tank", "water", "cover", "electricity", "uncertainty")

IN_TABLES: Final[Mapping[str, tuple[str, Mapping[str, str]]]] = {
    "coral": (
        "corals",
        {
            "name": "coral",
            "group": "group",
            "genus": "genus",
            "site": "site",
            "at.x": "x_cm",
            "at.y": "y_cm",
            "at.depth": "depth_cm",
            "open_sky": "open_sky",
            "height": "height_cm",
            "pinned": "pinned",
            "on": "on",
            "keep_apart": "keep_apart_cm",
            "form": "form",
            "diameter": "diameter_cm",
            "passes": "passes",
            "growth.diameter": "growth_diameter_cm",
            "growth.height": "growth_height_cm",
        },
    ),
    "site": (
        "sites",
        {
            "name": "site",
            "at.x": "x_cm",
            "at.y": "y_cm",
            "at.depth": "depth_cm",
            "open_sky": "open_sky",
            "on": "on",
        },
    ),
    "rock": (
        "rocks",
        {
            "name": "rock",
            "shape": "shape",
            "at.x": "x_cm",
            "at.y": "y_cm",
            "at.height": "z_cm",
            "size.x": "size_x_cm",
            "size.y": "size_y_cm",
            "size.z": "size_z_cm",
            "turn_deg": "turn_deg",
            "reflectance": "reflectance",
        },
    ),
}
"""Kinds that may stand in a table of their own: the key that names it, and key -> column."""


@dataclass(eq=False)
class Bench:
    """Texts of files on which a change works.

    Attributes
    ----------
    path : of the setup
    texts : what is not on the disk yet, by absolute path
    setup : as it stood before the change; None where it cannot be read
    """

    path: Path
    texts: Mapping[str, bytes]
    setup: Setup | None
    parsed: dict[str, TomlText]
    changed: dict[str, bytes | None] = field(default_factory=dict)

    @property
    def unit(self) -> LengthUnit:
        """Of the lengths that are written."""
        return self.setup.length_unit if self.setup else "cm"

    def length(self, metres: float) -> str:
        """A length as it is written."""
        return format_length(metres, self.unit)

    def content(self, path: str) -> bytes | None:
        """The bytes of a file as they are now; None where there is none."""
        if path in self.changed:
            return self.changed[path]
        if path in self.texts:
            return self.texts[path]
        try:
            return Path(path).read_bytes()
        except FileNotFoundError:
            return None

    def beside(self, named: str) -> str:
        """The absolute path of a file that the setup names.

        Raises
        ------
        OutputError
            If it lies outside the setup's folder: such files are looked at, never changed.
        """
        home = os.path.realpath(self.path.parent)
        path = os.path.abspath(os.path.join(self.path.parent, named))
        if os.path.commonpath([home, os.path.realpath(path)]) != home:
            found = f"{literal(named)} lies outside the folder of this setup and is not changed from here"
            raise OutputError(Problem(found, cure="change it where it is"))
        return path

    def toml(self, path: str | None = None) -> TomlText:
        """A TOML file, by default the setup; what changes in it is kept by ``keep``."""
        where = path or str(self.path)
        if where not in self.parsed:
            content = self.content(where)
            if content is None:
                raise OutputError(Problem("there is no such file", place=Place(where)))
            self.parsed[where] = TomlText(content, os.path.basename(where))
        return self.parsed[where]

    def keep(self, text: TomlText, path: str | None = None) -> None:
        """Take over what a TOML file has become."""
        self.changed[path or str(self.path)] = text.data

    def table(self, key: str, column: str) -> tuple[TableText, str]:
        """The table that a key of the setup names, by the column that names its rows, and its path."""
        named = self.toml().get((key,))
        if not isinstance(named, str):
            raise OutputError(Problem(f"this setup names no file of {key}"))
        path = self.beside(named)
        content = self.content(path)
        if content is None:
            raise OutputError(Problem(f"{literal(named)} is not there"))
        return TableText(content, named, column), path

    def index(self, kind: str, name: str) -> int | None:
        """Which [[kind]] of the setup has a name; None where it stands in a table, or nowhere."""
        tables = self.toml().get((kind,))
        if not isinstance(tables, list):
            return None
        return next((n for n, t in enumerate(tables) if same_name(t.get("name"), name)), None)


def same_name(written: object, name: str) -> bool:
    """Whether a value of a file is a name, as the readers take it."""
    return isinstance(written, str) and written.strip() == name


def text_of(change: Change, key: str) -> str:
    """A text that the page sent."""
    value = change[key]
    if not isinstance(value, str) or len(value) > 20_000:
        raise ValueError(key)
    return value


def metres_of(change: Change, key: str) -> float | None:
    """A length that the page sent; None where it did not. [m]"""
    value = change.get(key)
    if value is None:
        return None
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < 1000:
        raise ValueError(key)
    return float(value)
