"""Ways in which files come to harm, each drawn from a seeded generator: the same harm in every run."""

from __future__ import annotations

import re
from collections.abc import Callable
from random import Random

_NUMBER = re.compile(rb"(?<![\w\"#.])[-+]?\d[\d.]*")
_WORD = re.compile(rb'"[^"\n]*"|(?<=,)[A-Za-z ]+(?=,)')

HUGE = (b"1e309", b"9" * 400, b"1e300", b"99999999999999999999", b"-1e300", b"1e-320")
NO_NUMBERS = (
    b"nan",
    b"inf",
    b"-inf",
    b"NaN",
    b"true",
    b"[]",
    b"{}",
    b'""',
    b"0x10",
    b"1_000",
    b"1,5",
    b"-0.0",
)
STEERING_WORDS = (
    "\\u001b[31mred",
    "\\u001b]0;title\\u0007",
    "\\u202eabc",
    "a\\u0000b",
    "a\\nb",
    "a\\rb",
    "\\u009b31m",
    "../../x",
    "=1+1",
    "x" * 5000,
    "",
)
RAW_WORDS = ("\x1b[31mred", "\x1b]0;title\x07", "\u202eabc", "a\rb", "\x9b31m", "=1+1", "x" * 5000, "\ufeff")


def _at_one(pattern: re.Pattern[bytes], data: bytes, draw: Random, new: bytes) -> bytes:
    found = list(pattern.finditer(data))
    if not found:
        return data + new
    place = draw.choice(found)
    return data[: place.start()] + new + data[place.end() :]


def _flip_bits(data: bytes, draw: Random) -> bytes:
    harmed = bytearray(data)
    for _ in range(draw.choice((1, 3, 20))):
        harmed[draw.randrange(len(harmed))] ^= 1 << draw.randrange(8)
    return bytes(harmed)


def _put(data: bytes, draw: Random, new: bytes) -> bytes:
    at = draw.randrange(len(data))
    return data[:at] + new + data[at:]


def _lose(data: bytes, draw: Random) -> bytes:
    at = draw.randrange(len(data))
    return data[:at] + data[at + draw.choice((1, 2, 10, 100)) :]


def _line_twice(data: bytes, draw: Random) -> bytes:
    lines = data.split(b"\n")
    lines.insert(draw.randrange(len(lines)), draw.choice(lines))
    return b"\n".join(lines)


def _lines_mixed(data: bytes, draw: Random) -> bytes:
    lines = data.split(b"\n")
    draw.shuffle(lines)
    return b"\n".join(lines)


def _line_gone(data: bytes, draw: Random) -> bytes:
    lines = data.split(b"\n")
    del lines[draw.randrange(len(lines))]
    return b"\n".join(lines)


def _piece_again(data: bytes, draw: Random) -> bytes:
    start = draw.randrange(len(data))
    return _put(data, draw, data[start : start + draw.randrange(1, 200)])


def _scaled(data: bytes, draw: Random) -> bytes:
    found = list(_NUMBER.finditer(data))
    if not found:
        return data
    place = draw.choice(found)
    try:
        value = float(place[0])
    except ValueError:
        value = 1.0
    new = repr(value * draw.choice((-1, 0, 1e-12, 1e-3, 10, 1e3, 1e6, 1e12)))
    return data[: place.start()] + new.encode() + data[place.end() :]


_DATE = re.compile(rb"\d{4}-\d\d-\d\d")
SPREADSHEET_DATES = (
    b"46095",
    b"3/14/2026",
    b"14.03.2026",
    b"14/03/26",
    b"2026-03-14 00:00:00",
    b"14-Mar-26",
    b"#####",
)


def _semicolons(data: bytes, _: Random) -> bytes:
    return data.replace(b",", b";")


def _decimal_commas(data: bytes, draw: Random) -> bytes:
    return _semicolons(data, draw).replace(b".", b",")


def _blank_rows(data: bytes, draw: Random) -> bytes:
    blank = draw.choice((b"", b" ", b",,,,", b";;;", b"\t"))
    return b"\n".join(line + b"\n" + blank for line in data.split(b"\n"))


BYTE_WAYS: dict[str, Callable[[bytes, Random], bytes]] = {
    "cut off": lambda data, draw: data[: draw.randrange(len(data))],
    "bits flipped": _flip_bits,
    "bytes lost": _lose,
    "noise put in": lambda data, draw: _put(data, draw, draw.randbytes(draw.choice((1, 2, 8)))),
    "NUL put in": lambda data, draw: _put(data, draw, b"\0"),
    "mark put in": lambda data, draw: _put(
        data, draw, draw.choice([b"[", b"]", b"{", b'"', b",", b"=", b"\r", b"#"])
    ),
    "piece again": _piece_again,
    "line twice": _line_twice,
    "line gone": _line_gone,
}
"""Harm to the bytes of any file."""

WAYS: dict[str, Callable[[bytes, Random], bytes]] = {
    **BYTE_WAYS,
    "lines mixed": _lines_mixed,
    "number scaled": _scaled,
    "number huge": lambda data, draw: _at_one(_NUMBER, data, draw, draw.choice(HUGE)),
    "number none": lambda data, draw: _at_one(_NUMBER, data, draw, draw.choice(NO_NUMBERS)),
    "word escaped": lambda data, draw: _at_one(
        _WORD, data, draw, b'"' + draw.choice(STEERING_WORDS).encode() + b'"'
    ),
    "word raw": lambda data, draw: _at_one(_WORD, data, draw, b'"' + draw.choice(RAW_WORDS).encode() + b'"'),
    "word of two lines": lambda data, draw: _at_one(_WORD, data, draw, b'"two\nlines"'),
    "date of a spreadsheet": lambda data, draw: _DATE.sub(draw.choice(SPREADSHEET_DATES), data),
    "semicolons": _semicolons,
    "decimal commas": _decimal_commas,
    "blank rows": _blank_rows,
    "twice in full": lambda data, _: data * 2,
    "empty": lambda *_: b"",
    "UTF-16": lambda data, _: data.decode().encode("utf-16"),
    "UTF-16 without mark": lambda data, _: data.decode().encode("utf-16-le"),
    "UTF-32": lambda data, _: data.decode().encode("utf-32"),
    "mark of UTF-8": lambda data, _: b"\xef\xbb\xbf" + data,
    "false mark": lambda data, _: b"\xff\xfe" + data,
    "old Mac line ends": lambda data, _: data.replace(b"\n", b"\r"),
    "Windows line ends": lambda data, _: data.replace(b"\n", b"\r\n"),
}
"""All ways; those beyond ``BYTE_WAYS`` know numbers, words and encodings."""


def broken(name: str, data: bytes, way: str) -> bytes:
    """The data harmed in that way; drawn from the file's name and the way alone."""
    return WAYS[way](data, Random(f"{name}, {way}"))
