"""The day of a programme whose dimming curves are not quite as stated.

The error of a channel's output is a tent over its level: largest at mid level, 0 at both ends, linear
between. A tent is the difference of two dimming curves, so days stay exact.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import DimmingCurve, Fixture
from lightdose.model.record import dataclass
from lightdose.physics.day_curve import day_curve, day_points, full_output_hours

_FILLS = DimmingCurve(np.array([0.0, 0.5, 1.0]), np.array([0.0, 1.0, 1.0]))
_WAITS = DimmingCurve(np.array([0.0, 0.5, 1.0]), np.array([0.0, 0.0, 1.0]))
"""The tent is the first less the second."""

PEAK_TRIALS = 64
PEAK_SPREAD = 0.5
"""Times that may hold the peak are found at so many places, under mixes with each channel within +- 50 %."""


@dataclass(frozen=True, eq=False)
class UncertainDay:
    """Integrals and brightest moments of a day, as stated and per unit error at mid level.

    Attributes
    ----------
    stated_h, tent_h : array, shape (n_channel,); integral of output, and of the tent. [h]
    peak_output, peak_tent : array, shape (n_moment, n_channel); at the times that may hold the peak
    fixture_of : index of the fixture of each channel
    """

    stated_h: FloatArray
    tent_h: FloatArray
    peak_output: FloatArray
    peak_tent: FloatArray
    fixture_of: tuple[int, ...]

    def hours(self, dimming: FloatArray) -> FloatArray:
        """Drawn integrals of output, shape (n_channel, n_draw); ``dimming`` has (n_draw, n_fixture). [h]"""
        shift = dimming.T[list(self.fixture_of)]
        hours = self.stated_h[:, None] + self.tent_h[:, None] * shift
        return np.asarray(np.maximum(hours, 0.0))

    def peaks(self, response: FloatArray, dimming: FloatArray) -> FloatArray:
        """Drawn peaks, shape (n_receiver, n_draw), of responses (n_receiver, n_channel, n_draw)."""
        best = np.zeros((response.shape[0], response.shape[2]))
        shift = dimming.T[list(self.fixture_of)]
        for output, tent in zip(self.peak_output, self.peak_tent, strict=True):
            drawn = np.maximum(output[:, None] + tent[:, None] * shift, 0.0)
            np.maximum(best, np.einsum("rck,ck->rk", response, drawn), out=best)
        return best


def uncertain_day(fixtures: Sequence[Fixture], response: FloatArray) -> UncertainDay:
    """The day of all channels and how it changes with an error at mid level.

    Parameters
    ----------
    fixtures : sequence of Fixture
        The lit ones.
    response : array, shape (n_place, n_channel)
        PPFD at full output, to find the times that may hold the peak. [umol m-2 s-1]

    Returns
    -------
    UncertainDay

    Source
    ------
    The tent is our choice: drivers are set at both ends and worst between.
    """
    count = sum(len(f.type.channels) for f in fixtures)
    shadows = [_dimmed(f, curve) for curve in (_FILLS, _WAITS) for f in fixtures]
    curve = day_curve([*fixtures, *shadows])
    hours = full_output_hours(curve)
    output = day_points(curve)[1]
    stated = output[:, :count]
    tent = output[:, count : 2 * count] - output[:, 2 * count :]
    moments = _moments(stated, response)
    return UncertainDay(
        hours[:count],
        hours[count : 2 * count] - hours[2 * count :],
        stated[moments],
        tent[moments],
        tuple(i for i, f in enumerate(fixtures) for _ in f.type.channels),
    )


def _dimmed(fixture: Fixture, dimming: DimmingCurve) -> Fixture:
    channels = tuple(replace(c, dimming=dimming) for c in fixture.type.channels)
    return replace(fixture, type=replace(fixture.type, channels=channels))


def _moments(output: FloatArray, response: FloatArray) -> list[int]:
    """Points of the day that hold the peak of some place under some mix of the channels."""
    places = response[np.linspace(0, len(response) - 1, min(len(response), PEAK_TRIALS)).astype(int)]
    if not places.size:
        return []
    rng = np.random.default_rng(1)
    mixes = np.concatenate(
        [places, *(places * rng.uniform(1 - PEAK_SPREAD, 1 + PEAK_SPREAD, places.shape) for _ in range(4))]
    )
    # Of equal moments the first stands for all: a plateau is one moment.
    distinct, first = np.unique(output, axis=0, return_index=True)
    day = mixes @ distinct.T
    return sorted({int(first[i]) for i in np.argmax(day, axis=1)})
