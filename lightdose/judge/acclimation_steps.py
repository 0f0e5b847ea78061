"""The steps of an acclimation as they are written: in minutes and tenths of a percent, within every limit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
import numpy.typing as npt

from lightdose.model.fixture import ChannelProgramme, Programme
from lightdose.model.plans import AcclimatingCoral
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import Analysis
from lightdose.physics.controller import as_set, can_be_set, on_minutes
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_light_integral
from lightdose.physics.programme import scaled_programme

BoolArray = npt.NDArray[np.bool_]

AsWritten = Callable[[Mapping[str, Programme]], Mapping[str, Programme]]
"""Programmes as they are read back from the files that would hold them."""

LEVEL_STEPS: Final = (1_000, 10_000)
"""Levels are set in tenths of a percent; in hundredths where a tenth is more than a step may change."""

TRIES: Final = 16
"""A step that rounding takes above its limit is tried so many times with less. Our choice."""

NEAR: Final = 0.01
"""The last step is rounded where that moves no coral's dose by more than this share of it. Our choice."""

ROUNDING: Final = 1e-9


@dataclass(frozen=True, eq=False)
class WrittenStep:
    """A share of the new programme's outputs, the programmes that give it, and the dose at every receiver.

    The programmes are rounded, the doses are theirs. [mol m-2 d-1]
    """

    scale: float
    programmes: Mapping[str, Programme]
    dli: FloatArray


def first_limits(
    today: Analysis, other: Analysis, corals: Sequence[AcclimatingCoral], growth: float
) -> FloatArray:
    """The most that each receiver of the other setup may get in the first step, shape (n_receiver,).

    Every coral's own limit at its top, and that of its site where today lights one; infinity where nothing
    limits. [mol m-2 d-1]
    """
    limits = np.full(len(other.dose.dli), np.inf)
    before = {s.name: float(d) for s, d in zip(today.setup.sites, today.dose.dli, strict=False)}
    stood = {c.name: c.site for c in today.setup.corals}
    for coral, (top, site) in zip(corals, _places(other, corals), strict=True):
        limits[top] = min(limits[top], coral.first_scale * coral.target)
        if coral.origin == "today" and (old := before[stood[coral.name]]) > 0:
            limits[site] = min(limits[site], growth * old / coral.rise_at_most)
    return limits


def largest_scale(other: Analysis, limits: FloatArray) -> float:
    """The share of the other setup's light that every limit allows."""
    lit = np.isfinite(limits) & (other.dose.dli > 0)
    return float(np.min(limits[lit] / other.dose.dli[lit]))


def written_steps(
    other: Analysis,
    corals: Sequence[AcclimatingCoral],
    limits: FloatArray,
    growth: float,
    as_written: AsWritten,
) -> list[WrittenStep]:
    """The steps to the other setup's light, the last one its own programme.

    Parameters
    ----------
    other : Analysis
    corals : sequence of AcclimatingCoral
    limits : array, shape (n_receiver,)
        Of the first step. [mol m-2 d-1]
    growth : float
        Factor that a step may rise by; what it rises from is the dose of the rounded step before.
    as_written : function

    Source
    ------
    D_k <= D_(k-1) growth at every coral's top and site. A step whose levels in tenths pass that is taken with
    less, by half of the rise at most; then its levels are hundredths, and exact where those are too coarse.
    """
    held = np.zeros(limits.size, dtype=np.bool_)
    held[[place for both in _places(other, corals) for place in both]] = True
    made: list[WrittenStep] = []
    while True:
        scale = largest_scale(other, limits)
        if scale >= 1 - ROUNDING:
            return [*made, _last(other, limits, held, as_written)]
        made.append(_below(other, scale, limits, growth, as_written))
        limits = np.where(held, growth * made[-1].dli, np.inf)


def _places(other: Analysis, corals: Sequence[AcclimatingCoral]) -> list[tuple[int, int]]:
    """The receivers of each coral: its top and its site."""
    tops = {v.coral: v.receiver for v in other.verdicts}
    sites = {s.name: i for i, s in enumerate(other.setup.sites)}
    return [(tops[c.name], sites[c.site]) for c in corals]


def _below(
    other: Analysis, scale: float, limits: FloatArray, growth: float, as_written: AsWritten
) -> WrittenStep:
    """The step nearest below a scale that keeps all limits when it is rounded."""
    least = scale / growth**0.5
    lit = np.isfinite(limits) & (other.dose.dli > 0)
    for steps in LEVEL_STEPS:
        for k in range(TRIES + 1):
            asked = scale * growth ** (-k / (2 * TRIES))
            step = _step(other, asked, steps, as_written)
            share = step.dli[lit] / other.dose.dli[lit]
            if _within(step, limits) and float(np.max(share)) >= least * (1 - ROUNDING):
                return step
    return _step(other, scale, None, as_written)


def _last(other: Analysis, limits: FloatArray, held: BoolArray, as_written: AsWritten) -> WrittenStep:
    """The new programme itself, rounded where it can be set no other way."""
    own = {f.name: f.programme for f in other.setup.lit_fixtures}
    if not all(map(can_be_set, own.values())):
        full = other.dose.dli[held]
        for steps in LEVEL_STEPS:
            step = _step(other, 1.0, steps, as_written)
            if _within(step, limits) and np.all(np.abs(step.dli[held] - full) <= NEAR * full):
                return step
    own = dict(as_written(own))
    return WrittenStep(1.0, own, _doses(other, own))


def _within(step: WrittenStep, limits: FloatArray) -> bool:
    return bool(np.all(step.dli <= limits * (1 + ROUNDING)))


def _step(other: Analysis, scale: float, level_steps: int | None, as_written: AsWritten) -> WrittenStep:
    """The programme of every lit fixture with its outputs scaled; exact where no step of levels is told."""
    made = {}
    for fixture in other.setup.lit_fixtures:
        dimming = {c.name: c.dimming for c in fixture.type.channels}
        channels = {n: scaled_programme(p, dimming[n], scale) for n, p in fixture.programme.channels.items()}
        if level_steps is None:
            made[fixture.name] = Programme(channels)
            continue
        channels = {n: ChannelProgramme(*on_minutes(p.time_h, p.level)) for n, p in channels.items()}
        made[fixture.name] = as_set(channels, fixture, level_steps, glowing=fixture.type.lit_at_zero)
    written = dict(as_written(made))
    return WrittenStep(scale, written, _doses(other, written))


def _doses(other: Analysis, programmes: Mapping[str, Programme]) -> FloatArray:
    """DLI at every receiver of the other setup under written programmes. [mol m-2 d-1]"""
    fixtures = [replace(f, programme=programmes[f.name]) for f in other.setup.lit_fixtures]
    return daily_light_integral(other.light_field.of("ppfd"), day_curve(fixtures))
