"""The hand-out for a customer: one page's worth of an analysis, or of two beside one another."""

from __future__ import annotations

from lightdose.model.appearance import LooksAndGets
from lightdose.model.explaining import DiminishingReturn, Evidence
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, SiteDay


@dataclass(frozen=True, eq=False)
class HandedLight:
    """What the hand-out tells of one setup.

    Attributes
    ----------
    places : receivers of the brightest and the dimmest coral, of sites where there are no corals; one where
        these are the same, none without sites
    days : light through the day at these places
    looks : what the first of them gets beside how it looks; None without light
    returns : what more, or less, of the same light would bring
    """

    analysis: Analysis
    places: tuple[int, ...]
    days: tuple[SiteDay, ...]
    looks: LooksAndGets | None
    returns: DiminishingReturn

    def place_name(self, receiver: int) -> str:
        """The coral that stands there, else the name of the place."""
        here = (v.coral for v in self.analysis.verdicts if v.receiver == receiver)
        return next(here, self.analysis.light_field.receivers[receiver].name)


@dataclass(frozen=True, eq=False)
class Handout:
    """Everything on the page.

    Attributes
    ----------
    lights : one setup, or two beside one another
    evidence : published findings for and against "photons matter more than their colour"
    date : as given; no clock is asked
    """

    lights: tuple[HandedLight, ...]
    evidence: tuple[Evidence, ...]
    date: str | None = None
