"""Rays solved: where they enter the water, what panes and the rim do to them, what arrives by them."""

from __future__ import annotations

import numpy as np

from lightdose.model.record import FloatArray, dataclass
from lightdose.physics.light_paths import BoolArray, IntArray, Rays, Route
from lightdose.physics.sights import ImagePairs, sights, stretches
from lightdose.physics.walls import (
    BEHIND,
    FRONT,
    PLAIN,
    STRAIGHT,
    WHOLE,
    AxisRays,
    axis_walls,
    behind_reflectance,
    mean_stay,
    pane_crossing,
    pane_reflectance,
    pane_stay,
    rim_gain,
    wall_reflectance,
)
from lightdose.physics.water import entry_tangent, newton_step, surface_transmittance

DISPLACEMENT_PASSES = 3

EDGE_M = 1e-6
"""Rays that pass a glass joint by less than this are not lost: a place in the corner itself has the light of
the water beside it, however its rays are rounded."""

ROUNDING_M = 1e-12
"""Rays that enter so little beside the opening do so by rounding, as from a lamp in the plane of a pane to a
place in it."""


def _covered(entry_m: FloatArray, span_m: float, softness_m: FloatArray) -> FloatArray:
    """Share of a cell's image that stands inside the opening, seen along one axis."""
    width = np.maximum(softness_m, 1e-9)
    return np.clip((span_m - entry_m) / width + 0.5, 0, 1) * np.clip(entry_m / width + 0.5, 0, 1)


def hit_times(
    route: Route, axis: int, ray: IntArray, entry_m: FloatArray, k: FloatArray, stay_m: FloatArray
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
    entry_m, k, stay_m : array, shape (n,)
        Where each ray enters the water, its wave vector and its stay in all panes, along the axis.

    Returns
    -------
    list of (start, stay, real), each of shape (n,)
        When the ray comes to the pane, counted from the surface, how long it stays in it, and whether it has
        so many reflections at all. [m]

    Source
    ------
    Geometry; ``pane_stay``.
    """
    span = (route.tank.length_m, route.tank.width_m)[axis]
    number = (route.images_x, route.images_y)[axis].number[ray]
    hits = np.abs(number)
    speed = np.maximum(np.abs(k), 1e-12)
    first = np.where(number > 0, span - entry_m, entry_m) / speed
    most = int(hits.max(initial=0))
    if most <= 1:
        return [(first, stay_m, hits > 0)] * most
    stay = stay_m / np.maximum(hits, 1)
    return [(first + m * (span / speed + stay), stay, hits > m) for m in range(most)]


def _through_joint(bundle: _Bundle, entry: FloatArray, stay: FloatArray, gain: FloatArray) -> None:
    """Take out rays that meet a pane of one axis while they are in a pane of the other: there is the joint.

    Light off a front face stays for no time, but it misses that face if it comes there within the glass.
    """
    route, pairs, k = bundle.route, bundle.pairs, bundle.k
    both = (pairs.face_x != PLAIN) & (pairs.face_y != PLAIN)
    both &= (pairs.face_x >= WHOLE) | (pairs.face_y >= WHOLE)
    for meets, run in stretches(both.astype(np.intp), bundle.count):
        if not meets:
            continue
        stay_x, stay_y = stay[:, run.start - bundle.first : run.stop - bundle.first]
        in_x = hit_times(route, 0, bundle.image_x[run], entry[0, run], k[0, run], stay_x)
        in_y = hit_times(route, 1, bundle.image_y[run], entry[1, run], k[1, run], stay_y)
        for start_x, stay_x, real_x in in_x:
            for start_y, stay_y, real_y in in_y:
                later = start_y - start_x
                apart = (later >= stay_x - EDGE_M) | (later <= EDGE_M - stay_y)
                gain[run] *= apart | ~real_x | ~real_y


@dataclass(frozen=True, eq=False)
class Tube:
    """How the rays of a small solid angle spread: in_air = h / c, g0 the spread sideways; down is k_w."""

    cosine: FloatArray
    down: FloatArray
    in_air: FloatArray
    spread: FloatArray
    path_m: FloatArray
    g0: FloatArray
    lean: FloatArray
    lean_air: FloatArray

    def shift(self, k_axis: FloatArray, which: IntArray | slice = slice(None)) -> FloatArray:
        """How far the entry point of some rays moves along an axis when the source moves by one, 0 to 1."""
        square = k_axis[which] ** 2
        in_air = self.in_air[which] + self.lean_air[which] * square
        return np.asarray(1 - in_air / (self.g0[which] + self.lean[which] * square))


def tube_of(
    route: Route,
    cosine: FloatArray,
    k: FloatArray,
    s: FloatArray,
    stay: FloatArray,
    lost: FloatArray,
) -> Tube:
    """Flux tube and path of rays that are solved.

    Parameters
    ----------
    route : Route
    cosine : array, shape (n,)
        Of the angle in the air.
    k : array, shape (2, n)
        Level wave vector.
    s : array, shape (n,)
        Depth. [m]
    stay, lost : array, shape (2, m)
        Stay in panes under water, and change of the way that is lost in panes with k; of the last m rays
        only. [m]

    Source
    ------
    Conservation of flux: the Jacobian of the sideways way with respect to the wave vector.
    """
    c2 = cosine * cosine
    kw2 = c2 + (route.index**2 - 1)
    down = np.sqrt(kw2)
    in_air, in_water = route.cells.height_m / cosine, s / down
    # (g1 - g0) / k^2 without cancellation: h/c^3 - h/c = h k^2/c^3, s n^2/k_w^3 - s/k_w = s k^2/k_w^3
    lean_air = in_air / c2
    kw2 = np.divide(in_water, kw2, out=kw2)
    lean = lean_air + kw2
    g0 = in_air + in_water
    path = np.multiply(in_water, route.index, out=in_water)
    spread = np.subtract(1, c2, out=c2)
    spread *= lean
    spread += g0
    spread *= g0
    if stay.shape[1]:
        tail = slice(spread.size - stay.shape[1], None)
        square, lean_t = k[:, tail] ** 2, lean[tail]
        own = lean_t * square
        own += g0[tail]
        own -= lost
        square *= lean_t
        spread[tail] = np.abs(own[0] * own[1] - square[0] * square[1])
        path[tail] -= route.index * (stay[0] + stay[1])
        np.maximum(path, 0.0, out=path)
    return Tube(cosine, down, in_air, spread, path, g0, lean, lean_air)


def per_reach(tangent: FloatArray, reach_m: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Cosine in the air, and level wave vector over the level way of a ray, 0 straight down. [m-1]

    Parameters
    ----------
    tangent, reach_m : array, shape (n,)
        Of the angle in the air; sideways way. [m]

    Source
    ------
    Geometry, in vacuum wave numbers.
    """
    cosine = tangent * tangent
    cosine += 1
    np.sqrt(cosine, out=cosine)
    np.divide(1, cosine, out=cosine)
    sine = tangent * cosine
    sine /= np.maximum(reach_m, np.finfo(np.float64).tiny)
    return cosine, sine


def straight(
    away_m: FloatArray, height_m: float, depth_m: FloatArray, index: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Tangent and cosine in the air, (n,), and level wave vector, (2, n), of rays that no glass displaces.

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
    reach = level_reach(away_m)
    tangent = entry_tangent(reach, height_m, depth_m, index)
    cosine, share = per_reach(tangent, reach)
    return tangent, cosine, away_m * share


def level_reach(to_m: FloatArray) -> FloatArray:
    """Length of ways along x and y.

    Parameters
    ----------
    to_m : array, shape (2, n)
        [m]

    Source
    ------
    Pythagoras.
    """
    reach = to_m[0] * to_m[0]
    reach += to_m[1] * to_m[1]
    return np.asarray(np.sqrt(reach, out=reach))


@dataclass(frozen=True, eq=False)
class _Panes:
    """A stretch of rays to which the panes of an axis do the same; ``glass_m`` as in ``AxisImages``."""

    axis: int
    face: int
    rays: slice
    glass_m: FloatArray | float

    def after(self, first: int) -> slice:
        """The same stretch of a list that begins with the ray ``first``."""
        return slice(self.rays.start - first, self.rays.stop - first)


def _panes(pairs: ImagePairs, route: Route, count: IntArray, ray: tuple[IntArray, IntArray]) -> list[_Panes]:
    """All stretches along x, then along y."""
    found = []
    for axis, (images, face_of) in enumerate(
        ((route.images_x, pairs.face_x), (route.images_y, pairs.face_y))
    ):
        for face, run in stretches(face_of, count):
            glass = images.glass_m[images.face == face]
            alike = bool(np.all(glass == glass[0]))
            found.append(
                _Panes(axis, face, run, float(glass[0]) if alike else images.glass_m[ray[axis][run]])
            )
    return found


@dataclass(frozen=True, eq=False)
class _Bundle:
    """Rays of all pairs of images, their arrays changed in place until they are solved.

    Attributes
    ----------
    count : array, shape (n_pair,); rays of each pair, which follow one another
    first : the first ray that some pane may displace; those before are solved
    cell, point, image_x, image_y, depth_m, tangent, cosine : array, shape (n,)
    k : array, shape (2, n)
    rim_m : array, shape (2, n), or None; lost in panes of the rim, over k / k_glass. [m]
    panes : what the panes of each axis do to which rays
    """

    route: Route
    pairs: ImagePairs
    count: IntArray
    first: int
    cell: IntArray
    point: IntArray
    image_x: IntArray
    image_y: IntArray
    depth_m: FloatArray
    tangent: FloatArray
    cosine: FloatArray
    k: FloatArray
    rim_m: FloatArray | None
    panes: list[_Panes]


def _bundle(route: Route, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray) -> _Bundle:
    """Every ray worth computing, displaced by what panes do to it."""
    seen = sights(route, x_m, y_m, depth_m)
    pairs, cell, point, away = seen.pairs, seen.cell, seen.point, seen.away_m
    s = depth_m[point]
    tangent, cosine, k = straight(away, route.cells.height_m, s, route.index)
    count, own = pairs.rays(seen.count)
    if own is not None:
        cell, point = cell[own], point[own]
        s, tangent, cosine = s[own], tangent[own], cosine[own]
        k, away = np.take(k, own, axis=1), np.take(away, own, axis=1)
    rim = _rim_displacement(route, k)
    displaced = (pairs.face_x >= WHOLE) | (pairs.face_y >= WHOLE)
    first = 0 if rim is not None else int(np.sum(count[~displaced]))
    images = np.repeat(pairs.image_x, count), np.repeat(pairs.image_y, count)
    panes = _panes(pairs, route, count, images)
    found = _Bundle(route, pairs, count, first, cell, point, *images, s, tangent, cosine, k, rim, panes)
    _bend(found, away[:, first:])
    return found


def _bend(bundle: _Bundle, away: FloatArray) -> None:
    """Solve again with the displacement in panes under water and in the rim, in place."""
    route, first = bundle.route, bundle.first
    n, g, h = route.index, route.tank.glass_index, route.cells.height_m
    k, s = bundle.k[:, first:], bundle.depth_m[first:]
    tangent = bundle.tangent[first:]
    lost = np.zeros(k.shape)
    for _ in range(DISPLACEMENT_PASSES if s.size else 0):
        for panes in bundle.panes:
            if panes.face >= WHOLE:
                own = bundle.k[panes.axis, panes.rays]
                stay = pane_stay(own, panes.glass_m, n, g, behind=panes.face == BEHIND)
                np.multiply(own, stay, out=lost[panes.axis, panes.after(first)])
        to = away + lost
        if bundle.rim_m is not None:
            to += bundle.rim_m * k / np.sqrt(g * g - 1 + k * k)
        reach = level_reach(to)
        tangent += newton_step(tangent, reach, h, s, n)
        bundle.cosine[first:], share = per_reach(tangent, reach)
        np.multiply(to, share, out=k)


def _meet_panes(bundle: _Bundle, gain: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Multiply rays by the reflectances of their walls; stays, and change of the way lost in panes with k.

    Both (2, n), of the rays from ``first`` on. [m]
    """
    route, images, first = bundle.route, (bundle.image_x, bundle.image_y), bundle.first
    n, g = route.index, route.tank.glass_index
    k = bundle.k[:, first:]
    stay, lost = np.zeros((2, *k.shape))
    for panes in bundle.panes:
        part, own, passed = gain[panes.rays], bundle.k[panes.axis, panes.rays], None
        if panes.face >= WHOLE:
            at, behind = (panes.axis, panes.after(first)), panes.face == BEHIND
            stay[at], lost[at], passed = pane_crossing(own, panes.glass_m, n, g, behind=behind)
        if panes.face == FRONT:
            part *= pane_reflectance(np.abs(own), n, g, painted=True)
        elif passed is not None:
            part *= behind_reflectance(own, passed, n, g)
        else:
            _reflect(route, panes, images[panes.axis][panes.rays], own, part)
    if bundle.rim_m is not None:
        lost += bundle.rim_m * (g * g - 1) / (g * g - 1 + k * k) ** 1.5
    return stay, lost


def _reflect(route: Route, panes: _Panes, ray: IntArray, k: FloatArray, gain: FloatArray) -> None:
    """Multiply rays by the reflectances of all walls that they met, where these are not 1."""
    images, walls = (route.images_x, route.images_y)[panes.axis], axis_walls(route.tank)[panes.axis]
    for wall, hits in zip(walls, (images.low_hits, images.high_hits), strict=True):
        if np.any(hits[images.face == panes.face]):
            times = hits[ray]
            weaker = times > 0
            if wall.kind == "clean":
                weaker &= k * k >= route.index**2 - 1
            met = np.flatnonzero(weaker)
            if met.size:
                back = wall_reflectance(wall, np.abs(k[met]), route.index, route.tank.glass_index)
                gain[met] *= back ** times[met]


def _rim_displacement(route: Route, k: FloatArray) -> FloatArray | None:
    """What each ray loses along x and y in the panes of the rim, over k / k_glass, (2, n). [m]"""
    if route.lamp == STRAIGHT:
        return None
    lost: FloatArray = np.zeros(k.shape)
    for axis, far in enumerate(route.lamp.far_panes):
        if far is not None:
            lost[axis] = mean_stay(k[axis], route.tank.glass_thickness_m, route.tank.glass_index)
    return lost


def visible(
    route: Route, cell: IntArray, start: FloatArray, k: FloatArray, tube: Tube, rim: FloatArray | None = None
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
    rim : array, shape (2, n), or None
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
    if rim is not None:
        entry -= rim * k / np.sqrt(tank.glass_index**2 - 1 + k * k)
    share = np.ones(cell.size)
    for axis, (span, spread, inset) in enumerate(
        (
            (tank.length_m, cells.spread_x_m, cells.inset_x_m),
            (tank.width_m, cells.spread_y_m, cells.inset_y_m),
        )
    ):
        inside = np.minimum(entry[axis], span - entry[axis])
        if spread:
            # Further inside all of a cell is seen: its image is no larger than the cell.
            edge = np.flatnonzero(inside < 0.5 * spread + np.max(np.abs(inset)))
            shift = tube.shift(k[axis], edge)
            share[edge] *= _covered(
                entry[axis, edge] + shift * inset[cell[edge]], span, spread * np.abs(shift)
            )
        else:
            share *= inside >= -ROUNDING_M
        if tank.rim_m:
            shift = tube.shift(k[axis]) if spread else np.zeros(0)
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
    cells, bundle = route.cells, _bundle(route, x_m, y_m, depth_m)
    k, cell = bundle.k, bundle.cell
    gain: FloatArray = np.ones(cell.size)
    stay, lost = _meet_panes(bundle, gain)
    tube = tube_of(route, bundle.cosine, k, bundle.depth_m, stay, lost)
    start = np.take(np.stack((cells.x_m, cells.y_m)), cell, axis=1)
    entry, share = visible(route, cell, start, k, tube, bundle.rim_m)
    gain *= share
    _through_joint(bundle, entry, stay, gain)
    surface = surface_transmittance(tube.cosine, route.index, tube.down)
    gain *= surface
    gain /= tube.spread * tube.cosine * cells.x_m.size
    for axis, far in enumerate(route.lamp.far_panes):
        if far is not None:
            k[axis] *= -1
    found = Rays(
        bundle.point,
        bundle.image_x,
        bundle.image_y,
        bundle.tangent,
        tube.cosine,
        k[0],
        k[1],
        gain,
        tube.path_m,
        surface,
        cell,
    )
    if route.shade is not None:
        found.gain_per_m2[:] *= route.shade.passed(route, found, np.stack((x_m, y_m, -depth_m)))
    return found
