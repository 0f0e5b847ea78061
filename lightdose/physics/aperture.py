"""A fixture's emitting rectangle as a set of small cells."""

from __future__ import annotations

import math

import numpy as np

from lightdose.errors import Problem, SetupError
from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import Fixture
from lightdose.model.record import dataclass

LARGEST_CELL_M = 0.06
"""Side of a cell at most; the image edges are softened over its width. Our choice, by trial."""

CELL_PER_HEIGHT = 0.4
"""Side of a cell at most, in heights of the lamp above the water. Our choice, by trial."""

SMALLEST_CUT_M = 0.012
"""Sides below this are not cut."""

CELLS_AT_MOST = 4096


@dataclass(frozen=True, eq=False)
class SourceCells:
    """Point sources that stand for a fixture, each with an equal share of its light.

    Attributes
    ----------
    x_m, y_m : array, shape (n_cell,); where rays start. [m]
    inset_x_m, inset_y_m : array, shape (n_cell,); from there to the middle of the cell. [m]
    height_m : height above the water. [m]
    spread_x_m, spread_y_m : width of a cell as seen along x and y, 0 for a point. [m]
    turn_rad : rotation of the fixture, counter-clockwise from above. [rad]
    """

    x_m: FloatArray
    y_m: FloatArray
    inset_x_m: FloatArray
    inset_y_m: FloatArray
    height_m: float
    spread_x_m: float
    spread_y_m: float
    turn_rad: float


def _cut(side_m: float, largest_m: float) -> tuple[FloatArray, FloatArray, float]:
    """Starts of rays and middles of the cells along one side, about its middle; width of a cell. [m]

    With two or more cells, rays start a little further out than the middles, so that they have the same
    second moment as the whole side: the error then falls with the fourth power of the cell, not the second.
    """
    count = max(1 if side_m < SMALLEST_CUT_M else 2, math.ceil(side_m / largest_m - 1e-9))
    middles = ((np.arange(count) + 0.5) / count - 0.5) * side_m
    starts = middles / math.sqrt(1 - 1 / count**2) if count > 1 else middles
    return starts, middles, side_m / count


def source_cells(fixture: Fixture, coarseness: float = 1.0) -> SourceCells:
    """Cut a fixture's aperture into cells of at most ``LARGEST_CELL_M``, smaller ones for a low lamp.

    Parameters
    ----------
    fixture : Fixture
    coarseness : float
        Multiplies the largest side of a cell.

    Returns
    -------
    SourceCells

    Raises
    ------
    SetupError
        If the aperture needs more than ``CELLS_AT_MOST`` cells.

    Source
    ------
    Two-point and midpoint rules with the exact second moment.
    """
    aperture = fixture.type.aperture
    largest = coarseness * min(LARGEST_CELL_M, max(CELL_PER_HEIGHT * fixture.height_m, SMALLEST_CUT_M))
    xs, middle_xs, length = _cut(aperture.length_m, largest)
    ys, middle_ys, width = _cut(aperture.width_m, largest)
    if xs.size * ys.size > CELLS_AT_MOST:
        raise SetupError(
            Problem(
                f"the aperture of fixture {fixture.name!r}, {aperture.length_m:g} x {aperture.width_m:g} m, "
                f"needs {xs.size * ys.size} cells of {100 * largest:.2g} cm "
                f"when hung {100 * fixture.height_m:.3g} cm high",
                allowed=f"at most {CELLS_AT_MOST} cells",
                cure="check the unit of the aperture, or describe it as several fixtures",
                place=fixture.type.aperture_place,
            )
        )
    along, aside = (grid.ravel() for grid in np.meshgrid(xs, ys))
    in_x, in_y = (grid.ravel() for grid in np.meshgrid(middle_xs - xs, middle_ys - ys))
    turn = math.radians(fixture.rotation_deg % 360.0)
    cosine, sine = math.cos(turn), math.sin(turn)
    return SourceCells(
        fixture.x_m + cosine * along - sine * aside,
        fixture.y_m + sine * along + cosine * aside,
        cosine * in_x - sine * in_y,
        sine * in_x + cosine * in_y,
        fixture.height_m,
        abs(cosine) * length + abs(sine) * width,
        abs(sine) * length + abs(cosine) * width,
        turn,
    )


def bounded_source_cells(fixture: Fixture) -> SourceCells:
    """The cells of a fixture, coarser than ``source_cells`` cuts them where these would be too many.

    For small changes of a fixture whose own cells are few enough: what a shift does matters there, not the
    last percent.

    Parameters
    ----------
    fixture : Fixture

    Returns
    -------
    SourceCells

    Source
    ------
    Our choice: a quarter coarser, again and again, until at most ``CELLS_AT_MOST`` are left.
    """
    coarseness = 1.0
    while True:
        try:
            return source_cells(fixture, coarseness)
        except SetupError:
            coarseness *= 1.25
