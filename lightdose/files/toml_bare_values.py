"""Values that TOML does not know: they lack quotation marks, or have a figure too many or too few."""

from __future__ import annotations

import re
from collections.abc import Iterator

from lightdose.errors import Problem
from lightdose.files.toml_positions import printable

STRING = re.compile(r"\"(?:[^\"\\]|\\.)*\"|'[^']*'")
_BARE = re.compile(r"[^\s,\[\]{}=\"'#][^,\[\]{}=#\n]*")
PLAIN = re.compile(
    r"true|false|[+-]?(?:inf|nan)|0x[0-9a-fA-F_]+|0o[0-7_]+|0b[01_]+"
    r"|[+-]?(?:0|[1-9](?:_?\d)*)(?:\.\d(?:_?\d)*)?(?:[eE][+-]?\d+)?"
    r"|\d{4}-\d\d-\d\d(?:[Tt ]\d\d:\d\d:\d\d(?:\.\d+)?(?:[Zz]|[+-]\d\d:\d\d)?)?|\d\d:\d\d:\d\d(?:\.\d+)?"
)
_TIME = re.compile(r"\d{1,2}(?:[:h]\d{2})(?:\+1)?(?: *[aApP]\.?[mM]\.?)?|\d{1,2} *[aApP][mM]")
_PERCENT = re.compile(r"([+-]?\d+(?:[.,]\d+)?) *%")
_LENGTH = re.compile(r"[+-]?\d*[.,]?\d+ *(?:mm|cm|m|in|inch|inches|ft|feet)", re.IGNORECASE)
_POINT_FIRST = re.compile(r"([+-]?)\.(\d+)")
_POINT_LAST = re.compile(r"([+-]?\d+)\.")
_ZERO_FIRST = re.compile(r"([+-]?)0+(\d+(?:\.\d+)?)")
_WORDS = {"True": "true", "False": "false", "TRUE": "true", "FALSE": "false", "yes": "true", "no": "false"}
_NOTHING = {"None", "null", "NULL", "none", "nil"}


def bare_pieces(here: str) -> Iterator[tuple[int, str]]:
    """Unquoted pieces in value position with their offsets: behind an = or inside brackets."""
    at, depth, behind_equals = 0, 0, False
    line = here
    in_array_line = bool(re.match(r"\s*(?:[\[\"']|\.?\d)", line)) and "=" not in STRING.sub("", line)
    while at < len(line):
        letter = line[at]
        if letter == "#":
            return
        if letter in "\"'":
            found = STRING.match(line, at)
            at = found.end() if found else at + 1
        elif letter.isspace():  # \v or a no-break space too, which are no blanks to TOML
            at += 1
        elif letter in "[]{},=":
            depth += (letter in "[{") - (letter in "]}")
            behind_equals = letter == "=" or (behind_equals and letter != "," and letter != "{")
            if letter == "[" and at and not behind_equals and "=" in line[:at]:
                behind_equals = True
            at += 1
        else:
            found = _BARE.match(line, at)
            piece = (found.group() if found else letter).rstrip()
            follows = line[at + len(piece) :].lstrip()[:1]
            in_array = depth > 0 and "=" in line[:at] and line.rfind("[", 0, at) > line.rfind("{", 0, at)
            if follows != "=" and (behind_equals or in_array or in_array_line):
                yield at, piece
            at += len(piece)


def name_bare(piece: str) -> tuple[Problem | None, str]:
    """What an unquoted piece was meant to be."""
    quoted = f'"{piece}"'
    if _TIME.fullmatch(piece):
        return Problem(f"the time {piece} has no quotation marks", cure=f"write {quoted}"), quoted
    if found := _PERCENT.fullmatch(piece):
        number = found[1].replace(",", ".")
        return Problem(f"{piece} has a percent sign", "a plain number", f"write {number}"), number
    if _LENGTH.fullmatch(piece):
        return Problem(f"the length {piece} has no quotation marks", cure=f"write {quoted}"), quoted
    if found := _POINT_FIRST.fullmatch(piece):
        number = f"{found[1]}0.{found[2]}"
        return Problem(f"{piece} has no figure before the point", cure=f"write {number}"), number
    if found := _POINT_LAST.fullmatch(piece):
        return Problem(f"{piece} has no figure behind the point", cure=f"write {found[1]}.0"), f"{found[1]}.0"
    if found := _ZERO_FIRST.fullmatch(piece):
        number = f"{found[1]}{found[2]}"
        return Problem(f"{piece} begins with a 0 that is not needed", cure=f"write {number}"), number
    if piece in _WORDS:
        return Problem(f"{piece} is not known", "true or false", f"write {_WORDS[piece]}"), _WORDS[piece]
    if piece in _NOTHING:
        return Problem(f"{piece} is not known", cure="leave the whole line out"), '""'
    if all(PLAIN.fullmatch(word) for word in piece.split()):
        return None, piece
    if re.match(r"[A-Za-z\u00c0-\uffff]", piece) or re.fullmatch(r"[+-]?\d[\w .,/:+-]*", piece):
        return Problem(f"{shorten(piece)} has no quotation marks", cure=f"write {shorten(quoted)}"), quoted
    return None, piece


def shorten(text: str, most: int = 60) -> str:
    """The text without control characters, cut where it is long."""
    text = printable(text)
    return text if len(text) <= most else text[: most - 3] + "..."
