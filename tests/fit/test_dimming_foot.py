"""The foot of the dimming comes back from readings at low levels, and is not seen where there is none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fit.calibration_scenes import REQUEST, SITES, plan, reading, scene, simulated

from lightdose.analysis import analyse
from lightdose.files.library import reference_tables
from lightdose.fit.calibration import calibrate
from lightdose.model.calibration import CalibrationFit
from lightdose.model.fixture import DimmingCurve
from lightdose.model.setup import Setup, with_calibration
from lightdose.model.spectrum import Reading

GAINS = {"violet": 0.84, "blue": 0.90, "cyan": 0.94, "red": 0.87}
LEVELS = (0.04, 0.08, 0.12, 0.2, 0.3, 0.6, 1.0)
RAMP = tuple(reading(n + 2, {"blue": level}, site=SITES[1]) for n, level in enumerate(LEVELS))


def with_foot(setup: Setup, foot: float) -> Setup:
    (fixture,) = setup.fixtures
    channels = tuple(replace(c, dimming=c.dimming.from_foot(foot)) for c in fixture.type.channels)
    return replace(setup, fixtures=(replace(fixture, type=replace(fixture.type, channels=channels)),))


def ramp(foot: float, noise: float = 0.0) -> CalibrationFit:
    """A fit to one channel at seven levels, rounded as a meter shows it."""
    setup = scene()
    full = simulated(setup, tuple(replace(r, levels={("left", "blue"): 1.0}) for r in RAMP), GAINS)
    output = [max(level - foot, 0) / (1 - foot) for level in LEVELS]
    off = np.exp(noise * np.random.default_rng(3).normal(size=len(RAMP)))
    rounded = [
        replace(r, value=float(round(f.value * o * e)))
        for r, f, o, e in zip(RAMP, full, output, off, strict=True)
    ]
    return calibrate(setup, rounded, reference_tables(), {}, REQUEST)


@pytest.mark.identity
@pytest.mark.parametrize("foot", [0.03, 0.06, 0.10, 0.15])
def test_foot_comes_back_from_readings_at_several_levels(foot: float) -> None:
    """To 1.5 points, within its interval; readings of 0 below it are named and used for nothing else."""
    found = ramp(foot, noise=0.02)
    (lamp,) = found.calibration.feet
    assert lamp.output == pytest.approx(foot, abs=0.015)
    assert lamp.interval_95[0] <= foot <= lamp.interval_95[1]
    dark = [r.place.line for r, level in zip(RAMP, LEVELS, strict=True) if level <= foot]
    told = [f.where for f in found.findings if f.key == "below_foot"]
    assert told == ([f"line{'s' if len(dark) > 1 else ''} {', '.join(map(str, dark))}"] if dark else [])
    assert not any(r.outlier for r in found.residuals)
    assert {r.line for r in found.residuals} == {r.place.line for r in RAMP} - set(dark)
    blue = next(g for g in found.calibration.gains if g.channel == "blue")
    assert blue.interval_95[0] < GAINS["blue"] < blue.interval_95[1]


@pytest.mark.identity
def test_no_foot_is_seen_where_the_curve_holds() -> None:
    """Neither in exact readings nor in scattered ones, nor where no reading is low."""
    assert ramp(0.0).calibration.feet == ()
    assert ramp(0.0, noise=0.05).calibration.feet == ()
    setup = scene()
    readings: tuple[Reading, ...] = simulated(setup, plan(), GAINS)
    assert calibrate(setup, readings, reference_tables(), {}, REQUEST).calibration.feet == ()


@pytest.mark.identity
def test_doses_follow_the_foot() -> None:
    """A calibrated setup dims from the foot: its dose is that of a file with such a curve."""
    setup = scene()
    found = ramp(0.10).calibration
    (lamp,) = found.feet
    measured = analyse(with_calibration(setup, found)).dose.dli
    by_hand = analyse(with_calibration(with_foot(setup, lamp.output), replace(found, feet=()))).dose.dli
    np.testing.assert_allclose(measured, by_hand, rtol=1e-12)
    assert np.all(measured < analyse(with_calibration(setup, replace(found, feet=()))).dose.dli)


@pytest.mark.identity
@pytest.mark.parametrize("foot", [0.0, 0.05, 0.3, 0.7])
def test_curve_from_a_foot_is_dark_up_to_it_and_straight_above(foot: float) -> None:
    """Exact at every level, for straight, bent and flat curves; never falls, ends at full output."""
    curves = (
        DimmingCurve.linear(),
        DimmingCurve(np.array([0, 0.3, 0.6, 1]), np.array([0, 0.1, 0.1, 1.0])),
        DimmingCurve(np.array([0, 0.5, 1]), np.array([0.1, 0.4, 1.0])),
    )
    for curve in curves:
        moved = curve.from_foot(foot)
        levels = np.linspace(0, 1, 301)
        before = np.interp(levels, curve.level, curve.output)
        after = np.interp(levels, moved.level, moved.output)
        np.testing.assert_allclose(after, np.maximum(before - foot, 0) / (1 - foot), atol=1e-12)
