"""Places of keys and values in TOML text, held against tomllib."""

from __future__ import annotations

import tomllib
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.files.toml_positions import KeyPath, map_positions

TRICKY = """\
# a comment with [brackets] and = signs
title = "a # that is no comment"  # one that is
"quoted key" = 1
'literal "key"' = 2
"esc\\"aped" = 3
"" = 4
dotted.key.path = 5
"dotted.quoted" . inner = 6
date = 1979-05-27 07:32:00
time = 07:32:00
negative = -3.5e-2
text = \"\"\"
many [lines] = "of" text
with \\\\ and \\" and ""two quotes"" \"\"\"\"\"
literal = '''
it's = [raw] ''text''
'''
list = [ # a comment, with a comma
  1,
  [2, 3], # and ] one
  { a = "x", b.c = [4] },

]
empty = []
none = {}

[table]
x = 1
at = { x = "1 cm", y = "2 cm" }

[table.inner."odd name"]
y = 2

[[site]]
name = "a"
at = { depth = "1 cm" }
[site.note]
text = "x"
[[site.part]]
n = 1
[[site.part]]
n = 2
[[site]]
name = "b"
at.depth = "2 cm"
[[site.part]]
n = 3
"""


def leaves(data: Any, path: KeyPath = ()) -> list[tuple[KeyPath, Any]]:
    """Every value that is neither a table nor a list, with its path."""
    if isinstance(data, dict):
        return [leaf for key, value in data.items() for leaf in leaves(value, (*path, key))]
    if isinstance(data, list):
        return [leaf for n, value in enumerate(data) for leaf in leaves(value, (*path, n))]
    return [(path, data)]


def offset(text: str, line: int, column: int) -> int:
    return sum(len(row) + 1 for row in text.split("\n")[: line - 1]) + column - 1


def check_every_leaf(text: str) -> int:
    """Each leaf's text, cut where its position says, is read by tomllib as that very value."""
    positions = map_positions(text)
    found = leaves(tomllib.loads(text))
    for path, value in found:
        start = offset(text, *positions.value(path))
        assert reads_as(text[start:], value), (path, text[start : start + 30])
    return len(found)


def reads_as(rest: str, value: Any) -> bool:
    """Whether ``rest`` begins with a TOML value that is ``value``."""
    ends = {len(rest)} | {n for n, letter in enumerate(rest) if letter in ",]}\n# "}
    for end in sorted(ends):
        try:
            got = tomllib.loads(f"k = {rest[:end]}\n")
        except tomllib.TOMLDecodeError:
            continue
        if got == {"k": value} and type(got["k"]) is type(value):
            return True
    return False


@pytest.mark.identity
def test_texts_over_lines_inside_inline_tables_keep_what_follows_in_its_place() -> None:
    """Possessive repeats, tried for their memory, lost the rest of this one in Python 3.11.2."""
    text = """[ t0 . 0 ]\nk0=[{ "0"=0, "00"=0, ""=0 },{ "0"=0 }]\nk1={ "0"='''\n0''' }\n[t0.0.below]\nx = 0"""
    assert check_every_leaf(text) == 6


@pytest.mark.identity
def test_tricky_document_has_every_leaf_where_its_text_starts() -> None:
    """Comments, quotes, dotted keys, multi-line texts and lists, inline tables and nested tables."""
    assert check_every_leaf(TRICKY) == 29


@pytest.mark.identity
@pytest.mark.parametrize(
    ("path", "line", "column"),
    [
        (("site", 0, "at", "depth"), 36, 16),
        (("site", 1, "at", "depth"), 45, 12),
        (("site", 1), 43, 1),
        (("site", 0, "part", 1, "n"), 42, 5),
        (("list", 1, 1), 20, 7),
        (("list", 2, "b", "c", 0), 21, 21),
        (("table", "at", "y"), 29, 24),
    ],
)
def test_position_of_a_path_is_the_counted_one(path: KeyPath, line: int, column: int) -> None:
    """Lines and columns counted by hand, both from 1."""
    assert map_positions(TRICKY).value(path) == (line, column)


@pytest.mark.identity
def test_key_position_points_at_the_key_itself() -> None:
    """An unknown key is shown at its own letters, not at its value."""
    positions = map_positions('[tank]\nlenght = "75 cm"\nat = { x = 1, yy = 2 }\na.b = 3\n')
    assert positions.key(("tank", "lenght")) == (2, 1)
    assert positions.key(("tank", "at", "yy")) == (3, 15)
    assert positions.key(("tank", "a", "b")) == (4, 3)


@pytest.mark.identity
def test_unknown_path_falls_back_to_the_table_around_it() -> None:
    """A missing key is shown at its table, a missing table at the first line."""
    positions = map_positions("a = 1\n[tank]\nb = 2\n")
    assert positions.value(("tank", "length")) == (2, 1)
    assert positions.value(("water",)) == (1, 1)


@pytest.mark.identity
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_shown_text_has_no_line_end(end: str) -> None:
    """The line under a problem is the line as typed, whatever ends it."""
    positions = map_positions(end.join(["a = 1", "b = 2", ""]))
    assert positions.shown_text(2) == "b = 2"
    assert positions.value(("b",)) == (2, 5)


bare_keys = st.text("abcxyz-_019", min_size=1, max_size=6)
any_keys = st.one_of(
    bare_keys, st.text(st.characters(codec="utf-8", exclude_categories=["Cc", "Cs"]), max_size=6)
)
scalars = st.one_of(
    st.integers(-(10**6), 10**6),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.dates(),
    st.text(st.characters(codec="utf-8", exclude_categories=["Cs"]), max_size=12),
)
values = st.recursive(
    scalars,
    lambda inner: st.one_of(
        st.lists(inner, max_size=4), st.dictionaries(any_keys, inner, max_size=3).map(dict)
    ),
    max_leaves=8,
)
blanks = st.sampled_from(["", " ", "  ", "\t"])


def quoted(text: str, draw: Any) -> str:
    """A key or text in one of TOML's ways of quoting."""
    if text and all(c in "abcxyz-_019" for c in text) and draw(st.booleans()):
        return text
    plain = all(c.isprintable() and c not in "'" for c in text)
    if plain and draw(st.booleans()):
        return f"'{text}'"
    letters = (
        f"\\u{ord(c):04x}"
        if ord(c) < 0x10000 and (not c.isprintable() or c in '"\\')
        else f"\\U{ord(c):08x}"
        if not c.isprintable()
        else c
        for c in text
    )
    return '"' + "".join(letters) + '"'


def written(value: Any, draw: Any) -> str:
    """A value as TOML text, with blanks, comments and line breaks where they may stand."""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, str):
        raw = value and "'" not in value and all(c.isprintable() or c == "\n" for c in value)
        if raw and draw(st.booleans()):
            return f"'''\n{value}'''"
        text = quoted(value, draw)
        return text if text[0] in "\"'" else f'"{text}"'
    if isinstance(value, list):
        gap = draw(st.sampled_from(["", " ", "\n", " # note ] , [\n"]))
        comma = "," + draw(st.sampled_from(["", " ", "\n\t", " # more }\n"]))
        end = "," if value and draw(st.booleans()) else ""
        return "[" + gap + comma.join(written(v, draw) for v in value) + end + gap + "]"
    if isinstance(value, dict):
        pairs = (
            f"{quoted(k, draw)}{draw(blanks)}={draw(blanks)}{written(v, draw)}" for k, v in value.items()
        )
        return "{ " + ", ".join(pairs) + " }"
    return repr(value) if isinstance(value, int | float) else value.isoformat()


@st.composite
def documents(draw: Any) -> str:
    """TOML documents of pairs, tables, arrays of tables and dotted keys."""
    keys = draw(st.lists(any_keys, max_size=3, unique=True))
    lines = [f"{quoted('k' + key, draw)} = {written(draw(values), draw)}" for key in keys]
    for n in range(draw(st.integers(0, 3))):
        name = quoted(draw(any_keys), draw)
        many = draw(st.booleans())
        for _ in range(draw(st.integers(1, 3)) if many else 1):
            lines.append(f"[[t{n}.{name}]]  # table" if many else f"[ t{n} . {name} ]")
            for m, value in enumerate(draw(st.lists(values, max_size=3))):
                dotted = draw(st.sampled_from(["", "in.", "'in' . "]))
                lines.append(f"{draw(blanks)}{dotted}k{m}{draw(blanks)}={draw(blanks)}{written(value, draw)}")
            if draw(st.booleans()):
                lines.append(f"[t{n}.{name}.below]\nx = {written(draw(scalars), draw)}")
    return "\n".join(lines)


@pytest.mark.identity
@given(documents())
def test_drawn_documents_have_every_leaf_where_its_text_starts(text: str) -> None:
    """Whatever tomllib accepts of many shapes, each leaf's position starts its text."""
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError as trouble:
        raise AssertionError(f"the test writes bad TOML: {trouble}\n{text}") from None
    check_every_leaf(text)


@pytest.mark.identity
def test_hundred_thousand_values_are_mapped_without_recursion_trouble() -> None:
    """A list as long as a large file's is read element by element, not call in call."""
    text = "a = [" + "1," * 100_000 + "]\nb = 2\n"
    positions = map_positions(text)
    assert positions.value(("a", 99_999)) == (1, 5 + 2 * 99_999 + 1)
    assert positions.value(("b",)) == (2, 5)
