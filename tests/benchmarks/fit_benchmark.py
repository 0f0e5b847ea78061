"""How long the solvers take, besides imports: one function a solver, each with its mark.

`python tests/benchmarks/fit_benchmark.py` prints all; names after it choose some. Exit 1 where one misses.
"""

from __future__ import annotations

import sys
from collections.abc import Callable, Mapping
from dataclasses import replace

import numpy as np
from rows import best_s, plain_example, row

ROUNDS = 3
EXAMPLE = plain_example() / "setup.toml"


def best(run: Callable[[], object]) -> float:
    """The quickest of a few runs, after one that loads what is needed. [s]"""
    run()
    return best_s(run, rounds=ROUNDS)[0]


def tune() -> list[tuple[str, float, float]]:
    """100 corals under 2 fixtures of 6 channels: the light of the tank, then each kind of change."""
    from lightdose.files.setup_file import read_setup
    from lightdose.model.plans import TuneWishes
    from lightdose.model.setup import Coral, Site
    from lightdose.workflows.advice import advised
    from lightdose.workflows.tuning import tune as tune_setup

    corals = 100
    setup = read_setup(EXAMPLE)
    random = np.random.default_rng(2)
    sites = tuple(
        Site(f"s{i}", *random.uniform([0.03, 0.03, 0.05], [0.72, 0.42, 0.38])) for i in range(corals)
    )
    groups = ("lps-branching", "flowerpot", "zoanthid", "soft", "star-polyp")
    stocked = tuple(Coral(f"c{i}", groups[i % 5], f"s{i}") for i in range(corals))
    full = replace(setup, sites=sites, corals=stocked)
    rows = [("dose with all that was tried, 100 corals, 12 channels", best(lambda: advised(full)), np.inf)]
    marks = {"overall": 3.0, "fixtures": 3.0, "channels": 6.0}
    for change, mark in marks.items():
        wishes = TuneWishes(change=change)  # type: ignore[arg-type]
        took = best(lambda w=wishes: tune_setup(full, w))  # type: ignore[misc]
        rows.append((f"tune, the same, --change {change}", took, mark))
    moved = best(lambda: tune_setup(full, TuneWishes(with_moves=3)))
    rows.append(("tune, the same, --with-moves 3", moved, np.inf))
    return rows


def place() -> list[tuple[str, float, float]]:
    """100 corals on 2,000 places, light field and verdicts included; with and without keep-apart."""
    from lightdose.files.setup_file import read_setup
    from lightdose.model.places import PlaceWishes
    from lightdose.model.setup import Coral, Site
    from lightdose.workflows.placing import place as place_corals

    setup = read_setup(EXAMPLE)
    random = np.random.default_rng(1)
    tank = replace(setup.tank, length_m=1.2, width_m=0.6)
    x, y = np.meshgrid(np.linspace(0.02, 1.18, 50), np.linspace(0.02, 0.58, 40))
    sites = tuple(
        Site(f"s{i}", float(a), float(b), float(random.uniform(0.05, 0.39)))
        for i, (a, b) in enumerate(zip(x.ravel(), y.ravel(), strict=True))
    )
    fixtures = tuple(replace(f, x_m=0.3 + 0.6 * i, y_m=0.3) for i, f in enumerate(setup.fixtures))
    groups = [key for key, group in setup.groups.items() if group.band_dli]
    stands = random.permutation(len(sites))
    corals = tuple(Coral(f"c{i}", groups[i % len(groups)], f"s{stands[i]}") for i in range(100))
    full = replace(setup, tank=tank, fixtures=fixtures, sites=sites, corals=corals)
    alone = best(lambda: place_corals(full, PlaceWishes()))
    apart = best(lambda: place_corals(full, PlaceWishes(apart_m=0.08)))
    return [
        ("place, 100 corals on 2,000 places", alone, 1.0),
        ("place, the same, all 8 cm apart", apart, 3.0),
    ]


def move() -> list[tuple[str, float, float]]:
    """The longest way of the example up 200 free sites."""
    from lightdose.files.setup_file import read_setup
    from lightdose.model.places import MoveWishes
    from lightdose.model.setup import Site
    from lightdose.workflows.placing import move as move_coral

    setup = read_setup(EXAMPLE)
    stair = tuple(Site(f"t{i}", 0.22, 0.30, 0.39 - 0.0016 * i) for i in range(200))
    full = replace(setup, sites=(*setup.sites, *stair))
    way = best(lambda: move_coral(full, MoveWishes("open brain", "t199")))
    return [("move, over 200 free sites", way, 0.5)]


SOLVERS: Mapping[str, Callable[[], list[tuple[str, float, float]]]] = {
    "tune": tune,
    "place": place,
    "move": move,
}


def main() -> int:
    """The solvers named, or all; exit 1 when one misses its mark."""
    reached = True
    for name in sys.argv[1:] or SOLVERS:
        for words, took, mark in SOLVERS[name]():
            wanted = f"at most {mark:g} s" if np.isfinite(mark) else "-"
            reached &= row(words, f"{took:.2f} s", wanted, met=took < mark)
    return int(not reached)


if __name__ == "__main__":
    sys.exit(main())
