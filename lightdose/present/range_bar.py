"""The plain bar of a coral: where its dose lies against floor, usual range and ceiling, on one scale for all.

Every bar has the usual range in its middle, so that what is off stands out of line. A disc lies within, a
diamond outside, a full diamond far outside; the line is the 95 % interval.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np

from lightdose.answers.blocks import Bar
from lightdose.model.results import DliState

WIDTH: Final = 200
HEIGHT: Final = 18
EDGES: Final = (3.0, 32.0, 66.0, 134.0, 168.0, 197.0)
"""Where nothing, floor, usual range, ceiling and twice the ceiling stand."""

KEY: Final = (
    "Bars: dark from the low to the high end of the usual range, light from floor to ceiling; the line is "
    "the 95 % interval. Stated value: disc within, open diamond outside, full diamond far outside."
)


@dataclass(frozen=True)
class RangeBar:
    """Places along a bar of ``WIDTH``; ``line`` is None where no interval is known."""

    state: DliState
    mark: float
    line: tuple[float, float] | None

    floor: float = EDGES[1]
    low: float = EDGES[2]
    high: float = EDGES[3]
    ceiling: float = EDGES[4]


def range_bar(bar: Bar) -> RangeBar:
    """Where everything of a bar stands."""
    floor, low, high, ceiling = bar.edges
    doses = (0.0, floor, low, high, ceiling, 2 * ceiling)

    def place(dose: float) -> float:
        return round(float(np.interp(dose, doses, EDGES)), 1)

    line = None if bar.interval is None else (place(bar.interval[0]), place(bar.interval[1]))
    return RangeBar(bar.state, place(bar.dose), line)
