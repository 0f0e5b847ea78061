"""How sure each dose and each verdict is, and which single reading would settle what is open."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import field, replace

import numpy as np

from lightdose.judge.deciding_reading import (
    DECIDED,
    READING_FRACTION,
    BestReading,
    OpenVerdict,
    best_reading,
)
from lightdose.judge.drawn_doses import DRAWS, SEED, draw_doses
from lightdose.judge.uncertain_inputs import described, uncertain_inputs
from lightdose.model.arrays import FloatArray
from lightdose.model.certainty import Certainty, DecidingReading, DliState, DliVerdict, Uncertainty
from lightdose.model.record import dataclass
from lightdose.model.results import Verdict
from lightdose.model.setup import Setup
from lightdose.physics.prepared_field import PreparedField

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
