"""A tank with its lamps, ready for light at any place: all that does not depend on the place is kept."""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from typing import TYPE_CHECKING, Final, Protocol

import numpy as np
import numpy.typing as npt

from lightdose.model.fixture import Beam, Fixture, PhotometricLobe
from lightdose.model.light import LIGHT_PARTS
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.physics.emission import SourceCells, distinct_beams, intensity_per_flux, source_cells
from lightdose.physics.floor import LEAST_REFLECTANCE, FloorGrid, FloorLight, floor_grid, floor_light
from lightdose.physics.light_paths import Rays, Route, Shading, routes
from lightdose.physics.pane_guides import all_rays
from lightdose.physics.ray_limits import (
    FEWER_OR_HIGHER,
    FLOOR_RAYS_AT_MOST,
    possible_rays,
    refuse_too_many_rays,
)
from lightdose.physics.walls import STRAIGHT
from lightdose.physics.water import share_left

if TYPE_CHECKING:
    from lightdose.physics.looks import Look

FLOOR_SAMPLE_M = 0.045
"""About this far apart light is taken on the floor, for its bounce. By trial against 5 mm: light at places
changes by 0.01 % (beams of 120 degrees) to 0.2 % at most (12 degrees)."""

FLOOR_SAMPLES_AT_MOST = 25_000
"""About so many of these points at most: a floor of 22 m2 has them. Our choice."""

FLOOR_COARSENESS = 2.0
"""Sides of a lamp's cells for the light on the floor, relative to those for places."""

RAYS_AT_ONCE = 400_000
"""Possible rays in one block: by measurement, large enough that two threads seldom wait for each other."""

RAY_PARTS = len(LIGHT_PARTS) - 1
"""All parts but the floor's come by rays."""


@dataclass(frozen=True, eq=False)
class Lamp:
    """A fixture ready for rays: its cells, its images, its lobes, and the lobe of each channel.

    The floor's bounce is smooth: its light comes by ``floor_routes``, from larger cells, without double
    reflections in the rim, each pane as a whole.
    """

    cells: SourceCells
    routes: tuple[Route, ...]
    floor_routes: tuple[Route, ...]
    beams: tuple[Beam, ...]
    beam_of_channel: tuple[int, ...]


class Bounce(Protocol):
    """Light off floor and solids where solids stand, as ``bounce.BouncedLight``."""

    def flat(self, points_m: FloatArray, floor: FloatArray | None) -> FloatArray:
        """On places that look up, from the floor's light without solids; (n_point, beam * node)."""
        ...

    def around(self, points_m: FloatArray, normals: FloatArray) -> tuple[FloatArray, FloatArray]:
        """On faces and from all sides, each (n_point, beam * node)."""
        ...

    def holds(self, points_m: FloatArray) -> npt.NDArray[np.bool_]:
        """Whether rock holds points."""
        ...

    def at_many(self, for_points: int) -> Bounce:
        """The same for another number of places."""
        ...


@dataclass(frozen=True, eq=False)
class LitTank:
    """Lamps, the absorptions at which light is computed, and the floor's light (None if it gives none).

    ``bounce`` is what solids leave of the floor's light and what they send back; None where none stands.
    """

    tank: Tank
    index: float
    lamps: tuple[Lamp, ...]
    nodes_per_m: FloatArray
    floor: FloorLight | None
    bounce: Bounce | None = None

    def bounced(self, points_m: FloatArray) -> FloatArray | None:
        """Light off the floor and off solids at points under water that look up, (n_point, beam * node).

        None where neither gives any.

        Parameters
        ----------
        points_m : array, shape (n_point, 3)
            x, y, depth. [m]
        """
        flat = None if self.floor is None else self.floor.at(points_m)
        return flat if self.bounce is None else self.bounce.flat(points_m, flat)

    @property
    def points_at_once(self) -> int:
        """Points in one block."""
        return block_size(route for lamp in self.lamps for route in lamp.routes)

    @property
    def values_a_ray(self) -> int:
        """Values that a ray is added to: absorptions and lobes of the lamp with the most of them."""
        return self.nodes_per_m.size * max((len(lamp.beams) for lamp in self.lamps), default=1)

    @property
    def floor_places(self) -> int:
        """Points at which light on the floor is taken; 0 where it sends none back."""
        return 0 if self.floor is None else math.prod(axis.size for axis in _sample_axes(self.floor.grid))


def block_size(paths: Iterable[Route]) -> int:
    """Points that may be computed at once by several routes.

    Source
    ------
    Measured: time a point against size of the block.
    """
    rays_a_point = max((possible_rays([route]) for route in paths), default=1)
    return max(1, RAYS_AT_ONCE // rays_a_point)


def lit_tank(
    fixtures: Sequence[Fixture],
    tank: Tank,
    index: float,
    nodes_per_m: FloatArray,
    *,
    for_points: int,
    shade: Shading | None = None,
) -> LitTank:
    """Prepare lamps, images and the floor's bounce.

    Parameters
    ----------
    fixtures : sequence of Fixture
    tank : Tank
    index : float
        Refractive index of the water.
    nodes_per_m : array, shape (n_node,)
        Absorptions at which light is computed. [m-1]
    for_points : int
        How many points will be asked for.
    shade : Shading or None
        What stands in the way of rays over the rim.

    Raises
    ------
    SetupError
        If an aperture needs too many cells, or a tank too many rays.
    """
    lamps = []
    for fixture in fixtures:
        cells, rough = source_cells(fixture), source_cells(fixture, FLOOR_COARSENESS)
        beams, which = distinct_beams([channel.beam for channel in fixture.type.channels])
        few = tuple(
            r
            for r in routes(tank, index, rough, faces=False, shade=shade)
            if r.lamp.x is None or r.lamp.y is None
        )
        lamps.append(Lamp(cells, routes(tank, index, cells, shade=shade), few, beams, which))
    ways = [(fixture, lamp.routes) for fixture, lamp in zip(fixtures, lamps, strict=True)]
    refuse_too_many_rays(ways, tank, 1, "one place")
    floor = None
    if tank.floor_reflectance >= LEAST_REFLECTANCE and index > 1 and lamps and for_points > 0:
        grid = floor_grid(tank, index)
        points = math.prod(axis.size for axis in _sample_axes(grid))
        ways = [(fixture, lamp.floor_routes) for fixture, lamp in zip(fixtures, lamps, strict=True)]
        lobes_in_all = sum(len(lamp.beams) for lamp in lamps) / len(lamps)
        values = math.ceil(nodes_per_m.size * lobes_in_all)
        what = "the light that its floor sends back"
        refuse_too_many_rays(ways, tank, points, what, values, FLOOR_RAYS_AT_MOST, FEWER_OR_HIGHER)
        falling = np.concatenate([_falling(lamp, grid, nodes_per_m) for lamp in lamps]).transpose(2, 0, 1)
        floor = floor_light(grid, falling, nodes_per_m, for_points=for_points)
    return LitTank(tank, index, tuple(lamps), nodes_per_m, floor)


def _sample_axes(grid: FloorGrid) -> list[FloatArray]:
    """Where light is taken on the floor along x and y: a few points a patch, fewer on a huge floor."""
    spans = ((grid.x_m.size, grid.tank.length_m), (grid.y_m.size, grid.tank.width_m))
    apart = max(FLOOR_SAMPLE_M, math.sqrt(grid.tank.length_m * grid.tank.width_m / FLOOR_SAMPLES_AT_MOST))
    parts = [max(1, round(span / count / apart)) for count, span in spans]
    return [
        (np.arange(count * n) + 0.5) * span / (count * n)
        for (count, span), n in zip(spans, parts, strict=True)
    ]


def _falling(lamp: Lamp, grid: FloorGrid, nodes_per_m: FloatArray) -> FloatArray:
    """Light of a lamp on each patch, shape (beam, node, patch): means over a few points of the patch."""
    axes, tank = _sample_axes(grid), grid.tank
    x, y = (axis.ravel() for axis in np.meshgrid(*axes, indexing="ij"))
    points = np.column_stack((x, y, np.full(x.size, tank.water_depth_m)))
    block = block_size(lamp.floor_routes)
    blocks = [points[i : i + block] for i in range(0, x.size, block)]
    light = [light_under_water(lamp, lamp.floor_routes, part, nodes_per_m)[:, 0] for part in blocks]
    shape = (
        len(lamp.beams),
        nodes_per_m.size,
        grid.x_m.size,
        -1,
        grid.y_m.size,
        axes[1].size // grid.y_m.size,
    )
    fine = np.concatenate(light, axis=2).reshape(shape)
    return np.asarray(fine.mean(axis=(3, 5)).reshape(*shape[:2], -1))


def lobes(
    lamp: Lamp, tangent: FloatArray, cosine: FloatArray, to_x: FloatArray, to_y: FloatArray
) -> list[FloatArray]:
    """Intensity of each lobe of a lamp towards directions in the air that lead sideways along (to_x, to_y).

    Parameters
    ----------
    lamp : Lamp
    tangent, cosine : array
        Of the angle from straight down.
    to_x, to_y : array of the same shape
        Any vector along the sideways direction.

    Returns
    -------
    list of array of that shape
        Intensity per unit flux. [sr-1]

    Source
    ------
    ``beam.intensity_per_flux``.
    """
    turn = None
    if any(isinstance(beam, PhotometricLobe) for beam in lamp.beams):
        turn = np.arctan2(to_y, to_x) - lamp.cells.turn_rad
    return [intensity_per_flux(beam, tangent, cosine, turn) for beam in lamp.beams]


PAIRS_IN_AIR: Final = 10_000
"""Pairs of a cell and a point in the air that are computed at once: they fit the cache. Our choice."""


def light_in_air(
    lamp: Lamp, points_m: FloatArray, normals: FloatArray | None = None, *, scalar: bool = False
) -> FloatArray:
    """Direct beam at points above the water; no rim, no surface.

    Parameters
    ----------
    lamp : Lamp
    points_m : array, shape (n_point, 3)
        x, y, negative depth. [m]
    normals : array, shape (n_point, 3), or None
        Which way each looks: along x, y and upwards; None where all look up.
    scalar : bool
        Light from all sides.

    Returns
    -------
    array, shape (n_beam, n_point)
        Irradiance per unit flux. [m-2]

    Source
    ------
    Inverse-square and cosine law.
    """
    x_m, y_m, depth_m = points_m.T
    out = np.zeros((len(lamp.beams), x_m.size))
    if x_m.size == 0:
        return out
    drop = lamp.cells.height_m + depth_m
    below = np.flatnonzero(drop > 0)
    drop = drop[below]
    at_once = max(1, PAIRS_IN_AIR // max(1, below.size))
    for first in range(0, lamp.cells.x_m.size, at_once):
        some = slice(first, first + at_once)
        to_x, to_y = x_m[below] - lamp.cells.x_m[some, None], y_m[below] - lamp.cells.y_m[some, None]
        tangent = np.sqrt(to_x**2 + to_y**2) / drop
        cosine = 1 / np.sqrt(1 + tangent * tangent)
        gain = cosine**3 / (drop * drop * lamp.cells.x_m.size)
        if scalar:
            gain /= cosine
        elif normals is not None:
            n_x, n_y, n_up = normals[below].T
            gain *= np.maximum(n_up - (n_x * to_x + n_y * to_y) / drop, 0.0)
        for beam, lobe in enumerate(lobes(lamp, tangent, cosine, to_x, to_y)):
            out[beam, below] += (lobe * gain).sum(axis=0)
    return out


def _ray_parts(route: Route, found: Rays) -> FloatArray:
    """How a ray counts among the parts, shape (RAY_PARTS, n_ray): walls share it by their reflections."""
    parts = np.zeros((RAY_PARTS, found.point.size))
    if route.lamp != STRAIGHT:
        parts[LIGHT_PARTS.index("rim")] = 1
        return parts
    x, y = route.images_x, route.images_y
    for name, hits in (
        ("left", x.low_hits[found.image_x]),
        ("right", x.high_hits[found.image_x]),
        ("front", y.low_hits[found.image_y]),
        ("back", y.high_hits[found.image_y]),
    ):
        parts[LIGHT_PARTS.index(name)] = hits
    reflections = parts.sum(axis=0)
    parts[LIGHT_PARTS.index("direct")] = reflections == 0
    return np.asarray(parts / np.maximum(reflections, 1))


def rays_of(paths: Sequence[Route], points_m: FloatArray) -> Iterator[tuple[Route, Rays]]:
    """All rays of several routes to points (n, 3) under water: x, y, depth. [m]"""
    for route in paths:
        for found in all_rays(route, *points_m.T):
            if found.point.size:
                yield route, found


def light_under_water(
    lamp: Lamp,
    paths: Sequence[Route],
    points_m: FloatArray,
    nodes_per_m: FloatArray,
    *,
    split: bool = False,
    looks: Sequence[Look | None] = (None,),
) -> FloatArray:
    """Light of a lamp at points under water, straight and by the walls, at each absorption.

    Parameters
    ----------
    lamp : Lamp
    paths : sequence of Route
    points_m : array, shape (n_point, 3)
        x, y, depth. [m]
    nodes_per_m : array, shape (n_node,)
        Absorption of the water. [m-1]
    split : bool
        Keep the parts apart that come by rays, all of LIGHT_PARTS but the floor; else there is one part.
    looks : sequence of Look or None
        What rays count for at the points; None for flat places that look up. Several share the rays.

    Returns
    -------
    array, shape (n_beam, n_look * n_part, n_node, n_point)
        Planar irradiance per unit flux. [m-2]

    Source
    ------
    ``pane_guides.all_rays``; Beer-Lambert law.
    """
    count = len(points_m)
    out = np.zeros((len(lamp.beams), len(looks) * (RAY_PARTS if split else 1), nodes_per_m.size, count))
    for route, found in rays_of(paths, points_m):
        parts = _ray_parts(route, found) if split else (1.0,)
        seen = [1.0 if look is None else look(route, found) for look in looks]
        gains = [found.gain_per_m2 * (own * part) for own in seen for part in parts]
        lit = [
            (out[beam, part], lobe * gain)
            for beam, lobe in enumerate(lobes(lamp, found.tangent, found.cosine, found.k_x, found.k_y))
            for part, gain in enumerate(gains)
        ]
        for node, absorption in enumerate(nodes_per_m):
            share = share_left(absorption, found.path_m)
            for at_nodes, light in lit:  # a single place has one sum, which a product gives much sooner
                at_nodes[node] += (
                    light @ share if count == 1 else np.bincount(found.point, light * share, count)
                )
    return out


def path_and_surface(lamp: Lamp, points_m: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Sums over a lamp's rays in water that absorbs nothing: light, light x path, light before the surface.

    Parameters
    ----------
    lamp : Lamp
    points_m : array, shape (n_point, 3)
        x, y, depth. [m]

    Returns
    -------
    three arrays, shape (n_beam, n_point)
        Per unit flux. [m-2], [m-1], [m-2]
    """
    sums = np.zeros((3, len(lamp.beams), len(points_m)))
    for _, found in rays_of(lamp.routes, points_m):
        for beam, lobe in enumerate(lobes(lamp, found.tangent, found.cosine, found.k_x, found.k_y)):
            light = lobe * found.gain_per_m2
            for i, value in enumerate((light, light * found.path_m, light / found.surface)):
                sums[i, beam] += np.bincount(found.point, value, len(points_m))
    return sums[0], sums[1], sums[2]
