"""Intervals of a calibration hold what they promise, in seeded simulations."""

from __future__ import annotations

from dataclasses import replace
from typing import NamedTuple

import numpy as np
import pytest
from fit.calibration_scenes import plan, scene, simulated, solved

from lightdose.fit.explanations import solve
from lightdose.fit.gain_problem import GainProblem, model_ln
from lightdose.model.record import FloatArray

NOISE = 0.04
TENTH = 2
"""Of 24 readings."""


class Trials(NamedTuple):
    """Share of gains inside their interval, half-widths over their bound, and outliers named and not."""

    covered: float
    width_ratio: float
    named: float
    wrongly_named: float


def problem() -> GainProblem:
    """4 channels, 24 readings (6 sites x 4 level sets), each known to 4 %."""
    setup = scene()
    readings = simulated(setup, plan(), {})
    found = solved(setup, readings).problem
    return replace(found, sd=np.full(24, NOISE))


def gain_rows(task: GainProblem) -> FloatArray:
    """Rows that turn the fitted vector into ln gains."""
    channel = task.layout.slices().channel
    rows = np.zeros((task.fixture_of.size, task.layout.size))
    for n, fixture in enumerate(task.fixture_of):
        rows[n, fixture] = rows[n, channel.start + n] = 1.0
    return rows


def run(trials: int, seed: int, outliers: int = 0) -> Trials:
    """Draw truth from the priors, readings from the truth, and fit them."""
    task, draw = problem(), np.random.default_rng(seed)
    rows = gain_rows(task)
    inside, widths, named, wrongly = [], [], [], []
    for _ in range(trials):
        truth = draw.multivariate_normal(task.mean, task.prior, method="eigh")
        expected, jacobian, _ = model_ln(task, truth)
        ln_reading = expected + NOISE * draw.normal(size=expected.size)
        wild = draw.choice(expected.size, outliers, replace=False)
        ln_reading[wild] += draw.choice([-1, 1], outliers) * np.log(2)
        fit = solve(task, ln_reading)
        half = 1.959964 * np.sqrt(np.diagonal(fit.spread(rows)))
        inside.append(np.abs(rows @ (fit.value - truth)) <= half)
        seen = jacobian @ task.prior
        among = NOISE**2 * np.eye(len(expected)) + seen @ jacobian.T
        bound = task.prior - seen.T @ np.linalg.solve(among, seen)
        widths.append(half / (1.959964 * np.sqrt(np.diagonal(rows @ bound @ rows.T))))
        named.append(fit.outlier[wild])
        wrongly.append(np.delete(fit.outlier, wild))
    hits = float(np.mean(named)) if outliers else 1.0
    return Trials(float(np.mean(inside)), float(np.median(widths)), hits, float(np.mean(wrongly)))


@pytest.mark.identity
def test_gain_intervals_cover_the_truth_in_200_trials() -> None:
    """95 % intervals hold 88-99 % of 200 truths, no wider than 1.3 times the least-squares bound."""
    result = run(200, seed=1)
    assert 0.88 <= result.covered <= 0.99
    assert result.width_ratio <= 1.3
    assert result.wrongly_named < 0.005


@pytest.mark.identity
def test_gains_survive_a_tenth_of_readings_off_by_two_in_200_trials() -> None:
    """Coverage stays at 90 % or more and the outliers are named."""
    result = run(200, seed=2, outliers=TENTH)
    assert result.covered >= 0.90
    assert result.named >= 0.95


@pytest.mark.slow
@pytest.mark.identity
def test_gain_intervals_cover_the_truth_in_2000_trials() -> None:
    """95 % intervals hold 93-97 % of 2,000 truths, no wider than 1.3 times the least-squares bound."""
    result = run(2000, seed=3)
    assert 0.93 <= result.covered <= 0.97
    assert result.width_ratio <= 1.3


@pytest.mark.slow
@pytest.mark.identity
def test_gains_survive_a_tenth_of_readings_off_by_two_in_2000_trials() -> None:
    """Coverage stays at 90 % or more and the outliers are named in 95 % of cases or more."""
    result = run(2000, seed=4, outliers=TENTH)
    assert result.covered >= 0.90
    assert result.named >= 0.95
