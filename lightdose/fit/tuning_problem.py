"""`tune` as linear programs: channel outputs that put every coral in its band, in stages.

The unknowns are hours at full output a day of every channel, v = H u. Doses are then the same linear forms
for every length of the day; only bounds and peak limits move with it, so the matrix is built once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
import numpy.typing as npt

from lightdose.errors import InfeasibleError
from lightdose.model.plans import Preference
from lightdose.model.record import FloatArray, dataclass
from lightdose.quantities import MOL_PER_UMOL_S_H


@dataclass(frozen=True, eq=False)
class TuneTask:
    """The corals, the channels and what binds them, whatever the length of the day.

    Attributes
    ----------
    response : array, shape (n_coral, n_channel); PPFD at full output. [umol m-2 s-1]
    low, high : array, shape (n_coral,); bounds of the daily dose. [mol m-2 d-1]
    peak_max : array, shape (n_coral,); limit of the brightest hour, infinite where there is none
    mix : array, shape (n_channel, n_free); v = mix @ y; identity where every channel is free
    today_h : array, shape (n_channel,); today's hours at full output. [h]
    weight : array, shape (n_channel,); price of a change of v, PPFD at the corals
    fixture : array of int, shape (n_channel,); which fixture a channel belongs to
    power : array, shape (n_channel,); price of v in energy
    rows, limits : array, shapes (n_row, n_channel) and (n_row,); further rows @ v <= limits
    """

    response: FloatArray
    low: FloatArray
    high: FloatArray
    peak_max: FloatArray
    mix: FloatArray
    today_h: FloatArray
    weight: FloatArray
    fixture: npt.NDArray[np.intp]
    power: FloatArray
    rows: FloatArray
    limits: FloatArray

    def dose(self, v_h: FloatArray) -> FloatArray:
        """Daily dose of every coral. [mol m-2 d-1]"""
        dose: FloatArray = MOL_PER_UMOL_S_H * (self.response @ v_h)
        return dose


@dataclass(frozen=True, eq=False)
class DayLimits:
    """What one day allows.

    Attributes
    ----------
    least_h, most_h : array, shape (n_channel,); bounds of v. [h]
    windows : array, shape (n_window, n_channel); from v to each channel's mean output in hours that may be
        the brightest, relative to ``per_hour``
    per_hour : float; common factor of the windows. [h-1]
    """

    least_h: FloatArray
    most_h: FloatArray
    windows: FloatArray
    per_hour: float


@dataclass(frozen=True, eq=False)
class TuneSolution:
    """The best v of one day, and the value of each stage."""

    v_h: FloatArray
    violation: float
    cost: float


def violation_of(task: TuneTask, limits: DayLimits, v_h: FloatArray) -> float:
    """How far corals are out of their bands, added up.

    Parameters
    ----------
    task : TuneTask
    limits : DayLimits
    v_h : array, shape (n_channel,)
        Hours at full output. [h]

    Returns
    -------
    float
        Sum of max(0, 1 - D/low) + max(0, D/high - 1) + max(0, peak/limit - 1).

    Source
    ------
    Definition of the first stage; our choice.
    """
    dose = task.dose(v_h)
    low = np.where(task.low > 0, task.low, 1.0)
    short = np.where(task.low > 0, np.maximum(0.0, 1 - dose / low), 0.0)
    over = np.maximum(0.0, dose / task.high - 1)
    peak = (task.response @ (limits.per_hour * limits.windows * v_h).T).max(axis=1)
    glare = np.maximum(0.0, peak / task.peak_max - 1)
    return float(np.sum(short + over + glare))


KEPT_WITHIN = 1e-7
"""Each stage keeps the value of the earlier ones within this."""

SAME_WITHIN = 1e-6
"""Values of two days that differ by less count as equal."""

CHANGE_WITHIN = 0.02
"""Changes that differ by less than this share count as equal, and the one nearest to today's hours and mix is
taken: else a channel would go to full, and the day grow, for a gain that nobody can measure. Our choice."""


class StagedProgram:
    """The stages of one task; rows are built once and serve every day."""

    def __init__(self, task: TuneTask, windows: FloatArray) -> None:
        from scipy import sparse

        self._task = task
        judged, peaked = np.flatnonzero(task.low > 0), np.flatnonzero(np.isfinite(task.peak_max))
        self._coral, self._peak = task.low.size, peaked.size * windows.shape[0]
        self._free = task.mix.shape[1]
        dose = MOL_PER_UMOL_S_H * (task.response @ task.mix)
        slack = sparse.eye_array(self._coral, format="csr")
        none = sparse.csr_array((0, self._coral))
        low = sparse.hstack(
            [
                sparse.csr_array(-dose[judged] / task.low[judged, None]),
                -slack[judged] if judged.size else none,
            ]
        )
        high = sparse.hstack([sparse.csr_array(dose / task.high[:, None]), -slack])
        hours = [
            (task.response[peaked] * window) @ task.mix / task.peak_max[peaked, None] for window in windows
        ]
        peak = np.concatenate(hours) if hours else np.zeros((0, self._free))
        wide = self._free + self._coral
        self._rows = sparse.csr_array(
            sparse.vstack(
                [
                    sparse.hstack([low, sparse.csr_array((judged.size, self._peak))]),
                    sparse.hstack([high, sparse.csr_array((self._coral, self._peak))]),
                    sparse.hstack(
                        [
                            sparse.csr_array(peak),
                            sparse.csr_array((self._peak, self._coral)),
                            -sparse.eye_array(self._peak),
                        ]
                    ),
                    sparse.hstack(
                        [
                            sparse.csr_array(task.rows @ task.mix),
                            sparse.csr_array((task.limits.size, self._coral + self._peak)),
                        ]
                    ),
                ]
            )
        )
        self._low_rows = judged.size
        self._width = wide + self._peak

    def _limits(self, day: DayLimits) -> FloatArray:
        return np.concatenate(
            [
                -np.ones(self._low_rows),
                np.ones(self._coral),
                np.full(self._peak, 1 / day.per_hour),
                self._task.limits,
            ]
        )

    def _price(self, day: DayLimits) -> FloatArray:
        return np.concatenate([np.zeros(self._free), np.ones(self._coral), np.full(self._peak, day.per_hour)])

    def first(self, day: DayLimits) -> TuneSolution | None:
        """Least violation; None where the keeper's own bounds leave nothing."""
        least, most = _bounds(self._task, day)
        open_end = np.full(self._width - self._free, np.inf)
        found = _solved(
            self._price(day),
            self._rows,
            self._limits(day),
            np.concatenate([least, np.zeros_like(open_end)]),
            np.concatenate([most, open_end]),
        )
        if found is None:
            return None
        value = max(0.0, float(self._price(day) @ found))
        return TuneSolution(self._task.mix @ found[: self._free], value, 0.0)

    def then(self, day: DayLimits, first: TuneSolution, aim: Preference | str) -> TuneSolution:
        """The best of those that keep the first stage: by ``aim``, or nearest to today's mix ("mix")."""
        return self._stage(day, first, aim, None)

    def finally_(self, day: DayLimits, second: TuneSolution, aim: Preference) -> TuneSolution:
        """Of equals: the nearest to today's mix, or for margin and energy the least change."""
        return self._stage(day, second, "mix" if aim == "change" else "change", aim)

    def _stage(
        self, day: DayLimits, earlier: TuneSolution, aim: Preference | str, kept: Preference | None
    ) -> TuneSolution:
        from scipy import sparse

        parts = [self._aim(earlier, a) for a in ([aim] if kept is None else [kept, aim])]
        extra = sum(len(p.price) - self._free for p in parts)
        blocks, limits = [sparse.hstack([self._rows, sparse.csr_array((self._rows.shape[0], extra))])], []
        blocks.append(np.concatenate([self._price(day), np.zeros(extra)])[None, :])
        limits.append(np.array([earlier.violation + KEPT_WITHIN]))
        start, spans = self._width, []
        for part in parts:
            own = len(part.price) - self._free
            wide = np.zeros((part.rows.shape[0], self._width + extra))
            wide[:, : self._free] = part.rows[:, : self._free]
            wide[:, start : start + own] = part.rows[:, self._free :]
            price = np.zeros(self._width + extra)
            price[: self._free], price[start : start + own] = (
                part.price[: self._free],
                part.price[self._free :],
            )
            blocks.append(wide)
            limits.append(part.limits)
            spans.append((price, np.full(own, part.least)))
            start += own
        if kept is not None:
            blocks.append(spans[0][0][None, :])
            slack = CHANGE_WITHIN * earlier.cost if kept == "change" else 0.0
            limits.append(np.array([earlier.cost + slack + KEPT_WITHIN]))
        least, most = _bounds(self._task, day)
        rest = self._width - self._free
        found = _solved(
            spans[-1][0],
            sparse.csr_array(sparse.vstack([sparse.csr_array(b) for b in blocks])),
            np.concatenate([self._limits(day), *limits]),
            np.concatenate([least, np.zeros(rest), *(own for _, own in spans)]),
            np.concatenate([most, np.full(rest + extra, np.inf)]),
        )
        if found is None:  # numerically at the edge: the earlier stage stands
            return earlier
        value = float(spans[0][0] @ found)
        return replace(earlier, v_h=self._task.mix @ found[: self._free], cost=value)

    def _aim(self, first: TuneSolution, aim: str) -> _Aim:
        task, free = self._task, self._free
        if aim == "energy":
            return _Aim(np.zeros((0, free)), np.zeros(0), task.power @ task.mix)
        if aim == "margin":
            return self._margin(first)
        # t >= weight |v - k today|, with k = 1, or free for each fixture where only its mix counts.
        n = task.today_h.size
        scaled, today = task.weight[:, None] * task.mix, (task.weight * task.today_h)[:, None]
        if aim == "mix":
            today = today * (task.fixture[:, None] == np.unique(task.fixture))
            rows = np.block([[scaled, -np.eye(n), -today], [-scaled, -np.eye(n), today]])
            price = np.concatenate([np.zeros(free), np.ones(n), np.zeros(today.shape[1])])
            return _Aim(rows, np.zeros(2 * n), price)
        rows = np.block([[scaled, -np.eye(n)], [-scaled, -np.eye(n)]])
        limits = np.concatenate([today[:, 0], -today[:, 0]])
        return _Aim(rows, limits, np.concatenate([np.zeros(free), np.ones(n)]))

    def _margin(self, first: TuneSolution) -> _Aim:
        """Largest smallest distance to a band's edges, in its widths, of the corals that are inside."""
        task = self._task
        dose, width = task.dose(first.v_h), task.high - task.low
        room = np.minimum(dose - task.low, task.high - dose) / width
        inside = np.flatnonzero(room > -SAME_WITHIN)
        form = MOL_PER_UMOL_S_H * (task.response[inside] @ task.mix) / width[inside, None]
        one = np.ones((inside.size, 1))
        rows = np.block([[-form, one], [form, one]])
        limits = np.concatenate([-task.low[inside] / width[inside], task.high[inside] / width[inside]])
        return _Aim(rows, limits, np.concatenate([np.zeros(self._free), [-1.0]]), least=-np.inf)


@dataclass(frozen=True, eq=False)
class _Aim:
    """Rows and prices of one aim over y and its own further unknowns, which are at least ``least``."""

    rows: FloatArray
    limits: FloatArray
    price: FloatArray
    least: float = 0.0


def best_day(
    task: TuneTask, days: Sequence[DayLimits], order: Sequence[int], prefer: Preference
) -> tuple[int, TuneSolution]:
    """The day and the hours at full output that serve the corals best.

    Parameters
    ----------
    task : TuneTask
    days : sequence of DayLimits
        Shortest first; all with the same relative windows.
    order : sequence of int
        Days by their nearness to today's, for ties.
    prefer : "change", "margin" or "energy"

    Returns
    -------
    index : int
    solution : TuneSolution

    Raises
    ------
    InfeasibleError
        If the keeper's own bounds leave nothing on any day.

    Source
    ------
    Lexicographic linear programs, our choice. Where no channel has a least output, every v of a day is
    allowed on a longer one at no higher price, so the longest day has the best values, and the first day in
    ``order`` that reaches them is the answer.
    """
    program = StagedProgram(task, days[0].windows)
    solved: dict[int, TuneSolution | None] = {}

    def at(index: int, best_violation: float) -> TuneSolution | None:
        """Both stages of a day; None where its first stage is worse than the best known."""
        if index not in solved:
            first = program.first(days[index])
            if first is not None and first.violation <= best_violation + SAME_WITHIN:
                first = program.then(days[index], first, prefer)
            solved[index] = first
        return solved[index]

    if not any(day.least_h.any() for day in days):
        longest = at(len(days) - 1, np.inf)
        if longest is not None:
            for index in order:
                found = at(index, longest.violation)
                if found is not None and _as_good(found, longest, prefer):
                    return index, program.finally_(days[index], found, prefer)
    best: tuple[int, TuneSolution] | None = None
    for index in order:
        found = at(index, np.inf)
        if found is not None and (best is None or not _as_good(best[1], found, prefer)):
            best = index, found
    if best is None:
        raise InfeasibleError("no programme keeps all the bounds at once")
    index, found = best
    return index, program.finally_(days[index], found, prefer)


def _as_good(one: TuneSolution, other: TuneSolution, prefer: Preference) -> bool:
    if one.violation > other.violation + SAME_WITHIN:
        return False
    slack = CHANGE_WITHIN * other.cost if prefer == "change" else 0.0
    return one.violation < other.violation - SAME_WITHIN or one.cost <= other.cost + slack + SAME_WITHIN


def least_violation(task: TuneTask, day: DayLimits) -> TuneSolution | None:
    """The first stage alone.

    Returns
    -------
    TuneSolution or None
        None where the keeper's own bounds leave nothing.

    Source
    ------
    Linear program, solved by HiGHS through scipy.
    """
    return StagedProgram(task, day.windows).first(day)


def most_light(task: TuneTask, day: DayLimits, coral: int, other: int | None) -> float | None:
    """The highest dose of one coral while another stays at or below its upper limits.

    Parameters
    ----------
    task : TuneTask
    day : DayLimits
    coral, other : int
        ``other`` None lets all others be.

    Returns
    -------
    float or None
        None where the other cannot be kept there. [mol m-2 d-1]

    Source
    ------
    Linear program, solved by HiGHS through scipy.
    """
    least, most = _bounds(task, day)
    rows, limits = [task.rows @ task.mix], [task.limits]
    if other is not None:
        rows.append(MOL_PER_UMOL_S_H * (task.response[other] @ task.mix)[None, :] / task.high[other])
        limits.append(np.ones(1))
        if np.isfinite(task.peak_max[other]):
            rows.append((task.response[other] * day.windows * day.per_hour) @ task.mix / task.peak_max[other])
            limits.append(np.ones(day.windows.shape[0]))
    form = MOL_PER_UMOL_S_H * (task.response[coral] @ task.mix)
    found = _solved(-form, np.concatenate(rows), np.concatenate(limits), least, most)
    return None if found is None else float(form @ found)


def least_light(task: TuneTask, day: DayLimits, coral: int) -> float | None:
    """The lowest dose of one coral that the bounds allow.

    Returns
    -------
    float or None
        None where the bounds leave nothing. [mol m-2 d-1]

    Source
    ------
    Linear program, solved by HiGHS through scipy.
    """
    least, most = _bounds(task, day)
    form = MOL_PER_UMOL_S_H * (task.response[coral] @ task.mix)
    found = _solved(form, task.rows @ task.mix, task.limits, least, most)
    return None if found is None else float(form @ found)


def _bounds(task: TuneTask, day: DayLimits) -> tuple[FloatArray, FloatArray]:
    """Bounds of y: each channel hangs on one of them, or stays off."""
    free = task.mix.shape[1]
    least, most = np.zeros(free), np.zeros(free)
    for column in range(free):
        share = task.mix[:, column]
        runs = share > 0
        if runs.any():
            least[column] = np.max(day.least_h[runs] / share[runs])
            most[column] = np.min(day.most_h[runs] / share[runs])
    return least, most


def _solved(price: FloatArray, rows: Any, limits: FloatArray, least: FloatArray, most: FloatArray) -> Any:
    """The unknowns of least price with rows @ x <= limits; None where nothing fits."""
    from scipy.optimize import linprog

    for method in ("highs-ds", "highs-ipm"):
        found = linprog(
            price,
            A_ub=rows if limits.size else None,
            b_ub=limits if limits.size else None,
            bounds=np.column_stack([least, most]),
            method=method,
        )
        if found.status == 0:
            return found.x
        if found.status == 2:
            return None
    raise InfeasibleError(f"the solver gave up: {found.message}")
