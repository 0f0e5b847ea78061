"""Light on faces and from all sides: what a ray counts for there, over what it gives to a flat place."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lightdose.model.record import FloatArray
from lightdose.physics.light_paths import Rays, Route
from lightdose.physics.shade import towards_lamp

Look = Callable[[Route, Rays], FloatArray]
"""A factor for each ray on its light on a flat place that looks up."""


def facing(normals: FloatArray) -> Look:
    """Light on faces: max(0, n s) / cos of the ray's angle in the water.

    Parameters
    ----------
    normals : array, shape (n_point, 3)
        Of each point's face: along x, y and upwards.

    Source
    ------
    Lambert's cosine law.
    """

    def look(route: Route, rays: Rays) -> FloatArray:
        way = towards_lamp(route, rays)
        n = normals[rays.point].T
        return np.asarray(np.maximum((n * way).sum(axis=0), 0.0) / way[2])

    return look


def all_sides(route: Route, rays: Rays) -> FloatArray:
    """Light from all sides (scalar irradiance): 1 / cos of the ray's angle in the water.

    Parameters
    ----------
    route : Route
    rays : Rays

    Source
    ------
    Definition of scalar irradiance.
    """
    return np.asarray(1 / towards_lamp(route, rays)[2])
