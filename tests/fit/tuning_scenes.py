"""Small tasks for `tune`: corals, channels and days made by hand."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lightdose.fit.tuning_problem import DayLimits, TuneTask
from lightdose.model.record import FloatArray


def task(
    response: Sequence[Sequence[float]],
    bands: Sequence[tuple[float, float]],
    *,
    peak_max: Sequence[float] | None = None,
    mix: FloatArray | None = None,
    today_h: Sequence[float] | None = None,
    power: Sequence[float] | None = None,
) -> TuneTask:
    """A task of one fixture without further rows."""
    light, band = np.array(response, dtype=float), np.array(bands, dtype=float)
    channels = light.shape[1]
    return TuneTask(
        response=light,
        low=band[:, 0],
        high=band[:, 1],
        peak_max=np.full(len(band), np.inf) if peak_max is None else np.array(peak_max, dtype=float),
        mix=np.eye(channels) if mix is None else mix,
        today_h=np.zeros(channels) if today_h is None else np.array(today_h, dtype=float),
        weight=light.mean(axis=0) / light.mean(axis=0).sum(),
        fixture=np.zeros(channels, dtype=np.intp),
        power=np.zeros(channels) if power is None else np.array(power, dtype=float),
        rows=np.zeros((0, channels)),
        limits=np.zeros(0),
    )


def day(hours: float, channels: int, most: float = 1.0) -> DayLimits:
    """A day worth so many hours at full output, its plateau an hour or longer."""
    return DayLimits(np.zeros(channels), np.full(channels, most * hours), np.ones((1, channels)), 1 / hours)
