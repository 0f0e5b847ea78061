"""Programmes: levels against time, piecewise linear, one repeating day."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from lightdose.errors import ScheduleError
from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.record import dataclass
from lightdose.quantities import HOURS_PER_DAY


@dataclass(frozen=True, eq=False)
class ChannelProgramme:
    """Levels of one channel, linear between its points and off outside them.

    Attributes
    ----------
    time_h : array, shape (n,), not falling; past 24 for a programme over midnight, spans at most 24. [h]
        The same time twice is a jump.
    level : array, shape (n,), 0-1
    """

    time_h: FloatArray
    level: FloatArray

    def __post_init__(self) -> None:
        time, level = read_only(self.time_h), read_only(self.level)
        if time.ndim != 1 or time.shape != level.shape or time.size < 2:
            raise ScheduleError("a channel's programme needs two or more points")
        if np.any(np.diff(time) < 0) or np.any(time[2:] == time[:-2]):
            raise ScheduleError("the times of a programme do not fall, and stand at most twice")
        if time[0] < 0 or time[0] >= HOURS_PER_DAY or time[-1] > 2 * HOURS_PER_DAY:
            raise ScheduleError("a programme starts between 00:00 and 24:00")
        if time[-1] - time[0] > HOURS_PER_DAY:
            raise ScheduleError("a programme lasts at most 24 h")
        if np.any(~np.isfinite(level)) or np.any(level < 0) or np.any(level > 1):
            raise ScheduleError("levels are 0 to 100 percent")
        object.__setattr__(self, "time_h", time)
        object.__setattr__(self, "level", level)


@dataclass(frozen=True, eq=False)
class Programme:
    """The programmes of a fixture's channels; a channel that is not named stays off."""

    channels: Mapping[str, ChannelProgramme]

    @property
    def span_h(self) -> tuple[float, float] | None:
        """First and last time of any channel, or None for an empty programme. [h]"""
        if not self.channels:
            return None
        return (
            min(float(c.time_h[0]) for c in self.channels.values()),
            max(float(c.time_h[-1]) for c in self.channels.values()),
        )
