"""The foot of the dimming: below which share of its curve a lamp gives nothing, from readings at low levels.

Many drivers stay dark up to some per cent and rise from there. With a foot f a curve that gives o gives
(o - f) / (1 - f) instead, and nothing below f. Readings at one spot with the same channels on show it, since
only their ratios count: during a ramp, or at several levels. A reading of 0 says that the foot is not below
that level.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from lightdose.fit.observations import RESOLUTION, Observations, shown_at_least
from lightdose.model.calibration import DimmingFoot
from lightdose.model.record import FloatArray
from lightdose.model.setup import Setup

FEET = np.round(np.arange(0.0, 0.3001, 0.005), 3)
"""Feet that are tried, as shares of full output: our choice, drivers start by 10 % mostly (from memory)."""

LOW_OUTPUT = 0.35
"""Readings of channels below this share of full output can show a foot: our choice."""

SCALE_LN_SD, LEVEL_LN_SD = 3.0, 0.05
"""How well the light of a spot is known: hardly, so that only ratios speak; and one reading beside another
there. Our choice."""

LEAST_FOOT, PLAIN = 0.01, 6.0
"""A foot is spoken of from here on, and where it takes so much off the squares: our choice."""

DARK_LN = -12.0
IN_95 = 3.84
"""What a squared standard normal number stays below with 95 %."""

_Mask = npt.NDArray[np.bool_]


def with_feet(setup: Setup, observed: Observations) -> Observations:
    """The readings with the foot of each lamp that they show, lamps of one kind together.

    Parameters
    ----------
    setup : uncalibrated
    observed : with readings of 0 among them

    Returns
    -------
    Observations
        As they were where no readings are low enough, or where the curves hold.

    Source
    ------
    Least squares over a grid, one free scale a spot; the interval by 3.84 of the squares (chi-squared, one
    degree of freedom).
    """
    output = observed.output.copy()
    kinds: dict[int, list[int]] = {}
    for n, fixture in enumerate(setup.lit_fixtures):
        kinds.setdefault(id(fixture.type), []).append(n)
    owner = np.array([n for n, f in enumerate(observed.fixtures) for _ in f.type.channels])
    feet = []
    for mates in kinds.values():
        own = np.isin(owner, mates)
        part = output[:, own]
        low = (part > 0) & (part < LOW_OUTPUT)
        if not low.any():
            continue
        squares = _squares(observed, observed.shown, output, own)
        best = int(np.argmin(squares))
        if FEET[best] < LEAST_FOOT or squares[0] - squares[best] < PLAIN:
            continue
        inside = FEET[squares <= squares[best] + IN_95]
        foot = float(FEET[best])
        output[:, own] = above_foot(part, foot)
        feet += [
            DimmingFoot(observed.fixtures[n].name, foot, (float(inside.min()), float(inside.max())))
            for n in mates
        ]
    if not feet:
        return observed
    found = replace(observed, output=output, feet=tuple(feet))
    found = replace(found, position_sd=np.hypot(found.position_sd, _spread(found)))
    lit = np.flatnonzero(output.any(axis=1)).tolist()
    dark = tuple(r for n, r in enumerate(observed.readings) if n not in lit)
    return replace(found.among(lit), below_foot=dark)


def above_foot(output: FloatArray, foot: float) -> FloatArray:
    """What outputs 0-1 become with a foot.

    Source
    ------
    Our choice of form: nothing up to the foot, straight from there to full output.
    """
    return np.asarray(np.maximum(output - foot, 0.0) / (1.0 - foot))


def _spread(observed: Observations) -> FloatArray:
    """ln standard uncertainty of each reading from the feet of the lamps it sees, shape (n,)."""
    by_name = {f.fixture: f for f in observed.feet}
    spread = np.zeros(len(observed.readings))
    start = 0
    for fixture in observed.fixtures:
        stop = start + len(fixture.type.channels)
        if foot := by_name.get(fixture.name):
            sd = (foot.interval_95[1] - foot.interval_95[0]) / (2 * math.sqrt(IN_95))
            lit = observed.output[:, start:stop].max(axis=1)
            spread += np.where(lit > 0, (sd / np.maximum(lit, 1e-3)) ** 2 * (1 - lit) ** 2, 0.0)
        start = stop
    return np.sqrt(spread)


def _squares(observed: Observations, shown: FloatArray, output: FloatArray, own: _Mask) -> FloatArray:
    """What the readings leave under each foot of ``FEET``, in squared standard uncertainties."""
    dark = np.array([r.value == 0 for r in observed.readings])
    sd = np.hypot(LEVEL_LN_SD, [RESOLUTION[r.unit] / shown_at_least(r) for r in observed.readings])
    spots = _spots(observed, output)
    total = np.zeros(len(FEET))
    for k, foot in enumerate(FEET.tolist()):
        moved = output.copy()
        moved[:, own] = above_foot(output[:, own], foot)
        expected = np.maximum(np.log(np.maximum((shown * moved).sum(axis=1), 1e-30)), DARK_LN)
        off = observed.ln_reading - expected
        for spot in set(spots):
            here = np.array([s == spot for s in spots])
            lit = here & ~dark
            weight = 1 / sd[lit] ** 2
            scale = float(weight @ off[lit]) / float(weight.sum() + SCALE_LN_SD**-2)
            total[k] += float(weight @ (off[lit] - scale) ** 2) + (scale / SCALE_LN_SD) ** 2
            beyond = np.minimum(off[here & dark] - scale, 0.0)  # more expected than half a digit
            spare = sd[here & dark] ** 2 + (0.0 if lit.any() else SCALE_LN_SD**2)
            total[k] += float((beyond**2 / spare).sum())
    return total


def _spots(observed: Observations, output: FloatArray) -> list[tuple[object, ...]]:
    """What shares one scale: the place, the meter, and which channels are on."""
    on = [tuple(np.flatnonzero(row > 0).tolist()) for row in output]
    places = [(r.x_m, r.y_m, r.depth_m) for r in observed.readings]
    return [(*place, meter, lit) for place, meter, lit in zip(places, observed.meter_of, on, strict=True)]
