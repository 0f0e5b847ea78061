"""What beginners type instead of TOML, each with its place and cure."""

from __future__ import annotations

import tomllib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import LightdoseError
from lightdose.files.toml_hints import syntax_problems
from lightdose.files.toml_tables import read_document

FORBIDDEN = ("invalid", "error", "please", "!")

TYPED = [
    ("on = 08:00", 6, "the time 08:00 has no quotation marks", 'write "08:00"'),
    ("on = 7:30 am", 6, "the time 7:30 am has no quotation marks", 'write "7:30 am"'),
    ("off = 02:00+1", 7, "the time 02:00+1 has no quotation marks", 'write "02:00+1"'),
    (
        's = { "b" = [[08:00, 0], ["09:00", 5]] }',
        15,
        "the time 08:00 has no quotation marks",
        'write "08:00"',
    ),
    ("level = 50%", 9, "50% has a percent sign", "write 50"),
    ("level = 12,5 %", 9, "12,5 % has a percent sign", "write 12.5"),
    ("length = 24 in", 10, "the length 24 in has no quotation marks", 'write "24 in"'),
    ("length = 61cm # inside", 10, "the length 61cm has no quotation marks", 'write "61cm"'),
    ('length = 24"', 10, 'the length 24" has no quotation marks', 'write "24 in"'),
    ("at = { x = 24 in, y = 3 }", 12, "the length 24 in has no quotation marks", 'write "24 in"'),
    ("scale = 0,5", 9, "0,5 has a decimal comma", "write 0.5"),
    ("depth = 0,61 m", 9, "0,61 m has a decimal comma", 'write "0,61 m"'),
    ("at = { n = 0,5 }", 12, "0,5 has a decimal comma", "write 0.5"),
    ("flux = 1,000", 8, "1,000 has a decimal comma", "write 1.000, or 1000"),
    ("flux = 1.234,5", 8, "1.234,5 has a point and a comma", ""),
    ("scale = .5", 9, ".5 has no figure before the point", "write 0.5"),
    ("scale = -.5", 9, "-.5 has no figure before the point", "write -0.5"),
    ("scale = 5.", 9, "5. has no figure behind the point", "write 5.0"),
    ("count = 05", 9, "05 begins with a 0 that is not needed", "write 5"),
    ("name = left", 8, "left has no quotation marks", 'write "left"'),
    ("name = blue 445 # x", 8, "blue 445 has no quotation marks", 'write "blue 445"'),
    ("walls = { back = painted }", 18, "painted has no quotation marks", 'write "painted"'),
    (
        "type = fixtures/panel.toml",
        8,
        "fixtures/panel.toml has no quotation marks",
        'write "fixtures/panel.toml"',
    ),
    ("enabled = True", 11, "True is not known", "write true"),
    ("enabled = yes", 11, "yes is not known", "write true"),
    ("previous = None", 12, "None is not known", "leave the whole line out"),
    (
        "name = \u201cleft\u201d",
        8,
        "the quotation marks are curly ones",
        "type them again here; word processors and phones turn them",
    ),
    (
        "name = \u00ableft\u00bb",
        8,
        "the quotation marks are curly ones",
        "type them again here; word processors and phones turn them",
    ),
    (
        'type = "C:\\Users\\me\\panel.toml"',
        8,
        '"C:\\Users\\me\\panel.toml": a backslash in double quotation marks has its own meaning',
        'write "C:/Users/me/panel.toml"',
    ),
    (
        's = [["08:00", 0] ["09:00", 1]]',
        19,
        "a comma is missing between two points",
        "put a comma before this one",
    ),
    ('s = [["08:00" 0]]', 15, "a comma is missing between two values", "put a comma before this one"),
    ("d = [0 1]", 8, "a comma is missing between two values", "put a comma before this one"),
    ("at = { x = 1 y = 2 }", 14, "a comma is missing between two values", "put a comma before this one"),
    ("at = { x = 1; y = 2 }", 13, "a semicolon stands between two values", "write a comma in its place"),
    ("at = { x = 1, }", 13, "a comma stands before the closing }", "take that comma away"),
    ("name: 3", 5, "a colon stands where TOML wants an equals sign", "write name = 3"),
    ("blue 445 = 3", 1, "the key blue 445 has a blank and no quotation marks", 'write "blue 445" ='),
    (
        'name = "left',
        8,
        "the text that begins here has no closing quotation mark",
        "close it on the same line",
    ),
    ("a = 1 # \u201ca\u201d\nb = left", 5, "left has no quotation marks", 'write "left"'),
]


@pytest.mark.pinned
@pytest.mark.parametrize(("text", "column", "found", "cure"), TYPED, ids=[t[0][:30] for t in TYPED])
def test_what_beginners_type_gets_its_own_words(text: str, column: int, found: str, cure: str) -> None:
    """One problem, at the column where the slip begins, with what to write instead."""
    (problem,) = syntax_problems(text, "setup.toml")
    assert problem.found == found
    assert problem.cure == cure
    assert problem.place is not None
    assert (problem.place.line, problem.place.column) == (text.count("\n") + 1, column)


@pytest.mark.identity
@pytest.mark.parametrize("text", [t[0] for t in TYPED])
def test_every_typed_case_is_refused_by_the_parser(text: str) -> None:
    """The table above holds only text that tomllib refuses."""
    with pytest.raises(tomllib.TOMLDecodeError):
        tomllib.loads(text)


@pytest.mark.pinned
def test_single_brackets_twice_ask_for_double_ones() -> None:
    """[channel] twice is the most common slip in fixture files."""
    (problem,) = syntax_problems('[channel]\nname = "a"\n[channel]\nname = "b"\n', "f.toml")
    assert problem.found == "[channel] stands for the second time"
    assert problem.cure == "write [[channel]] here and above"
    assert problem.place is not None
    assert problem.place.line == 3


@pytest.mark.pinned
def test_single_brackets_before_double_ones_are_named_where_the_double_ones_begin() -> None:
    """One forgotten pair of brackets at the first channel."""
    (problem,) = syntax_problems('[channel]\nname = "a"\n[[channel]]\nname = "b"\n', "f.toml")
    assert problem.found == "[channel] stands above, [[channel]] here"
    assert problem.cure == "write [[channel]] above too"
    assert problem.place is not None
    assert (problem.place.line, problem.place.column) == (3, 1)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "line", "found"),
    [
        ("a = 1\na = 2\n", 2, "a stands for the second time in its table"),
        ("[tank]\n[tank]\n", 2, "[tank] stands for the second time"),
        ('at = { x = "1 cm",\n  y = "2 cm" }\n', 1, "a table in { } goes on over several lines"),
        (
            'd = [\n  ["08:00", 0]\n  ["09:00", 1]\n]\n',
            2,
            "a comma is missing at the end of this line, between two points",
        ),
        ("length\n", 1, "this line is neither a [table] nor a key = value"),
        ("[tank\nx = 1\n", 1, "the closing ] of this table's name is missing"),
        ("x =\n", 1, "the value is missing, or TOML does not know it"),
        ("x = [1,\n2\n", 2, "a list [ ... is not closed by ], or a comma is missing in it"),
        ("x = " + "[" * 3000 + "]" * 3000, 0, "brackets stand inside brackets too deeply to read"),
        ("x = " + "1" * 5000, 0, "a whole number has more than 4,300 digits"),
        ('x = "a\x01b"', 1, "the character '\\x01' may not stand here"),
    ],
)
def test_other_slips_are_said_in_our_words(text: str, line: int, found: str) -> None:
    """The parser's own sentences do not reach the user."""
    (problem,) = syntax_problems(text, "f.toml")
    assert (problem.found, problem.place.line if problem.place else None) == (found, line)


@pytest.mark.identity
def test_all_slips_of_a_file_are_named_in_one_run_with_their_columns() -> None:
    """A repaired copy is read on, so the tenth slip is found with the first; columns are the file's own."""
    lines = ["at = { x = 24 in, y = .5, z = 05 }", "name = left", 's = { "b" = [[08:00, 0], [09:00, 50%]] }']
    text = "\n".join([*lines, "d = 0,61 m", ""])
    with pytest.raises(LightdoseError) as caught:
        read_document(text.encode(), "setup.toml")
    places = [(p.place.line, p.place.column) for p in caught.value.problems if p.place]
    assert places == [(1, 12), (1, 23), (1, 31), (2, 8), (3, 15), (3, 27), (3, 34), (4, 5)]
    for problem in caught.value.problems:
        assert problem.place is not None
        assert problem.place.text == text.splitlines()[problem.place.line - 1]


@pytest.mark.identity
@given(
    st.lists(
        st.sampled_from(
            [
                *(t[0] for t in TYPED),
                "[a]",
                "[[b]]",
                'x = """',
                "'''",
                "# c",
                "y = [",
                "]",
                "}",
                '"',
                "= =",
                "\\",
                "",
            ]
        ),
        min_size=1,
        max_size=5,
    ).map("\n".join)
)
def test_any_mixture_of_slips_ends_in_problems_without_forbidden_words(text: str) -> None:
    """Whatever is refused is named at a line that exists, in words of style.md."""
    try:
        tomllib.loads(text)
    except tomllib.TOMLDecodeError:
        problems = syntax_problems(text, "f.toml")
        assert problems
        for problem in problems:
            assert problem.place is not None
            assert 1 <= problem.place.line <= text.count("\n") + 1
            assert 1 <= problem.place.column <= len(problem.place.text) + 1
            words = problem.found.lower() + problem.allowed.lower() + problem.cure.lower()
            assert not [word for word in FORBIDDEN if word in words]
    else:
        assert syntax_problems(text, "f.toml") == []


@pytest.mark.identity
@pytest.mark.parametrize("space", ["\v", "\f", "\u0085", "\u00a0", "\u2028"])
def test_white_space_that_is_none_to_toml_is_told(space: str) -> None:
    """Such a character between or instead of values is passed over, not looked at for ever."""
    for line in (f"a = {space}1", f'b = {{ x = "1" }}{space}c = 2', f"a = {space}"):
        assert syntax_problems(line, "a.toml")


@pytest.mark.identity
def test_line_that_nobody_typed_gets_no_hint() -> None:
    """A line of a megabyte is refused where the parser stopped, without a search for what was meant."""
    (problem,) = syntax_problems("x = " + "a, " * 400_000, "a.toml")
    assert not problem.cure
