"""What readings say, under every explanation that they leave open.

Most readings are good, most places are as shaded as was said, most lamps are near their sheet; now and then
one is not. Each such doubt is a normal error that is there or not, with odds of our choice. Given which are
there, the problem is least squares with priors, so a set of doubts is judged by its evidence (how well it
foresaw the readings), and the answer is the mixture of all sets that remain likely: a low reading is shared
between "weak lamp", "shaded place" and "wild reading" as the evidence stands.

The way: solve without any doubt; ask of every doubt what adding it would do, by the linear problem there
(one rank-one update each); solve the most promising sets; go on from the best until nothing likely is left
untried. The scatter of the readings beyond what was stated is a further unknown, on a grid.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
import numpy.typing as npt

from lightdose.fit.gain_problem import GainProblem, model_ln
from lightdose.model.record import FloatArray, dataclass

SCATTERS: tuple[tuple[float, float], ...] = ((1.0, 0.88), (1.5, 0.09), (2.25, 0.025), (3.4, 0.005))
"""Times that readings may scatter more than stated, and the odds beforehand: our choice."""

LEAST_ODDS = 0.05
MOST_EXPLANATIONS, MOST_SOLVED = 12, 60
WITHIN_LN, TRIED_WITHIN_LN, TRIED_AT_ONCE = 4.5, 5.5, 6
"""Explanations within so much of the best, in logarithms of odds, are gone on from, or solved at all; so many
from each. Our choice."""

MOST_DARK_LN = -20.0
"""A reading of one channel alone keeps so much of its logarithm where that channel is dead."""

UNSEEN = 1e-3
"""A doubt that moves no reading by more than this share is left alone: our choice."""

WILD_FROM = 0.5
"""A reading is left out from these odds of being wild on: our choice."""

BoolArray = npt.NDArray[np.bool_]
_Set = frozenset[int]


@dataclass(frozen=True, eq=False)
class Explanation:
    """One set of doubts, what follows from it, and its odds among all.

    Attributes
    ----------
    doubts : indices in ``GainProblem.doubts``
    value, covariance : the parameters, shape (p,) and (p, p)
    """

    odds: float
    doubts: tuple[int, ...]
    value: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, eq=False)
class Solution:
    """The likeliest explanation, the others, and each reading's standing.

    Attributes
    ----------
    value : array, shape (p,); of the likeliest explanation, in the order of ``Layout``
    covariance : array, shape (p, p); within an explanation, the mean over them by their odds
    explanations : the likeliest first; their odds sum to 1
    z : array, shape (n,); residual over its standard uncertainty under the likeliest explanation
    outlier : array, shape (n,); whether a reading is taken as wild
    share : array, shape (n, c); what each channel contributes
    doubted : odds of each doubt of the problem
    scatter : how many times the stated uncertainty readings scatter
    """

    value: FloatArray
    covariance: FloatArray
    explanations: tuple[Explanation, ...]
    z: FloatArray
    outlier: BoolArray
    share: FloatArray
    doubted: FloatArray
    scatter: float

    def spread(self, rows: FloatArray) -> FloatArray:
        """Covariance of linear forms (m, p) over all explanations, shape (m, m)."""
        shifts = np.array([rows @ (e.value - self.value) for e in self.explanations])
        odds = np.array([e.odds for e in self.explanations])
        off = shifts - odds @ shifts
        return np.asarray(rows @ self.covariance @ rows.T + (off.T * odds) @ off)


def solve(problem: GainProblem, ln_reading: FloatArray) -> Solution:
    """The parameters that readings and what was known agree on, under every likely explanation.

    Parameters
    ----------
    problem : GainProblem
    ln_reading : array, shape (n,)

    Source
    ------
    Normal errors that are there or not (mixtures of good and wild observations): Box & Tiao 1968, Biometrika
    55:119; evidence of a linear normal model by Gauss-Newton and Laplace's method: MacKay 1992, Neural
    Computation 4:415 (both from memory). Odds: our choice.
    """
    return _Search(problem, ln_reading).solution()


@dataclass(frozen=True, eq=False)
class _Solved:
    """A set of doubts, solved: its log odds (not normed), moments, and the linear problem at its solution."""

    doubts: _Set
    ln_odds: float
    value: FloatArray
    covariance: FloatArray
    scatters: FloatArray
    rest: FloatArray
    jacobian: FloatArray
    root: FloatArray


class _Search:
    def __init__(self, problem: GainProblem, ln_reading: FloatArray) -> None:
        self.problem, self.ln_reading = problem, ln_reading
        self.at = problem.layout.slices()
        value, vector = np.linalg.eigh(problem.prior)
        self.root = vector * np.sqrt(np.maximum(value, 0.0))
        self.doubts = problem.doubts
        self.ln_prior = np.array([math.log(d.odds / (1 - d.odds)) for d in self.doubts])
        self.of_reading = np.array([d.reading for d in self.doubts], dtype=np.intp)
        none = np.zeros(problem.layout.size)
        self.directions = np.array(
            [none if d.direction is None else d.direction for d in self.doubts]
        ).reshape(-1, none.size)
        self.shift = np.array([d.shift for d in self.doubts])
        self.variance = np.array([d.sd**2 for d in self.doubts])
        self.known: dict[_Set, _Solved] = {}

    # ---- the search -------------------------------------------------------------------------------------

    def solution(self) -> Solution:
        """Go on from the likeliest set until every likely one was tried."""
        start = self.problem.mean
        self.known[frozenset()] = self.solved(frozenset(), start)
        tried: set[_Set] = set()
        while len(self.known) < MOST_SOLVED:
            best = max(s.ln_odds for s in self.known.values())
            open_ = [s for k, s in self.known.items() if k not in tried and s.ln_odds > best - WITHIN_LN]
            if not open_:
                break
            one = max(open_, key=lambda s: s.ln_odds)
            tried.add(one.doubts)
            for doubts in self.promising(one, best):
                self.known[doubts] = self.solved(doubts, self.start(one, doubts))
        return self.mixture()

    def start(self, one: _Solved, doubts: _Set) -> FloatArray:
        """Where to begin: a doubt that is new at its mean, one that is dropped at none."""
        value = one.value
        for k in doubts ^ one.doubts:
            sign = 1.0 if k in doubts else -1.0
            value = value + sign * self.shift[k] * self.directions[k]
        return self.bounded(value)

    def promising(self, one: _Solved, best: float) -> Iterable[_Set]:
        """Sets that differ by one doubt and may be likely, the most promising first."""
        hope = one.ln_odds + self.changes(one)
        order = [k for k in np.argsort(-hope, kind="stable").tolist() if hope[k] > best - TRIED_WITHIN_LN]
        sets = [one.doubts ^ {k} for k in order]
        return [s for s in sets if s not in self.known][:TRIED_AT_ONCE]

    def changes(self, one: _Solved) -> FloatArray:
        """What adding each doubt, or dropping it where it is there, would do to the log odds."""
        sign = np.ones(len(self.doubts))
        sign[list(one.doubts)] = -1.0
        own = self.of_reading >= 0
        pushes = self.pushes(one)
        gains = np.zeros((len(SCATTERS), len(self.doubts)))
        weights = np.zeros(len(SCATTERS))
        for n, (times, odds) in enumerate(SCATTERS):
            linear = _Linear(one.jacobian @ one.root, one.rest, self.noise(one.doubts, times))
            weights[n] = math.log(odds) + linear.evidence
            square = linear.diagonal[self.of_reading]
            with_rest = linear.solved[self.of_reading]
            by_push, push_rest = linear.forms(pushes)
            square, with_rest = np.where(own, square, by_push), np.where(own, with_rest, push_rest)
            variance, shift = sign * self.variance, sign * self.shift
            # log N(rest - shift push; A + variance push push') beside log N(rest; A)
            moved = with_rest - shift * square
            grown = np.maximum(1.0 + variance * square, 1e-12)
            fit_ = -2 * shift * with_rest + shift**2 * square - variance * moved**2 / grown
            gains[n] = -0.5 * (np.log(grown) + fit_)
        top = weights.max()
        share = np.exp(weights - top) / np.exp(weights - top).sum()
        gained = np.log(share @ np.exp(np.clip(gains, -700, 700)))
        # what no reading sees is left at its odds, and is no explanation of anything
        seen = own | (np.abs(pushes).max(axis=0, initial=0.0) > UNSEEN)
        return np.where(seen, gained + sign * self.ln_prior, -np.inf)

    def pushes(self, one: _Solved) -> FloatArray:
        """How readings follow each doubt, (n, m): by its slope, or all the way where it is one channel.

        A channel that gives exp(shift) of what it gave takes ln(1 + share (exp(shift) - 1)) off a reading,
        which is far from its slope times the shift where the channel is dead.
        """
        pushes = one.jacobian @ self.directions.T
        share = model_ln(self.problem, one.value)[2]
        for k, doubt in enumerate(self.doubts):
            if doubt.channel >= 0 and k not in one.doubts:
                whole = np.log1p(share[:, doubt.channel] * math.expm1(doubt.shift))
                pushes[:, k] = np.maximum(whole, MOST_DARK_LN) / doubt.shift
        return np.asarray(pushes)

    def noise(self, doubts: _Set, times: float) -> FloatArray:
        """Variance of each reading's own error, shape (n,)."""
        variance = (times * self.problem.sd) ** 2
        for k in doubts:
            if self.of_reading[k] >= 0:
                variance[self.of_reading[k]] += self.variance[k]
        return variance

    # ---- one set ----------------------------------------------------------------------------------------

    def solved(self, doubts: _Set, start: FloatArray) -> _Solved:
        """Gauss-Newton from a start, at the likeliest scatter; then the moments over all scatters."""
        chosen = [k for k in sorted(doubts) if self.of_reading[k] < 0]
        mean = self.problem.mean + self.shift[chosen] @ self.directions[chosen]
        root = np.concatenate(
            [self.root, (self.directions[chosen] * np.sqrt(self.variance[chosen])[:, None]).T], axis=1
        )
        value, times = start, 1.0
        for _ in range(3):
            value, jacobian, rest = self.descend(mean, root, self.noise(doubts, times), value)
            linear = [_Linear(jacobian @ root, rest, self.noise(doubts, t)) for t, _ in SCATTERS]
            ln = np.array([p.evidence + math.log(o) for p, (_, o) in zip(linear, SCATTERS, strict=True)])
            likeliest = SCATTERS[int(np.argmax(ln))][0]
            if likeliest == times:
                break
            times = likeliest
        weight = np.exp(ln - ln.max())
        total = ln.max() + math.log(weight.sum())
        weight /= weight.sum()
        values = np.array([mean + root @ p.inner for p in linear])
        middle = weight @ values
        off = values - middle
        covariance = (off.T * weight) @ off
        for share, part in zip(weight, linear, strict=True):
            covariance = covariance + share * (root @ part.inner_covariance @ root.T)
        total += float(self.ln_prior[list(doubts)].sum())
        shades = [k for k in doubts if self.doubts[k].below_zero is not None]
        total += sum(self.below(k, mean, root, middle, covariance) for k in shades)
        return _Solved(doubts, float(total), self.bounded(middle), covariance, weight, rest, jacobian, root)

    def below(
        self, doubt: int, mean: FloatArray, root: FloatArray, value: FloatArray, covariance: FloatArray
    ) -> float:
        """ln of how much likelier it became that an open sky is at most 1."""
        place = self.doubts[doubt].below_zero
        before = _ln_below(float(mean[place]), math.sqrt(float(root[place] @ root[place])))
        return _ln_below(float(value[place]), math.sqrt(max(float(covariance[place, place]), 1e-12))) - before

    def descend(
        self, mean: FloatArray, root: FloatArray, noise: FloatArray, value: FloatArray
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """The solution for given noise, the slopes there, and what readings leave beside the mean."""
        for _ in range(40):
            expected, jacobian, _ = model_ln(self.problem, value)
            rest = self.ln_reading - expected + jacobian @ (value - mean)
            step = mean + root @ _Linear(jacobian @ root, rest, noise).inner - value
            step = np.clip(step, -2.0, 2.0)
            step[self.at.beam] = np.clip(step[self.at.beam], -0.3, 0.3)
            moved = self.bounded(value + step)
            done = float(np.max(np.abs(moved - value), initial=0.0)) < 1e-6
            value = moved
            if done:
                break
        expected, jacobian, _ = model_ln(self.problem, value)
        return value, jacobian, self.ln_reading - expected + jacobian @ (value - mean)

    def bounded(self, value: FloatArray) -> FloatArray:
        """Beams within what was computed, yellowing not below 0."""
        held = value.copy()
        beams = range(self.at.beam.start, self.at.beam.stop)
        for place, (low, high) in zip(beams, self.problem.shape.beam_limits, strict=True):
            held[place] = min(max(held[place], low), high)
        held[self.at.yellow] = np.maximum(held[self.at.yellow], 0.0)
        return held

    # ---- all of them ------------------------------------------------------------------------------------

    def mixture(self) -> Solution:
        """The likely sets with their odds, and what holds over them."""
        sets = sorted(self.known.values(), key=lambda s: (-s.ln_odds, sorted(s.doubts)))
        odds = np.exp([s.ln_odds - sets[0].ln_odds for s in sets])
        kept = [n for n in range(min(len(sets), MOST_EXPLANATIONS)) if odds[n] / odds.sum() >= LEAST_ODDS]
        share = odds[kept] / odds[kept].sum()
        doubted = np.zeros(len(self.doubts))
        for n, s in enumerate(sets):
            doubted[list(s.doubts)] += odds[n] / odds.sum()
        explanations = tuple(
            Explanation(float(p), tuple(sorted(sets[n].doubts)), sets[n].value, sets[n].covariance)
            for n, p in zip(kept, share, strict=True)
        )
        best = sets[0]
        expected, _, parts = model_ln(self.problem, best.value)
        times = float(best.scatters @ [t for t, _ in SCATTERS])
        outlier = np.zeros(len(self.ln_reading), dtype=np.bool_)
        for k, doubt in enumerate(self.doubts):
            if doubt.reading >= 0 and doubted[k] >= WILD_FROM:
                outlier[doubt.reading] = True
        pooled = sum(p * sets[n].covariance for n, p in zip(kept, share, strict=True))
        return Solution(
            value=best.value,
            covariance=np.asarray(pooled),
            explanations=explanations,
            z=(self.ln_reading - expected) / self.problem.sd,
            outlier=outlier,
            share=parts,
            doubted=doubted,
            scatter=times,
        )


class _Linear:
    """rest = slopes z + noise with z standard normal: its solution and its evidence.

    Parameters
    ----------
    slopes : array, shape (n, q)
    rest, noise : array, shape (n,); what is to be explained, and the variance of its own error
    """

    def __init__(self, slopes: FloatArray, rest: FloatArray, noise: FloatArray) -> None:
        scaled = slopes / noise[:, None]
        normal = np.eye(slopes.shape[1]) + slopes.T @ scaled
        lower = np.linalg.cholesky(normal)
        self._half = np.linalg.solve(lower, scaled.T)
        self._rest, self._noise = rest, noise
        seen = self._half @ rest
        self._lower, self._seen = lower, seen
        square = float(rest @ (rest / noise) - seen @ seen)
        determinant = float(np.log(noise).sum() + 2 * np.log(np.diagonal(lower)).sum())
        self.evidence = -0.5 * (square + determinant)

    @property
    def inner(self) -> FloatArray:
        """Posterior mean of z."""
        return np.asarray(np.linalg.solve(self._lower.T, self._seen))

    @property
    def inner_covariance(self) -> FloatArray:
        """Posterior covariance of z."""
        half = np.linalg.solve(self._lower, np.eye(len(self._lower)))
        return np.asarray(half.T @ half)

    @property
    def diagonal(self) -> FloatArray:
        """Diagonal of the inverse of the covariance of ``rest``, (n,)."""
        return np.asarray(1 / self._noise - (self._half**2).sum(axis=0))

    @property
    def solved(self) -> FloatArray:
        """That inverse times ``rest``, (n,)."""
        return np.asarray(self._rest / self._noise - self._half.T @ self._seen)

    def forms(self, pushes: FloatArray) -> tuple[FloatArray, FloatArray]:
        """push' A^-1 push and push' A^-1 rest of each column of pushes (n, m), each (m,)."""
        half = self._half @ pushes
        square = (pushes * pushes / self._noise[:, None]).sum(axis=0) - (half * half).sum(axis=0)
        return square, np.asarray(pushes.T @ self.solved)


def _ln_below(mean: float, sd: float) -> float:
    """ln of the chance that a normal number is below 0."""
    return math.log(max(0.5 * math.erfc(mean / (sd * math.sqrt(2))), 1e-300))
