"""The light field: every channel of every fixture at every place, at full output.

Quantity: planar photon irradiance on a flat horizontal receiver that looks up, in the water. What a sphere
would receive (scalar irradiance) is 1.1-2.1 times as much, the more the whiter the floor.

What is in it
-------------
- each lamp as a point, or a rectangle cut into cells of at most 6 cm, with its own lobe and rotation;
- the flat surface: refraction solved for each point, Fresnel's loss, absorption along the slanted path;
- upright walls as mirrors to the order that the proportions need: clear panes with total reflection at their
  outer face and the displacement of the pane, paint bonded outside, absorbing walls, stated reflectances;
- light that would run into a glass joint is left out of the mirror images, and for the floor's light also
  what would leave a pane at the waterline;
- the dry rim above the water, one reflection along each axis;
- a diffuse floor with every bounce, by way of the surface from below and the walls;
- a cover and the open sky of a place, which multiply everything.

Assumptions and limits
----------------------
- The surface is flat: no ripples, no flicker, no random effects of weather.
- The water is clear: it absorbs, but no particles scatter.
- Nothing stands in the way: rocks and corals shade only through a place's open sky.
- The receiver is planar, horizontal and looks up.
- Only the displayed water counts: no rear chambers, no curved panes, no braces; panes end at the floor and at
  the surface.
- Places above the water get the direct beam alone: no surface, no walls, no rim.
- Light that a glass joint sends astray is lost; in reality some of it reappears near the corner or further
  down: up to 4 % beside the corners of thick glass, 3 % of all light at the bottom of a deep column.
- A lamp outside the opening is computed, its light through a rim pane without displacement.
- Light is unpolarised after every reflection.

Source
------
Snell's law, Fresnel's equations, Beer-Lambert law, conservation of flux in a tube of rays, method of images,
Lambert's law. Accuracy against an independent photon-tracing simulation:
``python tests/benchmarks/light_field_accuracy.py``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from lightdose.model.fixture import Fixture
from lightdose.model.light import LIGHT_PARTS, ChannelKey, LightField, LightFieldParts
from lightdose.model.record import FloatArray, read_only
from lightdose.model.setup import Cover, Receiver, Tank, Water
from lightdose.model.spectrum import GRID_NM, ReferenceTables, SpectralTable, Weightings
from lightdose.physics.lit_tank import lit_tank, path_and_surface
from lightdose.physics.prepared_field import (
    LONGEST_PATH_DEPTHS,
    Mixture,
    PreparedField,
    blockwise,
    lids,
    prepare_field,
)
from lightdose.physics.water import absorption_nodes, absorption_per_m

POINTS_A_CHUNK = 100_000


def response_chunks(
    points_m: FloatArray,
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    tank: Tank,
    water: Water,
    cover: Cover,
    tables: ReferenceTables,
    weightings: Weightings,
    *,
    split: bool = False,
) -> Iterator[tuple[slice, FloatArray]]:
    """Responses of many points, chunk by chunk in their order, in bounded memory.

    Parameters
    ----------
    points_m : array, shape (n_point, 3)
        x, y, depth below the surface (negative: above the water). [m]
    fixtures, emission, tank, water, cover, tables, weightings
        As in ``light_field``.
    split : bool
        Keep the parts of ``LIGHT_PARTS`` apart.

    Yields
    ------
    slice, array of shape (n in chunk, n_channel, n_weighting)
        Which points, and their response at full output under open sky; if split, with the axis of parts
        before that of channels.

    Raises
    ------
    SetupError
        As ``light_field``.

    Source
    ------
    ``light_field``.
    """
    ready = prepare_field(
        fixtures, emission, tank, water, cover, tables, weightings, for_points=len(points_m)
    )
    for start in range(0, len(points_m), POINTS_A_CHUNK):
        chunk = slice(start, min(start + POINTS_A_CHUNK, len(points_m)))
        parts = ready.parts(points_m[chunk], split=split)
        yield chunk, parts if split else parts[:, 0]


def response_at(
    points_m: FloatArray,
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    tank: Tank,
    water: Water,
    cover: Cover,
    tables: ReferenceTables,
    weightings: Weightings,
    *,
    split: bool = False,
) -> FloatArray:
    """Responses of many points at full output under open sky.

    Parameters
    ----------
    points_m : array, shape (n_point, 3)
        x, y, depth below the surface (negative: above the water). [m]
    fixtures, emission, tank, water, cover, tables, weightings, split
        As in ``response_chunks``.

    Returns
    -------
    array, shape (n_point, n_channel, n_weighting), or (n_point, n_part, n_channel, n_weighting) if split
        Planar irradiance of each weighting.

    Raises
    ------
    SetupError
        As ``light_field``.

    Source
    ------
    ``light_field``.
    """
    parts = (len(LIGHT_PARTS),) if split else ()
    out = np.empty((len(points_m), *parts, len(emission), len(weightings.keys)))
    for part, chunk in response_chunks(
        points_m, fixtures, emission, tank, water, cover, tables, weightings, split=split
    ):
        out[part] = chunk
    return out


def _places(receivers: Sequence[Receiver]) -> tuple[FloatArray, FloatArray]:
    """Points (n, 3) and open sky (n,)."""
    points = np.array([(r.x_m, r.y_m, r.depth_m) for r in receivers], dtype=np.float64).reshape(-1, 3)
    return points, np.array([r.open_sky for r in receivers], dtype=np.float64)


def _channels(fixtures: Sequence[Fixture]) -> tuple[ChannelKey, ...]:
    return tuple(ChannelKey(f.name, c.name) for f in fixtures for c in f.type.channels)


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
    ready = prepare_field(
        fixtures, emission, tank, water, cover, tables, weightings, for_points=len(receivers)
    )
    return prepared_light_field(receivers, ready)


def prepared_light_field(receivers: Sequence[Receiver], ready: PreparedField) -> LightField:
    """The same from a field that is prepared already.

    Parameters
    ----------
    receivers : sequence of Receiver
        Points with their open sky, which multiplies everything.
    ready : PreparedField

    Returns
    -------
    LightField

    Source
    ------
    See the head of this module.
    """
    points, sky = _places(receivers)
    response = ready.at(points) * sky[:, None, None]
    return LightField(tuple(receivers), _channels(ready.fixtures), ready.weightings.keys, response)


def light_field_parts(
    receivers: Sequence[Receiver],
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    tank: Tank,
    water: Water,
    cover: Cover,
    tables: ReferenceTables,
    weightings: Weightings,
) -> LightFieldParts:
    """The light field by where its light comes from, its way in the water and what it lost.

    Parameters
    ----------
    receivers, fixtures, emission, tank, water, cover, tables, weightings
        As in ``light_field``.

    Returns
    -------
    LightFieldParts

    Raises
    ------
    SetupError
        As ``light_field``.

    Source
    ------
    See the head of this module.
    """
    points, sky = _places(receivers)
    response = response_at(points, fixtures, emission, tank, water, cover, tables, weightings, split=True)
    clear = Water(
        refractive_index=water.refractive_index,
        absorption=SpectralTable("none", GRID_NM, np.zeros(GRID_NM.size)),
    )
    unabsorbed = response_at(points, fixtures, emission, tank, clear, cover, tables, weightings)
    lit = lit_tank(fixtures, tank, water.refractive_index, np.zeros(1), for_points=0)
    mean_path = np.full((len(points), len(emission)), np.nan)
    loss = np.full_like(mean_path, np.nan)
    wet = np.flatnonzero(points[:, 2] >= 0)
    channel = 0
    for lamp in lit.lamps:
        light, way, before = path_and_surface(lamp, points[wet])
        for beam in lamp.beam_of_channel:
            some = light[beam] > 0
            mean_path[wet[some], channel] = way[beam, some] / light[beam, some]
            loss[wet[some], channel] = 1 - light[beam, some] / before[beam, some]
            channel += 1
    return LightFieldParts(
        tuple(receivers),
        _channels(fixtures),
        weightings.keys,
        response * sky[:, None, None, None],
        unabsorbed * sky[:, None, None],
        mean_path,
        loss,
    )


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
        As ``light_field``.

    Source
    ------
    See the head of this module.
    """
    points, sky = _places(receivers)
    lid = lids(fixtures, emission, cover)
    absorption = absorption_per_m(water, tables)
    longest = LONGEST_PATH_DEPTHS * tank.water_depth_m
    nodes = absorption_nodes(absorption, np.eye(GRID_NM.size), longest)
    mixture = Mixture(nodes.per_m, lid[:, None, :] * nodes.to_grid.T, lid)
    ready = lit_tank(fixtures, tank, water.refractive_index, nodes.per_m, for_points=len(points))
    response = blockwise(points, ready, mixture, split=False)[:, 0] * sky[:, None, None]
    return read_only(np.maximum(response, 0.0))
