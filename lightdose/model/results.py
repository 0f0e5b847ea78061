"""Records of results; every table, figure and file prints these and computes nothing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.coral import Receiver
from lightdose.model.setup import Setup

if TYPE_CHECKING:
    import pandas as pd

BasisKey = Literal["measured", "data sheet", "typical values"]
DliState = Literal["far_below", "below", "within", "above", "far_above", "not_judged"]
PeakState = Literal["low", "within", "high"]


@dataclass(frozen=True)
class ChannelKey:
    """A channel of a fixture that hangs over the tank."""

    fixture: str
    channel: str


@dataclass(frozen=True, eq=False)
class LightField:
    """Light at every receiver from every channel at full output.

    Attributes
    ----------
    receivers : n_site points
    channels : n_channel, fixtures in file order
    weightings : n_weighting keys
    response : array, shape (n_site, n_channel, n_weighting); open sky, cover and output scale included
    """

    receivers: tuple[Receiver, ...]
    channels: tuple[ChannelKey, ...]
    weightings: tuple[str, ...]
    response: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "response", read_only(self.response))

    def of(self, weighting: str) -> FloatArray:
        """Response of one weighting, shape (n_site, n_channel)."""
        return self.response[:, :, self.weightings.index(weighting)]


@dataclass(frozen=True, eq=False)
class DayCurve:
    """A repeating day on the union of all breakpoints; everything is linear within a segment.

    Attributes
    ----------
    edge_h : array, shape (n_segment + 1,), from 0 to 24, strictly increasing. [h]
    output_start, output_end : array, shape (n_segment, n_channel); output 0-1 at both ends of each segment
        (they differ from the neighbour's where a programme jumps)
    """

    edge_h: FloatArray
    output_start: FloatArray
    output_end: FloatArray

    def __post_init__(self) -> None:
        for name in ("edge_h", "output_start", "output_end"):
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class Dose:
    """The day's light at every receiver; arrays of shape (n_site,) unless said otherwise.

    Attributes
    ----------
    dli : [mol m-2 d-1]
    peak_ppfd : highest PPFD. [umol m-2 s-1]
    brightest_hour_ppfd : highest mean over any 60 minutes. [umol m-2 s-1]
    lux_at_peak : illuminance at the time of the peak. [lx]
    photoperiod_h : time above 5 % of the peak. [h]
    any_light_h : time with any light of 300-800 nm. [h]
    peak_equivalent_h : DLI / (0.0036 peak), NaN without light. [h]
    weighted : array, shape (n_site, n_weighting); daily integral of each weighting of the light field:
        photons in mol m-2 d-1, lux as lx h / 1000 x 3.6 (the same factor 0.0036)
    dli_by_channel : array, shape (n_site, n_channel). [mol m-2 d-1]
    """

    dli: FloatArray
    peak_ppfd: FloatArray
    brightest_hour_ppfd: FloatArray
    lux_at_peak: FloatArray
    photoperiod_h: FloatArray
    any_light_h: FloatArray
    peak_equivalent_h: FloatArray
    weighted: FloatArray
    dli_by_channel: FloatArray

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True)
class Verdict:
    """One coral's light against the usual light of its group."""

    coral: str
    group: str
    group_name: str
    site: str
    receiver: int
    dli_mol_m2_d: float
    peak_ppfd_umol_m2_s: float
    brightest_hour_ppfd_umol_m2_s: float
    judged_at_depth_m: float
    dli_state: DliState
    peak_state: PeakState | None
    band_dli: tuple[float, float] | None
    band_peak: tuple[float, float] | None
    floor_dli: float | None
    ceiling_dli: float | None
    advice: str
    grade: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class FixtureUse:
    """Electricity of a fixture in a day; None where its file does not say."""

    fixture: str
    energy_kwh_d: float | None
    cost_per_year: float | None
    currency: str | None
    photon_efficacy_umol_j: float | None


@dataclass(frozen=True)
class Caution:
    """Something the keeper should know; not an error. ``source`` says what it rests on."""

    code: str
    text: str
    source: str


@dataclass(frozen=True)
class Basis:
    """On what the numbers stand, and the sentence that says so."""

    key: BasisKey
    sentence: str


@dataclass(frozen=True, eq=False)
class Analysis:
    """Everything `dose` knows: the setup, its light field, its day, its doses and its verdicts."""

    setup: Setup
    basis: Basis
    light_field: LightField
    day_curve: DayCurve
    dose: Dose
    verdicts: tuple[Verdict, ...]
    fixtures: tuple[FixtureUse, ...]
    cautions: tuple[Caution, ...]
    version: str

    def rows(self) -> list[dict[str, str | float | None]]:
        """One flat row a coral, and one for each site without corals; keys carry their units."""
        raise NotImplementedError

    def to_frame(self) -> pd.DataFrame:
        """The rows as a pandas table."""
        import pandas as pd

        return pd.DataFrame(self.rows())


@dataclass(frozen=True, eq=False)
class SiteSpectrum:
    """Photons of the day's mix at one receiver, at the time of its peak; shape (500,) on ``GRID_NM``.

    ``by_channel`` has the shape (n_channel, 500). [umol m-2 s-1 nm-1]
    """

    receiver: int
    name: str
    by_channel: FloatArray


@dataclass(frozen=True)
class SpectrumMetrics:
    """Photon metrics of one spectrum, as `spectrum` reports them; absolute ones are None if relative."""

    file: str
    ppfd_umol_m2_s: float | None
    ppf_umol_s: float | None
    umol_per_j: float | None
    lux_per_umol: float | None
    band_fraction: Mapping[str, float | None]
    outside_400_700_fraction: float | None
    usable_fraction: Mapping[str, float | None]
    chromaticity_xy: tuple[float, float] | None
    cct_k: float | None
    duv: float | None
    notes: tuple[str, ...] = ()


@dataclass(frozen=True, eq=False)
class SiteDay:
    """PPFD at one receiver through the day; a jump is two points at one time.

    Attributes
    ----------
    time_h : array, shape (n_point,), 0 to 24, not falling. [h]
    by_channel : array, shape (n_channel, n_point), in the order of the light field's channels. [umol m-2 s-1]
    """

    receiver: int
    name: str
    time_h: FloatArray
    by_channel: FloatArray
