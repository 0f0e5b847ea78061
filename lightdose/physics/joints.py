"""Edges of the panes: floor light that would be mirrored, but runs into a joint or out at the waterline.

While a ray is in a pane it goes on along the wall. Where that leads into the next pane, or past the waterline
on the way up, it has no mirror image. The share is found for a floor that shines evenly, which is enough: the
floor's light is a few percent of all, and the share falls with the distance from the edge.
"""

from __future__ import annotations

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.model.tank import Tank, Wall
from lightdose.physics.refraction import surface_reflectance_from_below
from lightdose.physics.walls import axis_walls, pane_stay, wall_reflectance

TILTS, TURNS = 12, 24
"""Directions over which the floor's light is summed."""

DISTANCES_PER_GLASS = (0.0, 0.5, 1.0, 1.5, 2.0, 3.0, 4.0, 6.0, 8.0, 12.0, 18.0, 30.0, 60.0, 200.0)
"""Distances from a pane at which the share is computed, in thicknesses of the glass."""


@dataclass(frozen=True, eq=False)
class _EvenLight:
    """Directions of an even floor's light near clear panes, each with equal weight: (TILTS, TURNS).

    Attributes
    ----------
    along : wave vector towards a pane along x and y, and upwards
    stay_m : stay in a pane along x and y. [m]
    mirrored : reflectance of a pane along x and y
    back : reflectance of the surface from below
    """

    along: tuple[FloatArray, FloatArray, FloatArray]
    stay_m: tuple[FloatArray, FloatArray]
    mirrored: tuple[FloatArray, FloatArray]
    back: FloatArray


def _even_light(tank: Tank, index: float) -> _EvenLight:
    """Lambert's law is even in the square of the sine and in turn."""
    sine_square = ((np.arange(TILTS) + 0.5) / TILTS)[:, None]
    turn = (np.arange(TURNS) + 0.5) / TURNS * np.pi / 2
    level = index * np.sqrt(sine_square)
    k_x, k_y = level * np.cos(turn), level * np.sin(turn)
    up = index * np.sqrt(1 - sine_square) * np.ones_like(turn)
    whole, glass = np.zeros_like(k_x), np.full_like(k_x, 2 * tank.glass_thickness_m)
    stays = [pane_stay(k, glass, whole, index, tank.glass_index) for k in (k_x, k_y)]
    panes = [wall_reflectance(Wall(), k, index, tank.glass_index) for k in (k_x, k_y)]
    back = surface_reflectance_from_below(up / index, index)
    return _EvenLight((k_x, k_y, up), (stays[0], stays[1]), (panes[0], panes[1]), back)


def _kept_at_joint(light: _EvenLight, distance_m: FloatArray) -> FloatArray:
    """Share kept at distances from the two panes of a joint, (n, n)."""
    k_x, k_y, _ = light.along
    later = distance_m[None, :, None, None] / k_y - distance_m[:, None, None, None] / k_x
    astray = (later < light.stay_m[0]) & (later > -light.stay_m[1])
    both = light.back * light.mirrored[0] * light.mirrored[1]
    every = light.back * (1 + light.mirrored[0]) * (1 + light.mirrored[1])
    return np.asarray(1 - np.sum(astray * both, axis=(2, 3)) / every.sum())


def _kept_at_waterline(light: _EvenLight, distance_m: FloatArray) -> FloatArray:
    """Share kept at distances from a pane and depths below the surface, (n, n)."""
    k_x, _, up = light.along
    later = distance_m[None, :, None, None] / up - distance_m[:, None, None, None] / k_x
    astray = (later > 0) & (later < light.stay_m[0])
    by_pane = light.back * light.mirrored[0]
    every = light.back * (1 + light.mirrored[0])
    return np.asarray(1 - np.sum(astray * by_pane, axis=(2, 3)) / every.sum())


def floor_light_kept(
    tank: Tank, index: float, x_m: FloatArray, y_m: FloatArray, depth_m: FloatArray
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Shares of the floor's light that do not run into a glass joint or out at the waterline.

    Parameters
    ----------
    tank : Tank
    index : float
        Refractive index of the water.
    x_m, y_m, depth_m : array, shapes (n_x,), (n_y,), (n_z,)
        Places. [m]

    Returns
    -------
    three arrays, shapes (n_x, n_y), (n_x, n_z), (n_y, n_z)
        Shares 0-1 whose product counts at a place; 1 far from edges and where a wall is not a clear pane.

    Source
    ------
    Snell's law in plane panes, Fresnel's equations, Lambert's law.
    """
    joint: FloatArray = np.ones((x_m.size, y_m.size))
    line_x: FloatArray = np.ones((x_m.size, depth_m.size))
    line_y: FloatArray = np.ones((y_m.size, depth_m.size))
    if tank.glass_thickness_m == 0:
        return joint, line_x, line_y
    distance = tank.glass_thickness_m * np.array(DISTANCES_PER_GLASS)
    light = _even_light(tank, index)
    at_joint, at_line = _kept_at_joint(light, distance), _kept_at_waterline(light, distance)
    walls_x, walls_y = axis_walls(tank)
    to_x = [_between(distance, a) for a in (x_m, tank.length_m - x_m)]
    to_y = [_between(distance, a) for a in (y_m, tank.width_m - y_m)]
    below = _between(distance, depth_m).T
    for wall, near in zip(walls_x, to_x, strict=True):
        if wall.kind == "clean":
            line_x *= near @ at_line @ below
            for other, beside in zip(walls_y, to_y, strict=True):
                if other.kind == "clean":
                    joint *= near @ at_joint @ beside.T
    for wall, near in zip(walls_y, to_y, strict=True):
        if wall.kind == "clean":
            line_y *= near @ at_line @ below
    return joint, line_x, line_y


def _between(nodes: FloatArray, at: FloatArray) -> FloatArray:
    """Weights of linear interpolation, (n, n_node); ends held."""
    return np.stack([np.interp(at, nodes, unit) for unit in np.eye(nodes.size)], axis=1)
