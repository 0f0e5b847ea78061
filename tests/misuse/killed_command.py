"""Runs one kind of command in a tank, over and over or once, each time with another result: to be killed."""

from __future__ import annotations

import contextlib
import io
import itertools
import os
import sys
from collections.abc import Iterator
from pathlib import Path

from lightdose.cli import cli
from lightdose.desk.session import Desk
from lightdose.files.writing import write_atomically

_ABOUT_TO_WRITE = {"open", "os.mkdir", "os.rename", "os.remove", "os.rmdir"}
_watched: list[str] = []


def _tell_of_the_first(event: str, given: tuple[object, ...]) -> None:
    """Say "writing" before the first thing in the watched folder is opened for writing, made or moved."""
    if not _watched or event not in _ABOUT_TO_WRITE:
        return
    reads = event == "open" and isinstance(given[2], int) and not given[2] & (os.O_WRONLY | os.O_RDWR)
    if not reads and isinstance(given[0], str | os.PathLike) and os.fspath(given[0]).startswith(_watched[0]):
        _watched.clear()
        os.write(1, b"writing\n")


@contextlib.contextmanager
def telling_of_writes(tank: Path) -> Iterator[None]:
    """What is written within is told of once."""
    _watched[:] = [str(tank)]
    try:
        yield
    finally:
        _watched.clear()


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


def asked(kind: str, tank: Path, count: int) -> list[str]:
    """The words of a command whose result is other than the one before."""
    out, date = tank / "out", f"2026-03-{1 + count % 28:02d}"
    words = {
        "report": ["report", "setup.toml", "--date", date, "-o", str(out / "report.html")],
        "calibrate": ["calibrate", "setup.toml", "readings.csv", "--date", date, "-o", str(out / "c.toml")],
        "tune": ["dose", "setup.toml", "--all-channels", str(40 + count % 50), "--csv-schedule", str(out)],
        "keep": ["keep", "setup.toml"],
        "note": ["note", "setup.toml", "--coral", "tip", "--kind", "colour"],
    }[kind]
    if kind == "note":
        words += ["--value", str(1 + count % 6), f"turn {count}"]
    return [str(tank / word) if word in ("setup.toml", "readings.csv") else word for word in words]


def step(kind: str, tank: Path, count: int) -> None:
    """One result, other than the one before."""
    if kind == "keep":
        day = tank / "left.csv"
        rows = "time" + day.read_text(encoding="utf-8").partition("time")[2]
        write_atomically(day, f"# {count}\n{rows}")
    if kind != "desk":
        with telling_of_writes(tank):
            run(*asked(kind, tank, count))
        return
    desk = Desk(tank / "setup.toml")
    desk.do({"do": "overall", "percent": float(40 + count % 50), "fixtures": ["left"]})
    desk.do({"do": "set", "table": "tank", "key": "rim", "text": f"{count % 3} cm"})
    with telling_of_writes(tank):
        desk.save(f"turn {count}")
    desk.close()


if __name__ == "__main__":
    first = int(sys.argv[3])
    sys.addaudithook(_tell_of_the_first)
    for turn in [first] if sys.argv[4:] == ["once"] else itertools.count(first):
        print("begun", flush=True)
        step(sys.argv[1], Path(sys.argv[2]), turn)
        print("done", flush=True)
