"""Records of results; every table, figure and file prints these and computes nothing."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import TYPE_CHECKING, Literal

from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.certainty import Certainty, Uncertainty
from lightdose.model.certainty import DliState as DliState
from lightdose.model.certainty import DliVerdict as DliVerdict
from lightdose.model.coral import Receiver
from lightdose.model.record import dataclass
from lightdose.model.setup import Setup
from lightdose.quantities import BANDS

if TYPE_CHECKING:
    import pandas as pd

    from lightdose.model.hazard import Stare

BasisKey = Literal["measured", "data sheet", "typical values"]
PeakState = Literal["low", "within", "high"]

USABLE_KEYS = ("usable_z1", "usable_z2", "usable_z4", "usable_tissue")
"""Weightings by symbiont absorption; the first is the default, all of them span it."""


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


LIGHT_PARTS = ("direct", "front", "back", "left", "right", "rim", "floor")
"""Ways by which light comes to a place: straight, off a wall under water, off the dry rim, off the floor."""


@dataclass(frozen=True, eq=False)
class LightFieldParts:
    """A light field by where its light comes from; it answers "why is it so bright here".

    Attributes
    ----------
    response : array, shape (n_site, n_part, n_channel, n_weighting), parts in the order of ``LIGHT_PARTS``;
        their sum is the light field. Light that met several walls counts for them by its reflections there.
    unabsorbed : array, shape (n_site, n_channel, n_weighting); the response if the water absorbed nothing
    mean_path_m : array, shape (n_site, n_channel); way in the water of the light that did not come off the
        floor, NaN where there is none. [m]
    surface_loss_fraction : array, shape (n_site, n_channel); share of that light lost at the surface, or NaN
    """

    receivers: tuple[Receiver, ...]
    channels: tuple[ChannelKey, ...]
    weightings: tuple[str, ...]
    response: FloatArray
    unabsorbed: FloatArray
    mean_path_m: FloatArray
    surface_loss_fraction: FloatArray

    def __post_init__(self) -> None:
        for name in ("response", "unabsorbed", "mean_path_m", "surface_loss_fraction"):
            object.__setattr__(self, name, read_only(getattr(self, name)))


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
class Span:
    """A value with the lowest and the highest that it may take."""

    default: float
    low: float
    high: float


@dataclass(frozen=True)
class Verdict:
    """One coral's light against the usual light of its group.

    ``hours_at_pmax_h`` (gross, under tanh), the same under the curve that the group's Ek belongs to, the
    hours above saturation and the photons beyond it as a share of the day's are the lowest and the highest
    over the group's range of Ek; None for groups without one, and where no day was given.
    """

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
    hours_at_pmax_h: tuple[float, float] | None = None
    hours_above_saturation_h: tuple[float, float] | None = None
    hours_at_pmax_own_curve_h: tuple[float, float] | None = None
    photons_beyond_saturation_fraction: tuple[float, float] | None = None
    certainty: Certainty | None = None

    @property
    def dli_verdict(self) -> DliVerdict:
        """The state, or "undecided" where no state has a probability of 2/3."""
        return self.dli_state if self.certainty is None else self.certainty.verdict

    @property
    def likely_state(self) -> DliVerdict:
        """The state that leads with a probability of 2/3 or more, else "undecided"; words follow it."""
        return self.dli_state if self.certainty is None else self.certainty.likely


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


def weaker_basis(*bases: Basis) -> BasisKey:
    """What an answer from several setups stands on: the least sure of them."""
    order: tuple[BasisKey, ...] = ("measured", "data sheet", "typical values")
    return max((basis.key for basis in bases), key=order.index)


@dataclass(frozen=True, eq=False)
class Analysis:
    """Everything `dose` knows: the setup, its light field, its day, its doses and its verdicts.

    ``hazards`` holds staring straight into each lit fixture from each distance.
    """

    setup: Setup
    basis: Basis
    light_field: LightField
    day_curve: DayCurve
    dose: Dose
    verdicts: tuple[Verdict, ...]
    fixtures: tuple[FixtureUse, ...]
    cautions: tuple[Caution, ...]
    version: str
    uncertainty: Uncertainty | None = None
    hazards: tuple[Stare, ...] = ()

    def verdicts_by_site(self) -> dict[str, tuple[Verdict, ...]]:
        """The verdicts of every site, in the order of the sites; empty for a site without corals."""
        found: dict[str, list[Verdict]] = {site.name: [] for site in self.setup.sites}
        for verdict in self.verdicts:
            found[verdict.site].append(verdict)
        return {site: tuple(verdicts) for site, verdicts in found.items()}

    def band_dose_mol_m2_d(self, receiver: int) -> dict[str, float]:
        """Photons of each colour band in the day at one receiver, by the band's key. [mol m-2 d-1]"""
        return {band.key: self._weighted(receiver, band.key) for band in BANDS}

    def band_fraction(self, receiver: int) -> dict[str, float]:
        """Photons of each colour band per photon of 400-700 nm, NaN where there is no light."""
        dli = float(self.dose.dli[receiver])
        return {k: v / dli if dli > 0 else math.nan for k, v in self.band_dose_mol_m2_d(receiver).items()}

    def usable_dose_mol_m2_d(self, receiver: int) -> Span:
        """Photons weighted by symbiont absorption: curve z1, with the span of all curves. [mol m-2 d-1]"""
        doses = [self._weighted(receiver, key) for key in USABLE_KEYS]
        return Span(doses[0], min(doses), max(doses))

    def usable_fraction(self, receiver: int) -> Span | None:
        """Usable dose as a share of the DLI, None where there is no light."""
        dli = float(self.dose.dli[receiver])
        if not dli > 0:
            return None
        dose = self.usable_dose_mol_m2_d(receiver)
        return Span(dose.default / dli, dose.low / dli, dose.high / dli)

    def _weighted(self, receiver: int, key: str) -> float:
        return float(self.dose.weighted[receiver, self.light_field.weightings.index(key)])

    def to_frame(self) -> pd.DataFrame:
        """The rows of `dose --csv` as a pandas table: one a coral, and one for each site without corals."""
        import pandas as pd

        from lightdose.answers.dose import dose_sheet

        return pd.DataFrame(dose_sheet(self).records())


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
