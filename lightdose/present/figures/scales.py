"""Scales of figures: which ticks stand apart, what a scale of doses holds, and words at the ends of lines."""

from __future__ import annotations

import math
from collections.abc import Sequence
from itertools import pairwise
from typing import Final

from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Verdict
from lightdose.present.figures.style import INK

TICK_GAP_IN: Final = 0.36
"""Ticks of a log scale stand at least so far apart."""

ROUND_STEPS: Final = tuple(
    tuple(step * 10.0**power for power in range(-6, 9, decades) for step in steps)
    for decades, steps in (
        (1, (1, 1.2, 1.4, 1.6, 1.8, 2, 2.5, 3, 3.5, 4, 5, 6, 7, 8, 9)),
        (1, (1, 1.5, 2, 3, 5, 7)),
        (1, (1, 2, 5)),
        (1, (1,)),
        (3, (1,)),
    )
)
"""Round numbers for a log scale, from close steps to thousands."""


@dataclass(frozen=True)
class EndLabel:
    """Words for the right margin, and the point that they belong to."""

    text: str
    x: float
    y: float
    colour: str = INK

    @classmethod
    def after_plateau(cls, text: str, x: FloatArray, y: FloatArray, colour: str) -> EndLabel:
        """Words for a curve, at the last point near its highest."""
        last = int((y >= 0.97 * y.max()).nonzero()[0][-1])
        return cls(text, float(x[last]), float(y[last]), colour)


def dose_limits(verdicts: Sequence[Verdict], doses: Sequence[float]) -> tuple[float, float]:
    """Ends of a scale with every band, ceiling and dose inside; a trace of light is at the left end."""
    marks = [x for v in verdicts for x in (v.floor_dli, *(v.band_dli or ())) if x]
    tops = [x for v in verdicts for x in (v.ceiling_dli, *(v.band_dli or ())) if x]
    lit = [dose for dose in doses if dose > 0]
    least = min(marks, default=min(lit, default=1.0))
    return 0.75 * max(min([least, *lit]), least / 8), 1.35 * max([least, *tops, *lit])


def spaced_ticks(
    low: float, high: float, room_in: float, steps: Sequence[Sequence[float]] = ROUND_STEPS
) -> list[float]:
    """Ticks of a log scale within its ends: the closest steps that stand ``TICK_GAP_IN`` apart."""
    per_inch = math.log(high / low) / room_in
    for row in steps:
        ticks = [tick for tick in row if low <= tick <= high]
        if all(math.log(b / a) >= TICK_GAP_IN * per_inch for a, b in pairwise(ticks)):
            break
    return ticks


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places as near to the wanted ones as a smallest gap between neighbours and two ends allow.

    When they do not fit at all they stand evenly between the ends.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    if len(order) > 1 and gap * (len(order) - 1) > high - low:
        gap = (high - low) / (len(order) - 1)
    places = [0.0] * len(wanted)
    floor = low
    for i in order:
        places[i] = max(wanted[i], floor)
        floor = places[i] + gap
    ceiling = high
    for i in reversed(order):
        places[i] = min(places[i], ceiling)
        ceiling = places[i] - gap
    return places
