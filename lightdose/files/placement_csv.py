"""A placement as CSV: all of it for a spreadsheet, and as a corals.csv that a setup reads."""

from __future__ import annotations

import json
from collections.abc import Iterator
from typing import Final

from lightdose.files.dialect import Cell, Dialect, csv_text, table_schema
from lightdose.model.placement import PlacedCoral, Placement, Spot
from lightdose.quantities import ValueColumn as Column

COLUMNS: Final = (
    Column("number", "integer", "in the figure; empty without a place"),
    Column("coral", "string"),
    Column("group", "string"),
    Column("site_before", "string"),
    Column("site", "string", "empty on a grid, and without a place"),
    Column("x_cm", unit="cm"),
    Column("y_cm", unit="cm"),
    Column("depth_cm", title="of its foot, below the surface", unit="cm"),
    Column("height_cm", unit="cm"),
    Column("moved_cm", unit="cm"),
    Column("dli_before_mol_m2_d", unit="mol m-2 d-1"),
    Column("dli_mol_m2_d", unit="mol m-2 d-1"),
    Column("band_dli_low_mol_m2_d", unit="mol m-2 d-1"),
    Column("band_dli_high_mol_m2_d", unit="mol m-2 d-1"),
    Column("dli_state_before", "string"),
    Column("dli_state", "string"),
    Column("nearest_miss", "string", "the place nearest to its range, where it gets none within"),
    Column("nearest_miss_dli_mol_m2_d", unit="mol m-2 d-1"),
)

CORAL_COLUMNS: Final = (
    "coral", "group", "genus", "site", "x_cm", "y_cm", "depth_cm", "open_sky", "height_cm",
)  # fmt: skip


def placement_csv(placement: Placement, dialect: Dialect = "plain") -> str:
    """One row a coral, in the order of the setup."""
    return csv_text([c.name for c in COLUMNS], _rows(placement), dialect)


def placement_schema(dialect: Dialect = "plain") -> str:
    """JSON text of the Table Schema of ``placement_csv``."""
    return json.dumps(table_schema(COLUMNS, dialect), indent=2) + "\n"


def corals_csv(placement: Placement, dialect: Dialect = "plain") -> str:
    """The corals at their new places, as the file that the key ``corals`` of a setup names."""
    rows = [_coral_row(c, c.after.spot) for c in placement.corals if c.after is not None]
    return csv_text(CORAL_COLUMNS, rows, dialect)


def _cm(metres: float) -> float:
    return round(100 * metres, 9)


def _rows(placement: Placement) -> Iterator[list[Cell]]:
    number = 0
    for coral in placement.corals:
        after, nearest = coral.after, coral.nearest
        number += after is not None
        place: list[Cell] = [None] * 4
        if after is not None:
            spot = after.spot
            place = [spot.site, _cm(spot.x_m), _cm(spot.y_m), _cm(spot.depth_m)]
        low, high = coral.band_dli or (None, None)
        yield [
            number if after else None,
            coral.coral,
            coral.group,
            coral.before.spot.site,
            *place,
            _cm(coral.height_m),
            _cm(coral.moved_m) if after else None,
            coral.before.dli_mol_m2_d,
            after.dli_mol_m2_d if after else None,
            low,
            high,
            coral.before.dli_state,
            after.dli_state if after else None,
            nearest.spot.name if nearest else None,
            nearest.dli_mol_m2_d if nearest else None,
        ]


def _coral_row(coral: PlacedCoral, spot: Spot) -> list[Cell]:
    group: list[Cell] = [None, coral.genus] if coral.genus else [coral.group, None]
    is_site = spot.site is not None and not spot.implicit
    place: list[Cell] = [spot.site, None, None, None]
    if not is_site:
        place = [None, _cm(spot.x_m), _cm(spot.y_m), _cm(spot.depth_m)]
    return [coral.coral, *group, *place, coral.open_sky, _cm(coral.height_m)]
