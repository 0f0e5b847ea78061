"""An assignment that breaks rules between corals, repaired: detours, swaps, and pushing others aside."""

from __future__ import annotations

import numpy as np

from lightdose.fit.placement_task import PlaceTask
from lightdose.model.arrays import FloatArray

PASSES = 30
"""Rounds of improvement at most; most cases settle within ten."""

SPOTS_TO_PUSH_FOR = 12
MOST_PUSHED = 2
SPOTS_AT_ONCE = 64

Marks = np.ndarray[tuple[int, ...], np.dtype[np.bool_]]
Spots = np.ndarray[tuple[int, ...], np.dtype[np.intp]]


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
    """Where every coral stands; ``square[p, j]`` is the squared distance of spot p from coral j's. [m2]

    ``within[j, p]`` is 1 where that is less than the least that any two corals keep, ``count[p]`` their sum.
    """

    def __init__(self, task: PlaceTask, key: FloatArray, start: tuple[int, ...]) -> None:
        self.key = key
        self.least = np.maximum(task.apart_m - 1e-9, 0.0) ** 2
        self.x, self.y = task.places_m.T.copy()
        self.order = np.argsort(key[:, :-1], axis=1, kind="stable")
        self.spot = np.array(start, dtype=np.intp)
        self.square = np.full((self.x.size, len(start)), np.inf)
        others = ~np.eye(len(start), dtype=bool)
        self.base = float(self.least.min(where=others, initial=np.inf))
        self.within = np.zeros((len(start), self.x.size), dtype=np.int16)
        self.count = np.zeros(self.x.size, dtype=np.int16)
        for i in range(len(start)):
            self.put(i, int(self.spot[i]))

    def put(self, i: int, spot: int) -> None:
        self.spot[i] = spot
        if spot < 0:
            self.square[:, i] = np.inf
        else:
            self.square[:, i] = (self.x - self.x[spot]) ** 2 + (self.y - self.y[spot]) ** 2
        # Spots nearer to this coral than any two may be: shut for all others, whoever they are.
        self.count -= self.within[i]
        self.within[i] = self.square[:, i] < self.base
        self.count += self.within[i]

    def price(self, i: int) -> float:
        return float(self.key[i, self.spot[i]])

    def total(self) -> float:
        return float(self.key[np.arange(self.spot.size), self.spot].sum())

    def settle(self, i: int) -> None:
        """Move a coral to its cheapest open spot, if that is cheaper than where it stands."""
        order = self.order[i]
        cheaper = order[: int(np.searchsorted(self.key[i, order], self.price(i), side="left"))]
        cheaper = cheaper[(self.count == self.within[i])[cheaper]]
        for first in range(0, cheaper.size, SPOTS_AT_ONCE):
            some = cheaper[first : first + SPOTS_AT_ONCE]
            shut = self._in_the_way(i, some).any(axis=1)
            if not shut.all():
                self.put(i, int(some[int(np.argmin(shut))]))
                return

    def _in_the_way(self, i: int, spots: Spots) -> Marks:
        """Which corals are too near to each of some spots for coral i, or stand there; (n_spot, n_coral)."""
        near: Marks = self.square[spots] < self.least[i]
        near |= spots[:, None] == self.spot
        near[:, i] = False
        return near

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
        return int(np.count_nonzero(self._in_the_way(i, np.array([spot]))))

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
            pushed = np.flatnonzero(self._in_the_way(i, np.array([spot]))[0])
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
