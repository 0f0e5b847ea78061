"""Where in the tank: light on slices, why a place is bright, and which coral goes where."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from lightdose.errors import SetupError
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.results import Analysis, Basis, Caution, DliState, DliVerdict
from lightdose.model.setup import Coral, CoralGroup, Receiver, Setup, Surface, Tank
from lightdose.model.solids import Face

PlaneKind = Literal["depth", "from_front", "from_left"]
MapQuantity = Literal["dli", "peak", "full_output"]

AXES: Final[Mapping[PlaneKind, tuple[int, int, int]]] = {
    "depth": (0, 1, 2),
    "from_front": (0, 2, 1),
    "from_left": (1, 2, 0),
}
"""Of a plane: the axis along its columns, the axis along its rows, and the axis it cuts (x, y, depth)."""

WALL_PARTS: Final = ("front", "back", "left", "right", "rim")
"""The parts of the light that count for the walls."""


@dataclass(frozen=True)
class Plane:
    """A plane through the water: level at a depth, or upright at a distance from the front or the left pane.

    ``at_m`` is the depth, or the distance from that pane. [m]
    """

    kind: PlaneKind
    at_m: float

    def spans_m(self, tank: Tank) -> tuple[float, float]:
        """Extent of the water along the plane's columns and rows. [m]"""
        spans = (tank.length_m, tank.width_m, tank.water_depth_m)
        along, down, _ = AXES[self.kind]
        return spans[along], spans[down]


@dataclass(frozen=True, eq=False)
class SliceCells:
    """Equal cells that cover a plane from wall to wall; light is taken at samples in each.

    Attributes
    ----------
    plane : Plane
    column_edges_m : array, shape (n_column + 1,), along x, or along y for a plane seen from the left. [m]
    row_edges_m : array, shape (n_row + 1,), along y, or along the depth for an upright plane. [m]
    """

    plane: Plane
    column_edges_m: FloatArray
    row_edges_m: FloatArray

    def __post_init__(self) -> None:
        for name in ("column_edges_m", "row_edges_m"):
            edges = read_only(getattr(self, name))
            if edges.ndim != 1 or edges.size < 2 or np.any(np.diff(edges) <= 0):
                raise SetupError("the edges of a slice's cells increase")
            object.__setattr__(self, name, edges)

    @property
    def shape(self) -> tuple[int, int]:
        """Rows and columns."""
        return self.row_edges_m.size - 1, self.column_edges_m.size - 1

    @property
    def column_centres_m(self) -> FloatArray:
        """Centres of the columns. [m]"""
        return 0.5 * (self.column_edges_m[1:] + self.column_edges_m[:-1])

    @property
    def row_centres_m(self) -> FloatArray:
        """Centres of the rows. [m]"""
        return 0.5 * (self.row_edges_m[1:] + self.row_edges_m[:-1])

    @property
    def centres_m(self) -> FloatArray:
        """Centres of the cells as x, y, depth, shape (n_row, n_column, 3). [m]"""
        along, down, across = AXES[self.plane.kind]
        centres = np.empty((*self.shape, 3))
        centres[:, :, along] = self.column_centres_m
        centres[:, :, down] = self.row_centres_m[:, None]
        centres[:, :, across] = self.plane.at_m
        return centres


@dataclass(frozen=True, eq=False)
class MapSlice:
    """Light on the cells of a plane, under open sky; arrays of shape (n_row, n_column).

    Cells in rock or in an opaque colony are NaN in all of them.

    Attributes
    ----------
    full_output : PPFD with every channel at full output. [umol m-2 s-1]
    peak : highest PPFD of the day. [umol m-2 s-1]
    dli : [mol m-2 d-1]
    wall_fraction, floor_fraction : share of the day's photons that came by a wall and not by the floor, and
        by the floor; NaN without light, and where they were not asked for
    """

    cells: SliceCells
    full_output: FloatArray
    peak: FloatArray
    dli: FloatArray
    wall_fraction: FloatArray
    floor_fraction: FloatArray

    def __post_init__(self) -> None:
        for name in ("full_output", "peak", "dli", "wall_fraction", "floor_fraction"):
            values = read_only(getattr(self, name))
            if values.shape != self.cells.shape:
                raise SetupError(f"a slice of {self.cells.shape} cells needs {name} of that shape")
            object.__setattr__(self, name, values)

    @property
    def plane(self) -> Plane:
        """Where the slice lies."""
        return self.cells.plane

    @property
    def water(self) -> npt.NDArray[np.bool_]:
        """The cells that hold water."""
        return np.isfinite(self.dli)

    def of(self, quantity: MapQuantity) -> FloatArray:
        """The values of one quantity."""
        return {"dli": self.dli, "peak": self.peak, "full_output": self.full_output}[quantity]


@dataclass(frozen=True, eq=False)
class SkinView:
    """Light on the skins of rock and colonies as they face, seen from above or from the front.

    Attributes
    ----------
    full_output, peak, dli : arrays as in ``MapSlice``, NaN where no skin is seen
    on : array of the cells' shape; index into ``names``, -1 where no skin is seen
    names : of the solids
    """

    cells: SliceCells
    full_output: FloatArray
    peak: FloatArray
    dli: FloatArray
    on: npt.NDArray[np.intp]
    names: tuple[str, ...]

    def of(self, quantity: MapQuantity) -> FloatArray:
        """The values of one quantity."""
        return {"dli": self.dli, "peak": self.peak, "full_output": self.full_output}[quantity]


@dataclass(frozen=True)
class GroupRegion:
    """Where a coral group would be within its usual range: its share of the water of each slice, 0-1."""

    group: CoralGroup
    band_dli: tuple[float, float]
    area_fraction: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class LightMap:
    """Slices through one tank, and what they mean for groups.

    Attributes
    ----------
    cell_m : the spacing asked for; cells are as large or a little smaller. [m]
    samples : points along each side of a cell whose mean is its value; 1 is the point at its centre
    notes : how depths and groups were chosen where they were not named, one sentence each
    skins : light on skins from above and from the front, where it was asked for
    """

    setup: Setup
    basis: Basis
    slices: tuple[MapSlice, ...]
    regions: tuple[GroupRegion, ...]
    cell_m: float
    samples: int
    notes: tuple[str, ...]
    skins: tuple[SkinView, ...] = ()


@dataclass(frozen=True)
class ChannelShare:
    """What one channel gives to a place, and the way of its light.

    Attributes
    ----------
    share : of the place's light, 0-1
    mean_path_m : way in the water of the light that did not come off the floor, None without any. [m]
    surface_loss_fraction : share of that light lost at the surface, None without any
    """

    fixture: str
    channel: str
    share: float
    dli_mol_m2_d: float
    full_output_ppfd_umol_m2_s: float
    mean_path_m: float | None
    surface_loss_fraction: float | None


@dataclass(frozen=True)
class LightExplanation:
    """Why a place is as bright as it is. Shares count each channel by its photons of the day.

    Attributes
    ----------
    by_day : False where no programme runs, so that all channels count alike, at full output
    part_share : part of ``LIGHT_PARTS`` -> share of the light, 0-1; empty without light
    mean_path_m, surface_loss_fraction : of the light that did not come off the floor, or None
    absorbed_fraction : "ppfd" and colour bands -> share that the water absorbs on the way, None without light
    level_median_dli : median over the open water at this depth, None above the water. [mol m-2 d-1]
    level_rank : part of that level that is dimmer, 0-1
    shaded_by : each solid in its light -> share of the open light by rays that it alone keeps away, 0-1
    """

    setup: Setup
    basis: Basis
    receiver: Receiver
    by_day: bool
    dli_mol_m2_d: float
    peak_ppfd_umol_m2_s: float
    full_output_ppfd_umol_m2_s: float
    part_share: Mapping[str, float]
    mean_path_m: float | None
    surface_loss_fraction: float | None
    absorbed_fraction: Mapping[str, float | None]
    channels: tuple[ChannelShare, ...]
    level_median_dli: float | None
    level_rank: float | None
    shaded_by: Mapping[str, float] = field(default_factory=dict)

    @property
    def wall_share(self) -> float:
        """Share of the light that came by walls or the rim, and not by the floor."""
        return sum(self.part_share.get(name, 0.0) for name in WALL_PARTS)

    def fixture_shares(self) -> dict[str, float]:
        """Share of each fixture, in file order."""
        shares: dict[str, float] = {}
        for channel in self.channels:
            shares[channel.fixture] = shares.get(channel.fixture, 0.0) + channel.share
        return shares


@dataclass(frozen=True)
class Spot:
    """A place that a coral may take. [m]

    ``site`` is None for a point of a grid; ``room`` is how many corals may stand there; ``on`` is what it is,
    ``face`` which way it looks, None for up.
    """

    name: str
    x_m: float
    y_m: float
    depth_m: float
    open_sky: float = 1.0
    site: str | None = None
    implicit: bool = False
    room: int = 1
    on: Surface | None = None
    face: Face | None = None


@dataclass(frozen=True)
class Grid:
    """Places all over the tank instead of its sites: level grids, or the skins of its rock. [m]"""

    spacing_m: float
    depths_m: tuple[float, ...] = ()
    on_rock: bool = False


@dataclass(frozen=True)
class PlaceWishes:
    """What the keeper asks of a placement.

    Attributes
    ----------
    corals : those to find places for, all others stay; with none named those without a place yet
    moves : re-place at most so many corals
    everything : re-place every coral that is not pinned
    pins : coral -> site at which it must stand
    not_at : corals and sites that do not go together
    not_beside : pairs of corals that stay ``beside_m`` apart
    apart_m : distance between any two corals, besides their own keep_apart. [m]
    """

    corals: tuple[str, ...] = ()
    moves: int | None = None
    everything: bool = False
    pins: Mapping[str, str] = field(default_factory=dict)
    not_at: tuple[tuple[str, str], ...] = ()
    not_beside: tuple[tuple[str, str], ...] = ()
    beside_m: float = 0.15
    apart_m: float = 0.0
    grid: Grid | None = None

    def least_apart_m(self, one: Coral, other: Coral) -> float:
        """Least level distance of two corals: the longer sting reach of both, or what is asked for. [m]"""
        least = max(one.keep_apart_m, other.keep_apart_m, self.apart_m)
        pair = {one.name, other.name}
        if any({a, b} == pair for a, b in self.not_beside):
            least = max(least, self.beside_m)
        return least


@dataclass(frozen=True)
class PlacementCost:
    """What a placement costs, in the order in which it counts; sums over the corals that may move.

    Attributes
    ----------
    penalty : 0 within, 1 off, 2 far off, 3 without a place, expected over what is not known
    moves : corals that leave their place
    moved_m : distances from today's places. [m]
    unplaced : corals without a place
    """

    penalty: float
    moves: int
    moved_m: float
    unplaced: int


@dataclass(frozen=True)
class Choice:
    """A place that a coral may take as the others stand, its calculated dose and its penalty there."""

    spot: Spot
    dli_mol_m2_d: float
    penalty: float


@dataclass(frozen=True, eq=False)
class PlacementPlan:
    """The answer of the search, before it is judged.

    Attributes
    ----------
    spots : coral -> its spot, None where it has none; those that stay included
    pinned : corals that may not move
    choices : coral -> the allowed spots where its penalty is least, were it alone
    bound : cost of the same task without rules between corals: no placement is better
    moved : corals that get another spot than today's, or one at all
    """

    spots: Mapping[str, Spot | None]
    pinned: frozenset[str]
    choices: Mapping[str, tuple[Choice, ...]]
    proven_optimal: bool
    cost: PlacementCost
    bound: PlacementCost
    places: int
    has_rules: bool
    moved: frozenset[str] = frozenset()


@dataclass(frozen=True)
class FreeSkin:
    """A free place on a rock's skin and its three lights: flat, on its face, from all sides. [mol m-2 d-1]"""

    spot: Spot
    rock: str
    dli_flat: float
    dli_face: float
    dli_all_sides: float


@dataclass(frozen=True)
class Standing:
    """A coral at a spot, and what it gets there. [mol m-2 d-1]"""

    spot: Spot
    dli_mol_m2_d: float
    dli_state: DliState
    dli_verdict: DliVerdict = "undecided"


@dataclass(frozen=True)
class PossiblePlace:
    """One of the best places for a coral, and how it would get there.

    Attributes
    ----------
    neighbours : corals nearer than the distance of "beside"
    steps : sites on the way in weekly steps, itself the last; None where no way leads there
    """

    standing: Standing
    neighbours: tuple[str, ...]
    steps: tuple[str, ...] | None


@dataclass(frozen=True)
class PlacedCoral:
    """One coral before and after.

    Attributes
    ----------
    before, after : None where it had no place, or none was left for it
    best : the best places for it, as the others stand; of corals that were asked for
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
    before: Standing | None
    after: Standing | None
    best: tuple[PossiblePlace, ...]
    moved_m: float

    @property
    def moves(self) -> bool:
        """Whether it leaves its place, or gets its first."""
        return self.after is not None and (self.before is None or self.moved_m > 1e-9)


@dataclass(frozen=True, eq=False)
class Placement:
    """Which coral goes where; ``setup`` holds the new places, so that `dose` on it gives the same numbers.

    ``skins`` are the free places on rock, where they were asked for.
    """

    setup: Setup
    before: Analysis
    after: Analysis
    corals: tuple[PlacedCoral, ...]
    plan: PlacementPlan
    wishes: PlaceWishes
    cautions: tuple[Caution, ...]
    skins: tuple[FreeSkin, ...] = ()

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
