"""A process that is killed while it writes a diary loses nothing that it had said was done."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections import Counter
from pathlib import Path

import pytest
from cli.small_tanks import write_tank

from lightdose.files.diary_states import diary_folder, kept_bytes, read_diary

WRITER = Path(__file__).with_name("diary_writer.py")


def killed(tank: Path, turn: int, rng: random.Random) -> list[str]:
    """Start the writer, kill it some random moment after it began, and give what it said was done."""
    words = [sys.executable, str(WRITER), str(tank), str(turn)]
    with subprocess.Popen(words, stdout=subprocess.PIPE, text=True) as writer:
        assert writer.stdout is not None
        assert writer.stdout.readline() == "begun\n"
        time.sleep(rng.uniform(0.0, 0.12))
        os.kill(writer.pid, signal.SIGKILL)
        return writer.stdout.read().split("\n")[:-1]


def kill_and_look(tank: Path, times: int) -> Counter[str]:
    """Kill the writer again and again in one diary; after each, all that was acknowledged is there, whole."""
    rng, seen, done = random.Random(5), Counter[str](), []
    for turn in range(times):
        done += killed(tank, turn, rng)
        diary = read_diary(str(tank / "setup.toml"))
        assert diary.problems == (), (turn, [str(p) for p in diary.problems])
        notes = Counter(note.remark for note in diary.notes)
        states = {state.name for state in diary.states}
        assert max(notes.values(), default=1) == 1
        for word in done:
            kind, _, name = word.partition(" ")
            assert notes[name] == 1 if kind == "note" else name in states, word
        folder = diary_folder(str(tank / "setup.toml"))
        for state in diary.states[-3:]:
            assert all(kept_bytes(folder, file) for file in state.files)
        seen["kills"] += 1
        seen["with a write under way"] += any(folder.glob(".lightdose-*"))
    seen["notes"] = sum(word.startswith("note") for word in done)
    seen["states"] = sum(word.startswith("state") for word in done)
    return seen


pytestmark = pytest.mark.skipif(os.name == "nt", reason="SIGKILL")


@pytest.mark.identity
def test_killed_process_loses_nothing_it_acknowledged(tmp_path: Path) -> None:
    """Ten random moments: no half row, no half state, nothing acknowledged is gone."""
    assert kill_and_look(write_tank(tmp_path / "tank"), 10)["notes"] > 0


@pytest.mark.slow
@pytest.mark.identity
def test_two_hundred_kills_lose_nothing(tmp_path: Path) -> None:
    """The same at 200 random moments, in one diary."""
    seen = kill_and_look(write_tank(tmp_path / "tank"), 200)
    print(dict(seen))
    assert seen["kills"] == 200
