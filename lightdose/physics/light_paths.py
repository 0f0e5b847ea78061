"""Rays from the cells of a fixture to points in the water, straight and by way of the walls.

Every pair of a point and a mirror image that a cell may see is one ray of a flat list, so that few points
with many cells and many points with one lamp run through the same array operations.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.physics.emission import SourceCells
from lightdose.physics.walls import (
    BEHIND,
    FRONT,
    STRAIGHT,
    WHOLE,
    AxisImages,
    AxisRays,
    LampImage,
    axis_images,
    axis_walls,
    lamp_images,
    lit_opening,
    lost_way_slope,
    mean_stay,
    mirrored_cells,
    pane_reflectance,
    pane_stay,
    rim_gain,
    wall_reflectance,
)
from lightdose.physics.water import entry_tangent, newton_step, surface_transmittance

MOST_REFLECTIONS = 16
"""Reflections at a pair of walls that are followed at most: a lamp far outside, in water of index near 1."""


class Shading(Protocol):
    """What stands in the way of rays, as ``shade.Shade``."""

    @property
    def cost(self) -> float:
        """What a ray costs, over one in a tank where nothing stands."""
        ...

    def passed(self, route: Route, rays: Rays, points: FloatArray) -> FloatArray:
        """Share of each ray that comes to its place among points (3, n_point), x, y, up."""
        ...


@dataclass(frozen=True, eq=False)
class Route:
    """A lamp, seen straight or in the rim, the part of the opening it lights, and the images of the water.

    ``lit_x_m`` and ``lit_y_m`` have the shape (2, n_cell): from, to. [m] ``shade`` is what stands in the way.
    """

    tank: Tank
    index: float
    lamp: LampImage
    cells: SourceCells
    lit_x_m: FloatArray
    lit_y_m: FloatArray
    images_x: AxisImages
    images_y: AxisImages
    shade: Shading | None = None


def entry_slope(reach_m: FloatArray, height_m: float, index: float) -> FloatArray:
    """Sideways way per depth of a ray that enters the water ``reach_m`` beside its lamp.

    Parameters
    ----------
    reach_m : array
        Way beside the lamp; below 0 counts as 0. [m]
    height_m : float
        Height of the lamp above the water. [m]
    index : float
        Refractive index of the water.

    Returns
    -------
    array
        Tangent of the angle in the water.

    Source
    ------
    Snell's law.
    """
    reach = np.maximum(reach_m, 0.0)
    return np.asarray(reach / np.sqrt(index**2 * height_m**2 + (index**2 - 1) * reach * reach))


def _order(
    span_m: float,
    at_m: FloatArray,
    lit_m: FloatArray,
    spread_m: float,
    height_m: float,
    depth_m: float,
    index: float,
) -> int:
    """Most reflections at a pair of walls: one more than the whole spans a ray crosses under water."""
    reach = np.max(np.maximum(lit_m[1] - at_m, at_m - lit_m[0])) + 0.5 * spread_m
    crossed = entry_slope(np.asarray(reach), height_m, index) * depth_m / span_m
    return min(MOST_REFLECTIONS, 1 + int(crossed))


def routes(
    tank: Tank, index: float, cells: SourceCells, *, faces: bool = True, shade: Shading | None = None
) -> tuple[Route, ...]:
    """The lamp and its images in the rim, each with the images of the tank that the proportions need.

    Parameters
    ----------
    tank : Tank
    index : float
        Refractive index of the water.
    cells : SourceCells
    faces : bool
        Keep the light of a pane's front face apart, as ``axis_images``.
    shade : Shading or None
        What stands in the way of the rays.

    Source
    ------
    Geometry: sideways way under water of the flattest ray that enters through the opening.
    """
    (left, right), (front, back) = axis_walls(tank)
    h, d, glass = cells.height_m, tank.water_depth_m, tank.glass_thickness_m
    found = []
    for image in lamp_images(tank):
        seen = mirrored_cells(cells, image, tank)
        lit_x = lit_opening(seen.x_m, tank.length_m, image.x, h, tank.rim_m)
        lit_y = lit_opening(seen.y_m, tank.width_m, image.y, h, tank.rim_m)
        order_x = _order(tank.length_m, seen.x_m, lit_x, seen.spread_x_m, h, d, index)
        order_y = _order(tank.width_m, seen.y_m, lit_y, seen.spread_y_m, h, d, index)
        images_x = axis_images(tank.length_m, order_x, left, right, glass, faces=faces)
        images_y = axis_images(tank.width_m, order_y, front, back, glass, faces=faces)
        found.append(Route(tank, index, image, seen, lit_x, lit_y, images_x, images_y, shade))
    return tuple(found)


IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

DISPLACEMENT_PASSES = 3

EDGE_M = 1e-6
"""Rays that pass a glass joint by less than this are not lost: a place in the corner itself has the light of
the water beside it, however its rays are rounded."""


@dataclass(frozen=True, eq=False)
class Rays:
    """Rays that arrive at points under water; arrays of shape (n_ray,).

    Attributes
    ----------
    point : index of the point
    image_x, image_y : index into the images of each axis
    tangent, cosine : of the angle in the air
    k_x, k_y : horizontal wave vector where the ray leaves the lamp, in vacuum wave numbers
    gain_per_m2 : irradiance on a horizontal receiver per unit intensity, without absorption. [sr m-2]
    path_m : way in the water. [m]
    surface : share that passed the surface
    cell : index of the lamp's cell
    """

    point: IntArray
    image_x: IntArray
    image_y: IntArray
    tangent: FloatArray
    cosine: FloatArray
    k_x: FloatArray
    k_y: FloatArray
    gain_per_m2: FloatArray
    path_m: FloatArray
    surface: FloatArray
    cell: IntArray


def possible(
    image_at: FloatArray,
    depth_m: FloatArray,
    cell_at: FloatArray,
    spread_m: float,
    lit: FloatArray,
    height_m: float,
    index: float,
) -> BoolArray:
    """Which images of which points a cell may reach along one axis.

    Parameters
    ----------
    image_at : array, shape (n_image, n_point)
        Where the images stand. [m]
    depth_m : array, shape (n_point,)
    cell_at : array, shape (n_cell,)
    spread_m : float
        Width of a cell. [m]
    lit : array, shape (2, n_cell)
        Part of the opening that each cell lights. [m]
    height_m, index : float
        Height of the lamp above the water [m]; refractive index of the water.

    Returns
    -------
    array of bool, shape (n_image, n_cell, n_point)
    """
    high, low = lit[1] + spread_m, lit[0] - spread_m
    rise, fall = entry_slope(high - cell_at, height_m, index), entry_slope(cell_at - low, height_m, index)
    furthest = high[:, None] + rise[:, None] * depth_m
    nearest = low[:, None] - fall[:, None] * depth_m
    return np.asarray((image_at[:, None, :] <= furthest) & (image_at[:, None, :] >= nearest))


def _candidates(
    route: Route, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray
) -> tuple[IntArray, IntArray, IntArray, IntArray, FloatArray]:
    """Rays worth computing: image of x, image of y, cell, point, and where the image stands, (2, n)."""
    along_x, along_y, cells = route.images_x, route.images_y, route.cells
    at_x = along_x.sign[:, None] * x_m + along_x.offset_m[:, None]
    at_y = along_y.sign[:, None] * y_m + along_y.offset_m[:, None]
    h, n = cells.height_m, route.index
    seen_x = possible(at_x, depth_m, cells.x_m, cells.spread_x_m, route.lit_x_m, h, n)
    seen_y = possible(at_y, depth_m, cells.y_m, cells.spread_y_m, route.lit_y_m, h, n)
    pairs_x, pairs_y = np.divmod(np.arange(along_x.number.size * along_y.number.size), along_y.number.size)
    plain = (along_x.glass_m[pairs_x] == 0) & (along_y.glass_m[pairs_y] == 0)
    order = np.argsort(~plain, kind="stable")
    pairs_x, pairs_y = pairs_x[order], pairs_y[order]
    pair, cell, point = np.nonzero(seen_x[pairs_x] & seen_y[pairs_y])
    image_x, image_y = pairs_x[pair], pairs_y[pair]
    return image_x, image_y, cell, point, np.stack((at_x[image_x, point], at_y[image_y, point]))


def ray_count(route: Route, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray) -> int:
    """How many rays of a route are worth computing to points under water.

    Parameters
    ----------
    route : Route
    x_m, y_m, depth_m : array, shape (n_point,)
        [m]
    """
    return _candidates(route, x_m, y_m, depth_m)[2].size


def _covered(entry_m: FloatArray, span_m: float, softness_m: FloatArray | None) -> FloatArray:
    """Share of a cell's image that stands inside the opening, seen along one axis."""
    if softness_m is None:
        return ((entry_m >= 0) & (entry_m <= span_m)).astype(np.float64)
    width = np.maximum(softness_m, 1e-9)
    return np.clip((span_m - entry_m) / width + 0.5, 0, 1) * np.clip(entry_m / width + 0.5, 0, 1)


def hit_times(
    route: Route, axis: int, ray: IntArray, entry_m: FloatArray, k: FloatArray
) -> list[tuple[FloatArray, FloatArray, BoolArray]]:
    """When rays meet the panes of an axis, one entry for each reflection in turn.

    Time is counted so that a ray moves by its wave vector; while it is in a pane of one axis it stands still
    along that axis only.

    Parameters
    ----------
    route : Route
    axis : int
        0 for x, 1 for y.
    ray : array, shape (n,)
        Index into the images of the axis.
    entry_m, k : array, shape (n,)
        Where each ray enters the water, and its wave vector, along the axis.

    Returns
    -------
    list of (start, stay, real), each of shape (n,)
        When the ray comes to the pane, counted from the surface, how long it stays in it, and whether it has
        so many reflections at all. [m]

    Source
    ------
    Geometry; ``pane_stay``.
    """
    images = (route.images_x, route.images_y)[axis]
    span = (route.tank.length_m, route.tank.width_m)[axis]
    number = images.number[ray]
    hits = np.abs(number)
    speed = np.maximum(np.abs(k), 1e-12)
    behind = (images.face[ray] == BEHIND).astype(np.float64)
    stay = pane_stay(speed, images.glass_m[ray], behind, route.index, route.tank.glass_index)
    stay /= np.maximum(hits, 1)
    first = np.where(number > 0, span - entry_m, entry_m) / speed
    return [(first + m * (span / speed + stay), stay, hits > m) for m in range(int(hits.max(initial=0)))]


def _joint_open(
    route: Route, ray_x: IntArray, ray_y: IntArray, entry: FloatArray, k: FloatArray
) -> BoolArray:
    """Whether a ray meets no pane of one axis while it is in a pane of the other: there is the glass joint.

    Light off a front face stays for no time, but it misses that face if it comes there within the glass.
    """
    free = np.ones(ray_x.shape, dtype=bool)
    stays_x, stays_y = route.images_x.glass_m[ray_x] > 0, route.images_y.glass_m[ray_y] > 0
    pane_x = stays_x | (route.images_x.face[ray_x] == FRONT)
    pane_y = stays_y | (route.images_y.face[ray_y] == FRONT)
    both = np.flatnonzero(pane_x & pane_y & (stays_x | stays_y))
    if both.size == 0:
        return free
    in_x = hit_times(route, 0, ray_x[both], entry[0, both], k[0, both])
    in_y = hit_times(route, 1, ray_y[both], entry[1, both], k[1, both])
    for start_x, stay_x, real_x in in_x:
        for start_y, stay_y, real_y in in_y:
            apart = (start_y - start_x >= stay_x - EDGE_M) | (start_x - start_y >= stay_y - EDGE_M)
            free[both] &= apart | ~real_x | ~real_y
    return free


@dataclass(frozen=True, eq=False)
class Tube:
    """How the rays of a small solid angle spread: in_air = h / c, g0 the spread sideways."""

    cosine: FloatArray
    in_air: FloatArray
    spread: FloatArray
    path_m: FloatArray
    g0: FloatArray
    lean: FloatArray
    lean_air: FloatArray

    def shift(self, k_axis: FloatArray) -> FloatArray:
        """How far the entry point moves along an axis when the source moves by one. [m m-1]"""
        square = k_axis * k_axis
        return np.asarray(1 - (self.in_air + self.lean_air * square) / (self.g0 + self.lean * square))


def tube_of(
    route: Route,
    u: FloatArray,
    k: FloatArray,
    s: FloatArray,
    glass: FloatArray,
    behind: FloatArray,
    rim: FloatArray,
) -> Tube:
    """Flux tube and path of rays that are solved.

    Parameters
    ----------
    route : Route
    u : array, shape (n,)
        Tangent of the angle in the air.
    k : array, shape (2, n)
        Level wave vector.
    s : array, shape (n,)
        Depth. [m]
    glass, behind, rim : array, shape (2, m) or (2, 1)
        As in ``pane_stay``, and what is lost in panes of the rim; of the last m rays only. [m]

    Source
    ------
    Conservation of flux: the Jacobian of the sideways way with respect to the wave vector.
    """
    n2, g2 = route.index**2, route.tank.glass_index**2
    c2 = 1 / (1 + u * u)
    c = np.sqrt(c2)
    kw2 = c2 + (n2 - 1)
    in_air, in_water = route.cells.height_m / c, s / np.sqrt(kw2)
    # (g1 - g0) / k^2 without cancellation: h/c^3 - h/c = h k^2/c^3, s n^2/k_w^3 - s/k_w = s k^2/k_w^3
    lean_air = in_air / c2
    lean = lean_air + in_water / kw2
    g0 = in_air + in_water
    spread = g0 * (g0 + lean * (k[0] * k[0] + k[1] * k[1]))
    path = in_water * route.index
    if glass.size:
        tail = slice(spread.size - glass.shape[1], None)
        square, lean_t = k[:, tail] ** 2, lean[tail]
        indices = (route.index, route.tank.glass_index)
        stay = pane_stay(k[:, tail], glass, behind, *indices)
        own = g0[tail] + lean_t * square - lost_way_slope(k[:, tail], stay, behind, *indices)
        if np.any(rim):
            own -= rim * (g2 - 1) / (g2 - 1 + square) ** 1.5
        spread[tail] = np.abs(own[0] * own[1] - lean_t * lean_t * square[0] * square[1])
        path[tail] -= route.index * np.sum(stay, axis=0)
        np.maximum(path, 0.0, out=path)
    return Tube(c, in_air, spread, path, g0, lean, lean_air)


def _reflect(gain: FloatArray, route: Route, ray_x: IntArray, ray_y: IntArray, k: FloatArray) -> None:
    """Multiply each ray by the reflectances of the walls it met; ``k`` has the shape (2, n_ray)."""
    for axis, (images, ray, walls) in enumerate(
        zip((route.images_x, route.images_y), (ray_x, ray_y), axis_walls(route.tank), strict=True)
    ):
        for hits, wall in zip((images.low_hits[ray], images.high_hits[ray]), walls, strict=True):
            met = np.flatnonzero(hits)
            if met.size:
                normal, face = np.abs(k[axis, met]), images.face[ray[met]]
                back = wall_reflectance(wall, normal, route.index, route.tank.glass_index) ** hits[met]
                part = np.flatnonzero(face != WHOLE)
                if part.size:
                    front = pane_reflectance(normal[part], route.index, route.tank.glass_index, painted=True)
                    back[part] = np.where(face[part] == FRONT, front, back[part] - front)
                gain[met] *= back


def per_reach(tangent: FloatArray, reach_m: FloatArray) -> FloatArray:
    """Level wave vector over the level way of a ray, 0 where it goes straight down. [m-1]

    Parameters
    ----------
    tangent, reach_m : array, shape (n,)
        Of the angle in the air; sideways way. [m]

    Source
    ------
    Geometry, in vacuum wave numbers.
    """
    share = np.zeros_like(reach_m)
    np.divide(tangent / np.sqrt(1 + tangent * tangent), reach_m, out=share, where=reach_m > 0)
    return share


def straight(
    away_m: FloatArray, height_m: float, depth_m: FloatArray, index: float
) -> tuple[FloatArray, FloatArray]:
    """Tangent in the air, (n,), and level wave vector, (2, n), of rays without any glass on their way.

    Parameters
    ----------
    away_m : array, shape (2, n)
        From the lamp to the point or its image, along x and y. [m]
    height_m : float
        Height of the lamp above the water. [m]
    depth_m : array, shape (n,)
        Depth of the points. [m]
    index : float
        Refractive index of the water.

    Source
    ------
    Snell's law.
    """
    reach = np.sqrt(away_m[0] * away_m[0] + away_m[1] * away_m[1])
    tangent = entry_tangent(reach, height_m, depth_m, index)
    return tangent, away_m * per_reach(tangent, reach)


def _bend(
    route: Route,
    tangent: FloatArray,
    k: FloatArray,
    away: FloatArray,
    glass: FloatArray,
    behind: FloatArray,
    rim: FloatArray,
    s: FloatArray,
) -> None:
    """Solve again with the displacement in panes under water and in the rim, in place."""
    n, h = route.index, route.cells.height_m
    rest_air = route.tank.glass_index**2 - 1
    for _ in range(DISPLACEMENT_PASSES):
        to = away + k * pane_stay(k, glass, behind, n, route.tank.glass_index)
        if np.any(rim):
            to += rim * k / np.sqrt(rest_air + k * k)
        reach = np.sqrt(to[0] * to[0] + to[1] * to[1])
        tangent += newton_step(tangent, reach, h, s, n)
        np.multiply(to, per_reach(tangent, reach), out=k)


def _rim_displacement(route: Route, k: FloatArray) -> FloatArray:
    """What each ray loses along x and y in the panes of the rim, over k / k_glass, (2, n) or (2, 1). [m]"""
    if route.lamp == STRAIGHT:
        return np.zeros((2, 1))
    lost: FloatArray = np.zeros(k.shape)
    for axis, far in enumerate(route.lamp.far_panes):
        if far is not None:
            lost[axis] = mean_stay(k[axis], route.tank.glass_thickness_m, route.tank.glass_index)
    return lost


def visible(
    route: Route, cell: IntArray, start: FloatArray, k: FloatArray, tube: Tube, rim: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Where rays enter the water, and how much of each cell shines through the opening and by the rim.

    Parameters
    ----------
    route : Route
    cell : array, shape (n,)
        Index of the lamp's cell.
    start, k : array, shape (2, n)
        Where the ray starts, and its level wave vector. [m]
    tube : Tube
    rim : array, shape (2, n) or (2, 1)
        What is lost in panes of the rim. [m]

    Returns
    -------
    two arrays, shapes (2, n), (n,)
        Entry points [m], and shares.

    Source
    ------
    Geometry; ``rim_gain``.
    """
    tank, cells = route.tank, route.cells
    sideways = tube.in_air * k
    entry = start + sideways
    if np.any(rim):
        entry -= rim * k / np.sqrt(tank.glass_index**2 - 1 + k * k)
    share = np.ones(cell.size)
    for axis, (span, spread, inset) in enumerate(
        (
            (tank.length_m, cells.spread_x_m, cells.inset_x_m),
            (tank.width_m, cells.spread_y_m, cells.inset_y_m),
        )
    ):
        shift = tube.shift(k[axis]) if spread else np.zeros(0)
        if spread:
            share *= _covered(entry[axis] + shift * inset[cell], span, spread * np.abs(shift))
        else:
            share *= _covered(entry[axis], span, None)
        if tank.rim_m:
            rays_ = AxisRays(
                start[axis], inset[cell], entry[axis], np.abs(sideways[axis]), shift, spread, k[axis]
            )
            share *= rim_gain(tank, axis, route.lamp.far_panes[axis], rays_, cells.height_m)
    return entry, share


def rays(route: Route, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray) -> Rays:
    """All rays of a route to points under water, straight and by way of the walls.

    With g0 = h/c + s/k_w, g1 = h/c^3 + s n^2/k_w^3 the rays of a small solid angle spread over J = g0 g1 per
    unit of wave-vector area (with displacement in the panes the Jacobian of both axes), and the planar
    irradiance is I T R V / (c J).

    Parameters
    ----------
    route : Route
    x_m, y_m, depth_m : array, shape (n_point,)
        Points; depth 0 or more. [m]

    Returns
    -------
    Rays
        ``gain_per_m2`` holds the share 1 / n_cell of each cell.

    Source
    ------
    Conservation of flux in a refracted tube of rays; Snell's law, Fresnel's equations, method of images with
    the displacement of a plane pane.
    """
    n, cells = route.index, route.cells
    ray_x, ray_y, cell, point, image_at = _candidates(route, x_m, y_m, depth_m)
    start, s = np.stack((cells.x_m[cell], cells.y_m[cell])), depth_m[point]
    away = image_at - start
    u, k = straight(away, cells.height_m, s, n)
    glass = np.stack((route.images_x.glass_m[ray_x], route.images_y.glass_m[ray_y]))
    rim = _rim_displacement(route, k)
    tail = slice(0 if np.any(rim) else _first(np.any(glass > 0, axis=0)), None)
    faces = np.stack((route.images_x.face[ray_x[tail]], route.images_y.face[ray_y[tail]]))
    behind = (faces == BEHIND).astype(np.float64)
    _bend(route, u[tail], k[:, tail], away[:, tail], glass[:, tail], behind, rim, s[tail])
    tube = tube_of(route, u, k, s, glass[:, tail], behind, rim)
    entry, gain = visible(route, cell, start, k, tube, rim)
    surface = surface_transmittance(tube.cosine, n)
    gain *= surface
    gain /= tube.spread * tube.cosine
    gain /= cells.x_m.size
    _reflect(gain, route, ray_x, ray_y, k)
    gain *= _joint_open(route, ray_x, ray_y, entry, k)
    for axis, far in enumerate(route.lamp.far_panes):
        if far is not None:
            k[axis] *= -1
    found = Rays(point, ray_x, ray_y, u, tube.cosine, k[0], k[1], gain, tube.path_m, surface, cell)
    if route.shade is not None:
        found.gain_per_m2[:] *= route.shade.passed(route, found, np.stack((x_m, y_m, -depth_m)))
    return found


def _first(flags: BoolArray) -> int:
    """Index of the first true flag, or the number of flags."""
    return int(np.argmax(flags)) if np.any(flags) else flags.size
