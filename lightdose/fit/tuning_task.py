"""What `tune` solves: corals with their bands, channels with their bounds, and how far a day is from them."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass
from lightdose.quantities import MOL_PER_UMOL_S_H


@dataclass(frozen=True, eq=False)
class TuneTask:
    """The corals, the channels and what binds them, whatever the length of the day.

    Attributes
    ----------
    response : array, shape (n_coral, n_channel); PPFD at full output. [umol m-2 s-1]
    low, high : array, shape (n_coral,); bounds of the daily dose. [mol m-2 d-1]
    peak_max : array, shape (n_coral,); limit of the brightest hour, infinite where there is none
    mix : array, shape (n_channel, n_free); v = mix @ y; identity where every channel is free
    today_h : array, shape (n_channel,); today's hours at full output. [h]
    weight : array, shape (n_channel,); price of a change of v, PPFD at the corals
    fixture : array of int, shape (n_channel,); which fixture a channel belongs to
    power : array, shape (n_channel,); price of v in energy
    rows, limits : array, shapes (n_row, n_channel) and (n_row,); further rows @ v <= limits
    """

    response: FloatArray
    low: FloatArray
    high: FloatArray
    peak_max: FloatArray
    mix: FloatArray
    today_h: FloatArray
    weight: FloatArray
    fixture: npt.NDArray[np.intp]
    power: FloatArray
    rows: FloatArray
    limits: FloatArray

    def dose(self, v_h: FloatArray) -> FloatArray:
        """Daily dose of every coral. [mol m-2 d-1]"""
        dose: FloatArray = MOL_PER_UMOL_S_H * (self.response @ v_h)
        return dose


@dataclass(frozen=True, eq=False)
class DayLimits:
    """What one day allows.

    Attributes
    ----------
    least_h, most_h : array, shape (n_channel,); bounds of v. [h]
    windows : array, shape (n_window, n_channel); from v to each channel's mean output in hours that may be
        the brightest, relative to ``per_hour``
    per_hour : float; common factor of the windows. [h-1]
    """

    least_h: FloatArray
    most_h: FloatArray
    windows: FloatArray
    per_hour: float


@dataclass(frozen=True, eq=False)
class TuneSolution:
    """The best v of one day, and the value of each stage."""

    v_h: FloatArray
    violation: float
    cost: float


def violation_of(task: TuneTask, limits: DayLimits, v_h: FloatArray) -> float:
    """How far corals are out of their bands, added up.

    Parameters
    ----------
    task : TuneTask
    limits : DayLimits
    v_h : array, shape (n_channel,)
        Hours at full output. [h]

    Returns
    -------
    float
        Sum of max(0, 1 - D/low) + max(0, D/high - 1) + max(0, peak/limit - 1).

    Source
    ------
    Definition of the first stage; our choice.
    """
    dose = task.dose(v_h)
    low = np.where(task.low > 0, task.low, 1.0)
    short = np.where(task.low > 0, np.maximum(0.0, 1 - dose / low), 0.0)
    over = np.maximum(0.0, dose / task.high - 1)
    peak = (task.response @ (limits.per_hour * limits.windows * v_h).T).max(axis=1)
    glare = np.maximum(0.0, peak / task.peak_max - 1)
    return float(np.sum(short + over + glare))
