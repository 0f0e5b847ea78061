"""How far a mix of channels can change its colour's worth.

The index is usable light over PPFD, a ratio of two linear forms of the outputs. With the PPFD held it is
linear itself, so its least and its highest value are two linear programs.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from lightdose.model.changes import ALL_MIXES, WITHOUT_WARNINGS, IndexSpan
from lightdose.model.record import FloatArray, dataclass

_TOLERANCE = 1e-9


@dataclass(frozen=True, eq=False)
class MixBound:
    """A bound on a share of PPFD: ``part`` is at least, or at most, ``share`` of it.

    Attributes
    ----------
    name : in words, such as "blue at least 30 %"
    part : array, shape (n_channel,); photons of each channel at full output. [umol m-2 s-1]
    """

    name: str
    part: FloatArray
    share: float
    at_least: bool

    def row(self, ppfd: FloatArray) -> FloatArray:
        """The bound as ``row @ outputs <= 0``."""
        over: FloatArray = self.part - self.share * ppfd
        return -over if self.at_least else over

    def kept(self, ppfd: FloatArray, output: FloatArray) -> bool:
        """Whether a mix keeps the bound."""
        return bool(self.row(ppfd) @ output <= _TOLERANCE * (ppfd @ output))


def index_spans(
    ppfd: FloatArray, usable: Mapping[str, FloatArray], total_umol_m2_s: float, bounds: tuple[MixBound, ...]
) -> tuple[IndexSpan, IndexSpan]:
    """Least and highest index over every mix, and over those that keep the bounds, at one place.

    Parameters
    ----------
    ppfd : array, shape (n_channel,)
        Of each channel at full output. [umol m-2 s-1]
    usable : dict of array, shape (n_channel,)
        The same photons weighted by each absorption curve. [umol m-2 s-1]
    total_umol_m2_s : float
        PPFD that every mix gives. [umol m-2 s-1]
    bounds : tuple of MixBound

    Returns
    -------
    all mixes, mixes that keep every bound : IndexSpan
        Without spans where no such mix gives the total, with the reason.

    Source
    ------
    A ratio with its denominator held is linear: linear programs over outputs 0-1. Without bounds the
    cheapest channels first are the least (a fractional knapsack), with bounds too where that keeps them; the
    others are solved by scipy's HiGHS.
    """
    lit = np.asarray(ppfd > 0)
    light = ppfd[lit]
    weighted = {key: values[lit] for key, values in usable.items()}
    kept = tuple(MixBound(b.name, b.part[lit], b.share, b.at_least) for b in bounds)
    return (
        _span(ALL_MIXES, light, weighted, total_umol_m2_s, ()),
        _span(WITHOUT_WARNINGS, light, weighted, total_umol_m2_s, kept),
    )


def _span(
    key: str,
    ppfd: FloatArray,
    usable: Mapping[str, FloatArray],
    total: float,
    bounds: tuple[MixBound, ...],
) -> IndexSpan:
    if not (total > 0 and ppfd.size):
        return IndexSpan(key, None, "there is no light here")
    if total > ppfd.sum() * (1 + _TOLERANCE):
        return IndexSpan(key, None, "all channels at full do not give that much light")
    spans = {}
    for curve, row in usable.items():
        ends = [_extreme(ppfd, sign * row, total, bounds) for sign in (1.0, -1.0)]
        if ends[0] is None or ends[1] is None:
            return IndexSpan(key, None, _why_none(ppfd, total, bounds))
        spans[curve] = (ends[0], -ends[1])
    return IndexSpan(key, spans)


def _extreme(ppfd: FloatArray, cost: FloatArray, total: float, bounds: tuple[MixBound, ...]) -> float | None:
    """Least of ``cost @ outputs / total``; None where no mix keeps the bounds."""
    # Unknowns are the channels' shares of the total: rows and costs are then of the order of one.
    most = np.minimum(ppfd / total, 1.0)
    whole = min(1.0, float(most.sum()))
    cheapest = _filled(cost / ppfd, most, whole)
    rows = np.array([b.row(ppfd) / ppfd for b in bounds]).reshape(len(bounds), ppfd.size)
    if np.all(rows @ cheapest <= 0):
        return float(cost / ppfd @ cheapest)
    from scipy.optimize import linprog

    found = linprog(
        cost / ppfd,
        A_ub=rows,
        b_ub=np.zeros(len(bounds)),
        A_eq=np.ones((1, ppfd.size)),
        b_eq=[whole],
        bounds=np.column_stack((np.zeros(ppfd.size), most)),
        method="highs",
    )
    return float(found.fun) if found.status == 0 else None


def _filled(price: FloatArray, most: FloatArray, whole: float) -> FloatArray:
    """The least cost without bounds: the cheapest channel to its end, then the next, until all is given."""
    order = np.argsort(price, kind="stable")
    before = np.concatenate(([0.0], np.cumsum(most[order])[:-1]))
    share = np.empty_like(most)
    share[order] = np.clip(whole - before, 0.0, most[order])
    return share


def _why_none(ppfd: FloatArray, total: float, bounds: tuple[MixBound, ...]) -> str:
    """The bound that no mix of this much light keeps, or that they cannot be kept together."""
    zero = np.zeros(ppfd.size)
    alone = [b.name for b in bounds if _extreme(ppfd, zero, total, (b,)) is None]
    if alone:
        return f"no mix that gives as much light has {' or '.join(alone)}"
    return f"no mix that gives as much light has {', '.join(b.name for b in bounds)} at once"
