"""Run a command as a keeper would and tell whether it ended well: one clear message, nothing half-written."""

from __future__ import annotations

import contextlib
import hashlib
import io
import json
import os
import re
import signal
import subprocess
import sys
import threading
from collections.abc import Callable, Collection, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import IO

from lightdose.cli import cli

LIMIT_S = 20
LIMIT_MB = 1000
WAITS = 15

STEERING = re.compile(
    "[\x00-\x08\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u2028\u2029\u202a-\u202e\u2066-\u2069\ufeff]"
)
"""What steers a terminal, breaks a line or turns the reading direction; tabs and line ends are ours."""

MACHINE_TALK = re.compile(
    r"Traceback|unexpected trouble|\.py\b.*line \d|Input should be|validation error|np\.float64|NoneType"
    r"|has no attribute|RuntimeWarning|codec can't|<class '|Errno"
)
"""Sentences of libraries and of the interpreter, which a keeper cannot act on."""


@dataclass(frozen=True)
class Ending:
    """How a run ended; ``peak_mb`` is known of a process of its own only."""

    words: tuple[str, ...]
    code: int
    out: str
    told: str
    peak_mb: float = 0.0

    def __str__(self) -> str:
        return f"{' '.join(self.words)} -> {self.code}\n{self.told[:2000]}\n{self.out[:500]}"


class TooSlowError(BaseException):
    """Above Exception, so that no handler under test takes it for a fault of a file."""


@contextlib.contextmanager
def _within_the_limit() -> Iterator[None]:
    """Stop what runs longer than ``LIMIT_S``; a hang is a failure, not a wait."""
    alarm = hasattr(signal, "SIGALRM") and threading.current_thread() is threading.main_thread()
    if not alarm:
        yield
        return

    def stop(*_: object) -> None:
        raise TooSlowError

    # Seconds of the processor, and, for what waits, many times as many on the clock: machines are shared.
    before = [signal.signal(number, stop) for number in (signal.SIGALRM, signal.SIGPROF)]
    signal.alarm(WAITS * LIMIT_S)
    signal.setitimer(signal.ITIMER_PROF, LIMIT_S)
    try:
        yield
    finally:
        signal.alarm(0)
        signal.setitimer(signal.ITIMER_PROF, 0)
        for number, handler in zip((signal.SIGALRM, signal.SIGPROF), before, strict=True):
            signal.signal(number, handler)


def run_here(words: Sequence[str]) -> Ending:
    """Run within this process, which is quick; only memory and true streams need a process."""
    out, told = io.StringIO(newline=""), io.StringIO(newline="")
    code = 0
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(told), _within_the_limit():
        try:
            cli.main(list(words))
        except SystemExit as end:
            code = end.code if isinstance(end.code, int) else 1
    return Ending(tuple(words), code, out.getvalue(), told.getvalue())


_LAUNCHER = """
import os, sys
import resource
resource.setrlimit(resource.RLIMIT_CPU, (LIMIT_S, LIMIT_S + 1))
_, status, usage = os.wait4(os.posix_spawn(sys.argv[2], sys.argv[2:], os.environ), 0)
os.write(int(sys.argv[1]), f"{os.waitstatus_to_exitcode(status)} {usage.ru_maxrss}".encode())
"""
"""A small process between: the system counts what a parent held as the first memory of its child."""


def run_alone(
    words: Sequence[str],
    folder: Path,
    *,
    first: Callable[[], None] | None = None,
    encoding: str = "utf-8",
    start: Sequence[str] = ("-m", "lightdose"),
) -> Ending:
    """Run as a process of its own in ``folder``; its peak memory is asked from the system.

    ``start`` is what the interpreter is told to run; ``first`` runs in the process before it,
    and may leave too little room for a module's bytecode, of which Python 3.11 would keep the half.
    """
    told, telling = os.pipe()
    environment = {**os.environ, "PYTHONIOENCODING": encoding, "OPENBLAS_NUM_THREADS": "1"}
    if first:
        environment["PYTHONDONTWRITEBYTECODE"] = "1"
    launch = [sys.executable, "-P", "-S", "-c", _LAUNCHER.replace("LIMIT_S", str(LIMIT_S)), str(telling)]
    process = subprocess.Popen(
        [*launch, sys.executable, *start, *words],
        cwd=folder,
        pass_fds=(telling,),
        start_new_session=True,
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        env=environment,
        preexec_fn=first,
    )
    os.close(telling)
    timer = threading.Timer(WAITS * LIMIT_S, lambda: os.killpg(process.pid, signal.SIGKILL))
    timer.start()
    texts = ["", ""]

    def read(turn: int, stream: IO[bytes]) -> None:
        with stream:
            # click writes UTF-8 where the system claims to know ASCII only.
            texts[turn] = stream.read().decode("utf-8" if encoding == "ascii" else encoding)

    assert process.stdout is not None
    assert process.stderr is not None
    streams = (process.stdout, process.stderr)
    readers = [threading.Thread(target=read, args=pair) for pair in enumerate(streams)]
    for reader in readers:
        reader.start()
    process.wait()
    timer.cancel()
    with open(told) as answer:
        code, peak = answer.read().split() or (str(-signal.SIGKILL), "0")
    for reader in readers:
        reader.join()
    peak_mb = int(peak) / (1e6 if sys.platform == "darwin" else 1e3)
    return Ending(tuple(words), int(code), texts[0], texts[1], peak_mb)


def assert_ends_well(ending: Ending, *, codes: Sequence[int] = (0, 2), names: Collection[str] = ()) -> None:
    """The exit code tells what happened, one clear message tells the rest, and no stream is steered.

    A word that is no number may stand in ``names``: somebody calls a place "inf".
    """
    assert ending.code in codes, ending
    assert not (found := MACHINE_TALK.search(ending.out + ending.told)), f"{found}\n{ending}"
    for text in (ending.out, ending.told):
        assert not (found := STEERING.search(text)), f"{found}\n{ending}"
    assert ending.peak_mb < LIMIT_MB, ending
    if ending.code == 2:
        assert ending.told.strip(), ending
        assert len(ending.told) < 20_000, f"{len(ending.told)} letters\n{ending}"
    if ending.code == 0 and ending.out.startswith("{"):
        json.loads(ending.out, parse_constant=_no_number)  # a name may be "nan", a number may not
    elif ending.code == 0:
        words = re.findall(r"(?<![\w-])(?:nan|-?inf|NaN|Infinity)(?![\w-])", ending.out)
        assert {*words} <= {*names}, ending


def _no_number(word: str) -> float:
    raise AssertionError(f"{word} in the JSON")


def contents(folder: Path) -> dict[str, str]:
    """Every file below a folder with a hash of its bytes; pipes and links are only named."""
    found = {}
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        if path.is_symlink() or path.is_fifo():
            found[name] = "no plain file"
        elif path.is_file():
            found[name] = hashlib.sha256(path.read_bytes()).hexdigest()
    return found


def assert_writes_nothing(before: dict[str, str], folder: Path) -> None:
    """No file came, went or changed, and no temporary one stayed."""
    assert contents(folder) == before
