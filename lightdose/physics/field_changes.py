"""How the light field changes when its inputs are not quite as stated.

Places are moved, heights, beams and the water are changed, and the light is computed again: no derivatives,
for the field has steps at the edges of mirror images. The floor's bounce of a changed lamp is today's, scaled
by the light that falls on the floor: it is smooth and a few percent. Yellowing is added along the mean path
of each place's light; the second order of the spread of paths is below 0.1 % at 0.2 per m. A place that is
dark stays dark.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Final
from weakref import WeakKeyDictionary

import numpy as np

from lightdose.model.fixture import Beam, CosineLobe, PhotometricLobe, TabulatedLobe
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.spectrum import GRID_NM
from lightdose.physics.emission import bounded_source_cells, source_cells
from lightdose.physics.light_field import UP, IntArray, PreparedField
from lightdose.physics.light_paths import routes
from lightdose.physics.lit_tank import (
    FLOOR_COARSENESS,
    Lamp,
    LitTank,
    block_size,
    light_in_air,
    light_under_water,
)
from lightdose.physics.ray_limits import RANGE_RAYS_AT_MOST, RAYS_FINELY, rays_in_all, refuse_too_many_rays

SAMPLE_PER_DEPTH = 0.3
"""Distance of the places on the floor at which its light is compared, in water depths: our choice."""


SAMPLES_AT_MOST = 100

CELLS_MORE, CELLS_ANYHOW = 2, 512
"""A lamp at another height has at most so many times its cells, or so many: our choice."""

COARSEST = 4.0
"""Sides of a lamp's cells, relative to its own, where ranges are taken at very many places. By trial at 2,000
places 95 of 100 ends are within 0.8 % of those by its own cells, all within 6 %; at 2 within 0.5 and 3 %."""

LIGHT_A_PLACE = 10
"""How many times light is computed at a place and its changes."""


FURTHER_PER_M = 0.5
"""Added absorption that shows the mean path of the light. [m-1]"""


LARGEST_LN_RATIO = math.log(30.0)
"""Changes are held within this: a place at the rim of a lobe has no meaningful ratio. Our choice."""


LARGEST_RATIO = 1e100
"""Of light a step away to that at a place, so that three of them, and the light, are a number."""


PATH_NODES = 9


NARROWEST_DEG, WIDEST_DEG = 2.0, 175.0


@dataclass(frozen=True)
class FixtureSteps:
    """Two other heights [m] and two other beam widths (ln of the factor) of a fixture."""

    height_m: tuple[float, float]
    ln_beam: tuple[float, float]


@dataclass(frozen=True, eq=False)
class FieldChanges:
    """PPFD at full output under open sky, as stated and changed.

    Attributes
    ----------
    stated : array, shape (n_place, n_channel). [umol m-2 s-1]
    moved : array, shape (n_place, n_channel, 27); the places moved by -d, 0, +d along x, y and z, z running
        fastest: what each axis does is computed, and the three act as factors. [umol m-2 s-1]
    ln_height, ln_beam : array, shape (2, n_place, n_channel); ln of the ratio to the stated one
    ln_yellowing : array, shape (2, n_place, n_channel); the same for each added yellowing
    """

    stated: FloatArray
    moved: FloatArray
    ln_height: FloatArray
    ln_beam: FloatArray
    ln_yellowing: FloatArray


def scaled_beam(beam: Beam, factor: float) -> Beam:
    """A lobe with every angle times a factor, its flux kept.

    Parameters
    ----------
    beam : CosineLobe, TabulatedLobe or PhotometricLobe
    factor : float
        On the width of a cosine lobe (held within 2 to 175 deg), or on the angles of a table (cut at 90 deg;
        a lobe of which that leaves nothing stays as it is).

    Source
    ------
    Our definition of a wider beam.
    """
    if isinstance(beam, CosineLobe):
        width = min(max(beam.fwhm_deg * factor, NARROWEST_DEG), WIDEST_DEG)
        return CosineLobe(width, beam.assumed)
    if isinstance(beam, TabulatedLobe):
        angle, relative = _cut(beam.angle_deg * factor, beam.relative[None, :])
        return TabulatedLobe(angle, relative[0]) if relative.any() else beam
    gamma, table = _cut(beam.gamma_deg * factor, beam.relative)
    return beam if not table.any() else PhotometricLobe(beam.c_deg, gamma, table, beam.source_file)


def _cut(angle_deg: FloatArray, rows: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Tables against angle, ended at 90 deg."""
    if angle_deg[-1] <= 90:
        return angle_deg, rows
    kept = np.append(angle_deg[angle_deg < 90], 90.0)
    return kept, np.array([np.interp(kept, angle_deg, row) for row in rows])


def field_changes(
    ready: PreparedField,
    points_m: FloatArray,
    step_m: float,
    steps: Sequence[FixtureSteps],
    added_yellowing_per_m: tuple[float, float],
    normals: FloatArray | None = None,
) -> FieldChanges:
    """Compute the light of places again with each input changed.

    Parameters
    ----------
    ready : PreparedField
        With the one weighting that is wanted.
    points_m : array, shape (n_place, 3)
        x, y, depth. [m]
    step_m : float
        Move of every place along each axis; it stays inside the tank, and under or above the water. [m]
    steps : one a fixture
    added_yellowing_per_m : two values
        Yellowing at 440 nm on top of the water's own. [m-1]
    normals : array, shape (n_place, 3), or None
        Which way each place looks: along x, y and upwards; None where all look up.

    Raises
    ------
    SetupError
        If that takes too many rays.

    Source
    ------
    ``light_field``; Beer-Lambert law along the mean path.
    """
    times = LIGHT_A_PLACE * len(points_m) + 3 * len(_floor_samples(ready))
    rough = ready
    for coarseness in (FLOOR_COARSENESS, COARSEST):
        if rays_in_all((lamp.routes for lamp in rough.lit.lamps), ready.scene.tank, times) > RAYS_FINELY:
            rough = _rougher(ready, coarseness)
    refuse_too_many_rays(
        [(fixture, lamp.routes) for fixture, lamp in zip(ready.scene.fixtures, rough.lit.lamps, strict=True)],
        ready.scene.tank,
        times,
        f"the ranges of {len(points_m)} places",
        most=RANGE_RAYS_AT_MOST,
    )
    is_rough = rough is not ready
    stated_field, moved = _moved(rough, points_m, step_m, normals, by_stated=is_rough)
    if is_rough:
        before, stated_field = stated_field, ready.at(points_m, normals)[..., 0]
        by = np.divide(stated_field, before, out=np.zeros_like(before), where=before > 0)[:, :, None]
        moved = np.where(by > 0, moved * by, stated_field[:, :, None])
        ready = rough
    if stated_field.size == 0:
        none = np.zeros((2, *stated_field.shape))
        return FieldChanges(stated_field, moved, none, none, none)
    bounced = np.divide(
        ready.bounced(points_m, normals)[..., 0],
        stated_field,
        out=np.zeros_like(stated_field),
        where=stated_field > 0,
    )
    scene, light = ready.scene, _PlacesAndFloor(ready, points_m, normals, steps)
    heights, beams, paths = [], [], []
    first = 0
    for lamp, fixture, step in zip(ready.lit.lamps, scene.fixtures, steps, strict=True):
        own = slice(first, first + len(lamp.beam_of_channel))
        share = _Share(bounced[:, own], list(lamp.beam_of_channel))
        absorption, count = _mean_absorption(ready, own), len(lamp.beams)
        lobes = [scaled_beam(b, math.exp(ln)) for ln in step.ln_beam for b in lamp.beams]
        spread, further = light.of(
            replace(lamp, beams=(*lamp.beams, *lobes)), [absorption, absorption + FURTHER_PER_M]
        )
        stated = spread[:count]
        raised: list[FloatArray] = []
        for height_m in step.height_m:
            most = lamp.cells.x_m.size if is_rough else max(CELLS_ANYHOW, CELLS_MORE * lamp.cells.x_m.size)
            cells = bounded_source_cells(replace(fixture, height_m=height_m), most)
            shade = lamp.routes[0].shade
            anew = routes(scene.tank, scene.water.refractive_index, cells, shade=shade)
            higher = replace(lamp, cells=cells, routes=anew[: len(lamp.routes)])
            raised.append(light.of(higher, [absorption])[0])
        heights.append([share.ln_ratio(changed, stated) for changed in raised])
        beams.append([share.ln_ratio(spread[n * count : (n + 1) * count], stated) for n in (1, 2)])
        paths.append(share.mean_path_m(stated, further[:count]))
        first = own.stop
    light.keep()
    path_m = np.concatenate(paths, axis=1)
    if ready.lit.floor is not None:
        path_m = (1 - bounced) * path_m + bounced * _floor_path(ready, points_m)
    return FieldChanges(
        stated_field,
        moved,
        np.concatenate(heights, axis=2),
        np.concatenate(beams, axis=2),
        np.array([_ln_yellowed(ready, path_m, added) for added in added_yellowing_per_m]),
    )


def _rougher(ready: PreparedField, coarseness: float) -> PreparedField:
    """The same field with lamps of larger cells and no rim, for ratios of one light to another.

    Light by the rim, a few per cent, is taken to change as the rest does.
    """
    tank, index, lamps = ready.scene.tank, ready.scene.water.refractive_index, []
    for fixture, lamp in zip(ready.scene.fixtures, ready.lit.lamps, strict=True):
        cells = source_cells(fixture, coarseness)
        anew = routes(tank, index, cells, shade=lamp.routes[0].shade)
        lamps.append(replace(lamp, cells=cells, routes=anew[:1]))
    return replace(ready, lit=replace(ready.lit, lamps=tuple(lamps)))


def joined_changes(parts: Sequence[tuple[IntArray, FieldChanges]]) -> FieldChanges:
    """Changes of several sets of places, each in its rows of the whole.

    Parameters
    ----------
    parts : sequence of (rows, FieldChanges)
        Rows are distinct and make up the whole.
    """
    count = sum(rows.size for rows, _ in parts)
    whole = {}
    for name, axis in (("stated", 0), ("moved", 0), ("ln_height", 1), ("ln_beam", 1), ("ln_yellowing", 1)):
        first = getattr(parts[0][1], name)
        out = np.empty((*first.shape[:axis], count, *first.shape[axis + 1 :]))
        for rows, changes in parts:
            out[(slice(None),) * axis + (rows,)] = getattr(changes, name)
        whole[name] = out
    return FieldChanges(**whole)


def _moved(
    ready: PreparedField,
    points_m: FloatArray,
    step_m: float,
    normals: FloatArray | None,
    *,
    by_stated: bool,
) -> tuple[FloatArray, FloatArray]:
    """Responses of every place, (n_place, n_channel), and of its moves, (n_place, n_channel, 27).

    ``by_stated`` takes the light off the floor at the place for that at its moves, as always with solids.
    """
    steps = step_m * np.concatenate((np.zeros((1, 3)), -np.eye(3), np.eye(3)))
    moved = points_m[:, None, :] + (steps if step_m > 0 else steps[:1])
    tank, wet = ready.scene.tank, points_m[:, None, 2] >= 0
    moved[..., 0] = np.clip(moved[..., 0], 0, tank.length_m)
    moved[..., 1] = np.clip(moved[..., 1], 0, tank.width_m)
    under = np.clip(moved[..., 2], 0, tank.water_depth_m)
    moved[..., 2] = np.where(wet, under, np.minimum(moved[..., 2], -1e-6))
    off_surfaces = look = None
    if ready.lit.bounce is not None:
        inside = ready.lit.bounce.holds(moved.reshape(-1, 3)).reshape(moved.shape[:2])
        moved = np.where(inside[:, :, None], points_m[:, None, :], moved)  # no place moves into a rock
    if ready.lit.bounce is not None or (by_stated and ready.lit.floor is not None):
        stated = ready.off_surfaces(moved[:, 0], normals)
        off_surfaces = np.repeat(stated, moved.shape[1], axis=0)
    if normals is not None:
        look = np.repeat(normals, moved.shape[1], axis=0)
    response = ready.at(moved.reshape(-1, 3), look, off_surfaces=off_surfaces)
    response = response.reshape(*moved.shape[:2], len(ready.emission))
    stated = response[:, 0]
    if step_m == 0:
        return stated, np.repeat(stated[:, :, None], 27, axis=2)
    held = np.minimum(response, LARGEST_RATIO * response[:, :1])
    ratio = np.divide(held, response[:, :1], out=np.zeros_like(response), where=response[:, :1] > 0)
    one, down, up = np.ones_like(stated), ratio[:, 1:4], ratio[:, 4:7]
    x, y, z = (np.stack((down[:, axis], one, up[:, axis]), axis=2) for axis in range(3))
    grid = x[:, :, :, None, None] * y[:, :, None, :, None] * z[:, :, None, None, :]
    return stated, stated[:, :, None] * grid.reshape(*stated.shape, 27)


def _floor_samples(ready: PreparedField) -> FloatArray:
    """Places on the floor, (n, 3); none where it reflects nothing."""
    if ready.lit.floor is None:
        return np.zeros((0, 3))
    tank = ready.scene.tank
    pitch = max(
        SAMPLE_PER_DEPTH * tank.water_depth_m,
        math.sqrt(tank.length_m * tank.width_m / SAMPLES_AT_MOST),
    )
    axes = []
    for span in (tank.length_m, tank.width_m):
        count = max(2, math.ceil(span / pitch))
        axes.append((np.arange(count) + 0.5) * span / count)
    x, y = (grid.ravel() for grid in np.meshgrid(*axes))
    return np.column_stack((x, y, np.full(x.size, tank.water_depth_m)))


def _mean_absorption(ready: PreparedField, own: slice) -> float:
    """Absorption that a fixture's photons meet on average. [m-1]"""
    cells = (ready.emission[own] * ready.weightings.matrix[0]).sum(axis=0)
    whole = float(cells.sum())
    return float(cells @ ready.absorption_per_m) / whole if whole > 0 else 0.0


def _light(
    lamp: Lamp, points_m: FloatArray, absorptions: Sequence[float], normals: FloatArray | None
) -> FloatArray:
    """Light of a lamp per unit flux without the floor's bounce, shape (n_absorption, n_beam, n_point)."""
    out = np.empty((len(absorptions), len(lamp.beams), len(points_m)))
    wet, dry = np.flatnonzero(points_m[:, 2] >= 0), np.flatnonzero(points_m[:, 2] < 0)
    size = block_size(lamp.routes)
    for first in range(0, wet.size, size):
        block = wet[first : first + size]
        look = None
        if normals is not None:
            from lightdose.physics.looks import facing

            look = facing(normals[block])
        found = light_under_water(lamp, lamp.routes, points_m[block], np.array(absorptions), looks=(look,))
        out[:, :, block] = found[:, 0].transpose(1, 0, 2)
    if dry.size:
        out[:, :, dry] = light_in_air(lamp, points_m[dry], None if normals is None else normals[dry])
    return out


_Floors = WeakKeyDictionary[LitTank, tuple[tuple[object, ...], list[FloatArray]]]
_ON_FLOOR: Final[_Floors] = WeakKeyDictionary()
"""Light on the floor in all, lamp by lamp and change by change, under lamps that are still in use: further
places under the same changes of them ask for the same."""


class _PlacesAndFloor:
    """Light at places, and on the floor in all, under one changed lamp after the other."""

    def __init__(
        self,
        ready: PreparedField,
        points_m: FloatArray,
        normals: FloatArray | None,
        steps: Sequence[FixtureSteps],
    ) -> None:
        self.lit, self.count, self.found = ready.lit, len(points_m), list[FloatArray]()
        self.asked = (ready.emission.tobytes(), ready.absorption_per_m.tobytes(), tuple(steps))
        asked, known = _ON_FLOOR.get(ready.lit, ((), []))
        self.known = iter(known) if asked == self.asked else None
        if self.known is None:
            samples = _floor_samples(ready)
            points_m = np.concatenate((points_m, samples))
            if normals is not None:
                normals = np.concatenate((normals, np.tile(UP, (len(samples), 1))))
        self.points_m, self.normals = points_m, normals

    def of(self, lamp: Lamp, absorptions: Sequence[float]) -> FloatArray:
        """Light per unit flux, (n_absorption, n_beam, n_place + 1): at the places, and last on the floor."""
        light = _light(lamp, self.points_m, absorptions, self.normals)
        if self.known is None:
            self.found.append(light[:, :, self.count :].sum(axis=2, keepdims=True))
        floor = self.found[-1] if self.known is None else next(self.known)
        return np.concatenate((light[:, :, : self.count], floor), axis=2)

    def keep(self) -> None:
        """Keep what was found on the floor, once all is."""
        if self.known is None:
            _ON_FLOOR[self.lit] = self.asked, self.found


@dataclass(frozen=True, eq=False)
class _Share:
    """How light by rays counts at places, from lights (n_beam, n_place + 1) of one lamp, last on the floor.

    Attributes
    ----------
    bounced : array, shape (n_place, own channels); share that comes by the floor
    beams : the lobe of each of the lamp's channels
    """

    bounced: FloatArray
    beams: list[int]

    def ln_ratio(self, light: FloatArray, stated: FloatArray) -> FloatArray:
        """ln of changed over stated light, the floor's share scaled with the light on it."""
        held = np.minimum(light, LARGEST_RATIO * stated)
        ratio = np.divide(held, stated, out=np.ones_like(stated), where=stated > 0)[self.beams].T
        mixed = (1 - self.bounced) * ratio[:-1] + self.bounced * ratio[-1]
        ln = np.log(np.maximum(mixed, math.exp(-LARGEST_LN_RATIO)))
        return np.asarray(np.minimum(ln, LARGEST_LN_RATIO))

    def mean_path_m(self, stated: FloatArray, further: FloatArray) -> FloatArray:
        """Mean way in the water of the light by rays, from light at ``FURTHER_PER_M`` more. [m]"""
        left = np.divide(further, stated, out=np.ones_like(stated), where=stated > 0)[self.beams, :-1].T
        least = 1 / LARGEST_RATIO  # the smallest numbers there are become 0
        return np.asarray(-np.log(np.maximum(left, least)) / FURTHER_PER_M)


def _floor_path(ready: PreparedField, points_m: FloatArray) -> FloatArray:
    """Mean way in the water of the light by the floor, (n_place, n_channel). [m]"""
    per_m = ready.mixture.nodes_per_m
    low, high = int(np.argmin(per_m)), int(np.argmax(per_m))
    under = np.maximum(points_m[:, 2], 0.0)
    found = ready.lit.bounced(np.column_stack((points_m[:, :2], under)))
    assert found is not None
    light = found.reshape(len(points_m), -1, per_m.size)
    lit = (light[:, :, low] > 0) & (light[:, :, high] > 0)
    share = np.divide(light[:, :, high], light[:, :, low], out=np.ones(lit.shape), where=lit)
    path = -np.log(share) / (per_m[high] - per_m[low])
    return np.asarray(path[:, list(ready.beams)])


def _ln_yellowed(ready: PreparedField, path_m: FloatArray, added_per_m: float) -> FloatArray:
    """ln of the share that added yellowing leaves of each channel at each place, (n_place, n_channel)."""
    kernel = ready.emission * ready.weightings.matrix[0]
    yellow = np.exp(-ready.scene.water.yellowing_slope_per_nm * (GRID_NM - 440.0))
    nodes = np.linspace(0.0, float(path_m.max(initial=0.0)), PATH_NODES)
    left = np.exp(-ready.absorption_per_m[:, None] * nodes)
    stated = kernel @ left
    changed = kernel @ (left * np.exp(-added_per_m * yellow[:, None] * nodes))
    ln = np.log(np.divide(changed, stated, out=np.ones_like(stated), where=stated > 0))
    columns = [np.interp(path_m[:, c], nodes, ln[c]) for c in range(len(kernel))]
    return np.column_stack(columns) if columns else np.zeros_like(path_m)
