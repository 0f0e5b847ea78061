"""Channel outputs that come closest to wanted photon doses: bounded least squares with an equal dose."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.model.arrays import FloatArray
from lightdose.model.record import dataclass

EQUAL_DOSE_WEIGHT = 1e4
"""One pair: its dose is all but a condition."""

SHARED_DOSE_WEIGHT = 1.0
"""Several pairs: their doses count as much as all their colours. Our choice."""

SPLIT_WEIGHT = 1e-2
"""Keeps like channels in today's proportion unless the doses say otherwise. Our choice."""

LEAST_WEIGHT = 1e-7
"""Tells apart what the doses do not: less output is better."""

OFF_BELOW = 1e-6
"""Outputs below are no light. Our choice: a thousandth of the least level that controllers take."""


@dataclass(frozen=True, eq=False)
class MatchTask:
    """What the other tank can give at full output all through the day's shape, and what is wanted.

    Attributes
    ----------
    bands : array, shape (n_pair, n_channel, n_band). [mol m-2 d-1]
    dose : array, shape (n_pair, n_channel); of 400-700 nm. [mol m-2 d-1]
    wanted_bands : array, shape (n_pair, n_band). [mol m-2 d-1]
    wanted_dose : array, shape (n_pair,), above 0. [mol m-2 d-1]
    band_weight : array, shape (n_band,)
    like : groups of channels of one spectrum
    today : array, shape (n_channel,); hours at full output of today's programme. [h]
    """

    bands: FloatArray
    dose: FloatArray
    wanted_bands: FloatArray
    wanted_dose: FloatArray
    band_weight: FloatArray
    like: Sequence[Sequence[int]]
    today: FloatArray


def matched_outputs(task: MatchTask) -> FloatArray:
    """Plateau outputs of every channel.

    Least squares of the 10 nm doses, each pair relative to what it should get, with 0 <= u <= 1; then one
    common factor that makes the doses equal in the geometric mean over the pairs, as far as full output
    allows.

    Parameters
    ----------
    task : MatchTask

    Returns
    -------
    array, shape (n_channel,)
        Output 0-1.

    Source
    ------
    scipy.optimize.lsq_linear (bounded-variable least squares).
    """
    from scipy.optimize import lsq_linear

    matrix, wanted = _equations(task)
    found = lsq_linear(matrix, wanted, bounds=(0.0, 1.0), method="bvls", tol=1e-14, max_iter=500)
    outputs = np.clip(found.x, 0.0, 1.0)
    outputs[outputs < OFF_BELOW] = 0.0
    return with_equal_dose(outputs, task.dose, task.wanted_dose)


def with_equal_dose(outputs: FloatArray, dose: FloatArray, wanted_dose: FloatArray) -> FloatArray:
    """Outputs times a common factor, cut at full, so that the geometric mean of the dose factors is 1.

    Parameters
    ----------
    outputs : array, shape (n_channel,)
        0-1.
    dose : array, shape (n_pair, n_channel)
        At full output. [mol m-2 d-1]
    wanted_dose : array, shape (n_pair,)
        [mol m-2 d-1]

    Returns
    -------
    array, shape (n_channel,)
        Full output of every channel that runs where even that is not enough.

    Source
    ------
    Bisection: the doses rise with the factor.
    """

    def off(scaled: FloatArray) -> float:
        got = dose @ scaled
        return float(np.mean(np.log(got / wanted_dose))) if np.all(got > 0) else -math.inf

    running = outputs > 0
    full = running.astype(np.float64)
    if not running.any() or off(full) <= 0:
        return full
    low, high = 0.0, math.log(float(1 / outputs[running].min()))
    while off(np.minimum(1.0, outputs * math.exp(low))) > 0:
        low -= 1.0
    for _ in range(200):
        middle = 0.5 * (low + high)
        if off(np.minimum(1.0, outputs * math.exp(middle))) > 0:
            high = middle
        else:
            low = middle
        if high - low < 1e-15:
            break
    scaled: FloatArray = np.minimum(1.0, outputs * math.exp(0.5 * (low + high)))
    return scaled


def _equations(task: MatchTask) -> tuple[FloatArray, FloatArray]:
    """Rows and right-hand sides: 10 nm doses, doses, splits of like channels, and a trace of restraint."""
    channels = task.dose.shape[1]
    rows: list[FloatArray] = []
    wanted: list[FloatArray] = []
    for bands, target in zip(task.bands, task.wanted_bands, strict=True):
        scale = task.band_weight / max(float(np.linalg.norm(task.band_weight * target)), 1e-30)
        rows.append((bands * scale).T)
        wanted.append(target * scale)
    weight = EQUAL_DOSE_WEIGHT if len(task.dose) == 1 else SHARED_DOSE_WEIGHT
    rows.append(weight * task.dose / task.wanted_dose[:, None])
    wanted.append(np.full(len(task.dose), weight))
    for first, *others in task.like:
        proportion = task.today if np.all(task.today[[first, *others]] > 0) else np.ones(channels)
        for other in others:
            row = np.zeros((1, channels))
            row[0, first], row[0, other] = SPLIT_WEIGHT * proportion[other], -SPLIT_WEIGHT * proportion[first]
            rows.append(row / max(proportion[first], proportion[other]))
            wanted.append(np.zeros(1))
    rows.append(LEAST_WEIGHT * np.eye(channels))
    wanted.append(np.zeros(channels))
    return np.concatenate(rows), np.concatenate(wanted)
