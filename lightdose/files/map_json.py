"""A map as one versioned JSON object."""

from __future__ import annotations

import math
from typing import Any

from lightdose.model.places import LightMap, MapSlice
from lightdose.model.record import FloatArray

MAP_FORMAT = "lightdose-map/1"


def map_json(light: LightMap) -> dict[str, Any]:
    """Every slice with its cells, row by row, and every group's share of each slice."""
    return {
        "format": MAP_FORMAT,
        "title": light.setup.title,
        "basis": light.basis.key,
        "cell_m": light.cell_m,
        "samples_per_side": light.samples,
        "open_sky": 1.0,
        "slices": [_slice(part) for part in light.slices],
        "groups": [
            {
                "group": region.group.key,
                "name": region.group.name,
                "band_dli": list(region.band_dli),
                "area_fraction": list(region.area_fraction),
                "grade": region.group.grade,
                "sources": [light.setup.group_sources.get(s, s) for s in region.group.sources],
            }
            for region in light.regions
        ],
        "notes": list(light.notes),
        "provenance": {"version": light.version, "inputs_sha256": dict(light.setup.inputs_sha256)},
    }


def _slice(part: MapSlice) -> dict[str, Any]:
    cells = part.cells
    across = {"depth": ("x_m", "y_m"), "from_front": ("x_m", "depth_m"), "from_left": ("y_m", "depth_m")}
    columns, rows = across[part.plane.kind]
    return {
        "plane": part.plane.kind,
        "at_m": part.plane.at_m,
        "columns": columns,
        "rows": rows,
        columns: cells.column_centres_m.tolist(),
        rows: cells.row_centres_m.tolist(),
        "ppfd_umol_m2_s": _grid(part.peak),
        "full_output_ppfd_umol_m2_s": _grid(part.full_output),
        "dli_mol_m2_d": _grid(part.dli),
        "wall_fraction": _grid(part.wall_fraction),
        "floor_fraction": _grid(part.floor_fraction),
    }


def _grid(values: FloatArray) -> list[list[float | None]]:
    return [[value if math.isfinite(value) else None for value in row] for row in values.tolist()]
