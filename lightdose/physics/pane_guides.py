"""Light that a glass joint leads into the next pane, along it, and back into the water at its other end.

A ray in a pane that comes to the joint before it leaves goes on in the glass of the other pane. Its wave
vector towards the water is too small there to leave: the ray runs to and fro between the two faces, and along
the pane as fast as light does in glass, until it comes to the joint at the other end. There it may find the
way into the opposite of its first pane, and out of that into the water, as steep as it was before.

For the water this is one more kind of mirror image: along one axis the ray runs through whole spans with the
speed it has in glass, along the other it is held for so long. ``solved_rays`` loses such light at the first
joint. Only in tanks so deep that light crosses a whole pane on its way down does any of it come back.

Left out, each by tracing under 0.3 % of all light at the foot of a column: light that leaves a joint in
another direction than it came, or at the joint where it went in. Light by way of the rim is left out too.
Light that was led once is not followed into a further joint: what that takes and what it brings are about the
same. Solids hold back led light as if it had come by the mirror image.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
import numpy.typing as npt

from lightdose.model.record import FloatArray
from lightdose.model.setup import Wall
from lightdose.physics.light_paths import Rays, Route, possible
from lightdose.physics.sights import ray_count
from lightdose.physics.solved_rays import (
    Tube,
    hit_times,
    level_reach,
    per_reach,
    rays,
    straight,
    tube_of,
    visible,
)
from lightdose.physics.walls import (
    STRAIGHT,
    glass_rest,
    pane_crossing,
    pane_reflectance,
    pane_stay,
    wall_reflectance,
)
from lightdose.physics.water import newton_step, surface_transmittance

IntArray = npt.NDArray[np.intp]

LED_COST = 0.02
"""What each meeting of a led ray with a pane costs, over a ray by a mirror image; by measurement."""

PASSES = 8
"""Times that the direction of a ray is solved anew with its way in the glass; by trial against more."""


def all_rays(route: Route, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray) -> Iterator[Rays]:
    """Rays of a route to points under water: by mirror images, then what panes have led along them.

    Parameters
    ----------
    route : Route
    x_m, y_m, depth_m : array, shape (n_point,)
        Points; depth 0 or more. [m]

    Source
    ------
    ``solved_rays.rays``, ``led_rays``.
    """
    yield rays(route, x_m, y_m, depth_m)
    for axis, crossings in _ways_along(route):
        led = led_rays(route, axis, crossings, np.stack((x_m, y_m)), depth_m)
        if route.shade is not None:
            led.gain_per_m2[:] *= route.shade.passed(route, led, np.stack((x_m, y_m, -depth_m)))
        yield led


def _ways_along(route: Route) -> Iterator[tuple[int, int]]:
    """Along which axis light may be led, and how often from end to end."""
    if route.lamp == STRAIGHT and route.tank.glass_thickness_m > 0:
        for axis in (0, 1):
            for crossings in range(1, _most_hits(route, axis)):
                yield axis, crossings


def _most_hits(route: Route, axis: int) -> int:
    return int(np.max(np.abs((route.images_x, route.images_y)[axis].number)))


def cost_in_rays(route: Route, point_m: FloatArray) -> float:
    """What light of a route costs at a point, in rays by mirror images.

    Parameters
    ----------
    route : Route
    point_m : array, shape (3,)
        x, y, depth. [m]

    Source
    ------
    Counted; what a led ray costs beyond a mirrored one is by measurement.
    """
    x_m, y_m, depth_m = point_m[:, None]
    cost = float(ray_count(route, x_m, y_m, depth_m))
    for axis, crossings in _ways_along(route):
        count = _candidates(route, axis, crossings, np.stack((x_m, y_m)), depth_m)[1].size
        meetings = (_most_hits(route, axis) - crossings) * _most_hits(route, 1 - axis)
        cost += count * (1 + LED_COST * meetings)
    return cost


def _candidates(
    route: Route, axis: int, crossings: int, at_m: FloatArray, depth_m: FloatArray
) -> tuple[list[IntArray], IntArray, IntArray, FloatArray]:
    """Rays worth computing: image of x and of y, cell, point, and where the image stands, (2, n).

    The image stands nearer by the spans that the ray runs in glass, and less deep by the way down that this
    takes the flattest ray: light from the air has at most 1 of the wave vector level.
    """
    tank, cells, n = route.tank, route.cells, route.index
    spans, glass = (tank.length_m, tank.width_m), 2 * tank.glass_thickness_m
    run_m = crossings * spans[axis]
    left_m = depth_m - run_m * np.sqrt((n * n - 1) / (glass_rest(n, tank.glass_index) + 1))
    deep = np.flatnonzero(left_m > 0)
    chosen, stands, seen = [], [], []
    for a, (images, cell_at, spread, lit) in enumerate(
        (
            (route.images_x, cells.x_m, cells.spread_x_m, route.lit_x_m),
            (route.images_y, cells.y_m, cells.spread_y_m, route.lit_y_m),
        )
    ):
        hits = np.abs(images.number)
        clear = (images.glass_m > 0) & (images.glass_m > (hits - 0.5) * glass)
        which = np.flatnonzero(clear & (hits > (crossings if a == axis else 0)))
        stand = images.sign[which, None] * at_m[a, deep] + images.offset_m[which, None]
        if a == axis:
            stand -= np.sign(images.number[which])[:, None] * run_m
        chosen.append(which)
        stands.append(stand)
        seen.append(possible(stand, left_m[deep], cell_at, spread, lit, cells.height_m, n))
    x, y, cell, point = np.nonzero(seen[0][:, None] & seen[1][None])
    stand = np.stack((stands[0][x, point], stands[1][y, point]))
    return [chosen[0][x], chosen[1][y]], cell, deep[point], stand


def led_rays(route: Route, axis: int, crossings: int, at_m: FloatArray, depth_m: FloatArray) -> Rays:
    """Rays that come to points under water after a joint has led them into a pane and along it.

    In the pane the ray goes to and fro a whole number of times. Of the two or three numbers with which a ray
    can reach a point the mean is taken, with as many rays as there are numbers; where it stands in the pane
    when it comes to the joint at the other end changes so fast from place to place that any is as likely.

    Parameters
    ----------
    route : Route
    axis : int
        Along which the ray runs: 0 for x, in a front or back pane, 1 for y.
    crossings : int
        How often it runs from end to end, 1 or more.
    at_m : array, shape (2, n_point)
        Points along x and y. [m]
    depth_m : array, shape (n_point,)
        Their depth, 0 or more. [m]

    Returns
    -------
    Rays

    Source
    ------
    Snell's law and Fresnel's equations in plane panes joined by glass of the same index; conservation of flux
    in a tube of rays.
    """
    tank, n, height = route.tank, route.index, route.cells.height_m
    images = (route.images_x, route.images_y)
    ray, cell, point, stand = _candidates(route, axis, crossings, at_m, depth_m)
    run, held = axis, 1 - axis
    twice = 2 * tank.glass_thickness_m
    run_m = crossings * (tank.length_m, tank.width_m)[axis]
    start, s = np.stack((route.cells.x_m[cell], route.cells.y_m[cell])), depth_m[point]
    away = stand - start
    glass = np.stack([image.glass_m[which] for image, which in zip(images, ray, strict=True)])
    glass[run] += run_m
    glass[held] -= twice
    rest = glass_rest(n, tank.glass_index)
    u, cosine, k = straight(away, height, s, n)
    for _ in range(PASSES):
        in_glass = np.sqrt(rest + k * k)
        stay = glass / in_glass
        stay[held] += (run_m + crossings * twice) / in_glass[run]
        to = away + k * stay
        reach = level_reach(to)
        u += newton_step(u, reach, height, s, n)
        cosine, share = per_reach(u, reach)
        k = to * share
    stay, slope, _ = pane_crossing(k, glass, n, tank.glass_index)
    tube = tube_of(route, cosine, k, s, stay, slope)
    entry, gain = visible(route, cell, start, k, tube)
    surface = surface_transmittance(tube.cosine, n, tube.down)
    gain *= surface / (tube.spread * tube.cosine * route.cells.x_m.size)
    gain *= _share_led(route, axis, crossings, ray, entry, k, tube)
    lit = np.flatnonzero(gain)
    k, u, cosine = k[:, lit], u[lit], tube.cosine[lit]
    return Rays(
        point[lit],
        ray[0][lit],
        ray[1][lit],
        u,
        cosine,
        k[0],
        k[1],
        gain[lit],
        tube.path_m[lit],
        surface[lit],
        cell[lit],
    )


def _share_led(
    route: Route, axis: int, crossings: int, ray: list[IntArray], entry: FloatArray, k: FloatArray, tube: Tube
) -> FloatArray:
    """How many rays of a kind there are, with what the panes let in and send back, shape (n_ray,).

    A ray goes astray if it comes to the held axis's pane later than to the other by a ``lag`` within its
    ``stay`` there. At the far joint it comes out after a lag of the same kind. With each further way to and
    fro both shrink, in proportion to the times the ray had before and has after; the length of the range that
    leaves both between 0 and the stay is the number of rays.
    """
    tank, n = route.tank, route.index
    glass, span = 2 * tank.glass_thickness_m, (tank.length_m, tank.width_m)[axis]
    k_run, k_held = np.abs(k[axis]), np.abs(k[1 - axis])
    in_glass = np.sqrt(glass_rest(n, tank.glass_index) + k_run * k_run)
    stay = glass / in_glass
    led = (crossings * (span + glass) + glass) / in_glass
    images, meetings = (route.images_x, route.images_y), []
    for a in (axis, 1 - axis):
        in_all = pane_stay(k[a], images[a].glass_m[ray[a]], n, tank.glass_index)
        meetings.append(hit_times(route, a, ray[a], entry[a], k[a], in_all))
    on_run, on_held = meetings
    ways: FloatArray = np.zeros(stay.shape)
    for at, (start, _, _) in enumerate(on_run[: len(on_run) - crossings]):
        comes_out = on_run[at + crossings][2]
        before = tube.in_air + start
        after = tube.g0 - before - led
        for other, _, real in on_held:
            lag = other - start
            met = np.flatnonzero(comes_out & real & (lag > 0) & (lag < stay) & (after > 0))
            early, late = lag[met], stay[met] - lag[met]
            ways[met] += np.minimum(early / before[met], late / after[met])
            ways[met] += np.minimum(late / before[met], early / after[met])
    ways *= tube.g0 * k_held / glass
    inside = k_held * k_held < glass_rest(n, tank.glass_index)
    passed_by = np.maximum(1 - k_held / in_glass, 0.0) ** (crossings - 1)
    goes_in = 1 - pane_reflectance(k_run, n, tank.glass_index, painted=True)
    hits = np.abs(images[axis].number[ray[axis]])
    sent_back = wall_reflectance(Wall(), k_run, n, tank.glass_index) ** hits
    return np.asarray(ways * inside * passed_by * goes_in * sent_back)
