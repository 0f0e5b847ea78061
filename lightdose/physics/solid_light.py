"""A lit tank in which solids stand: the light of the lamps on every patch, and light on faces at places."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.model.record import FloatArray
from lightdose.model.solids import Solid
from lightdose.physics.bounce import BouncedLight, Patches, bare, solved
from lightdose.physics.light_paths import Route
from lightdose.physics.lit_tank import Lamp, LitTank, block_size, light_under_water
from lightdose.physics.looks import all_sides, facing
from lightdose.physics.skins import Skins, skins_of
from lightdose.physics.solid_shapes import shapes_of

FLOOR_SAMPLES = 2
"""Points along each side of a floor patch at which the lamps' light is taken."""


def with_solids(lit: LitTank, solids: Sequence[Solid], *, for_points: int) -> LitTank:
    """The tank with what solids leave of the floor's light and what they send back.

    Parameters
    ----------
    lit : LitTank
        Its lamps' routes hold the shade already.
    solids : sequence of Solid
    for_points : int
        How many points will be asked for.

    Source
    ------
    ``bounce.solved``.
    """
    skins = skins_of(lit.tank, shapes_of(solids))
    falling = _falling(lit, skins, shaded=True)
    patches = solved(skins, lit.index, lit.nodes_per_m, falling)
    without = None
    if lit.floor is not None:
        floor = bare(skins)
        light = _falling(lit, floor, shaded=False)
        without = solved(floor, lit.index, lit.nodes_per_m, light)
    return replace(lit, bounce=BouncedLight(patches, without, for_points))


def _falling(lit: LitTank, skins: Skins, *, shaded: bool) -> FloatArray:
    """Light of all lamps on each patch, shape (n_patch, n_beam, n_node)."""
    tank = lit.tank
    count = skins.floor_count
    sides = (tank.length_m / skins.floor[0], tank.width_m / skins.floor[1])
    inset = (np.arange(FLOOR_SAMPLES) + 0.5) / FLOOR_SAMPLES - 0.5
    floor = skins.centre[:count]
    steps = [np.array((x, y, 0.0)) for x in inset * sides[0] for y in inset * sides[1]]
    at = [skins.centre[count:], *(floor + step for step in steps)]
    points = np.concatenate(at) * (1.0, 1.0, -1.0)
    normals = np.concatenate((skins.normal[count:], *([skins.normal[:count]] * (len(at) - 1))))
    inside = (points >= 0).all(axis=1) & (points <= (tank.length_m, tank.width_m, np.inf)).all(axis=1)
    inside &= points[:, 2] <= tank.water_depth_m + 1e-9
    some = np.flatnonzero(inside)
    light = np.zeros((len(points), sum(len(lamp.beams) for lamp in lit.lamps), lit.nodes_per_m.size))
    light[some] = lamps_on_faces(lit, points[some], normals[some], shaded=shaded)
    on_floor = light[len(skins.area_m2) - count :].reshape(len(at) - 1, count, *light.shape[1:]).mean(axis=0)
    return np.concatenate((on_floor, light[: len(skins.area_m2) - count]))


def lamps_on_faces(
    lit: LitTank, points_m: FloatArray, normals: FloatArray | None, *, shaded: bool = True
) -> FloatArray:
    """Light of all lamps on faces at points under water, without any bounce.

    Parameters
    ----------
    lit : LitTank
    points_m, normals : array, shape (n_point, 3)
        x, y, depth [m]; along x, y and upwards; None for light from all sides.
    shaded : bool
        Whether solids stand in the way.

    Returns
    -------
    array, shape (n_point, n_beam, n_node)
        Per unit flux. [m-2]

    Source
    ------
    ``light_under_water``.
    """
    lamps = []
    for lamp in lit.lamps:
        paths = _rough(lamp) if shaded else lamp.floor_routes
        size = block_size(paths)
        blocks = []
        for first in range(0, len(points_m), size):
            part = slice(first, first + size)
            look = all_sides if normals is None else facing(normals[part])
            found = light_under_water(lamp, paths, points_m[part], lit.nodes_per_m, look=look)
            blocks.append(found[:, 0].transpose(2, 0, 1))
        if not blocks:
            blocks = [np.zeros((0, len(lamp.beams), lit.nodes_per_m.size))]
        lamps.append(np.concatenate(blocks))
    return np.concatenate(lamps, axis=1)


def _rough(lamp: Lamp) -> tuple[Route, ...]:
    """The routes for the floor, with all that stands in the way."""
    return tuple(replace(route, shade=lamp.routes[0].shade) for route in lamp.floor_routes)


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
