"""Another tank set so that its places get what places here get: what was asked, and how near it comes."""

from __future__ import annotations

from collections.abc import Mapping

from lightdose.model.fixture import Programme
from lightdose.model.light import ChannelKey
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.results import Analysis, BasisKey, weaker_basis

BAND_WIDTH_NM = 10


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
    """The plateau of one channel there; ``output`` and ``level`` 0-1."""

    key: ChannelKey
    output: float
    level: float
    at_limit: bool


@dataclass(frozen=True, eq=False)
class Match:
    """The programme for the other tank, how near it comes, and what it cannot give.

    Attributes
    ----------
    here, there : the light of both tanks today
    common_factor : geometric mean over the pairs of dose got over dose wanted; 1 where it was reached
    spread : lowest and highest of these factors
    other_colour : share of the photons of 400-700 nm that come in other wavelengths than wanted
    colour_drift : largest share of the photons here that changes its channel through the day
    programmes : fixture -> programme
    """

    here: Analysis
    there: Analysis
    pairs: tuple[PairMatch, ...]
    common_factor: float
    spread: tuple[float, float]
    reached: bool
    other_colour: float
    colour_drift: float
    unmatched: tuple[UnmatchedBand, ...]
    channels: tuple[MatchedChannel, ...]
    programmes: Mapping[str, Programme]

    @property
    def basis(self) -> BasisKey:
        """What the weaker side stands on."""
        return weaker_basis(self.here.basis, self.there.basis)

    @property
    def measure_first(self) -> bool:
        """Whether a side stands on no readings."""
        return self.basis != "measured"
