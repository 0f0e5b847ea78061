"""A fixture's emitting rectangle as a set of small cells."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from lightdose.errors import Problem, SetupError
from lightdose.model.arrays import FloatArray
from lightdose.model.fixture import Fixture

LARGEST_CELL_M = 0.05
"""Side of a cell at most; between cells the image edges are softened. Our choice."""

CELLS_AT_MOST = 4096


@dataclass(frozen=True, eq=False)
class SourceCells:
    """Point sources that stand for a fixture, each with an equal share of its light.

    Attributes
    ----------
    x_m, y_m : array, shape (n_cell,). [m]
    height_m : height above the water. [m]
    spread_x_m, spread_y_m : width of a cell as seen along x and y, 0 for a point. [m]
    turn_rad : rotation of the fixture, counter-clockwise from above. [rad]
    """

    x_m: FloatArray
    y_m: FloatArray
    height_m: float
    spread_x_m: float
    spread_y_m: float
    turn_rad: float


def source_cells(fixture: Fixture) -> SourceCells:
    """Cut a fixture's aperture into cells of at most ``LARGEST_CELL_M``.

    Parameters
    ----------
    fixture : Fixture

    Returns
    -------
    SourceCells

    Raises
    ------
    SetupError
        If the aperture needs more than ``CELLS_AT_MOST`` cells.

    Source
    ------
    Midpoint rule.
    """
    aperture = fixture.type.aperture
    across = max(1, math.ceil(aperture.length_m / LARGEST_CELL_M - 1e-9))
    up = max(1, math.ceil(aperture.width_m / LARGEST_CELL_M - 1e-9))
    if across * up > CELLS_AT_MOST:
        raise SetupError(
            Problem(
                f"the aperture of fixture {fixture.name!r}, {aperture.length_m:g} x {aperture.width_m:g} m, "
                f"needs {across * up} cells of {100 * LARGEST_CELL_M:g} cm",
                allowed=f"at most {CELLS_AT_MOST} cells",
                cure="describe it as several fixtures, or check the unit of the aperture",
            )
        )
    length, width = aperture.length_m / across, aperture.width_m / up
    along, aside = np.meshgrid(
        (np.arange(across) + 0.5) * length - aperture.length_m / 2,
        (np.arange(up) + 0.5) * width - aperture.width_m / 2,
    )
    turn = math.radians(fixture.rotation_deg % 360.0)
    cosine, sine = math.cos(turn), math.sin(turn)
    return SourceCells(
        (fixture.x_m + cosine * along - sine * aside).ravel(),
        (fixture.y_m + sine * along + cosine * aside).ravel(),
        fixture.height_m,
        abs(cosine) * length + abs(sine) * width,
        abs(sine) * length + abs(cosine) * width,
        turn,
    )
