"""Light at places: fields at full output, days on breakpoints, daily doses."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Self

from lightdose.errors import LightdoseError, SetupError
from lightdose.model.fixture import Fixture
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.setup import Cover, Receiver, Setup, Standing, Tank, Water
from lightdose.model.spectrum import GRID_NM, ReferenceTables


@dataclass(frozen=True, eq=False)
class Scene:
    """What shines into which water: all that a light field depends on but places and weightings.

    Attributes
    ----------
    fixtures : the lit ones, in the order of the channels
    emission : array, shape (n_channel, 500); photons of each channel at full output in each cell of the
        working grid. [umol s-1]
    tables : for the absorption of the water
    standing : what stands in the water and over the rim; None where nothing does
    """

    fixtures: tuple[Fixture, ...]
    emission: FloatArray
    tank: Tank
    water: Water
    cover: Cover
    tables: ReferenceTables
    standing: Standing | None = None

    def __post_init__(self) -> None:
        emission = read_only(self.emission)
        channels = sum(len(fixture.type.channels) for fixture in self.fixtures)
        if emission.shape != (channels, GRID_NM.size):
            raise SetupError(
                f"the emission of {channels} channels needs the shape ({channels}, {GRID_NM.size}), "
                f"got {emission.shape}"
            )
        object.__setattr__(self, "emission", emission)

    @classmethod
    def of(cls, setup: Setup, emission: FloatArray, tables: ReferenceTables) -> Self:
        """The scene of a setup: its enabled fixtures over its water, with their emission."""
        return cls(setup.lit_fixtures, emission, setup.tank, setup.water, setup.cover, tables, setup.standing)

    @property
    def channels(self) -> tuple[ChannelKey, ...]:
        """Every channel of the fixtures, in file order."""
        return tuple(ChannelKey(f.name, c.name) for f in self.fixtures for c in f.type.channels)


@dataclass(frozen=True)
class ChannelKey:
    """A channel of a fixture that hangs over the tank."""

    fixture: str
    channel: str


@dataclass(frozen=True, eq=False)
class LightField:
    """Light at every receiver from every channel at full output.

    Attributes
    ----------
    receivers : n_site points
    channels : n_channel, fixtures in file order
    weightings : n_weighting keys
    response : array, shape (n_site, n_channel, n_weighting); open sky, cover and output scale included
    """

    receivers: tuple[Receiver, ...]
    channels: tuple[ChannelKey, ...]
    weightings: tuple[str, ...]
    response: FloatArray

    def __post_init__(self) -> None:
        object.__setattr__(self, "response", read_only(self.response))

    def of(self, weighting: str) -> FloatArray:
        """Response of one weighting, shape (n_site, n_channel)."""
        return self.response[:, :, self.weightings.index(weighting)]


LIGHT_PARTS = ("direct", "front", "back", "left", "right", "rim", "floor")
"""Ways by which light comes to a place: straight, off a wall under water, off the dry rim, off the floor."""


@dataclass(frozen=True, eq=False)
class AllSides:
    """PPFD at every receiver from every channel at full output, on other receivers than a flat one.

    Attributes
    ----------
    face : array, shape (n_site, n_channel); on the face of the place or coral, NaN where it looks up.
        [umol m-2 s-1]
    scalar : array, shape (n_site, n_channel); from all sides. [umol m-2 s-1]
    """

    face: FloatArray
    scalar: FloatArray

    def __post_init__(self) -> None:
        for name in ("face", "scalar"):
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class SideDoses:
    """The day's light at every receiver on its face and from all sides; arrays of shape (n_site,).

    Attributes
    ----------
    face_dli, scalar_dli : [mol m-2 d-1]
    face_peak, scalar_peak : highest PPFD. [umol m-2 s-1]; those of a face are NaN where it looks up
    """

    face_dli: FloatArray
    face_peak: FloatArray
    scalar_dli: FloatArray
    scalar_peak: FloatArray

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class LightFieldParts:
    """A light field by where its light comes from; it answers "why is it so bright here".

    Attributes
    ----------
    response : array, shape (n_site, n_part, n_channel, n_weighting), parts in the order of ``LIGHT_PARTS``;
        their sum is the light field. Light that met several walls counts for them by its reflections there.
    unabsorbed : array, shape (n_site, n_channel, n_weighting); the response if the water absorbed nothing
    mean_path_m : array, shape (n_site, n_channel); way in the water of the light that did not come off the
        floor, NaN where there is none. [m]
    surface_loss_fraction : array, shape (n_site, n_channel); share of that light lost at the surface, or NaN
    """

    receivers: tuple[Receiver, ...]
    channels: tuple[ChannelKey, ...]
    weightings: tuple[str, ...]
    response: FloatArray
    unabsorbed: FloatArray
    mean_path_m: FloatArray
    surface_loss_fraction: FloatArray

    def __post_init__(self) -> None:
        for name in ("response", "unabsorbed", "mean_path_m", "surface_loss_fraction"):
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class DayCurve:
    """A repeating day on the union of all breakpoints; everything is linear within a segment.

    Attributes
    ----------
    edge_h : array, shape (n_segment + 1,), from 0 to 24, strictly increasing. [h]
    output_start, output_end : array, shape (n_segment, n_channel); output 0-1 at both ends of each segment
        (they differ from the neighbour's where a programme jumps)
    """

    edge_h: FloatArray
    output_start: FloatArray
    output_end: FloatArray

    def __post_init__(self) -> None:
        for name in ("edge_h", "output_start", "output_end"):
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class Dose:
    """The day's light at every receiver; arrays of shape (n_site,) unless said otherwise.

    Attributes
    ----------
    dli : [mol m-2 d-1]
    peak_ppfd : highest PPFD. [umol m-2 s-1]
    brightest_hour_ppfd : highest mean over any 60 minutes. [umol m-2 s-1]
    lux_at_peak : illuminance at the time of the peak. [lx]
    photoperiod_h : time above 5 % of the peak. [h]
    any_light_h : time with any light of 300-800 nm. [h]
    peak_equivalent_h : DLI / (0.0036 peak), NaN without light. [h]
    weighted : array, shape (n_site, n_weighting); daily integral of each weighting of the light field:
        photons in mol m-2 d-1, lux as lx h / 1000 x 3.6 (the same factor 0.0036)
    dli_by_channel : array, shape (n_site, n_channel). [mol m-2 d-1]
    """

    dli: FloatArray
    peak_ppfd: FloatArray
    brightest_hour_ppfd: FloatArray
    lux_at_peak: FloatArray
    photoperiod_h: FloatArray
    any_light_h: FloatArray
    peak_equivalent_h: FloatArray
    weighted: FloatArray
    dli_by_channel: FloatArray

    def __post_init__(self) -> None:
        for name in self.__dataclass_fields__:
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class SiteSpectrum:
    """Photons of the day's mix at one receiver, at the time of its peak; shape (500,) on ``GRID_NM``.

    ``by_channel`` has the shape (n_channel, 500). [umol m-2 s-1 nm-1]
    """

    receiver: int
    name: str
    by_channel: FloatArray

    @property
    def total(self) -> FloatArray:
        """The sum over channels, shape (500,). [umol m-2 s-1 nm-1]"""
        summed: FloatArray = self.by_channel.sum(axis=0)
        return summed


@dataclass(frozen=True, eq=False)
class SiteDay:
    """PPFD at one receiver through the day; a jump is two points at one time.

    Attributes
    ----------
    time_h : array, shape (n_point,), 0 to 24, not falling. [h]
    by_channel : array, shape (n_channel, n_point), in the order of the light field's channels. [umol m-2 s-1]
    """

    receiver: int
    name: str
    time_h: FloatArray
    by_channel: FloatArray

    @property
    def total(self) -> FloatArray:
        """The sum over channels, shape (n_point,). [umol m-2 s-1]"""
        summed: FloatArray = self.by_channel.sum(axis=0)
        return summed


@dataclass(frozen=True, eq=False)
class ReefLight:
    """Photons of 400-700 nm in a clear day under the open sea.

    Attributes
    ----------
    depth_m : array, shape (n,); rising from 0. [m]
    doses_mol_m2_d : name of water ("clear", "coastal") -> array, shape (n, 2); least and most over water
        types, latitudes and seasons, falling with depth. [mol m-2 d-1]
    """

    depth_m: FloatArray
    doses_mol_m2_d: Mapping[str, FloatArray]

    def __post_init__(self) -> None:
        object.__setattr__(self, "depth_m", read_only(self.depth_m))
        held = {name: read_only(doses) for name, doses in self.doses_mol_m2_d.items()}
        object.__setattr__(self, "doses_mol_m2_d", held)
        if not all((doses[1:] < doses[:-1]).all() and (doses > 0).all() for doses in held.values()):
            raise LightdoseError("doses under the sea need to fall with depth and stay above 0")
