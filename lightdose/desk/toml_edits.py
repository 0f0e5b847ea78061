"""Changes in a TOML file that leave all else as it is: comments, order, spacing, line ends.

tomlkit keeps them; what it does not keep (tables of one kind that are parted by others) is left to the file.
Comments behind the last key of a table belong to what follows, and stay there when a key or a table is added.
"""

from __future__ import annotations

import codecs
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, cast

import tomlkit
from tomlkit.container import Container
from tomlkit.exceptions import TOMLKitError
from tomlkit.items import AoT, InlineTable, Item, SingleKey, Table
from tomlkit.toml_document import TOMLDocument

from lightdose.errors import OutputError, Place, Problem
from lightdose.files.toml_positions import KeyPath

BY_HAND = "change it in the file, with a text editor; the desk shows what came of it"


class TomlText:
    """A TOML file that can be changed.

    Raises
    ------
    OutputError
        If the file is no TOML, or is written in a way that changes would not leave as it is.
    """

    def __init__(self, data: bytes, file: str) -> None:
        self.file = file
        self._mark = next((m for m in (codecs.BOM_UTF8, *_UTF16) if data.startswith(m)), b"")
        self._encoding = "utf-16" if self._mark in _UTF16 else "utf-8"
        try:
            text = data.decode("utf-16" if self._mark in _UTF16 else "utf-8-sig")
            self._document: TOMLDocument = tomlkit.parse(text)
        except (TOMLKitError, ValueError, RecursionError) as cause:
            found = "this file cannot be changed here before it is sound"
            raise OutputError(Problem(found, cure=BY_HAND, place=Place(file))) from cause
        if self._document.as_string() != text:
            found = "this file is written so that a change here would move other lines"
            raise OutputError(Problem(found, cure=BY_HAND, place=Place(file)))

    @property
    def data(self) -> bytes:
        """The file as it is now."""
        text = self._document.as_string()
        if self._mark in _UTF16:
            return self._mark + text.encode("utf-16-le" if self._mark == codecs.BOM_UTF16_LE else "utf-16-be")
        return self._mark + text.encode("utf-8")

    @property
    def values(self) -> dict[str, Any]:
        """The values as they are now."""
        return tomllib.loads(self._document.as_string().replace("\r\n", "\n"))

    def get(self, path: KeyPath) -> Any:
        """The value at a path as plain Python; None where there is none."""
        found: Any = self._document
        for step in path:
            try:
                found = found[step]
            except (KeyError, IndexError, TypeError):
                return None
        return found.unwrap() if isinstance(found, Item | Container) else found

    def put(self, path: KeyPath, value: Any) -> None:
        """Let a key hold a value; None takes it out. Inner tables that are missing are made on one line."""
        if value is None:
            self._take_out(path)
            return
        home: Any = self._document
        for step in path[:-1]:
            if isinstance(step, str) and step not in home:
                _add(home, step, tomlkit.inline_table())
            home = home[step]
        key = path[-1]
        if isinstance(key, int) or key in home:
            home[key] = value
        else:
            _add(home, key, _item(value))

    def _take_out(self, path: KeyPath) -> None:
        home: Any = self._document
        for step in path[:-1]:
            if isinstance(step, str) and step not in home:
                return
            home = home[step]
        if path[-1] in home:
            del home[path[-1]]

    def add_table(self, name: str, values: Mapping[str, Any]) -> int:
        """Another [[name]] behind the last one; gives its index."""
        table = tomlkit.table()
        for key, value in values.items():
            table.append(key, _item(value))
        end = self._line_end
        for _, item in table.value.body:
            item.trivia.trail = end
        table.trivia.trail = end
        there = self._document.get(name)
        if isinstance(there, AoT) and len(there):
            last = there[len(there) - 1]
            tail = _tail(last.value)
            if not last.value.as_string().endswith("\n"):
                table.trivia.indent = end
            table.trivia.indent += end
            there.append(table)
            there[len(there) - 1].value.body.extend(tail)
            return len(there) - 1
        if not self._document.as_string().endswith("\n"):
            table.trivia.indent = end
        table.trivia.indent += end
        several = tomlkit.aot()
        several.append(table)
        if name in self._document:
            del self._document[name]
        self._document.append(name, several)
        return 0

    def drop_table(self, name: str, index: int) -> None:
        """Take a [[name]] out; comments behind it stay."""
        there: Any = self._document[name]
        tail = _tail(there[index].value)
        notes = [entry for entry in tail if "#" in entry[1].as_string()]
        del there[index]
        if not len(there):
            del self._document[name]
        if not notes:
            return
        if index > 0:
            _last_body(there[index - 1].value).extend(tail)
        elif len(there):
            first = there[0]
            first.trivia.indent = "".join(item.as_string() for _, item in tail) + first.trivia.indent
        else:
            self._document.body.extend(tail)

    @property
    def _line_end(self) -> str:
        return "\r\n" if "\r\n" in self._document.as_string() else "\n"


_UTF16 = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)


def _item(value: Any) -> Item:
    if isinstance(value, Mapping):
        pairs = [f"{SingleKey(key).as_string()} = {_item(one).as_string()}" for key, one in value.items()]
        return tomlkit.value(f"{{ {', '.join(pairs)} }}" if pairs else "{}")
    if isinstance(value, str):
        return tomlkit.string(value)
    if isinstance(value, Sequence):
        several = tomlkit.array()
        for one in value:
            several.append(_item(one))
        return several
    return cast(Item, tomlkit.item(value))


def _add(home: Any, key: str, item: Item) -> None:
    """Append a key behind the last one of a table, before the comments that belong to what follows."""
    if isinstance(home, InlineTable):
        home.append(key, item)
        return
    container = home.value if isinstance(home, Table) else home
    at = _end_of_keys(container)
    end = next((i.trivia.trail for _, i in container.body[:at][::-1] if i.trivia.trail), "\n")
    item.trivia.trail = end if end.endswith("\n") else "\n"
    if at and (last := container.body[at - 1][1]) and not last.trivia.trail.endswith("\n"):
        last.trivia.trail += item.trivia.trail
    if at < len(container.body):
        container._insert_at(at, SingleKey(key), item)
    else:
        container.append(SingleKey(key), item)


def _end_of_keys(container: Container) -> int:
    """Behind the last key with a plain value; inner tables come after it."""
    plain = [n for n, (k, i) in enumerate(container.body) if k is not None and not isinstance(i, Table | AoT)]
    return plain[-1] + 1 if plain else 0


def _tail(container: Container) -> list[tuple[Any, Item]]:
    """Take out the blank lines and comments behind the last key of a table, or of its last inner table."""
    body = _last_body(container)
    keys = [n for n, (key, _) in enumerate(body) if key is not None]
    cut = keys[-1] + 1 if keys else 0
    tail = body[cut:]
    del body[cut:]
    return tail


def _last_body(container: Container) -> list[tuple[Any, Item]]:
    body: list[tuple[Any, Item]] = container.body
    for key, item in reversed(body):
        if key is not None:
            if isinstance(item, Table):
                return _last_body(item.value)
            break
    return body
