"""How sure each dose and each verdict is: seeded draws of the inputs through the response.

The light field is computed at moved places and changed heights, beams and waters; each draw takes one of the
moved places and interpolates the rest in the logarithm. Doses and peaks follow from the drawn response and
the drawn dimming, exactly as the stated ones do.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from lightdose.judge.deciding_reading import (
    DECIDED,
    READING_FRACTION,
    BestReading,
    OpenVerdict,
    best_reading,
)
from lightdose.judge.uncertain_day import uncertain_day
from lightdose.judge.uncertain_inputs import (
    Draws,
    UncertainInputs,
    described,
    draw_inputs,
    uncertain_inputs,
)
from lightdose.model.arrays import FloatArray
from lightdose.model.certainty import Certainty, DecidingReading, DliState, DliVerdict, Uncertainty
from lightdose.model.coral import Receiver
from lightdose.model.results import Verdict
from lightdose.model.setup import Setup
from lightdose.physics.field_changes import FieldChanges, field_changes
from lightdose.physics.prepared_field import PreparedField
from lightdose.quantities import MOL_PER_UMOL_S_H

DRAWS = 4_000
SEED = 1
COVERED = (0.025, 0.975)
"""Ends of the intervals: 95 %."""

OFFSET_SD = math.sqrt(3.0)
OFFSET_SHARES = (1 / 6, 5 / 6)
"""A place is drawn at -d, 0 or +d on each axis with 1/6, 2/3, 1/6; d = sqrt 3 standard uncertainties has the
first five moments of a normal distribution (Gauss-Hermite, three points)."""

VALUES_AT_ONCE = 1_000_000
READABLE_AT_MOST = 200
"""Sites that are thought of for a reading, those with corals first."""

_STATES: tuple[DliState, ...] = ("far_below", "below", "within", "above", "far_above")


def with_certainty(
    setup: Setup, ready: PreparedField, verdicts: Sequence[Verdict], *, draws: int = DRAWS, seed: int = SEED
) -> tuple[tuple[Verdict, ...], Uncertainty]:
    """Verdicts with their probabilities, and the intervals of every place.

    Parameters
    ----------
    setup : Setup
    ready : PreparedField
        The setup's light field, with the weighting "ppfd".
    verdicts : sequence of Verdict
        Of the same setup.
    draws, seed : int

    Returns
    -------
    verdicts : tuple of Verdict
        In the same order, each with its certainty.
    uncertainty : Uncertainty

    Source
    ------
    Monte Carlo propagation of distributions, JCGM 101:2008.
    """
    inputs = uncertain_inputs(setup)
    receivers = setup.receivers
    kept = _kept_receivers(setup, verdicts)
    drawn = draw_doses(inputs, ready, receivers, kept, draws=draws, seed=seed)
    column = {receiver: i for i, receiver in enumerate(kept)}
    marks = [_marks(v) for v in verdicts]
    chances = [
        _probabilities(drawn.kept_dli[:, column[v.receiver]], m) for v, m in zip(verdicts, marks, strict=True)
    ]
    words = [_likely(v.dli_state, c) for v, c in zip(verdicts, chances, strict=True)]
    open_ = [i for i, word in enumerate(words) if word == "undecided"]
    best = _best_reading(setup, drawn.kept_dli, kept, [(verdicts[i], marks[i]) for i in open_])
    settled = dict(zip(open_, best.chances, strict=True)) if best else {}
    site = setup.sites[kept[best.site]].name if best else None
    judged = tuple(
        replace(
            v,
            advice=_advice(v, words[i], site if i in settled else None),
            certainty=Certainty(
                verdict="undecided" if words[i] == "undecided" else v.dli_state,
                likely=words[i],
                probability=chances[i],
                interval_dli=(float(drawn.dli[v.receiver, 0]), float(drawn.dli[v.receiver, 1])),
                interval_peak=(float(drawn.peak[v.receiver, 0]), float(drawn.peak[v.receiver, 1])),
                reading_at=site if i in settled else None,
                reading_settles=settled.get(i),
            ),
        )
        for i, v in enumerate(verdicts)
    )
    deciding = None
    if best and site is not None:
        deciding = DecidingReading(site, READING_FRACTION, sum(best.chances), len(open_))
    return judged, Uncertainty(drawn.dli, drawn.peak, described(inputs), draws, seed, deciding)


def _kept_receivers(setup: Setup, verdicts: Sequence[Verdict]) -> list[int]:
    """Receivers whose draws are kept: those of corals, and sites where a reading could be taken."""
    stocked = {c.site for c in setup.corals}
    sites = sorted(range(len(setup.sites)), key=lambda i: setup.sites[i].name not in stocked)
    return sorted({*sites[:READABLE_AT_MOST], *(v.receiver for v in verdicts)})


def _best_reading(
    setup: Setup,
    dli: FloatArray,
    kept: Sequence[int],
    undecided: Sequence[tuple[Verdict, tuple[float, ...]]],
) -> BestReading | None:
    if not undecided:
        return None
    column = {receiver: i for i, receiver in enumerate(kept)}
    with np.errstate(divide="ignore"):
        ln = np.log(dli)
    sites = [i for i, receiver in enumerate(kept) if receiver < len(setup.sites)][:READABLE_AT_MOST]
    return best_reading(ln, sites, [OpenVerdict(column[v.receiver], m) for v, m in undecided])


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


@dataclass(frozen=True, eq=False)
class DrawnDoses:
    """Intervals of every receiver, and the draws of some.

    Attributes
    ----------
    dli, peak : array, shape (n_receiver, 2). [mol m-2 d-1, umol m-2 s-1]
    kept_dli : array, shape (n_draw, n_kept). [mol m-2 d-1]
    """

    dli: FloatArray
    peak: FloatArray
    kept_dli: FloatArray


def draw_doses(
    inputs: UncertainInputs,
    ready: PreparedField,
    receivers: Sequence[Receiver],
    kept: Sequence[int],
    *,
    draws: int = DRAWS,
    seed: int = SEED,
) -> DrawnDoses:
    """Draw doses and peaks of every place.

    Parameters
    ----------
    inputs : UncertainInputs
    ready : PreparedField
        With the weighting "ppfd".
    receivers : sequence of Receiver
    kept : receivers whose draws are given back, rising
    draws, seed : int

    Returns
    -------
    DrawnDoses

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
    day = uncertain_day(ready.fixtures, changes.stated)
    bases = _bases(inputs, common)
    column = {receiver: i for i, receiver in enumerate(kept)}
    dli, peak = np.zeros((len(receivers), 2)), np.zeros((len(receivers), 2))
    kept_dli = np.zeros((draws, len(kept)))
    hours = day.hours(common.dimming)
    for block in _blocks(receivers, draws * max(1, len(hours))):
        place = _PlaceDraws.of(inputs, common, [receivers[i] for i in block], draws, rng)
        response = _drawn_response(changes, block, bases, place, common.gain)
        doses = MOL_PER_UMOL_S_H * np.einsum("rck,ck->rk", response, hours)
        dli[block] = _interval(doses)
        peak[block] = _interval(day.peaks(response, common.dimming))
        for row, receiver in enumerate(block):
            if receiver in column:
                kept_dli[:, column[receiver]] = doses[row]
    return DrawnDoses(dli, peak, kept_dli)


def _interval(values: FloatArray) -> FloatArray:
    """2.5 and 97.5 percentiles along the draws; shape (n_place, n_draw) to (n_place, 2)."""
    return np.asarray(np.quantile(values, COVERED, axis=1).T)


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
