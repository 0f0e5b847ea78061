"""Who stands in the light of a place: the lamps' light that each solid alone would keep from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.model.record import FloatArray
from lightdose.model.solids import Solid
from lightdose.physics.light_field import PreparedField
from lightdose.physics.lit_tank import light_under_water
from lightdose.physics.looks import facing
from lightdose.physics.shade import shade_of

LEAST_SHARE = 0.005
"""Solids that keep less than this from a place are not named. Our choice."""


def shaded_by(ready: PreparedField, point_m: FloatArray, counted: FloatArray) -> dict[str, float]:
    """The solids in the light of a place, those that take most first.

    Parameters
    ----------
    ready : PreparedField
        Of a scene with solids, with the one weighting that counts.
    point_m : array, shape (3,)
        x, y, depth. [m]
    counted : array, shape (n_channel,)
        What each channel counts for, as ``day_weights``.

    Returns
    -------
    dict of name to share
        Of the light that comes by rays, 0-1; shares of several that stand behind each other overlap.

    Source
    ------
    Light with one solid over light with none, without any bounce.
    """
    scene = ready.scene
    if scene.standing is None or point_m[2] < 0:
        return {}
    open_light = _by_rays(ready, point_m, (), counted)
    if not open_light > 0:
        return {}
    found = {}
    for solid in scene.standing.solids:
        left = _by_rays(ready, point_m, (solid,), counted)
        share = 1 - left / open_light
        if share >= LEAST_SHARE:
            found[solid.name] = float(share)
    return dict(sorted(found.items(), key=lambda one: -one[1]))


def _by_rays(
    ready: PreparedField, point_m: FloatArray, solids: tuple[Solid, ...], counted: FloatArray
) -> float:
    """Light of all channels at a place that looks up, by rays alone, with some solids in their way."""
    return float(rays_among(ready, point_m[None, :], None, solids)[0] @ counted)


def rays_among(
    ready: PreparedField, points_m: FloatArray, normals: FloatArray | None, solids: Sequence[Solid]
) -> FloatArray:
    """Light by rays, panes too, with some solids in their way, and no bounce off floor and skins.

    Parameters
    ----------
    ready : PreparedField
        Its first weighting counts.
    points_m : array, shape (n_point, 3)
        x, y, depth; under water. [m]
    normals : array, shape (n_point, 3), or None
        Which way each looks; None where all look up.
    solids : sequence of Solid

    Returns
    -------
    array, shape (n_point, n_channel)

    Source
    ------
    ``light_under_water``.
    """
    standing = ready.scene.standing
    shade = shade_of(solids, standing.braces if standing else ())
    look = None if normals is None else facing(normals)
    nodes, columns = ready.mixture.nodes_per_m, []
    for lamp in ready.lit.lamps:
        paths = tuple(replace(route, shade=shade) for route in lamp.routes)
        light = light_under_water(lamp, paths, points_m, nodes, looks=(look,))[:, 0]
        columns += [light[beam] for beam in lamp.beam_of_channel]
    found = [light.T @ ready.mixture.at_nodes[n, :, 0] for n, light in enumerate(columns)]
    return np.array(found).reshape(len(columns), len(points_m)).T
