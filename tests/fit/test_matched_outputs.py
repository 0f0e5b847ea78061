"""Closest outputs: exact where they exist, split as today, equal in dose."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.fit.matching import MatchTask, matched_outputs, with_equal_dose
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
    task = MatchTask(
        bands, bands.sum(axis=2), np.array([[1.0, 0.5]]), np.array([1.5]), np.ones(2), [], np.ones(1)
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
