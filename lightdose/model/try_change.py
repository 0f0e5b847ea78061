"""Records of "try a change": what a page needs to reckon a changed programme, and the settings it takes."""

from __future__ import annotations

from lightdose.errors import ScheduleError
from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.fixture import DimmingCurve
from lightdose.model.record import dataclass
from lightdose.model.results import DliState


@dataclass(frozen=True, eq=False)
class TryChannel:
    """A channel of a lit fixture, and how its programme may be changed.

    Attributes
    ----------
    time_h, level : array, shape (n,); points of its programme without the dark before and after it. Those
        of another channel where this one is off all day and takes over that one's shape; empty where it
        stays off.
    highest_level : highest of ``level``; 0 for a channel that has nothing to scale
    today_level : its highest level today, 0-1
    top : first and last point at the highest level
    top_change_h : how many hours its top may get shorter (0 or less) and longer; (0, 0) where it keeps its
        times
    borrowed_from : the channel whose shape it takes over, or ""
    """

    fixture: str
    channel: str
    time_h: FloatArray
    level: FloatArray
    dimming: DimmingCurve
    highest_level: float
    today_level: float
    top: tuple[int, int] = (0, 0)
    top_change_h: tuple[float, float] = (0.0, 0.0)
    borrowed_from: str = ""

    def __post_init__(self) -> None:
        object.__setattr__(self, "time_h", read_only(self.time_h))
        object.__setattr__(self, "level", read_only(self.level))

    @property
    def adjustable(self) -> bool:
        """Whether there is a shape that a level can scale."""
        return self.highest_level > 0


@dataclass(frozen=True)
class TryFixture:
    """A lit fixture: its channels stand in a row from ``first_channel`` on.

    ``schedule_header`` is the first line of its schedule CSV, ``schedule_file`` the name it is saved under.
    """

    name: str
    first_channel: int
    channel_count: int
    schedule_header: str
    schedule_file: str


@dataclass(frozen=True)
class TryRow:
    """A coral, or a site without corals, and its light today as `dose` reports it.

    ``receiver`` is its row of the response. [mol m-2 d-1, umol m-2 s-1]
    """

    coral: str | None
    site: str
    receiver: int
    group_name: str
    band_dli: tuple[float, float] | None
    floor_dli: float | None
    ceiling_dli: float | None
    peak_high: float | None
    dli_mol_m2_d: float
    peak_ppfd_umol_m2_s: float
    brightest_hour_ppfd_umol_m2_s: float
    dli_state: DliState | None


@dataclass(frozen=True, eq=False)
class TryChange:
    """Everything that "try a change" reckons with.

    Attributes
    ----------
    response : array, shape (n_receiver, n_channel); PPFD of each channel at full output at the places of the
        rows. [umol m-2 s-1]
    leading : index of the channel that gives the tank most light, whose top is "the plateau"; None where no
        channel runs
    plateau_h : how long the leading channel stands from its first to its last moment at its highest level
    left_out : corals and sites that are too many for a page
    """

    channels: tuple[TryChannel, ...]
    fixtures: tuple[TryFixture, ...]
    rows: tuple[TryRow, ...]
    response: FloatArray
    leading: int | None
    plateau_h: float
    left_out: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "response", read_only(self.response))

    @property
    def plateau_limits_h(self) -> tuple[float, float]:
        """Shortest and longest plateau that may be tried. [h]"""
        if self.leading is None:
            return self.plateau_h, self.plateau_h
        shorter, longer = self.channels[self.leading].top_change_h
        return self.plateau_h + shorter, self.plateau_h + longer


@dataclass(frozen=True)
class TrySettings:
    """What the keeper tries.

    Attributes
    ----------
    levels : highest level of every channel, 0-1, in the order of ``TryChange.channels``
    all_channels : factor on all levels at the points of the programmes, 0-2; results are cut at level 1
    plateau_h : hours of the leading channel's top
    """

    levels: tuple[float, ...]
    plateau_h: float
    all_channels: float = 1.0

    def __post_init__(self) -> None:
        if not all(0 <= level <= 1 for level in self.levels) or not 0 <= self.all_channels <= 2:
            raise ScheduleError("levels are 0 to 100 percent, the factor on all channels 0 to 200 percent")
        if not 0 <= self.plateau_h <= 24:
            raise ScheduleError("the plateau lasts 0 to 24 h")

    @classmethod
    def today(cls, record: TryChange) -> TrySettings:
        """Nothing changed."""
        return cls(tuple(c.today_level for c in record.channels), record.plateau_h)
