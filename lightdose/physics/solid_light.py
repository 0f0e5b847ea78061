"""A lit tank in which solids stand: the light of the lamps on every patch, and light on faces at places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.model.fixture import Fixture
from lightdose.model.record import FloatArray
from lightdose.model.solids import Brace, Solid
from lightdose.physics.bounce import BouncedLight, Patches, bare, between_patches, solved
from lightdose.physics.in_threads import in_threads
from lightdose.physics.light_paths import Rays, Route, Shading
from lightdose.physics.lit_tank import Lamp, LitTank, block_size, light_under_water
from lightdose.physics.looks import Look, facing
from lightdose.physics.ray_limits import FEWER_OR_HIGHER, SKIN_RAYS_AT_MOST, refuse_too_many_rays
from lightdose.physics.shade import Shade, shade_of
from lightdose.physics.skins import Skins, skins_in, skins_of
from lightdose.physics.solid_shapes import Shapes, shapes_of


def behind_solids(
    lit: LitTank, fixtures: Sequence[Fixture], solids: Sequence[Solid], braces: Sequence[Brace]
) -> LitTank:
    """The tank with solids in the way of its lamps; light off the floor is as without them.

    Parameters
    ----------
    lit : LitTank
        With nothing in its water.
    fixtures : sequence of Fixture
        Those of its lamps.
    solids : sequence of Solid
    braces : sequence of Brace
        What stands over the rim.

    Raises
    ------
    SetupError
        If a place takes too many rays.

    Source
    ------
    ``shade``.
    """
    shade = shade_of(solids, braces)
    lamps = tuple(_shaded(lamp, shade) for lamp in lit.lamps)
    ways = [(fixture, lamp.routes) for fixture, lamp in zip(fixtures, lamps, strict=True)]
    refuse_too_many_rays(ways, lit.tank, 1, "one place")
    return replace(lit, lamps=lamps)


def _shaded(lamp: Lamp, shade: Shading | None) -> Lamp:
    """The lamp with something else in the way of its rays."""
    return replace(lamp, routes=tuple(replace(route, shade=shade) for route in lamp.routes))


def with_solids(
    lit: LitTank, fixtures: Sequence[Fixture], solids: Sequence[Solid], *, for_points: int
) -> LitTank:
    """The tank with what solids leave of the floor's light and what they send back.

    Parameters
    ----------
    lit : LitTank
        Its lamps' routes hold the shade already.
    fixtures : sequence of Fixture
        Those of its lamps.
    solids : sequence of Solid
    for_points : int
        How many points will be asked for.

    Raises
    ------
    SetupError
        If that takes too many rays.

    Source
    ------
    ``bounce.solved``.
    """
    skins = skins_in(lit.tank, tuple(solids))
    ways, what = ways_to_skins(fixtures, lit, skins), "the light on rock and floor"
    values, places = lit.values_a_ray, len(skins.area_m2)
    refuse_too_many_rays(ways, lit.tank, places, what, values, SKIN_RAYS_AT_MOST, FEWER_OR_HIGHER)
    falling: list[tuple[FloatArray, FloatArray]] = []

    def task(number: int) -> None:
        """What does not hang on each other: light on the patches, and what they see of each other."""
        if number:
            between_patches(skins, lit.index, len(skins.area_m2))
        else:
            falling.append(_falling(lit, skins))

    in_threads(task, 2)
    ((shaded, open_light),) = falling
    patches = solved(skins, lit.index, lit.nodes_per_m, shaded)
    without = None
    if lit.floor is not None:
        floor = bare(skins)
        without = solved(floor, lit.index, lit.nodes_per_m, open_light[: floor.floor_count])
    return replace(lit, bounce=BouncedLight(patches, without, for_points))


def ways_to_skins(
    fixtures: Sequence[Fixture], lit: LitTank, skins: Skins
) -> list[tuple[Fixture, list[Route]]]:
    """Ways of each lamp to rock and floor, with all solids in them.

    Parameters
    ----------
    fixtures : sequence of Fixture
        Those of its lamps.
    lit : LitTank
    skins : Skins

    Source
    ------
    Our choice: with lamps as coarse as for the floor.
    """
    shade = Shade(skins.shapes, once=True)
    return [
        (fixture, [replace(route, shade=shade) for route in lamp.floor_routes])
        for fixture, lamp in zip(fixtures, lit.lamps, strict=True)
    ]


def without_solids(lit: LitTank) -> LitTank:
    """The same lamps over the same tank with no solid in it; what stands over the rim stays.

    Parameters
    ----------
    lit : LitTank

    Source
    ------
    Light on the floor is kept without solids too: nothing is solved anew.
    """
    lamps = []
    for lamp in lit.lamps:
        over = lamp.floor_routes[0].shade if lamp.floor_routes else None
        lamps.append(_shaded(lamp, over))
    return replace(lit, lamps=tuple(lamps), bounce=None)


def _falling(lit: LitTank, skins: Skins) -> tuple[FloatArray, FloatArray]:
    """Light of all lamps on each patch with and without solids in its way, (n_patch, n_beam, n_node) each."""
    tank = lit.tank
    points = skins.centre * (1.0, 1.0, -1.0)
    inside = (points >= 0).all(axis=1) & (points <= (tank.length_m, tank.width_m, np.inf)).all(axis=1)
    inside &= points[:, 2] <= tank.water_depth_m + 1e-9
    some = np.flatnonzero(inside)
    light = np.zeros((2, len(points), sum(len(lamp.beams) for lamp in lit.lamps), lit.nodes_per_m.size))
    light[:, some] = lamps_on_faces(lit, points[some], skins.normal[some], skins.shapes)
    shaded, open_light = light
    return shaded, open_light


def lamps_on_faces(
    lit: LitTank, points_m: FloatArray, normals: FloatArray, shapes: Shapes
) -> tuple[FloatArray, FloatArray]:
    """Light of all lamps on faces at points under water, without any bounce, by the routes for the floor.

    Parameters
    ----------
    lit : LitTank
    points_m, normals : array, shape (n_point, 3)
        x, y, depth [m]; along x, y and upwards.
    shapes : Shapes
        What stands in the water.

    Returns
    -------
    two arrays, shape (n_point, n_beam, n_node)
        With the shapes in the way of the light, and without them, per unit flux. [m-2]

    Source
    ------
    ``light_under_water``.
    """
    solids, nodes = Shade(shapes, once=True), lit.nodes_per_m
    lamps = []
    for lamp in lit.lamps:
        size = block_size(lamp.floor_routes)
        own = np.zeros((2, len(points_m), len(lamp.beams), nodes.size))
        for first in range(0, len(points_m), size):
            part = slice(first, first + size)
            open_look, at = facing(normals[part]), (points_m[part] * (1.0, 1.0, -1.0)).T

            def behind(route: Route, rays: Rays, look: Look = open_look, at: FloatArray = at) -> FloatArray:
                return np.asarray(look(route, rays) * solids.passed(route, rays, at))

            found = light_under_water(
                lamp, lamp.floor_routes, points_m[part], nodes, looks=(behind, open_look)
            )
            own[:, part] = found.transpose(1, 3, 0, 2)
        lamps.append(own)
    shaded, open_light = np.concatenate(lamps, axis=2)
    return shaded, open_light


def light_around(lit: LitTank, points_m: FloatArray, normals: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Light off the floor and off solids on faces and from all sides.

    Parameters
    ----------
    lit : LitTank
    points_m, normals : array, shape (n_point, 3)
        x, y, depth [m]; along x, y and upwards.

    Returns
    -------
    two arrays, shape (n_point, n_beam * n_node)
        Per unit flux. [m-2]

    Source
    ------
    ``bounce.BouncedLight``; the floor of a tank without solids is that of ``floor``.
    """
    if lit.bounce is not None:
        return lit.bounce.around(points_m, normals)
    beams = sum(len(lamp.beams) for lamp in lit.lamps)
    if lit.floor is None:
        none = np.zeros((len(points_m), beams * lit.nodes_per_m.size))
        return none, none
    grid = lit.floor.grid
    skins = skins_of(lit.tank, shapes_of(()), (grid.x_m.size, grid.y_m.size))
    exitance = lit.floor.exitance.reshape(len(lit.floor.exitance), beams, -1)
    patches = Patches(skins, lit.index, lit.nodes_per_m, exitance)
    return BouncedLight(patches, None, len(points_m)).around(points_m, normals)
