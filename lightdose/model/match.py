"""Another tank set so that its places get what places here get: what was asked, and how near it comes."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from lightdose.model.fixture import Programme
from lightdose.model.light import ChannelKey
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.results import Analysis, BasisKey, weaker_basis

BAND_WIDTH_NM = 10

Kept = Literal["look", "spectrum"]
"""What comes next after the dose: the look of the lamps, or the photons of each 10 nm."""


@dataclass(frozen=True)
class MatchWishes:
    """What the keeper asks for; ``level_steps``: of a level between 0 and 1, 100 for whole percents."""

    keep: Kept = "look"
    level_steps: int = 1000


@dataclass(frozen=True)
class PlacePair:
    """A place here and the one there that should get the same, by name and by receiver of its setup."""

    here: str
    there: str
    receiver_here: int
    receiver_there: int


@dataclass(frozen=True, eq=False)
class PairMatch:
    """What one pair was to get, and what the written programme gives. [mol m-2 d-1, umol m-2 s-1]

    Attributes
    ----------
    dli_before : what the place there gets today
    band_target, band_got : array, shape (50,); photons of the day in each 10 nm from 300 to 800 nm
    """

    here: str
    there: str
    dli_target: float
    dli_got: float
    dli_before: float
    peak_target: float
    peak_got: float
    band_target: FloatArray
    band_got: FloatArray

    def __post_init__(self) -> None:
        for name in ("band_target", "band_got"):
            object.__setattr__(self, name, read_only(getattr(self, name)))

    @property
    def factor(self) -> float:
        """Dose got over dose wanted."""
        return self.dli_got / self.dli_target


@dataclass(frozen=True)
class UnmatchedBand:
    """10 nm that the other tank gives too little of.

    Attributes
    ----------
    share : missing photons as a share of the whole dose of 400-700 nm, mean over the pairs
    share_of_band : the same as a share of what these 10 nm should get
    """

    low_nm: float
    high_nm: float
    share: float
    share_of_band: float


@dataclass(frozen=True)
class MatchedChannel:
    """The plateau of one channel there, 0-1: ``output``, ``level`` that runs, ``set_level`` as it is set.

    The last two differ where the fixture has an overall setting besides.
    """

    key: ChannelKey
    output: float
    level: float
    at_limit: bool
    set_level: float


@dataclass(frozen=True, eq=False)
class MatchedLight:
    """One setting of the other tank, as its programmes read once they are written.

    Attributes
    ----------
    common_factor : geometric mean over the pairs of dose got over dose wanted; 1 where it was reached
    spread : lowest and highest of these factors
    reached : whether the channels can give the dose
    xy : CIE 1931 chromaticity of all that is emitted in a day
    look_off : its distance in x, y from that of the lamps here
    spectrum_off : weighted misses of the 10 nm doses at equal dose, as a share of what is wanted
    other_colour : share of the photons of 400-700 nm that come in other wavelengths than wanted
    programmes : fixture -> programme
    """

    pairs: tuple[PairMatch, ...]
    common_factor: float
    spread: tuple[float, float]
    reached: bool
    xy: tuple[float, float]
    look_off: float
    spectrum_off: float
    other_colour: float
    unmatched: tuple[UnmatchedBand, ...]
    channels: tuple[MatchedChannel, ...]
    programmes: Mapping[str, Programme]


@dataclass(frozen=True, eq=False)
class Match:
    """Programmes for the other tank, how near they come, and what they cannot give.

    Attributes
    ----------
    here, there : the light of both tanks today
    keep : which end of ``front`` was asked for
    here_xy, today_xy : chromaticity of all that is emitted in a day, here and there today; None if dark
    front : settings from the nearest look to the nearest spectrum; one where nothing pulls them apart
    colour_drift : largest share of the photons here that changes its channel through the day
    """

    here: Analysis
    there: Analysis
    keep: Kept
    here_xy: tuple[float, float]
    today_xy: tuple[float, float] | None
    front: tuple[MatchedLight, ...]
    colour_drift: float

    @property
    def nearest(self) -> dict[Kept, MatchedLight]:
        """The setting of the nearest look, and that of the nearest spectrum."""
        return {"look": self.front[0], "spectrum": self.front[-1]}

    @property
    def chosen(self) -> MatchedLight:
        """The setting that was asked for."""
        return self.nearest[self.keep]

    @property
    def overall(self) -> dict[str, tuple[float, float]]:
        """Fixtures with an overall setting: its plateau today and as matched, 0-1."""
        now = {f.name: f.programme.dial for f in self.there.setup.lit_fixtures}
        then = {name: p.dial for name, p in self.chosen.programmes.items()}
        return {
            name: (dial.plateau, new.plateau)
            for name, dial in now.items()
            if dial is not None and (new := then.get(name)) is not None
        }

    @property
    def basis(self) -> BasisKey:
        """What the weaker side stands on."""
        return weaker_basis(self.here.basis, self.there.basis)

    @property
    def measure_first(self) -> bool:
        """Whether a side stands on no readings."""
        return self.basis != "measured"
