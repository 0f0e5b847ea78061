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
    MOVED_STEP_M,
    PENALTY_STEP,
    PlaceTask,
)
from lightdose.model.places import Grid, PlaceWishes, Spot
from lightdose.model.setup import Coral, Setup, Site


def made_task(
    seed: int,
    corals: int,
    spots: int,
    apart_m: float = 0.0,
    *,
    pairs: int = 0,
    most_moves: int | None = None,
) -> PlaceTask:
    """Random doses, bands and places in a 40 x 30 cm tank; each tenth cell is forbidden.

    With ``most_moves`` coral i stands on spot i today.
    """
    random = np.random.default_rng(seed)
    at = random.uniform(0, [0.4, 0.3], (spots, 2))
    stood = random.uniform(0, [0.4, 0.3], (corals, 2)) if most_moves is None else at[:corals]
    dli = random.uniform(0.5, 12, spots) * random.uniform(0.5, 1, (corals, 1))
    penalty = np.zeros_like(dli)
    for i in range(corals):
        low = float(random.uniform(1, 8))
        off = np.maximum(np.log(low / dli[i]), np.log(dli[i] / (1.6 * low)))
        penalty[i] = np.clip(2 * off + 0.3, 0, 2)
    moved = np.hypot(*(stood[:, None, :] - at).transpose(2, 0, 1))
    apart = np.full((corals, corals), apart_m)
    for _ in range(pairs):
        i, j = random.choice(corals, 2, replace=False)
        apart[i, j] = apart[j, i] = 0.2
    np.fill_diagonal(apart, 0)
    allowed = random.random((corals, spots)) > 0.1
    if most_moves is not None:
        allowed |= moved == 0
    return PlaceTask(
        corals=tuple(Coral(f"c{i}", "soft", "s0") for i in range(corals)),
        spots=tuple(Spot(f"s{p}", float(x), float(y), 0.2, 1.0, f"s{p}") for p, (x, y) in enumerate(at)),
        dli=dli,
        penalty=np.round(penalty / PENALTY_STEP),
        moves=(moved > 0).astype(float),
        moved=np.round(moved / MOVED_STEP_M),
        allowed=allowed,
        apart_m=apart,
        most_moves=most_moves,
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
    if task.most_moves is not None and task.cost(choice).moves > task.most_moves:
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
    "plain": (made_tank(), PlaceWishes(everything=True)),
    "grid": (made_tank(), PlaceWishes(everything=True, grid=Grid(0.06, (0.1, 0.2)))),
    "unplaced": (made_tank(), PlaceWishes(everything=True, apart_m=1.0)),
    "many": (crowded(40), PlaceWishes()),
    "long names": (named(LONG), PlaceWishes(everything=True)),
}
"""Name -> tank and wishes: plain, on a grid, with corals left over, crowded, with long names."""
