"""How sure each dose and each verdict is, and which single reading would settle what is open.

The error of a channel's output is a tent over its level: largest at mid level, 0 at both ends, linear
between. A tent is the difference of two dimming curves, so days stay exact.

The light field is computed at moved places and changed heights, beams and waters; each draw takes one of the
moved places and interpolates the rest in the logarithm. Doses and peaks follow from the drawn response and
the drawn dimming, exactly as the stated ones do.

A reading at one site narrows every dose that shares errors with it: the fixture's output, its height, the
water. Its effect is the linear Gaussian update of ln DLI from the covariance of the draws; what it would show
is not known yet, so the share of undecided verdicts that it settles is averaged over what it may show.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import field, replace

import numpy as np
import numpy.typing as npt

from lightdose.judge.uncertain_inputs import Draws, UncertainInputs, described, draw_inputs, uncertain_inputs
from lightdose.model.fixture import DimmingCurve, Fixture
from lightdose.model.record import FloatArray, dataclass, quantiles
from lightdose.model.results import Certainty, DecidingReading, DliState, DliVerdict, Uncertainty, Verdict
from lightdose.model.setup import Receiver, Setup
from lightdose.physics.day_curve import day_curve, day_points, full_output_hours
from lightdose.physics.field_changes import FieldChanges, field_changes
from lightdose.physics.light_field import PreparedField
from lightdose.quantities import MOL_PER_UMOL_S_H

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


DRAWS = 4_000
SEED = 1
COVERED = (0.025, 0.975)
"""Ends of the intervals: 95 %."""

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
    see: Callable[[int, FloatArray], None] = lambda *_: None,
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
        Gets the index of each receiver and its drawn doses, shape (n_draw,), once; they are not kept.
    draws, seed : int

    Returns
    -------
    dli, peak : array, shape (n_receiver, 2)
        95 % intervals. [mol m-2 d-1, umol m-2 s-1]

    Source
    ------
    Monte Carlo propagation of distributions, JCGM 101:2008.
    """
    rng = np.random.default_rng(seed)
    common = draw_inputs(inputs, draws, rng)
    points = np.array([(r.x_m, r.y_m, r.depth_m) for r in receivers], dtype=np.float64).reshape(-1, 3)
    changes = field_changes(
        ready.only("ppfd"),
        points,
        OFFSET_SD * inputs.position_m,
        [s.steps for s in inputs.fixtures],
        inputs.yellowing_steps_per_m,
    )
    day = uncertain_day(ready.scene.fixtures, changes.stated)
    bases = _bases(inputs, common)
    dli, peak = np.zeros((len(receivers), 2)), np.zeros((len(receivers), 2))
    hours = day.hours(common.dimming)
    for block in _blocks(receivers, draws * max(1, len(hours))):
        place = _PlaceDraws.of(inputs, common, [receivers[i] for i in block], draws, rng)
        response = _drawn_response(changes, block, bases, place, common.gain)
        doses = MOL_PER_UMOL_S_H * np.einsum("rck,ck->rk", response, hours)
        dli[block] = _interval(doses)
        peak[block] = _interval(day.peaks(response, common.dimming))
        for row, receiver in enumerate(block):
            see(receiver, doses[row])
    return dli, peak


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
        rng: np.random.Generator,
    ) -> _PlaceDraws:
        sites = list(dict.fromkeys(r.site for r in receivers))
        row = {site: i for i, site in enumerate(sites)}
        which = [row[r.site] for r in receivers]
        low, high = OFFSET_SHARES
        axis = rng.random((3, len(sites), draws), dtype=np.float32)
        step = (axis > low).astype(np.intp) + (axis > high)
        offset = (3 * step[0] + step[1]) * 3 + step[2]
        model = math.log1p(inputs.values["model_fraction"])
        factor = np.exp(model * rng.standard_normal((len(receivers), draws)))
        sky = rng.standard_normal((len(sites), draws))
        for i, receiver in enumerate(receivers):
            factor[i] *= _open_sky(inputs, common, receiver, sky[which[i]])
        return cls(offset[which], factor)


def _open_sky(
    inputs: UncertainInputs, common: Draws, receiver: Receiver, z: FloatArray
) -> FloatArray | float:
    """Draws of a receiver's open sky, 0-1; one that is wholly open is known."""
    measured = common.ln_sky.get(receiver.site)
    if measured is not None:
        return np.asarray(np.minimum(receiver.open_sky * np.exp(measured), 1.0))
    if receiver.open_sky >= 1:
        return receiver.open_sky
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
    shape = (len(block), changes.stated.shape[1], len(gain))
    response = np.empty(shape)
    for row, receiver in enumerate(block):
        np.take(changes.moved[receiver], place.offset[row], axis=1, out=response[row], mode="clip")
        response[row] *= place.factor[row]
    response *= gain.T
    parts = (changes.ln_height, changes.ln_beam, changes.ln_yellowing)
    for height, beam, own in zip(bases.height, bases.beam, bases.channels, strict=True):
        weights = np.concatenate((height, beam, bases.yellowing))
        ln = np.concatenate([part[:, block, own] for part in parts]).transpose(1, 2, 0)
        change = np.ascontiguousarray(ln) @ weights
        np.exp(change, out=change)
        response[:, own] *= change
    return response


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


MANY_PLACES, DRAWS_FOR_MANY = 2_000, 1_000
"""Beyond so many places fewer draws do: the ends of intervals are then known to a tenth of half a width."""

READABLE_AT_MOST = OPEN_AT_MOST = 200
"""Sites that are thought of for a reading, those with corals first, and open verdicts to be settled."""

_STATES: tuple[DliState, ...] = ("far_below", "below", "within", "above", "far_above")


def with_certainty(
    setup: Setup,
    ready: PreparedField,
    verdicts: Sequence[Verdict],
    *,
    draws: int | None = None,
    seed: int = SEED,
    see: Callable[[int, FloatArray], None] | None = None,
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
        4,000, or 1,000 for more than 2,000 places.
    seed : int
    see : callable or None
        Gets the index of each receiver and its drawn doses too, once.

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
    count = draws or (DRAWS if len(receivers) <= MANY_PLACES else DRAWS_FOR_MANY)
    watch = _Watch.of(setup, verdicts)

    def shown(receiver: int, doses: FloatArray) -> None:
        watch.see(receiver, doses)
        if see is not None:
            see(receiver, doses)

    dli, peak = draw_doses(inputs, ready, receivers, shown, draws=count, seed=seed)
    best = watch.best_reading()
    site = setup.sites[best.site].name if best else None
    settled = dict(zip(watch.open, best.chances, strict=False)) if best else {}
    judged = []
    for i, verdict in enumerate(verdicts):
        likely, ends = watch.likely[i], (dli[verdict.receiver], peak[verdict.receiver])
        at = site if likely == "undecided" else None
        certainty = Certainty(
            verdict="undecided" if likely == "undecided" else verdict.dli_state,
            likely=likely,
            probability=watch.probability[i],
            interval_dli=(float(ends[0][0]), float(ends[0][1])),
            interval_peak=(float(ends[1][0]), float(ends[1][1])),
            reading_at=at,
            reading_settles=settled.get(i),
        )
        judged.append(replace(verdict, advice=_advice(verdict, likely, at), certainty=certainty))
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
    """

    verdicts: Sequence[Verdict]
    at_receiver: dict[int, list[int]]
    readable: frozenset[int]
    probability: dict[int, dict[DliState, float]] = field(default_factory=dict)
    likely: dict[int, DliVerdict] = field(default_factory=dict)
    open: list[int] = field(default_factory=list)
    ln_dli: dict[int, FloatArray] = field(default_factory=dict)

    @classmethod
    def of(cls, setup: Setup, verdicts: Sequence[Verdict]) -> _Watch:
        at_receiver: dict[int, list[int]] = {}
        for index, verdict in enumerate(verdicts):
            at_receiver.setdefault(verdict.receiver, []).append(index)
        stocked = {c.site for c in setup.corals}
        sites = sorted(range(len(setup.sites)), key=lambda i: setup.sites[i].name not in stocked)
        return cls(verdicts, at_receiver, frozenset(sites[:READABLE_AT_MOST]))

    def see(self, receiver: int, dli: FloatArray) -> None:
        """Judge one receiver."""
        kept = receiver in self.readable
        for index in self.at_receiver.get(receiver, ()):
            verdict = self.verdicts[index]
            self.probability[index] = _probabilities(dli, _marks(verdict))
            self.likely[index] = _likely(verdict.dli_state, self.probability[index])
            if self.likely[index] == "undecided" and len(self.open) < OPEN_AT_MOST:
                self.open.append(index)
                kept = True
        if kept:
            with np.errstate(divide="ignore"):
                self.ln_dli[receiver] = np.log(dli)

    def best_reading(self) -> BestReading | None:
        """The site (index of a receiver) whose reading settles most, and its chances for ``open``."""
        if not self.open:
            return None
        kept = sorted(self.ln_dli)
        column = {receiver: i for i, receiver in enumerate(kept)}
        cases = [OpenVerdict(column[self.verdicts[i].receiver], _marks(self.verdicts[i])) for i in self.open]
        sites = [column[i] for i in kept if i in self.readable]
        best = best_reading(np.column_stack([self.ln_dli[i] for i in kept]), sites, cases)
        return replace(best, site=kept[best.site]) if best else None


def _marks(verdict: Verdict) -> tuple[float, ...]:
    """Floor, low, high and ceiling; a missing floor is 0, a missing ceiling infinite; empty if not judged."""
    if verdict.band_dli is None:
        return ()
    floor = 0.0 if verdict.floor_dli is None else verdict.floor_dli
    ceiling = math.inf if verdict.ceiling_dli is None else verdict.ceiling_dli
    return floor, *verdict.band_dli, ceiling


def _probabilities(dli: FloatArray, marks: tuple[float, ...]) -> dict[DliState, float]:
    """Share of the draws in each state; floor <= D < low is below, low <= D <= high within."""
    if not marks:
        return {"not_judged": 1.0}
    floor, low, high, ceiling = marks
    up_to = [dli < floor, dli < low, dli <= high, dli <= ceiling]
    shares = np.diff([0, *(int(part.sum()) for part in up_to), len(dli)]) / len(dli)
    return dict(zip(_STATES, shares.tolist(), strict=True))


def _likely(stated: DliState, probability: dict[DliState, float]) -> DliVerdict:
    """The state that leads with 2/3 or more; undecided where none does."""
    if stated == "not_judged":
        return stated
    leading = max(probability, key=lambda state: (probability[state], state == stated))
    return leading if probability[leading] >= DECIDED else "undecided"


def _advice(verdict: Verdict, word: DliVerdict, site: str | None) -> str:
    """The advice, and before it a reading where nothing is settled yet."""
    said = verdict.advice
    if not said or word == verdict.dli_state:
        return said
    rest = f"{said[0].lower()}{said[1:]}"
    if word != "undecided":
        return f"Probably {word.replace('_', ' ')} once all that is uncertain counts; as stated it {rest}"
    first = f"Take one reading at {site} first" if site else "Take a reading first"
    return f"{first}, for this is open: as stated it {rest}"
