"""Tasks of `place`: seeded small ones with every choice there is for them, and tanks with wishes."""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from dataclasses import replace
from typing import Final

import numpy as np
from judge.made_tank import made_tank

from lightdose.fit.placement_search import conflicts
from lightdose.fit.placement_task import (
    LN_STEP_MIDDLE,
    LN_STEP_OUTSIDE,
    MOVED_STEP_M,
    PlaceTask,
    band_distances,
)
from lightdose.model.places import Grid, PlaceWishes, Spot
from lightdose.model.setup import Coral, Setup, Site


def made_task(
    seed: int, corals: int, spots: int, apart_m: float = 0.0, *, pairs: int = 0, prefer: str = "middle"
) -> PlaceTask:
    """Random doses, bands and places in a 40 x 30 cm tank; each tenth cell is forbidden."""
    random = np.random.default_rng(seed)
    at = random.uniform(0, [0.4, 0.3], (spots, 2))
    stood = random.uniform(0, [0.4, 0.3], (corals, 2))
    dli = random.uniform(0.5, 12, spots) * random.uniform(0.5, 1, (corals, 1))
    outside, middle = np.zeros_like(dli), np.zeros_like(dli)
    for i in range(corals):
        low = float(random.uniform(1, 8))
        outside[i], middle[i] = band_distances(dli[i], (low, low * 1.6))
    moved = np.hypot(*(stood[:, None, :] - at).transpose(2, 0, 1))
    apart = np.full((corals, corals), apart_m)
    for _ in range(pairs):
        i, j = random.choice(corals, 2, replace=False)
        apart[i, j] = apart[j, i] = 0.2
    np.fill_diagonal(apart, 0)
    return PlaceTask(
        corals=tuple(Coral(f"c{i}", "soft", "s0") for i in range(corals)),
        spots=tuple(Spot(f"s{p}", float(x), float(y), 0.2, 1.0, f"s{p}") for p, (x, y) in enumerate(at)),
        dli=dli,
        outside=np.round(outside / LN_STEP_OUTSIDE),
        middle=np.round(middle / LN_STEP_MIDDLE),
        moved=np.round(moved / MOVED_STEP_M),
        allowed=random.random((corals, spots)) > 0.1,
        apart_m=apart,
        prefer=prefer,  # type: ignore[arg-type]
    )


def every_choice(corals: int, spots: int) -> Iterator[tuple[int, ...]]:
    """Every way to give corals different spots, or none."""
    for held in itertools.product((True, False), repeat=corals):
        placed = [i for i in range(corals) if held[i]]
        for order in itertools.permutations(range(spots), len(placed)):
            choice = [-1] * corals
            for i, p in zip(placed, order, strict=True):
                choice[i] = p
            yield tuple(choice)


def price(task: PlaceTask, choice: tuple[int, ...]) -> tuple[float, ...] | None:
    """Sums of the stages in their order, None where the choice is forbidden."""
    if any(p >= 0 and not task.allowed[i, p] for i, p in enumerate(choice)) or conflicts(task, choice):
        return None
    return tuple(sum(float(stage[i, p]) for i, p in enumerate(choice)) for stage in task.stages)


def least_price(task: PlaceTask) -> tuple[float, ...]:
    """The least of all, by trying every choice."""
    prices = (price(task, c) for c in every_choice(*task.dli.shape))
    return min(p for p in prices if p is not None)


LONG = "$x_1$ [/] " + "nam e" * 38


def crowded(n: int) -> Setup:
    """The made tank with so many more corals on as many sites in rows."""
    tank = made_tank()
    sites = tuple(
        Site(f"q{i}", 0.02 + 0.56 * (i % 10) / 9, 0.02 + 0.36 * (i // 10) / 9, 0.12 + 0.02 * (i % 7))
        for i in range(n)
    )
    corals = tuple(Coral(f"frag {i}", "soft", f"q{i}") for i in range(n))
    return replace(tank, sites=(*tank.sites, *sites), corals=(*tank.corals, *corals))


def named(name: str) -> Setup:
    tank = made_tank()
    corals = tuple(replace(c, name=f"{name} {c.name}") for c in tank.corals)
    return replace(tank, corals=corals)


PLACEMENTS: Final = {
    "plain": (made_tank(), PlaceWishes()),
    "grid": (made_tank(), PlaceWishes(grid=Grid(0.06, (0.1, 0.2)))),
    "unplaced": (made_tank(), PlaceWishes(apart_m=1.0)),
    "many": (crowded(40), PlaceWishes(prefer="stay")),
    "long names": (named(LONG), PlaceWishes()),
}
"""Name -> tank and wishes: plain, on a grid, with corals left over, crowded, with long names."""
