"""One TOML file: read, decoded, parsed, with a place for every key."""

from __future__ import annotations

import re
import tomllib
from functools import cached_property
from typing import Any

from lightdose.errors import Place, Problem, SetupError
from lightdose.files.toml_positions import KeyPath, PositionMap, map_positions, shown_line
from lightdose.model.record import dataclass

LIMIT_BYTES = 10_000_000
"""Largest TOML file that is read: 20,000 sites written by hand take about 3 MB."""

MOST_KEY_PARTS = 30
"""a.b.c has three; our formats need four. Our choice."""

_KEY = r"(?:[\w-]+|\"[^\"\n]*\"|'[^'\n]*')"
_LONG_KEY = re.compile(
    rf"(?:^|[{{,\[])[ \t]*{_KEY}(?:[ \t]*\.[ \t]*{_KEY}){{{MOST_KEY_PARTS}}}", re.MULTILINE
)


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
    if (chain := _LONG_KEY.search(text)) is not None:  # tomllib's memory grows with the square of its parts
        line = text.count("\n", 0, chain.end()) + 1
        found = f"a key of more than {MOST_KEY_PARTS} parts with dots between them"
        raise SetupError(Problem(found, "tables within tables as in the examples", place=Place(file, line)))
    try:
        return TomlDocument(file, text, tomllib.loads(text))
    except (ValueError, RecursionError):
        from lightdose.files.toml_hints import syntax_problems

        raise SetupError(*syntax_problems(text, file)) from None


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
