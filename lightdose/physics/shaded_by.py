"""Who stands in the light of a place: the lamps' light that each solid alone would keep from it."""

from __future__ import annotations

from lightdose.model.light import Scene
from lightdose.model.record import FloatArray
from lightdose.model.solids import Solid
from lightdose.physics.emission import source_cells
from lightdose.physics.light_field import PreparedField
from lightdose.physics.light_paths import routes
from lightdose.physics.lit_tank import Lamp, light_under_water
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
    open_light = _by_rays(ready, scene, point_m, (), counted)
    if not open_light > 0:
        return {}
    found = {}
    for solid in scene.standing.solids:
        left = _by_rays(ready, scene, point_m, (solid,), counted)
        share = 1 - left / open_light
        if share >= LEAST_SHARE:
            found[solid.name] = float(share)
    return dict(sorted(found.items(), key=lambda one: -one[1]))


def _by_rays(
    ready: PreparedField, scene: Scene, point_m: FloatArray, solids: tuple[Solid, ...], counted: FloatArray
) -> float:
    """Light of all channels at a place by rays alone, with some solids in their way."""
    shade = shade_of(solids, scene.standing.braces if scene.standing else ())
    index, nodes = scene.water.refractive_index, ready.mixture.nodes_per_m
    total, channel = 0.0, 0
    for lamp, fixture in zip(ready.lit.lamps, scene.fixtures, strict=True):
        cells = source_cells(fixture)
        paths = routes(scene.tank, index, cells, shade=shade)
        one = Lamp(cells, paths, (), lamp.beams, lamp.beam_of_channel)
        light = light_under_water(one, paths, point_m[None, :], nodes)[:, 0, :, 0]
        for beam in lamp.beam_of_channel:
            total += counted[channel] * float(light[beam] @ ready.mixture.at_nodes[channel, :, 0])
            channel += 1
    return total
