"""Closest outputs: exact where they exist, split as today, equal in dose."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from present.made_match import made_light, made_pair

from lightdose.fit.matched_outputs import LOOK_WEIGHTS, MatchTask, matched_outputs, with_equal_dose
from lightdose.fit.matching import between
from lightdose.model.record import FloatArray


def task_of(
    bands: FloatArray,
    outputs: FloatArray,
    like: list[list[int]] | None = None,
    today: FloatArray | None = None,
) -> MatchTask:
    """A task that these outputs solve exactly; bands (n_pair, n_channel, n_band), dose their sum."""
    dose = bands.sum(axis=2)
    return MatchTask(
        bands=bands,
        dose=dose,
        wanted_bands=np.einsum("c,pcb->pb", outputs, bands),
        wanted_dose=dose @ outputs,
        band_weight=np.ones(bands.shape[2]),
        like=like or [],
        today=np.ones(bands.shape[1]) if today is None else today,
        tristimulus=np.ones((bands.shape[1], 3)),
        wanted_xy=(1 / 3, 1 / 3),
    )


@pytest.mark.identity
@pytest.mark.parametrize("pairs", [1, 3])
def test_outputs_that_exist_are_found(pairs: int) -> None:
    """Independent channels, any outputs between off and full: recovered, off stays off."""
    random = np.random.default_rng(4)
    bands = random.uniform(0, 1, (pairs, 6, 30))
    outputs = np.array([0.2, 0.0, 1.0, 0.55, 0.9, 0.03])
    assert matched_outputs(task_of(bands, outputs)) == pytest.approx(outputs, abs=1e-6)


@pytest.mark.identity
def test_missing_channel_has_the_closed_form_of_least_squares() -> None:
    """Two separate wanted colours, one channel for the first: equal dose puts all photons there."""
    bands = np.array([[[2.0, 0.0]]])
    task = replace(
        task_of(bands, np.ones(1)), wanted_bands=np.array([[1.0, 0.5]]), wanted_dose=np.array([1.5])
    )
    assert matched_outputs(task) == pytest.approx([0.75], rel=1e-9)


@pytest.mark.identity
def test_like_channels_keep_their_proportion_of_today() -> None:
    """One place cannot tell two lamps of one spectrum apart: 3 to 1 stays 3 to 1."""
    bands = np.array([[[1.0, 0.2], [0.5, 0.1]]])
    outputs = np.array([0.6, 0.2])
    found = matched_outputs(task_of(bands, outputs, [[0, 1]], np.array([9.0, 3.0])))
    assert found == pytest.approx(outputs, rel=1e-4)
    even = matched_outputs(task_of(bands, outputs, [[0, 1]], np.array([9.0, 0.0])))
    assert even[0] == pytest.approx(even[1], rel=1e-4)


@pytest.mark.identity
@given(st.floats(0.05, 1), st.floats(0.05, 1), st.floats(0.1, 30))
def test_common_factor_makes_the_geometric_mean_one_or_all_full(
    one: float, two: float, wanted: float
) -> None:
    """Either the product of the factors is 1, or every running channel is at full output."""
    dose = np.array([[3.0, 1.0], [0.5, 4.0]])
    target = np.array([wanted, 0.7 * wanted])
    found = with_equal_dose(np.array([one, two]), dose, target)
    factors = dose @ found / target
    if np.all(found == 1):
        assert np.prod(factors) <= 1 + 1e-9
    else:
        assert np.prod(factors) == pytest.approx(1, rel=1e-9)
    assert np.all(found <= 1)


@pytest.mark.identity
def test_no_running_channel_stays_dark() -> None:
    """Nothing on is nothing scaled."""
    assert with_equal_dose(np.zeros(2), np.ones((1, 2)), np.ones(1)).tolist() == [0, 0]


def coloured(seed: int) -> MatchTask:
    """An invented task whose channels cannot give both the bands and the look that are wanted."""
    random = np.random.default_rng(seed)
    task = task_of(random.uniform(0, 1, (1, 5, 12)), np.full(5, 0.4))
    wanted = task.wanted_bands * random.uniform(0.2, 1.8, 12)
    return replace(
        task, wanted_bands=wanted, tristimulus=random.uniform(0.05, 1, (5, 3)), wanted_xy=(0.25, 0.2)
    )


def off(task: MatchTask, outputs: FloatArray) -> tuple[float, float]:
    """How far the look and the bands of these outputs are off."""
    sums = task.tristimulus.T @ outputs
    bands = outputs @ task.bands[0] - task.wanted_bands[0]
    return float(np.hypot(*(sums[:2] / sums.sum() - task.wanted_xy))), float(np.linalg.norm(bands))


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(8))
def test_heavier_look_is_nearer_in_look_and_further_in_bands(seed: int) -> None:
    """The trade-off is monotone in the weight, and the dose stays equal all along."""
    task = coloured(seed)
    found = [matched_outputs(task, weight) for weight in LOOK_WEIGHTS]
    looks, bands = zip(*(off(task, outputs) for outputs in found), strict=True)
    assert np.all(np.diff(looks) <= 1e-6)
    assert np.all(np.diff(bands) >= -1e-4 * bands[-1])
    assert looks[-1] < looks[0]
    for outputs in found:
        assert task.dose[0] @ outputs == pytest.approx(task.wanted_dose[0], rel=1e-9)


@pytest.mark.identity
def test_look_is_met_where_the_channels_can() -> None:
    """Three channels that span the wanted chromaticity give it, whatever the bands."""
    task = task_of(np.ones((1, 3, 4)) * np.array([1.0, 2.0, 1.5])[None, :, None], np.full(3, 0.3))
    task = replace(task, tristimulus=np.array([[6.0, 2, 1], [1, 7, 1], [3, 1, 9]]), wanted_xy=(0.31, 0.29))
    assert off(task, matched_outputs(task, LOOK_WEIGHTS[-1]))[0] < 1e-4


@pytest.mark.identity
def test_settings_that_another_outdoes_in_both_are_left_out() -> None:
    """Settings that are nearer in one remain, the nearest look first; a dose that is reached goes before."""
    light = made_light(made_pair("a", "b", 1.0))
    looks, spectra = (0.01, 0.02, 0.03, 0.04), (0.30, 0.20, 0.25, 0.199)
    some = [
        replace(light, look_off=look, spectrum_off=spectrum)
        for look, spectrum in zip(looks, spectra, strict=True)
    ]
    assert [one.look_off for one in between(some[::-1])] == [0.01, 0.02]
    assert between([replace(some[0], reached=False), some[1]]) == (some[1],)
