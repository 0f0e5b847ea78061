"""How sure each dose and each verdict is, and which single reading would settle what is open.

A reading at one site narrows every dose that shares errors with it: the fixture's output, its height, the
water. Its effect is the linear Gaussian update of ln DLI from the covariance of the draws; what it would show
is not known yet, so the share of undecided verdicts that it settles is averaged over what it may show.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import field, replace
from typing import Final

import numpy as np
import numpy.typing as npt

from lightdose.judge.drawn_light import DRAWS, SEED, Draw, draw_doses
from lightdose.judge.states import DECIDED, STATES, leading_states, marks_of, state_shares
from lightdose.judge.uncertain_inputs import described, uncertain_inputs
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Certainty, DecidingReading, DliState, DliVerdict, Uncertainty, Verdict
from lightdose.model.setup import Setup
from lightdose.physics.light_field import PreparedField

READING_FRACTION = 0.07
"""Standard uncertainty of one careful reading, all its errors together: our choice."""

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


FEWER_DRAWS: Final = {10_000: 500, 2_000: 1_000}
"""Beyond so many places fewer draws do: the ends of intervals are then known to a tenth of half a width, or
to a seventh beyond 10,000 places."""

READABLE_AT_MOST = OPEN_AT_MOST = 200
"""Sites that are thought of for a reading, those with corals first, and open verdicts to be settled."""

JUDGED_AT_ONCE = 50


def with_certainty(
    setup: Setup,
    ready: PreparedField,
    verdicts: Sequence[Verdict],
    *,
    draws: int | None = None,
    seed: int = SEED,
    see: Callable[[int, FloatArray, FloatArray], None] | None = None,
    draw: Draw = draw_doses,
) -> tuple[tuple[Verdict, ...], Uncertainty]:
    """Verdicts with their probabilities, and the intervals of every place.

    Parameters
    ----------
    setup : Setup
    ready : PreparedField
        The setup's light field, with the weighting "ppfd".
    verdicts : sequence of Verdict
        Of the same setup.
    draws : int or None
        4,000; 1,000 for more than 2,000 places, 500 for more than 10,000.
    seed : int
    see : callable or None
        Gets the index of each receiver, its drawn doses and its drawn light at full output too, once.
    draw : callable
        ``draw_doses``, or what remembers its draws.

    Returns
    -------
    verdicts : tuple of Verdict
        In the same order, each with its certainty.
    uncertainty : Uncertainty

    Source
    ------
    Monte Carlo propagation of distributions, JCGM 101:2008.
    """
    inputs, receivers = uncertain_inputs(setup), setup.receivers
    fewer = (few for beyond, few in FEWER_DRAWS.items() if len(receivers) > beyond)
    count = draws or next(fewer, DRAWS)
    watch = _Watch.of(setup, verdicts)

    def shown(receiver: int, doses: FloatArray, response: FloatArray) -> None:
        watch.see(receiver, doses)
        if see is not None:
            see(receiver, doses, response)

    dli, peak = draw(inputs, ready, receivers, shown, draws=count, seed=seed)
    watch.judge()
    best = watch.best_reading()
    site = setup.sites[best.site].name if best else None
    settled = dict(zip(watch.open, best.chances, strict=False)) if best else {}
    judged = []
    for i, verdict in enumerate(verdicts):
        likely, ends = watch.likely[i], (dli[verdict.receiver], peak[verdict.receiver])
        at = site if likely == "undecided" else None
        certainty = Certainty(
            verdict=likely,
            probability=watch.probability[i],
            interval_dli=(float(ends[0][0]), float(ends[0][1])),
            interval_peak=(float(ends[1][0]), float(ends[1][1])),
            reading_at=at,
            reading_settles=settled.get(i),
        )
        judged.append(replace(verdict, certainty=certainty))
    deciding = None
    if best and site is not None:
        undecided = sum(word == "undecided" for word in watch.likely.values())
        deciding = DecidingReading(site, READING_FRACTION, sum(best.chances), undecided)
    return tuple(judged), Uncertainty(dli, peak, described(inputs), count, seed, deciding)


@dataclass(frozen=True, eq=False)
class _Watch:
    """Judges each receiver's draws as they come, and keeps those that a reading may be about.

    Attributes
    ----------
    readable : sites where a reading may be taken
    probability, likely : by verdict
    open : the undecided verdicts that are kept, in order of appearance
    ln_dli : draws of ln DLI by receiver
    seen : receivers that are not judged yet, and their drawn doses
    """

    verdicts: Sequence[Verdict]
    at_receiver: dict[int, list[int]]
    readable: frozenset[int]
    probability: dict[int, dict[DliState, float]] = field(default_factory=dict)
    likely: dict[int, DliVerdict] = field(default_factory=dict)
    open: list[int] = field(default_factory=list)
    ln_dli: dict[int, FloatArray] = field(default_factory=dict)
    seen: list[tuple[int, FloatArray]] = field(default_factory=list)

    @classmethod
    def of(cls, setup: Setup, verdicts: Sequence[Verdict]) -> _Watch:
        at_receiver: dict[int, list[int]] = {}
        for index, verdict in enumerate(verdicts):
            at_receiver.setdefault(verdict.receiver, []).append(index)
        stocked = {c.site for c in setup.corals}
        sites = sorted(range(len(setup.sites)), key=lambda i: setup.sites[i].name not in stocked)
        return cls(verdicts, at_receiver, frozenset(sites[:READABLE_AT_MOST]))

    def see(self, receiver: int, dli: FloatArray) -> None:
        """Take one receiver; several are judged together."""
        self.seen.append((receiver, dli))
        if len(self.seen) == JUDGED_AT_ONCE:
            self.judge()

    def judge(self) -> None:
        """Judge the receivers that were seen."""
        rows, marks = [], []
        for receiver, dli in self.seen:
            for index in self.at_receiver.get(receiver, ()):
                if own := marks_of(self.verdicts[index]):
                    rows.append((index, receiver, dli))
                    marks.append(own)
                else:
                    self.probability[index], self.likely[index] = {"not_judged": 1.0}, "not_judged"
        kept = {receiver for receiver, _ in self.seen if receiver in self.readable}
        none = np.zeros((0, len(STATES)))
        shares = state_shares(np.array([dli for *_, dli in rows]), np.array(marks)) if rows else none
        for (index, receiver, _), share, likely in zip(rows, shares, leading_states(shares), strict=True):
            self.probability[index] = dict(zip(STATES, share.tolist(), strict=True))
            self.likely[index] = likely
            if likely == "undecided" and len(self.open) < OPEN_AT_MOST:
                self.open.append(index)
                kept.add(receiver)
        with np.errstate(divide="ignore"):
            self.ln_dli.update((receiver, np.log(dli)) for receiver, dli in self.seen if receiver in kept)
        self.seen.clear()

    def best_reading(self) -> BestReading | None:
        """The site (index of a receiver) whose reading settles most, and its chances for ``open``."""
        if not self.open:
            return None
        kept = sorted(self.ln_dli)
        column = {receiver: i for i, receiver in enumerate(kept)}
        cases = [
            OpenVerdict(column[self.verdicts[i].receiver], marks_of(self.verdicts[i])) for i in self.open
        ]
        sites = [column[i] for i in kept if i in self.readable]
        best = best_reading(np.column_stack([self.ln_dli[i] for i in kept]), sites, cases)
        return replace(best, site=kept[best.site]) if best else None
