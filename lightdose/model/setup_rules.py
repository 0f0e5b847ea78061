"""What records of one setup must hold together, so that an edit in code cannot leave the water."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any, Final

from lightdose.errors import Problem
from lightdose.model.forms import UNCERTAINTY_KEYS

ROUNDING_M: Final = 1e-9
"""Lengths from different units may differ by this and still be the same."""


DRY_M: Final = 1.0
"""A place or a coral's top may stand so far above the surface, where the water fell. Our choice. [m]"""


def broken_rules(setup: Any, *, may_be_dry: bool) -> list[Problem]:
    """Places of a ``Setup`` outside the water, corals that leave it, and doubts that are not known.

    ``may_be_dry`` allows what the water left behind: `sensitivity` lowers its level.
    """
    above_m = DRY_M if may_be_dry else ROUNDING_M
    return [*_places(setup, above_m), *_corals(setup, above_m), *_doubts(setup)]


def _places(setup: Any, above_m: float) -> Iterator[Problem]:
    tank = setup.tank
    limits = (
        ("x", "x_m", tank.length_m, ROUNDING_M, "tank.length_m"),
        ("y", "y_m", tank.width_m, ROUNDING_M, "tank.width_m"),
        ("depth", "depth_m", tank.water_depth_m, above_m, "tank.water_depth_m"),
    )
    for site in setup.sites:
        for axis, field, most_m, over_m, limit in limits:
            value_m = getattr(site, field)
            if not -over_m <= value_m <= most_m + ROUNDING_M:
                found = f"site {site.name!r} {axis}: {value_m:g} m is outside the water"
                cure = f"{value_m:g} cm is {value_m / 100:g} m" if 1 <= value_m <= 100 * most_m else ""
                yield Problem(found, f"0 to {most_m:g} m ({limit})", cure)


def _corals(setup: Any, above_m: float) -> Iterator[Problem]:
    depths = {site.name: site.depth_m for site in setup.sites}
    for coral in setup.corals:
        deep_m = depths.get(coral.site, math.inf)
        if not 0 <= coral.height_m <= max(deep_m, 0.0) + above_m:
            found = f"coral {coral.name!r} leaves the water: {coral.height_m:g} m tall"
            yield Problem(found, f"0 to {deep_m:g} m, the depth of its place")
        if not 0 <= coral.open_sky <= 1:
            yield Problem(f"open_sky {coral.open_sky:g} of coral {coral.name!r} is outside 0 to 1")


def _doubts(setup: Any) -> Iterator[Problem]:
    for key, value in setup.uncertainty.items():
        if key not in UNCERTAINTY_KEYS:
            yield Problem(f"uncertainty: the key {key} is not known", ", ".join(UNCERTAINTY_KEYS))
        elif not 0 <= value <= UNCERTAINTY_KEYS[key][0]:
            yield Problem(f"uncertainty {key}: {value} is outside 0 to {UNCERTAINTY_KEYS[key][0]:g}")
