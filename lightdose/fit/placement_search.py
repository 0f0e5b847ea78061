"""Corals to spots at the least cost: exact where it can be, and repaired where rules between corals bite."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.fit.placement_task import PlaceTask
from lightdose.model.record import FloatArray, dataclass

PASSES = 30
"""Rounds of improvement at most; most cases settle within ten."""

SPOTS_TO_PUSH_FOR = 12
MOST_PUSHED = 2

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
    """Where every coral stands, and at which spots others are in its way.

    ``near(p)`` are the spots so close to p that a coral there can matter to any other, ``least[j]`` the
    squared distances that others keep from coral j [m2], ``in_way[p, i]`` the number of others that keep
    coral i from p. A coral put or taken up changes only what is near.
    """

    def __init__(self, task: PlaceTask, key: FloatArray, start: tuple[int, ...]) -> None:
        self.key = key
        self.least = np.maximum(task.apart_m - 1e-9, 0.0) ** 2
        self.at = task.places_m
        self.reach = float(self.least.max(initial=0.0))
        self.lowest = key.min(axis=1)
        self.spot = np.full(len(start), -1, dtype=np.intp)
        self.in_way = np.zeros((len(self.at), len(start)), dtype=np.int16)
        self.known: dict[int, tuple[Spots, FloatArray]] = {}
        for i, spot in enumerate(start):
            self.put(i, spot)

    def near(self, spot: int) -> tuple[Spots, FloatArray]:
        """Spots within the largest distance that any two corals keep, itself among them, and squares. [m2]"""
        if spot not in self.known:
            square = np.square(self.at - self.at[spot]).sum(axis=1)
            close = np.flatnonzero(square <= self.reach)
            self.known[spot] = close, square[close]
        return self.known[spot]

    def put(self, i: int, spot: int) -> None:
        old = int(self.spot[i])
        if old >= 0:
            self.shut(i, old, -1)
        self.spot[i] = spot
        if spot >= 0:
            self.shut(i, spot, 1)

    def shut(self, i: int, spot: int, step: int) -> None:
        """Count a coral at a spot as in the way of all others near it, or no longer."""
        close, square = self.near(spot)
        shut = square[:, None] < self.least[i]
        shut[close.searchsorted(spot)] = True
        shut[:, i] = False
        self.in_way[close] += shut * np.int16(step)

    def price(self, i: int) -> float:
        return float(self.key[i, self.spot[i]])

    def cheaper(self, i: int) -> Spots:
        """The spots that cost a coral less than where it stands, in their order."""
        return np.flatnonzero(self.key[i, :-1] < self.price(i))

    def total(self) -> float:
        return float(self.key[np.arange(self.spot.size), self.spot].sum())

    def settle(self, i: int) -> None:
        """Move a coral to its cheapest open spot, if that is cheaper than where it stands."""
        cheaper = self.cheaper(i)
        open_ = cheaper[self.in_way[cheaper, i] == 0]
        if open_.size:
            self.put(i, int(open_[np.argmin(self.key[i, open_])]))

    def lift_conflicts(self) -> None:
        """Take up corals, those with most conflicts first, until the rest keep the rules."""
        while True:
            near = np.where(self.spot >= 0, self.in_way[self.spot, np.arange(self.spot.size)], 0)
            if not near.any():
                return
            self.put(int(np.argmax(near)), -1)

    def swap(self) -> None:
        """Swap pairs of corals while that is cheaper and keeps the rules, the best swap first."""
        placed = np.flatnonzero(self.spot >= 0)
        there = self.key[np.ix_(placed, self.spot[placed])]  # of each at the spot of each
        gain = self._gain(there, np.arange(placed.size))
        for _ in range(placed.size):
            pairs = np.argwhere(np.triu(gain > 0, 1))
            order = np.argsort(-gain[tuple(pairs.T)], kind="stable")
            for a, b in pairs[order].tolist():
                if self._swapped(int(placed[a]), int(placed[b])):
                    there[:, [a, b]] = there[:, [b, a]]
                    for row in (a, b):
                        gain[row] = gain[:, row] = self._gain(there, np.array([row]))
                    break
            else:
                return

    @staticmethod
    def _gain(there: FloatArray, rows: Spots) -> FloatArray:
        """What swaps of some corals with each other coral save; 0 where one may not stand there."""
        own = np.diagonal(there)
        gain = own[rows, None] + own - there[rows] - there.T[rows]
        return np.where(np.isfinite(gain), gain, 0.0)

    def _swapped(self, i: int, j: int) -> bool:
        """Swap two corals if both keep the rules afterwards."""
        here, there = int(self.spot[i]), int(self.spot[j])
        self.put(i, there)
        self.put(j, here)
        if self.in_way[there, i] or self.in_way[here, j]:
            self.put(i, here)
            self.put(j, there)
            return False
        return True

    def push(self, i: int) -> None:
        """Take a cheaper spot that others are in the way of, and settle those anew, if all in all it pays."""
        cheaper = self.cheaper(i)
        order = np.argsort(self.key[i, cheaper], kind="stable")[:SPOTS_TO_PUSH_FOR]
        for spot in cheaper[order].tolist():
            if self.in_way[spot, i] > MOST_PUSHED:
                continue
            pushed = self.pushed(i, spot)
            moved = [i, *pushed]
            kept = self.spot[moved].tolist()
            before = self.key[moved, kept].sum()
            if self.key[i, spot] + self.lowest[pushed].sum() >= before:
                continue  # not even if each found its best spot open
            for j in pushed:
                self.put(j, -1)
            self.put(i, spot)
            for j in pushed:
                self.settle(j)
            if self.key[moved, self.spot[moved]].sum() < before:
                return
            for j, old in zip(moved, kept, strict=True):
                self.put(j, old)

    def pushed(self, i: int, spot: int) -> list[int]:
        """The corals in the way of coral i at a spot, in their order."""
        square = np.square(self.at[self.spot] - self.at[spot]).sum(axis=1)
        shut = (self.spot >= 0) & (square < self.least[i]) | (self.spot == spot)
        shut[i] = False
        return [int(j) for j in np.flatnonzero(shut)]


MOST_CELLS_EXACT = 720
"""Corals times spots up to which rules are solved exactly: about 12 corals and 60 places."""

MOST_CELLS_LINEAR = 6_000
"""The same where no rules hold between corals and only the number of moves is bounded."""

EXACT_SECONDS = 20.0
PRICES = 24


@dataclass(frozen=True)
class Found:
    """The spot of each coral, -1 for none; ``bound`` is the choice without rules between corals."""

    spots: tuple[int, ...]
    bound: tuple[int, ...]
    proven_optimal: bool


def best_choice(task: PlaceTask) -> Found:
    """The cheapest choice of spots, at most one coral each.

    Returns
    -------
    Found
        Proven optimal without rules between corals, where the assignment happens to keep them, and where the
        integer program is small; else the assignment repaired. Where rules would cost a coral the place that
        it has, those that stand nearer than they should today may stay so.

    Source
    ------
    Linear sum assignment; integer program (scipy, HiGHS); swaps and detours are our own.
    """
    key = task.key()
    if len(key) == 1:  # one coral, as the others stand: nothing to search
        spot = int(np.argmin(key[0]))
        alone = (spot if spot < key.shape[1] - 1 else -1,)
        return _with_all(task, Found(alone, alone, True))
    bound = assignment(key)
    if task.most_moves is not None and _moves(task, bound) > task.most_moves:
        return _few_moves(task, key, bound)
    if not conflicts(task, bound):
        return _with_all(task, Found(bound, bound, True))
    if task.dli.size <= MOST_CELLS_EXACT:
        exact = exact_choice(task)
        if exact is not None:
            return _with_all(task, Found(exact, bound, True))
    found = repaired(task, key, bound)
    if -1 in found:
        packed = [repaired(task, key, assignment(_only(key, spots))) for spots in packings(task)]
        found = min([found, *packed], key=lambda choice: _total(key, choice))
    return _with_all(task, Found(found, bound, _total(key, found) == _total(key, bound)))


def _with_all(task: PlaceTask, found: Found) -> Found:
    """What was found, or, where a coral would lose its place, a choice that leaves it one.

    Corals that stand nearer today than they should may stay so there.
    """
    if _lost(task, found.spots) == 0 or task.home is None:
        return found
    eased = _as_near_as_today(task)
    other = repaired(eased, eased.key(), _standing(eased))
    return found if _lost(task, other) >= _lost(task, found.spots) else Found(other, found.bound, False)


def _as_near_as_today(task: PlaceTask) -> PlaceTask:
    """The task where every coral may stay at home, and as near to the others as they stand today."""
    if task.home is not None:
        task = replace(task, allowed=task.allowed | task.home)
    return replace(task, apart_m=np.minimum(task.apart_m, _distances(task, _standing(task))))


def _lost(task: PlaceTask, choice: Sequence[int]) -> int:
    """Corals that have a place today and none in a choice."""
    return sum(p < 0 and stands for p, stands in zip(choice, task.stands, strict=False))


def _moves(task: PlaceTask, choice: Sequence[int]) -> int:
    return sum(int(task.moves[i, p]) for i, p in enumerate(choice) if p >= 0)


def _few_moves(task: PlaceTask, key: FloatArray, bound: tuple[int, ...]) -> Found:
    """The cheapest choice with at most so many moves: exact where that is quick, else by a price on moves.

    Corals that stand nearer today than they should may stay so: few moves do not part them all.
    """
    task = _as_near_as_today(task)
    key, standing = task.key(), _standing(task)
    if task.dli.size <= (MOST_CELLS_EXACT if task.has_rules else MOST_CELLS_LINEAR):
        exact = exact_choice(task)
        if exact is not None:
            return Found(exact, bound, True)
    moved = np.column_stack((task.moves, np.zeros(len(key))))
    low, high = 0.0, 2 * float(np.max(key, initial=1.0, where=np.isfinite(key)))
    best = repaired(task, key + high * moved, standing)
    for _ in range(PRICES):
        price = 0.5 * (low + high)
        choice = repaired(task, key + price * moved, standing)
        if _moves(task, choice) > (task.most_moves or 0):
            low = price
            continue
        high = price
        if _total(key, choice) < _total(key, best):
            best = choice
    return Found(best, bound, False)


def _standing(task: PlaceTask) -> tuple[int, ...]:
    """Every coral where it stands; one without a place, or in a place that it may not have, nowhere yet."""
    taken: set[int] = set()
    found = []
    for i in range(len(task.corals)):
        here = np.flatnonzero(task.allowed[i] & (task.moves[i] == 0) & bool(task.moves[i].any()))
        own = next((p for p in here.tolist() if p not in taken), -1)
        taken.add(own)
        found.append(own)
    return tuple(found)


def _distances(task: PlaceTask, choice: Sequence[int]) -> FloatArray:
    """Level distances of corals from one another, infinite for one without a place. [m]"""
    at = np.array([task.places_m[p] if p >= 0 else (np.inf, np.inf) for p in choice]).reshape(-1, 2)
    with np.errstate(invalid="ignore"):
        apart = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1))
    return np.asarray(np.nan_to_num(apart, nan=np.inf, posinf=np.inf))


def packings(task: PlaceTask) -> list[list[int]]:
    """Sets of spots that keep the largest distance from one another: rows, columns, and from a corner out.

    Source
    ------
    Greedy packing in three orders; our own.
    """
    at = task.places_m
    least = float(task.apart_m.max()) - 1e-9
    cell = np.floor(at / max(least, 1e-3))
    orders = (
        np.lexsort((at[:, 0], at[:, 1])),
        np.lexsort((at[:, 1], at[:, 0])),
        np.lexsort((at[:, 0], cell[:, 1])),
        np.lexsort((at[:, 1], cell[:, 0])),
        np.argsort(np.hypot(*(at - at.min(axis=0)).T), kind="stable"),
    )
    useful: np.ndarray[tuple[int, ...], np.dtype[np.bool_]] = np.any(task.allowed, axis=0)
    found = []
    for order in orders:
        open_ = useful.copy()
        kept = []
        for p in order.tolist():
            if open_[p]:
                kept.append(p)
                np.logical_and(open_, np.hypot(*(at - at[p]).T) >= least, out=open_)
        found.append(kept)
    return found


def _only(key: FloatArray, spots: list[int]) -> FloatArray:
    """The costs with all other spots forbidden."""
    only = np.full_like(key, np.inf)
    columns = [*spots, key.shape[1] - 1]
    only[:, columns] = key[:, columns]
    return only


def assignment(key: FloatArray) -> tuple[int, ...]:
    """The cheapest choice without rules between corals.

    Parameters
    ----------
    key : array, shape (n_coral, n_spot + 1)
        Infinite where forbidden; the last column is "no place".

    Returns
    -------
    tuple of int
        Spot of each coral, -1 for none.

    Source
    ------
    Linear sum assignment (scipy).
    """
    from scipy.optimize import linear_sum_assignment

    n, m = len(key), key.shape[1] - 1
    without = np.full((n, n), np.inf)
    np.fill_diagonal(without, key[:, -1])
    rows, columns = linear_sum_assignment(np.column_stack((key[:, :-1], without)))
    choice = np.full(n, -1)
    choice[rows] = np.where(columns < m, columns, -1)
    return tuple(int(p) for p in choice)


def conflicts(task: PlaceTask, choice: tuple[int, ...]) -> list[tuple[int, int]]:
    """Pairs of corals that stand too near to one another.

    Returns
    -------
    list of (int, int)

    Source
    ------
    Definition.
    """
    if not task.has_rules:
        return []
    placed = np.array([i for i, p in enumerate(choice) if p >= 0], dtype=np.intp)
    at = task.places_m[[choice[i] for i in placed]]
    distance = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1))
    near = np.triu(distance < task.apart_m[np.ix_(placed, placed)] - 1e-9, 1)
    return [(int(placed[a]), int(placed[b])) for a, b in np.argwhere(near)]


def _total(key: FloatArray, choice: tuple[int, ...]) -> int:
    return sum(int(key[i, p]) for i, p in enumerate(choice))


def exact_choice(task: PlaceTask) -> tuple[int, ...] | None:
    """The cheapest choice that keeps the rules, stage by stage; None if the time runs out.

    Source
    ------
    0-1 program (scipy, HiGHS): each coral one spot or none, each spot at most one coral, and for each pair of
    corals and spot of the one, not both that spot and any spot of the other nearer than allowed.
    """
    from scipy.optimize import Bounds, LinearConstraint, milp
    from scipy.sparse import csr_array

    n, m = task.dli.shape
    cells = [(i, p) for i in range(n) for p in range(m) if task.allowed[i, p]]
    column = {cell: v for v, cell in enumerate(cells)}
    cells += [(i, m) for i in range(n)]
    rows = _rule_rows(task, column)
    rows += [[column[i, p] for i in range(n) if (i, p) in column] for p in range(m)]
    each = [[v for v, (i, _) in enumerate(cells) if i == coral] for coral in range(n)]

    def matrix(lines: list[list[int]]) -> csr_array:
        index = [v for line in lines for v in line]
        ends = np.cumsum([0, *(len(line) for line in lines)])
        return csr_array((np.ones(len(index)), index, ends), shape=(len(lines), len(cells)))

    constraints = [LinearConstraint(matrix(rows), -np.inf, 1.0), LinearConstraint(matrix(each), 1.0, 1.0)]
    if task.most_moves is not None:
        moved = np.array([task.moves[i, p] if p < m else 0.0 for i, p in cells])
        constraints.append(LinearConstraint(csr_array(moved[None, :]), -np.inf, float(task.most_moves)))
    taken = np.zeros(len(cells))
    for stage in (task.lost, *task.stages):
        price = np.array([stage[i, p] for i, p in cells])
        if not np.any(price):
            continue
        done = milp(
            price,
            constraints=constraints,
            integrality=np.ones(len(cells)),
            bounds=Bounds(0, 1),
            options={"mip_rel_gap": 0.0, "time_limit": EXACT_SECONDS},
        )
        if done.status != 0:
            return None
        taken = np.round(done.x)
        constraints.append(LinearConstraint(csr_array(price[None, :]), -np.inf, float(price @ taken) + 0.5))
    choice = [-1] * n
    for v in np.flatnonzero(taken):
        coral, spot = cells[int(v)]
        choice[coral] = spot if spot < m else -1
    return tuple(choice)


def _rule_rows(task: PlaceTask, column: dict[tuple[int, int], int]) -> list[list[int]]:
    """Variables of which at most one may be 1, for every pair of corals that must keep apart."""
    at = task.places_m
    distance = np.hypot(*(at[:, None, :] - at[None, :, :]).transpose(2, 0, 1))
    rows = []
    for i, j in np.argwhere(np.triu(task.apart_m, 1) > 0).tolist():
        near = distance < task.apart_m[i, j] - 1e-9
        for p in np.flatnonzero(task.allowed[i]).tolist():
            others = [column[j, q] for q in np.flatnonzero(near[p] & task.allowed[j]).tolist()]
            if others:
                rows.append([column[i, p], *others])
    return rows
