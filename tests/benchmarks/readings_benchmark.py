"""Do the intervals hold what they promise when readings, or what was stated, are wrong? One row a case.

`python tests/benchmarks/readings_benchmark.py [--tanks 300] [--processes 2] [CASE ...]` simulates true tanks
(``fit.true_tanks``), readings in them, `calibrate` on the readings (``fit.measured_tanks``), and asks how
often the stated 95 % interval of the daily dose holds the true one, over all sites of all tanks. Exit 1 where
a mark is missed.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from multiprocessing import Pool
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from fit.measured_tanks import CASES, Case, Trial, run_trial
from rows import row


def run(task: tuple[int, int]) -> Trial:
    """One trial by the number of its case."""
    return run_trial(CASES[task[0]], task[1])


def main(arguments: Sequence[str] | None = None) -> int:
    """The table."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tanks", type=int, default=300)
    parser.add_argument("--processes", type=int, default=2)
    parser.add_argument("cases", nargs="*")
    asked = parser.parse_args(arguments)
    met = True
    with Pool(asked.processes) as pool:
        for n, case in enumerate(CASES):
            if asked.cases and not any(c in case.name for c in asked.cases):
                continue
            trials = pool.map(run, [(n, i) for i in range(asked.tanks)], chunksize=5)
            met &= told(case, trials)
    return int(not met)


def told(case: Case, trials: Sequence[Trial]) -> bool:
    """Print a row; whether its mark is met."""
    covered = float(np.mean([c for t in trials for c in t.covered]))
    worst = float(np.min(np.mean([t.covered for t in trials], axis=0)))
    half = float(np.median([h for t in trials for h in t.half]))
    named = float(np.mean([n for t in trials for n in t.named])) if case.named is not None else 1.0
    good = case.low <= covered <= case.high
    if case.named is not None:
        good = (good or named >= case.named) if case.or_named else (good and named >= case.named)
    text = f"{covered:.3f} (worst site {worst:.2f}), good to {100 * (np.exp(half) - 1):.0f} %"
    if case.named is not None:
        text += f", named {named:.2f}"
    text += f"; cautions a tank {np.mean([t.said for t in trials]):.1f}"
    mark = f"{case.low:g} to {case.high:g}"
    return row(case.name, text, mark, met=good)


if __name__ == "__main__":
    sys.exit(main())
