"""The light field: every channel of every fixture at every place, at full output.

Quantity: planar photon irradiance on a horizontal receiver that looks up.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from lightdose.errors import SetupError
from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.coral import Receiver
from lightdose.model.fixture import Beam, Fixture
from lightdose.model.results import ChannelKey, LightField
from lightdose.model.spectrum import ReferenceTables, SpectralTable, Weightings
from lightdose.model.tank import Cover, Tank, Water
from lightdose.physics.aperture import SourceCells, source_cells
from lightdose.physics.beam import distinct_beams, intensity_per_flux
from lightdose.physics.floor import FloorGrid, floor_grid
from lightdose.physics.floor_light import FloorLight, floor_light
from lightdose.physics.light_paths import Route, rays, routes
from lightdose.physics.spectral_nodes import AbsorptionNodes, absorption_nodes
from lightdose.physics.water import absorption_per_m

FLOOR_SAMPLE_M = 0.03
"""Distance of the points at which light is taken on the floor, for its bounce."""

RAYS_AT_ONCE = 40_000
"""Possible rays in one block: large enough to hide the cost of a call, small enough for the cache."""

LONGEST_PATH_DEPTHS = 4.0
"""Paths up to so many water depths are exact in the spectral interpolation; longer ones carry little."""


@dataclass(frozen=True, eq=False)
class _Lamp:
    """A fixture ready for rays: its cells, its images, its lobes, and the lobe of each channel."""

    cells: SourceCells
    routes: tuple[Route, ...]
    beams: tuple[Beam, ...]
    beam_of_channel: tuple[int, ...]


def _lamps(fixtures: Sequence[Fixture], tank: Tank, index: float) -> list[_Lamp]:
    lamps = []
    for fixture in fixtures:
        cells = source_cells(fixture)
        beams, which = distinct_beams([channel.beam for channel in fixture.type.channels])
        lamps.append(_Lamp(cells, routes(tank, index, cells), beams, which))
    return lamps


def _lobes(lamp: _Lamp, tangent: FloatArray, cosine: FloatArray, turn: FloatArray) -> list[FloatArray]:
    return [intensity_per_flux(beam, tangent, cosine, turn) for beam in lamp.beams]


def _in_air(lamp: _Lamp, points_m: FloatArray) -> FloatArray:
    """Direct beam at points above the water, shape (beam, point); no walls, no surface."""
    x_m, y_m, depth_m = points_m.T
    out = np.zeros((len(lamp.beams), x_m.size))
    for cell_x, cell_y in zip(lamp.cells.x_m, lamp.cells.y_m, strict=True):
        away_x, away_y = x_m - cell_x, y_m - cell_y
        drop = lamp.cells.height_m + depth_m
        below = np.flatnonzero(drop > 0)
        away_x, away_y, drop = away_x[below], away_y[below], drop[below]
        tangent = np.sqrt(away_x**2 + away_y**2) / drop
        cosine = 1 / np.sqrt(1 + tangent * tangent)
        gain = cosine**3 / (drop * drop * lamp.cells.x_m.size)
        turn = np.arctan2(away_y, away_x) - lamp.cells.turn_rad
        for beam, lobe in enumerate(_lobes(lamp, tangent, cosine, turn)):
            out[beam, below] += lobe * gain
    return out


def _under_water(lamp: _Lamp, points_m: FloatArray, nodes_per_m: FloatArray) -> FloatArray:
    """Light of a lamp at the absorption nodes, shape (beam, node, point), straight and by the walls."""
    x, y, depth = points_m.T
    out = np.zeros((len(lamp.beams), nodes_per_m.size, x.size))
    for route in lamp.routes:
        found = rays(route, x, y, depth)
        if found.point.size == 0:
            continue
        turn = np.arctan2(found.k_y, found.k_x) - lamp.cells.turn_rad
        left = [np.exp(-a * found.path_m) for a in nodes_per_m]
        for beam, lobe in enumerate(_lobes(lamp, found.tangent, found.cosine, turn)):
            lobe *= found.gain_per_m2
            for node, share in enumerate(left):
                out[beam, node] += np.bincount(found.point, lobe * share, x.size)
    return out


def _falling(lamps: Sequence[_Lamp], grid: FloorGrid, nodes_per_m: FloatArray) -> FloatArray:
    """Light of all lamps on each patch, shape (patch, beam, node): means over a few points of the patch."""
    tank = grid.tank
    axes = []
    for centres, span in ((grid.x_m, tank.length_m), (grid.y_m, tank.width_m)):
        parts = max(2, math.ceil(span / centres.size / FLOOR_SAMPLE_M - 1e-9))
        axes.append((np.arange(centres.size * parts) + 0.5) * span / (centres.size * parts))
    x, y = (axis.ravel() for axis in np.meshgrid(*axes, indexing="ij"))
    points = np.column_stack((x, y, np.full(x.size, tank.water_depth_m)))
    block = _block_size(lamps)
    rows = []
    for lamp in lamps:
        light = [_under_water(lamp, points[i : i + block], nodes_per_m) for i in range(0, x.size, block)]
        fine = np.concatenate(light, axis=2).reshape(
            len(lamp.beams), nodes_per_m.size, grid.x_m.size, -1, grid.y_m.size, axes[1].size // grid.y_m.size
        )
        rows.append(fine.mean(axis=(3, 5)).reshape(len(lamp.beams), nodes_per_m.size, -1))
    return np.concatenate(rows).transpose(2, 0, 1)


@dataclass(frozen=True, eq=False)
class _Scene:
    """Everything that does not depend on the point."""

    lamps: tuple[_Lamp, ...]
    nodes: AbsorptionNodes
    floor: FloorLight | None


def _scene(
    fixtures: Sequence[Fixture], tank: Tank, index: float, nodes: AbsorptionNodes, for_points: int
) -> _Scene:
    lamps = tuple(_lamps(fixtures, tank, index))
    if tank.floor_reflectance == 0 or index == 1.0 or not lamps or for_points == 0:
        return _Scene(lamps, nodes, None)
    grid = floor_grid(tank, index)
    falling = _falling(lamps, grid, nodes.per_m)
    return _Scene(lamps, nodes, floor_light(grid, falling, nodes.per_m, for_points=for_points))


def _cover_on_grid(cover: Cover) -> FloatArray | float:
    if isinstance(cover.transmittance, SpectralTable):
        return cover.transmittance.on_grid()
    return float(cover.transmittance)


def _check(fixtures: Sequence[Fixture], emission: FloatArray) -> None:
    channels = sum(len(fixture.type.channels) for fixture in fixtures)
    if emission.shape != (channels, 500):
        raise SetupError(f"the emission of {channels} channels needs the shape ({channels}, 500)")


def _scale(fixtures: Sequence[Fixture]) -> FloatArray:
    return np.array([fixture.output_scale for fixture in fixtures for _ in fixture.type.channels])


def response_chunks(
    points_m: FloatArray,
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    tank: Tank,
    water: Water,
    cover: Cover,
    tables: ReferenceTables,
    weightings: Weightings,
) -> Iterator[tuple[slice, FloatArray]]:
    """Responses of many points, block by block, in their order.

    Parameters
    ----------
    points_m : array, shape (n_point, 3)
        x, y, depth below the surface (negative: above the water). [m]
    fixtures, emission, tank, water, cover, tables, weightings
        As in ``light_field``.

    Yields
    ------
    slice, array of shape (n in block, n_channel, n_weighting)
        Which points, and their response at full output.

    Raises
    ------
    SetupError
        As ``light_field``.

    Source
    ------
    ``light_field``.
    """
    _check(fixtures, emission)
    absorption = absorption_per_m(water, tables)
    lit = emission * _scale(fixtures)[:, None] * _cover_on_grid(cover)
    kernels = lit[:, None, :] * weightings.matrix
    nodes = absorption_nodes(
        absorption, kernels.reshape(-1, absorption.size), LONGEST_PATH_DEPTHS * tank.water_depth_m
    )
    at_nodes = kernels @ nodes.to_grid
    in_air = kernels.sum(axis=2)
    scene = _scene(fixtures, tank, water.refractive_index, nodes, len(points_m))
    block = _block_size(scene.lamps)
    for start in range(0, len(points_m), block):
        part = slice(start, min(start + block, len(points_m)))
        yield part, _block(points_m[part], scene, at_nodes, in_air)


def _block_size(lamps: Sequence[_Lamp]) -> int:
    rays_a_point = [
        lamp.cells.x_m.size * route.images_x.number.size * route.images_y.number.size
        for lamp in lamps
        for route in lamp.routes
    ]
    return max(64, RAYS_AT_ONCE // max(rays_a_point, default=1))


def _block(points_m: FloatArray, scene: _Scene, at_nodes: FloatArray, in_air: FloatArray) -> FloatArray:
    """Response of a block of points, shape (n_point, n_channel, n_weighting)."""
    out = np.zeros((len(points_m), *in_air.shape))
    wet = points_m[:, 2] >= 0
    under, above = points_m[wet], points_m[~wet]
    bounced = None if scene.floor is None else scene.floor.at(under)
    channel = first_beam = 0
    for lamp in scene.lamps:
        light = _under_water(lamp, under, scene.nodes.per_m)
        if bounced is not None:
            shape = (len(under), len(lamp.beams), -1)
            width = len(lamp.beams) * scene.nodes.per_m.size
            own = bounced[:, first_beam : first_beam + width]
            light += own.reshape(shape).transpose(1, 2, 0)
            first_beam += width
        dry = _in_air(lamp, above)
        for beam in lamp.beam_of_channel:
            out[wet, channel] = light[beam].T @ at_nodes[channel].T
            out[~wet, channel] = dry[beam][:, None] * in_air[channel]
            channel += 1
    return out


def response_at(
    points_m: FloatArray,
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    tank: Tank,
    water: Water,
    cover: Cover,
    tables: ReferenceTables,
    weightings: Weightings,
) -> FloatArray:
    """Response of many points at full output, open sky 1.

    Parameters
    ----------
    points_m : array, shape (n_point, 3)
        x, y, depth below the surface (negative: above the water). [m]
    fixtures, emission, tank, water, cover, tables, weightings
        As in ``light_field``.

    Returns
    -------
    array, shape (n_point, n_channel, n_weighting)
        Planar irradiance of each weighting at full output.

    Raises
    ------
    SetupError
        As ``light_field``.

    Source
    ------
    ``light_field``.
    """
    out = np.empty((len(points_m), emission.shape[0], len(weightings.keys)))
    for part, block in response_chunks(points_m, fixtures, emission, tank, water, cover, tables, weightings):
        out[part] = block
    return out


def _points(receivers: Sequence[Receiver]) -> FloatArray:
    return np.array([(r.x_m, r.y_m, r.depth_m) for r in receivers], dtype=np.float64).reshape(-1, 3)


def light_field(
    receivers: Sequence[Receiver],
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    tank: Tank,
    water: Water,
    cover: Cover,
    tables: ReferenceTables,
    weightings: Weightings,
) -> LightField:
    """Light at every receiver from every channel at full output.

    Parameters
    ----------
    receivers : sequence of Receiver
        Points with their open sky, which multiplies everything.
    fixtures : sequence of Fixture
        The lit ones, in the order of the channels.
    emission : array, shape (n_channel, 500)
        Photons of each channel at full output in each cell of the working grid. [umol s-1]
    tank, water, cover : Tank, Water, Cover
    tables : ReferenceTables
    weightings : Weightings

    Returns
    -------
    LightField
        Response (n_site, n_channel, n_weighting), open sky, cover and output scale included.

    Raises
    ------
    SetupError
        If the emission does not belong to the fixtures, or an aperture is too large to be cut into cells.

    Source
    ------
    See the head of this module.
    """
    response = response_at(_points(receivers), fixtures, emission, tank, water, cover, tables, weightings)
    response *= np.array([r.open_sky for r in receivers]).reshape(-1, 1, 1)
    channels = tuple(ChannelKey(f.name, c.name) for f in fixtures for c in f.type.channels)
    return LightField(tuple(receivers), channels, weightings.keys, response)


def spectral_transfer(
    receivers: Sequence[Receiver],
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    tank: Tank,
    water: Water,
    cover: Cover,
    tables: ReferenceTables,
) -> FloatArray:
    """Share of each channel's photons that arrives per square metre, wavelength by wavelength.

    Parameters
    ----------
    receivers, fixtures, emission, tank, water, cover, tables
        As in ``light_field``; of the emission only the shape matters.

    Returns
    -------
    array, shape (n_site, n_channel, 500)
        Irradiance per emitted photon flux; times the emission it is the spectrum at the site. [m-2]

    Raises
    ------
    SetupError
        If an aperture is too large to be cut into cells.

    Source
    ------
    See the head of this module.
    """
    _check(fixtures, emission)
    channels = len(emission)
    cell_by_cell = np.eye(500)
    out = np.empty((len(receivers), channels, 500))
    absorption = absorption_per_m(water, tables)
    nodes = absorption_nodes(absorption, cell_by_cell, LONGEST_PATH_DEPTHS * tank.water_depth_m)
    scale = _scale(fixtures)[:, None]
    at_nodes = scale[:, :, None] * (nodes.to_grid * np.reshape(_cover_on_grid(cover), (-1, 1)))[None]
    in_air = np.broadcast_to(scale * _cover_on_grid(cover), (channels, 500))
    points = _points(receivers)
    scene = _scene(fixtures, tank, water.refractive_index, nodes, len(points))
    block = _block_size(scene.lamps)
    for start in range(0, len(points), block):
        part = slice(start, start + block)
        out[part] = _block(points[part], scene, at_nodes, in_air)
    out *= np.array([r.open_sky for r in receivers]).reshape(-1, 1, 1)
    return read_only(np.maximum(out, 0.0))
