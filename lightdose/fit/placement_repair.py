"""An assignment that breaks rules between corals, repaired: detours, swaps, and pushing others aside."""

from __future__ import annotations

import numpy as np

from lightdose.fit.placement_task import PlaceTask
from lightdose.model.arrays import FloatArray

PASSES = 30
"""Rounds of improvement at most; most cases settle within ten."""

SPOTS_TO_PUSH_FOR = 12
MOST_PUSHED = 2


def repaired(task: PlaceTask, key: FloatArray, start: tuple[int, ...]) -> tuple[int, ...]:
    """A choice that keeps every rule, from one that does not.

    Parameters
    ----------
    task : PlaceTask
    key : array, shape (n_coral, n_spot + 1)
        Its costs.
    start : tuple of int

    Returns
    -------
    tuple of int
        Locally best: no coral gains by another free spot, no two by a swap, none by pushing two others aside.

    Source
    ------
    Our own local search; the same start gives the same end.
    """
    state = _Standing(task, key, start)
    state.lift_conflicts()
    for i in sorted(range(len(start)), key=lambda i: -float(key[i, start[i]] if start[i] >= 0 else 0)):
        if state.spot[i] < 0:
            state.settle(i)
    for _ in range(PASSES):
        before = state.total()
        for i in range(len(start)):
            state.settle(i)
        state.swap()
        if state.total() >= before:
            for i in range(len(start)):
                state.push(i)
            if state.total() >= before:
                break
    return tuple(int(p) for p in state.spot)


class _Standing:
    """Where every coral stands; ``distance_m[j]`` holds the distances of all spots from coral j's."""

    def __init__(self, task: PlaceTask, key: FloatArray, start: tuple[int, ...]) -> None:
        self.key = key
        self.apart = task.apart_m - 1e-9
        self.at = task.places_m
        self.spot = np.array(start, dtype=np.intp)
        self.distance_m = np.full((len(start), len(self.at)), np.inf)
        for i in range(len(start)):
            self.put(i, int(self.spot[i]))

    def put(self, i: int, spot: int) -> None:
        self.spot[i] = spot
        if spot < 0:
            self.distance_m[i] = np.inf
        else:
            self.distance_m[i] = np.hypot(*(self.at - self.at[spot]).T)

    def price(self, i: int) -> float:
        return float(self.key[i, self.spot[i]])

    def total(self) -> float:
        return float(self.key[np.arange(self.spot.size), self.spot].sum())

    def open_prices(self, i: int) -> FloatArray:
        """Costs of the spots that coral i may take while the others stay, the last for none."""
        others = np.arange(self.spot.size) != i
        shut = np.any(self.distance_m[others] < self.apart[i][others, None], axis=0)
        taken = self.spot[others]
        shut[taken[taken >= 0]] = True
        prices: FloatArray = self.key[i].copy()
        prices[:-1][shut] = np.inf
        return prices

    def settle(self, i: int) -> None:
        """Move a coral to its cheapest open spot, if that is cheaper."""
        prices = self.open_prices(i)
        best = int(np.argmin(prices))
        if prices[best] < self.price(i) or (self.spot[i] < 0 and best < len(self.at)):
            self.put(i, best if best < len(self.at) else -1)

    def lift_conflicts(self) -> None:
        """Take up corals, those with most conflicts first, until the rest keep the rules."""
        while True:
            near = np.array(
                [self._near(i, int(self.spot[i])) if self.spot[i] >= 0 else 0 for i in range(self.spot.size)]
            )
            if not near.any():
                return
            self.put(int(np.argmax(near)), -1)

    def _near(self, i: int, spot: int) -> int:
        return int(np.count_nonzero(self._in_the_way(i, spot)))

    def _in_the_way(self, i: int, spot: int) -> np.ndarray[tuple[int, ...], np.dtype[np.bool_]]:
        near: np.ndarray[tuple[int, ...], np.dtype[np.bool_]] = self.distance_m[:, spot] < self.apart[i]
        near |= self.spot == spot
        near[i] = False
        return near

    def swap(self) -> None:
        """Swap pairs of corals while that is cheaper and keeps the rules, the best swap first."""
        placed = np.flatnonzero(self.spot >= 0)
        for _ in range(placed.size):
            there = self.key[np.ix_(placed, self.spot[placed])]
            own = np.diagonal(there)
            gain = own[:, None] + own[None, :] - there - there.T
            gain = np.where(np.isfinite(gain), np.triu(gain, 1), 0.0)
            for flat in np.argsort(-gain, axis=None, kind="stable"):
                a, b = divmod(int(flat), placed.size)
                if gain[a, b] <= 0:
                    return
                if self._swapped(int(placed[a]), int(placed[b])):
                    break
            else:
                return

    def _swapped(self, i: int, j: int) -> bool:
        """Swap two corals if both keep the rules afterwards."""
        here, there = int(self.spot[i]), int(self.spot[j])
        self.put(i, there)
        self.put(j, here)
        if self._near(i, there) or self._near(j, here):
            self.put(i, here)
            self.put(j, there)
            return False
        return True

    def push(self, i: int) -> None:
        """Take a cheaper spot that others are in the way of, and settle those anew, if all in all it pays."""
        cheaper = np.flatnonzero(self.key[i, :-1] < self.price(i))
        order = cheaper[np.argsort(self.key[i, cheaper], kind="stable")][:SPOTS_TO_PUSH_FOR]
        for spot in order.tolist():
            pushed = np.flatnonzero(self._in_the_way(i, spot))
            if pushed.size > MOST_PUSHED:
                continue
            before = self.total()
            kept = self.spot[[i, *pushed]].tolist()
            for j in pushed.tolist():
                self.put(j, -1)
            self.put(i, spot)
            for j in pushed.tolist():
                self.settle(j)
            if self.total() < before:
                return
            for j, old in zip([i, *pushed.tolist()], kept, strict=True):
                self.put(j, old)
