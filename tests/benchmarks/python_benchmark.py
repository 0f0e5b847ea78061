"""What a notebook waits for: import, an analysis, many points, a study of lamps, many setups in processes.

All are of the shipped example without its rock and colonies, which have a benchmark of their own.

`python tests/benchmarks/python_benchmark.py` prints one row each; exit 1 where a mark is missed. The row on
processes needs two free cores.
"""

from __future__ import annotations

import os
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[2] / "examples"))

import height_and_beam
import numpy as np
from rows import best_s, plain_example, row

import lightdose

EXAMPLE = Path(height_and_beam.__file__).parent / "first-tank"


def started_s(code: str) -> float:
    """Least time of ten starts of the interpreter with some code. [s]"""
    took = []
    for _ in range(10):
        start = time.perf_counter()
        subprocess.run([sys.executable, "-c", code], check=True)
        took.append(time.perf_counter() - start)
    return min(took)


def timed(what: str, work: Callable[[], object], most_s: float, rounds: int, threads: int = 1) -> bool:
    """Print a row: the least time by the wall and of a processor, after one round that loads what is loaded.

    On a machine that others use the processor's tells; threads of ours share it.
    """
    work()
    (wall,) = best_s(work, rounds=rounds)
    (processor,) = best_s(work, rounds=rounds, clock=time.process_time)
    text = f"{1000 * wall:.0f} ms, {1000 * processor:.0f} ms of a processor"
    text += f" in {threads} threads" if threads > 1 else ""
    return row(what, text, f"at most {1000 * most_s:.0f} ms", met=min(wall, processor / threads) <= most_s)


def analysed(height_m: float) -> float:
    """An analysis of the example with intervals at a height; what a worker does."""
    setup = lightdose.read_setup(EXAMPLE).changed(height=height_m)
    return float(lightdose.analyse(setup).dose.dli.sum())


def in_processes(count: int, heights_m: list[float]) -> float:
    """Time for all heights in some processes, their start left out. [s]"""
    with get_context("spawn").Pool(count) as pool:
        pool.map(analysed, heights_m[:count], chunksize=1)
        start = time.perf_counter()
        pool.map(analysed, heights_m, chunksize=1)
        return time.perf_counter() - start


def main() -> int:
    """The table."""
    bare = lightdose.read_setup(plain_example())
    bare = bare.changed(corals=tuple(replace(c, diameter_m=0.0, form=None, growth=None) for c in bare.corals))
    tank = bare.tank
    points = np.random.default_rng(1).uniform(0, 1, (20_000, 3))
    points *= (tank.length_m, tank.width_m, tank.water_depth_m)
    study = height_and_beam.tank()
    heights = np.linspace(0.1, 0.5, 24).tolist()
    start = started_s("import lightdose") - started_s("pass")
    met = [
        row(
            "import lightdose, over the interpreter",
            f"{1000 * start:.0f} ms",
            "at most 20 ms",
            met=start <= 0.02,
        ),
        timed("analyse, no intervals", lambda: lightdose.analyse(bare, certainty=False), 0.06, 15),
        timed("analyse with intervals", lambda: lightdose.analyse(bare), 0.12, 15),
        timed("dose_at of 20,000 points", lambda: lightdose.dose_at(bare, points), 2, 2, threads=2),
        timed("study of 21 setups x 117 places", lambda: height_and_beam.study(study), 2.5, 2),
    ]
    ratio = in_processes(1, heights) / in_processes(2, heights)
    met.append(row("24 analyses in one process over two", f"{ratio:.2f}", "at least 1.6", met=ratio >= 1.6))
    return int(not all(met))


if __name__ == "__main__":
    sys.exit(main())
