"""Reef-depth equivalent: at which depth of the open sea a clear day gives as many photons."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final

Ends = tuple[float | None, float | None]
PLACES: Final = {"clear": "a clear outer reef", "coastal": "a coastal one"}
NOTE: Final = (
    "Like a reef at: depths whose clear day gives as many photons, on a clear outer reef (water types IB and "
    "II) and on a coastal one (III to 3C), over latitudes of 0-23 degrees and all seasons; colours differ. "
    "Never a target."
)


def depth_words(ends: Ends) -> str:
    """A range of depths in whole metres: "8-24", "75 or more", "-" where every surface is dimmer."""
    low, high = ends
    if low is None:
        return "-"
    return f"{low:.0f} or more" if high is None else f"{low:.0f}-{high:.0f}"


def reef_cell(depths: Mapping[str, Ends]) -> str:
    """Both waters in one cell: "8-24 / 4-10"."""
    return " / ".join(map(depth_words, depths.values()))
