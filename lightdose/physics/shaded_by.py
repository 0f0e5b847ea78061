"""Who stands in the light of a place: the lamps' light that each solid alone would keep from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.model.record import FloatArray
from lightdose.model.solids import Solid
from lightdose.physics.light_field import PreparedField
from lightdose.physics.light_paths import Rays, Route
from lightdose.physics.lit_tank import Lamp, block_size, light_under_water, lobes, rays_of
from lightdose.physics.looks import Look, facing
from lightdose.physics.shade import Shade, shade_of
from lightdose.physics.water import share_left

SOLIDS_AT_ONCE = 25
"""So many times a block of rays may be kept, one share a solid."""

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
    ``kept_by_each``.
    """
    standing = ready.scene.standing
    if standing is None or not standing.solids or point_m[2] < 0:
        return {}
    kept = kept_by_each(ready, point_m[None, :], None, standing.solids, counted)[:, 0]
    return named_shares(standing.solids, kept)


def named_shares(solids: Sequence[Solid], kept: FloatArray) -> dict[str, float]:
    """The solids that keep a notable share from a place, those that take most first.

    Parameters
    ----------
    solids : sequence of Solid
    kept : array, shape (n_solid,)

    Source
    ------
    Our choice of what is notable: ``LEAST_SHARE``.
    """
    order = np.argsort(-kept, kind="stable")
    return {solids[n].name: float(kept[n]) for n in order if kept[n] >= LEAST_SHARE}


def kept_by_each(
    ready: PreparedField,
    points_m: FloatArray,
    normals: FloatArray | None,
    solids: Sequence[Solid],
    counted: FloatArray,
) -> FloatArray:
    """What each solid alone would keep of the light that comes to places by rays.

    Parameters
    ----------
    ready, points_m, normals, solids
        As in ``rays_among``.
    counted : array, shape (n_channel,)

    Returns
    -------
    array, shape (n_solid, n_point)
        0-1; 0 where no light comes.

    Source
    ------
    1 - light with one solid over light with none, without any bounce.
    """
    count = len(points_m)
    whole, left = np.zeros(count), np.zeros((len(solids), count))
    first = 0
    for lamp in ready.lit.lamps:
        routes, last = _open_routes(ready, lamp), first + len(lamp.beam_of_channel)
        kernels = ready.mixture.at_nodes[first:last, :, 0] * counted[first:last, None]
        by_beam = np.zeros((len(lamp.beams), kernels.shape[1]))
        np.add.at(by_beam, list(lamp.beam_of_channel), kernels)
        size = max(1, SOLIDS_AT_ONCE * block_size(routes) // max(1, len(solids)))
        for start in range(0, count, size):
            some = slice(start, min(start + size, count))
            look = None if normals is None else facing(normals[some])
            _add_light(ready, lamp, routes, by_beam, solids, points_m[some], look, whole[some], left[:, some])
        first = last
    return 1 - np.divide(left, whole, out=np.ones_like(left), where=whole > 0)


def _add_light(
    ready: PreparedField,
    lamp: Lamp,
    routes: Sequence[Route],
    by_beam: FloatArray,
    solids: Sequence[Solid],
    points_m: FloatArray,
    look: Look | None,
    whole: FloatArray,
    left: FloatArray,
) -> None:
    """Light of a lamp at places, whole and as each solid alone would leave it, in place."""
    shade, at = shade_of(solids, ()), (points_m * (1.0, 1.0, -1.0)).T
    for route, found in rays_of(routes, points_m):
        lobe = lobes(lamp, found.tangent, found.cosine, found.k_x, found.k_y)
        through = share_left(ready.mixture.nodes_per_m[:, None], found.path_m)
        light = sum(one * (of @ through) for one, of in zip(lobe, by_beam, strict=True))
        light = light * found.gain_per_m2 * (1.0 if look is None else look(route, found))
        whole += np.bincount(found.point, light, len(whole))
        for n, share in enumerate(shade.passed_alone(route, found, at)):
            left[n] += np.bincount(found.point, light * share, len(whole))


def kept_by_all(
    ready: PreparedField,
    points_m: FloatArray,
    normals: FloatArray | None,
    solids: Sequence[Solid],
    counted: FloatArray,
) -> FloatArray:
    """What solids together keep of the light that comes to places by rays.

    Parameters
    ----------
    ready, points_m, normals, solids, counted
        As in ``kept_by_each``.

    Returns
    -------
    array, shape (n_point,)
        0-1; 0 where no light comes.

    Source
    ------
    As ``kept_by_each``.
    """
    whole, left = rays_among(ready, points_m, normals, (), solids) @ counted
    return np.asarray(1 - np.divide(left, whole, out=np.ones_like(left), where=whole > 0))


def rays_among(
    ready: PreparedField, points_m: FloatArray, normals: FloatArray | None, *sets: Sequence[Solid]
) -> FloatArray:
    """Light by rays, panes too, with each set of solids in their way, and no bounce off floor and skins.

    Parameters
    ----------
    ready : PreparedField
        Its first weighting counts.
    points_m : array, shape (n_point, 3)
        x, y, depth; under water. [m]
    normals : array, shape (n_point, 3), or None
        Which way each looks; None where all look up.
    sets : sequences of Solid

    Returns
    -------
    array, shape (n_set, n_point, n_channel)

    Source
    ------
    ``light_under_water``.
    """
    at = (points_m * (1.0, 1.0, -1.0)).T
    looks = [
        _behind(shade_of(solids, ()), at, None if normals is None else facing(normals)) for solids in sets
    ]
    nodes, columns = ready.mixture.nodes_per_m, []
    for lamp in ready.lit.lamps:
        light = light_under_water(lamp, _open_routes(ready, lamp), points_m, nodes, looks=looks)
        columns += [light[beam] for beam in lamp.beam_of_channel]
    found = [
        np.einsum("snp,n->sp", light, ready.mixture.at_nodes[n, :, 0]) for n, light in enumerate(columns)
    ]
    return np.array(found).reshape(len(columns), len(sets), len(points_m)).transpose(1, 2, 0)


def _open_routes(ready: PreparedField, lamp: Lamp) -> tuple[Route, ...]:
    """A lamp's routes with nothing in the water."""
    standing = ready.scene.standing
    over = shade_of((), standing.braces) if standing and standing.braces else None
    return tuple(replace(route, shade=over) for route in lamp.routes)


def _behind(shade: Shade, at: FloatArray, look: Look | None) -> Look:
    """What rays count for behind solids."""

    def behind(route: Route, rays: Rays) -> FloatArray:
        share = shade.passed(route, rays, at)
        return share if look is None else np.asarray(share * look(route, rays))

    return behind
