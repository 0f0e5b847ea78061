"""Keys of the files as data: examples that hold, and words for every finding of the checking core."""

from __future__ import annotations

import pytest

from lightdose.errors import Problem
from lightdose.files import fixture_file, setup_schema
from lightdose.files.toml_tables import (
    REQUIRED,
    Key,
    Table,
    inner,
    length,
    name,
    names,
    number,
    one_of,
    pair,
    read_document,
    show,
    suggestion,
    whole,
)

TABLES = {
    **{f"setup {n}": t for n, t in setup_schema.TABLES.items()},
    **{f"fixture {n}": t for n, t in fixture_file.TABLES.items()},
    "setup": setup_schema.SETUP,
}
KEYS = [(table, key) for table, found in TABLES.items() for key in found.keys]


@pytest.mark.identity
@pytest.mark.parametrize(("table", "key"), KEYS, ids=[f"{t}: {k}" for t, k in KEYS])
def test_example_of_a_key_is_accepted_and_documented(table: str, key: str) -> None:
    """What a message tells to add is itself allowed; every key says what it means."""
    found = TABLES[table].keys[key]
    assert found.meaning
    if "..." in found.example:
        return
    document = read_document(f"[t]\n{key} = {found.example}\n".encode(), "a.toml")
    problems: list[Problem] = []
    values = Table({key: found}).read(document, ("t",), problems)
    assert problems == []
    assert key in values


@pytest.mark.identity
def test_left_out_keys_take_their_defaults_and_nothing_else() -> None:
    """A table without optional keys yields each default once."""
    for table in TABLES.values():
        optional = Table({k: v for k, v in table.keys.items() if v.default is not REQUIRED})
        document = read_document(b"[t]\n", "a.toml")
        problems: list[Problem] = []
        assert optional.read(document, ("t",), problems) == {k: v.default for k, v in optional.keys.items()}
        assert problems == []


SPOT = Table(
    {"x": Key(length(0, 2), '"40 cm"', "x"), "n": Key(number(0, 1, above=True, unit="W"), "1", "n", None)}
)
TABLE = Table(
    {
        "name": Key(name(), '"a"', "name"),
        "at": Key(inner(SPOT), '{ x = "1 cm" }', "place", None),
        "count": Key(whole(1, 10), "3", "count", 1),
        "reads": Key(one_of("umol", "lux"), '"lux"', "unit", "lux"),
        "band": Key(pair(0, 10, "mol m-2 d-1"), "[1, 2]", "band", None),
        "rows": Key(names(), '["A"]', "rows", None),
    }
)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("line", "column", "found", "allowed", "cure"),
    [
        ("count = 2.5", 9, "count: 2.5 is not a whole number", "a whole number, 1 to 10", ""),
        ("count = 1.0", 9, "count: 1.0 is not a whole number", "a whole number, 1 to 10", ""),
        ("count = true", 9, "count: true is not a whole number", "a whole number, 1 to 10", ""),
        (
            'count = "3"',
            9,
            'count: "3" is not a whole number',
            "a whole number, 1 to 10",
            "write 3, without quotation marks",
        ),
        ("count = 11", 9, "count: 11 is outside the range", "a whole number, 1 to 10", ""),
        ('reads = "Lux"', 9, 'reads: "Lux" is not known here', '"umol" | "lux"', "did you mean lux?"),
        ("reads = 3", 9, "reads: 3 is not known here", '"umol" | "lux"', ""),
        ("at = 3", 6, "at: 3 is not a table", 'a table { x = "40 cm" }', ""),
        (
            "at = { n = 0.5 }",
            6,
            "at: the key x is missing",
            'a length with its unit, such as "61 cm" or "24 in", 0 cm to 200 cm',
            'add x = "40 cm"',
        ),
        ('at = { x = "1 cm", n = 0 }', 24, "n: 0 is outside the range", "a number, above 0, up to 1 W", ""),
        ('at = { y = "1 cm", x = "1 cm" }', 8, "at: the key y is not known", "x, n", ""),
        (
            'at = { zz = "1 cm" }',
            6,
            "at: the key x is missing",
            'a length with its unit, such as "61 cm" or "24 in", 0 cm to 200 cm',
            'add x = "40 cm"',
        ),
        (
            'nane = "x"',
            1,
            "the key nane is not known",
            "name, at, count, reads, band, rows",
            "did you mean name?",
        ),
        ("rows = 3", 8, "rows: 3 is not a list", "a list of names", ""),
        ("rows = [1]", 9, "rows[1]: 1 is not text", "text in quotation marks", 'write "1"'),
        (
            "band = [1, 2, 3]",
            8,
            "band: a list [ ... ] is not a pair of numbers",
            "[low, high] in mol m-2 d-1, 0 to 10",
            "",
        ),
        (
            "band = [1, 20]",
            8,
            "band: [1, 20] does not rise within the allowed range",
            "[low, high] in mol m-2 d-1, 0 to 10",
            "",
        ),
        (
            'band = ["1", 2]',
            8,
            'band: "1" is not a number',
            "[low, high] in mol m-2 d-1, 0 to 10",
            "write 1, without quotation marks",
        ),
    ],
)
def test_finding_of_the_core_is_said_in_our_words(
    line: str, column: int, found: str, allowed: str, cure: str
) -> None:
    """Place, subject, what was found, what is allowed, how to mend it."""
    document = read_document(f'[[t]]\nname = "q"\n{line}\n'.encode(), "a.toml")
    problems: list[Problem] = []
    values = TABLE.read(document, ("t", 0), problems)
    problem = next(p for p in problems if p.found.endswith(found))
    assert problem.found.startswith("t[1] 'q'")
    assert str(problem.place) == f"a.toml:3:{column}"
    assert (problem.allowed, problem.cure) == (allowed, cure)
    assert values["name"] == "q"


@pytest.mark.identity
def test_sound_keys_survive_the_slips_of_others() -> None:
    """What is right is still read, so that the rest of the setup is checked with it."""
    document = read_document(b'[t]\nname = "q"\ncount = 99\nnane = 3\nband = [1, 2]\n', "a.toml")
    problems: list[Problem] = []
    values = TABLE.read(document, ("t",), problems)
    assert len(problems) == 2
    assert values == {"name": "q", "at": None, "reads": "lux", "band": (1.0, 2.0), "rows": None}


@pytest.mark.identity
def test_misspelt_required_key_is_one_problem_not_two() -> None:
    """`lenght` is not also called a missing length."""
    table = Table({"length": Key(length(0, 2), '"40 cm"', "x"), "width": Key(length(0, 2), '"4 cm"', "y")})
    document = read_document(b'[t]\nlenght = "1 cm"\n', "a.toml")
    problems: list[Problem] = []
    table.read(document, ("t",), problems)
    assert [p.found for p in problems] == ["t: the key width is missing", "t: the key lenght is not known"]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("value", "text"),
    [(True, "true"), ("a", '"a"'), ({"a": 1}, "a table { ... }"), ([1], "a list [ ... ]"), (0.5, "0.5")],
)
def test_values_are_shown_as_in_the_file(value: object, text: str) -> None:
    """Booleans in small letters, text in quotation marks, tables and lists by their brackets."""
    assert show(value) == text


@pytest.mark.identity
def test_long_values_are_cut_and_far_words_get_no_suggestion() -> None:
    """A message stays a line; nothing is suggested at random."""
    assert len(show("x" * 500)) < 65
    assert len(show(10**300)) <= 40
    assert suggestion("zzz", ["left", "right"]) == ""
    assert suggestion("RIGTH", ["left", "Right"]) == "did you mean Right?"
