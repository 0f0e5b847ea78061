"""Coral groups: the shipped table, and the keeper's own my-groups.toml."""

from __future__ import annotations

import tomllib
from collections.abc import Callable
from functools import cache
from math import isfinite
from pathlib import Path

from lightdose.errors import Place
from lightdose.model.coral import CoralGroup

GROUPS_FILE = Path(__file__).parent.parent / "data" / "coral_groups.toml"
OWN_FILE_LIMIT_BYTES = 1_000_000

_OWN_KEYS = (
    "name",
    "like",
    "genera",
    "dli_band",
    "peak_band",
    "dli_floor",
    "dli_ceiling",
    "ek_range",
    "source",
    "grade",
)
_NUMBER_KEYS = ("dli_band", "peak_band", "dli_floor", "dli_ceiling")
_GRADES = ("A", "B", "C", "D", "n/a")
_OWN_NUMBERS = "the keeper's own group file, no source given"

PlaceOf = Callable[[tuple[str, ...]], Place]


@cache
def _shipped() -> tuple[dict[str, CoralGroup], dict[str, str]]:
    with GROUPS_FILE.open("rb") as stream:
        document = tomllib.load(stream)
    groups = {
        key: CoralGroup(
            key=key,
            name=entry["name"],
            genera=tuple(entry["genera"]),
            band_dli=_pair(entry.get("dli_band")),
            band_peak=_pair(entry.get("peak_band")),
            floor_dli=_number(entry.get("dli_floor")),
            ceiling_dli=_number(entry.get("dli_ceiling")),
            ek_range=_pair(entry.get("ek_range")),
            ek_source=entry.get("ek_source", ""),
            grade=entry["grade"],
            sources=tuple(entry["sources"]),
            note=entry["note"],
            ek_model=entry.get("ek_model", "tanh"),
            floor_harm=entry.get("floor_harm", ""),
        )
        for key, entry in document["group"].items()
    }
    return groups, document["source"]


def default_groups() -> tuple[dict[str, CoralGroup], dict[str, str]]:
    """The shipped groups by key, and the citations behind their short source keys."""
    groups, sources = _shipped()
    return dict(groups), dict(sources)


def _pair(value: object) -> tuple[float, float] | None:
    if not (isinstance(value, list) and len(value) == 2):
        return None
    low, high = _number(value[0]), _number(value[1])
    return None if low is None or high is None else (low, high)


def _number(value: object) -> float | None:
    """A finite TOML number; booleans are not numbers."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not isfinite(value):
        return None
    return float(value)
