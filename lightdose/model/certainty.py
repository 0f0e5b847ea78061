"""How sure doses and verdicts are."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.record import dataclass

DliState = Literal["far_below", "below", "within", "above", "far_above", "not_judged"]
DliVerdict = Literal["far_below", "below", "within", "above", "far_above", "not_judged", "undecided"]
Interval = tuple[float, float]


@dataclass(frozen=True)
class Certainty:
    """How sure a verdict is.

    Attributes
    ----------
    verdict : the stated dose's state, or "undecided" where no state has a probability of 2/3
    likely : the state that leads with 2/3 or more, else "undecided"; it may differ from the stated one near
        an edge, since fixtures give less than their data sheets
    probability : of every state; they add up to 1
    interval_dli, interval_peak : 95 %, at the coral's own place. [mol m-2 d-1, umol m-2 s-1]
    reading_at : site whose reading settles most of what is undecided; None where this verdict stands
    reading_settles : chance that this reading settles this verdict
    """

    verdict: DliVerdict
    likely: DliVerdict
    probability: Mapping[DliState, float]
    interval_dli: Interval
    interval_peak: Interval
    reading_at: str | None = None
    reading_settles: float | None = None


@dataclass(frozen=True)
class UncertainInput:
    """Something that is not known exactly, how well it is known, and on whose word."""

    what: str
    spread: str
    origin: str


@dataclass(frozen=True)
class DecidingReading:
    """The one reading that would settle most verdicts.

    Attributes
    ----------
    standard_uncertainty : of that reading, as a share
    settles : how many of the ``undecided`` verdicts it is expected to settle
    """

    site: str
    standard_uncertainty: float
    settles: float
    undecided: int


@dataclass(frozen=True, eq=False)
class Uncertainty:
    """Intervals of every receiver, 95 %.

    Attributes
    ----------
    dli, peak_ppfd : array, shape (n_site, 2). [mol m-2 d-1, umol m-2 s-1]
    inputs : what was drawn, in words
    """

    dli: FloatArray
    peak_ppfd: FloatArray
    inputs: tuple[UncertainInput, ...]
    draws: int
    seed: int
    deciding: DecidingReading | None = None

    def __post_init__(self) -> None:
        for name in ("dli", "peak_ppfd"):
            object.__setattr__(self, name, read_only(getattr(self, name)))
