"""Whom a tall coral would stand in the light of: straight rays from the lamps, by geometry alone."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import Fixture
from lightdose.physics.refraction import entry_tangent

WIDTH_PER_HEIGHT = 1.0
"""A coral is taken as an upright post as wide as it is tall: its width is not in the setup. Our choice."""

POINTS_ALONG = 5
NOTABLE = 0.05
"""Less than this share of the lamps' points hidden is not named. Our choice."""


def lamp_points(fixture: Fixture) -> FloatArray:
    """Points spread over a fixture's aperture, one for a point lamp.

    Parameters
    ----------
    fixture : Fixture

    Returns
    -------
    array, shape (n, 2)
        x and y. [m]

    Source
    ------
    Midpoints of equal cells.
    """
    aperture = fixture.type.aperture
    if not aperture.length_m > 0 and not aperture.width_m > 0:
        return np.array([[fixture.x_m, fixture.y_m]])
    cells = (np.arange(POINTS_ALONG) + 0.5) / POINTS_ALONG - 0.5
    a, b = (g.ravel() for g in np.meshgrid(cells * aperture.length_m, cells * aperture.width_m))
    turn = math.radians(fixture.rotation_deg)
    return np.column_stack(
        (
            fixture.x_m + a * math.cos(turn) - b * math.sin(turn),
            fixture.y_m + a * math.sin(turn) + b * math.cos(turn),
        )
    )


def hidden_fraction(
    post: tuple[float, float, float],
    height_m: float,
    point: tuple[float, float, float],
    fixtures: Sequence[Fixture],
    share: Sequence[float],
    index: float,
) -> float:
    """Share of the lamps' straight light that a coral keeps from a point.

    Parameters
    ----------
    post : (x, y, depth)
        Where the coral stands, its foot. [m]
    height_m : float
        How tall it is. [m]
    point : (x, y, depth)
        The neighbour's top. [m]
    fixtures : sequence of Fixture
    share : sequence of float
        What each of them gives of the neighbour's dose; the sum counts as all.
    index : float
        Refractive index of the water.

    Returns
    -------
    float
        0-1.

    Source
    ------
    Snell's law; the coral as an upright post (our choice). Light off walls and floor is left out.
    """
    top, foot = post[2] - height_m, post[2]
    total = sum(share)
    if height_m <= 0 or point[2] <= top + 1e-9 or not total > 0:
        return 0.0
    to_post = np.array([post[0] - point[0], post[1] - point[1]])
    radius = 0.5 * WIDTH_PER_HEIGHT * height_m
    # No ray in the water leans more than the critical angle.
    lean = 1 / math.sqrt(max(index**2 - 1, 1e-9))
    if math.hypot(*to_post) > radius + (point[2] - top) * lean:
        return 0.0
    hidden = 0.0
    for fixture, weight in zip(fixtures, share, strict=True):
        to_lamp = lamp_points(fixture) - np.array([point[0], point[1]])
        reach = np.hypot(*to_lamp.T)
        tangent = entry_tangent(reach, fixture.height_m, np.full(reach.shape, point[2]), index)
        k = tangent / np.sqrt(1 + tangent**2)
        slope = k / np.sqrt(index**2 - k**2)
        way = to_lamp / np.maximum(reach, 1e-12)[:, None]
        start, end = slope * max(0.0, point[2] - foot), slope * (point[2] - top)
        nearest = np.clip(way @ to_post, start, end)
        gap = np.hypot(*(way * nearest[:, None] - to_post).T)
        hidden += weight / total * float(np.mean(gap < radius))
    return hidden
