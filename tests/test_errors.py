"""Messages: what a broken file holds is shown, but steers no terminal and fills no screen."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import LONGEST_WORD, Place, Problem, beyond, literal


@pytest.mark.identity
@given(st.text())
def test_literal_keeps_to_one_line_and_leaves_printable_text_alone(text: str) -> None:
    """No control, format or line-ending character is left but the two joiners; letters stay as they are."""
    shown = literal(text)
    assert len(f"{shown}.".splitlines()) == 1
    assert all(c.isprintable() or c in "\u200c\u200d" or not c.isascii() for c in shown)
    assert not set(shown) & set("\x1b\x07\x9b\u202e\u2066\ufeff\u2028")
    if text.isprintable():
        assert shown == text


@pytest.mark.identity
def test_problem_shows_steering_characters_as_escapes_and_keeps_columns() -> None:
    """Found, allowed, cure and file are escaped; the line below keeps every letter in its column."""
    problem = Problem("\x1b[31mred", "\u202eab", "a\rb", Place("x\n.csv", 2, 5, "a\x9bb\tc"))
    first, line, mark, *rest = str(problem).splitlines()
    assert first == "x\\n.csv:2:5: \\x1b[31mred"
    assert (line, mark) == ("    a b\tc", "       \t^")
    assert rest == ["    allowed: \\u202eab", "    mend it: a\\rb"]


@pytest.mark.identity
def test_problem_cuts_an_endless_word_but_no_path() -> None:
    """A word of 5,000 letters is cut; one as long as a long path is not."""
    assert len(str(Problem("x" * 5000))) < 250
    path = "/folder" * (LONGEST_WORD // 7)
    assert str(Problem(path)) == path


@pytest.mark.identity
@given(st.floats(1e-300, 1e300), st.floats(1e-300, 1e300))
def test_number_beyond_a_limit_is_beyond_it_as_it_is_told(value: float, limit: float) -> None:
    """Above as above, below as below; where they differ plainly few digits do."""
    told = float(beyond(value, limit))
    assert (told > limit) == (value > limit)
    assert (told < limit) == (value < limit)
    assert [beyond(8.02, 8), beyond(0.1249, 0.125), beyond(83.4, 8), beyond(1e9, 8)] == [
        "8.02",
        "0.12",
        "83",
        "1e+09",
    ]
