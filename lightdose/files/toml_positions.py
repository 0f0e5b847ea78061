"""Where every key and value of a TOML text stands.

``tomllib`` parses; it does not say where a key path came from. This second, loose reading of the same text
(which ``tomllib`` has already found sound) yields key path -> offset, and lines and columns from that.
"""

from __future__ import annotations

import re
import tomllib
from bisect import bisect_right
from collections.abc import Mapping
from functools import cached_property

from lightdose.frozen import dataclass

KeyPath = tuple[str | int, ...]
"""Keys and array indexes from 0, such as ("site", 2, "at", "depth")."""

# A repeated group remembers each of its turns: what may go on for megabytes stands outside of groups.
_BLANK = re.compile(r"[ \t\r\n]*(?:#[^\n]*[ \t\r\n]*)*")
_KEY = re.compile(r"\"[^\"\\\n]*(?:\\.[^\"\\\n]*)*\"|'[^'\n]*'|[A-Za-z0-9_-]+")
_DOT = re.compile(r"[ \t]*\.[ \t]*")
_EQUALS = re.compile(r"[ \t]*=[ \t]*")
_VALUE = re.compile(
    r'"""[^"\\]*(?:(?:\\.|"(?!""))[^"\\]*)*"{3,5}'
    r"|'''[^']*(?:'(?!'')[^']*)*'{3,5}"
    r'|"[^"\\\n]*(?:\\.[^"\\\n]*)*"'
    r"|'[^'\n]*'"
    r"|[^,\[\]{}\s#]+(?:[ ][0-9][^,\[\]{}\s#]*)?",  # a date and its time may be parted by one blank
    re.DOTALL,
)


LONGEST_SHOWN_LINE = 300
"""Lines longer than this are not printed under a problem; our choice."""


def printable(text: str) -> str:
    """The text with control characters written out, so that no file can steer a terminal."""
    return "".join(c if c.isprintable() else c.encode("unicode_escape").decode() for c in text)


def shown_line(text: str) -> str:
    """A line of a file as it is printed under a problem: columns stay, control characters become blanks."""
    if len(text) > LONGEST_SHOWN_LINE:
        return ""
    return "".join(c if c.isprintable() or c == "\t" else " " for c in text)


@dataclass(frozen=True, eq=False)
class PositionMap:
    """Offsets of keys and of values in one text, by key path."""

    text: str
    keys: Mapping[KeyPath, int]
    values: Mapping[KeyPath, int]

    @cached_property
    def _starts(self) -> list[int]:
        return [0, *(m.end() for m in re.finditer("\n", self.text))]

    def line_column(self, offset: int) -> tuple[int, int]:
        """Line and column of an offset, both from 1."""
        line = bisect_right(self._starts, offset)
        return line, offset - self._starts[line - 1] + 1

    def shown_text(self, line: int) -> str:
        """A line as it stands under a problem; an endless one is not even copied: it may hold thousands."""
        start = self._starts[line - 1]
        end = self._starts[line] if line < len(self._starts) else len(self.text)
        if end - start > 2 * LONGEST_SHOWN_LINE:
            return ""
        return shown_line(self.text[start:end].rstrip("\r\n"))

    def value(self, path: KeyPath) -> tuple[int, int]:
        """Line and column where the value of ``path`` starts, or of the nearest table around it."""
        return self._nearest(self.values, path)

    def key(self, path: KeyPath) -> tuple[int, int]:
        """Line and column of the key itself, or of the nearest value around it."""
        return self.line_column(self.keys[path]) if path in self.keys else self.value(path)

    def _nearest(self, where: Mapping[KeyPath, int], path: KeyPath) -> tuple[int, int]:
        for length in range(len(path), 0, -1):
            if path[:length] in where:
                return self.line_column(where[path[:length]])
        return (1, 1) if self.text else (0, 0)


def map_positions(text: str) -> PositionMap:
    """The position map of a text that ``tomllib`` accepts."""
    reading = _Reading(text)
    reading.document()
    return PositionMap(text, reading.keys, reading.values)


class _Reading:
    """A text as it is read; ``lengths`` is how many elements each array of tables has so far."""

    def __init__(self, text: str) -> None:
        self.text = text
        self.keys: dict[KeyPath, int] = {}
        self.values: dict[KeyPath, int] = {}
        self.lengths: dict[KeyPath, int] = {}

    def document(self) -> None:
        text, at = self.text, 0
        table: KeyPath = ()
        while (at := self._blank(at)) < len(text):
            if text[at] == "[":
                table, at = self._header(at)
            else:
                at = self._pair(at, table)

    def _blank(self, at: int) -> int:
        found = _BLANK.match(self.text, at)
        return found.end() if found else at

    def _dotted(self, at: int) -> tuple[list[tuple[str, int]], int]:
        parts: list[tuple[str, int]] = []
        while (found := _KEY.match(self.text, at)) is not None:
            parts.append((_plain_key(found.group()), at))
            at = found.end()
            if (dot := _DOT.match(self.text, at)) is None:
                break
            at = dot.end()
        return parts, at

    def _header(self, at: int) -> tuple[KeyPath, int]:
        start, many = at, self.text.startswith("[[", at)
        parts, at = self._dotted(self._blank(at + (2 if many else 1)))
        path: KeyPath = ()
        for n, (name, offset) in enumerate(parts):
            path = (*path, name)
            self.keys.setdefault(path, offset)
            if many and n == len(parts) - 1:
                self.lengths[path] = self.lengths.get(path, 0) + 1
            self.values.setdefault(path, start)
            if path in self.lengths:
                path = (*path, self.lengths[path] - 1)
                self.values.setdefault(path, start)
        self.values[path] = start
        end = self.text.find("\n", at)
        return path, len(self.text) if end < 0 else end

    def _pair(self, at: int, table: KeyPath) -> int:
        parts, end = self._dotted(at)
        path = table
        for name, offset in parts:
            path = (*path, name)
            self.keys.setdefault(path, offset)
            self.values.setdefault(path, offset)
        equals = _EQUALS.match(self.text, end)
        if not parts or equals is None:  # only in text that tomllib refuses: go on behind the line
            end = self.text.find("\n", at)
            return len(self.text) if end < 0 else end
        return self._value(equals.end(), path)

    def _value(self, at: int, path: KeyPath) -> int:
        """Record the value that starts at ``at``; the offset behind it."""
        text = self.text
        self.values[path] = at
        opening = text[at : at + 1]
        if opening not in ("[", "{"):
            found = _VALUE.match(text, at)
            return found.end() if found else at + 1
        closing, index = ("]" if opening == "[" else "}"), 0
        at = self._blank(at + 1)
        while at < len(text) and text[at] != closing:
            if closing == "]":
                at = self._value(at, (*path, index))
                index += 1
            else:
                at = self._pair(at, path)
            at = self._blank(at)
            if text[at : at + 1] == ",":
                at = self._blank(at + 1)
        return at + 1


def _plain_key(raw: str) -> str:
    if raw[0] == "'":
        return raw[1:-1]
    if raw[0] != '"':
        return raw
    if "\\" not in raw:
        return raw[1:-1]
    name = tomllib.loads(f"k = {raw}")["k"]
    return str(name)
