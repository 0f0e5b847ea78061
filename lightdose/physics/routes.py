"""Which mirror images of the tank a lamp needs, seen straight or in the panes of the dry rim."""

from __future__ import annotations

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.model.tank import Tank
from lightdose.physics.aperture import SourceCells
from lightdose.physics.rim import LampImage, lamp_images, lit_opening, mirrored_cells
from lightdose.physics.walls import AxisImages, axis_images, axis_walls

MOST_REFLECTIONS = 16
"""Reflections at a pair of walls that are followed at most: a lamp far outside, in water of index near 1."""


@dataclass(frozen=True, eq=False)
class Route:
    """A lamp, seen straight or in the rim, the part of the opening it lights, and the images of the water.

    ``lit_x_m`` and ``lit_y_m`` have the shape (2, n_cell): from, to. [m]
    """

    tank: Tank
    index: float
    lamp: LampImage
    cells: SourceCells
    lit_x_m: FloatArray
    lit_y_m: FloatArray
    images_x: AxisImages
    images_y: AxisImages


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


def routes(tank: Tank, index: float, cells: SourceCells, *, faces: bool = True) -> tuple[Route, ...]:
    """The lamp and its images in the rim, each with the images of the tank that the proportions need.

    Parameters
    ----------
    tank : Tank
    index : float
        Refractive index of the water.
    cells : SourceCells
    faces : bool
        Keep the light of a pane's front face apart, as ``axis_images``.

    Returns
    -------
    tuple of Route

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
        found.append(Route(tank, index, image, seen, lit_x, lit_y, images_x, images_y))
    return tuple(found)
