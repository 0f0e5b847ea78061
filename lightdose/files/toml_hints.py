"""Text that is not TOML, named in the words of a keeper who typed it.

``tomllib`` stops at the first trouble. Here the trouble becomes a problem with its place and cure; where the
cure is certain it is applied to a copy of the text and the reading goes on, so that one run names them all.
"""

from __future__ import annotations

import re
import tomllib
from collections.abc import Callable, Iterator

from lightdose.errors import Place, Problem
from lightdose.files.toml_positions import printable, shown_line
from lightdose.model.record import dataclass

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


MOST_REPAIRS = 50
LONGEST_TYPED = 20_000
"""Letters in a line that somebody may have typed: longer ones get no hint, for each costs a long search."""

_AT = re.compile(r"\(at (?:line (\d+), column (\d+)|end of document)\)$")
_CURLY = re.compile("[\u201c\u201d\u201e\u201f\u00ab\u00bb\u2018\u2019\u201a\u201b]")
_DECIMAL_COMMA = re.compile(r"=\s*(([+-]?\d+(?:\.\d+)?),(\d+)( *(?:mm|cm|m|in|ft|%))?)(?=\s*(?:[,}#]|$))")
_PATH = re.compile(r"\"(?:[A-Za-z]:)?[^\"\n]*\\[^\"\n]*\"?")
_SEVERAL = ("channel", "fixture", "site", "rack", "coral")
_HEADER_TWICE = re.compile(r"Cannot declare \((.*?),?\) twice")
_HEADER_OF_SEVERAL = re.compile(r"\s*\[\[\s*([\w-]+)\s*\]\]")


@dataclass(frozen=True)
class _Spot:
    """The line where ``tomllib`` stopped, the column (from 1), and what it said."""

    here: str
    column: int
    message: str


@dataclass(frozen=True)
class _Finding:
    """A problem at a column (from 1), and the line as it was meant, if that is certain."""

    column: int
    problem: Problem
    mended: str | None = None


def syntax_problems(text: str, file: str) -> list[Problem]:
    """Every problem of a text that ``tomllib`` refuses, in file order."""
    original = text.split("\n")
    lines, problems = list(original), list[Problem]()
    for _ in range(MOST_REPAIRS):
        try:
            tomllib.loads("\n".join(lines))
        except RecursionError:
            problems.append(_whole(file, "brackets stand inside brackets too deeply to read"))
            break
        except tomllib.TOMLDecodeError as trouble:
            line, column, message = _where(str(trouble), lines)
            line, finding = _find(lines, line, column, message)
            mends = len(lines[line - 1]) - len(original[line - 1])  # they stand left of what is found next
            column = min(max(finding.column - mends, 1), len(original[line - 1]) + 1)
            problems.append(finding.problem.at(Place(file, line, column, shown_line(original[line - 1]))))
            if finding.mended is None or finding.mended == lines[line - 1]:
                break
            lines[line - 1] = finding.mended
        except ValueError:
            problems.append(_whole(file, "a whole number has more than 4,300 digits"))
            break
        else:
            break
    return problems


def _whole(file: str, found: str) -> Problem:
    return Problem(found, place=Place(file))


def _where(message: str, lines: list[str]) -> tuple[int, int, str]:
    found = _AT.search(message)
    short = _AT.sub("", message).strip()
    if found and found[1]:
        return int(found[1]), int(found[2]), short
    last = max((n for n, line in enumerate(lines, 1) if line.strip()), default=1)
    return last, len(lines[last - 1]) + 1, short


def _find(lines: list[str], line: int, column: int, message: str) -> tuple[int, _Finding]:
    """The line and what is wrong with it; the trouble may have begun on an earlier line."""
    spot = _Spot(lines[line - 1], column, message)
    for look in _LOOKS if len(spot.here) <= LONGEST_TYPED else ():
        finding = look(spot)
        if finding is not None:
            return line, finding
    earlier = _missing_comma_before(lines, line, message)
    if earlier is not None:
        return earlier
    return line, _in_other_words(column, message)


def _curly_quotes(spot: _Spot) -> _Finding | None:
    here = spot.here
    bare = STRING.sub(lambda m: " " * len(m.group()), here)
    found = _CURLY.search(bare)
    if found is None or bare.find("#", 0, found.start()) >= 0:
        return None
    problem = Problem(
        "the quotation marks are curly ones",
        'straight quotation marks: "..."',
        "type them again here; word processors and phones turn them",
    )
    return _Finding(found.start() + 1, problem, _CURLY.sub('"', here))


def _backslash_path(spot: _Spot) -> _Finding | None:
    here = spot.here
    if not ("hex value" in spot.message or "Unescaped" in spot.message or "scalar value" in spot.message):
        return None
    for found in _PATH.finditer(here):
        if found.start() < spot.column <= found.end() + 1:
            mended = found.group().replace("\\", "/")
            problem = Problem(
                f"{shorten(found.group())}: a backslash in double quotation marks has its own meaning",
                "forward slashes in file names, on Windows too",
                f"write {shorten(mended)}",
            )
            return _Finding(found.start() + 1, problem, here[: found.start()] + mended + here[found.end() :])
    return None


def _header_twice(spot: _Spot) -> _Finding | None:
    here = spot.here
    found = _HEADER_TWICE.search(spot.message)
    doubled = _HEADER_OF_SEVERAL.match(here) if spot.message == "Cannot overwrite a value" else None
    found = found or doubled
    if found is None or not here.strip().startswith("["):
        return None
    name = found[1].replace("'", "").split(", ")[-1]
    start = here.find("[") + 1
    if name in _SEVERAL:
        problem = Problem(
            f"[{name}] stands above, [[{name}]] here" if doubled else f"[{name}] stands for the second time",
            f"[[{name}]] with two brackets each time, because there may be several",
            f"write [[{name}]] above too" if doubled else f"write [[{name}]] here and above",
        )
        return _Finding(start, problem)
    return _Finding(
        start, Problem(f"[{name}] stands for the second time", cure="put its keys into one table")
    )


def _key_twice(spot: _Spot) -> _Finding | None:
    here = spot.here
    if "overwrite" not in spot.message and "redefine" not in spot.message and "Duplicate" not in spot.message:
        return None
    found = re.match(r"\s*([^=\[#]+?)\s*=", here)
    if found is None:
        return None
    return _Finding(
        found.start(1) + 1,
        Problem(f"{found[1]} stands for the second time in its table", cure="keep one of them"),
    )


def _decimal_comma(spot: _Spot) -> _Finding | None:
    here = spot.here
    found = _DECIMAL_COMMA.search(_without_comment(here))
    if found is None:
        return None
    number, unit = f"{found[2]}.{found[3]}", found[4]
    if "." in found[2]:
        problem = Problem(f"{found[1]} has a point and a comma", "one of them, before the decimals")
        return _Finding(found.start(1) + 1, problem)
    if unit and unit.strip() == "%":
        problem = Problem(f"{found[1]} has a percent sign", "a plain number", f"write {number}")
        return _Finding(found.start(1) + 1, problem, here[: found.start(1)] + number + here[found.end(1) :])
    meant = f'"{found[1]}"' if unit else number
    cure = f"write {meant}" if len(found[3]) != 3 or unit else f"write {meant}, or {found[2]}{found[3]}"
    problem = Problem(
        f"{found[1]} has a decimal comma",
        "numbers with a decimal point; lengths in quotation marks may keep the comma",
        cure,
    )
    return _Finding(found.start(1) + 1, problem, here[: found.start(1)] + meant + here[found.end(1) :])


def _inches(spot: _Spot) -> _Finding | None:
    here = spot.here
    found = re.search(r"[=\[,{]\s*(\d+(?:[.,]\d+)?)[\"\u2033](?=\s*(?:[,}\]#]|$))", here)
    if found is None or here.count('"', 0, found.start()) % 2:
        return None
    problem = Problem(f'the length {found[1]}" has no quotation marks', cure=f'write "{found[1]} in"')
    mended = here[: found.start(1)] + f'"{found[1]} in"' + here[found.end() :]
    return _Finding(found.start(1) + 1, problem, mended)


def _bare_value(spot: _Spot) -> _Finding | None:
    """The first unquoted piece of the line that TOML does not know as a value."""
    here = spot.here
    if re.match(r"\s*\[[^,\"]*\]?\s*(?:#|$)", here) and "=" not in here:  # the name of a table
        return None
    for start, piece in bare_pieces(here):
        if PLAIN.fullmatch(piece):
            continue
        problem, meant = name_bare(piece)
        if problem is not None:
            return _Finding(start + 1, problem, here[:start] + meant + here[start + len(piece) :])
    return None


def _missing_comma(spot: _Spot) -> _Finding | None:
    here = spot.here
    if "Unclosed array" not in spot.message and "Unclosed inline table" not in spot.message:
        return None
    start = spot.column - 1
    if here[start : start + 1].isdigit() and here[start - 1 : start] not in (" ", "\t"):
        return None
    while start < len(here) and here[start] in " \t":
        start += 1
    before = here[:start].rstrip()
    if start >= len(here) or not before or before[-1] in ",=[{" or here[start] in "#]}":
        return None
    if here[start] == ";":
        problem = Problem("a semicolon stands between two values", "commas", "write a comma in its place")
        return _Finding(start + 1, problem, here[:start] + "," + here[start + 1 :])
    kind = "points" if here[start] == "[" else "values"
    problem = Problem(f"a comma is missing between two {kind}", cure="put a comma before this one")
    return _Finding(start + 1, problem, before + ", " + here[start:])


def _missing_comma_before(lines: list[str], line: int, message: str) -> tuple[int, _Finding] | None:
    """A comma that is missing at the end of an earlier line of a list."""
    if "Unclosed array" not in message:
        return None
    here = lines[line - 1]
    start = len(here) - len(here.lstrip())
    if here[start : start + 1] not in ("[", '"', "'") and not here[start : start + 1].isdigit():
        return None
    for earlier in range(line - 1, 0, -1):
        before = _without_comment(lines[earlier - 1]).rstrip()
        if not before:
            continue
        if before[-1] in ",[=":
            return None
        rest = lines[earlier - 1][len(before) :]
        kind = "points" if here[start] == "[" else "values"
        problem = Problem(
            f"a comma is missing at the end of this line, between two {kind}", cure="put it there"
        )
        return earlier, _Finding(len(before) + 1, problem, before + "," + rest)
    return None


def _inline_table(spot: _Spot) -> _Finding | None:
    here = spot.here
    plain = _without_comment(here).rstrip()
    if plain.endswith(("{", ",")) and plain.count("{") > plain.count("}"):
        return _Finding(
            plain.rfind("{") + 1,
            Problem("a table in { } goes on over several lines", "{ ... } on one line", "join the lines"),
        )
    found = re.search(r",\s*\}", plain)
    if found and "key" in spot.message:
        problem = Problem("a comma stands before the closing }", cure="take that comma away")
        return _Finding(found.start() + 1, problem, here[: found.start()] + " " + here[found.start() + 1 :])
    return None


def _colon_or_spaces(spot: _Spot) -> _Finding | None:
    here = spot.here
    if "'='" not in spot.message:
        return None
    found = re.match(r"\s*(\"[^\"]*\"|[\w-]+)\s*:\s*(.*)", here)
    if found:
        cure = shorten(f"write {found[1]} = {found[2]}")
        return _Finding(
            found.end(1) + 1, Problem("a colon stands where TOML wants an equals sign", cure=cure)
        )
    found = re.match(r"\s*([^\"'=\[{#]*[^\"'=\[{#\s])\s*=", here)
    if found and " " in found[1]:
        problem = Problem(
            f"the key {shorten(found[1])} has a blank and no quotation marks",
            cure=f'write "{shorten(found[1])}" =',
        )
        return _Finding(
            found.start(1) + 1, problem, here[: found.start(1)] + f'"{found[1]}"' + here[found.end(1) :]
        )
    if "=" not in here:
        start = len(here) - len(here.lstrip())
        return _Finding(start + 1, Problem("this line is neither a [table] nor a key = value"))
    return None


def _unclosed_string(spot: _Spot) -> _Finding | None:
    here = spot.here
    if "Unterminated" not in spot.message and "'\\n'" not in spot.message:
        return None
    rest = STRING.sub(lambda m: " " * len(m.group()), here)
    start = max(rest.find('"'), rest.find("'"))
    if start < 0:
        return _Finding(spot.column, Problem("a text has no closing quotation mark"))
    mended = here.rstrip() + rest[start] if rest.count(rest[start]) == 1 else None
    problem = Problem(
        "the text that begins here has no closing quotation mark", cure="close it on the same line"
    )
    return _Finding(start + 1, problem, mended)


_OTHER_WORDS = {
    "Expected newline or end of document after a statement": "something stands behind the value",
    "Unclosed array": "a list [ ... is not closed by ], or a comma is missing in it",
    "Unclosed inline table": "a table { ... is not closed by }, or a comma is missing in it",
    "Invalid value": "the value is missing, or TOML does not know it",
    "Invalid statement": "this line is neither a [table] nor a key = value",
    "Invalid initial character for a key part": "a key is a plain word, or stands in quotation marks",
    "Expected '=' after a key in a key/value pair": "an equals sign is missing behind the key",
    "Expected ']' at the end of a table declaration": "the closing ] of this table's name is missing",
    "Expected ']]' at the end of an array declaration": "the closing ]] of this table's name is missing",
    "Cannot overwrite a value": "this name stands for the second time",
    "Invalid date or datetime": "there is no such date",
    "Invalid hex value": "a backslash in double quotation marks has its own meaning",
    "Unescaped '\\' in a string": "a backslash in double quotation marks has its own meaning",
    "Escaped character is not a Unicode scalar value": "the \\u code stands for no character",
}


def _in_other_words(column: int, message: str) -> _Finding:
    found = _OTHER_WORDS.get(message)
    if found is None and message.startswith("Illegal character"):
        found = f"the character {message[len('Illegal character ') :]} may not stand here"
    return _Finding(column, Problem(found or "TOML does not allow this here"))


def _without_comment(here: str) -> str:
    bare = STRING.sub(lambda m: "x" * len(m.group()), here)
    cut = bare.find("#")
    return here if cut < 0 else here[:cut]


_LOOKS: tuple[Callable[[_Spot], _Finding | None], ...] = (
    _curly_quotes,
    _backslash_path,
    _header_twice,
    _key_twice,
    _inches,
    _unclosed_string,
    _decimal_comma,
    _bare_value,
    _missing_comma,
    _inline_table,
    _colon_or_spaces,
)
