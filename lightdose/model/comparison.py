"""Setups beside one another: what changes for every site and coral, why, and how it looks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

from lightdose.model.light import SiteDay, SiteSpectrum
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, Caution, Interval, Span, Verdict


@dataclass(frozen=True)
class Swatch:
    """A colour as a screen can show it at best, at the screen's full brightness; approximate.

    Attributes
    ----------
    srgb : "#rrggbb"
    clipped : whether the light is more saturated than sRGB holds, so that the screen shows a paler colour
    """

    srgb: str
    clipped: bool


@dataclass(frozen=True)
class Appearance:
    """The look of a mix of light, at the time of a place's peak.

    Attributes
    ----------
    chromaticity_xy : CIE 1931
    cct_k : correlated colour temperature; None beyond a distance of 0.05 from the Planckian locus. [K]
    duv : distance from that locus, CIE 1960, positive above it; None where there is no near point
    """

    chromaticity_xy: tuple[float, float]
    cct_k: float | None
    duv: float | None
    swatch: Swatch


@dataclass(frozen=True)
class WhiteLight:
    """A white light that stands beside the place's own, with the same PPFD.

    Attributes
    ----------
    name : "CIE LED-B5"
    lux_per_umol : illuminance of 1 umol m-2 s-1 of it. [lx]
    lux : illuminance of the place's PPFD of it. [lx]
    """

    name: str
    source: str
    lux_per_umol: float
    lux: float
    appearance: Appearance


@dataclass(frozen=True)
class LooksAndGets:
    """What a place gets, in photons, and what the eye makes of it, in lux; both at the time of its peak.

    Attributes
    ----------
    place : name of the receiver, a site or the top of a coral
    receiver : its row in the light field
    ppfd_umol_m2_s : peak PPFD. [umol m-2 s-1]
    lux : illuminance at that time. [lx]
    appearance : of the light there
    white : the same photons from white LEDs
    """

    place: str
    receiver: int
    ppfd_umol_m2_s: float
    lux: float
    appearance: Appearance
    white: WhiteLight

    @property
    def lux_share(self) -> float:
        """Lux of this light over lux of the white one, at equal photons; below 1 it looks dimmer."""
        return self.lux / self.white.lux


@dataclass(frozen=True)
class Split:
    """Natural logarithms of ratios, B over A, for one place.

    ln_dli = ln_intensity + ln_time, ln_total = ln_dli + ln_colour.default. All are None where one of the
    doses is 0; ``ln_total`` and ``ln_colour`` also where no photon is usable.

    Attributes
    ----------
    ln_total : usable doses, the default
    ln_dli : photons of the day, 400-700 nm
    ln_intensity : peak PPFD
    ln_time : hours at the peak that give the same dose
    ln_colour : usable fractions; span over the four absorption curves. Not growth
    ln_shade : the part of ln_dli that rock and colonies give; None where both setups hold the same
    """

    ln_dli: float | None = None
    ln_total: float | None = None
    ln_intensity: float | None = None
    ln_time: float | None = None
    ln_colour: Span | None = None
    ln_shade: float | None = None


@dataclass(frozen=True)
class PlaceLight:
    """The light of one place under one setup.

    ``looks`` is None without light at the peak, ``peak_equivalent_h`` and ``usable_fraction`` without dose,
    intervals where certainty was not asked for.
    """

    dli_mol_m2_d: float
    peak_ppfd_umol_m2_s: float
    photoperiod_h: float
    any_light_h: float
    peak_equivalent_h: float | None
    lux_at_peak: float
    band_dose_mol_m2_d: Mapping[str, float]
    usable_dose_mol_m2_d: Span
    usable_fraction: Span | None
    looks: LooksAndGets | None
    interval_dli: Interval | None = None
    interval_peak: Interval | None = None


@dataclass(frozen=True)
class PlaceChange:
    """One place under A and under B.

    Attributes
    ----------
    dli_ratio : DLI of B over A; 0 where B is dark, None where A is
    interval_ratio : 95 % of that ratio, None where the two share too little for it to be known
    """

    before: PlaceLight
    after: PlaceLight
    dli_ratio: float | None
    split: Split
    interval_ratio: Interval | None

    @property
    def size(self) -> float:
        """How much the dose changes: abs(ln ratio); infinite where it is dark under one alone."""
        if self.split.ln_dli is not None:
            return abs(self.split.ln_dli)
        return math.inf if self.before.dli_mol_m2_d != self.after.dli_mol_m2_d else 0.0


@dataclass(frozen=True)
class SiteComparison(PlaceChange):
    """One site, matched by name; ``a`` and ``b`` are its rows in the two light fields."""

    site: str
    a: int
    b: int


@dataclass(frozen=True)
class CoralComparison(PlaceChange):
    """One coral, matched by name, where it stands under A and under B, at its own top."""

    coral: str
    verdict_before: Verdict
    verdict_after: Verdict

    @property
    def changes_verdict(self) -> bool:
        """Whether it is judged otherwise."""
        return self.verdict_before.dli_verdict != self.verdict_after.dli_verdict


@dataclass(frozen=True)
class RunningCost:
    """Electricity of a whole setup; None where the file of a fixture, or a price, does not say."""

    energy_kwh_d: float | None
    cost_per_year: float | None
    currency: str | None
    photon_efficacy_umol_j: float | None


@dataclass(frozen=True)
class OnlyIn:
    """Names that one setup has and the other lacks."""

    sites: tuple[str, ...]
    corals: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Comparison:
    """A and B beside one another.

    Attributes
    ----------
    names : what A and B are called: their titles, told apart where these are equal
    basis_sentence : on what both stand
    differences : what differs between the setups, in words; empty where nothing does
    sites, corals : those in both, in the order of A
    only : names in A alone, names in B alone
    running : electricity of A and of B
    cautions : what B gives cause to say and A does not, or says otherwise
    notes : what the comparison leaves open
    same : whether everything that counts reads alike in both
    """

    before: Analysis
    after: Analysis
    names: tuple[str, str]
    basis_sentence: str
    differences: tuple[str, ...]
    sites: tuple[SiteComparison, ...]
    corals: tuple[CoralComparison, ...]
    only: tuple[OnlyIn, OnlyIn]
    running: tuple[RunningCost, RunningCost]
    cautions: tuple[Caution, ...] = ()
    notes: tuple[str, ...] = ()
    same: bool = False


@dataclass(frozen=True, eq=False)
class Compared:
    """A comparison, and the days and spectra of A and of B at the sites that its figures show."""

    comparison: Comparison
    sites: Sequence[SiteComparison]
    days: tuple[Sequence[SiteDay], Sequence[SiteDay]]
    spectra: tuple[Sequence[SiteSpectrum], Sequence[SiteSpectrum]]
