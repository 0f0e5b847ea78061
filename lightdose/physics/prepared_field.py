"""A light field ready for any place: what does not depend on the place is computed once and kept."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from lightdose.errors import SetupError
from lightdose.model.fixture import Fixture
from lightdose.model.light import LIGHT_PARTS
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Cover, Tank, Water
from lightdose.model.spectrum import GRID_NM, ReferenceTables, SpectralTable, Weightings
from lightdose.physics.lit_tank import LitTank, light_in_air, light_under_water, lit_tank
from lightdose.physics.water import absorption_nodes, absorption_per_m

LONGEST_PATH_DEPTHS = 4.0
"""Paths up to so many water depths are exact in the spectral interpolation; longer ones carry little."""

THREADS = 2
"""Blocks of points at once, by measurement on two cores; numpy works outside the interpreter's lock."""


SINGLE_THREADED_PRODUCT = 200_000
"""Multiplications up to which BLAS starts no threads, which would wait for ours; by measurement."""


@dataclass(frozen=True, eq=False)
class Mixture:
    """From light at the nodes, and from light in air, to responses of each channel.

    Attributes
    ----------
    at_nodes : array, shape (n_channel, n_node, n_weighting)
    in_air : array, shape (n_channel, n_weighting)
    """

    nodes_per_m: FloatArray
    at_nodes: FloatArray
    in_air: FloatArray


def lids(fixtures: Sequence[Fixture], emission: FloatArray, cover: Cover) -> FloatArray:
    """Output scale times cover; checks that the emission belongs to the fixtures.

    Parameters
    ----------
    fixtures : sequence of Fixture
    emission : array, shape (n_channel, 500)
    cover : Cover

    Returns
    -------
    array, shape (n_channel, 500)
        Factor on the emission.

    Raises
    ------
    SetupError
        If the emission does not belong to the fixtures.

    Source
    ------
    Both multiply all light of a fixture, whatever its angle.
    """
    channels = sum(len(fixture.type.channels) for fixture in fixtures)
    if emission.shape != (channels, GRID_NM.size):
        raise SetupError(
            f"the emission of {channels} channels needs the shape ({channels}, {GRID_NM.size}), "
            f"got {emission.shape}"
        )
    scale = np.array([fixture.output_scale for fixture in fixtures for _ in fixture.type.channels])
    passes = cover.transmittance
    lid = passes.on_grid() if isinstance(passes, SpectralTable) else np.full(GRID_NM.size, float(passes))
    return np.asarray(scale.reshape(-1, 1) * lid)


def _mixture(lit: FloatArray, matrix: FloatArray, absorption: FloatArray, tank: Tank) -> Mixture:
    """Fold emission through the cover, (n_channel, 500), and weightings, (n, 500), into small matrices."""
    kernels = lit[:, None, :] * matrix
    longest = LONGEST_PATH_DEPTHS * tank.water_depth_m
    nodes = absorption_nodes(absorption, kernels.reshape(-1, GRID_NM.size), longest)
    at_nodes = np.ascontiguousarray((kernels @ nodes.to_grid).transpose(0, 2, 1))
    return Mixture(nodes.per_m, at_nodes, kernels.sum(axis=2))


def _product(left: FloatArray, right: FloatArray) -> FloatArray:
    """The matrix product in strips of rows, each done in the calling thread."""
    rows = max(1, SINGLE_THREADED_PRODUCT // max(1, right.size))
    out = np.empty((len(left), right.shape[1]))
    for first in range(0, len(left), rows):
        strip = slice(first, first + rows)
        np.matmul(left[strip], right, out=out[strip])
    return out


def _block(points_m: FloatArray, lit: LitTank, mixture: Mixture, *, split: bool = False) -> FloatArray:
    """Responses of a block of points, shape (n_part, n_point, n_channel, n_weighting)."""
    out = np.zeros((len(LIGHT_PARTS) if split else 1, len(points_m), *mixture.in_air.shape))
    wet = points_m[:, 2] >= 0
    under = slice(None) if np.all(wet) else np.flatnonzero(wet)
    above = np.flatnonzero(~wet)
    bounced = None if lit.floor is None else lit.floor.at(points_m[under])
    nodes = mixture.nodes_per_m.size
    channel = column = 0
    for lamp in lit.lamps:
        light = light_under_water(lamp, lamp.routes, points_m[under], mixture.nodes_per_m, split=split)
        dry = light_in_air(lamp, points_m[above])
        for beam in range(len(lamp.beams)):
            own = [channel + i for i, which in enumerate(lamp.beam_of_channel) if which == beam]
            by_part = [by_node.T for by_node in light[beam]]
            if bounced is not None:
                floor = bounced[:, column : column + nodes]
                by_part = [*by_part, floor] if split else [by_part[0] + floor]
            fold = np.concatenate([mixture.at_nodes[i] for i in own], axis=1)
            for part, by_node in enumerate(by_part):
                mixed = _product(by_node, fold).reshape(-1, len(own), out.shape[3])
                for i, which in enumerate(own):
                    out[part, under, which] = mixed[:, i]
            for which in own:
                out[0, above, which] = dry[beam][:, None] * mixture.in_air[which]
            column += nodes
        channel += len(lamp.beam_of_channel)
    return out


def blockwise(points_m: FloatArray, lit: LitTank, mixture: Mixture, *, split: bool) -> FloatArray:
    """Responses of points in blocks that fit the cache.

    Parameters
    ----------
    points_m : array, shape (n_point, 3)
        x, y, depth. [m]
    lit : LitTank
    mixture : Mixture
    split : bool
        Keep the parts of ``LIGHT_PARTS`` apart; else there is one.

    Returns
    -------
    array, shape (n_point, n_part, n_channel, n_weighting)

    Source
    ------
    Bookkeeping.
    """
    out = np.empty((len(points_m), len(LIGHT_PARTS) if split else 1, *mixture.in_air.shape))
    size = lit.points_at_once

    def fill(first: int) -> None:
        block = slice(first, first + size)
        out[block] = _block(points_m[block], lit, mixture, split=split).swapaxes(0, 1)

    firsts = range(0, len(points_m), size)
    if len(firsts) <= THREADS:
        for first in firsts:
            fill(first)
    else:
        from concurrent.futures import ThreadPoolExecutor

        with ThreadPoolExecutor(THREADS) as pool:
            list(pool.map(fill, firsts))
    return out


@dataclass(frozen=True, eq=False)
class PreparedField:
    """Fixtures over a tank, ready for places.

    Attributes
    ----------
    fixtures : the lit ones, in the order of the channels
    emission : array, shape (n_channel, 500); photons that pass the cover at full output. [umol s-1]
    absorption_per_m : array, shape (500,). [m-1]
    weightings : keys in the order of the responses
    """

    fixtures: tuple[Fixture, ...]
    emission: FloatArray
    tank: Tank
    water: Water
    absorption_per_m: FloatArray
    weightings: Weightings
    lit: LitTank
    mixture: Mixture

    def parts(self, points_m: FloatArray, *, split: bool = False) -> FloatArray:
        """Responses at points, shape (n_point, n_part, n_channel, n_weighting), block by block.

        Parameters
        ----------
        points_m : array, shape (n_point, 3)
            x, y, depth below the surface (negative: above the water). [m]
        split : bool
            Keep the parts of ``LIGHT_PARTS`` apart; else there is one.
        """
        return blockwise(points_m, self.lit, self.mixture, split=split)

    def at(self, points_m: FloatArray) -> FloatArray:
        """Responses at points under open sky, shape (n_point, n_channel, n_weighting)."""
        return self.parts(points_m)[:, 0]

    def bounced(self, points_m: FloatArray) -> FloatArray:
        """The part of ``at`` that comes by the floor, without tracing a ray; none above the water."""
        out = np.zeros((len(points_m), *self.mixture.in_air.shape))
        wet = np.flatnonzero(points_m[:, 2] >= 0)
        if self.lit.floor is None or wet.size == 0:
            return out
        light = self.lit.floor.at(points_m[wet]).reshape(wet.size, -1, self.mixture.nodes_per_m.size)
        for channel, beam in enumerate(self.beams):
            out[wet, channel] = light[:, beam] @ self.mixture.at_nodes[channel]
        return out

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


def prepare_field(
    fixtures: Sequence[Fixture],
    emission: FloatArray,
    tank: Tank,
    water: Water,
    cover: Cover,
    tables: ReferenceTables,
    weightings: Weightings,
    *,
    for_points: int,
) -> PreparedField:
    """Solve all that does not depend on the place.

    Parameters
    ----------
    fixtures, emission, tank, water, cover, tables, weightings
        As in ``light_field.light_field``.
    for_points : int
        How many points will be asked for; many make tables worth their cost.

    Returns
    -------
    PreparedField

    Raises
    ------
    SetupError
        As ``light_field.light_field``.

    Source
    ------
    See ``light_field``.
    """
    lit = emission * lids(fixtures, emission, cover)
    absorption = absorption_per_m(water, tables)
    mixture = _mixture(lit, weightings.matrix, absorption, tank)
    ready = lit_tank(fixtures, tank, water.refractive_index, mixture.nodes_per_m, for_points=for_points)
    return PreparedField(tuple(fixtures), lit, tank, water, absorption, weightings, ready, mixture)
