"""Records of maps: slices through the tank, and where a coral group would be within its usual range."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

import numpy as np

from lightdose.errors import SetupError
from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.coral import CoralGroup, Receiver
from lightdose.model.record import dataclass
from lightdose.model.results import Basis
from lightdose.model.setup import Setup

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

    def of(self, quantity: MapQuantity) -> FloatArray:
        """The values of one quantity."""
        return {"dli": self.dli, "peak": self.peak, "full_output": self.full_output}[quantity]


@dataclass(frozen=True)
class GroupRegion:
    """Where a coral group would be within its usual range: its share of each slice's area, 0-1."""

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
    """

    setup: Setup
    basis: Basis
    slices: tuple[MapSlice, ...]
    regions: tuple[GroupRegion, ...]
    cell_m: float
    samples: int
    notes: tuple[str, ...]
    version: str


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
    version: str

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
