"""The light of a tank as it is believed: seeded draws of everything that is not known exactly.

The error of a channel's output is a tent over its level (``physics.dimming_error``), the difference of two
dimming curves, so days stay exact.

The light field is computed at moved places and changed heights, beams and waters; each draw takes one of the
moved places and interpolates the rest in the logarithm. Doses and peaks follow from the drawn response and
the drawn dimming, exactly as the stated ones do.

Everything that has a name has random numbers of its own, so that no result hangs on the order of corals,
fixtures or channels, and a changed programme or a moved coral is judged by the same draws as before.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from functools import lru_cache
from typing import TYPE_CHECKING, Final, Protocol
from weakref import WeakKeyDictionary

import numpy as np
import numpy.typing as npt

from lightdose.judge.uncertain_inputs import Draws, UncertainInputs, draw_inputs, sky_spread_ln, stream
from lightdose.model.fixture import DimmingCurve, Fixture
from lightdose.model.record import FloatArray, dataclass, quantiles
from lightdose.model.setup import Receiver
from lightdose.physics.day_curve import day_curve, day_points, programme_hours
from lightdose.physics.dimming_error import tent_hours, tent_of
from lightdose.physics.field_changes import FieldChanges, FixtureSteps, field_changes, joined_changes
from lightdose.physics.light_field import PreparedField, normals_of
from lightdose.quantities import MOL_PER_UMOL_S_H

if TYPE_CHECKING:
    from lightdose.physics.lit_tank import LitTank

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

    Source
    ------
    See ``physics.dimming_error``.
    """
    stated, tent = _points_of_day(tuple(fixtures))
    moments = _moments(stated, response)
    return UncertainDay(
        programme_hours(fixtures),
        tent_hours(fixtures),
        stated[moments],
        tent[moments],
        tuple(i for i, f in enumerate(fixtures) for _ in f.type.channels),
    )


@lru_cache(maxsize=2)
def _points_of_day(fixtures: tuple[Fixture, ...]) -> tuple[FloatArray, FloatArray]:
    """Outputs at the points of the day, and per unit error at mid level, both (n_point, n_channel)."""
    tents = [tent_of(f, c.name) for f in fixtures for c in f.type.channels]
    count, high = len(tents), np.array([float(tent.max()) for _, tent in tents])
    fills = [DimmingCurve(level, np.minimum(np.arange(level.size), 1.0)) for level, _ in tents]
    waits = [DimmingCurve(f.level, f.output - t / h) for f, (_, t), h in zip(fills, tents, high, strict=True)]
    curve = day_curve([*fixtures, *_dimmed(fixtures, fills), *_dimmed(fixtures, waits)])
    output = day_points(curve)[1]
    stated = output[:, :count]
    tent = (output[:, count : 2 * count] - output[:, 2 * count :]) * high
    return stated, tent


def _dimmed(fixtures: Sequence[Fixture], dimming: Sequence[DimmingCurve]) -> list[Fixture]:
    """The fixtures with these curves, channel by channel."""
    curves, dimmed = iter(dimming), []
    for fixture in fixtures:
        channels = tuple(replace(c, dimming=next(curves)) for c in fixture.type.channels)
        dimmed.append(replace(fixture, type=replace(fixture.type, channels=channels)))
    return dimmed


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


DRAWS = 4_000
SEED = 1
COVERED = (0.025, 0.975)
"""Ends of the intervals: 95 %."""

LARGEST_LN_CHANGE = 20.0
"""What height, beam and yellowing do together is held within this: beyond it nothing is known. Our choice."""

OFFSET_SD = math.sqrt(3.0)
OFFSET_SHARES = (1 / 6, 5 / 6)
"""A place is drawn at -d, 0 or +d on each axis with 1/6, 2/3, 1/6; d = sqrt 3 standard uncertainties has the
first five moments of a normal distribution (Gauss-Hermite, three points)."""

VALUES_AT_ONCE = 100_000
"""Draws x channels x places in one block: what fits the cache of one core, by measurement."""


def draw_doses(
    inputs: UncertainInputs,
    ready: PreparedField,
    receivers: Sequence[Receiver],
    see: Callable[[int, FloatArray, FloatArray], None] = lambda *_: None,
    *,
    draws: int = DRAWS,
    seed: int = SEED,
) -> tuple[FloatArray, FloatArray]:
    """Draw doses and peaks of every place.

    Parameters
    ----------
    inputs : UncertainInputs
    ready : PreparedField
        With the weighting "ppfd".
    receivers : sequence of Receiver
    see : callable
        Gets the index of each receiver, its drawn doses, shape (n_draw,), and its drawn PPFD of every channel
        at full output, shape (n_channel, n_draw), once; they are not kept.
    draws, seed : int

    Returns
    -------
    dli, peak : array, shape (n_receiver, 2)
        95 % intervals. [mol m-2 d-1, umol m-2 s-1]

    Source
    ------
    Monte Carlo propagation of distributions, JCGM 101:2008.
    """
    common = draw_inputs(inputs, draws, seed)
    points = np.array([(r.x_m, r.y_m, r.depth_m) for r in receivers], dtype=np.float64).reshape(-1, 3)
    normals = normals_of(receivers)
    parts = [
        (some, _changes(field, points[some], None if normals is None else normals[some], inputs))
        for field, some in ready.only("ppfd").by_sky(receivers)
    ]
    changes = parts[0][1] if len(parts) == 1 else joined_changes(parts)
    day = uncertain_day(ready.scene.fixtures, changes.stated)
    bases = _bases(inputs, common)
    dli, peak = np.zeros((len(receivers), 2)), np.zeros((len(receivers), 2))
    hours, gain = day.hours(common.dimming), np.ascontiguousarray(common.gain.T)
    for block in _blocks(receivers, draws * max(1, len(hours))):
        place = _PlaceDraws.of(inputs, common, [receivers[i] for i in block], draws, seed)
        response = _drawn_response(changes, block, bases, place, gain)
        doses = MOL_PER_UMOL_S_H * np.einsum("rck,ck->rk", response, hours)
        dli[block] = _interval(doses)
        peak[block] = _interval(day.peaks(response, common.dimming))
        for row, receiver in enumerate(block):
            see(receiver, doses[row], response[row])
    return dli, peak


_Asked = tuple[bytes, bytes, bytes, float, tuple[FixtureSteps, ...], tuple[float, float]]
_LAST: Final[WeakKeyDictionary[LitTank, dict[_Asked, FieldChanges]]] = WeakKeyDictionary()
"""What was found last under lamps that are still in use: other programmes under them change nothing of it."""
_KEPT_AT_MOST = 2
"""All places of a tank, and those that advice looks at between two programmes."""


def _changes(
    ready: PreparedField, points_m: FloatArray, normals: FloatArray | None, inputs: UncertainInputs
) -> FieldChanges:
    """``field_changes`` of places; not computed again for other programmes of the same lamps."""
    steps = tuple(s.steps for s in inputs.fixtures)
    asked = (
        points_m.tobytes(),
        b"" if normals is None else normals.tobytes(),
        ready.emission.tobytes() + ready.absorption_per_m.tobytes(),
        OFFSET_SD * inputs.position_m,
        steps,
        inputs.yellowing_steps_per_m,
    )
    kept = _LAST.setdefault(ready.lit, {})
    found = kept.pop(asked, None)
    if found is None:
        found = field_changes(ready, points_m, asked[3], steps, asked[5], normals)
    kept[asked] = found
    if len(kept) > _KEPT_AT_MOST:
        del kept[next(iter(kept))]
    return found


class Draw(Protocol):
    """``draw_doses``, or what stands for it because it remembers what was drawn."""

    def __call__(
        self,
        inputs: UncertainInputs,
        ready: PreparedField,
        receivers: Sequence[Receiver],
        see: Callable[[int, FloatArray, FloatArray], None] = ...,
        *,
        draws: int = ...,
        seed: int = ...,
    ) -> tuple[FloatArray, FloatArray]:
        """As ``draw_doses``."""


def _interval(values: FloatArray) -> FloatArray:
    """2.5 and 97.5 percentiles along the draws; shape (n_place, n_draw) to (n_place, 2)."""
    return quantiles(values, COVERED)


def _blocks(receivers: Sequence[Receiver], values_each: int) -> Iterator[list[int]]:
    """Receivers in blocks, all of one site together: a site's position is drawn once."""
    by_site: dict[str, list[int]] = {}
    for index, receiver in enumerate(receivers):
        by_site.setdefault(receiver.site, []).append(index)
    most = max(1, VALUES_AT_ONCE // values_each)
    block: list[int] = []
    for members in by_site.values():
        if block and len(block) + len(members) > most:
            yield block
            block = []
        block = block + members
    if block:
        yield block


@dataclass(frozen=True, eq=False)
class _PlaceDraws:
    """Draws of a block of receivers: index of the offset, and a factor; both (n_receiver, n_draw)."""

    offset: npt.NDArray[np.intp]
    factor: FloatArray

    @classmethod
    def of(
        cls,
        inputs: UncertainInputs,
        common: Draws,
        receivers: Sequence[Receiver],
        draws: int,
        seed: int,
    ) -> _PlaceDraws:
        low, high = OFFSET_SHARES
        rows: dict[str, int] = {}
        of = [rows.setdefault(receiver.site, len(rows)) for receiver in receivers]
        axis, sky = np.empty((3, len(rows), draws), dtype=np.float32), np.empty((len(rows), draws))
        for site, at in rows.items():
            own = stream(seed, "place", site)
            axis[:, at] = own.random((3, draws), dtype=np.float32)
            own.standard_normal(out=sky[at])
        step = (axis > low).astype(np.intp) + (axis > high)
        factor = np.empty((len(receivers), draws))
        for row, receiver in zip(factor, receivers, strict=True):
            stream(seed, "model", receiver.coral or receiver.site).standard_normal(out=row)
        factor *= math.log1p(inputs.values["model_fraction"])
        np.exp(factor, out=factor)
        for row, receiver, at in zip(factor, receivers, of, strict=True):
            row *= _open_sky(inputs, common, receiver, sky[at])
        return cls(((3 * step[0] + step[1]) * 3 + step[2])[of], factor)


def _open_sky(
    inputs: UncertainInputs, common: Draws, receiver: Receiver, z: FloatArray
) -> FloatArray | float:
    """Draws of a receiver's open sky, 0-1; one that is wholly open is known, a word has its own range."""
    measured = common.ln_sky.get(receiver.site)
    if measured is not None:
        return np.asarray(np.minimum(receiver.open_sky * np.exp(measured), 1.0))
    if receiver.open_sky >= 1:
        return receiver.open_sky
    if receiver.sky_words and "open_sky" not in inputs.own:
        below, above = sky_spread_ln(receiver.sky_words)
        return np.minimum(receiver.open_sky * np.exp(np.where(z < 0, below, above) * z), 1.0)
    return np.clip(receiver.open_sky + inputs.values["open_sky"] * z, 0.0, 1.0)


@dataclass(frozen=True, eq=False)
class _Bases:
    """What multiplies the ln changes of each fixture: shape (2, n_draw) for height, beam and yellowing."""

    height: tuple[FloatArray, ...]
    beam: tuple[FloatArray, ...]
    yellowing: FloatArray
    channels: tuple[slice, ...]


def _bases(inputs: UncertainInputs, common: Draws) -> _Bases:
    heights, beams, channels, first = [], [], [], 0
    for i, spread in enumerate(inputs.fixtures):
        steps = spread.steps
        low, high = (h - spread.fixture.height_m for h in steps.height_m)
        heights.append(_parabola(common.height_m[:, i] - spread.fixture.height_m, low, high))
        beams.append(_parabola(common.ln_beam[:, i], *steps.ln_beam))
        count = len(spread.fixture.type.channels)
        channels.append(slice(first, first + count))
        first += count
    yellowing = _parabola(common.added_yellowing_per_m, *inputs.yellowing_steps_per_m)
    return _Bases(tuple(heights), tuple(beams), yellowing, tuple(channels))


def _parabola(value: FloatArray, one: float, other: float) -> FloatArray:
    """Weights of two nodes in the parabola through 0 at 0; linear where only one node is off 0."""
    out = np.zeros((2, value.size))
    if one == 0 or other == 0 or one == other:
        for row, node in enumerate((one, other)):
            if node != 0:
                out[row] = value / node
                break
        return out
    out[0] = value * (value - other) / (one * (one - other))
    out[1] = value * (value - one) / (other * (other - one))
    return out


def _drawn_response(
    changes: FieldChanges, block: list[int], bases: _Bases, place: _PlaceDraws, gain: FloatArray
) -> FloatArray:
    """PPFD of every channel at full output in every draw, shape (n_receiver, n_channel, n_draw)."""
    shape = (len(block), *gain.shape)
    response = np.empty(shape)
    for row, receiver in enumerate(block):
        np.take(changes.moved[receiver], place.offset[row], axis=1, out=response[row], mode="clip")
        response[row] *= place.factor[row]
    response *= gain
    parts = (changes.ln_height, changes.ln_beam, changes.ln_yellowing)
    for height, beam, own in zip(bases.height, bases.beam, bases.channels, strict=True):
        weights = np.concatenate((height, beam, bases.yellowing))
        ln = np.concatenate([part[:, block, own] for part in parts]).transpose(1, 2, 0)
        change = np.ascontiguousarray(ln) @ weights
        np.clip(change, -LARGEST_LN_CHANGE, LARGEST_LN_CHANGE, out=change)
        np.exp(change, out=change)
        response[:, own] *= change
    return response
