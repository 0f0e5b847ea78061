"""What growing colonies do to the light of a tank in the months to come."""

from __future__ import annotations

from collections.abc import Mapping

from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, DliState

SLOWER, FASTER = 0.5, 2.0
"""Growth is told with a range of so many times the stated one. Our choice."""


@dataclass(frozen=True)
class Shading:
    """A growing colony that comes to stand in the light of a coral.

    ``share`` holds, for each of the months looked at, what it keeps beyond what it keeps today of the light
    that would come by rays, 0-1.
    """

    by: str
    coral: str
    share: tuple[float, ...]


@dataclass(frozen=True)
class Fall:
    """A coral that falls below its range as colonies grow.

    Attributes
    ----------
    months : until then, at the stated growth; slower or faster growth divides it by ``SLOWER``, ``FASTER``
    state : where its dose stands in the end
    by : growing colonies -> what each alone keeps from it by then beyond today, those that take most first
    """

    coral: str
    band_dli: tuple[float, float]
    dli_today: float
    dli_end: float
    state: DliState
    months: float
    by: Mapping[str, float]

    @property
    def months_range(self) -> tuple[float, float]:
        """With growth at its fastest and at its slowest."""
        return self.months / FASTER, self.months / SLOWER


@dataclass(frozen=True)
class Trim:
    """A colony to cut back, so that corals stay in their range.

    Attributes
    ----------
    coral : whose colony
    diameter_m, end_m : today, and in the end if nobody cuts it
    to_m : the largest diameter that is small enough; None where cutting it does not do
    keeps : the corals that it would push below their range, the first to fall first
    months : until the first of them falls
    """

    coral: str
    diameter_m: float
    end_m: float
    to_m: float | None
    keeps: tuple[str, ...]
    months: float


@dataclass(frozen=True, eq=False)
class Growing:
    """A tank whose colonies grow and nothing else changes.

    Attributes
    ----------
    months : looked at, from 0 on
    counts : how all corals stand in each of them by their calculated doses; None where none is judged
    dli : coral -> its dose in each of them. [mol m-2 d-1]
    shadings : in the months after 0, the most notable first
    falls : the first to fall first
    trims : the most useful first
    growing, still : corals that grow, and corals whose growth is not told
    """

    analysis: Analysis
    months: tuple[float, ...]
    counts: tuple[Mapping[str, int] | None, ...]
    dli: Mapping[str, tuple[float, ...]]
    shadings: tuple[Shading, ...]
    falls: tuple[Fall, ...]
    trims: tuple[Trim, ...]
    growing: tuple[str, ...]
    still: tuple[str, ...]
