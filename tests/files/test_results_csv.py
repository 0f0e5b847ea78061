from __future__ import annotations

import json
from pathlib import Path

import pytest
from present.made_analysis import made_analysis

from lightdose.files.delimited import read_delimited, read_text
from lightdose.files.dialect import Dialect
from lightdose.files.file_names import file_names
from lightdose.files.results_csv import COLUMNS, dose_csv, dose_schema


@pytest.mark.identity
def test_columns_are_the_keys_of_the_rows() -> None:
    """CSV, schema and rows have the same columns in the same order."""
    assert [c.name for c in COLUMNS] == list(made_analysis().rows()[0])


@pytest.mark.identity
@pytest.mark.parametrize("dialect", ["plain", "excel-eu"])
def test_own_reader_reads_own_csv_to_the_same_numbers(dialect: Dialect, tmp_path: Path) -> None:
    """Every number comes back to its last digit, in each dialect."""
    analysis = made_analysis()
    path = tmp_path / "d.csv"
    path.write_text(dose_csv(analysis, dialect), encoding="utf-8", newline="")
    text, encoding = read_text(path, limit_bytes=10**6, label="d.csv")
    table = read_delimited(text, "d.csv", encoding)
    assert table.header == tuple(c.name for c in COLUMNS)
    column = table.header.index("dli_mol_m2_d")
    read = [table.number(row, column) for row in table.rows]
    assert read == [row["dli_mol_m2_d"] for row in analysis.rows()]


@pytest.mark.identity
def test_name_that_looks_like_a_formula_is_neutral() -> None:
    """A spreadsheet does not run a coral's name."""
    text = dose_csv(made_analysis((("=1+1", "mushroom", "s", 2.0),)))
    assert text.splitlines()[1].startswith("'=1+1,")


@pytest.mark.identity
def test_setup_without_sites_still_writes_a_header() -> None:
    """An empty result is a table without rows."""
    text = dose_csv(made_analysis(corals=(), bare_sites=()))
    assert text == ",".join(c.name for c in COLUMNS) + "\n"


@pytest.mark.identity
def test_schema_lists_every_column_with_its_kind() -> None:
    """The Table Schema beside the CSV fits it."""
    fields = json.loads(dose_schema())["fields"]
    assert [(f["name"], f["type"]) for f in fields] == [(c.name, c.kind) for c in COLUMNS]


@pytest.mark.identity
def test_file_names_are_safe_and_all_different() -> None:
    """Separators, reserved names and names that differ only in capitals make no trouble."""
    names = file_names(["left", "Left", "a/b\\c:*", "", "NUL", "../x", "größe"], ".csv")
    assert names == ["left.csv", "Left-2.csv", "a-b-c.csv", "unnamed.csv", "NUL-1.csv", "x.csv", "größe.csv"]
