"""The light field: every channel of every fixture at every place, at full output.

Quantity: planar photon irradiance on a flat horizontal receiver that looks up, in the water. What a sphere
would receive (scalar irradiance) is 1.1-2.1 times as much, the more the whiter the floor.

What is in it
-------------
- each lamp as a point, or a rectangle cut into cells of at most 6 cm, with its own lobe and rotation;
- the flat surface: refraction solved for each point, Fresnel's loss, absorption along the slanted path;
- upright walls as mirrors to the order that the proportions need: clear panes with total reflection at their
  outer face and the displacement of the pane, paint bonded outside, absorbing walls, stated reflectances;
- light that would run into a glass joint is left out of the mirror images; in narrow tall tanks what the
  joint leads along the next pane, and back into the water at its other end, is added;
- for the floor's light also what would leave a pane at the waterline is left out;
- the dry rim above the water, one reflection along each axis;
- a diffuse floor with every bounce, by way of the surface from below and the walls;
- a cover and the open sky of a place, which multiply everything.

Assumptions and limits
----------------------
- The surface is flat: no ripples, no flicker, no random effects of weather.
- The water is clear: it absorbs, but no particles scatter.
- What stands in the way are boxes, ellipsoids and upright cylinders with grey skins that send light back by
  Lambert's law (``shade``, ``bounce``); where a place's open sky is stated, it stands for all of them.
- The receiver is planar and looks up, or along the normals that are given.
- Only the displayed water counts: no rear chambers, no curved panes; panes end at the floor and at the
  surface.
- Places above the water get the direct beam alone: no surface, no walls, no rim.
- Light that a glass joint sends astray is lost but for what leaves the next pane as steep as it came; in
  reality some more reappears near the corner or further down: up to 4 % beside the corners of thick glass.
  In columns of 25 x 25 x 75 cm and 15 x 15 x 60 cm no 5 or 3 cm square 2, 20 or 40 cm above the floor is off
  by more than 2.5 %, half of them by 0.2 % at most; without the light that panes lead the foot reads 8-10 %
  low.
- A lamp outside the opening is computed, its light through a rim pane without displacement.
- Light is unpolarised after every reflection.

Source
------
Snell's law, Fresnel's equations, Beer-Lambert law, conservation of flux in a tube of rays, method of images,
Lambert's law. Accuracy against an independent photon-tracing simulation:
``python tests/benchmarks/light_field_accuracy.py``.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from lightdose.model.fixture import Fixture
from lightdose.model.light import LIGHT_PARTS, LightField, LightFieldParts, Scene
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.setup import Receiver, Tank, Water
from lightdose.model.spectrum import GRID_NM, SpectralTable, Weightings
from lightdose.physics.in_threads import THREADS, in_threads
from lightdose.physics.lit_scene import lit_scene, without_solids
from lightdose.physics.lit_tank import LitTank, light_in_air, light_under_water, path_and_surface
from lightdose.physics.water import AbsorptionNodes, absorption_nodes, absorption_per_m

IntArray = npt.NDArray[np.intp]

LONGEST_PATH_DEPTHS = 4.0
"""Paths up to so many water depths are exact in the spectral interpolation; longer ones carry little."""

BLOCK_PARTS_WORTH_A_THREAD = 8
"""A thread costs less than it brings from this part of a whole block on; by measurement."""

SINGLE_THREADED_PRODUCT = 200_000
"""Multiplications up to which BLAS starts no threads, which would wait for ours; by measurement."""


@dataclass(frozen=True, eq=False)
class Mixture:
    """From light at the nodes, and from light in air, to responses of each channel.

    Attributes
    ----------
    nodes : absorptions at which light is computed
    at_nodes : array, shape (n_channel, n_node, n_weighting)
    in_air : array, shape (n_channel, n_weighting)
    """

    nodes: AbsorptionNodes
    at_nodes: FloatArray
    in_air: FloatArray

    @property
    def nodes_per_m(self) -> FloatArray:
        """The nodes. [m-1]"""
        return self.nodes.per_m


def _passing(scene: Scene) -> FloatArray:
    """Output scale times cover, a factor on the emission, shape (n_channel, 500)."""
    scale = np.array([fixture.output_scale for fixture in scene.fixtures for _ in fixture.type.channels])
    passes = scene.cover.transmittance
    cover = passes.on_grid() if isinstance(passes, SpectralTable) else np.full(GRID_NM.size, float(passes))
    return np.asarray(scale.reshape(-1, 1) * cover)


def _mixture(emission: FloatArray, matrix: FloatArray, absorption: FloatArray, tank: Tank) -> Mixture:
    """Fold emission through the cover, (n_channel, 500), and weightings, (n, 500), into small matrices."""
    kernels = emission[:, None, :] * matrix
    longest = LONGEST_PATH_DEPTHS * tank.water_depth_m
    nodes = absorption_nodes(absorption, kernels.reshape(-1, GRID_NM.size), longest)
    at_nodes = np.ascontiguousarray((kernels @ nodes.to_grid).transpose(0, 2, 1))
    return Mixture(nodes, at_nodes, kernels.sum(axis=2))


def _product(left: FloatArray, right: FloatArray) -> FloatArray:
    """The matrix product in strips of rows, each done in the calling thread."""
    rows = max(1, SINGLE_THREADED_PRODUCT // max(1, right.size))
    out = np.empty((len(left), right.shape[1]))
    for first in range(0, len(left), rows):
        strip = slice(first, first + rows)
        np.matmul(left[strip], right, out=out[strip])
    return out


def _block(
    points_m: FloatArray,
    lit: LitTank,
    mixture: Mixture,
    normals: FloatArray | None,
    seen: FloatArray | None,
    out: FloatArray,
) -> None:
    """Fill in responses of a block of points, shape (n_part, n_point, n_channel, n_weighting)."""
    split = len(out) > 1
    wet = points_m[:, 2] >= 0
    under = slice(None) if np.all(wet) else np.flatnonzero(wet)
    above = np.flatnonzero(~wet)
    look = None
    if normals is not None:
        from lightdose.physics.looks import facing

        look = facing(normals[under])
    bounced = seen[under] if seen is not None else None
    if seen is None:
        bounced = _bounced(lit, points_m[under], None if normals is None else normals[under])
    if split or above.size:
        out[:] = 0.0
    nodes = mixture.nodes_per_m.size
    channel = column = 0
    for lamp in lit.lamps:
        light = light_under_water(
            lamp, lamp.routes, points_m[under], mixture.nodes_per_m, split=split, looks=(look,)
        )
        dry = light_in_air(lamp, points_m[above], None if normals is None else normals[above])
        for beam in range(len(lamp.beams)):
            own = [channel + i for i, which in enumerate(lamp.beam_of_channel) if which == beam]
            by_part = [by_node.T for by_node in light[beam]]
            if bounced is not None:
                floor = bounced[:, column : column + nodes]
                by_part = [*by_part, floor] if split else [by_part[0] + floor]
            fold = np.concatenate([mixture.at_nodes[i] for i in own], axis=1)
            for part, by_node in enumerate(by_part):
                mixed = _product(by_node, fold).reshape(-1, len(own), out.shape[3])
                for which, own_part in _runs(own):
                    out[part, under, which] = mixed[:, own_part]
            for i in own:
                out[0, above, i] = dry[beam][:, None] * mixture.in_air[i]
            column += nodes
        channel += len(lamp.beam_of_channel)
    # Where nearly all is absorbed, the polynomial between absorptions dips below zero by 1e-8 of its top.
    np.maximum(out, 0.0, out=out)


def _runs(numbers: list[int]) -> Iterator[tuple[slice, slice]]:
    """Runs of rising numbers without a gap, and where each stands in the list: they are copied at once."""
    first = 0
    for i in range(1, len(numbers) + 1):
        if i == len(numbers) or numbers[i] != numbers[i - 1] + 1:
            yield slice(numbers[first], numbers[i - 1] + 1), slice(first, i)
            first = i


def blockwise(
    points_m: FloatArray,
    lit: LitTank,
    mixture: Mixture,
    normals: FloatArray | None = None,
    *,
    split: bool,
    off_surfaces: FloatArray | None = None,
) -> FloatArray:
    """Responses of points in blocks that fit the cache.

    Parameters
    ----------
    points_m : array, shape (n_point, 3)
        x, y, depth. [m]
    lit : LitTank
    mixture : Mixture
    normals : array, shape (n_point, 3), or None
        Which way each point looks: along x, y and upwards; None where all look up.
    split : bool
        Keep the parts of ``LIGHT_PARTS`` apart; else there is one.
    off_surfaces : array, shape (n_point, n_beam * n_node), or None
        Light off floor and solids at the points, where it is known already.

    Returns
    -------
    array, shape (n_point, n_part, n_channel, n_weighting)
    """
    out = np.empty((len(points_m), len(LIGHT_PARTS) if split else 1, *mixture.in_air.shape))
    size = lit.points_at_once
    if off_surfaces is None and lit.bounce is not None:
        off_surfaces = _off_surfaces(points_m, lit, normals)

    parts = math.ceil(len(points_m) / size)
    if len(points_m) >= THREADS * size / BLOCK_PARTS_WORTH_A_THREAD:
        parts = THREADS * math.ceil(parts / THREADS)

    def fill(part: int) -> None:
        block = slice(len(points_m) * part // parts, len(points_m) * (part + 1) // parts)
        if parts <= THREADS:
            block = slice(part, None, parts)  # all over the water: each thread has as many rays
        look = None if normals is None else normals[block]
        back = None if off_surfaces is None else off_surfaces[block]
        _block(points_m[block], lit, mixture, look, back, out[block].swapaxes(0, 1))

    in_threads(fill, parts, THREADS)
    return out


def _bounced(lit: LitTank, points_m: FloatArray, normals: FloatArray | None) -> FloatArray | None:
    """Light off floor and solids at points under water, (n_point, beam * node); None where there is none."""
    flat = lit.bounced(points_m)
    if normals is None or np.all(normals[:, 2] >= 1 - 1e-12):
        return flat
    from lightdose.physics.solid_light import light_around

    turned = np.flatnonzero(normals[:, 2] < 1 - 1e-12)
    faces = light_around(lit, points_m[turned], normals[turned])[0]
    flat = np.zeros((len(points_m), faces.shape[1])) if flat is None else flat.copy()
    flat[turned] = faces
    return flat


def _off_surfaces(points_m: FloatArray, lit: LitTank, normals: FloatArray | None) -> FloatArray:
    """Light off floor and solids at all points at once, (n_point, beam * node); none above the water."""
    wet = np.flatnonzero(points_m[:, 2] >= 0)
    light = _bounced(lit, points_m[wet], None if normals is None else normals[wet])
    assert light is not None
    if wet.size == len(points_m):
        return light
    out = np.zeros((len(points_m), light.shape[1]))
    out[wet] = light
    return out


def _places(receivers: Sequence[Receiver]) -> tuple[FloatArray, FloatArray]:
    """Points (n, 3) and open sky (n,)."""
    points = np.array([(r.x_m, r.y_m, r.depth_m) for r in receivers], dtype=np.float64).reshape(-1, 3)
    return points, np.array([r.open_sky for r in receivers], dtype=np.float64)


UP = (0.0, 0.0, 1.0)


def normals_of(receivers: Sequence[Receiver]) -> FloatArray | None:
    """Which way receivers look, shape (n, 3): along x, y and upwards; None where all look up.

    Parameters
    ----------
    receivers : sequence of Receiver
    """
    if all(r.face is None for r in receivers):
        return None
    return np.array([UP if r.face is None else r.face.normal for r in receivers]).reshape(-1, 3)


@dataclass(frozen=True, eq=False)
class PreparedField:
    """Fixtures over a tank, ready for places.

    Attributes
    ----------
    scene : what shines into which water
    emission : array, shape (n_channel, 500); photons that pass the cover at full output. [umol s-1]
    absorption_per_m : array, shape (500,). [m-1]
    weightings : keys in the order of the responses
    """

    scene: Scene
    emission: FloatArray
    absorption_per_m: FloatArray
    weightings: Weightings
    lit: LitTank
    mixture: Mixture

    def parts(
        self,
        points_m: FloatArray,
        normals: FloatArray | None = None,
        *,
        split: bool = False,
        off_surfaces: FloatArray | None = None,
    ) -> FloatArray:
        """Responses at points, shape (n_point, n_part, n_channel, n_weighting), block by block.

        Parameters
        ----------
        points_m : array, shape (n_point, 3)
            x, y, depth below the surface (negative: above the water). [m]
        normals, split, off_surfaces
            As in ``blockwise``.
        """
        return blockwise(points_m, self.lit, self.mixture, normals, split=split, off_surfaces=off_surfaces)

    def off_surfaces(self, points_m: FloatArray, normals: FloatArray | None = None) -> FloatArray:
        """Light off floor and solids, (n_point, n_beam * n_node), where one of them sends any back. [m-2]"""
        return _off_surfaces(points_m, self.lit, normals)

    def at(
        self,
        points_m: FloatArray,
        normals: FloatArray | None = None,
        *,
        off_surfaces: FloatArray | None = None,
    ) -> FloatArray:
        """Responses at points under open sky, shape (n_point, n_channel, n_weighting)."""
        return self.parts(points_m, normals, off_surfaces=off_surfaces)[:, 0]

    def light_field(self, receivers: Sequence[Receiver]) -> LightField:
        """Light at receivers from every channel at full output; their open sky multiplies everything.

        Where a receiver's open sky was stated, no solid stands in its way.
        """
        points, sky = _places(receivers)
        normals = normals_of(receivers)
        response = np.empty((len(points), *self.mixture.in_air.shape))
        for lit_here, some in self.by_sky(receivers):
            look = None if normals is None else normals[some]
            response[some] = lit_here.at(points[some], look) * sky[some, None, None]
        return LightField(tuple(receivers), self.scene.channels, self.weightings.keys, response)

    def transfer(self, receivers: Sequence[Receiver]) -> FloatArray:
        """As ``spectral_transfer``, where a channel emits within 1e-5 of it."""
        passing = _passing(self.scene)
        each_nm = replace(
            self.mixture, at_nodes=passing[:, None, :] * self.mixture.nodes.to_grid.T, in_air=passing
        )
        whole = replace(self, mixture=each_nm).light_field(receivers)
        return read_only(whole.response)

    def by_sky(self, receivers: Sequence[Receiver]) -> Iterator[tuple[PreparedField, IntArray]]:
        """This field with the receivers for which solids count, and one without solids for the others."""
        own = np.array([r.own_sky for r in receivers], dtype=bool)
        if self.scene.standing is None or not np.any(own):
            yield self, np.arange(own.size)
            return
        yield self, np.flatnonzero(~own)
        yield self.clear, np.flatnonzero(own)

    @property
    def clear(self) -> PreparedField:
        """The same field without any solid."""
        if self.scene.standing is None or not self.scene.standing.solids:
            return self
        scene = without_solids(self.scene)
        from lightdose.physics import solid_light

        return replace(self, scene=scene, lit=solid_light.without_solids(self.lit))

    def bounced(self, points_m: FloatArray, normals: FloatArray | None = None) -> FloatArray:
        """The part of ``at`` that comes by floor and solids, without tracing a ray; none above the water."""
        out = np.zeros((len(points_m), *self.mixture.in_air.shape))
        wet = np.flatnonzero(points_m[:, 2] >= 0)
        if (self.lit.floor is None and self.lit.bounce is None) or wet.size == 0:
            return out
        found = _bounced(self.lit, points_m[wet], None if normals is None else normals[wet])
        assert found is not None
        light = found.reshape(wet.size, -1, self.mixture.nodes_per_m.size)
        for channel, beam in enumerate(self.beams):
            out[wet, channel] = np.maximum(light[:, beam] @ self.mixture.at_nodes[channel], 0.0)
        return out

    def at_many(self, for_points: int) -> PreparedField:
        """The same field for so many points: the more there are, the fewer lines look around at each."""
        bounce = self.lit.bounce
        if bounce is None:
            return self
        return replace(self, lit=replace(self.lit, bounce=bounce.at_many(for_points)))

    def running(self, fixtures: tuple[Fixture, ...]) -> PreparedField:
        """The same field with other programmes on its fixtures."""
        return replace(self, scene=replace(self.scene, fixtures=fixtures))

    @property
    def beams(self) -> tuple[int, ...]:
        """For each channel its lobe, counted through all fixtures: the order of the floor's light."""
        found: list[int] = []
        first = 0
        for lamp in self.lit.lamps:
            found += [first + which for which in lamp.beam_of_channel]
            first += len(lamp.beams)
        return tuple(found)

    def only(self, key: str) -> PreparedField:
        """The same field with one weighting."""
        column = [self.weightings.keys.index(key)]
        mixture = replace(
            self.mixture,
            at_nodes=np.ascontiguousarray(self.mixture.at_nodes[:, :, column]),
            in_air=self.mixture.in_air[:, column],
        )
        return replace(self, weightings=Weightings((key,), self.weightings.matrix[column]), mixture=mixture)


def prepare_field(scene: Scene, weightings: Weightings, *, for_points: int) -> PreparedField:
    """Solve all that does not depend on the place.

    Parameters
    ----------
    scene : Scene
    weightings : Weightings
    for_points : int
        How many points will be asked for; many make tables worth their cost.

    Raises
    ------
    SetupError
        If an aperture is too large to be cut into cells.
    """
    emission = scene.emission * _passing(scene)
    absorption = absorption_per_m(scene.water, scene.tables)
    mixture = _mixture(emission, weightings.matrix, absorption, scene.tank)
    lit = lit_scene(scene, mixture.nodes_per_m, for_points=for_points)
    return PreparedField(scene, emission, absorption, weightings, lit, mixture)


POINTS_A_CHUNK = 100_000


def response_chunks(
    points_m: FloatArray,
    scene: Scene,
    weightings: Weightings,
    *,
    split: bool = False,
) -> Iterator[tuple[slice, FloatArray]]:
    """Responses of many points, chunk by chunk in their order, in bounded memory.

    Parameters
    ----------
    points_m : array, shape (n_point, 3)
        x, y, depth below the surface (negative: above the water). [m]
    scene : Scene
    weightings : Weightings
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
        If an aperture is too large to be cut into cells.
    """
    ready = prepare_field(scene, weightings, for_points=len(points_m))
    for start in range(0, len(points_m), POINTS_A_CHUNK):
        chunk = slice(start, min(start + POINTS_A_CHUNK, len(points_m)))
        parts = ready.parts(points_m[chunk], split=split)
        yield chunk, parts if split else parts[:, 0]


def response_at(
    points_m: FloatArray,
    scene: Scene,
    weightings: Weightings,
    *,
    split: bool = False,
) -> FloatArray:
    """Responses of many points at full output under open sky.

    Parameters
    ----------
    points_m : array, shape (n_point, 3)
        x, y, depth below the surface (negative: above the water). [m]
    scene, weightings, split
        As in ``response_chunks``.

    Returns
    -------
    array, shape (n_point, n_channel, n_weighting), or (n_point, n_part, n_channel, n_weighting) if split
        Planar irradiance of each weighting.

    Raises
    ------
    SetupError
        If an aperture is too large to be cut into cells.
    """
    parts = (len(LIGHT_PARTS),) if split else ()
    out = np.empty((len(points_m), *parts, len(scene.emission), len(weightings.keys)))
    for part, chunk in response_chunks(points_m, scene, weightings, split=split):
        out[part] = chunk
    return out


def light_field_parts(receivers: Sequence[Receiver], scene: Scene, weightings: Weightings) -> LightFieldParts:
    """The light field by where its light comes from, its way in the water and what it lost.

    Raises
    ------
    SetupError
        If an aperture is too large to be cut into cells.
    """
    points, sky = _places(receivers)
    response = response_at(points, scene, weightings, split=True)
    index = scene.water.refractive_index
    clear = Water(refractive_index=index, absorption=SpectralTable("none", GRID_NM, np.zeros(GRID_NM.size)))
    unabsorbed = response_at(points, replace(scene, water=clear), weightings)
    lit = lit_scene(scene, np.zeros(1), for_points=0)
    mean_path = np.full((len(points), len(scene.emission)), np.nan)
    loss = np.full_like(mean_path, np.nan)
    wet = np.flatnonzero(points[:, 2] >= 0)
    channel = 0
    for lamp in lit.lamps:
        light, path, before = path_and_surface(lamp, points[wet])
        for beam in lamp.beam_of_channel:
            some = light[beam] > 0
            mean_path[wet[some], channel] = path[beam, some] / light[beam, some]
            loss[wet[some], channel] = 1 - light[beam, some] / before[beam, some]
            channel += 1
    return LightFieldParts(
        tuple(receivers),
        scene.channels,
        weightings.keys,
        response * sky[:, None, None, None],
        unabsorbed * sky[:, None, None],
        mean_path,
        loss,
    )


def spectral_transfer(receivers: Sequence[Receiver], scene: Scene) -> FloatArray:
    """Share of each channel's photons that arrives per square metre, wavelength by wavelength.

    Parameters
    ----------
    receivers : sequence of Receiver
    scene : Scene
        Of its emission only the shape matters.

    Returns
    -------
    array, shape (n_site, n_channel, 500)
        Irradiance per emitted photon flux; times the emission it is the spectrum at the site. [m-2]

    Raises
    ------
    SetupError
        If an aperture is too large to be cut into cells.
    """
    absorption = absorption_per_m(scene.water, scene.tables)
    longest = LONGEST_PATH_DEPTHS * scene.tank.water_depth_m
    nodes = absorption_nodes(absorption, np.eye(GRID_NM.size), longest)
    count = len(scene.emission)
    unweighted = Mixture(nodes, np.zeros((count, nodes.per_m.size, 0)), np.zeros((count, 0)))
    lit = lit_scene(scene, nodes.per_m, for_points=len(receivers))
    weightings = Weightings((), np.zeros((0, GRID_NM.size)))
    ready = PreparedField(scene, scene.emission, absorption, weightings, lit, unweighted)
    return ready.transfer(receivers)
