"""The coral groups as one versioned JSON object."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from lightdose.model.coral import CoralGroup

GROUPS_FORMAT = "lightdose-groups/1"


def groups_json(groups: Mapping[str, CoralGroup], sources: Mapping[str, str]) -> dict[str, Any]:
    """Every group with its marks, and the citations in full."""
    return {
        "format": GROUPS_FORMAT,
        "groups": [
            {
                "group": group.key,
                "name": group.name,
                "genera": list(group.genera),
                "band_dli": _listed(group.band_dli),
                "floor_dli": group.floor_dli,
                "ceiling_dli": group.ceiling_dli,
                "band_peak_umol_m2_s": _listed(group.band_peak),
                "ek_range_umol_m2_s": _listed(group.ek_range),
                "ek_model": group.ek_model if group.ek_range else None,
                "ek_source": group.ek_source,
                "grade": group.grade,
                "sources": [sources.get(key, key) for key in group.sources],
                "note": group.note,
                "floor_harm": group.floor_harm or None,
            }
            for group in groups.values()
        ],
        "sources": dict(sources),
    }


def _listed(pair: tuple[float, float] | None) -> list[float] | None:
    return None if pair is None else list(pair)
