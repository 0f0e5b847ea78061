"""States of doses against the marks of a coral, and what many draws make of them: the one judgement."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

import numpy as np

from lightdose.model.record import FloatArray
from lightdose.model.results import PENALTY, DliState, DliVerdict, Verdict

DECIDED: Final = 2 / 3
"""A verdict stands when one state has this probability: our choice."""

STATES: Final[tuple[DliState, ...]] = ("far_below", "below", "within", "above", "far_above")
PENALTIES: Final = np.array([PENALTY[state] for state in STATES])
"""Of a coral that is not sheltered."""


def marks_of(verdict: Verdict) -> tuple[float, ...]:
    """Floor, low, high and ceiling; a missing floor is 0, a missing ceiling infinite; empty if not judged."""
    if verdict.band_dli is None:
        return ()
    floor = 0.0 if verdict.floor_dli is None else verdict.floor_dli
    ceiling = math.inf if verdict.ceiling_dli is None else verdict.ceiling_dli
    return floor, *verdict.band_dli, ceiling


def state_shares(dli: FloatArray, marks: FloatArray) -> FloatArray:
    """Share of the draws in each of ``STATES``.

    Parameters
    ----------
    dli : array, shape (n_coral, n_draw). [mol m-2 d-1]
    marks : array, shape (n_coral, 4)
        From ``marks_of``. [mol m-2 d-1]

    Returns
    -------
    array, shape (n_coral, 5)

    Source
    ------
    Definition: floor <= D < low is below, low <= D <= high within, high < D <= ceiling above.
    """
    floor, low, high, ceiling = marks.T[:, :, None]
    passed = np.empty((6, len(dli)))
    passed[0], passed[5] = 0.0, 1.0
    for row, part in enumerate((dli < floor, dli < low, dli <= high, dli <= ceiling), start=1):
        passed[row] = np.count_nonzero(part, axis=1) / dli.shape[1]
    return np.asarray(np.diff(passed, axis=0).T)


def leading_states(shares: FloatArray) -> list[DliVerdict]:
    """The state that leads with ``DECIDED`` or more for each coral, else "undecided"."""
    best = np.argmax(shares, axis=1)
    decided = shares[np.arange(len(shares)), best] >= DECIDED
    return [
        STATES[i] if sure else "undecided" for i, sure in zip(best.tolist(), decided.tolist(), strict=True)
    ]


def penalties_table(verdicts: Sequence[Verdict]) -> FloatArray:
    """What each of ``STATES`` counts for judged corals, shape (n_coral, 5)."""
    return np.array([[v.penalties[s] for s in STATES] for v in verdicts]).reshape(-1, len(STATES))


def marks_table(verdicts: Sequence[Verdict]) -> FloatArray:
    """``marks_of`` of judged corals, shape (n_coral, 4). [mol m-2 d-1]"""
    return np.array([marks_of(v) for v in verdicts], dtype=np.float64).reshape(-1, 4)
