"""Writing CSV in both dialects, and the schema beside it."""

from __future__ import annotations

from typing import get_args

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.files.csv_text import Dialect, csv_text, decimal_text, neutral_text, plain_text, table_schema
from lightdose.files.delimited import read_delimited
from lightdose.quantities import ValueColumn

HEADER = ["site", "dli_mol_m2_d", "lit"]
ROWS = [["ridge, top", 0.1 + 0.2, True], ['24" tank; left', None, False], ["=1+1", -1e-07, None]]


@pytest.mark.pinned
def test_plain_dialect_is_utf8_comma_and_point():
    """No byte order mark, numbers unrounded, separators quoted, formulas neutralised."""
    assert csv_text(HEADER, ROWS) == (
        'site,dli_mol_m2_d,lit\n"ridge, top",0.30000000000000004,1\n"24"" tank; left",,0\n\'=1+1,-1e-07,\n'
    )


@pytest.mark.pinned
def test_excel_eu_dialect_has_mark_semicolon_and_comma():
    """What a spreadsheet with a decimal comma opens with a double click."""
    assert csv_text(HEADER, ROWS, "excel-eu") == (
        "\ufeffsite;dli_mol_m2_d;lit\n"
        "ridge, top;0,30000000000000004;1\n"
        '"24"" tank; left";;0\n'
        "'=1+1;-1e-07;\n"
    )


@pytest.mark.pinned
@pytest.mark.parametrize("start", ["=", "+", "-", "@", "\t=", "\r@", "\n+"])
def test_cell_that_would_start_a_formula_is_neutralised(start):
    """No text cell begins with = + - @, also behind a tab or line break."""
    text = csv_text(["name", "x"], [[f"{start}SUM(A1)", 1.0]])
    cell = text.splitlines()[1].split(",")[0]
    assert cell.startswith("'")
    assert "\t" not in cell


@pytest.mark.identity
def test_negative_number_is_no_formula():
    """Numbers keep their minus sign."""
    assert csv_text(["x"], [[-1.5]]) == "x\n-1.5\n"


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("number", "written"),
    [("1.234", "1,2340"), ("-12.345", "-12,3450"), ("0.123", "0,123"), ("1.2345", "1,2345"), ("5.0", "5,0")],
)
def test_decimal_comma_never_looks_like_thousands(number, written):
    """A zero is added where the comma may be taken for a mark between thousands."""
    assert decimal_text(number, ",") == written
    assert decimal_text(number, ".") == number


@pytest.mark.pinned
@pytest.mark.parametrize("value", [float("nan"), float("inf"), float("-inf")])
def test_number_that_is_not_finite_is_refused(value):
    """A table holds finite numbers or empty cells."""
    with pytest.raises(ValueError, match="finite numbers"):
        csv_text(["x"], [[value]])


names = st.text(alphabet="=+-@'#\"; ,abcé\u2019", min_size=1, max_size=12).map(str.strip).filter(bool)


@pytest.mark.identity
@pytest.mark.parametrize("dialect", get_args(Dialect))
@given(written=st.lists(names, min_size=1, max_size=5))
def test_names_read_back_as_they_were(dialect, written):
    """Quotes, separators, apostrophes, # and formula starts in names survive in both dialects."""
    text = csv_text(["site", "x_cm"], [[name, 1.5] for name in written], dialect)
    table = read_delimited(text, "f.csv", key_column="site")
    assert [plain_text(table.text(row, "site")) for row in table.rows] == written


@pytest.mark.identity
@given(names)
def test_neutral_text_is_undone(name):
    """The apostrophe is added and taken off by the same rule."""
    assert plain_text(neutral_text(name)) == name
    assert neutral_text(name)[0] not in "=+-@"


@pytest.mark.pinned
def test_table_schema_describes_the_columns():
    """Names, kinds and units stand beside the CSV, with the decimal mark where it is a comma."""
    columns = [
        ValueColumn("site", "string"),
        ValueColumn("dli_mol_m2_d", title="daily dose", unit="mol m-2 d-1"),
    ]
    columns.append(ValueColumn("lit", "boolean"))
    assert table_schema(columns) == {
        "fields": [
            {"name": "site", "type": "string"},
            {"name": "dli_mol_m2_d", "type": "number", "title": "daily dose", "unit": "mol m-2 d-1"},
            {"name": "lit", "type": "boolean", "trueValues": ["1"], "falseValues": ["0"]},
        ],
        "missingValues": [""],
    }
    assert table_schema(columns, "excel-eu")["fields"][1]["decimalChar"] == ","
