"""1 to 1,000 setups in one run: ``python tests/benchmarks/many_benchmark.py [dose|check|hazard] [jobs]``.

Copies of the shipped example, each with a name and a height of its own, so that no two are the same tank. For
each number: wall time, setups per second, processor time of all processes, and the peak memory of the process
that leads the run and of the largest other. A further setup costs the processor time between two numbers; its
ratio is over the step from 10 to 100, since the first step holds the start of the processes.
"""

from __future__ import annotations

import os
import platform
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from rows import plain_example

EXAMPLE = plain_example()
NUMBERS = (1, 10, 100, 1000)
PROBE = """
import os, resource, sys
from lightdose.cli import main
try:
    main()
finally:
    peak_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    own, others = (resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    cpu_s = sum(use.ru_utime + use.ru_stime for use in (own, others))
    os.write(2, f"PROBE {cpu_s} {peak_kb / 1024} {others.ru_maxrss / 1024}\\n".encode())
"""


def write_setups(folder: Path, n: int) -> None:
    """Tanks that differ: from 15 to 34.9 cm of height over the water, names of their own."""
    text = (EXAMPLE / "setup.toml").read_text(encoding="utf-8")
    for i in range(n):
        home = folder / f"shop-{i // 50:02d}" / f"tank-{i:04d}"
        shutil.copytree(EXAMPLE, home)
        own = text.replace('height = "20 cm"', f'height = "{15 + i * 7 % 200 / 10} cm"')
        own = own.replace('title = "', f'title = "{i}: ')
        assert own.count(text) == 0
        (home / "setup.toml").write_text(own, encoding="utf-8")


def measured(command: str, folder: Path, jobs: list[str]) -> tuple[float, float, float, float]:
    """Wall and processor time in seconds, peaks of the leading and the largest other process in MB."""
    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", PROBE, command, str(folder), "--json", *jobs],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
    )
    wall_s = time.perf_counter() - start
    assert done.returncode == 0, done.stderr
    cpu_s, peak_mb, other_mb = (float(word) for word in done.stderr.splitlines()[-1].split()[1:])
    return wall_s, cpu_s, peak_mb, other_mb


def main() -> None:
    """Print one table."""
    command = sys.argv[1] if len(sys.argv) > 1 else "dose"
    jobs = ["--jobs", sys.argv[2]] if len(sys.argv) > 2 else []
    print(f"Python {platform.python_version()}, {os.cpu_count()} cores, {platform.machine()}; {command}")
    print("setups   wall s   setups/s   processor s   a further, ms   ratio   leading MB   largest other MB")
    before, spent_s, steps_ms = 0, 0.0, []
    for n in NUMBERS:
        with tempfile.TemporaryDirectory() as name:
            write_setups(Path(name), n)
            wall_s, cpu_s, peak_mb, other_mb = measured(command, Path(name), jobs)
        steps_ms.append(1000 * (cpu_s - spent_s) / (n - before))
        ratio = f"{steps_ms[-1] / steps_ms[2]:7.2f}" if len(steps_ms) > 2 else " " * 7
        print(
            f"{n:6d} {wall_s:8.2f} {n / wall_s:10.1f} {cpu_s:13.2f} {steps_ms[-1]:15.1f} {ratio} "
            f"{peak_mb:12.1f} {other_mb:18.1f}",
            flush=True,
        )
        before, spent_s = n, cpu_s


if __name__ == "__main__":
    main()
