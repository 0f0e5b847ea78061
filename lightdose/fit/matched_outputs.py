"""Outputs of channels that come nearest to a wanted light at other places.

Three things are wanted: the dose of a day at the places, the look of the lamps (chromaticity of what they
emit in a day), and the photons of each 10 nm. The dose comes first; look and spectrum are weighed.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.model.record import FloatArray, dataclass

DOSE_WEIGHT = 1e4
"""The mean dose over the pairs is all but a condition."""

PAIR_WEIGHT = 1.0
"""With several pairs each dose counts as much as all its colours, and no less than the look. Our choice."""

LOOK_WEIGHTS = (0.0, 0.1, 0.3, 1.0, 3.0, 10.0, 30.0, 100.0, 1000.0)
"""What 1 in CIE x or y counts against missing all 10 nm doses: from the nearest spectrum to the nearest look.
Our choice."""

LOOK_ROUNDS, HALVINGS = 40, 20
"""Steps towards the look, and how often one is halved, at most."""

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
    tristimulus : array, shape (n_channel, 3); X, Y, Z of what each channel emits at full output
    wanted_xy : CIE 1931 chromaticity wanted
    """

    bands: FloatArray
    dose: FloatArray
    wanted_bands: FloatArray
    wanted_dose: FloatArray
    band_weight: FloatArray
    like: Sequence[Sequence[int]]
    today: FloatArray
    tristimulus: FloatArray
    wanted_xy: tuple[float, float]

    def look(self, outputs: FloatArray) -> FloatArray:
        """x and y of what these outputs emit; NaN where that is nothing."""
        sums = outputs @ self.tristimulus
        total = sums.sum()
        xy: FloatArray = np.divide(sums[:2], total, out=np.full(2, np.nan), where=total > 0)
        return xy


def matched_outputs(task: MatchTask, look_weight: float = 0.0) -> FloatArray:
    """Plateau outputs of every channel.

    Least squares of the 10 nm doses, each pair relative to what it should get, and of the look with its
    weight, with 0 <= u <= 1; then one common factor that makes the doses equal in the geometric mean over the
    pairs, as far as full output allows.

    Returns
    -------
    array, shape (n_channel,)
        Output 0-1.

    Source
    ------
    scipy.optimize.lsq_linear (bounded-variable least squares). Chromaticity is a ratio: its rows are those
    of its tangent, again and again (Gauss-Newton), each step halved until all squares together fall.
    """
    matrix, wanted = _equations(task, look_weight)
    outputs = _solved(matrix, wanted)

    def squares(mix: FloatArray) -> float:
        off = look_weight * (task.look(mix) - task.wanted_xy)
        return float(np.sum((matrix @ mix - wanted) ** 2) + np.sum(off**2))

    for _ in range(LOOK_ROUNDS if look_weight > 0 else 0):
        here, total = task.look(outputs), float(np.sum(outputs @ task.tristimulus))
        if not total > 0:
            break
        slope = (
            look_weight / total * (task.tristimulus[:, :2] - np.outer(task.tristimulus.sum(axis=1), here)).T
        )
        step = _solved(
            np.concatenate([matrix, slope]),
            np.concatenate([wanted, look_weight * (np.array(task.wanted_xy) - here)]),
        )
        best, before = outputs, squares(outputs)
        for share in 0.5 ** np.arange(HALVINGS):
            tried = outputs + share * (step - outputs)
            if squares(tried) < before:
                best = tried
                break
        if np.abs(best - outputs).max() < 1e-9:
            break
        outputs = best
    outputs[outputs < OFF_BELOW] = 0.0
    return with_equal_dose(outputs, task.dose, task.wanted_dose)


def _solved(matrix: FloatArray, wanted: FloatArray) -> FloatArray:
    from scipy.optimize import lsq_linear

    found = lsq_linear(matrix, wanted, bounds=(0.0, 1.0), method="bvls", tol=1e-14, max_iter=500)
    outputs: FloatArray = np.clip(found.x, 0.0, 1.0)
    return outputs


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


def _equations(task: MatchTask, look_weight: float) -> tuple[FloatArray, FloatArray]:
    """Rows and right-hand sides: 10 nm doses, doses, splits of like channels, and a trace of restraint."""
    channels = task.dose.shape[1]
    rows: list[FloatArray] = []
    wanted: list[FloatArray] = []
    for bands, target in zip(task.bands, task.wanted_bands, strict=True):
        scale = task.band_weight / max(float(np.linalg.norm(task.band_weight * target)), 1e-30)
        rows.append((bands * scale).T)
        wanted.append(target * scale)
    relative = task.dose / task.wanted_dose[:, None]
    each = PAIR_WEIGHT * max(1.0, look_weight)
    rows += [each * relative, DOSE_WEIGHT * relative.mean(axis=0)[None, :]]
    wanted += [np.full(len(relative), each), np.array([DOSE_WEIGHT])]
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
