"""Streams that are closed or full, and signals that end a run: one message or none, and whole files."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

import pytest
from misuse.ending import MACHINE_TALK
from misuse.every_file import write_tank

pytestmark = pytest.mark.skipif(os.name == "nt", reason="devices, limits and signals of POSIX systems")

if os.name != "nt":
    import resource

COMMANDS = (
    "dose setup.toml",
    "dose setup.toml --json",
    "check setup.toml",
    "guide",
    "--help",
    "dose gone.toml",
)


def shell(words: str, redirected: str, folder: Path, *flags: str) -> tuple[int, str]:
    """Exit code of a command with its streams sent elsewhere by a shell, and its words on stderr."""
    call = f'"{sys.executable}" {" ".join(flags)} -m lightdose {words} {redirected}'
    run = subprocess.run(["sh", "-c", call], cwd=folder, capture_output=True, text=True, timeout=60)
    return run.returncode, run.stderr


@pytest.mark.identity
@pytest.mark.parametrize("words", COMMANDS)
@pytest.mark.parametrize(
    ("redirected", "reason"), [(">&-", "closed"), (">/dev/full", "the disk is full"), (">/dev/full 2>&-", "")]
)
def test_answer_that_nobody_can_get_is_told(words: str, redirected: str, reason: str, tmp_path: Path) -> None:
    """Exit 2 with one message and its cause; no trace, no fault, no code of the interpreter's own end."""
    code, told = shell(words, redirected, write_tank(tmp_path / "tank"))
    assert code == 2
    assert not MACHINE_TALK.search(told), told
    if "gone" not in words and reason:
        assert f"could not be written to standard output: {reason}" in told


@pytest.mark.identity
@pytest.mark.parametrize("words", COMMANDS)
@pytest.mark.parametrize("redirected", ["2>&-", "2>/dev/full", "<&-", "<&- 2>&-"])
def test_answer_comes_where_only_messages_are_lost(words: str, redirected: str, tmp_path: Path) -> None:
    """The exit code is what it would be, and what cannot be told ends nothing."""
    code, told = shell(words, redirected, write_tank(tmp_path / "tank"))
    assert code == (2 if "gone" in words else 0), told


@pytest.mark.identity
@pytest.mark.parametrize("flags", [(), ("-u",)])
def test_disk_that_fills_in_the_middle_is_told(flags: tuple[str, ...], tmp_path: Path) -> None:
    """Where the system takes a part of the answer, also unbuffered: exit 2 and words, no silent half."""
    tank = write_tank(tmp_path / "tank")
    # -B: of a module's bytecode too, Python 3.11 would keep the half that found room.
    words = [sys.executable, "-B", *flags, "-m", "lightdose", "dose", "setup.toml", "--json"]

    def small_files() -> None:
        resource.setrlimit(resource.RLIMIT_FSIZE, (4096, 4096))

    with (tank / "out.json").open("wb") as out:
        run = subprocess.run(
            words, cwd=tank, stdout=out, stderr=subprocess.PIPE, text=True, timeout=60, preexec_fn=small_files
        )
    assert run.returncode == 2
    assert "could not be written to standard output: the disk is full" in run.stderr


@pytest.mark.identity
def test_file_never_gets_the_number_of_a_closed_stream(tmp_path: Path) -> None:
    """With stderr closed, messages do not end up in a result."""
    tank = write_tank(tmp_path / "tank")
    code, _ = shell("dose setup.toml --csv out.csv", "2>&- >/dev/null", tank)
    assert code == 0
    assert "wrote" not in (tank / "out.csv").read_text(encoding="utf-8")


def ended_by(number: signal.Signals, words: tuple[str, ...], folder: Path, begun: Callable[[], bool]) -> int:
    """Exit code of a command that gets a signal once it has begun to write."""
    process = subprocess.Popen(
        [sys.executable, "-m", "lightdose", *words],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        preexec_fn=lambda: signal.signal(number, signal.SIG_DFL),  # who runs the tests may ignore it
    )
    end = time.monotonic() + 30
    while not begun() and process.poll() is None and time.monotonic() < end:
        time.sleep(0.002)
    process.send_signal(number)
    _, told = process.communicate(timeout=30)
    assert "Traceback" not in told, told
    return process.returncode


@pytest.mark.identity
@pytest.mark.parametrize("name", ["SIGTERM", "SIGHUP", "SIGQUIT"])
def test_signal_in_the_middle_of_writing_leaves_no_temporary_file(name: str, tmp_path: Path) -> None:
    """Ended as by Ctrl-C, with 128 and the signal's number: no figure, no half, no file of ours."""
    tank = write_tank(tmp_path / "tank")
    out, number = tank / "out", getattr(signal, name)
    words = ("dose", "setup.toml", "--figures", "out")
    code = ended_by(number, words, tank, lambda: out.is_dir() and any(out.iterdir()))
    assert code == 128 + number
    assert list(out.iterdir()) == []


@pytest.mark.identity
def test_signal_that_was_ignored_stays_ignored(tmp_path: Path) -> None:
    """Under `nohup` a run outlives its window."""
    tank = write_tank(tmp_path / "tank")
    code = subprocess.run(
        ["sh", "-c", f'trap \'\' HUP; exec "{sys.executable}" -c "$0"', _IGNORES], cwd=tank, timeout=60
    ).returncode
    assert code == 0


_IGNORES = """
import os, signal, sys
from lightdose import cli
sys.argv[1:] = ["dose", "setup.toml"]
plain = cli.cli.get_command
def hangs_up(*words):
    os.kill(os.getpid(), signal.SIGHUP)
    return plain(*words)
cli.cli.get_command = hangs_up
cli.main()
"""
