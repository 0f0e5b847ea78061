"""Light on the cells of a plane through the tank, and the light of one place by its ways and channels."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence

import numpy as np
import numpy.typing as npt

from lightdose.model.light import LIGHT_PARTS, DayCurve, LightFieldParts
from lightdose.model.places import AXES, WALL_PARTS, ChannelShare, MapSlice, Plane, SliceCells
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Tank
from lightdose.model.solids import Solid
from lightdose.physics.day_curve import full_output_hours
from lightdose.physics.dose import daily_light_integral, peak_and_photoperiod
from lightdose.quantities import BANDS, MOL_PER_UMOL_S_H

IntArray = npt.NDArray[np.intp]
FURTHEST_M = 20.0
"""No tank is larger. [m]"""

BoolArray = npt.NDArray[np.bool_]


def slice_cells(tank: Tank, plane: Plane, cell_m: float) -> SliceCells:
    """Cut a plane into equal cells as large as asked for, or a little smaller so that they fit.

    Parameters
    ----------
    tank : Tank
    plane : Plane
    cell_m : float
        Largest side of a cell. [m]
    """
    edges = (
        np.linspace(0.0, span, max(1, math.ceil(span / cell_m - 1e-9)) + 1) for span in plane.spans_m(tank)
    )
    return SliceCells(plane, *edges)


def sample_points(cells: SliceCells, samples: int) -> FloatArray:
    """The points of every cell, cell after cell, row after row.

    Parameters
    ----------
    cells : SliceCells
    samples : int
        Points along each side of a cell: midpoints of its equal parts, 1 for its centre.

    Returns
    -------
    array, shape (n_cell * samples**2, 3)
        x, y, depth. [m]

    Source
    ------
    Midpoint rule.
    """
    along, down, _ = AXES[cells.plane.kind]
    centres = cells.centres_m.reshape(-1, 1, 3)
    points = np.repeat(centres, samples * samples, axis=1)
    inset = (np.arange(samples) + 0.5) / samples - 0.5
    down_by, along_by = (part.ravel() for part in np.meshgrid(inset, inset, indexing="ij"))
    points[:, :, along] += along_by * (cells.column_edges_m[1] - cells.column_edges_m[0])
    points[:, :, down] += down_by * (cells.row_edges_m[1] - cells.row_edges_m[0])
    flat: FloatArray = points.reshape(-1, 3)
    return flat


def by_source(parts: FloatArray, day_share: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Light at points, and how much of it came by walls and by the floor.

    Parameters
    ----------
    parts : array, shape (n_point, n_part, n_channel)
        PPFD of each channel at full output in the parts of ``LIGHT_PARTS``. [umol m-2 s-1]
    day_share : array, shape (n_channel,)
        ``day_weights``.

    Returns
    -------
    ppfd : array, shape (n_point, n_channel)
        All parts. [umol m-2 s-1]
    by_wall, by_floor : array, shape (n_point,)
        Weighted sums over channels: light off walls and rim but not off the floor, and off the floor.
    """
    weighted = parts @ day_share
    walls = weighted[:, [LIGHT_PARTS.index(name) for name in WALL_PARTS]].sum(axis=1)
    return parts.sum(axis=1), walls, weighted[:, LIGHT_PARTS.index("floor")]


def day_weights(curve: DayCurve) -> FloatArray:
    """What a channel counts for in shares of light: its photons of the day, or alike where nothing runs.

    Returns
    -------
    array, shape (n_channel,)
        Hours at full output, or ones.

    Source
    ------
    Our choice.
    """
    hours = full_output_hours(curve)
    return hours if np.any(hours > 0) else np.ones_like(hours)


def in_water(solids: Sequence[Solid], points_m: FloatArray) -> BoolArray:
    """Whether points lie in water, and not in rock or in an opaque colony.

    Parameters
    ----------
    solids : sequence of Solid
    points_m : array, shape (n, 3)
        x, y, depth. [m]

    Source
    ------
    Geometry.
    """
    if not solids:
        return np.ones(len(points_m), dtype=bool)
    from lightdose.physics.solid_shapes import holds, shapes_of

    return np.asarray(holds(shapes_of(solids), points_m * (1.0, 1.0, -1.0), colonies=True) < 0)


def seen_skins(solids: Sequence[Solid], cells: SliceCells) -> tuple[FloatArray, FloatArray, IntArray]:
    """The skins that are seen through the cells of a plane, from above or from the front.

    Parameters
    ----------
    solids : sequence of Solid
        Branching colonies hide nothing.
    cells : SliceCells
        Of a level plane, seen from above, or of one seen from the front.

    Returns
    -------
    points, normals : array, shape (n_cell, 3)
        x, y, depth on the skin [m]; along x, y and upwards.
    solid : array, shape (n_cell,)
        Its index, -1 where none is seen.

    Source
    ------
    Geometry.
    """
    from lightdose.physics.solid_shapes import first_met, normals_at, shapes_of

    shapes, centres = shapes_of(solids), cells.centres_m.reshape(-1, 3)
    from_above = cells.plane.kind == "depth"
    at = centres * (1.0, 1.0, -1.0)
    at[:, 2 if from_above else 1] = 0.0
    way = np.tile(((0.0, 0.0, -1.0) if from_above else (0.0, 1.0, 0.0)), (len(at), 1)).T
    length_m, solid, _ = first_met(shapes, at.T, way, np.full(len(at), FURTHEST_M))
    points, normals = at.T + way * length_m, np.tile(((0.0,), (0.0,), (1.0,)), len(at))
    met = np.flatnonzero(solid >= 0)
    normals[:, met] = normals_at(shapes, solid[met], points[:, met])
    return (points * [[1.0], [1.0], [-1.0]]).T, normals.T, solid


def map_slice(
    cells: SliceCells,
    ppfd: FloatArray,
    by_wall: FloatArray,
    by_floor: FloatArray,
    curve: DayCurve,
    water: BoolArray | None = None,
) -> MapSlice:
    """The day's light on every cell.

    Parameters
    ----------
    cells : SliceCells
    ppfd : array, shape (n_cell * samples**2, n_channel)
        PPFD of each channel at full output at ``sample_points``. [umol m-2 s-1]
    by_wall, by_floor : array, shape (n_cell * samples**2,)
        Of ``by_source`` with the ``day_weights`` of the curve.
    curve : DayCurve
        Outputs of the same channels.
    water : array, shape (n_cell * samples**2,), or None
        Which points lie in water; None where all do. A cell with none has no light to speak of: NaN.

    Source
    ------
    Means over the water of the cell by the midpoint rule.
    """
    n_cell = cells.shape[0] * cells.shape[1]
    per_cell = len(ppfd) // n_cell
    counts = np.ones((n_cell, per_cell)) if water is None else water.reshape(n_cell, per_cell).astype(float)
    wet = counts.sum(axis=1)
    counts /= np.maximum(wet, 1)[:, None]
    whole = (ppfd.reshape(n_cell, per_cell, -1) * counts[:, :, None]).sum(axis=1)
    light = whole @ day_weights(curve)
    wall, floor = (
        np.divide(
            (part.reshape(n_cell, per_cell) * counts).sum(axis=1),
            light,
            out=np.full(n_cell, np.nan),
            where=light > 0,
        )
        for part in (by_wall, by_floor)
    )
    values = (
        whole.sum(axis=1),
        peak_and_photoperiod(whole, curve)[0],
        daily_light_integral(whole, curve),
        wall,
        floor,
    )
    return MapSlice(cells, *(np.where(wet > 0, value, np.nan).reshape(cells.shape) for value in values))


SHARE_WEIGHTINGS = ("ppfd", *(band.key for band in BANDS))
"""What ``light_shares`` needs of the light field's parts."""

SMALLEST_BAND = 1e-6
"""A colour band with less than this part of the PPFD has no absorption worth a number. Our choice."""


@dataclass(frozen=True)
class LightShares:
    """Shares of one place's light; see ``LightExplanation``."""

    part_share: Mapping[str, float]
    mean_path_m: float | None
    surface_loss_fraction: float | None
    absorbed_fraction: Mapping[str, float | None]
    channels: tuple[ChannelShare, ...]


def light_shares(parts: LightFieldParts, curve: DayCurve, site: int = 0) -> LightShares:
    """By which ways, from which channels and with which losses light comes to one place.

    Parameters
    ----------
    parts : LightFieldParts
        With the weightings of ``SHARE_WEIGHTINGS``.
    curve : DayCurve
        Outputs of the same channels.
    site : int
        Which receiver.

    Returns
    -------
    LightShares
        Shares are of PPFD, each channel counted by its photons of the day, or alike at full output where
        nothing runs; mean path and surface loss are means over the light that arrives without the floor.

    Source
    ------
    Weighted sums; surface loss and absorption by definition, 1 - arriving / what would arrive without it.
    """
    weight = day_weights(curve)
    ppfd = parts.response[site, :, :, parts.weightings.index("ppfd")]
    counted = ppfd * weight
    total = float(counted.sum())
    by_rays = counted[: LIGHT_PARTS.index("floor")].sum(axis=0)
    path, loss = parts.mean_path_m[site], parts.surface_loss_fraction[site]
    # What was lost is counted before the surface, so the share of several channels is of their light there.
    before = np.where(loss < 1, by_rays / (1 - np.where(loss < 1, loss, 0)), 0.0)
    return LightShares(
        part_share={n: float(v) / total for n, v in zip(LIGHT_PARTS, counted.sum(axis=1), strict=True)}
        if total > 0
        else {},
        mean_path_m=_mean(path, by_rays),
        surface_loss_fraction=_mean(loss, before),
        absorbed_fraction=_absorbed(parts, site, weight),
        channels=_channels(parts, curve, site, counted.sum(axis=0), total),
    )


def _mean(values: FloatArray, weight: FloatArray) -> float | None:
    known = np.isfinite(values) & (weight > 0)
    return float(np.average(values[known], weights=weight[known])) if np.any(known) else None


def _absorbed(parts: LightFieldParts, site: int, weight: FloatArray) -> dict[str, float | None]:
    arriving = np.einsum("pcw,c->w", parts.response[site], weight)
    without = np.einsum("cw,c->w", parts.unabsorbed[site], weight)
    enough = SMALLEST_BAND * without[parts.weightings.index("ppfd")]
    return {
        key: 1 - float(arriving[i] / without[i]) if without[i] > enough else None
        for key in SHARE_WEIGHTINGS
        for i in (parts.weightings.index(key),)
    }


def _channels(
    parts: LightFieldParts, curve: DayCurve, site: int, counted: FloatArray, total: float
) -> tuple[ChannelShare, ...]:
    ppfd = parts.response[site, :, :, parts.weightings.index("ppfd")].sum(axis=0)
    dli = MOL_PER_UMOL_S_H * ppfd * full_output_hours(curve)
    return tuple(
        ChannelShare(
            fixture=key.fixture,
            channel=key.channel,
            share=float(counted[i] / total) if total > 0 else 0.0,
            dli_mol_m2_d=float(dli[i]),
            full_output_ppfd_umol_m2_s=float(ppfd[i]),
            mean_path_m=_known(parts.mean_path_m[site, i]),
            surface_loss_fraction=_known(parts.surface_loss_fraction[site, i]),
        )
        for i, key in enumerate(parts.channels)
    )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
