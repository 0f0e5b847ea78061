"""Every kind of file, and every file of the examples, broken in every way: one message, nothing written."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from crossed import crossed
from misuse.ending import assert_ends_well, assert_writes_nothing, contents, run_here
from misuse.every_file import FILES, write_tank
from misuse.ways_to_break import BYTE_WAYS, WAYS, broken

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
SHIPPED = [
    path.as_posix()
    for path in sorted(p.relative_to(EXAMPLES) for p in EXAMPLES.rglob("*") if p.suffix in {".toml", ".csv"})
    if "diary" not in path.parts  # test_broken_diary.py harms a diary
]

READ_BY = {
    "readings.csv": ("calibrate", "setup.toml", "readings.csv", "--date", "2026-03-14"),
    "lamp.spdx": ("spectrum", "lamp.spdx"),
    "my-groups.toml": ("groups", "setup.toml"),
    "response.csv": ("meter", "setup.toml", "120", "--site", "ridge"),
}
"""Commands that read what `dose` does not."""


@pytest.mark.identity
def test_tank_of_every_file_is_whole(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Unbroken, every command of this corpus ends with 0, so that what breaks is the breaking's."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    for words in (("dose", "setup.toml"), *READ_BY.values()):
        assert run_here(words).code == 0, run_here(words)


@pytest.mark.identity
@pytest.mark.parametrize(("name", "way"), crossed(FILES, WAYS, one_in=5))
def test_broken_file_ends_in_an_answer_or_one_message(
    name: str, way: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever befalls one file, the command answers or says what is wrong, and leaves all files alone."""
    folder = write_tank(tmp_path / "tank", {name: broken(name, FILES[name].encode(), way)})
    monkeypatch.chdir(folder)
    before = contents(tmp_path)
    assert_ends_well(run_here(READ_BY.get(name, ("dose", "setup.toml"))))
    assert_writes_nothing(before, tmp_path)


@pytest.mark.identity
@pytest.mark.parametrize(("shipped", "way"), crossed(SHIPPED, BYTE_WAYS, one_in=5))
def test_broken_example_ends_in_an_answer_or_one_message(shipped: str, way: str, tmp_path: Path) -> None:
    """Each shipped file, harmed byte by byte, is answered or refused by every setup of its folder."""
    top = shipped.partition("/")[0]
    folder = tmp_path / top
    shutil.copytree(EXAMPLES / top, folder, ignore=shutil.ignore_patterns("schemas"))
    target = tmp_path / shipped
    target.write_bytes(broken(shipped, target.read_bytes(), way))
    before = contents(tmp_path)
    setups = [
        p
        for p in sorted(folder.glob("*.toml"))
        if target.suffix == ".csv" or target == p or len(target.parts) > len(p.parts)
    ]
    for setup in setups:
        words = ("calibrate", setup, target) if target.name == "readings.csv" else ("check", setup)
        assert_ends_well(run_here([str(word) for word in words]))
    assert setups
    assert_writes_nothing(before, tmp_path)
