"""Every file of a diary broken in every way: what can be read is read, the rest named, nothing written."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli.small_tanks import write_tank
from misuse.ending import assert_ends_well, assert_writes_nothing, contents, run_here
from misuse.ways_to_break import WAYS, broken
from workflows.test_diary import programme

from lightdose.files.diary_notes import add_notes
from lightdose.files.diary_states import keep_state
from lightdose.files.setup_file import read_setup
from lightdose.model.diary import Note

FILES = (
    "states.csv",
    "notes.csv",
    "2025-01-01/files.csv",
    "2025-01-01/setup.toml",
    "2025-01-01/day-1.csv",
    "2025-02-01/files.csv",
)


@pytest.fixture
def diary(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two states and three notes of a small tank, which is the working folder."""
    tank = write_tank(tmp_path / "tank")
    keep_state(read_setup(tank), "2025-01-01", "first")
    programme(tank, 60)
    keep_state(read_setup(tank), "2025-02-01", "brighter")
    noted = (("2025-01-05", "5"), ("2025-01-25", "5"), ("2025-02-20", "3"))
    add_notes(tank / "diary", [Note(d, "blue tip", "colour", float(c), "", "", c) for d, c in noted])
    monkeypatch.chdir(tank)
    return tank / "diary"


@pytest.mark.identity
@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("name", FILES)
def test_broken_diary_ends_in_a_history_or_one_message(name: str, way: str, diary: Path) -> None:
    """history answers with what can be read, and leaves all files alone."""
    path = diary / name
    path.write_bytes(broken(name, path.read_bytes(), way))
    before = contents(diary.parent)
    assert_ends_well(run_here(("history", "setup.toml", "--coral", "blue tip")))
    assert_writes_nothing(before, diary.parent)


@pytest.mark.identity
@pytest.mark.parametrize("name", FILES)
def test_diary_without_a_file_tells_what_is_missing(name: str, diary: Path) -> None:
    """The other states and notes are told as before."""
    (diary / name).unlink()
    ending = run_here(("history", "setup.toml", "--json"))
    assert ending.code == 0, ending
    told = json.loads(ending.out)
    gone = {"states.csv": 2, "2025-01-01/files.csv": 1, "2025-02-01/files.csv": 1}.get(name, 0)
    assert len(told["states"]) == 2 - gone
    notes = [note for coral in told["corals"] for note in coral["notes"]]
    assert len(notes) == (0 if name == "notes.csv" else 3)
    assert bool(told["problems"]) == (name not in ("states.csv", "notes.csv"))


@pytest.mark.identity
def test_paths_in_a_list_of_files_lead_nowhere_else(diary: Path, tmp_path: Path) -> None:
    """A list that a stranger wrote reads no file with other bytes, and restores none outside the folder."""
    outside = tmp_path / "outside.csv"
    outside.write_text("mine\n", encoding="utf-8")
    listed = diary / "2025-01-01" / "files.csv"
    text = listed.read_text(encoding="utf-8")
    listed.write_text(text.replace("day-1.csv,", "../../outside.csv,", 1), encoding="utf-8")
    ending = run_here(("keep", "setup.toml", "--restore", "2025-01-10", str(tmp_path / "a" / "back")))
    assert_ends_well(ending)
    assert outside.read_text(encoding="utf-8") == "mine\n"
    written = [
        p for p in tmp_path.rglob("*") if p.is_file() and "tank" not in p.relative_to(tmp_path).parts[:1]
    ]
    assert all("a" in p.relative_to(tmp_path).parts or p == outside for p in written)
