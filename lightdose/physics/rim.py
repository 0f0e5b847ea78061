"""The dry wall above the water: panes in the air that mirror the lamp, once along each axis.

A pane in the air reflects at its front face and, a little displaced, at its back face; the mean of both is
taken. A lamp seen in it is a lamp image outside the tank; its rays must meet the pane between the water and
the rim's upper edge.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.model.tank import Tank
from lightdose.physics.aperture import SourceCells
from lightdose.physics.walls import axis_walls, pane_reflectance


@dataclass(frozen=True)
class LampImage:
    """The panes of the rim that mirror the lamp along x and y: the far one, the one at 0, or none."""

    x: bool | None = None
    y: bool | None = None

    @property
    def far_panes(self) -> tuple[bool | None, bool | None]:
        """Along each axis: True for the far pane, False for the near one, None where it is seen straight."""
        return self.x, self.y


STRAIGHT = LampImage()


def lamp_images(tank: Tank) -> tuple[LampImage, ...]:
    """The lamp itself, and its images in the panes of the rim.

    Parameters
    ----------
    tank : Tank

    Returns
    -------
    tuple of LampImage

    Source
    ------
    Method of images, one reflection along each axis.
    """
    if tank.rim_m == 0:
        return (STRAIGHT,)
    panes_x, panes_y = (
        [None, *(bool(far) for far, wall in enumerate(walls) if wall.kind != "dark")]
        for walls in axis_walls(tank)
    )
    return tuple(LampImage(x, y) for x in panes_x for y in panes_y)


def mirrored_cells(cells: SourceCells, image: LampImage, tank: Tank) -> SourceCells:
    """The cells where the image of the lamp stands.

    Parameters
    ----------
    cells : SourceCells
    image : LampImage
    tank : Tank

    Returns
    -------
    SourceCells

    Source
    ------
    Plane mirror.
    """
    if image.x is not None:
        wall = tank.length_m if image.x else 0.0
        cells = replace(cells, x_m=2 * wall - cells.x_m, inset_x_m=-cells.inset_x_m)
    if image.y is not None:
        wall = tank.width_m if image.y else 0.0
        cells = replace(cells, y_m=2 * wall - cells.y_m, inset_y_m=-cells.inset_y_m)
    return cells


def lit_opening(
    at_m: FloatArray, span_m: float, far: bool | None, height_m: float, rim_m: float
) -> FloatArray:
    """Part of the opening along one axis that a lamp or its image can light.

    Parameters
    ----------
    at_m : array, shape (n_cell,)
        Place of the lamp or of its image. [m]
    span_m : float
        Length of the opening. [m]
    far : bool or None
        The pane that mirrors the lamp, or None.
    height_m, rim_m : float
        Height of the lamp and of the rim above the water. [m]

    Returns
    -------
    array, shape (2, n_cell)
        From, to; from above to where there is none. [m]

    Source
    ------
    Similar triangles: the ray meets the pane below the rim's edge.
    """
    whole = np.stack((np.zeros_like(at_m), np.full_like(at_m, span_m)))
    if far is None:
        return whole
    away = at_m - span_m if far else -at_m
    furthest = np.full_like(at_m, span_m) if height_m <= rim_m else away * rim_m / (height_m - rim_m)
    furthest = np.where(away > 0, np.minimum(furthest, span_m), -1.0)
    return np.stack((span_m - furthest, whole[1])) if far else np.stack((whole[0], furthest))


@dataclass(frozen=True, eq=False)
class AxisRays:
    """Rays along one axis, above the water; arrays of shape (n_ray,).

    Attributes
    ----------
    start_m, inset_m, entry_m : where the ray starts (lamp or image), the way to the middle of its cell, where
        it enters the water. [m]
    sideways_m : way along the axis in the air, without the stay in a pane. [m]
    shift : movement of the entry point for a movement of the start
    spread_m : width of a cell, 0 for a point. [m]
    k : wave vector along the axis, in vacuum wave numbers
    """

    start_m: FloatArray
    inset_m: FloatArray
    entry_m: FloatArray
    sideways_m: FloatArray
    shift: FloatArray
    spread_m: float
    k: FloatArray


def mean_stay(k: FloatArray, glass_thickness_m: float, glass_index: float) -> FloatArray:
    """Way along the wall's normal that a mirrored ray loses in the pane, divided by k / k_glass. [m]

    Light off the front face loses none, light off the back face 2 t; the mean over both is t (1 - r), with r
    the reflectance of one face.

    Parameters
    ----------
    k : array
        Wave vector towards the wall, in vacuum wave numbers.
    glass_thickness_m, glass_index : float
        The pane. [m]

    Returns
    -------
    array
        Mean displacement. [m]

    Source
    ------
    Fresnel's equations; reflections in a pane summed: R = 2 r / (1 + r).
    """
    one_face = pane_reflectance(np.maximum(np.abs(k), 1e-9), 1.0, glass_index, painted=True)
    return np.asarray(glass_thickness_m * (1 - one_face))


def _meets_pane(
    away_m: FloatArray, beyond_m: FloatArray, ray: AxisRays, toward: float, height_m: float, rim_m: float
) -> FloatArray:
    """Share of a cell whose ray meets a pane between the water and the rim's edge.

    ``away_m`` is the way from the start to the pane, ``beyond_m`` from there to the entry point.
    """
    sideways = np.maximum(ray.sideways_m, 1e-12)
    met_m = height_m * (1 - away_m / sideways)
    if ray.spread_m == 0:
        return (met_m < rim_m).astype(np.float64)
    change = height_m * (beyond_m + away_m * ray.shift) / (sideways * sideways)
    width = np.maximum(np.abs(change) * ray.spread_m, 1e-9)
    return np.asarray(np.clip((rim_m - met_m - change * toward * ray.inset_m) / width + 0.5, 0, 1))


def rim_gain(tank: Tank, axis: int, far: bool | None, ray: AxisRays, height_m: float) -> FloatArray:
    """What the rim does along one axis to rays from a lamp or its image: mirror, let through, or stop.

    Parameters
    ----------
    tank : Tank
    axis : int
        0 for x, 1 for y.
    far : bool or None
        The pane that mirrors the lamp along this axis, or None.
    ray : AxisRays
    height_m : float
        Height of the lamp above the water. [m]

    Returns
    -------
    array, shape (n_ray,)
        Factor 0-1.

    Source
    ------
    Fresnel's equations for a pane in the air.
    """
    span = (tank.length_m, tank.width_m)[axis]
    normal = np.maximum(np.abs(ray.k), 1e-9)
    gain: FloatArray = np.ones_like(ray.entry_m)
    for end, wall in enumerate(axis_walls(tank)[axis]):
        plane = span * end
        outside = ray.start_m > plane if end else ray.start_m < plane
        mirrors = far is not None and far == bool(end)
        if not mirrors and not np.any(outside):
            continue
        away, beyond = np.abs(plane - ray.start_m), np.abs(ray.entry_m - plane)
        met = _meets_pane(away, beyond, ray, -1.0 if end else 1.0, height_m, tank.rim_m)
        reflectance = pane_reflectance(normal, 1.0, tank.glass_index)
        if mirrors:
            gain *= np.where(outside, met * reflectance, 0.0)
        else:
            through = 0.0 if wall.kind == "dark" else 1 - reflectance
            gain *= np.where(outside, 1 - met * (1 - through), 1.0)
    return gain
