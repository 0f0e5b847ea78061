"""Harm that knows the structure of a file: values of other keys, cells of other columns, tables twice."""

from __future__ import annotations

import contextlib
import re
from collections.abc import Callable
from random import Random

from misuse.ways_to_break import WAYS

NUMBERS = (
    *(
        "0",
        "-0.0",
        "1",
        "-1",
        "0.5",
        "1e-9",
        "5e-324",
        "1e-320",
        "1e300",
        "1e308",
        "1e309",
        "-1e309",
        "nan",
        "inf",
    ),
    *(
        "100",
        "99.999999999999",
        "100.00000001",
        "1e5",
        "999999",
        "0.99",
        "1.0000000000000002",
        "180",
        "360",
        "24",
    ),
)
LENGTHS = (
    "0 cm",
    "1 nm",
    "1 cm",
    "1e-9 cm",
    "0.000001 mm",
    "20 m",
    "2000 cm",
    "19.99 m",
    "-1 cm",
    "3 ft",
    '5"',
    "7",
)
WORDS = (
    *(
        "",
        " ",
        "unknown",
        "built in",
        "painted",
        "dark",
        "ridge",
        "A1",
        "left",
        "hammer",
        "setup.toml",
        "left.csv",
    ),
    *(
        "\u3042\u304a\u3044",
        "x" * 300,
        "a=b",
        "#1",
        "08:00",
        "24:00",
        "02:00+1",
        "half under",
        "true",
        "2026-03-14",
    ),
)
SPACES = (" ", "\u00a0", "\u2009", "\u202f", "\u3000", "\u0085", "\t", "\u200b", "\u2028")
_TOML_VALUE = re.compile(r'"[^"\n]*"|(?<=[=\[, {])[-+]?\d[\d.]*(?=[\s,\]}]|$)|true|false', re.MULTILINE)
_TOML_TABLE = re.compile(r"^\[\[?[^\]]+\]\]?$", re.MULTILINE)
_TOML_KEY = re.compile(r"(?m)^\s*([A-Za-z_0-9]+)(?=\s*=)")


def _quoted(word: str) -> str:
    return '"' + word.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _toml_value(text: str, draw: Random) -> str:
    """One value becomes another: of its own kind most often, of the file, or of another kind."""
    found = list(_TOML_VALUE.finditer(text))
    if not found:
        return text
    place = draw.choice(found)
    old = place[0]
    if draw.random() < 0.2:
        new = draw.choice(found)[0]
    elif re.match(r'"[\d.,]+ ?\w+"', old) and draw.random() < 0.8:
        new = _quoted(draw.choice(LENGTHS))
    elif old.startswith('"') and draw.random() < 0.8:
        new = _quoted(draw.choice(WORDS))
    elif draw.random() < 0.5 and not old.startswith('"') and old not in ("true", "false"):
        new = repr(float(old) * draw.choice((1e-6, 0.01, 0.5, 0.99, 2, 10, 100, 1e4)))
    else:
        new = draw.choice(NUMBERS)
    return text[: place.start()] + new + text[place.end() :]


def _toml_table(text: str, draw: Random) -> str:
    """A table gone, twice, or moved to the end."""
    starts = [m.start() for m in _TOML_TABLE.finditer(text)]
    if not starts:
        return text
    n = draw.randrange(len(starts))
    first, last = starts[n], (starts[n + 1 :] or [len(text)])[0]
    table, way = text[first:last], draw.randrange(3)
    if way == 0:
        return text[:first] + text[last:]
    if way == 1:
        return text[:last] + table + text[last:]
    return text[:first] + text[last:] + "\n" + table


def _toml_key(text: str, draw: Random) -> str:
    """A key gone, or under the name of another."""
    found = list(_TOML_KEY.finditer(text))
    if not found:
        return text
    place = draw.choice(found)
    if draw.random() < 0.5:
        end = text.find("\n", place.end())
        return text[: place.start(1)] + text[end + 1 :] if end >= 0 else text[: place.start(1)]
    return text[: place.start(1)] + draw.choice(found)[1] + text[place.end(1) :]


def _cells(text: str) -> list[list[str]]:
    return [line.split(",") for line in text.split("\n")]


def _joined(rows: list[list[str]]) -> str:
    return "\n".join(",".join(row) for row in rows)


def _csv_cell(text: str, draw: Random) -> str:
    """A cell becomes a number, a word, another cell of the table, or gets an odd space."""
    rows = _cells(text)
    row = rows[draw.randrange(len(rows))]
    at, way = draw.randrange(len(row)), draw.randrange(5)
    if way == 0:
        row[at] = draw.choice(NUMBERS)
    elif way == 1:
        row[at] = draw.choice(WORDS)
    elif way == 2:
        row[at] = draw.choice(draw.choice(rows))
    elif way == 3:
        row[at] = draw.choice(("", "0", "100", "1e-300", "50%", "12:00", "5 cm"))
    else:
        cut = draw.randrange(len(row[at]) + 1)
        row[at] = row[at][:cut] + draw.choice(SPACES) + row[at][cut:]
    return _joined(rows)


def _csv_column(text: str, draw: Random) -> str:
    """A column gone, twice, or one value in all its rows."""
    rows = _cells(text)
    at = draw.randrange(max(len(row) for row in rows))
    way, value = draw.randrange(3), draw.choice(NUMBERS)
    for n, row in enumerate(rows):
        if at < len(row):
            if way == 0:
                del row[at]
            elif way == 1:
                row.insert(at, row[at])
            elif n and len(row) > 1:
                row[at] = value
    return _joined(rows)


def _csv_rows(text: str, draw: Random) -> str:
    """A row many times, or the rows in another order."""
    rows = _cells(text)
    at = draw.randrange(len(rows))
    if draw.random() < 0.5:
        return _joined(rows[:at] + [rows[at]] * draw.choice((2, 50, 2000)) + rows[at:])
    draw.shuffle(rows)
    return _joined(rows)


def _token(text: str, draw: Random) -> str:
    """A number of a file of tokens becomes another."""
    found = list(re.finditer(r"(?<![\w.])[-+]?\d[\d.]*(?![\w.])", text))
    if not found:
        return text
    place = draw.choice(found)
    return text[: place.start()] + draw.choice(NUMBERS) + text[place.end() :]


_TOML: tuple[Callable[[str, Random], str], ...] = (
    _toml_value,
    _toml_value,
    _toml_value,
    _toml_table,
    _toml_key,
)
_CSV: tuple[Callable[[str, Random], str], ...] = (_csv_cell, _csv_cell, _csv_cell, _csv_column, _csv_rows)


def harmed(name: str, data: bytes, draw: Random) -> bytes:
    """The bytes of a file with one to three kinds of harm; most know what kind of file it is."""
    for _ in range(draw.choice((1, 1, 1, 2, 3))):
        if not data or draw.random() < 0.3:
            with contextlib.suppress(UnicodeDecodeError):  # harmed twice, and no text any more
                data = WAYS[draw.choice(list(WAYS))](data, draw) if data else data
            continue
        try:
            text = data.decode()
        except UnicodeDecodeError:
            continue
        ways = _TOML if name.endswith(".toml") else _CSV if name.endswith(".csv") else (_token,)
        data = draw.choice(ways)(text, draw).encode("utf-8", "surrogatepass")
    return data
