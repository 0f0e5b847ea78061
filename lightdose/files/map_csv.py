"""The cells of a map as CSV, with a Table Schema to lay beside it."""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from typing import Final

from lightdose.files.dialect import Dialect, csv_text, table_schema
from lightdose.model.places import LightMap
from lightdose.quantities import ValueColumn as Column

COLUMNS: Final = (
    Column("x_cm", title="of the cell's centre, from the left pane", unit="cm"),
    Column("y_cm", title="of the cell's centre, from the front pane", unit="cm"),
    Column("depth_cm", title="of the cell's centre, below the surface", unit="cm"),
    Column("ppfd_umol_m2_s", title="highest PPFD of the day under open sky", unit="umol m-2 s-1"),
    Column("dli_mol_m2_d", title="photons of 400-700 nm in the day under open sky", unit="mol m-2 d-1"),
    Column("wall_fraction", title="share of the day's photons that came by a wall, not by the floor"),
    Column("floor_fraction", title="share of the day's photons that came by the floor"),
)


def map_csv(light: LightMap, dialect: Dialect = "plain") -> str:
    """One row a cell, slice after slice; a share is empty where there is no light."""
    return csv_text([c.name for c in COLUMNS], _rows(light), dialect)


def map_schema(dialect: Dialect = "plain") -> str:
    """JSON text of the Table Schema of ``map_csv``."""
    return json.dumps(table_schema(COLUMNS, dialect), indent=2) + "\n"


def _rows(light: LightMap) -> Iterator[list[float | None]]:
    for part in light.slices:
        columns = (part.peak, part.dli, part.wall_fraction, part.floor_fraction)
        values = zip(*(column.ravel().tolist() for column in columns), strict=True)
        for place, row in zip(part.cells.centres_m.reshape(-1, 3).tolist(), values, strict=True):
            at = [round(100 * metres, 9) for metres in place]
            yield [*at, *(value if math.isfinite(value) else None for value in row)]
