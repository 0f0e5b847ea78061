"""Records of `place` and `move`: which coral goes where, what it gets there, and the way of one coral."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, Caution, DliState
from lightdose.model.setup import Setup

Preference = Literal["middle", "stay"]
"""What counts once doses are as near to their bands as can be: the bands' middles, or few and short moves."""


@dataclass(frozen=True)
class Spot:
    """A place that a coral may take. [m]

    ``site`` is None for a point of a grid; ``room`` is how many corals may stand there.
    """

    name: str
    x_m: float
    y_m: float
    depth_m: float
    open_sky: float = 1.0
    site: str | None = None
    implicit: bool = False
    room: int = 1


@dataclass(frozen=True)
class Grid:
    """Level grids of places all over the tank instead of its sites. [m]"""

    spacing_m: float
    depths_m: tuple[float, ...]


@dataclass(frozen=True)
class PlaceWishes:
    """What the keeper asks of a placement.

    Attributes
    ----------
    pins : coral -> site at which it must stand
    not_at : corals and sites that do not go together
    not_beside : pairs of corals that stay ``beside_m`` apart
    apart_m : distance between any two corals, besides their own keep_apart. [m]
    """

    pins: Mapping[str, str] = field(default_factory=dict)
    not_at: tuple[tuple[str, str], ...] = ()
    not_beside: tuple[tuple[str, str], ...] = ()
    beside_m: float = 0.15
    apart_m: float = 0.0
    grid: Grid | None = None
    prefer: Preference = "middle"


@dataclass(frozen=True)
class PlacementCost:
    """How far a placement is from every wish; sums over corals.

    Attributes
    ----------
    outside_ln : log distance of doses outside their bands
    middle_ln : log distance of doses from the geometric middles of their bands
    moved_m : level distances from today's places. [m]
    unplaced : corals without a place
    """

    outside_ln: float
    middle_ln: float
    moved_m: float
    unplaced: int


@dataclass(frozen=True, eq=False)
class PlacementPlan:
    """The answer of the search, before it is judged.

    Attributes
    ----------
    spots : coral -> its spot, None where it has none; pinned ones included
    free_dli : coral -> the allowed spot whose dose is nearest to its band, and its dose there, were it alone
    bound : cost of the same task without rules between corals: no placement is better
    """

    spots: Mapping[str, Spot | None]
    pinned: frozenset[str]
    free_dli: Mapping[str, tuple[Spot, float]]
    proven_optimal: bool
    cost: PlacementCost
    bound: PlacementCost
    places: int
    has_rules: bool


@dataclass(frozen=True)
class Standing:
    """A coral at a spot, and what it gets there. [mol m-2 d-1]"""

    spot: Spot
    dli_mol_m2_d: float
    dli_state: DliState


@dataclass(frozen=True)
class PlacedCoral:
    """One coral before and after.

    Attributes
    ----------
    after : None where no place was left for it
    nearest : where it is out of its band or has no place: the place nearest to its band, were it alone
    moved_m : in a straight line. [m]
    """

    coral: str
    group: str
    group_name: str
    genus: str | None
    height_m: float
    open_sky: float
    pinned: bool
    band_dli: tuple[float, float] | None
    before: Standing
    after: Standing | None
    nearest: Standing | None
    moved_m: float

    @property
    def moves(self) -> bool:
        """Whether it leaves its place."""
        return self.after is not None and self.moved_m > 1e-9


@dataclass(frozen=True, eq=False)
class Placement:
    """Which coral goes where; ``setup`` holds the new places, so that `dose` on it gives the same numbers."""

    setup: Setup
    before: Analysis
    corals: tuple[PlacedCoral, ...]
    plan: PlacementPlan
    wishes: PlaceWishes
    cautions: tuple[Caution, ...]

    @property
    def unplaced(self) -> tuple[PlacedCoral, ...]:
        """Corals without a place."""
        return tuple(c for c in self.corals if c.after is None)

    @property
    def out_of_band(self) -> tuple[PlacedCoral, ...]:
        """Corals that stand outside their band all the same."""
        settled = ("within", "not_judged")
        return tuple(c for c in self.corals if c.after is not None and c.after.dli_state not in settled)


@dataclass(frozen=True)
class MoveWishes:
    """What the keeper asks of a move; ``rise_per_week`` 0.1 is 10 %, ``start`` an ISO date or None."""

    coral: str
    to: str
    rise_per_week: float = 0.10
    step_days: int = 7
    start: str | None = None

    @property
    def growth(self) -> float:
        """Factor that one step may rise by."""
        return float((1 + self.rise_per_week) ** (self.step_days / 7))


@dataclass(frozen=True)
class MoveStep:
    """One move of the coral; ``rise_per_week`` is against the place before, scaled to seven days."""

    day: int
    date: str | None
    site: str
    x_m: float
    y_m: float
    depth_m: float
    dli_mol_m2_d: float
    rise_per_week: float


@dataclass(frozen=True)
class ShadedNeighbour:
    """A coral that the moved one would stand in the light of.

    ``hidden_fraction`` is the share of the lamps' straight light, by geometry alone, and ``sites`` the
    stones of the way from which it does so.
    """

    coral: str
    site: str
    hidden_fraction: float
    sites: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Move:
    """The way of one coral to another site.

    Attributes
    ----------
    start_dli, start_site : where it stands today. [mol m-2 d-1]
    shaded : neighbours that it hides lamps from; empty too where its height is not known
    """

    before: Analysis
    coral: str
    group: str
    height_m: float
    band_dli: tuple[float, float] | None
    start_site: str
    start_dli: float
    end_state: DliState
    steps: tuple[MoveStep, ...]
    shaded: tuple[ShadedNeighbour, ...]
    wishes: MoveWishes
    cautions: tuple[Caution, ...]

    @property
    def days(self) -> int:
        """From the first move to the last."""
        return self.steps[-1].day
