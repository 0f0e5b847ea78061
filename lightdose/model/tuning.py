"""What a keeper asks of a tuned programme, and what was found."""

from __future__ import annotations

from dataclasses import field
from typing import Literal

from lightdose.errors import SetupError
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, FixtureUse, Verdict

Preference = Literal["change", "margin", "energy"]
MixLock = Literal["free", "all", "each"]
Edge = Literal["low", "high", "peak"]

STEP_ABOVE_RISE = 0.25
"""A rise above this share is too big for one day: common practice, no published source."""

WEEKLY_RISE = 0.10
"""A rise of more than this share at once is more than a week's: common practice, no published source."""


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
    """What the keeper asks for; everything left out is free.

    Attributes
    ----------
    prefer : what counts once every coral is in its band
    mix : "all" keeps the ratios of all outputs, "each" those within each fixture
    blue_only : only channels with most of their photons below 500 nm
    off : channels that stay off, "channel" or "fixture/channel"
    caps : channels with their highest level, 0-1
    plateau_h : shortest and longest plateau. [h]
    ramp_up_h, ramp_down_h : today's where None. [h]
    least_blue : least share of blue (400-500 nm) in the PPFD of every coral, 0-1
    most_change : most change of any coral's dose, as a share of today's
    look_tolerance : how far x and y of the summed emission may move from today's
    keep_shapes : keep each channel's own course of output instead of one trapezoid for all
    """

    prefer: Preference = "change"
    mix: MixLock = "free"
    blue_only: bool = False
    off: tuple[str, ...] = ()
    caps: tuple[tuple[str, float], ...] = ()
    plateau_h: tuple[float, float] | None = None
    ramp_up_h: float | None = None
    ramp_down_h: float | None = None
    least_blue: float | None = None
    most_change: float | None = None
    look_tolerance: float | None = None
    keep_shapes: bool = False
    controller: Controller = field(default_factory=Controller)


@dataclass(frozen=True)
class DayShape:
    """A day of one trapezoid in output. [h]"""

    start_h: float
    up_h: float
    plateau_h: float
    down_h: float

    @property
    def equivalent_h(self) -> float:
        """Hours at full plateau that give the same photons. [h]"""
        return self.plateau_h + 0.5 * (self.up_h + self.down_h)

    @property
    def lit_h(self) -> float:
        """From first to last light. [h]"""
        return self.up_h + self.plateau_h + self.down_h


@dataclass(frozen=True)
class ChannelSetting:
    """A channel before and after: its highest level of the day, 0-1, and why it was held back."""

    fixture: str
    channel: str
    level_before: float
    level_after: float
    held: str = ""


@dataclass(frozen=True)
class CoralChange:
    """A coral under today's programme and under the tuned one; ``binds`` is the edge it stands at."""

    before: Verdict
    after: Verdict
    binds: Edge | None = None

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
    def is_brisk(self) -> bool:
        """Whether the rise is more than a week's, though not too big for one day."""
        limit = self.before.dli_mol_m2_d * (1 + WEEKLY_RISE)
        return self.after.dli_mol_m2_d > limit and not self.is_sudden

    @property
    def is_sudden(self) -> bool:
        """Whether the rise is too big for one day."""
        limit = self.before.dli_mol_m2_d * (1 + STEP_ABOVE_RISE)
        return self.after.dli_mol_m2_d > limit


@dataclass(frozen=True)
class Remedy:
    """A move to a free site, or shade, that helps; ``out_of_band`` counts the corals that stay outside."""

    kind: Literal["move", "shade"]
    coral: str
    out_of_band: int
    site: str | None = None
    open_sky: float | None = None


@dataclass(frozen=True)
class Conflict:
    """Why not every coral can be served.

    ``kind`` "pair": while ``high`` stays at its upper limit, ``low`` gets at most ``gets`` and needs
    ``needs``; "reach": the allowed light cannot give ``low`` what it needs; "excess": the least allowed light
    is too much for ``high``, which gets ``gets`` and should get at most ``needs``; "several": no two of them,
    but all together. ``factor`` is how many times off. [mol m-2 d-1]
    """

    kind: Literal["pair", "reach", "excess", "several"]
    low: str | None
    high: str | None
    needs: float | None
    gets: float | None
    factor: float | None
    remedies: tuple[Remedy, ...] = ()


@dataclass(frozen=True)
class TunedSchedule:
    """One fixture's programme as schedule.csv."""

    fixture: str
    text: str


@dataclass(frozen=True, eq=False)
class Tuning:
    """What `tune` found; ``after`` is the analysis of the programme as written and read back.

    Attributes
    ----------
    day_before, day_after : the trapezoid; None where there is none, or each channel keeps its own shape
    largest_loss : greatest share by which the written programme misses the computed dose, and at which coral
    notes : decisions in sentences
    """

    wishes: TuneWishes
    before: Analysis
    after: Analysis
    day_before: DayShape | None
    day_after: DayShape | None
    channels: tuple[ChannelSetting, ...]
    corals: tuple[CoralChange, ...]
    conflict: Conflict | None
    schedules: tuple[TunedSchedule, ...]
    largest_loss: tuple[float, str]
    unchanged: bool
    notes: tuple[str, ...] = ()

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
