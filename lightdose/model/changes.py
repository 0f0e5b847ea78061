"""What a change would do: plausible ones, more light, another colour, and those tried in a page."""

from __future__ import annotations

import math
import statistics
from collections.abc import Mapping, Sequence
from typing import Literal

from lightdose.errors import ScheduleError
from lightdose.model.fixture import DimmingCurve
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.results import Analysis, DliState, DliVerdict, severity
from lightdose.model.setup import WallKind

ChangeKind = Literal[
    "yellowing",
    "output",
    "height",
    "level",
    "open_sky",
    "channel_points",
    "channel_off",
    "wall",
    "floor",
    "cover",
]
SEVERITY: Mapping[DliState | None, int] = {
    "not_judged": -1,
    "within": 0,
    "below": 1,
    "above": 1,
    "far_below": 2,
    "far_above": 2,
    None: 3,
}
"""How badly a coral stands; None is dry."""

LEAST_REACH = 0.005
"""Kinds of change whose largest abs(ln ratio) is smaller are not shown: our choice."""

FIELD_KINDS: frozenset[ChangeKind] = frozenset({"yellowing", "height", "level", "wall", "floor", "cover"})
"""Changes that need the light field again; the others only weigh it anew."""


@dataclass(frozen=True)
class Change:
    """One thing that is different.

    Attributes
    ----------
    amount : yellowing [m-1], output and open sky and cover (factor), height and level [m], channel points
        (0-1, added to the channel's highest level), floor (reflectance), wall (reflectance where stated)
    relative : whether ``amount`` is added to today's value (height, yellowing)
    fixture : name, or None for all of them
    """

    kind: ChangeKind
    amount: float = 0.0
    relative: bool = False
    fixture: str | None = None
    channel: str | None = None
    wall: str | None = None
    wall_kind: WallKind | None = None


@dataclass(frozen=True)
class Case:
    """Changes that come together.

    Attributes
    ----------
    row, end : its row in the tornado figure, and what it is called there
    source : whose values these are
    baseline : what the case is compared with, as changes of today's setup; empty for today's
    overnight : whether it comes from one day to the next, by the keeper's own hand
    """

    name: str
    changes: tuple[Change, ...]
    row: str
    end: str
    source: str = "our choice"
    baseline: tuple[Change, ...] = ()
    overnight: bool = False


@dataclass(frozen=True)
class CoralOutcome:
    """A coral's dose and state in a case, beside those before it. [mol m-2 d-1]; None where it falls dry.

    Its state is calculated; ``dli_verdict`` is by the draws, as the counts are, None where nothing was drawn.
    """

    coral: str
    group: str
    dli_mol_m2_d: float | None
    dli_ratio: float | None
    dli_state_before: DliState
    dli_state: DliState | None
    dli_verdict_before: DliVerdict | None = None
    dli_verdict: DliVerdict | None = None

    @property
    def told_before(self) -> DliVerdict:
        """How it stood: the verdict where light was drawn, else the calculated state."""
        return self.dli_verdict_before or self.dli_state_before

    @property
    def told(self) -> DliVerdict | None:
        """How it stands in the case, by the same rule; None where it falls dry."""
        return self.dli_verdict if self.dli_verdict_before else self.dli_state

    @property
    def changes(self) -> bool:
        """Whether it stands otherwise than before, or dry."""
        return self.told != self.told_before

    @property
    def worsens(self) -> bool:
        """Whether it stands farther from usual than before; undecided lies between within and off."""
        return self.told is None or severity(self.told) > severity(self.told_before)


@dataclass(frozen=True)
class SiteOutcome:
    """A site's dose in a case over its dose before; the state is that of its coral that stands worst."""

    site: str
    dli_mol_m2_d: float | None
    dli_ratio: float | None
    dli_state: DliState | None
    corals: tuple[CoralOutcome, ...]


@dataclass(frozen=True)
class CaseOutcome:
    """What a case does to every site; ``remark`` says what the keeper must know besides.

    ``counts`` has how the judged corals would stand by their verdicts; None where that was not drawn.
    """

    case: Case
    sites: tuple[SiteOutcome, ...]
    remark: str = ""
    counts: Mapping[str, int] | None = None

    @property
    def ratios(self) -> tuple[float, ...]:
        """Dose ratios of the sites that have light before and water around them."""
        return tuple(s.dli_ratio for s in self.sites if s.dli_ratio is not None)

    @property
    def changed(self) -> tuple[CoralOutcome, ...]:
        """The corals that stand otherwise than before."""
        return tuple(c for s in self.sites for c in s.corals if c.changes)


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """Every case, worst first; ``skipped`` says which could not be computed and why."""

    analysis: Analysis
    outcomes: tuple[CaseOutcome, ...]
    skipped: tuple[str, ...]


CurveModel = Literal["tanh", "webb", "smith"]
Larger = Literal["dose", "colour", "equal"]
EvidenceSide = Literal["for", "against"]

ALL_MIXES, WITHOUT_WARNINGS = "all mixes", "mixes without a warning"


@dataclass(frozen=True, eq=False)
class CoralReturn:
    """Gross photosynthesis of one coral against overall output, over its group's range of Ek.

    Attributes
    ----------
    ek_range : (low, high). [umol m-2 s-1]
    ek_model : the curve that the range belongs to
    ek_assumed : whether an end of the range is assumed
    hours_low, hours_high : arrays, shape (n_output,), at the high and at the low end of Ek, exact at each
        output of the figure's scale. [h]
    today_h, full_h, half_h : (low, high) at today's output, at full output, at half of today's. [h]
    above_saturation_h, beyond_saturation_fraction : today's hours with light above Ek, and the share of its
        photons on top of it
    """

    coral: str
    group_name: str
    site: str
    receiver: int
    ek_range: tuple[float, float]
    ek_model: CurveModel
    ek_source: str
    ek_assumed: bool
    hours_low: FloatArray
    hours_high: FloatArray
    today_h: tuple[float, float]
    full_h: tuple[float, float]
    half_h: tuple[float, float]
    above_saturation_h: tuple[float, float] | None = None
    beyond_saturation_fraction: tuple[float, float] | None = None

    def __post_init__(self) -> None:
        for name in ("hours_low", "hours_high"):
            object.__setattr__(self, name, read_only(getattr(self, name)))

    @property
    def full_over_today(self) -> tuple[float, float]:
        """How many times today's photosynthesis full output gives, (low, high)."""
        ratios = [full / today for full, today in zip(self.full_h, self.today_h, strict=True)]
        return min(ratios), max(ratios)

    @property
    def half_over_today(self) -> tuple[float, float]:
        """What share of today's photosynthesis half of today's output gives, (low, high)."""
        ratios = [half / today for half, today in zip(self.half_h, self.today_h, strict=True)]
        return min(ratios), max(ratios)


@dataclass(frozen=True, eq=False)
class DiminishingReturn:
    """What more of the same light brings: today's programme scaled from nothing to all the fixtures can do.

    Attributes
    ----------
    output : array, shape (n_output,), 0 to 1; 1 is where the first channel runs at full in today's mix
    today : where today stands on that scale, 0 where nothing runs
    corals : those with a range of Ek and light, brightest first
    left_out : names of corals without a range of Ek, or without light
    """

    output: FloatArray
    today: float
    corals: tuple[CoralReturn, ...]
    left_out: tuple[str, ...]

    def __post_init__(self) -> None:
        object.__setattr__(self, "output", read_only(self.output))

    @property
    def photons_at_full(self) -> float:
        """How many times today's photons full output gives; infinity where nothing runs."""
        return 1 / self.today if self.today > 0 else math.inf

    @property
    def gain_at_full(self) -> tuple[float, float] | None:
        """How many times today's photosynthesis full output gives, over all corals; None without any."""
        return _around([c.full_over_today for c in self.corals])

    @property
    def kept_at_half(self) -> tuple[float, float] | None:
        """Share of today's photosynthesis that half of today's output gives, over all corals."""
        return _around([c.half_over_today for c in self.corals])


def _around(spans: Sequence[tuple[float, float]]) -> tuple[float, float] | None:
    """The span that holds all spans."""
    return (min(s[0] for s in spans), max(s[1] for s in spans)) if spans else None


@dataclass(frozen=True)
class IndexSpan:
    """Least and highest usable share over a set of mixes, by curve ("usable_mean", ...).

    ``spans`` is None where no mix of the set gives today's peak; ``why_none`` then says why.
    """

    key: str
    spans: Mapping[str, tuple[float, float]] | None
    why_none: str = ""

    def ratio(self, curve: str) -> float | None:
        """Highest over least index by one curve; None where there is no mix."""
        if self.spans is None or not self.spans[curve][0] > 0:
            return None
        low, high = self.spans[curve]
        return high / low


@dataclass(frozen=True)
class Evidence:
    """A published finding on colour at equal photons. ``side``: for or against "photons matter more"."""

    side: EvidenceSide
    text: str
    source: str


@dataclass(frozen=True)
class ColourOrIntensity:
    """How far colour and how far dose can be changed with these fixtures at one place.

    Attributes
    ----------
    place : the coral, or the site where there is none
    peak_ppfd_umol_m2_s : today's; every mix gives as many photons
    channels : channels that light the place
    today_index : usable share of today's mix at the peak, by curve
    warnings : what a mix without a warning has
    today_warnings : what of the mix warnings today's own mix at the peak does not pass
    all_mixes, without_warnings : spans of the index
    output_range, hours_range : what the dose is spanned over; output as a share of full in today's mix
    today_output : where today stands, share of full in today's mix
    today_dli, dose_range : daily dose, and at the least and the most of both ranges. [mol m-2 d-1]
    larger : which of both spans is the larger by the default curve over all mixes
    """

    place: str
    site: str
    receiver: int
    peak_ppfd_umol_m2_s: float
    channels: int
    today_index: Mapping[str, float]
    warnings: tuple[str, ...]
    today_warnings: tuple[str, ...]
    all_mixes: IndexSpan
    without_warnings: IndexSpan
    output_range: tuple[float, float]
    hours_range: tuple[float, float]
    today_output: float
    today_dli: float
    dose_range: tuple[float, float]
    larger: Larger
    evidence: tuple[Evidence, ...]

    @property
    def dose_ratio(self) -> float:
        """Most over least dose."""
        return self.dose_range[1] / self.dose_range[0]

    @property
    def dose_over_today(self) -> tuple[float, float]:
        """Least and most dose over today's."""
        return self.dose_range[0] / self.today_dli, self.dose_range[1] / self.today_dli

    def index_over_today(self, span: IndexSpan, curve: str) -> tuple[float, float] | None:
        """Least and highest index of a span over today's by one curve; None where there is no mix."""
        now = self.today_index[curve]
        if span.spans is None or not now > 0:
            return None
        low, high = span.spans[curve]
        return low / now, high / now


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
    dial : the overall setting of all fixtures that ``level`` is multiplied by already, 0-1; None where levels
        stand alone
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
    dial: float | None = None

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
class TryColour:
    """A part of the light whose share of the photons of 400-700 nm is watched, at the brightest place.

    Attributes
    ----------
    name : such as "blue"
    part, whole : array, shape (n_channel,); its photons and all of 400-700 nm of each channel at full output.
        [umol m-2 s-1]
    bound : the share beyond which the mix is warned of, 0-1
    at_least : whether the share should not fall below ``bound``, rather than not rise above it
    """

    name: str
    part: FloatArray
    whole: FloatArray
    bound: float
    at_least: bool


@dataclass(frozen=True, eq=False)
class TryChange:
    """Everything that "try a change" calculates with.

    Attributes
    ----------
    response : array, shape (n_receiver, n_channel); PPFD of each channel at full output at the places of the
        rows. [umol m-2 s-1]
    leading : index of the channel that gives the tank most light, whose top is "the plateau"; None where no
        channel runs
    plateau_h : how long the leading channel stands from its first to its last moment at its highest level
    colours : parts of the light whose shares are watched
    left_out : corals and sites that are too many for a page
    """

    channels: tuple[TryChannel, ...]
    fixtures: tuple[TryFixture, ...]
    rows: tuple[TryRow, ...]
    response: FloatArray
    leading: int | None
    plateau_h: float
    colours: tuple[TryColour, ...] = ()
    left_out: int = 0

    def __post_init__(self) -> None:
        object.__setattr__(self, "response", read_only(self.response))

    @property
    def dial(self) -> float | None:
        """The overall setting of all fixtures, 0-1; None where levels stand alone."""
        return self.channels[0].dial if self.channels else None


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


@dataclass(frozen=True)
class CaseSpan:
    """What one case does: the ratio of doses at the middle site, and the lowest and the highest of all."""

    end: str
    middle: float
    low: float
    high: float


@dataclass(frozen=True)
class CaseRow:
    """The cases of one kind of change; ``worse`` counts corals that the worst brings farther from usual."""

    name: str
    spans: tuple[CaseSpan, ...]
    worse: int

    @property
    def farthest(self) -> tuple[str, float]:
        """The case and the ratio that lie farthest from no change."""
        ends = [(span.end, ratio) for span in self.spans for ratio in (span.low, span.high)]
        return max(ends, key=lambda end: abs(math.log(max(end[1], 1e-9))))

    @property
    def reach(self) -> float:
        """How far that is: abs(ln ratio)."""
        return abs(math.log(max(self.farthest[1], 1e-9)))


def case_rows(outcomes: Sequence[CaseOutcome], site: int | None = None) -> list[CaseRow]:
    """Kinds of change by their reach, the farthest first, over all sites or at one.

    Those that reach less than ``LEAST_REACH`` are left out, but for the keeper's own.
    """
    kinds: dict[str, list[CaseOutcome]] = {}
    for outcome in outcomes:
        kinds.setdefault(outcome.case.row, []).append(outcome)
    rows = []
    for name, members in kinds.items():
        spans, worse = [], [0]
        for outcome in members:
            places = outcome.sites if site is None else (outcome.sites[site],)
            ratios = [place.dli_ratio for place in places if place.dli_ratio is not None]
            if ratios:
                spans.append(CaseSpan(outcome.case.end, statistics.median(ratios), min(ratios), max(ratios)))
                worse.append(sum(coral.worsens for place in places for coral in place.corals))
        yours = members[0].case.source == "yours"
        row = CaseRow(f"{name} (yours)" if yours else name, tuple(spans), max(worse))
        if spans and (yours or row.reach >= LEAST_REACH):
            rows.append(row)
    return sorted(rows, key=lambda row: -row.reach)
