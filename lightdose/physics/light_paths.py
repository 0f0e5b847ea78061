"""Ways of light from the cells of a fixture into the water, straight and by way of the walls.

Every pair of a point and a mirror image that a cell may see is one ray of a flat list, so that few points
with many cells and many points with one lamp run through the same array operations. ``sights`` finds them,
``solved_rays`` solves them.
"""

from __future__ import annotations

from typing import Protocol

import numpy as np
import numpy.typing as npt

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.physics.emission import SourceCells
from lightdose.physics.walls import (
    AxisImages,
    LampImage,
    axis_images,
    axis_walls,
    lamp_images,
    lit_opening,
    mirrored_cells,
)

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

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
