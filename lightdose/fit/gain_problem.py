"""The model of a reading and what is known before: which numbers are unknown, and what may be otherwise.

In logarithms a reading is the sum over channels of output x gain x response, times the open sky of its place,
times what running together costs, times errors that many readings share. Gains are a factor common to a
fixture times one of each channel, so that what no reading tells apart moves together.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise
from typing import NamedTuple

import numpy as np
import numpy.typing as npt

from lightdose.fit.response_shape import ResponseShape
from lightdose.model.calibration import DoubtKind
from lightdose.model.record import FloatArray, dataclass

_IntArray = npt.NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Doubt:
    """One thing that may be otherwise than it was stated: a normal error on top of what is expected.

    Attributes
    ----------
    kind, what : what it is, and its name: a site, "fixture", "fixture/channel", a meter; empty for a reading
    odds : of being so, beforehand
    shift, sd : mean and standard uncertainty of the error, natural logarithm
    direction : array, shape (p,), the parameters it moves; None for an error of one reading
    reading, channel : index of the one reading or the one channel that it is about, or -1
    below_zero : a parameter that stays at 0 or below while this holds, the ln of an open sky; or None
    """

    kind: DoubtKind
    what: str
    odds: float
    shift: float
    sd: float
    direction: FloatArray | None = None
    reading: int = -1
    channel: int = -1
    below_zero: int | None = None


@dataclass(frozen=True, eq=False)
class GainProblem:
    """Readings, the model's structure, and priors; n readings, c channels, p parameters.

    Attributes
    ----------
    output : array, shape (n, c); 0-1
    sd : array, shape (n,); independent standard uncertainty of ln reading
    fixture_of : array, shape (c,)
    shape : ln responses at open sky 1
    fixed_ln : array, shape (n,); open sky that is not fitted
    sky : array, shape (n, k); membership of readings in fitted sites
    common : array, shape (n, m); membership in errors shared by many readings
    tilt : array, shape (t, n, c); how errors of meters and drivers act on each channel of each reading
    together : array, shape (n, g); readings in which many channels of a fixture ran together
    together_fixtures : which fixture each column of ``together`` speaks of
    yellowing : whether it is fitted
    mean, prior : arrays, shape (p,) and (p, p); what is known before, in the order of ``Layout``
    doubts : what may be otherwise
    """

    output: FloatArray
    sd: FloatArray
    fixture_of: _IntArray
    shape: ResponseShape
    fixed_ln: FloatArray
    sky: FloatArray
    common: FloatArray
    tilt: FloatArray
    together: FloatArray
    together_fixtures: tuple[int, ...]
    yellowing: bool
    mean: FloatArray
    prior: FloatArray
    doubts: tuple[Doubt, ...] = ()

    @property
    def layout(self) -> Layout:
        """Where each kind of parameter stands in the vector."""
        return Layout(
            int(self.fixture_of.max()) + 1,
            self.fixture_of.size,
            len(self.shape.beam_splines),
            self.sky.shape[1],
            self.common.shape[1],
            len(self.tilt),
            self.together.shape[1],
            len(self.shape.height_curves),
            int(self.yellowing),
        )

    def parameters_of(self, readings: Sequence[int]) -> _IntArray:
        """Indices of the parameters that some readings could tell of: all but the skies of other places."""
        own = np.ones(self.layout.size, dtype=bool)
        own[self.layout.slices().sky] = self.sky[list(readings)].any(axis=0)
        return np.flatnonzero(own)

    def among(self, readings: Sequence[int]) -> GainProblem:
        """The problem of some readings alone, in the parameters ``parameters_of`` them."""
        kept, own = list(readings), self.parameters_of(readings)
        place = {reading: n for n, reading in enumerate(kept)}
        index = {int(parameter): n for n, parameter in enumerate(own)}
        doubts = []
        for doubt in self.doubts:
            if doubt.direction is None:
                if doubt.reading in place:
                    doubts.append(replace(doubt, reading=place[doubt.reading]))
            elif np.any(doubt.direction[own]):
                below = None if doubt.below_zero is None else index[doubt.below_zero]
                doubts.append(replace(doubt, direction=doubt.direction[own], below_zero=below))
        sky = self.sky[kept]
        return replace(
            self,
            output=self.output[kept],
            sd=self.sd[kept],
            shape=self.shape.among(kept),
            fixed_ln=self.fixed_ln[kept],
            sky=sky[:, sky.any(axis=0)],
            common=self.common[kept],
            tilt=self.tilt[:, kept],
            together=self.together[kept],
            mean=self.mean[own],
            prior=self.prior[np.ix_(own, own)],
            doubts=tuple(doubts),
        )


class Slices(NamedTuple):
    """Where each kind of parameter stands in the vector, in its order."""

    fixture: slice
    channel: slice
    beam: slice
    sky: slice
    common: slice
    tilt: slice
    together: slice
    height: slice
    yellow: slice


@dataclass(frozen=True)
class Layout:
    """Counts of parameters by kind, in their order in the vector."""

    fixtures: int
    channels: int
    beams: int
    skies: int
    commons: int
    tilts: int
    togethers: int
    heights: int
    yellowings: int

    def slices(self) -> Slices:
        """One slice a kind."""
        ends = np.cumsum([0, *vars(self).values()])
        return Slices(*(slice(int(a), int(b)) for a, b in pairwise(ends)))

    @property
    def size(self) -> int:
        """Number of parameters."""
        return sum(vars(self).values())


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
    gain = value[at.fixture][problem.fixture_of] + value[at.channel]
    with np.errstate(divide="ignore"):
        parts = np.log(problem.output) + ln_response + gain
    parts += np.tensordot(value[at.tilt], problem.tilt, axes=1)
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
    for place, channels in zip(range(at.beam.start, at.beam.stop), problem.shape.channels_of, strict=True):
        jacobian[:, place] = (share * by_beam)[:, channels].sum(axis=1)
    jacobian[:, at.sky], jacobian[:, at.common] = problem.sky, problem.common
    jacobian[:, at.tilt] = np.einsum("nc,tnc->nt", share, problem.tilt)
    for column, channels in enumerate(own):
        loss = problem.together[:, column] * share[:, channels].sum(axis=1)
        jacobian[:, at.together.start + column] = loss
    heights = range(at.height.start, at.height.stop)
    for place, channels in zip(heights, problem.shape.height_channels, strict=True):
        jacobian[:, place] = (share * by_height)[:, channels].sum(axis=1)
    if layout.yellowings:
        jacobian[:, at.yellow] = (share * by_yellow).sum(axis=1, keepdims=True)
    return ln, jacobian, share
