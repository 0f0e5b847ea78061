"""Photosynthesis curves, their means over ramps, and hours at Pmax of whole days."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_light_integral
from lightdose.physics.photosynthesis import (
    MODELS,
    Model,
    Photoinhibition,
    hours_above_saturation_range,
    hours_at_pmax,
    hours_at_pmax_range,
    mean_relative_rate,
    relative_rate,
)

from .day_scenes import fixture

LIGHT = np.array([[300.0]])

# Check values: closed forms of the published curves (Jassby & Platt 1976, Webb 1974, Smith; Platt, Gallegos &
# Harrison 1980), evaluated by us when the project was laid out, not by this code.
RAMP_MEANS = [
    ("tanh", 300, 0.5702934473),
    ("webb", 300, 0.4820867734),
    ("smith", 300, 0.5351837585),
    ("tanh", 600, 0.7697761682),
    ("webb", 600, 0.6832623561),
    ("smith", 600, 0.7207592201),
]


def ramp(highest: float, model: Model, ek: float = 200.0) -> float:
    return float(mean_relative_rate(np.array(0.0), np.array(highest / ek), model))


@pytest.mark.published
@pytest.mark.parametrize(("model", "highest", "expected"), RAMP_MEANS)
def test_ramp_mean_equals_the_closed_form(model: Model, highest: float, expected: float) -> None:
    """Mean of P/Pmax over a ramp from 0 with Ek 200."""
    assert ramp(highest, model) == pytest.approx(expected, abs=1e-10)


@pytest.mark.published
@pytest.mark.parametrize(
    ("model", "light_over_ek"), [("tanh", 1.831781), ("webb", 2.995732), ("smith", 3.042435)]
)
def test_light_at_95_percent_equals_the_inverse_curve(model: Model, light_over_ek: float) -> None:
    """Each curve reaches 95 % of Pmax at its own x: atanh 0.95, -ln 0.05, 0.95/sqrt(1-0.95^2)."""
    # Source: the curves of Jassby & Platt 1976, Webb 1974 and Smith, inverted in closed form.
    assert relative_rate(np.array(light_over_ek), model) == pytest.approx(0.95, abs=1e-7)


@pytest.mark.identity
@pytest.mark.parametrize("model", MODELS)
def test_curves_rise_with_slope_1_and_saturate_at_1(model: Model) -> None:
    """Ek is where the initial slope meets Pmax, in every curve."""
    assert relative_rate(np.array(1e-6), model) == pytest.approx(1e-6, rel=1e-5)
    assert relative_rate(np.array(1e4), model) == pytest.approx(1, abs=1e-8)
    assert ramp(0.0, model) == 0


@given(st.sampled_from(MODELS), st.floats(0, 20), st.floats(0, 20), st.floats(0, 1))
@pytest.mark.identity
def test_splitting_a_ramp_keeps_its_mean(model: Model, first: float, last: float, share: float) -> None:
    """The mean over a ramp is the weighted mean over its two parts, level or steep."""
    middle = first + share * (last - first)
    whole = mean_relative_rate(np.array(first), np.array(last), model)
    parts = share * mean_relative_rate(np.array(first), np.array(middle), model) + (
        1 - share
    ) * mean_relative_rate(np.array(middle), np.array(last), model)
    assert parts == pytest.approx(whole, abs=2e-12)


@given(st.sampled_from(MODELS), st.floats(0, 20), st.floats(-2e-3, 2e-3))
@pytest.mark.identity
def test_nearly_level_ramp_has_the_rate_of_its_middle(model: Model, first: float, rise: float) -> None:
    """Where the closed form would cancel, the mean still agrees with the curve to the second order."""
    last = max(0.0, first + rise)
    mean = mean_relative_rate(np.array(first), np.array(last), model)
    assert mean == pytest.approx(relative_rate(np.array(0.5 * (first + last)), model), abs=2e-6)
    assert mean == pytest.approx(mean_relative_rate(np.array(last), np.array(first), model), abs=1e-12)


@pytest.mark.published
def test_photoinhibition_equals_the_closed_forms() -> None:
    """Ps 10, a 0.05, b 0.005: light at the peak, Pmax, Ek, and the mean over a ramp to 1000."""
    # Source of the curve: Platt, Gallegos & Harrison 1980; values by closed form, see RAMP_MEANS.
    curve = Photoinhibition(10, 0.05, 0.005)
    assert curve.peak_light_umol_m2_s == pytest.approx(479.579055, abs=1e-6)
    assert curve.pmax == pytest.approx(7.1526676563, abs=1e-10)
    assert curve.ek_umol_m2_s == pytest.approx(143.0533531, abs=1e-7)
    assert curve.mean_rate(1000) == pytest.approx(6.058635481, abs=1e-9)


@pytest.mark.identity
def test_photoinhibited_rate_peaks_where_it_says() -> None:
    """The rate at the peak light is Pmax, less beside it; its mean over a fine ramp is the closed one."""
    curve = Photoinhibition(10, 0.05, 0.005)
    at = curve.peak_light_umol_m2_s
    assert curve.rate(np.array(at)) == pytest.approx(curve.pmax, rel=1e-13)
    assert np.all(curve.rate(np.array([at - 1, at + 1])) < curve.pmax)
    light = (np.arange(20000) + 0.5) / 20000 * 1000
    assert curve.rate(light).mean() == pytest.approx(curve.mean_rate(1000), rel=1e-8)
    assert curve.mean_rate(0) == 0


@pytest.mark.published
@pytest.mark.parametrize(("model", "expected"), [("tanh", 7.7120633112), ("smith", 7.1330367999)])
def test_trapezoid_day_is_worth_its_hours_at_pmax(model: Model, expected: float) -> None:
    """Ramps of 2 h and 6 h at 300, Ek 200: DLI 8.64; hours at Pmax by closed form (see RAMP_MEANS)."""
    curve = day_curve([fixture()])
    assert daily_light_integral(LIGHT, curve)[0] == pytest.approx(8.64, rel=1e-12)
    assert hours_at_pmax(LIGHT, curve, 200, model)[0] == pytest.approx(expected, abs=1e-10)


@pytest.mark.published
@pytest.mark.parametrize(
    ("hours", "expected"), [(6, 5.204799), (8, 6.065927), (10, 6.604722), (12, 6.951338), (16, 7.343850)]
)
def test_same_dose_over_more_hours_is_worth_more(hours: int, expected: float) -> None:
    """Square days of DLI 10 with Ek 350, tanh: hours x tanh(10 / (0.0036 x hours x 350))."""
    # Source: Jassby & Platt 1976, closed form; evaluated by us when the project was laid out, as RAMP_MEANS.
    curve = day_curve([fixture(programmes={"b": [(6, 1), (6 + hours, 1)]})])
    light = np.array([[10 / (0.0036 * hours)]])
    assert hours_at_pmax(light, curve, 350, "tanh")[0] == pytest.approx(expected, abs=1e-6)
    assert hours * math.tanh(light[0, 0] / 350) == pytest.approx(expected, abs=1e-6)


@pytest.mark.identity
def test_averaging_the_light_first_overstates() -> None:
    """Jensen: the curve of the mean light exceeds the mean of the curve."""
    curve = day_curve([fixture(programmes={"b": [(8, 0), (18, 1)]})])
    for model in MODELS:
        right = hours_at_pmax(LIGHT, curve, 200, model)[0]
        assert 10 * relative_rate(np.array(150 / 200), model) > 1.05 * right


@pytest.mark.identity
def test_range_of_ek_gives_ordered_hours() -> None:
    """The high Ek gives the low hours, each site apart; hours above saturation likewise."""
    curve = day_curve([fixture()])
    response = np.array([[300.0], [120.0], [0.0]])
    low, high = hours_at_pmax_range(response, curve, (100, 250), "smith")
    assert np.all(low[:2] < high[:2])
    assert low[0] == hours_at_pmax(response, curve, 250, "smith")[0]
    assert (low[2], high[2]) == (0, 0)
    least, most = hours_above_saturation_range(response, curve, (100, 250))
    assert most == pytest.approx([10 - 4 / 3, 10 - 4 * 100 / 120, 0], abs=1e-12)
    assert least == pytest.approx([10 - 4 * 250 / 300, 0, 0], abs=1e-12)


@pytest.mark.identity
def test_unknown_model_and_ek_of_zero_are_refused() -> None:
    """A curve we do not know and an Ek of 0 have no hours."""
    curve = day_curve([fixture()])
    with pytest.raises(ValueError, match="known: tanh, webb, smith"):
        relative_rate(np.array(1.0), "steele")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="Ek is above 0"):
        hours_at_pmax(LIGHT, curve, 0.0, "tanh")
    with pytest.raises(ValueError, match="above 0"):
        Photoinhibition(10, 0.05, 0)
