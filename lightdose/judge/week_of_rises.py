"""How far a change may raise corals that rose lately: a limit a week, over what they got before."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import NamedTuple

from lightdose.judge.acclimation import DEFAULT_RISE_PER_WEEK, DEFAULT_STEP_DAYS
from lightdose.judge.light_history import ROUNDING, WEEK_D, day_after, days_between
from lightdose.model.diary import FastRise

_ALIKE = 1e-6


class WeeklyLimit(NamedTuple):
    """How fast corals may rise, 0.1 is 10 % a week, and the days from step to step."""

    rise_per_week: float = DEFAULT_RISE_PER_WEEK
    step_days: int = DEFAULT_STEP_DAYS

    @property
    def window_d(self) -> int:
        """Light that ended so long ago no longer counts."""
        return max(WEEK_D, self.step_days)

    def ratio(self, age_d: int) -> float:
        """How far a dose may be above one that ended ``age_d`` days ago: as far as such steps bring it.

        Source
        ------
        (1 + g)^(days / 7) a step: common practice, no published rule per week.
        """
        steps = age_d // self.step_days + 1
        return float((1 + self.rise_per_week) ** (steps * self.step_days / WEEK_D))


class LightBefore(NamedTuple):
    """What corals got up to a day, by coral. [mol m-2 d-1]"""

    until: str
    doses: Mapping[str, float]


def raised(now: Mapping[str, float], after: Mapping[str, float]) -> tuple[str, ...]:
    """Corals whose dose a change raises by more than rounding. [mol m-2 d-1]"""
    return tuple(name for name, dose in after.items() if name in now and dose > now[name] * (1 + ROUNDING))


def fast_rises(
    light: Sequence[LightBefore],
    now: Mapping[str, float],
    after: Mapping[str, float],
    today: str,
    limit: WeeklyLimit,
) -> tuple[FastRise, ...]:
    """Corals that rose lately and that a change would raise beyond the limit, those that rise most first.

    Parameters
    ----------
    light : what they got before, each up to a day within the limit's window
    now, after : doses today, and with the change. [mol m-2 d-1]
    today : day of the change

    Source
    ------
    The rule by which `history` marks rises of more than 10 % within a week, asked before the change. A coral
    that got no light before is left out: a tank is dark until its programme is written.
    """
    found: dict[str, FastRise] = {}
    for one in light:
        age = max(0, days_between(one.until, today))
        for name in raised(now, after):
            before, dose = one.doses.get(name, 0.0), after[name]
            if not 0 < before < now[name] * (1 - _ALIKE):
                continue
            most = before * (1 + ROUNDING)
            if dose <= most * limit.ratio(age):
                continue
            wait = (d for d in range(age + 1, limit.window_d) if dose <= most * limit.ratio(d))
            due = day_after(one.until, next(wait, limit.window_d))
            rise = FastRise(name, one.until, before, now[name], dose, due)
            found[name] = max(found.get(name, rise), rise, key=lambda r: (r.due, r.ratio))
    return tuple(sorted(found.values(), key=lambda r: -r.ratio))
