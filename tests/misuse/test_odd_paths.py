"""What stands where a file should: folders, pipes, devices, loops, other kinds of file, the file itself."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest
from crossed import crossed
from misuse.ending import assert_ends_well, assert_writes_nothing, contents, run_here
from misuse.every_file import FILES, write_tank

pytestmark = pytest.mark.skipif(os.name == "nt", reason="pipes and devices are files on POSIX systems only")


def _long(path: Path) -> str:
    return "x" * 300 + path.suffix


def _made(make: Callable[[Path], object]) -> Callable[[Path], str]:
    def odd(path: Path) -> str:
        make(path)
        return path.name

    return odd


def _two_links(path: Path) -> None:
    other = path.with_name("other" + path.suffix)
    path.symlink_to(other)
    other.symlink_to(path)


ODD: dict[str, Callable[[Path], str]] = {
    "nothing there": lambda path: path.name,
    "folder": _made(Path.mkdir),
    "link to itself": _made(lambda path: path.symlink_to(path)),
    "links in a circle": _made(_two_links),
    "link to nothing": _made(lambda path: path.symlink_to("/nowhere/at all")),
    "pipe without a writer": _made(os.mkfifo),
    "endless device": _made(lambda path: path.symlink_to("/dev/zero")),
    "empty device": _made(lambda path: path.symlink_to("/dev/null")),
    "memory of the process": _made(lambda path: path.symlink_to("/proc/self/mem")),
    "name of 300 letters": _long,
    "name with NUL": lambda path: f"a\\u0000{path.suffix}",
    "empty name": lambda _: "",
    "dots": lambda _: "..",
    "below a file": lambda path: f"setup.toml/{path.name}",
    "setup itself": lambda _: "setup.toml",
    "fixture": lambda _: "lamp.toml",
    "schedule": lambda _: "left.csv",
    "program": _made(lambda path: path.write_bytes(b"\x7fELF\x02\x01\x01" + bytes(range(256)) * 40)),
    "picture": _made(lambda path: path.write_bytes(b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 40)),
    "page": _made(lambda path: path.write_bytes(b"<!doctype html><title>404</title><p>not found\n" * 9)),
}
"""What is made at a path; the name that then stands in the setup."""

NAMED_IN = {
    "corals.csv": "setup.toml",
    "sites.csv": "setup.toml",
    "rocks.csv": "setup.toml",
    "my-groups.toml": "setup.toml",
    "calibration.toml": "setup.toml",
    "water.csv": "setup.toml",
    "cover.csv": "setup.toml",
    "response.csv": "setup.toml",
    "lamp2.toml": "setup.toml",
    "left.csv": "setup.toml",
    "beam.ies": "lamp.toml",
    "beam.ldt": "lamp.toml",
    "cyan.csv": "lamp.toml",
}
"""A file -> the file that names it."""


@pytest.mark.identity
@pytest.mark.parametrize(("name", "odd"), crossed(NAMED_IN, ODD, one_in=4))
def test_odd_thing_in_a_files_place_is_told(
    name: str, odd: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Whatever a named file turns out to be, nothing hangs or fills the memory; one message tells."""
    tank = write_tank(tmp_path / "tank")
    monkeypatch.chdir(tank)
    holder = tank / NAMED_IN[name]
    text = holder.read_text(encoding="utf-8")
    assert f'"{name}"' in text
    new = ODD[odd](tank / f"odd{Path(name).suffix}")
    holder.write_text(text.replace(f'"{name}"', f'"{new}"'), encoding="utf-8")
    before = contents(tmp_path)
    ending = run_here(["dose", "setup.toml"])
    is_right = (odd, name) in {("schedule", "left.csv"), ("fixture", "lamp2.toml")}
    assert_ends_well(ending, codes=(0, 2) if is_right else (2,))
    assert_writes_nothing(before, tmp_path)


TAKES_FILE: dict[str, tuple[str, ...]] = {
    "check": ("check", "FILE.toml"),
    "dose": ("dose", "FILE.toml"),
    "dose, one of two": ("dose", "setup.toml", "FILE.toml", "--jobs", "1"),
    "dose, a swap": ("dose", "setup.toml", "--swap-fixture", "FILE.toml"),
    "dose, a schedule": ("dose", "setup.toml", "--schedule", "FILE.csv"),
    "groups": ("groups", "--groups", "FILE.toml"),
    "spectrum": ("spectrum", "FILE.csv"),
    "spectrum in XML": ("spectrum", "FILE.xml"),
    "calibrate": ("calibrate", "setup.toml", "FILE.csv"),
    "compare": ("compare", "setup.toml", "FILE.toml"),
    "acclimate": ("acclimate", "FILE.toml", "setup.toml"),
    "match": ("match", "setup.toml", "FILE.toml", "--pair", "ridge=ridge"),
    "report": ("report", "setup.toml", "FILE.toml", "-o", "out/report.html"),
    "hazard": ("hazard", "FILE.toml"),
}
UNTYPED = {"name with NUL", "schedule", "fixture"}


@pytest.mark.identity
@pytest.mark.parametrize(
    ("command", "odd"), crossed(TAKES_FILE, [odd for odd in ODD if odd not in UNTYPED], one_in=4)
)
def test_odd_thing_on_the_command_line_is_told(
    command: str, odd: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The same for paths that are typed; no result is begun."""
    tank = write_tank(tmp_path / "tank")
    monkeypatch.chdir(tank)
    suffix = next(Path(word).suffix for word in TAKES_FILE[command] if word.startswith("FILE"))
    new = ODD[odd](tank / f"odd{suffix}")
    before = contents(tmp_path)
    words = [new if word.startswith("FILE") else word for word in TAKES_FILE[command]]
    is_right = odd == "setup itself" and command not in {"dose, a swap", "groups"} and suffix == ".toml"
    # A folder of setups stands for all of them.
    is_right |= odd == "dots" and command in {"check", "dose", "dose, one of two", "hazard"}
    assert_ends_well(run_here(words), codes=(0, 2) if is_right else (2,))
    if not is_right:
        assert_writes_nothing(before, tmp_path)


@pytest.mark.identity
def test_every_named_file_is_tried() -> None:
    """No file of the tank is left out, but those that commands take and the two that name others."""
    assert set(FILES) - set(NAMED_IN) == {"setup.toml", "lamp.toml", "readings.csv", "lamp.spdx"}
