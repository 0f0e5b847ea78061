"""Light on the cells of a plane through the tank."""

from __future__ import annotations

import math

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.maps import AXES, WALL_PARTS, MapSlice, Plane, SliceCells
from lightdose.model.results import LIGHT_PARTS, DayCurve
from lightdose.model.tank import Tank
from lightdose.physics.day_curve import full_output_hours
from lightdose.physics.dose import daily_light_integral, peak_and_photoperiod


def slice_cells(tank: Tank, plane: Plane, cell_m: float) -> SliceCells:
    """Cut a plane into equal cells as large as asked for, or a little smaller so that they fit.

    Parameters
    ----------
    tank : Tank
    plane : Plane
    cell_m : float
        Largest side of a cell. [m]

    Returns
    -------
    SliceCells

    Source
    ------
    Definition.
    """
    spans = (tank.length_m, tank.width_m, tank.water_depth_m)
    along, down, _ = AXES[plane.kind]
    columns, rows = (max(1, math.ceil(spans[axis] / cell_m - 1e-9)) for axis in (along, down))
    return SliceCells(
        plane, np.linspace(0.0, spans[along], columns + 1), np.linspace(0.0, spans[down], rows + 1)
    )


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

    Source
    ------
    Sums.
    """
    weighted = parts @ day_share
    walls = weighted[:, [LIGHT_PARTS.index(name) for name in WALL_PARTS]].sum(axis=1)
    return parts.sum(axis=1), walls, weighted[:, LIGHT_PARTS.index("floor")]


def day_weights(curve: DayCurve) -> FloatArray:
    """What a channel counts for in shares of light: its photons of the day, or alike where nothing runs.

    Parameters
    ----------
    curve : DayCurve

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


def map_slice(
    cells: SliceCells, ppfd: FloatArray, by_wall: FloatArray, by_floor: FloatArray, curve: DayCurve
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

    Returns
    -------
    MapSlice

    Source
    ------
    Means over the cell by the midpoint rule.
    """
    n_cell = cells.shape[0] * cells.shape[1]
    per_cell = len(ppfd) // n_cell
    whole = ppfd.reshape(n_cell, per_cell, ppfd.shape[1]).mean(axis=1)
    light = whole @ day_weights(curve)
    wall, floor = (
        np.divide(
            part.reshape(n_cell, per_cell).mean(axis=1), light, out=np.full(n_cell, np.nan), where=light > 0
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
    return MapSlice(cells, *(value.reshape(cells.shape) for value in values))
