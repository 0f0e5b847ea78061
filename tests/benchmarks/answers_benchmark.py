"""Answers against one another: ``python tests/benchmarks/answers_benchmark.py``.

compare and hazard over dose, on the shipped example; the report's time and size; and how `analyse` grows with
the number of corals.
"""

from __future__ import annotations

import sys
import tempfile
from dataclasses import replace
from pathlib import Path

import numpy as np
from rows import best_s, peak_mb, plain_example, process, row

from lightdose import analyse, read_setup
from lightdose.model.setup import Coral, Site

EXAMPLE = plain_example() / "setup.toml"
ROUNDS = 11
MOST_OVER_DOSE, MOST_REPORT_S, MOST_REPORT_KB = 1.5, 2.0, 500.0
CORALS = (10, 100, 1_000)


def commands() -> bool:
    """compare and hazard over dose, and the report."""
    with tempfile.TemporaryDirectory() as folder:
        page = Path(folder) / "report.html"
        words = (
            ["dose", str(EXAMPLE)],
            ["compare", str(EXAMPLE), str(EXAMPLE)],
            ["hazard", str(EXAMPLE)],
            ["report", str(EXAMPLE), "-o", str(page)],
        )
        tasks = [process([sys.executable, "-m", "lightdose", *command]) for command in words]
        dose, compare, hazard, report = best_s(*tasks, rounds=ROUNDS)
        kilobytes = page.stat().st_size / 1e3
    met = True
    for name, took in (("compare A A", compare), ("hazard", hazard)):
        measured = f"{took / dose:.2f} ({1e3 * took:.0f} ms / {1e3 * dose:.0f} ms)"
        most = f"at most {MOST_OVER_DOSE:g}"
        met &= row(
            f"`{name}` over `dose`, shipped example", measured, most, met=took <= MOST_OVER_DOSE * dose
        )
    return met & row(
        "`report`, shipped example",
        f"{report:.2f} s, {kilobytes:.0f} kB",
        f"at most {MOST_REPORT_S:g} s, {MOST_REPORT_KB:g} kB",
        met=report <= MOST_REPORT_S and kilobytes <= MOST_REPORT_KB,
    )


def growth() -> bool:
    """The whole analysis, intervals included, over the number of corals; each at a site of its own."""
    setup = read_setup(EXAMPLE)
    seconds = []
    for count in CORALS:
        places = np.random.default_rng(1).uniform([0.03, 0.03, 0.05], [0.72, 0.42, 0.38], (count, 3))
        sites = tuple(Site(f"s{i}", *place) for i, place in enumerate(places.tolist()))
        corals = tuple(Coral(f"c{i}", "lps-branching", site.name) for i, site in enumerate(sites))
        stocked = replace(setup, sites=sites, corals=corals)
        seconds += best_s(lambda: analyse(stocked), rounds=3)  # noqa: B023
    each = ", ".join(f"{count:,}: {took:.2f} s" for count, took in zip(CORALS, seconds, strict=True))
    further = 1e3 * np.diff(seconds) / np.diff(CORALS)
    steps = ", ".join(f"{value:.2f}" for value in further)
    measured = f"{each}; a further coral {steps} ms from step to step; peak {peak_mb():.0f} MB"
    return row("`analyse` with intervals over corals", measured)


def main() -> int:
    """Both parts; exit 1 where a mark is missed."""
    return int(not (commands() & growth()))


if __name__ == "__main__":
    sys.exit(main())
