"""What the benchmarks share: best times of tasks that take turns, and rows of one table."""

from __future__ import annotations

import atexit
import os
import re
import resource
import shutil
import subprocess
import tempfile
import time
from collections.abc import Callable, Sequence
from functools import cache
from pathlib import Path


def row(what: str, measured: str, mark: str = "-", *, met: bool = True) -> bool:
    """Print one row of the table; gives back whether the mark is met."""
    print(f"| {what} | {measured} | {mark}{'' if met else ', NOT MET'} |", flush=True)
    return met


def best_s(
    *tasks: Callable[[], object], rounds: int, clock: Callable[[], float] = time.perf_counter
) -> list[float]:
    """Shortest time of each task over rounds that take turns, so that load hits all alike. [s]

    ``clock=time.process_time`` adds up all threads.
    """
    best = [float("inf")] * len(tasks)
    for _ in range(rounds):
        for i, task in enumerate(tasks):
            start = clock()
            task()
            best[i] = min(best[i], clock() - start)
    return best


def process(command: Sequence[str]) -> Callable[[], object]:
    """A task that runs a command in a fresh process, with its bytecode kept as on a user's machine."""
    environment = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}
    return lambda: subprocess.run(
        command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL, env=environment
    )


def peak_mb() -> float:
    """Highest memory of this process so far. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3


@cache
def plain_example() -> Path:
    """The folder of a copy of the shipped example without any solid: those have a benchmark of their own."""
    folder = Path(tempfile.mkdtemp())
    atexit.register(shutil.rmtree, folder, ignore_errors=True)
    shutil.copytree(Path(__file__).resolve().parents[2] / "examples" / "first-tank", folder / "first-tank")
    setup = folder / "first-tank" / "setup.toml"
    solid = re.compile(r"^\[\[rock\]\]\n(?:[^\n\[#].*\n)+|^(?:diameter|growth) *=.*\n", re.MULTILINE)
    setup.write_text(solid.sub("", setup.read_text(encoding="utf-8")), encoding="utf-8")
    return folder / "first-tank"
