"""Writes into a diary without end, and says each time that it is done: a process to be killed."""

from __future__ import annotations

import itertools
import sys
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

from lightdose.files.diary_notes import add_notes
from lightdose.files.diary_states import diary_folder, keep_state
from lightdose.files.setup_file import read_setup
from lightdose.files.writing import write_atomically
from lightdose.model.diary import Note


def main(tank: Path, turn: str) -> None:
    """Keep another programme and make two notes, over and over."""
    day, setup = tank / "day-1.csv", tank / "setup.toml"
    plain = read_setup(setup)
    rows = "time" + day.read_text(encoding="utf-8").partition("time")[2]
    print("begun", flush=True)
    for count in itertools.count():
        word = f"{turn}-{count}"
        for part in "ab":
            note = Note("2025-01-01", "hammer", "free", None, "", f"{word}{part}")
            add_notes(diary_folder(plain.path), [note])
            print(f"note {word}{part}", flush=True)
        write_atomically(day, f"# {word}\n{rows}")
        hashed = {**plain.inputs_sha256, str(day.absolute()): sha256(day.read_bytes()).hexdigest()}
        kept = keep_state(replace(plain, inputs_sha256=hashed), "2025-01-01", word)
        assert kept.state is not None
        print(f"state {kept.state.name}", flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]), sys.argv[2])
