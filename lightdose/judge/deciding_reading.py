"""Which single reading would settle the verdicts that the model leaves open.

A reading at one site narrows every dose that shares errors with it: the fixture's output, its height, the
water. Its effect is the linear Gaussian update of ln DLI from the covariance of the draws; what it would show
is not known yet, so the share of undecided verdicts that it settles is averaged over what it may show.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass

READING_FRACTION = 0.07
"""Standard uncertainty of one careful reading, all its errors together: our choice."""

DECIDED = 2 / 3
"""A verdict stands when one state has this probability: our choice."""

_OUTCOMES = np.linspace(-3.0, 3.0, 41)
"""What a reading may show, in standard deviations of what is expected."""

_SHARES = np.linspace(0.0, 1.0, 25)
"""Parts of the variance that a reading may explain, for interpolation."""


@dataclass(frozen=True, eq=False)
class OpenVerdict:
    """An undecided coral: its column in the draws and the marks between its states. [mol m-2 d-1]"""

    column: int
    marks: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class BestReading:
    """The site to read, and for each undecided coral the chance that this settles it."""

    site: int
    chances: tuple[float, ...]


def best_reading(
    ln_dli: FloatArray, candidates: Sequence[int], undecided: Sequence[OpenVerdict]
) -> BestReading | None:
    """The reading that is expected to settle most.

    Parameters
    ----------
    ln_dli : array, shape (n_draw, n_column)
        Draws of ln DLI; places without light hold -inf.
    candidates : columns where a reading may be taken
    undecided : corals without a verdict

    Returns
    -------
    BestReading or None
        None if nothing is undecided or no candidate has light.

    Source
    ------
    Conditional normal distribution; ties go to the candidate that narrows the doses most, then to the first.
    """
    lit = [c for c in candidates if np.all(np.isfinite(ln_dli[:, c]))]
    cases = [v for v in undecided if np.all(np.isfinite(ln_dli[:, v.column]))]
    if not lit or not cases:
        return None
    read = ln_dli[:, lit] - ln_dli[:, lit].mean(axis=0)
    variance = (read * read).mean(axis=0)
    own = ln_dli[:, [v.column for v in cases]]
    mean, spread = own.mean(axis=0), own.std(axis=0)
    covariance = (own - mean).T @ read / len(own)
    explained = covariance**2 / (variance + READING_FRACTION**2)
    shares = np.clip(explained / np.maximum(spread**2, 1e-300)[:, None], 0.0, 1.0)
    shown = np.zeros((len(undecided), len(lit)))
    for row, case in enumerate(cases):
        chances = _chances_to_settle(float(mean[row]), float(spread[row]), case.marks)
        shown[undecided.index(case)] = np.interp(shares[row], _SHARES, chances)
    narrowed = -0.5 * np.log1p(-np.minimum(shares, 1 - 1e-12)).sum(axis=0)
    most = shown.sum(axis=0)
    best = int(np.lexsort((np.arange(len(lit)), -narrowed, -np.round(most, 2)))[0])
    return BestReading(lit[best], tuple(float(c) for c in shown[:, best]))


def _chances_to_settle(mean: float, spread: float, marks: Sequence[float]) -> FloatArray:
    """Chance that some state gets the probability ``DECIDED`` once each of ``_SHARES`` is explained."""
    weight = np.exp(-0.5 * _OUTCOMES**2)
    centre = mean + spread * np.sqrt(_SHARES)[:, None] * _OUTCOMES
    left = np.maximum(spread * np.sqrt(1 - _SHARES), 1e-12)[:, None]
    edges = [np.zeros_like(centre)]
    edges += [_normal_share((math.log(m) - centre) / left) for m in marks if 0 < m < math.inf]
    leading = np.diff([*edges, np.ones_like(centre)], axis=0).max(axis=0)
    return np.asarray((leading >= DECIDED) @ weight / weight.sum())


_TABLE_Z = np.linspace(-6.0, 6.0, 1201)
_TABLE_P = np.array([0.5 * math.erfc(-z / math.sqrt(2)) for z in _TABLE_Z])


def _normal_share(z: npt.NDArray[np.floating]) -> FloatArray:
    """Share of a normal distribution below z; linear between hundredths, 1e-5 at worst."""
    return np.asarray(np.interp(z, _TABLE_Z, _TABLE_P))
