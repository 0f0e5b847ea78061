"""The one reader of CSV-like text: dialects, what it echoes, what it refuses."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.files.csv_text import Dialect, csv_text
from lightdose.files.delimited import LONGEST_LINE, DelimitedError, read_delimited
from lightdose.files.units import UnitProblem


def numbers(text: str, **options) -> list[tuple[float, ...]]:
    table = read_delimited(text, "f.csv", **options)
    return [tuple(table.number(row, i) for i in range(table.n_columns)) for row in table.rows]


def refusal(text: str, **options) -> str:
    with pytest.raises(DelimitedError) as caught:
        read_delimited(text, "f.csv", **options)
    return str(caught.value)


@pytest.mark.identity
@pytest.mark.parametrize(
    "text",
    [
        "wavelength_nm,value\n400.5,0.1\n401,0.25\n",
        "wavelength_nm, value\n400.5, 0.1\n401, 0.25",
        "wavelength_nm;value\r\n400,5;0,1\r\n401;0,25\r\n",
        "wavelength_nm;value\r400.5;0.1\r401;0.25\r",
        "wavelength_nm\tvalue\n400,5\t0,1\n401\t0,25\n",
        "wavelength_nm value\n400.5   0.1\n401 0.25\n",
        "  wavelength_nm    value\n  400,5 0,1\n  401   0,25\n",
        "\ufeffsep=;\nwavelength_nm;value\n400,5;0,1\n401;0,25\n",
        '"sep=;"\nwavelength_nm;value\n400,5;0,1\n401;0,25\n',
        "sep=\t\nwavelength_nm\tvalue\n400,5\t0,1\n401\t0,25\n",
        "# a title, with a comma; and more\n\nwavelength_nm,value\n400.5,0.1\n# between\n401,0.25\n",
        '"# a title, quoted";;\nwavelength_nm;value;;\n400,5;0,1;;\n;;;\n401;0,25;;\n',
        "Export of a spectrometer\nserial 12\nexposure;100\nwavelength_nm;value\n400,5;0,1\n401;0,25\n",
        '"wavelength_nm","value"\n"400.5","0.1"\n"401","0.25"\n',
        '"wavelength_nm","value"\n"400,5","0,1"\n"401","0,25"\n',
        "wavelength_nm;value\n4,005E+2;1e-1\n401;0,25\n",
        "400.5,0.1\n401,0.25\n",
        "400.5, 0.1\n401, 0.25\n",
        "400.5 ,0.1\n401 ,0.25\n",
        "400,5;0,1\n401;0,25\n",
        "400,5 0,1\n401 0,25\n",
        "400.5\t0.1\n401\t0.25\n",
    ],
)
def test_every_dialect_gives_the_same_numbers(text):
    """Separators, decimal marks, preambles, quotes and line ends change nothing."""
    assert numbers(text) == [(400.5, 0.1), (401.0, 0.25)]


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "understood"),
    [
        ("a;b\n1,5;2\n", "1 row, separator ';', decimal comma"),
        ("1.5,2\n2,2.5\n", "2 rows, no header, separator ',', decimal point"),
        ("# t\na\tb\n1\t2\n", "1 row, header in line 2, separator tab, decimal point"),
        ("a b\n1 2\n", "1 row, separator spaces, decimal point"),
        (
            "Export\nserial;9\na;b\n1;2\n",
            "1 row, header in line 3, separator ';', decimal point, 2 lines above left out "
            '(line 1: "Export", line 2: "serial;9")',
        ),
        (
            "a,b\n1,2\n#1,3\n3,4\n",
            "2 rows, separator ',', decimal point, 1 comment left out (line 3: \"#1,3\")",
        ),
    ],
)
def test_reader_echoes_what_it_understood(text, understood):
    """The user can check rows, header, separator and decimal mark."""
    assert read_delimited(text, "f.csv").understood == understood


@pytest.mark.pinned
def test_reader_echoes_an_unusual_encoding():
    """An encoding other than UTF-8 is said."""
    table = read_delimited("a,b\n1,2\n", "f.csv", "Windows-1252")
    assert table.understood.endswith("decimal point, Windows-1252")


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("400,5,0,1\n401,5,0,2\n", 'f.csv:1:4: "400,5,0,1" can be read in several ways'),
        ("1.234,5\n1.235,6\n", 'f.csv:1:6: "1.234,5" can be read in several ways'),
        ("a;b\n400;0,5\n401;1.234,5\n", 'f.csv:3:5: "1.234,5" has marks between thousands'),
        ("a;b\n400;0.5\n401;1,234.5\n", 'f.csv:3:5: "1,234.5" has marks between thousands'),
        ("a\tb\n1.234.567\t2\n", "has marks between thousands"),
        ("a\tb\n1.234.567\t2\n", "write all digits together: 1234567"),
        ("a;b\n400;0,5\n401;9.876,54\n", "write all digits together: 9876,54"),
        ("a;b\n400;0,5\n401;9.876,\n", "write all digits together: 9876"),
        ("a;b\n400,5;0.1\n", '"400,5" has a decimal comma, "0.1" in line 2 a decimal point'),
        ("a;b\n400;1,234\n401;2,345\n", '"1,234" can be read as 1.234 or as 1234'),
        ("a,b\n400,5,0,1\n", "4 cells, the header has 2"),
        ("a,b\n400,5,0,1\n", "need ; or a tab between cells"),
        ("a;b\n400,1\n401,2\n402,3\n", "f.csv:1: 1 cell, line 2 has 2; ';' here, ',' there"),
        ("400;1\n401,2\n402;3\n", "f.csv:2: 1 cell, line 1 has 2; ',' here, ';' there"),
        ("400\t1\n401 2\n402\t3\n", "use one separator in the whole file"),
        ("a,b,c\n1,2,3\n1,2\n1,2,3,4\n", "f.csv:3: 2 cells, the header has 3"),
        ("a,b\n1,2\n>>> end <<<\n", "f.csv:3: 1 cell, the header has 2"),
        ('a,b\n"1,2\n3,4\n', "f.csv:2:1: a quoted cell does not end where the cell ends"),
        ('a,b\n"1"x,2\n', "a quoted cell does not end where the cell ends"),
        ("", "f.csv: has no rows"),
        (" \n;;;\n\t\n", "f.csv: has no rows"),
        ("# one\n# two\n", "f.csv: has only comments"),
        ("a,b\n", "f.csv:1: has a header and no rows below it"),
        ("one\ntwo\n", "f.csv:1: no line has two cells"),
        ("sep=x\na,b\n1,2\n", 'f.csv:1:5: the sep= line names "x"'),
        ("a,b\n1," + "2" * LONGEST_LINE + "\n", "f.csv:2: the line has 20,002 characters"),
    ],
)
def test_what_can_be_read_in_two_ways_is_refused_with_its_line(text, says):
    """Ambiguous, ragged and mixed files are refused, never guessed."""
    assert says in refusal(text)


@pytest.mark.identity
def test_all_ragged_rows_are_named_and_their_number_is_bounded():
    """Every bad row is named up to a limit, the rest counted."""
    text = "a,b\n" + "1\n" * 3 + "1,2\n"
    assert refusal(text).count("1 cell, the header has 2") == 3
    many = refusal("a,b\n" + "1\n" * 5000 + "1,2\n")
    assert many.count("1 cell, the header has 2") == 20
    assert "and 4980 more like these" in many


@pytest.mark.identity
@pytest.mark.parametrize(
    ("text", "rows"),
    [
        ("sep=,\n400,5,0,1\n", [(400.0, 5.0, 0.0, 1.0)]),
        ("a,b,c,d\n400,5,0,1\n", [(400.0, 5.0, 0.0, 1.0)]),
        ("400,5\n401,6\n", [(400.0, 5.0), (401.0, 6.0)]),
        ("400, 0\n401, 5\n", [(400.0, 0.0), (401.0, 5.0)]),
        ("400,-5,0\n401,6,1\n", [(400.0, -5.0, 0.0), (401.0, 6.0, 1.0)]),
        ("400.125,5\n400.25,0.5\n", [(400.125, 5.0), (400.25, 0.5)]),
        ("a;b\n400;1,234\n401;0,5\n", [(400.0, 1.234), (401.0, 0.5)]),
        ("a,b\n1.234,5\n", [(1.234, 5.0)]),
    ],
)
def test_what_tells_the_reading_apart_is_enough(text, rows):
    """A declared separator, a header or one telling number settles the doubt."""
    assert numbers(text) == rows


@pytest.mark.identity
def test_text_between_numbers_is_a_row_that_cannot_be_read():
    """A row with "n/a" above the first sound row is neither header nor preamble."""
    table = read_delimited("a;b\n400;n/a\n401;\n402;0,3\n", "f.csv")
    assert table.header == ("a", "b")
    assert [row.line for row in table.rows] == [2, 3, 4]
    with pytest.raises(UnitProblem) as caught:
        table.number(table.rows[0], "b")
    assert str(caught.value.problem).startswith('f.csv:2:5: "n/a" is not a number\n    400;n/a\n        ^')


@pytest.mark.identity
@pytest.mark.parametrize("first", ["4OO,0.1", "-,2", "n/a,0.1"])
def test_first_row_with_a_slip_is_not_taken_for_the_end_of_a_preamble(first):
    """Under a header every line is a row, so that none is lost without a word."""
    table = read_delimited(f"wavelength_nm,value\n{first}\n401,0.2\n", "f.csv")
    assert table.header == ("wavelength_nm", "value")
    assert [row.line for row in table.rows] == [2, 3]


@pytest.mark.identity
def test_place_points_at_the_cell():
    """Columns count from 1 in the line as it stands, quotes and spaces included."""
    table = read_delimited('name;  x\n"a; b";   1,5\nc;2\n', "f.csv")
    assert table.place(table.rows[0], "x").column == 11
    assert table.place(table.rows[0], 0).column == 1
    assert table.place(None, "X").column == 8
    spaced = read_delimited("  a   b\n 1    2\n", "f.csv")
    assert spaced.place(spaced.rows[0], "b").column == 7
    wide = read_delimited("a,b\n" + "1" * 300 + ",2\n", "f.csv")
    assert wide.place(wide.rows[0], "b").text == ""


@pytest.mark.identity
@pytest.mark.parametrize(
    ("text", "header"),
    [
        ("time,blue 445,420\n7.30,0,50\n", ("time", "blue 445", "420")),
        ("my programme, spring\nTime;blue\n7.30;0,5\n", ("Time", "blue")),
        ("time blue\n08:00 5\n", ("time", "blue")),
        ("blue\ttime\n0\t08:00\n", ("blue", "time")),
        ('"time","a, b"\n08:00,1\n', ("time", "a, b")),
        ("time for blue, in spring\ntime,blue\n08:00,1\n", ("time", "blue")),
    ],
)
def test_key_column_finds_the_header(text, header):
    """With a known column the header is certain, even with numbers for names or words for rows."""
    assert read_delimited(text, "f.csv", key_column="time").header == header


@pytest.mark.identity
def test_point_in_a_time_says_nothing_about_the_decimal_mark():
    """ "7.30" beside "0,5" is a time beside a decimal comma."""
    table = read_delimited("time;blue\n7.30;0,5\n", "f.csv", key_column="time")
    assert table.decimal == ","
    assert table.text(table.rows[0], "time") == "7.30"


@pytest.mark.pinned
def test_missing_key_column_is_named():
    """Without its key column a table is refused, with the line that should hold it."""
    says = refusal("hour,blue\n08:00,5\n", key_column="time")
    assert says.startswith('f.csv:1: no line names the column "time" beside others\n    hour,blue')


@pytest.mark.identity
def test_same_text_is_read_the_same_way_in_any_order_of_rows():
    """The dialect does not hang on which rows come first, as it does with sniffing a sample."""
    rows = [f"{400 + i};{i}" for i in range(300)] + ["700,5;1"]
    for lines in (rows, rows[::-1]):
        assert read_delimited("\n".join(lines), "f.csv").decimal == ","


finite = st.floats(allow_nan=False, allow_infinity=False)


@pytest.mark.identity
@pytest.mark.parametrize("dialect", get_args(Dialect))
@given(rows=st.lists(st.tuples(finite, finite, st.integers(-(10**9), 10**9)), min_size=1, max_size=8))
def test_own_csv_reads_back_to_the_same_numbers(dialect, rows):
    """Whatever the writer writes, the reader reads to the last bit."""
    text = csv_text(["depth_cm", "ppfd_umol_m2_s", "count"], rows, dialect)
    assert numbers(text) == [tuple(map(float, row)) for row in rows]


@pytest.mark.identity
@given(st.text(alphabet=' \t;,."#0159-+eEax\r\n\u00e9', max_size=60))
def test_any_text_is_read_or_refused(text):
    """No text makes the reader stumble: a table with equal rows, or problems."""
    try:
        table = read_delimited(text, "f.csv")
    except DelimitedError:
        return
    assert {len(row.cells) for row in table.rows} == {table.n_columns}
