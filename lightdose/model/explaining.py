"""Records that explain: what more light brings, and whether colour or photons matter more for a fixture."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import Literal

from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.record import dataclass

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
    """Least and highest absorption index over a set of mixes, by absorption curve ("usable_z1", ...).

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
    today_index : absorption index of today's mix at the peak, by curve
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
