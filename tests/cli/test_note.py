"""`lightdose note`: a row a fact, a sheet for a round, and what spreadsheets make of it."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from cli.test_keep import run, tank

__all__ = ["tank"]


def rows(tank: Path) -> list[list[str]]:
    with (tank / "diary" / "notes.csv").open(encoding="utf-8", newline="") as stream:
        return list(csv.reader(stream))


@pytest.mark.identity
def test_note_is_one_row_with_its_schema_beside(tank: Path) -> None:
    """The columns mean terms of Darwin Core, and the last score stands in the answer."""
    run("note", tank, "--coral", "hammer", "--kind", "colour", "--value", "5", "--date", "2025-01-01")
    done = run(
        "note", tank, "--coral", "hammer", "--kind", "color", "--value", "3", "--date", "2025-02-01", "pale"
    )
    assert done.exit_code == 0, done.stderr
    assert "colour 3: pale, 5 on 2025-01-01: a change of 2 or more counts" in done.stdout
    assert rows(tank)[2] == ["2025-02-01", "hammer", "colour", "3", "", "pale"]
    schema = json.loads((tank / "diary" / "notes.schema.json").read_text(encoding="utf-8"))
    terms = [field["rdfType"].rpartition("/")[2] for field in schema["fields"]]
    assert terms[0] == "eventDate"
    assert terms[2:] == ["measurementType", "measurementValue", "measurementUnit", "measurementRemarks"]


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--coral", "hamer", "x"), "did you mean 'hammer'"),
        (("--coral", "hammer", "--kind", "colour", "--value", "7"), "outside its scale"),
        (("--coral", "hammer", "--kind", "colur", "--value", "4"), "did you mean colour"),
        (("--coral", "hammer", "--kind", "colour"), "colour has no value"),
        (("--date", "2999-01-01", "x"), "still to come"),
        ((), "nothing to note"),
        (("--kind", "reading", "--value", "100", "--coral", "hammer"), "needs its unit"),
        (("--sheet", "--from", "x.csv"), "one of them"),
    ],
)
def test_slip_is_told_and_nothing_is_written(tank: Path, words: tuple[str, ...], says: str) -> None:
    """Each is refused with its cure."""
    done = run("note", tank, *words)
    assert done.exit_code == 2
    assert says in done.stderr
    assert not (tank / "diary" / "notes.csv").exists()


@pytest.mark.identity
def test_own_kinds_are_kept_and_shown(tank: Path) -> None:
    """Nothing is dropped because it is not known."""
    run("keep", tank, "--date", "2025-01-01")
    done = run(
        "note", tank, "--kind", "temperature", "--value", "27.5", "--unit", "C", "--date", "2025-01-02"
    )
    assert "a kind of your own" in done.stdout
    told = json.loads(run("history", tank, "--json").stdout)
    assert told["tank_notes"][0]["kind"] == "temperature"
    assert told["tank_notes"][0]["value"] == 27.5


@pytest.mark.identity
def test_reading_goes_into_the_readings_too(tank: Path) -> None:
    """At the coral's site, as calibrate takes it; a file that cannot take it stops the note as well."""
    meter = '[meter.handheld]\nreads = "umol"\nimmersion = "unknown"\n'
    with (tank / "setup.toml").open("a", encoding="utf-8") as stream:
        stream.write(meter)
    words = ("--kind", "reading", "--value", "140", "--unit", "umol_m2_s", "--time", "14:00")
    done = run("note", tank, "--coral", "hammer", *words, "--date", "2025-01-02")
    assert done.exit_code == 0, done.stderr
    with (tank / "readings.csv").open(encoding="utf-8", newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert (row["site"], row["reading"], row["unit"], row["time"]) == ("sand", "140", "umol_m2_s", "14:00")
    assert run("calibrate", tank, tank / "readings.csv").exit_code == 0
    (tank / "readings.csv").write_text("site,reading,unit\n", encoding="utf-8")
    assert run("note", tank, "--coral", "hammer", *words).exit_code == 2
    assert len(rows(tank)) == 2


@pytest.mark.identity
def test_reading_names_its_meter_where_there_are_several(tank: Path) -> None:
    """One of two must be told, a name that is not there is refused, and nothing is written before."""
    meters = "".join(f'[meter.{name}]\nreads = "umol"\nimmersion = 1.3\n' for name in ("old", "new"))
    with (tank / "setup.toml").open("a", encoding="utf-8") as stream:
        stream.write(meters)
    words = (
        "--coral",
        "hammer",
        "--kind",
        "reading",
        "--value",
        "140",
        "--unit",
        "umol_m2_s",
        "--time",
        "14:00",
    )
    for more, told in (((), "needs its meter"), (("--meter", "nwe"), "did you mean 'new'")):
        done = run("note", tank, *words, *more)
        assert done.exit_code == 2
        assert told in done.stderr
    assert not (tank / "readings.csv").exists()
    assert run("note", tank, *words, "--meter", "new").exit_code == 0
    with (tank / "readings.csv").open(encoding="utf-8", newline="") as stream:
        assert [row["meter"] for row in csv.DictReader(stream)] == ["new"]


@pytest.mark.identity
@pytest.mark.parametrize("dialect", ["plain", "excel-eu"])
def test_round_is_printed_filled_in_and_read_back(tank: Path, tmp_path: Path, dialect: str) -> None:
    """Semicolons, decimal commas and D.M.Y of a spreadsheet give the notes that were made."""
    done = run("note", tank, "--sheet", "-o", tmp_path / "round", "--csv-dialect", dialect)
    assert done.exit_code == 0, done.stderr
    page = (tmp_path / "round" / "round.html").read_text(encoding="utf-8")
    assert all(name in page for name in ("blue tip", "hammer"))
    table = tmp_path / "round" / "round.csv"
    mark, decimal = (";", ",") if dialect == "excel-eu" else (",", ".")
    lines = table.read_text(encoding="utf-8-sig").splitlines()
    lines[1] = mark.join(["blue tip", "ridge", "5.3.2025", "5", "3", f"4{decimal}5", "", "new growth"])
    lines[2] = mark.join(["hammer", "sand", "", "", "", "", "x", ""])
    table.write_text("\ufeff" + "\r\n".join(lines) + "\r\n", encoding="utf-8")
    assert run("note", tank, "--sheet", "-o", tmp_path / "round").exit_code == 2
    done = run("note", tank, "--from", table, "--date", "2025-03-06")
    assert done.exit_code == 0, done.stderr
    assert rows(tank)[1:] == [
        ["2025-03-05", "blue tip", "colour", "5", "", "new growth"],
        ["2025-03-05", "blue tip", "open", "3", "", ""],
        ["2025-03-05", "blue tip", "size_cm", "4.5" if dialect == "plain" else "4,5", "cm", ""],
        ["2025-03-06", "hammer", "lost", "", "", ""],
    ]
    again = run("note", tank, "--from", table, "--date", "2025-03-06")
    assert "Added 0 notes" in again.stdout


@pytest.mark.identity
def test_sheet_with_a_slip_adds_nothing(tank: Path, tmp_path: Path) -> None:
    """Every slip is told with its line; the rows that are right wait for the others."""
    table = tmp_path / "round.csv"
    table.write_text("coral,colour\nhamer,4\nhammer,9\nhammer,4\n", encoding="utf-8")
    done = run("note", tank, "--from", table)
    assert done.exit_code == 2
    assert "round.csv:2" in done.stderr
    assert "round.csv:3" in done.stderr
    assert not (tank / "diary" / "notes.csv").exists()


@pytest.mark.identity
def test_diary_that_excel_saved_is_read(tank: Path) -> None:
    """notes.csv with semicolons, decimal commas, D.M.Y and Windows letters, and a broken row among them."""
    run("keep", tank, "--date", "2025-01-01")
    text = (
        "date;coral;kind;value;unit;remark\r\n14.1.2025;hammer;size_cm;4,5;cm;größer\r\n"
        "15.1.2025;hammer;colour;9;;\r\n16.01.2025;hammer;colour;5;;\r\n"
    )
    (tank / "diary" / "notes.csv").write_bytes(text.encode("cp1252"))
    told = json.loads(run("history", tank, "--coral", "hammer", "--json").stdout)
    notes = told["corals"][0]["notes"]
    assert [(n["date"], n["value"], n["remark"]) for n in notes] == [
        ("2025-01-14", 4.5, "größer"),
        ("2025-01-16", 5.0, ""),
    ]
    assert any("notes.csv:3" in problem for problem in told["problems"])
