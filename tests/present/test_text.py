"""Blocks as lines: they fit the window, names are whole, escapes appear with colour alone."""

from __future__ import annotations

from dataclasses import replace

import pytest
from answers.printed import on_terminal, piped
from present.made_analysis import made_analysis

from lightdose.answers.blocks import Column, LateCells, Point, Points, Say, Section, Table
from lightdose.answers.dose import dose_answer
from lightdose.answers.words import count, hours, length, number, percent
from lightdose.errors import literal
from lightdose.model.results import Analysis
from lightdose.present.text import cell_len, wrapped


def shown(analysis: Analysis, width: int, *, styled: bool = False, everything: bool = False) -> str:
    return "\n".join(
        on_terminal(dose_answer(analysis, "cm").blocks, width, styled=styled, everything=everything)
    )


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 80, 120, 200])
def test_table_fits_the_terminal_and_keeps_dose_band_and_state(width: int) -> None:
    """No line is wider than the window; what matters is never cut."""
    text = shown(made_analysis(), width)
    assert all(cell_len(line) <= width for line in text.splitlines())
    for word in ("staghorn frag", "9.40", "8-15", "within common practice", "mol/m2/day", "far above usual"):
        assert word in text


@pytest.mark.identity
def test_cells_of_a_long_table_are_made_only_where_they_show() -> None:
    """In a pipe a column that finds no room has no cells made, nor has one whose first two cells differ."""
    made: dict[str, int] = {}

    def column(name: str, width: int) -> Column:
        def cell(row: int) -> str:
            made[name] = made.get(name, 0) + 1
            return f"{row:0{width}d}"

        return Column(name.ljust(width), LateCells(cell, range(5000)))

    columns = (column("first", 40), column("second", 40), column("third", 60), column("fourth", 30))
    lines = list(piped([Table("t", "long", columns, least=2)]))
    assert len(lines) == 5002
    assert (made["first"], made["fourth"]) == (5000, 5000)
    assert made["third"] <= 100


@pytest.mark.identity
def test_first_rows_of_a_column_are_made_without_the_rest() -> None:
    """A page shows 300 rows of 20,000: the others cost nothing."""
    made: list[int] = []

    def cell(row: int) -> str:
        made.append(row)
        return f"{row}"

    cells = LateCells(cell, range(5000))
    assert cells[:3] == ["0", "1", "2"]
    assert made == [0, 1, 2]
    assert cells[2:5] == ["2", "3", "4"]
    assert len(made) == 5
    assert cells[-1] == "4999"
    assert cells[:-4998] == ["0", "1"]
    assert len(cells[:]) == len(made) == 5000


@pytest.mark.identity
def test_wide_terminal_shows_more_columns_than_a_narrow_one() -> None:
    """Columns are dropped whole when the window narrows, a bar with its key."""
    wide, narrow = shown(made_analysis(), 200), shown(made_analysis(), 60)
    assert "small-polyp stony, shallow" in wide
    assert "small-polyp stony, shallow" not in narrow
    assert "* this coral" in wide
    assert "* this coral" not in narrow


@pytest.mark.identity
@pytest.mark.parametrize("letter", ["a", "\u6d77", "\u0627"])
def test_markup_and_long_names_show_literally_and_whole(letter: str) -> None:
    """[x], [/] and [bold] are letters here, and 200 letters of any script are folded, not cut."""
    name = "[x][/][bold]" + letter * 188
    text = shown(made_analysis(((name, "mushroom", "s", 2.0),)), 80)
    table = text[text.index("coral  ") : text.index("5 cautions") if "5 cautions" in text else None]
    assert "".join(line.split("  ")[0].strip() for line in table.splitlines()[2:]).count(letter) >= 188
    assert "[x][/][bold]" in table


@pytest.mark.identity
def test_escape_bytes_appear_only_with_colour() -> None:
    """Without colour there is no escape byte; with it the words are the same; a name sends none."""
    plain, styled = shown(made_analysis(), 80), shown(made_analysis(), 80, styled=True)
    assert "\x1b" not in plain
    assert "\x1b" in styled
    hostile = shown(made_analysis((("\x1b[31mred", "mushroom", "s", 2.0),)), 80)
    assert "\x1b" not in hostile
    assert "\\x1b[31mred" in hostile


@pytest.mark.identity
def test_long_tables_are_counted_on_a_terminal_and_whole_in_a_pipe() -> None:
    """40 of 60 rows and how to see the rest; everything with --all."""
    column = Column("name", tuple(f"row {n}" for n in range(60)))
    table = Table("t", "Rows", (column,), lines_at_most=40, left_out="dim row", least=1)
    lines = on_terminal([table], 80)
    assert lines[-1] == "and 20 dim rows: --all shows them"
    assert len(on_terminal([table], 80, everything=True)) == len(piped([table])) == 62


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 80, 100, 130])
def test_short_answer_is_a_screenful_in_every_window(width: int) -> None:
    """Where sentences take more lines a long table shows fewer rows, eight at least; --all shows them all."""
    table = Table(
        "t",
        "Rows",
        (Column("name", tuple(f"row {n}" for n in range(60))),),
        lines_at_most=40,
        left_out="dim row",
        least=1,
    )
    said = [Say("word " * 400), table, Say("at last", "verdict")]
    lines = on_terminal(said, width)
    rows = sum(line.strip().startswith("row ") for line in lines)
    assert len(lines) <= 60
    assert rows > 8
    assert f"and {60 - rows} dim rows: --all shows them" in lines
    assert sum(line.strip().startswith("row ") for line in on_terminal(said, width, everything=True)) == 60
    assert len(on_terminal([Say("word " * 2000), table], width)) > 60


@pytest.mark.identity
def test_rows_of_no_concern_are_counted_where_a_table_is_long() -> None:
    """Marks stand before rows of concern; a short table, a pipe and --all show every row."""
    calm = tuple(n % 3 == 0 for n in range(15))
    marks = tuple("" if one else "!" for one in calm)
    column = Column("name", tuple(f"row {n}" for n in range(15)))
    table = Table("t", "Rows", (column,), marks=marks, calm=calm, calm_words="within", least=1)
    lines = on_terminal([table], 80)
    assert [line for line in lines if line.startswith("!")] == [f"!  row {n}" for n in range(15) if n % 3]
    assert lines[-1] == "and 5 within: --all shows them"
    assert len(on_terminal([table], 80, everything=True)) == len(piped([table])) == 17
    few = replace(
        table, columns=(replace(column, cells=column.cells[:12]),), marks=marks[:12], calm=calm[:12]
    )
    assert len(on_terminal([few], 80)) == 14


@pytest.mark.identity
def test_wanted_column_shows_where_names_stay_readable() -> None:
    """At 50 columns names are folded for the wanted one; at 34 it is given up, and names keep their room."""
    name = Column("name", tuple(f"a rather long name {n}" for n in range(3)), fold=True)
    state = Column("state", ("far below",) * 3)
    wanted = Column("range", ("*[..|..|..].",) * 3)
    table = Table("t", "", (name, state, wanted), least=2, wanted=1)
    assert on_terminal([table], 50)[0].split() == ["name", "state", "range"]
    narrow = on_terminal([table], 34)
    assert narrow[0].split() == ["name", "state"]
    assert max(map(cell_len, narrow)) <= 34


@pytest.mark.identity
def test_columns_that_tell_nothing_apart_become_a_sentence() -> None:
    """From four rows on; the first columns always stay."""
    columns = (
        Column("coral", ("a", "b", "c", "d")),
        Column("lit", ("12.1",) * 4, unit="h"),
        Column("site", ("s", "t", "u", "v")),
    )
    lines = piped([Table("t", "", columns, least=1)])
    assert lines[0].split() == ["coral", "site"]
    assert lines[-1] == "the same for all: lit 12.1 h"
    short = tuple(Column(c.head, c.cells[:3], c.unit) for c in columns)
    assert piped([Table("t", "", short, least=1)])[0].split() == ["coral", "lit", "site"]


@pytest.mark.identity
def test_stacked_table_repeats_its_first_column() -> None:
    """Columns that do not fit stand in a further block below; nothing is dropped."""
    columns = (Column("figure", ("x", "y")), *(Column(f"lamp-{n}", ("1.0", "2.0")) for n in range(9)))
    lines = on_terminal([Table("t", "", columns, least=10, stacks=True)], 30)
    assert max(map(len, lines)) <= 30
    heads = [line.split() for line in lines if line.startswith("figure")]
    assert len(heads) > 1
    assert [name for head in heads for name in head[1:]] == [f"lamp-{n}" for n in range(9)]


@pytest.mark.identity
def test_sections_show_when_asked_for() -> None:
    """What is not brief waits for --all; a short form gives way to it; a page's section never shows."""
    blocks = [
        Section("Short", (Say("in short"),), extra=False),
        Section("Long", (Points((Point("text", "who", "a book"),)),), brief=False),
        Section("Page", (Say("only there"),), terminal=False),
    ]
    assert piped(blocks) == ["", "Short", "in short"]
    assert piped(blocks, everything=True) == ["", "Long", "- who: text [a book]"]


@pytest.mark.identity
@pytest.mark.parametrize("width", [1, 7, 20])
@pytest.mark.parametrize("text", ["one two three", "a" * 30, "\u6d77\u85fb " * 9, "", "x  y"])
def test_wrapping_keeps_every_letter_and_the_width(text: str, width: int) -> None:
    """No line is wider than the window unless one letter is; letters stay in their order."""
    lines = wrapped(text, width)
    assert all(cell_len(line) <= max(width, 2) for line in lines)
    assert "".join("".join(lines).split()) == "".join(text.split())


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("value", "text"),
    [
        (0.0, "0"),
        (float("nan"), "-"),
        (0.6, "0.60"),
        (9.4, "9.40"),
        (12.34, "12.3"),
        (326.4, "326"),
        (6527.8, "6528"),
        (0.0123, "0.012"),
        (0.0001, "below 0.001"),
    ],
)
def test_number_has_three_digits_and_no_powers_of_ten(value: float, text: str) -> None:
    """People read 0.60, 12.3, 326; a trace of light is not printed as none."""
    assert number(value) == text


@pytest.mark.identity
def test_length_in_inches_uses_the_exact_inch() -> None:
    """One inch is 25.4 mm."""
    # Source: international yard and pound agreement, 1959.
    assert length(0.254, "in") == "10"
    assert length(0.254, "cm") == "25.4"
    assert length(-0.0001, "cm") == "0"


@pytest.mark.identity
def test_literal_leaves_printable_text_alone() -> None:
    """Umlauts, emoji and brackets stay; a line break becomes an escape."""
    assert literal("Größe [x] 😀") == "Größe [x] 😀"
    assert literal("a\nb\u2028c") == "a\\nb\\u2028c"


@pytest.mark.pinned
def test_small_words() -> None:
    """Counts agree with their nouns; shares are whole percents; hours have one decimal."""
    assert [count(1, "coral"), count(0, "coral")] == ["1 coral", "0 corals"]
    assert percent(0.523) == "52 %"
    assert [hours(9.75), hours(float("nan"))] == ["9.8", "-"]
