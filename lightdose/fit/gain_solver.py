"""Robust weighted least squares with priors: from readings to gains, beams, open sky and the rest.

The light field is computed at a few beam widths (one pass: lobes share their rays), two other heights and a
few waters; between them the logarithm of the response is interpolated. The three act as factors on one
another, which is exact for one at a time and good to a percent or two for small heights and weak yellowing.

The model of one reading, in logarithms: the sum over channels of output x gain x response, times the open sky
of its site, times what running together costs, times the errors that all readings of a meter share. Gains are
a factor common to a fixture times one of each channel, so that what no reading tells apart moves together.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from lightdose.model.fixture import Beam, CosineLobe, Fixture, Programme
from lightdose.model.record import FloatArray, dataclass
from lightdose.physics.emission import cosine_exponent


class NodeSpline:
    """The twice smooth curve through nodes whose third derivative is smooth at the first and last inner node.

    Parameters
    ----------
    nodes : n >= 4 rising numbers
    values : array, shape (n, ...)

    Source
    ------
    Cubic spline with "not-a-knot" ends: de Boor, A Practical Guide to Splines (from memory).
    """

    def __init__(
        self, nodes: Sequence[float] | FloatArray, values: Sequence[FloatArray] | FloatArray
    ) -> None:
        self.nodes = np.asarray(nodes, dtype=np.float64)
        self.values = np.asarray(values, dtype=np.float64)
        width = np.diff(self.nodes)
        rise = np.diff(self.values, axis=0) / width.reshape(-1, *[1] * (self.values.ndim - 1))
        count = self.nodes.size
        left = np.zeros((count, count))
        right = np.zeros_like(self.values)
        left[0, :3] = width[1], -(width[0] + width[1]), width[0]
        left[-1, -3:] = width[-1], -(width[-2] + width[-1]), width[-2]
        for n in range(1, count - 1):
            left[n, n - 1 : n + 2] = width[n - 1], 2 * (width[n - 1] + width[n]), width[n]
            right[n] = 6 * (rise[n] - rise[n - 1])
        flat = right.reshape(count, -1)
        self.bend = np.linalg.solve(left, flat).reshape(self.values.shape)

    def __call__(self, at: float, derivative: int = 0) -> FloatArray:
        """The value at one place, or its first derivative; beyond the nodes the end pieces go on."""
        n = int(np.clip(np.searchsorted(self.nodes, at, side="right") - 1, 0, self.nodes.size - 2))
        width = self.nodes[n + 1] - self.nodes[n]
        before, after = (self.nodes[n + 1] - at) / width, (at - self.nodes[n]) / width
        low, high, low_bend, high_bend = self.values[n], self.values[n + 1], self.bend[n], self.bend[n + 1]
        if derivative:
            return np.asarray(
                (high - low) / width
                + width / 6 * ((3 * after**2 - 1) * high_bend - (3 * before**2 - 1) * low_bend)
            )
        return np.asarray(
            before * low
            + after * high
            + width**2 / 6 * ((before**3 - before) * low_bend + (after**3 - after) * high_bend)
        )


NARROWEST_DEG, WIDEST_DEG = 16.0, 170.0
"""Beam widths that a fit may reach: our choice, from narrow lenses to beyond a bare LED. One that is stated
narrower or wider stays as narrow or as wide."""

LEAST_RANGE, SPREAD_RANGE = 0.99, 0.8
"""Where the narrowest channel leaves less than this between the widths of the widest, that one may still
narrow so far: our choice, so that the splines have a range."""

BEAM_NODES = 15
HEIGHT_STEP_M = 0.02
YELLOWING_NODES_PER_M = (0.0, 0.1, 0.3, 1.0, 3.0)
LEAST_RESPONSE = 1e-30
"""Keeps the logarithm finite where a lobe sends nothing."""

FieldAt = Callable[[Sequence[Fixture], float | None], FloatArray]
"""Response (n_reading, n_channel) of fixtures under a yellowing [m-1], or the setup's own for None."""


@dataclass(frozen=True, eq=False)
class ResponseShape:
    """Logarithm of the response of each reading to each channel, and its slopes.

    Attributes
    ----------
    base : array, shape (n, n_channel); as the setup states it
    channels_of : indices of the channels of each fixture whose beam is fitted
    beam_splines : for each of them, ln response (n, own channels) against ln beam factor
    beam_limits : lowest and highest ln beam factor of each
    height_channels, height_curves : channels of the fixtures whose height is fitted, and (rise, bend) against
        the shift in metres, each of shape (n, own channels)
    yellowing_spline : ln response against yellowing, or None
    """

    base: FloatArray
    channels_of: tuple[FloatArray, ...]
    beam_splines: tuple[NodeSpline, ...]
    beam_limits: tuple[tuple[float, float], ...]
    height_channels: tuple[FloatArray, ...] = ()
    height_curves: tuple[tuple[FloatArray, FloatArray], ...] = ()
    yellowing_spline: NodeSpline | None = None

    def at(
        self, beam: FloatArray, height_m: FloatArray, yellowing: float
    ) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
        """ln response (n, c) and its slopes with beam, height and yellowing, each (n, c)."""
        ln = self.base.copy()
        by_beam, by_height, by_yellowing = (np.zeros_like(ln) for _ in range(3))
        for value, channels, spline in zip(beam, self.channels_of, self.beam_splines, strict=True):
            ln[:, channels] += spline(value)
            by_beam[:, channels] = spline(value, 1)
        for shift, channels, (rise, bend) in zip(
            height_m, self.height_channels, self.height_curves, strict=True
        ):
            ln[:, channels] += rise * shift + bend * shift**2
            by_height[:, channels] = rise + 2 * bend * shift
        if self.yellowing_spline is not None:
            ln += self.yellowing_spline(yellowing)
            by_yellowing = self.yellowing_spline(yellowing, 1)
        return ln, by_beam, by_height, by_yellowing


def response_shape(
    fixtures: Sequence[Fixture],
    field_at: FieldAt,
    *,
    with_beam: Sequence[int],
    with_height: Sequence[int] = (),
    with_yellowing: bool = False,
) -> ResponseShape:
    """Evaluate the light field where the fit may go.

    Parameters
    ----------
    fixtures : the lit ones
    field_at : response of given fixtures (the channels may be repeated with other lobes) and yellowing
    with_beam, with_height : indices of the fixtures whose beam or height is fitted
    with_yellowing : whether yellowing is

    Source
    ------
    Cubic splines through computed nodes; spacing even in the logarithm of the lobe's exponent. Our choice.
    """
    first = np.cumsum([0, *(len(f.type.channels) for f in fixtures)])
    columns = [np.arange(first[i], first[i + 1]) for i in range(len(fixtures))]
    factors = [_beam_factors(fixtures[i]) for i in with_beam]
    base, beams = _beam_splines(fixtures, field_at, columns, list(with_beam), factors)
    curves = _height_curves(fixtures, field_at, base) if with_height else None
    return ResponseShape(
        base,
        tuple(columns[i] for i in with_beam),
        beams,
        tuple((f[0], f[-1]) for f in factors),
        tuple(columns[i] for i in with_height),
        tuple((curves[0][:, columns[i]], curves[1][:, columns[i]]) for i in with_height) if curves else (),
        _yellowing_spline(fixtures, field_at, base) if with_yellowing else None,
    )


def fitted_beam(beam: Beam, ln_factor: float) -> Beam:
    """A lobe with its width times a factor, kept within what a fit may reach.

    Parameters
    ----------
    beam : only cosine lobes change
    ln_factor : natural logarithm of the factor on the full width at half maximum

    Source
    ------
    Our choice: one factor on all cosine lobes of a fixture.
    """
    if not isinstance(beam, CosineLobe):
        return beam
    width = beam.fwhm_deg * math.exp(ln_factor)
    narrowest, widest = min(NARROWEST_DEG, beam.fwhm_deg), max(WIDEST_DEG, beam.fwhm_deg)
    return CosineLobe(min(max(width, narrowest), widest))


def _beam_factors(fixture: Fixture) -> list[float]:
    """ln of the factors at which the beam is computed, rising; 0 lies between, or is the first or last."""
    widths = [c.beam.fwhm_deg for c in fixture.type.channels if isinstance(c.beam, CosineLobe)]
    narrowest, widest = min(widths), max(widths)
    low, high = widest * min(NARROWEST_DEG, narrowest) / narrowest, max(WIDEST_DEG, widest)
    if low > LEAST_RANGE * high:
        low = SPREAD_RANGE * high
    exponents = np.geomspace(cosine_exponent(low), cosine_exponent(high), BEAM_NODES)
    nodes = [2 * math.degrees(math.acos(0.5 ** (1 / m))) for m in exponents]
    return [math.log(w / widest) for w in nodes]


def _ln(response: FloatArray) -> FloatArray:
    return np.asarray(np.log(np.maximum(response, LEAST_RESPONSE)))


def _beam_splines(
    fixtures: Sequence[Fixture],
    field_at: FieldAt,
    columns: Sequence[FloatArray],
    with_beam: list[int],
    factors: Sequence[Sequence[float]],
) -> tuple[FloatArray, tuple[NodeSpline, ...]]:
    """Base response, and for each fitted fixture a spline of ln response over base against ln factor."""
    probes, counts = [], []
    for index, fixture in enumerate(fixtures):
        steps = [0.0, *factors[with_beam.index(index)]] if index in with_beam else [0.0]
        channels = [
            replace(c, name=f"{c.name} {n}", beam=fitted_beam(c.beam, step) if step else c.beam)
            for n, step in enumerate(steps)
            for c in fixture.type.channels
        ]
        kind = replace(fixture.type, channels=tuple(channels))
        probes.append(replace(fixture, type=kind, programme=Programme({})))
        counts.append(len(steps))
    response = _ln(field_at(probes, None))
    parts, start = [], 0
    for count, own in zip(counts, columns, strict=True):
        stop = start + count * own.size
        parts.append(response[:, start:stop].reshape(len(response), count, own.size))
        start = stop
    base = np.concatenate([p[:, 0] for p in parts], axis=1)
    splines = tuple(
        NodeSpline(step, np.moveaxis(parts[i][:, 1:] - parts[i][:, :1], 1, 0))
        for i, step in zip(with_beam, factors, strict=True)
    )
    return base, splines


def _height_curves(
    fixtures: Sequence[Fixture], field_at: FieldAt, base: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Slope and curvature of ln response with height, by a parabola through three heights."""
    step = min(HEIGHT_STEP_M, 0.5 * min(f.height_m for f in fixtures))
    up, down = (
        _ln(field_at([replace(f, height_m=f.height_m + sign * step) for f in fixtures], None)) - base
        for sign in (1, -1)
    )
    return (up - down) / (2 * step), (up + down) / (2 * step**2)


def _yellowing_spline(fixtures: Sequence[Fixture], field_at: FieldAt, base: FloatArray) -> NodeSpline:
    return NodeSpline(
        YELLOWING_NODES_PER_M, [_ln(field_at(fixtures, a)) - base for a in YELLOWING_NODES_PER_M]
    )


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


class Slices(NamedTuple):
    """Where each kind of parameter stands in the vector, in its order."""

    fixture: slice
    channel: slice
    beam: slice
    sky: slice
    common: slice
    together: slice
    height: slice
    yellow: slice
    shared: slice


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

    def slices(self) -> Slices:
        """One slice a kind."""
        ends = np.cumsum([0, *vars(self).values()])
        return Slices(*(slice(int(a), int(b)) for a, b in pairwise(ends)))

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
    at = layout.slices()
    tint = float(value[at.yellow][0]) if layout.yellowings else 0.0
    ln_response, by_beam, by_height, by_yellow = problem.shape.at(value[at.beam], value[at.height], tint)
    gain = value[at.fixture][problem.fixture_of] + value[at.channel] + problem.shared @ value[at.shared]
    with np.errstate(divide="ignore"):
        parts = np.log(problem.output) + ln_response + gain
    own = [problem.fixture_of == f for f in problem.together_fixtures]
    for column, channels in enumerate(own):
        parts[:, channels] += problem.together[:, [column]] * value[at.together][column]
    top = parts.max(axis=1, keepdims=True)
    amount = np.exp(parts - top)
    total = amount.sum(axis=1, keepdims=True)
    share = amount / total
    ln = (top + np.log(total))[:, 0] + problem.fixed_ln
    ln = ln + problem.sky @ value[at.sky] + problem.common @ value[at.common]
    jacobian = np.zeros((len(ln), layout.size))
    belongs = problem.fixture_of[:, None] == np.arange(layout.fixtures)
    jacobian[:, at.fixture] = share @ belongs
    jacobian[:, at.channel] = share
    jacobian[:, at.shared] = share @ problem.shared
    for place, channels in zip(range(at.beam.start, at.beam.stop), problem.shape.channels_of, strict=True):
        jacobian[:, place] = (share * by_beam)[:, channels].sum(axis=1)
    jacobian[:, at.sky], jacobian[:, at.common] = problem.sky, problem.common
    for column, channels in enumerate(own):
        loss = problem.together[:, column] * share[:, channels].sum(axis=1)
        jacobian[:, at.together.start + column] = loss
    heights = range(at.height.start, at.height.stop)
    for place, channels in zip(heights, problem.shape.height_channels, strict=True):
        jacobian[:, place] = (share * by_height)[:, channels].sum(axis=1)
    if layout.yellowings:
        jacobian[:, at.yellow] = (share * by_yellow).sum(axis=1, keepdims=True)
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
    at = problem.layout.slices()
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
        step[at.beam] = np.clip(step[at.beam], -0.3, 0.3)
        moved = value + step
        beams = range(at.beam.start, at.beam.stop)
        for place, (low, high) in zip(beams, problem.shape.beam_limits, strict=True):
            moved[place] = min(max(moved[place], low), high)
        moved[at.yellow] = np.maximum(moved[at.yellow], 0.0)
        done = float(np.max(np.abs(moved - value), initial=0.0)) < 1e-7
        value = moved
        if done:
            break
    return value
