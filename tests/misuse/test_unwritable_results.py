"""Results that cannot be written where they were asked for, or are cut short: all of a file, or none."""

from __future__ import annotations

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from misuse.ending import assert_ends_well, contents, run_here
from misuse.every_file import write_tank

WRITES: dict[str, tuple[str, ...]] = {
    "dose --csv": ("dose", "setup.toml", "--csv", "OUT.csv"),
    "dose --csv-schedule": ("dose", "setup.toml", "--csv-schedule", "OUT"),
    "spectrum --csv": ("spectrum", "blue-445", "--csv", "OUT.csv"),
    "map --csv": ("map", "setup.toml", "--cell", "20 cm", "--csv", "OUT.csv"),
    "survey -o": ("survey", "setup.toml", "-o", "OUT"),
    "calibrate -o": ("calibrate", "setup.toml", "readings.csv", "--date", "2026-03-14", "-o", "OUT.toml"),
    "sensitivity --csv": ("sensitivity", "setup.toml", "--csv", "OUT.csv"),
    "tune -o": ("tune", "setup.toml", "-o", "OUT"),
    "match -o": ("match", "setup.toml", "setup.toml", "--pair", "ridge=ridge", "-o", "OUT"),
    "place -o": ("place", "setup.toml", "-o", "OUT.csv"),
    "place --csv": ("place", "setup.toml", "--csv", "OUT.csv"),
    "acclimate -o": ("acclimate", "setup.toml", "setup.toml", "-o", "OUT"),
    "compare --csv": ("compare", "setup.toml", "--fixture-height", "22 cm", "--csv", "OUT.csv"),
    "hazard --csv": ("hazard", "setup.toml", "--csv", "OUT.csv"),
    "hazard --csv of two": ("hazard", "setup.toml", "setup.toml", "--jobs", "1", "--csv", "OUT.csv"),
    "report -o": ("report", "setup.toml", "-o", "OUT.html"),
    "slip -o": ("slip", "setup.toml", "tip", "--date", "2026-03-14", "-o", "OUT.pdf"),
    "guide --html": ("guide", "--html", "OUT.html"),
    "note --sheet -o": ("note", "setup.toml", "--sheet", "-o", "OUT"),
    "init": ("init", "OUT"),
}
"""Every option that writes; a name with a suffix is a file, one without is a folder."""

SLOW = {"report -o", "slip -o"}
"""Tried with fewer obstacles: they take a second each."""


STOPS = {
    "Ctrl-C": KeyboardInterrupt(),
    "disk full": OSError(errno.ENOSPC, "No space left on device"),
    "rights withdrawn": PermissionError(errno.EACCES, "Permission denied"),
    "unplugged": OSError(errno.EIO, "Input/output error"),
}


def _in_a_files_place(out: Path) -> Path:
    out.parent.joinpath("taken").write_bytes(b"mine\n")
    return out.parent / "taken" / out.name


def _folder_in_its_place(out: Path) -> Path:
    (out if out.suffix else out / "left.csv").mkdir(parents=True)
    return out


def _file_in_the_folders_place(out: Path) -> Path:
    (out.parent / "taken").write_bytes(b"mine\n")
    return out.parent / "taken" / "deeper" / out.name


def _name_of_300_letters(out: Path) -> Path:
    return out.with_name("x" * 300 + out.suffix)


def _full_device(out: Path) -> Path:
    return Path("/dev/full") if out.suffix else Path("/dev/full/x")


def _unwritable_system(out: Path) -> Path:
    return Path("/proc") / out.name


OBSTACLES: dict[str, Callable[[Path], Path]] = {
    "below a file": _in_a_files_place,
    "deep below a file": _file_in_the_folders_place,
    "name of 300 letters": _name_of_300_letters,
    "full device": _full_device,
    "place where nothing is made": _unwritable_system,
}


def _words(name: str, out: Path) -> list[str]:
    return [str(out) if word.startswith("OUT") else word for word in WRITES[name]]


def _suffix(name: str) -> str:
    return next(Path(word).suffix for word in WRITES[name] if word.startswith("OUT"))


@pytest.mark.identity
@pytest.mark.skipif(os.name == "nt", reason="links and devices of POSIX systems")
@pytest.mark.parametrize("obstacle", OBSTACLES)
@pytest.mark.parametrize("name", sorted(set(WRITES) - SLOW))
def test_result_that_cannot_be_written_is_told_and_leaves_nothing(
    name: str, obstacle: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The message names the place; no file appears, not even a temporary one, and none changes."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    out = OBSTACLES[obstacle](tmp_path / f"out{_suffix(name)}")
    before = contents(tmp_path)
    ending = run_here(_words(name, out))
    assert_ends_well(ending, codes=(2,))
    assert contents(tmp_path) == before


@pytest.mark.identity
@pytest.mark.parametrize("name", [name for name in WRITES if _suffix(name)])
def test_result_never_takes_the_place_of_an_input(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Named as the place of a result, a file that the run has read is kept as it was."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    before = contents(tmp_path)
    for taken in ("setup.toml",) if name in SLOW else ("setup.toml", "left.csv", "lamp.toml", "beam.ies"):
        if name != "spectrum --csv":  # reads none of them
            ending = run_here(_words(name, Path(taken)))
            assert_ends_well(ending, codes=(2,))
    assert contents(tmp_path) == before


@pytest.mark.identity
@pytest.mark.parametrize(
    "words",
    [
        ("report", "setup.toml", "-o", "page.png"),
        ("report", "setup.toml", "--handout", "page.png"),
        ("slip", "setup.toml", "tip", "-o", "page.png"),
        ("survey", "setup.toml", "-o", "page.csv"),
        ("note", "setup.toml", "--sheet", "-o", "page.csv"),
        ("guide", "--html", "page.txt"),
    ],
    ids=" ".join,
)
def test_page_is_written_under_no_other_kind_of_name(
    words: tuple[str, ...], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A page in HTML or PDF gets a name that says so; the message names the endings that do."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    before = contents(tmp_path)
    ending = run_here(words)
    assert_ends_well(ending, codes=(2,))
    assert "is no name for a page\n    allowed: a name that ends in ." in ending.told, ending.told
    assert contents(tmp_path) == before


@pytest.mark.identity
@pytest.mark.parametrize(
    ("name", "stop"),
    [(name, stop) for name in WRITES for stop in STOPS if name not in SLOW or stop == "Ctrl-C"],
)
def test_stop_in_the_middle_of_writing_keeps_the_old_and_leaves_no_half(
    name: str, stop: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Stopped between the bytes and the new name, the folder is as before; Ctrl-C ends with 130."""
    monkeypatch.chdir(write_tank(tmp_path / "tank"))
    out = tmp_path / f"out{_suffix(name)}"
    if out.suffix and out.suffix != ".toml":  # an older calibration is read, not only replaced
        out.write_bytes(b"older\n")
    before = contents(tmp_path)

    def fail(_: int) -> None:
        raise STOPS[stop]

    monkeypatch.setattr(os, "fsync", fail)
    ending = run_here([*_words(name, out), *(["--replace"] if out.exists() else [])])
    monkeypatch.undo()
    assert_ends_well(ending, codes=(130,) if stop == "Ctrl-C" else (2,))
    assert contents(tmp_path) == before
