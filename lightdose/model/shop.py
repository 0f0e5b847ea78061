"""What a shop hands over its counter: an estimate from one reading, a hand-out, a slip."""

from __future__ import annotations

from typing import Literal

from lightdose.model.changes import Evidence
from lightdose.model.comparison import LooksAndGets
from lightdose.model.diary import CoralHistory
from lightdose.model.light import SiteDay
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, DliState, Verdict
from lightdose.model.spectrum import Immersion, ReadsQuantity
from lightdose.model.trial import GrowthTrial

WhiteAmount = Literal["none", "little", "much"]
Where = Literal["air", "water"]
Range = tuple[float, float]


@dataclass(frozen=True)
class Question:
    """What a keeper can say at the counter.

    Attributes
    ----------
    reading : as the meter shows it. [umol m-2 s-1 or lx, by ``unit``]
    white : how much white is on
    hours_h : light from its beginning to its end, ramps included. [h]
    ramp_h : rise and fall, each as long. [h]
    immersion : a factor, "built in" or "unknown"; None in air
    depth_m : of the coral; in air the depth that the reading is carried down to. [m]
    lamp_height_m : above the water; None where it is not known. [m]
    ramp_assumed : whether ``ramp_h`` is ours
    """

    reading: float
    unit: ReadsQuantity
    where: Where
    white: WhiteAmount
    hours_h: float
    ramp_h: float
    immersion: Immersion | None = None
    depth_m: float | None = None
    lamp_height_m: float | None = None
    ramp_assumed: bool = False


@dataclass(frozen=True)
class Standing:
    """A group's usual light against a range of doses.

    ``states`` in rising order; ``advice_changes`` says whether the range calls for different deeds.
    """

    group: str
    name: str
    band_dli: Range | None
    states: tuple[DliState, ...]
    advice_changes: bool
    grade: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class Factor:
    """One cause of width: what the reading is multiplied by, at least and at most."""

    name: str
    low: float
    high: float
    source: str


@dataclass(frozen=True)
class Estimate:
    """The honest range of a reading.

    Attributes
    ----------
    ppfd_umol_m2_s, dli_mol_m2_d : lowest and highest
    factors : what the reading was multiplied by, cause by cause; their product spans the PPFD
    mixes : how many mixes of library channels were tried
    lux_per_umol : over the mixes
    sunlight_claim_umol_m2_s : PPFD that the sunlight factor would have claimed, low and high
    sunlight_share : that claim over the true PPFD, low and high, over the mixes
    standings : the group asked for, or all groups
    settles : whether a meter of this kind can settle the question under this light
    rules, ask, limits : sentences: what the light says, what else to ask, what this cannot know
    """

    question: Question
    ppfd_umol_m2_s: Range
    dli_mol_m2_d: Range
    full_hours_h: float
    factors: tuple[Factor, ...]
    mixes: int
    lux_per_umol: Range
    sunlight_claim_umol_m2_s: Range
    sunlight_share: Range
    standings: tuple[Standing, ...]
    group: str | None
    would_change: bool
    settles: bool
    rules: tuple[str, ...]
    ask: tuple[str, ...]
    limits: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class HandedLight:
    """What the hand-out tells of one setup.

    Attributes
    ----------
    corals : those that stand for all, the brightest first, at most three; of two setups the same ones
        where they have corals in common
    place : receiver of the first of them, else of the brightest site; None without sites
    day : light through the day there
    looks : what it gets beside how it looks; None without light
    """

    analysis: Analysis
    corals: tuple[Verdict, ...]
    place: int | None
    day: SiteDay | None
    looks: LooksAndGets | None

    @property
    def is_lit(self) -> bool:
        """Whether light reaches the place."""
        return self.place is not None and float(self.analysis.dose.dli[self.place]) > 0

    @property
    def shares(self) -> dict[str, float]:
        """Photons of each colour band per photon of 400-700 nm at a lit place, by the band's key."""
        return self.analysis.band_fraction(self.place) if self.place is not None else {}


@dataclass(frozen=True, eq=False)
class Handout:
    """Everything on the page.

    Attributes
    ----------
    lights : one setup, or two beside one another
    evidence : published findings for and against "photons matter more than their colour"
    trial : dose and growth as published
    date : as given; no clock is asked
    """

    lights: tuple[HandedLight, ...]
    evidence: tuple[Evidence, ...]
    trial: GrowthTrial
    date: str | None = None


@dataclass(frozen=True, eq=False)
class Slip:
    """What the next keeper needs to know of a coral's light.

    Attributes
    ----------
    analysis : of the tank that it leaves
    verdict : the coral with its dose, peak, usual light, grade, sources and interval
    previous_mol_m2_d : its dose rounded down, to be typed into the next keeper's setup; None where there is
        no light, or more than a setup takes
    date : day of leaving, "2026-03-14"
    life : the coral through the tank's diary; None where it was not asked for
    """

    analysis: Analysis
    verdict: Verdict
    previous_mol_m2_d: float | None
    date: str
    life: CoralHistory | None = None
