"""Changes in CSV files: single cells and rows, all else as it was."""

from __future__ import annotations

import pytest

from lightdose.desk.table_edits import TableText
from lightdose.errors import OutputError

PLAIN = (
    '# a title, with a comma\ncoral,genus,x_cm,note\n# aside\n"a, b",Acropora,1.5,\nc,Porites,,"say ""so"""\n'
)


@pytest.mark.identity
def test_cell_is_replaced_and_nothing_else() -> None:
    """A changed cell changes its own letters; quotation marks come and go with what needs them."""
    table = TableText(PLAIN.encode(), "t.csv", "coral")
    table.put_number(0, "x_cm", "12.25")
    assert table.data.decode() == PLAIN.replace(",1.5,", ",12.25,")
    table.put(1, "genus", "x, y")
    assert table.data.decode() == PLAIN.replace(",1.5,", ",12.25,").replace("Porites", '"x, y"')
    table.put(0, "coral", "plain")
    assert table.rows()[0]["coral"] == "plain"
    assert table.rows()[1]["note"] == 'say "so"'


@pytest.mark.identity
def test_decimal_comma_separator_mark_and_line_ends_stay() -> None:
    """A table of another dialect is written in its own."""
    data = "\ufeffcoral;x_cm\r\na;1,5\r\nb;2,5\r\n".encode()
    table = TableText(data, "t.csv", "coral")
    table.put_number(1, "x_cm", "3.75")
    table.add_row({"coral": "ü", "x_cm": "4,5"})
    assert table.data == "\ufeffcoral;x_cm\r\na;1,5\r\nb;3,75\r\nü;4,5\r\n".encode()


@pytest.mark.identity
def test_rows_and_columns_come_and_go() -> None:
    """A row goes before another or last, a column behind all others; taken out, the file is as before."""
    text = "time,blue\n09:00,0\n21:00,0\n"
    table = TableText(text.encode(), "t.csv", "time")
    assert table.add_row({"time": "12:00", "blue": "50"}, before=1) == 1
    assert table.data.decode() == "time,blue\n09:00,0\n12:00,50\n21:00,0\n"
    table.drop_row(1)
    assert table.data.decode() == text
    table.add_column("all_channels", ["80", "80"])
    assert table.data.decode() == "time,blue,all_channels\n09:00,0,80\n21:00,0,80\n"


@pytest.mark.identity
def test_name_that_would_start_a_formula_or_a_comment_is_neutral() -> None:
    """What a person types never becomes a formula or a comment of the file."""
    table = TableText(b"coral,genus\na,Acropora\n", "t.csv", "coral")
    table.add_row({"coral": "=1+1", "genus": "Acropora"})
    table.add_row({"coral": "# two", "genus": "Acropora"})
    assert [row["coral"] for row in table.rows()] == ["a", "=1+1", "# two"]
    assert b"'=1+1" in table.data


@pytest.mark.identity
def test_letters_that_an_encoding_lacks_are_refused() -> None:
    """A Windows-1252 file is not filled with question marks."""
    table = TableText("coral,genus\nfür,Acropora\n".encode("cp1252"), "t.csv", "coral")
    table.put(0, "coral", "für alle")
    assert table.data == "coral,genus\nfür alle,Acropora\n".encode("cp1252")
    table.put(0, "coral", "ミドリ")
    with pytest.raises(OutputError, match="Windows-1252"):
        _ = table.data
