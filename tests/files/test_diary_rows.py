"""Tables of a diary: broken rows hide no others, spreadsheets' habits are read, rows are only added."""

from __future__ import annotations

import multiprocessing
from pathlib import Path

import pytest

from lightdose.errors import OutputError
from lightdose.files.diary_rows import add_rows, locked, read_table

HEAD = "date,coral,kind,value,unit,remark"
COLUMNS = HEAD.split(",")
ROW = {"date": "2026-03-14", "coral": "hammer", "kind": "colour", "value": "4", "remark": "fine"}


def table_of(path: Path, data: bytes | str):  # type: ignore[no-untyped-def]
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return read_table(path, "notes.csv", "date")


@pytest.mark.identity
@pytest.mark.parametrize(
    "broken",
    [
        '2026-03-02,"hammer,colour,4,,',
        "2026-03-02,a,b,c,d,e,f,g",
        "half a row",
        "2026-03-02,\0\0\0\0,colour,4,,",
    ],
)
def test_broken_row_is_named_and_hides_no_other(tmp_path: Path, broken: str) -> None:
    """The rows around it are read, and its line is told."""
    lines = [HEAD, "2026-03-01,hammer,colour,4,,", broken, "2026-03-03,hammer,colour,5,,"]
    table = table_of(tmp_path / "notes.csv", "\n".join(lines) + "\n")
    assert [row.line for row in table.rows] == [2, 4]
    assert [problem.place.line for problem in table.problems] == [3]


@pytest.mark.identity
def test_row_without_its_end_is_named(tmp_path: Path) -> None:
    """What a write that was cut short could leave is no row."""
    table = table_of(tmp_path / "notes.csv", f"{HEAD}\n2026-03-01,hammer,colour,4,,\n2026-0")
    assert len(table.rows) == 1
    assert len(table.problems) == 1


@pytest.mark.identity
@pytest.mark.parametrize(
    ("encode", "separator"),
    [
        (lambda text: text.encode("utf-8-sig"), ";"),
        (lambda text: text.encode("cp1252"), ";"),
        (lambda text: text.encode("utf-16"), "\t"),
        (lambda text: ("sep=;\n" + text).encode("utf-8"), ";"),
        (lambda text: text.replace("\n", "\r\n").encode("utf-8"), ","),
    ],
)
def test_habits_of_spreadsheets_are_read_and_kept(tmp_path: Path, encode, separator: str) -> None:  # type: ignore[no-untyped-def]
    """A row added to what a spreadsheet saved reads back beside the old ones, which keep their bytes."""
    text = f"{HEAD}\n2026-03-01,hämmer,colour,4,,blaß\n".replace(",", separator)
    path = tmp_path / "notes.csv"
    path.write_bytes(encode(text))
    before = path.read_bytes()
    with locked(tmp_path):
        add_rows(path, COLUMNS, "date", [ROW | {"remark": "größer; a bit, too"}])
    assert path.read_bytes().startswith(before)
    table = read_table(path, "notes.csv", "date")
    assert not table.problems
    assert [row.of("remark") for row in table.rows] == ["blaß", "größer; a bit, too"]
    assert table.rows[0].of("coral") == "hämmer"


@pytest.mark.identity
def test_last_row_without_a_line_end_stays_whole(tmp_path: Path) -> None:
    """A hand-edited file often ends without one."""
    path = tmp_path / "notes.csv"
    path.write_text(f"{HEAD}\n2026-03-01,hammer,colour,4,,", encoding="utf-8")
    with locked(tmp_path):
        add_rows(path, COLUMNS, "date", [ROW])
    assert [row.of("value") for row in read_table(path, "x", "date").rows] == ["4", "4"]


@pytest.mark.identity
def test_columns_in_another_order_are_followed(tmp_path: Path) -> None:
    """A row goes under the header as it stands; a column that is missing is told, and nothing is written."""
    path = tmp_path / "notes.csv"
    path.write_text("coral,kind,value,date,photo\n", encoding="utf-8")
    with locked(tmp_path), pytest.raises(OutputError, match="no column remark"):
        add_rows(path, COLUMNS, "date", [ROW])
    assert path.read_text(encoding="utf-8") == "coral,kind,value,date,photo\n"
    with locked(tmp_path):
        add_rows(path, COLUMNS, "date", [{k: v for k, v in ROW.items() if k != "remark"}])
    assert path.read_text(encoding="utf-8").splitlines()[1] == "hammer,colour,4,2026-03-14,"


@pytest.mark.identity
def test_cell_over_several_lines_is_one_cell(tmp_path: Path) -> None:
    """A spreadsheet lets people break lines in a cell."""
    text = f'{HEAD}\n2026-03-01,hammer,free,,,"one\ntwo, three"\n2026-03-02,hammer,open,3,,\n'
    table = table_of(tmp_path / "notes.csv", text)
    assert [row.of("remark") for row in table.rows] == ["one two, three", ""]


@pytest.mark.identity
def test_full_disk_leaves_no_half_row(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where only a part could be written the file is as it was."""
    import errno
    import os

    path = tmp_path / "notes.csv"
    path.write_text(f"{HEAD}\n2026-03-01,hammer,colour,4,,\n", encoding="utf-8")
    before, whole = path.read_bytes(), os.write

    def full(descriptor: int, data: bytes) -> int:
        if len(data) < 10:
            raise OSError(errno.ENOSPC, "No space left on device")
        return whole(descriptor, data[: len(data) - 5])

    monkeypatch.setattr(os, "write", full)
    with locked(tmp_path), pytest.raises(OutputError, match="disk is full"):
        add_rows(path, COLUMNS, "date", [ROW])
    assert path.read_bytes() == before


def _add_many(folder: str, name: str) -> None:
    path = Path(folder) / "notes.csv"
    for turn in range(25):
        with locked(Path(folder)):
            add_rows(path, COLUMNS, "date", [ROW | {"coral": name, "remark": str(turn)}])


@pytest.mark.identity
def test_two_processes_at_once_lose_nothing(tmp_path: Path) -> None:
    """Each row of both stands once and whole."""
    context = multiprocessing.get_context("spawn")
    both = [context.Process(target=_add_many, args=(str(tmp_path), name)) for name in ("a", "b")]
    for one in both:
        one.start()
    for one in both:
        one.join()
    table = read_table(tmp_path / "notes.csv", "notes.csv", "date")
    assert not table.problems
    wanted = {(name, str(turn)) for name in ("a", "b") for turn in range(25)}
    assert {(row.of("coral"), row.of("remark")) for row in table.rows} == wanted
    assert len(table.rows) == 50
