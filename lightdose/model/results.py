"""Records of results; every table, figure and file prints these and computes nothing."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field
from functools import cached_property
from typing import TYPE_CHECKING, Final, Literal

from lightdose.model.advice import Advice
from lightdose.model.light import DayCurve, Dose, LightField, SideDoses
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.setup import Setup
from lightdose.model.spectrum import USABLE_CURVES
from lightdose.quantities import BANDS

if TYPE_CHECKING:
    from lightdose.model.shadow import Shadow

DliState = Literal["far_below", "below", "within", "above", "far_above", "not_judged"]
DliVerdict = Literal["far_below", "below", "within", "above", "far_above", "not_judged", "undecided"]
Interval = tuple[float, float]


@dataclass(frozen=True)
class Certainty:
    """How sure a verdict is.

    Attributes
    ----------
    verdict : the state that leads with a probability of 2/3 or more, else "undecided"; near an edge it may
        differ from the calculated one, since fixtures give less than their data sheets
    probability : of every state; they add up to 1
    interval_dli, interval_peak : 95 %, at the coral's own place. [mol m-2 d-1, umol m-2 s-1]
    reading_at : site whose reading settles most of what is undecided; None where this verdict stands
    reading_settles : chance that this reading settles this verdict
    """

    verdict: DliVerdict
    probability: Mapping[DliState, float]
    interval_dli: Interval
    interval_peak: Interval
    reading_at: str | None = None
    reading_settles: float | None = None


@dataclass(frozen=True)
class UncertainInput:
    """Something that is not known exactly, how well it is known, and its source."""

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


LimitKey = Literal["blue_light_irradiance", "blue_light_radiance", "actinic_uv", "uv_a"]

EYES: Final = (
    "Do not look into the emitters, nor let children or customers: blue and violet look dim while they are "
    "strong, and no reflex protects the eye."
)
"""Goes with every answer. Source: V(lambda), CIE 018:2019; behaviour: common practice."""


@dataclass(frozen=True)
class Exposure:
    """What reaches an eye that stares straight into the light; through air, without any cover.

    Attributes
    ----------
    e_b_w_m2 : irradiance weighted by the blue-light hazard. [W m-2]
    l_b_w_m2_sr : radiance of a single emitter so weighted, the mean of all emitters; None where the fixture
        file does not tell their number and size. [W m-2 sr-1]
    h_eff_8h_j_m2 : exposure weighted by the actinic UV hazard, 300-400 nm, in 8 h. [J m-2]
    e_uv_a_w_m2 : irradiance of 315-400 nm. [W m-2]
    """

    e_b_w_m2: float
    l_b_w_m2_sr: float | None
    h_eff_8h_j_m2: float
    e_uv_a_w_m2: float


@dataclass(frozen=True)
class LimitTime:
    """How long it takes to reach one limit. ``full_output_s`` and ``programme_s`` are None for never. [s]"""

    key: LimitKey
    limit: str
    source: str
    full_output_s: float | None
    programme_s: float | None


@dataclass(frozen=True)
class DirectView:
    """Staring straight into a fixture from a distance.

    Attributes
    ----------
    fixture : its name, or "all together": at most the sum of all at this distance of each
    distance_m : through air from the emitting area. [m]
    full_output : all channels at 100 %, the worst that the controller can do
    programme : the highest of the day's programme
    limits : one for each limit that can be told
    factor_95 : lowest and highest factor by which the true figures may differ, about 95 %
    """

    fixture: str
    distance_m: float
    full_output: Exposure
    programme: Exposure
    limits: tuple[LimitTime, ...]
    factor_95: tuple[float, float]

    def soonest(self) -> LimitTime | None:
        """The limit that is reached first at full output; None where none is ever reached."""
        reached = [t for t in self.limits if t.full_output_s is not None]
        return min(reached, key=lambda t: t.full_output_s or 0.0) if reached else None


BasisKey = Literal["measured", "data sheet", "typical values"]
PeakState = Literal["low", "within", "high"]

USABLE_KEYS = tuple(f"usable_{curve}" for curve in USABLE_CURVES)
"""Weightings by what symbionts use; the first is the default, the others span it."""


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
    over the group's range of Ek; None for groups without one, and where no day was given. ``by_light`` names
    the receiver where solids or a face make it matter: "on a flat spot", "on its front face". ``sheltered``
    tells that rock or colonies keep it dim and its group likes shade: too little light is no fault then.
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
    by_light: str = ""
    sheltered: bool = False

    @property
    def penalties(self) -> Mapping[DliState, float]:
        """What each state counts for this coral."""
        return {**PENALTY, "below": 0.0, "far_below": 0.0} if self.sheltered else PENALTY

    @property
    def dli_verdict(self) -> DliVerdict:
        """The state that leads with a probability of 2/3 or more, else "undecided".

        Words and counts follow it; without draws it is the calculated state.
        """
        return self.dli_state if self.certainty is None else self.certainty.verdict

    @property
    def penalty(self) -> float:
        """0 within, 1 below or above, 2 far below or far above (our choice); expected over the draws.

        Too dim counts nothing for a sheltered coral.
        """
        if self.certainty is None:
            return self.penalties[self.dli_state]
        return sum(self.penalties[state] * share for state, share in self.certainty.probability.items())


PENALTY: Final[Mapping[DliState, float]] = {
    "within": 0.0,
    "below": 1.0,
    "above": 1.0,
    "far_below": 2.0,
    "far_above": 2.0,
    "not_judged": 0.0,
}


def severity(verdict: DliVerdict) -> int:
    """0 within or not judged, 1 undecided, 2 below or above, 3 far off."""
    if verdict == "undecided":
        return 1
    return int(PENALTY[verdict]) + 1 if PENALTY[verdict] else 0


COUNTED: Final[tuple[DliVerdict, ...]] = (
    "within",
    "undecided",
    "below",
    "above",
    "far_below",
    "far_above",
)


@dataclass(frozen=True)
class Judgement:
    """How the judged corals of a tank stand: counted here, and nowhere else.

    Attributes
    ----------
    counts : "judged" and how many have each verdict; None where light judges no coral
    calculated_counts : the same by the states of the stated values, where none is undecided
    penalty : sum over corals of 0 within, 1 off and 2 far off (our choice), expected over the draws
    """

    counts: Mapping[str, int] | None
    calculated_counts: Mapping[str, int] | None
    penalty: float

    @classmethod
    def of(cls, verdicts: Sequence[Verdict]) -> Judgement:
        """The judgement of a tank."""
        return cls(
            counted([v.dli_verdict for v in verdicts]),
            counted([v.dli_state for v in verdicts]),
            sum(v.penalty for v in verdicts),
        )

    @property
    def within(self) -> int:
        """Corals within common practice."""
        return self.counts["within"] if self.counts else 0

    @property
    def undecided(self) -> int:
        """Corals without a verdict."""
        return self.counts["undecided"] if self.counts else 0

    @property
    def judged(self) -> int:
        """Corals that light judges."""
        return self.counts["judged"] if self.counts else 0


def counted(states: Sequence[DliVerdict]) -> dict[str, int] | None:
    """How many are judged, and how many have each verdict; None where none is judged."""
    judged = sum(state != "not_judged" for state in states)
    return {"judged": judged, **{key: states.count(key) for key in COUNTED}} if judged else None


@dataclass(frozen=True)
class FixtureUse:
    """Electricity of a fixture in a day; None where its file does not say.

    ``power_w`` is what each of its channels draws at full output.
    """

    fixture: str
    energy_kwh_d: float | None
    cost_per_year: float | None
    currency: str | None
    photon_efficacy_umol_j: float | None
    power_w: tuple[float, ...] | None = None


@dataclass(frozen=True)
class Caution:
    """Something the keeper should know; not an error.

    ``source`` says what it rests on, ``names`` the corals, places or fixtures that it concerns.
    """

    code: str
    text: str
    source: str
    names: tuple[str, ...] = ()


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

    ``hazards`` holds staring straight into each lit fixture from each distance; ``advice`` is None where it
    was not asked for, and so are ``sides``, the light on faces and from all sides. ``reef_depth_m`` holds by
    the name of the water, shape (n_receiver, 2), from which to which depth of the open sea a clear day gives
    as many photons; NaN where none does. ``shadows`` holds the corals that are dim for the shade of solids,
    where it was asked for.
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
    hazards: tuple[DirectView, ...] = ()
    advice: Advice | None = None
    reef_depth_m: Mapping[str, FloatArray] = field(default_factory=dict)
    sides: SideDoses | None = None
    shadows: tuple[Shadow, ...] = ()

    def flat_receiver(self, receiver: int) -> int:
        """The receiver that looks up at the place of one on a face."""
        return receiver - 1 if self.light_field.receivers[receiver].face is not None else receiver

    @cached_property
    def judgement(self) -> Judgement:
        """How the corals stand."""
        return Judgement.of(self.verdicts)

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

    def reef_depths(self, receiver: int) -> dict[str, tuple[float | None, float | None]] | None:
        """From which to which depth a clear day of the sea gives as much, by water; None where unknown. "
        "[m]"""
        if not self.reef_depth_m:
            return None
        ends = {water: depth[receiver] for water, depth in self.reef_depth_m.items()}
        return {
            w: (None if math.isnan(a) else float(a), None if math.isnan(b) else float(b))
            for w, (a, b) in ends.items()
        }

    def usable_dose_mol_m2_d(self, receiver: int) -> Span:
        """Photons weighted by what symbionts use: mean of five curves, span of nine. [mol m-2 d-1]"""
        default, *curves = self.dose.weighted[receiver, self._usable_columns].tolist()
        return Span(default, min(curves), max(curves))

    @cached_property
    def _usable_columns(self) -> list[int]:
        """Where the doses by ``USABLE_KEYS`` stand among the weightings."""
        return [self.light_field.weightings.index(key) for key in USABLE_KEYS]

    def usable_fraction(self, receiver: int) -> Span | None:
        """Usable dose as a share of the DLI, None where there is no light."""
        dli = float(self.dose.dli[receiver])
        if not dli > 0:
            return None
        dose = self.usable_dose_mol_m2_d(receiver)
        return Span(dose.default / dli, dose.low / dli, dose.high / dli)

    def _weighted(self, receiver: int, key: str) -> float:
        return float(self.dose.weighted[receiver, self.light_field.weightings.index(key)])


def duration_words(seconds: float) -> str:
    """A time as people say it, rounded down: "less than 1 s", "about 1.9 s", "about 12 s", "about 2.5 h"."""
    if seconds < 1:
        return "less than 1 s"
    if seconds < 10:
        return f"about {math.floor(10 * seconds) / 10:g} s"
    if seconds < 120:
        return f"about {math.floor(seconds)} s"
    if seconds < 7200:
        return f"about {math.floor(seconds / 60)} min"
    return f"about {math.floor(seconds / 360) / 10:g} h"


@dataclass(frozen=True, eq=False)
class Hazard:
    """Everything `hazard` reports.

    Attributes
    ----------
    behaviour : what to do, before any figure
    views : each lit fixture at each distance, fixtures in file order
    together : all lit fixtures at each distance; empty where there are fewer than two
    remarks : what the figures of this setup leave out or assume
    """

    setup: Setup
    basis: Basis
    behaviour: tuple[Caution, ...]
    views: tuple[DirectView, ...]
    together: tuple[DirectView, ...]
    remarks: tuple[str, ...]
    version: str


CheckKind = Literal["published", "identity", "pinned", "installed"]
"""A number from a named source; an exact property; today's own value; what the installation must hold."""


@dataclass(frozen=True)
class SelfCheck:
    """One thing that was looked at; numbers differ by at most ``tolerance``, relative to the expected one."""

    what: str
    expected: float | str
    got: float | str
    unit: str
    tolerance: float
    kind: CheckKind
    source: str

    @property
    def passed(self) -> bool:
        """Whether what was got is what was expected; NaN never is."""
        if isinstance(self.expected, str) or isinstance(self.got, str):
            return self.expected == self.got
        return abs(self.got - self.expected) <= self.tolerance * abs(self.expected)


@dataclass(frozen=True)
class SelfTest:
    """All checks, in the order in which they were made."""

    checks: tuple[SelfCheck, ...]
    version: str
    versions: Mapping[str, str]

    @property
    def failed(self) -> tuple[SelfCheck, ...]:
        """The checks that did not pass."""
        return tuple(check for check in self.checks if not check.passed)
