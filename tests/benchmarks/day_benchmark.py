"""Exact days against a one-minute grid: ``python tests/benchmarks/day_benchmark.py``.

1,000 sites x 8 channels, each channel with 50 breakpoints of its own. Both ways start from the same response
matrix and the same programmes; the last ratio of a scene includes building the days from the programmes, by
``np.interp`` on 1,440 minutes for the grid. One BLAS thread for both: on a machine with other work, threads
that wait for one another cost either side ten times its own time.
"""

from __future__ import annotations

import os
import sys

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

import numpy as np
from rows import best_s, row

from lightdose.model.fixture import (
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Programme,
)
from lightdose.model.light import DayCurve
from lightdose.model.record import FloatArray
from lightdose.model.spectrum import LedPeak
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_light_integral, peak_and_photoperiod

SITES, CHANNELS, POINTS = 1_000, 8, 50
ROUNDS = 100
MINUTE_H = np.arange(1440) / 60
LEAST_RATIO_ALL, LEAST_RATIO_DLI, CLOSED_FORM_TOLERANCE = 4.0, 50.0, 1e-12


def scene(*, smooth: bool) -> tuple[Fixture, FloatArray]:
    """Eight channels with days at times of their own, and a response matrix.

    Smooth ones rise and fall; the others stand at random levels, where hardly a breakpoint can be left out.
    """
    rng = np.random.default_rng(1)
    programmes = {}
    for n in range(CHANNELS):
        inner = np.sort(rng.uniform(6, 20, POINTS - 2))
        time_h = np.concatenate([[5.0 + 0.01 * n], inner, [21.0 + 0.01 * n]])
        shape = np.sin(np.pi * (time_h - time_h[0]) / (time_h[-1] - time_h[0])) * rng.uniform(0.3, 1)
        level = np.clip(shape if smooth else rng.uniform(0, 1, POINTS), 0, 1)
        level[[0, -1]] = 0
        programmes[f"c{n}"] = ChannelProgramme(time_h, level)
    channels = tuple(
        Channel(name, LedPeak(450, 20), CosineLobe(120), DimmingCurve.linear()) for name in programmes
    )
    lamp = Fixture("lamp", FixtureType("made", channels), 0.3, 0.2, 0.2, Programme(programmes))
    return lamp, rng.uniform(5, 80, (SITES, CHANNELS))


def minute_outputs(lamp: Fixture) -> FloatArray:
    """Outputs of all channels on the minutes of the day; (n_channel, 1440)."""
    return np.array(
        [np.interp(MINUTE_H, p.time_h, p.level, left=0, right=0) for p in lamp.programme.channels.values()]
    )


def grid_dli(response: FloatArray, output: FloatArray) -> FloatArray:
    """One matrix product and a sum."""
    dli: FloatArray = (response @ output).sum(axis=1) * (0.0036 / 60)
    return dli


def grid_all(response: FloatArray, output: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """One matrix product, then sum, maximum and count."""
    day = response @ output
    peak = day.max(axis=1)
    return (
        day.sum(axis=1) * (0.0036 / 60),
        peak,
        np.count_nonzero(day > 0.05 * peak[:, None], axis=1) / 60,
    )


def exact_all(response: FloatArray, curve: DayCurve) -> tuple[FloatArray, FloatArray, FloatArray]:
    """The same three, exact."""
    return daily_light_integral(response, curve), *peak_and_photoperiod(response, curve)


def closed_form_gap(lamp: Fixture, response: FloatArray, curve: DayCurve) -> float:
    """Largest relative difference of the DLI from the trapezoids of every channel, added up by hand."""
    hours = [
        sum(
            (t1 - t0) * (a + b) / 2
            for t0, t1, a, b in zip(p.time_h, p.time_h[1:], p.level, p.level[1:], strict=False)
        )
        for p in lamp.programme.channels.values()
    ]
    closed = 0.0036 * np.array([sum(r * h for r, h in zip(row, hours, strict=True)) for row in response])
    return float(np.max(np.abs(daily_light_integral(response, curve) / closed - 1)))


def compare(name: str, lamp: Fixture, response: FloatArray) -> bool:
    """The ratios of one scene; whether all reach their marks."""
    curve, output = day_curve([lamp]), minute_outputs(lamp)
    rows = (
        ("DLI, peak, photoperiod", LEAST_RATIO_ALL, grid_all, exact_all, False),
        ("DLI alone", LEAST_RATIO_DLI, grid_dli, daily_light_integral, False),
        ("all three, days built within", 0.0, grid_all, exact_all, True),
    )
    reached = True
    for title, least, grid, exact, build in rows:
        slow, quick = best_s(
            lambda grid=grid, build=build: grid(response, minute_outputs(lamp) if build else output),
            lambda exact=exact, build=build: exact(response, day_curve([lamp]) if build else curve),
            rounds=ROUNDS,
        )
        reached &= row(
            f"one-minute grid over exact {title}, {name}, {SITES} sites x {CHANNELS} channels",
            f"{slow / quick:.1f} ({1e3 * slow:.2f} ms / {1e3 * quick:.2f} ms)",
            f"at least {least:g}" if least else "-",
            met=slow / quick >= least,
        )
    gap = closed_form_gap(lamp, response, curve)
    mark = f"{CLOSED_FORM_TOLERANCE:g}"
    return reached & row(
        f"DLI against closed forms, {name}", f"{gap:.1e}", mark, met=gap <= CLOSED_FORM_TOLERANCE
    )


def main() -> int:
    """Both scenes; exit 1 when one misses a mark."""
    results = [
        compare("smooth days", *scene(smooth=True)),
        compare("random levels", *scene(smooth=False)),
    ]
    return int(not all(results))


if __name__ == "__main__":
    sys.exit(main())
