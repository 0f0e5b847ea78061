"""Plausible changes of a setup, and what each does to the day's light."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, DliState
from lightdose.model.tank import WallKind

ChangeKind = Literal[
    "yellowing",
    "output",
    "height",
    "level",
    "open_sky",
    "channel_points",
    "channel_off",
    "wall",
    "floor",
    "cover",
]
SEVERITY: Mapping[DliState | None, int] = {
    "not_judged": -1,
    "within": 0,
    "below": 1,
    "above": 1,
    "far_below": 2,
    "far_above": 2,
    None: 3,
}
"""How badly a coral stands; None is dry."""

FIELD_KINDS: frozenset[ChangeKind] = frozenset({"yellowing", "height", "level", "wall", "floor", "cover"})
"""Changes that need the light field again; the others only weigh it anew."""


@dataclass(frozen=True)
class Change:
    """One thing that is different.

    Attributes
    ----------
    amount : yellowing [m-1], output and open sky and cover (factor), height and level [m], channel points
        (0-1, added to the channel's highest level), floor (reflectance), wall (reflectance where stated)
    relative : whether ``amount`` is added to today's value (height, yellowing)
    fixture : name, or None for all of them
    """

    kind: ChangeKind
    amount: float = 0.0
    relative: bool = False
    fixture: str | None = None
    channel: str | None = None
    wall: str | None = None
    wall_kind: WallKind | None = None


@dataclass(frozen=True)
class Case:
    """Changes that come together.

    Attributes
    ----------
    row, end : its row in the tornado figure, and what it is called there
    source : whose values these are
    baseline : what the case is compared with, as changes of today's setup; empty for today's
    overnight : whether it comes from one day to the next, by the keeper's own hand
    """

    name: str
    changes: tuple[Change, ...]
    row: str
    end: str
    source: str = "our choice"
    baseline: tuple[Change, ...] = ()
    overnight: bool = False


@dataclass(frozen=True)
class CoralOutcome:
    """A coral's dose and state in a case, beside those before it. [mol m-2 d-1]; None where it falls dry."""

    coral: str
    group: str
    dli_mol_m2_d: float | None
    dli_ratio: float | None
    state_before: DliState
    dli_state: DliState | None

    @property
    def changes_state(self) -> bool:
        """Whether its state is another one, or it stands dry."""
        return self.dli_state != self.state_before

    @property
    def worsens(self) -> bool:
        """Whether it stands farther from usual than before."""
        return SEVERITY[self.dli_state] > SEVERITY[self.state_before]


@dataclass(frozen=True)
class SiteOutcome:
    """A site's dose in a case over its dose before; the state is that of its coral that stands worst."""

    site: str
    dli_mol_m2_d: float | None
    dli_ratio: float | None
    dli_state: DliState | None
    corals: tuple[CoralOutcome, ...]


@dataclass(frozen=True)
class CaseOutcome:
    """What a case does to every site; ``remark`` says what the keeper must know besides."""

    case: Case
    sites: tuple[SiteOutcome, ...]
    remark: str = ""

    @property
    def ratios(self) -> tuple[float, ...]:
        """Dose ratios of the sites that have light before and water around them."""
        return tuple(s.dli_ratio for s in self.sites if s.dli_ratio is not None)

    @property
    def changed(self) -> tuple[CoralOutcome, ...]:
        """The corals whose state is another one."""
        return tuple(c for s in self.sites for c in s.corals if c.changes_state)


@dataclass(frozen=True, eq=False)
class Sensitivity:
    """Every case, worst first; ``skipped`` says which could not be computed and why."""

    analysis: Analysis
    outcomes: tuple[CaseOutcome, ...]
    skipped: tuple[str, ...]
