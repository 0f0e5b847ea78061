"""A plan of meter readings: where, what is on, what each is expected to show and to tell."""

from __future__ import annotations

from collections.abc import Mapping

from lightdose.model.readings import Meter
from lightdose.model.record import dataclass
from lightdose.model.setup import Setup

Range = tuple[float, float]


@dataclass(frozen=True)
class Spot:
    """A place for the sensor: a site, or a point above the water (negative depth). [m]"""

    name: str
    x_m: float
    y_m: float
    depth_m: float
    site: str | None = None

    @property
    def in_air(self) -> bool:
        """Whether it lies above the water."""
        return self.depth_m < 0


@dataclass(frozen=True)
class LevelSet:
    """What is on: a time of the programme, or levels (fixture, channel) -> 0-1 with all others off."""

    time_h: float | None = None
    levels: Mapping[tuple[str, str], float] | None = None


@dataclass(frozen=True)
class PlannedReading:
    """One reading of the plan.

    Attributes
    ----------
    number : order in which they are least work
    rank : order in which they tell most, 1 first
    expected_95 : what the meter should show, if the setup is not far off. [umol m-2 s-1 or lx]
    tells : what it tells most about, in words
    """

    number: int
    rank: int
    spot: Spot
    on: LevelSet
    expected_95: Range
    tells: str


@dataclass(frozen=True)
class Narrowing:
    """How well something is known before and after, as a 95 % factor: 1.3 is times or over 1.3."""

    what: str
    before: float
    after: float


@dataclass(frozen=True, eq=False)
class Survey:
    """The readings that narrow the unknowns and the open verdicts most.

    Attributes
    ----------
    meter : with which they are to be made; ``described`` says whether the setup holds it
    open_corals : corals whose verdict is open, or all where nothing is known of the light
    gains, doses : what is known of channels and corals before and after
    unread : channels in use that no reading sees alone
    """

    setup: Setup
    meter: Meter
    described: bool
    readings: tuple[PlannedReading, ...]
    open_corals: tuple[str, ...]
    gains: tuple[Narrowing, ...]
    doses: tuple[Narrowing, ...]
    unread: tuple[str, ...]
    version: str
