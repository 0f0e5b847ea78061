"""Plans: levels and hours to set, steps to take, readings to make; what is asked and what was found."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

from lightdose.errors import SetupError
from lightdose.model.advice import OverallChange, Stand, Unserved
from lightdose.model.fixture import Programme
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.results import (
    Analysis,
    Basis,
    Caution,
    FixtureUse,
    Span,
    Verdict,
    severity,
)
from lightdose.model.setup import Setup
from lightdose.model.spectrum import Meter

Preference = Literal["change", "energy"]
WhatChanges = Literal["overall", "fixtures", "channels"]

STEP_ABOVE_RISE = 0.25
"""A rise above this share is too big for one day: common practice, no published source."""

WEEKLY_RISE = 0.10
"""A rise of more than this share at once is more than a week's: common practice, no published source."""


BLUE_BELOW_NM = 500.0
"""A channel is blue by its photons of 300-800 nm below this wavelength: our choice."""


def is_blue(share_below: float) -> bool:
    """Whether a channel with so much of its photons below ``BLUE_BELOW_NM`` is blue: most of them."""
    return share_below > 0.5


@dataclass(frozen=True)
class Controller:
    """What the controller of the fixtures can take.

    Attributes
    ----------
    most_points : points of a channel's programme, None for as many as needed
    time_step_min : its times are multiples of this. [min]
    least_level : a channel that runs is never below this level, 0-1
    whole_percents : levels are whole percents; else tenths
    """

    most_points: int | None = None
    time_step_min: int = 1
    least_level: float = 0.0
    whole_percents: bool = False

    def __post_init__(self) -> None:
        if self.most_points is not None and self.most_points < 4:
            raise SetupError(
                f"{self.most_points} points a channel are too few: a day with two ramps needs four, "
                "from 0 up, along and down"
            )
        if not 1 <= self.time_step_min <= 60:
            raise SetupError(f"a time step of {self.time_step_min} min is outside 1 to 60 min")
        if not 0 <= self.least_level < 1:
            raise SetupError(f"a least level of {100 * self.least_level:g} percent is outside 0 to below 100")


@dataclass(frozen=True)
class TuneWishes:
    """What the keeper asks for; everything left out stays as it is or is free.

    Attributes
    ----------
    change : what may change: one overall setting, one a fixture, or every channel's level
    prefer : what counts among programmes that serve the corals alike
    blue_only : only channels with most of their photons below 500 nm
    off : channels that stay off, "channel" or "fixture/channel"
    caps : channels with their highest level, 0-1
    allow : channels below 420 nm or above 600 nm that may rise all the same
    colour_shift : how far the shares of blue and of red may move at any coral, where channels change
    plateau_h : shortest and longest plateau; around today's where None. [h]
    ramp_up_h, ramp_down_h : today's where None. [h]
    least_blue : least share of blue (400-500 nm) in the PPFD of every coral, 0-1
    most_change : most change of any coral's dose, as a share of today's
    look_tolerance : how far x and y of the summed emission may move from today's
    with_moves : corals that may be moved besides
    """

    change: WhatChanges = "overall"
    prefer: Preference = "change"
    blue_only: bool = False
    off: tuple[str, ...] = ()
    caps: tuple[tuple[str, float], ...] = ()
    allow: tuple[str, ...] = ()
    colour_shift: float = 0.05
    plateau_h: tuple[float, float] | None = None
    ramp_up_h: float | None = None
    ramp_down_h: float | None = None
    least_blue: float | None = None
    most_change: float | None = None
    look_tolerance: float | None = None
    with_moves: int = 0
    controller: Controller = field(default_factory=Controller)


@dataclass(frozen=True)
class DayShape:
    """A day by its parts: first light, up to the plateau, along it, and down. [h]"""

    start_h: float
    ramp_up_h: float
    plateau_h: float
    ramp_down_h: float

    @property
    def lit_h(self) -> float:
        """From first to last light. [h]"""
        return self.ramp_up_h + self.plateau_h + self.ramp_down_h


@dataclass(frozen=True)
class ChannelSetting:
    """A channel before and after: its highest level of the day, 0-1, and why it was held back.

    ``blue_share`` is the share of its photons below ``BLUE_BELOW_NM``, where only blue may run.
    """

    fixture: str
    channel: str
    level_before: float
    level_after: float
    held: str = ""
    blue_share: float | None = None

    @property
    def is_blue(self) -> bool:
        """Whether most of its photons are below ``BLUE_BELOW_NM``."""
        return is_blue(self.blue_share or 0.0)


@dataclass(frozen=True)
class CoralChange:
    """A coral under today's programme and under the tuned one."""

    before: Verdict
    after: Verdict

    @property
    def coral(self) -> str:
        """Its name."""
        return self.after.coral

    @property
    def rise(self) -> float | None:
        """Dose after over dose before, less 1; None where there was no light."""
        before = self.before.dli_mol_m2_d
        return self.after.dli_mol_m2_d / before - 1 if before > 0 else None

    @property
    def step(self) -> int:
        """Below 0 where its verdict gets better, above 0 where it gets worse, by ``severity``."""
        return severity(self.after.dli_verdict) - severity(self.before.dli_verdict)

    @property
    def is_brisk(self) -> bool:
        """Whether the rise is more than a week's, though not too big for one day."""
        limit = self.before.dli_mol_m2_d * (1 + WEEKLY_RISE)
        return self.after.dli_mol_m2_d > limit and not self.is_sudden

    @property
    def is_sudden(self) -> bool:
        """Whether the rise is too big for one day."""
        limit = self.before.dli_mol_m2_d * (1 + STEP_ABOVE_RISE)
        return self.after.dli_mol_m2_d > limit


@dataclass(frozen=True, eq=False)
class Moved:
    """The same with corals moved besides: coral -> site before and after, and the tank then."""

    moves: Mapping[str, tuple[str, str]]
    after: Analysis


@dataclass(frozen=True, eq=False)
class Tuning:
    """What `tune` found; ``after`` is the analysis of the programme as written and read back.

    Attributes
    ----------
    day_before, day_after : None where the light never stands still at its brightest
    dials : overall setting of each lit fixture that has one, before and after. [%]
    unchanged : whether nothing that may change serves more corals, so that today's programme stays
    refused : how the tank would stand under the best that was asked for, where that is worse than today
    unserved : corals that are off all the same, with free places that each can get to
    moved : the tank with corals moved besides, where that was asked for
    """

    wishes: TuneWishes
    before: Analysis
    after: Analysis
    day_before: DayShape | None
    day_after: DayShape | None
    channels: tuple[ChannelSetting, ...]
    corals: tuple[CoralChange, ...]
    dials: tuple[OverallChange, ...] = ()
    unchanged: bool = False
    refused: Stand | None = None
    unserved: tuple[Unserved, ...] = ()
    moved: Moved | None = None

    @property
    def out_of_band(self) -> tuple[CoralChange, ...]:
        """Corals that stay outside their band."""
        return tuple(c for c in self.corals if c.after.dli_state not in ("within", "not_judged"))

    @property
    def sudden(self) -> tuple[CoralChange, ...]:
        """Corals whose dose rises too much for one day, the largest rise first."""
        return tuple(sorted((c for c in self.corals if c.is_sudden), key=lambda c: -(c.rise or 1e9)))

    @property
    def brisk(self) -> tuple[CoralChange, ...]:
        """Corals whose dose rises more at once than in a week, but less than ``sudden``; largest first."""
        return tuple(sorted((c for c in self.corals if c.is_brisk), key=lambda c: -(c.rise or 0.0)))

    @property
    def energy_kwh_d(self) -> tuple[float | None, float | None]:
        """Electricity before and after; None where a fixture's power is not known."""
        return _energy(self.before.fixtures), _energy(self.after.fixtures)


def _energy(uses: tuple[FixtureUse, ...]) -> float | None:
    known = [u.energy_kwh_d for u in uses if u.energy_kwh_d is not None]
    return sum(known) if len(known) == len(uses) else None


Origin = Literal["today", "stated", "unknown"]
"""Where a coral's earlier dose is known from: the setup it lives in, the keeper's word, or not at all."""


@dataclass(frozen=True)
class AcclimatingCoral:
    """A coral on its way from one daily dose to another. Doses in mol m-2 d-1.

    Attributes
    ----------
    before : the dose it lives in, or for an unknown one the top of the low third of its band
    target : the dose of the last step
    first_limit : the most it may get in the first step
    newcomer : whether it does not live in today's setup
    rise_at_most : times the calculated rise that the true one may be, at the upper end of 95 %; 1 where the
        rise is known, since both lights are measured or come from the same lamps
    """

    name: str
    group: str
    site: str
    origin: Origin
    before: float
    target: float
    first_limit: float
    floor: float | None
    newcomer: bool
    rise_at_most: float = 1.0

    @property
    def first_scale(self) -> float:
        """The largest first scale that this coral allows, whatever the true light is. [1]"""
        return self.first_limit / (self.target * self.rise_at_most)


@dataclass(frozen=True)
class AfterReading:
    """How to go on from a reading.

    Attributes
    ----------
    times : the reading over what is calculated for it
    scale : of the new programme, that may run at once
    weeks : from then to the whole of it
    """

    times: float
    scale: float
    weeks: float


@dataclass(frozen=True)
class CarefulStart:
    """A first step that holds though nobody measured the new light: from the upper end of its 95 %.

    Attributes
    ----------
    coral, site : whose rise may be the largest, and where to read
    rise_at_most : the whole change over what it lives in, at the upper end
    scale : of the first step
    peak : PPFD to read there on the first day, as calculated. [umol m-2 s-1]
    both_open : whether today's light is not measured either, and from other lamps
    after : how to go on from the reading, from the lowest to the highest that is likely
    """

    coral: str
    site: str
    rise_at_most: float
    scale: float
    peak: float
    both_open: bool
    after: tuple[AfterReading, ...]

    @property
    def as_calculated(self) -> AfterReading:
        """How to go on where the reading is what is calculated."""
        return min(self.after, key=lambda way: abs(way.times - 1))


@dataclass(frozen=True)
class CoralStep:
    """One coral in one step; ``rise_per_week`` is against the step before, scaled to seven days."""

    coral: str
    dli_mol_m2_d: float
    rise_per_week: float
    d_over_a: Span


@dataclass(frozen=True, eq=False)
class AcclimationStep:
    """What runs from one day to the next step.

    Attributes
    ----------
    date : of the day, "2026-03-14", where a start was named
    scale : on all outputs of the new programme, 0-1
    site_dli : site with a coral -> DLI. [mol m-2 d-1]
    d_over_a : dose over acclimated dose of the coral that is furthest ahead, just after the step
    programmes : fixture -> programme
    """

    day: int
    date: str | None
    scale: float
    site_dli: Mapping[str, float]
    corals: tuple[CoralStep, ...]
    d_over_a: Span
    furthest_ahead: str
    programmes: Mapping[str, Programme]


@dataclass(frozen=True, eq=False)
class MismatchCurve:
    """Dose over acclimated dose of one coral, day by day; a step is two points on one day.

    Attributes
    ----------
    day : array, shape (n,)
    dli : array, shape (n,). [mol m-2 d-1]
    d_over_a : array, shape (3, n), for each of ``tau_d``
    tau_d : shortest, usual, longest time of the lag. [d]
    """

    coral: str
    day: FloatArray
    dli: FloatArray
    d_over_a: FloatArray
    tau_d: tuple[float, float, float]

    def __post_init__(self) -> None:
        for name in ("day", "dli", "d_over_a"):
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class Acclimation:
    """The whole way, its corals, and what to mind.

    Attributes
    ----------
    before, after : today's setup, and the one that the way leads to
    rise_per_week : the limit asked for, 0.1 is 10 %
    missing : corals of today's setup that the other lacks
    not_judged : corals that live without light, which limit nothing
    weeks : from the first step to the last
    start : what the first step keeps to where the light is not measured; None where its rise is known
    """

    before: Setup
    after: Setup
    basis_sentence: str
    basis: Basis
    rise_per_week: float
    step_days: int
    corals: tuple[AcclimatingCoral, ...]
    missing: tuple[str, ...]
    not_judged: tuple[str, ...]
    steps: tuple[AcclimationStep, ...]
    curve: MismatchCurve
    cautions: tuple[Caution, ...]
    weeks: float
    start: CarefulStart | None = None


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
    measured_on : date of the calibration that the setup stands on, which the plan does not count; or None
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
    measured_on: str | None = None
