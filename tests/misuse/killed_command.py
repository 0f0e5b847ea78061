"""Runs one kind of command in a tank, over and over or once, each time with another result: to be killed."""

from __future__ import annotations

import contextlib
import io
import itertools
import sys
from pathlib import Path

from lightdose.cli import cli
from lightdose.desk.session import Desk
from lightdose.files.writing import write_atomically


def run(*words: str) -> None:
    """A command, its words unread; it must end with 0."""
    with contextlib.redirect_stdout(io.StringIO()), contextlib.redirect_stderr(io.StringIO()):
        code: object = None
        try:
            cli.main(list(words))
        except SystemExit as end:
            code = end.code
    if code:
        sys.exit(f"{words} ended with {code}")


def step(kind: str, tank: Path, count: int) -> None:
    """One result, other than the one before."""
    setup = str(tank / "setup.toml")
    if kind == "report":
        run(
            "report",
            setup,
            "--date",
            f"2026-03-{1 + count % 28:02d}",
            "-o",
            str(tank / "out" / "report.html"),
        )
    elif kind == "calibrate":
        date = f"2026-03-{1 + count % 28:02d}"
        run(
            "calibrate", setup, str(tank / "readings.csv"), "--date", date, "-o", str(tank / "out" / "c.toml")
        )
    elif kind == "tune":
        run("dose", setup, "--all-channels", str(40 + count % 50), "--csv-schedule", str(tank / "out"))
    elif kind == "keep":
        day = tank / "left.csv"
        rows = "time" + day.read_text(encoding="utf-8").partition("time")[2]
        write_atomically(day, f"# {count}\n{rows}")
        run("keep", setup)
    elif kind == "note":
        run(
            "note",
            setup,
            "--coral",
            "tip",
            "--kind",
            "colour",
            "--value",
            str(1 + count % 6),
            f"turn {count}",
        )
    else:
        assert kind == "desk"
        desk = Desk(tank / "setup.toml")
        level = str(40 + count % 50)
        desk.do({"do": "overall", "percent": float(level), "fixtures": ["left"]})
        desk.do({"do": "set", "table": "tank", "key": "rim", "text": f"{count % 3} cm"})
        desk.save(f"turn {count}")
        desk.close()


if __name__ == "__main__":
    first = int(sys.argv[3])
    for turn in [first] if sys.argv[4:] == ["once"] else itertools.count(first):
        print("begun", flush=True)
        step(sys.argv[1], Path(sys.argv[2]), turn)
        print("done", flush=True)
