"""Robust weighted least squares with priors: from readings to gains, beams, open sky and the rest.

The model of one reading, in logarithms: the sum over channels of output x gain x response, times the open sky
of its site, times what running together costs, times the errors that all readings of a meter share. Gains are
a factor common to a fixture times one of each channel, so that what no reading tells apart moves together.
"""

from __future__ import annotations

from collections.abc import Callable
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from lightdose.fit.response_shape import ResponseShape
from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass

OUTLIER_SIGMA = 4.0
"""Readings farther off than so many of their standard uncertainties are left out and named: our choice."""

HUBER_START, HUBER_END, TUKEY = 1.5, 2.5, 6.0
PRIOR_RELEASE_SIGMA = 2.5
"""A prior that readings contradict by more gives way as (limit/departure)^2: our choice, so that a channel
that died or a fixture file that is far off does not distort the rest."""

_BoolArray = npt.NDArray[np.bool_]
_IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class GainProblem:
    """Readings, the model's structure, and priors; n readings, c channels, f fixtures.

    Attributes
    ----------
    output : array, shape (n, c); 0-1
    sd : array, shape (n,); independent standard uncertainty of ln reading
    fixture_of : array, shape (c,)
    shape : ln responses at open sky 1
    fixed_ln : array, shape (n,); open sky that is not fitted
    sky : array, shape (n, k); membership of readings in fitted sites
    common : array, shape (n, m); membership in errors shared by many readings
    together : array, shape (n, t); readings in which many channels of a fixture ran together
    together_fixtures : which fixture each column of ``together`` speaks of
    yellowing : whether it is fitted
    shared : array, shape (c, s); membership of channels in gains that fixtures of one kind share
    mean, prior_sd, released : arrays, shape (p,); priors in the order of ``Layout``, and which may give way
    """

    output: FloatArray
    sd: FloatArray
    fixture_of: _IntArray
    shape: ResponseShape
    fixed_ln: FloatArray
    sky: FloatArray
    common: FloatArray
    together: FloatArray
    together_fixtures: tuple[int, ...]
    yellowing: bool
    shared: FloatArray
    mean: FloatArray
    prior_sd: FloatArray
    released: _BoolArray

    @property
    def layout(self) -> Layout:
        """Where each kind of parameter stands in the vector."""
        return Layout(
            int(self.fixture_of.max()) + 1,
            self.fixture_of.size,
            len(self.shape.beam_splines),
            self.sky.shape[1],
            self.common.shape[1],
            self.together.shape[1],
            len(self.shape.height_curves),
            int(self.yellowing),
            self.shared.shape[1],
        )


@dataclass(frozen=True)
class Layout:
    """Counts of parameters by kind, in their order in the vector."""

    fixtures: int
    channels: int
    beams: int
    skies: int
    commons: int
    togethers: int
    heights: int
    yellowings: int
    shareds: int

    def slices(self) -> tuple[slice, ...]:
        """One slice a kind."""
        ends = np.cumsum([0, *vars(self).values()])
        return tuple(slice(int(a), int(b)) for a, b in pairwise(ends))

    @property
    def size(self) -> int:
        """Number of parameters."""
        return sum(vars(self).values())


@dataclass(frozen=True, eq=False)
class Solution:
    """The fitted vector in the order of ``Layout``, its covariance, and each reading's standing.

    ``z`` is the residual over its standard uncertainty; ``share`` (n, c) what each channel contributes.
    """

    value: FloatArray
    covariance: FloatArray
    z: FloatArray
    outlier: _BoolArray
    share: FloatArray


def model_ln(problem: GainProblem, value: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """ln reading that the model expects, its slopes, and the shares of the channels.

    Parameters
    ----------
    problem : GainProblem
    value : array, shape (p,)

    Returns
    -------
    ln, jacobian, share : arrays, shape (n,), (n, p), (n, c)

    Source
    ------
    Superposition of channels; see the head of this module.
    """
    layout = problem.layout
    fixture, channel, beam, sky, common, together, height, yellow, shared = layout.slices()
    tint = float(value[yellow][0]) if layout.yellowings else 0.0
    ln_response, by_beam, by_height, by_yellow = problem.shape.at(value[beam], value[height], tint)
    gain = value[fixture][problem.fixture_of] + value[channel] + problem.shared @ value[shared]
    with np.errstate(divide="ignore"):
        parts = np.log(problem.output) + ln_response + gain
    own = [problem.fixture_of == f for f in problem.together_fixtures]
    for column, channels in enumerate(own):
        parts[:, channels] += problem.together[:, [column]] * value[together][column]
    top = parts.max(axis=1, keepdims=True)
    amount = np.exp(parts - top)
    total = amount.sum(axis=1, keepdims=True)
    share = amount / total
    ln = (top + np.log(total))[:, 0] + problem.fixed_ln
    ln = ln + problem.sky @ value[sky] + problem.common @ value[common]
    jacobian = np.zeros((len(ln), layout.size))
    belongs = problem.fixture_of[:, None] == np.arange(layout.fixtures)
    jacobian[:, fixture] = share @ belongs
    jacobian[:, channel] = share
    jacobian[:, shared] = share @ problem.shared
    for place, channels in zip(range(beam.start, beam.stop), problem.shape.channels_of, strict=True):
        jacobian[:, place] = (share * by_beam)[:, channels].sum(axis=1)
    jacobian[:, sky], jacobian[:, common] = problem.sky, problem.common
    for column, channels in enumerate(own):
        jacobian[:, together.start + column] = problem.together[:, column] * share[:, channels].sum(axis=1)
    for place, channels in zip(range(height.start, height.stop), problem.shape.height_channels, strict=True):
        jacobian[:, place] = (share * by_height)[:, channels].sum(axis=1)
    if layout.yellowings:
        jacobian[:, yellow] = (share * by_yellow).sum(axis=1, keepdims=True)
    return ln, jacobian, share


def solve(problem: GainProblem, ln_reading: FloatArray) -> Solution:
    """The parameters that readings and priors agree on best.

    Gauss-Newton in four stages: plain least squares with loose priors, so that readings win over a fixture
    file that is far off; Huber's weights; Tukey's; and least squares without the outliers, where readings
    between 2.5 and 4 standard uncertainties off keep Huber's weight. The covariance is that of the last
    stage, widened where the scatter is larger than the stated uncertainty can make it by chance.

    Parameters
    ----------
    problem : GainProblem
    ln_reading : array, shape (n,)

    Returns
    -------
    Solution

    Source
    ------
    Huber 1964, Ann. Math. Statist. 35:73; Beaton & Tukey 1974, Technometrics 16:147 (both from memory).
    Widening after Birge 1932 (from memory).
    """
    value = problem.mean.copy()
    value = _descend(problem, ln_reading, value, lambda z: np.ones_like(z), loose=True)
    value = _descend(problem, ln_reading, value, lambda z: huber(z, HUBER_START))
    value = _descend(problem, ln_reading, value, tukey)
    expected, _, _ = model_ln(problem, value)
    outlier = np.abs((ln_reading - expected) / problem.sd) > OUTLIER_SIGMA
    value = _descend(problem, ln_reading, value, lambda z: np.where(outlier, 0.0, huber(z, HUBER_END)))
    expected, jacobian, share = model_ln(problem, value)
    z = (ln_reading - expected) / problem.sd
    outlier = np.abs(z) > OUTLIER_SIGMA
    weight = np.where(outlier, 0.0, huber(z, HUBER_END))
    information = _information(jacobian, weight / problem.sd**2)
    covariance = np.linalg.inv(information + np.diag(_prior_weight(problem, value)))
    freedom = max(1.0, float(weight.sum() - np.sum(covariance * information)))
    scatter = float(weight @ z**2) / freedom
    if scatter > 1 + 2 * np.sqrt(2 / freedom):
        covariance = covariance * scatter
    return Solution(value, np.asarray(covariance, dtype=np.float64), z, outlier, share)


def huber(z: FloatArray, limit: float) -> FloatArray:
    """Weights that fall as 1/|z| beyond a limit.

    Parameters
    ----------
    z : array; residual over its standard uncertainty
    limit : where they begin to fall

    Returns
    -------
    array of the same shape, 0-1

    Source
    ------
    Huber 1964, Ann. Math. Statist. 35:73 (from memory).
    """
    return np.minimum(1.0, limit / np.maximum(np.abs(z), 1e-12))


def tukey(z: FloatArray) -> FloatArray:
    """Weights that fall to 0 at ``TUKEY`` standard uncertainties.

    Parameters
    ----------
    z : array; residual over its standard uncertainty

    Returns
    -------
    array of the same shape, 0-1

    Source
    ------
    Bisquare of Beaton & Tukey 1974, Technometrics 16:147 (from memory); the limit is our choice.
    """
    return np.clip(1 - (z / TUKEY) ** 2, 0.0, None) ** 2


def _information(jacobian: FloatArray, weight: FloatArray) -> FloatArray:
    return np.asarray(jacobian.T @ (jacobian * weight[:, None]))


def _prior_weight(problem: GainProblem, value: FloatArray) -> FloatArray:
    """1/variance of each prior, less where it gives way."""
    departure = np.abs(value - problem.mean) / problem.prior_sd
    release = np.minimum(1.0, PRIOR_RELEASE_SIGMA / np.maximum(departure, 1e-12)) ** 2
    return np.where(problem.released, release, 1.0) / problem.prior_sd**2


def _descend(
    problem: GainProblem,
    ln_reading: FloatArray,
    value: FloatArray,
    weight_of: Callable[[FloatArray], FloatArray],
    *,
    loose: bool = False,
) -> FloatArray:
    """Gauss-Newton with reweighting until the step is small."""
    _, _, beam, _, _, _, _, yellow, _ = problem.layout.slices()
    for _ in range(30):
        expected, jacobian, _ = model_ln(problem, value)
        residual = ln_reading - expected
        weight = weight_of(residual / problem.sd) / problem.sd**2
        prior = _prior_weight(problem, value)
        if loose:
            prior = np.where(problem.released, 0.05 / problem.prior_sd**2, prior)
        left = _information(jacobian, weight) + np.diag(prior)
        right = jacobian.T @ (weight * residual) + prior * (problem.mean - value)
        step = np.clip(np.linalg.solve(left, right), -2.0, 2.0)
        step[beam] = np.clip(step[beam], -0.3, 0.3)
        moved = value + step
        for place, (low, high) in zip(range(beam.start, beam.stop), problem.shape.beam_limits, strict=True):
            moved[place] = min(max(moved[place], low), high)
        moved[yellow] = np.maximum(moved[yellow], 0.0)
        done = float(np.max(np.abs(moved - value), initial=0.0)) < 1e-7
        value = moved
        if done:
            break
    return value
