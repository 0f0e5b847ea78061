"""Kills commands at random moments: the good file of before is whole, and nothing unfinished stays."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
import tomllib
from collections import Counter
from pathlib import Path
from random import Random

from misuse.every_file import write_tank

from lightdose.files.diary_states import diary_folder, kept_bytes, read_diary
from lightdose.files.setup_file import read_setup

KINDS = ("calibrate", "tune", "keep", "note", "desk", "report")
WRITER = Path(__file__).with_name("killed_command.py")


def unfinished(tank: Path) -> list[Path]:
    """Files that a run began and did not finish."""
    return [p for p in tank.rglob(".lightdose-*") if p.suffix in (".tmp", ".note")]


def _started(kind: str, tank: Path, turn: int, *once: str) -> subprocess.Popen[str]:
    words = [sys.executable, str(WRITER), kind, str(tank), str(turn), *once]
    return subprocess.Popen(words, stdout=subprocess.PIPE, text=True)


def _say(writer: subprocess.Popen[str], word: str) -> None:
    assert writer.stdout is not None
    assert writer.stdout.readline() == f"{word}\n"


def _kill(writer: subprocess.Popen[str]) -> bool:
    """Kill it, and tell whether it had said that it was done."""
    os.kill(writer.pid, signal.SIGKILL)
    writer.wait()
    assert writer.stdout is not None
    with writer.stdout as rest:
        return "done" in rest.read()


def assert_whole(kind: str, tank: Path) -> None:
    """What a reader finds is a whole file, old or new, and of files that belong together all are one."""
    out = tank / "out"
    setup = read_setup(tank / "setup.toml")
    if kind == "report" and (out / "report.html").exists():
        text = (out / "report.html").read_text(encoding="utf-8")
        assert text.lower().startswith("<!doctype html>")
        assert text.rstrip().endswith("</html>")
    elif kind == "calibrate" and (out / "c.toml").exists():
        assert (
            tomllib.loads((out / "c.toml").read_text(encoding="utf-8"))["format"] == "lightdose-calibration/1"
        )
    elif kind in ("keep", "note", "desk"):
        diary = read_diary(setup.path)
        assert diary.problems == (), [str(p) for p in diary.problems]
        folder = diary_folder(setup.path)
        for state in diary.states[-3:]:
            assert all(kept_bytes(folder, file) for file in state.files)


def kill_and_look(kind: str, tank: Path, times: int, seed: int) -> Counter[str]:
    """Kill at random moments around the writing; look, let one run end, look again."""
    draw, seen = Random(f"{seed}, {kind}"), Counter[str]()
    write_tank(tank)
    (tank / "out").mkdir()
    takes_s = _writes_for_s(kind, tank)
    for turn in range(times):
        writer = _started(kind, tank, 10 * turn, "once")
        _say(writer, "begun")
        _say(writer, "writing")
        time.sleep(takes_s * draw.uniform(0.0, 1.2))
        ended = _kill(writer)
        seen["kills"] += 1
        seen["before the writing had ended"] += not ended
        seen["with something unfinished left"] += bool(unfinished(tank))
        assert_whole(kind, tank)
        if turn % 5 == 4 or turn == times - 1:
            whole = _started(kind, tank, 10 * turn + 5, "once")
            assert whole.communicate(timeout=900)[0] == "begun\nwriting\ndone\n"
            assert_whole(kind, tank)
            assert unfinished(tank) == [], (kind, turn)
    return seen


def _writes_for_s(kind: str, tank: Path) -> float:
    """How long writing takes, the second time at least, when all modules are loaded. [s]"""
    writer, taken = _started(kind, tank, 0), []
    for _ in range(3):
        _say(writer, "begun")
        _say(writer, "writing")
        start = time.monotonic()
        _say(writer, "done")
        taken.append(time.monotonic() - start)
    _kill(writer)
    return min(taken[1:])


def main(times: int, seed: int, folder: Path) -> int:
    """So many kills of each kind; prints what was met."""
    for kind in KINDS:
        start = time.monotonic()
        seen = kill_and_look(kind, folder / kind, times, seed)
        print(f"{kind:<10} {dict(seen)}, {time.monotonic() - start:.0f} s", flush=True)
    return 0
