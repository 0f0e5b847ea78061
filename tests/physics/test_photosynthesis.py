"""Photosynthesis curves, their means over ramps, and hours at Pmax of whole days."""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.model.light import DayCurve
from lightdose.physics.day_curve import day_curve, output_at
from lightdose.physics.dose import (
    MODELS,
    Model,
    daily_light_integral,
    hours_at_pmax,
    mean_relative_rate,
    over_ek_range,
    photons_beyond,
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
    """The high Ek gives the low figures, each site apart; the dark one has no share of photons."""
    curve = day_curve([fixture()])
    response = np.array([[300.0], [120.0], [0.0]])
    low, high = np.full(3, 100.0), np.full(3, 250.0)
    found = over_ek_range(response, curve, low, high, "smith")
    least, most = found["hours_at_pmax_h"]
    assert np.all(least[:2] < most[:2])
    assert least[0] == hours_at_pmax(response, curve, 250, "smith")[0]
    assert (least[2], most[2]) == (0, 0)
    least, most = found["hours_above_saturation_h"]
    assert most == pytest.approx([10 - 4 / 3, 10 - 4 * 100 / 120, 0], abs=1e-12)
    assert least == pytest.approx([10 - 4 * 250 / 300, 0, 0], abs=1e-12)
    least, most = found["photons_beyond_saturation_fraction"]
    # On 300: trapezoid of 8 h in all; above 100, ramps of 4/3 h and 6 h of 200.
    assert most == pytest.approx([(6 + 4 / 3) * 200 / 2400, (6 + 4 / 12) * 20 / 960, np.nan], nan_ok=True)
    assert least == pytest.approx([(6 + 1 / 3) * 50 / 2400, 0, np.nan], nan_ok=True)


@pytest.mark.published
@pytest.mark.parametrize("model", MODELS)
def test_day_with_ramps_and_a_jump_agrees_with_numerical_integration(model: Model) -> None:
    """Hours at Pmax, and the photons beyond Ek, of two channels with dimming: adaptive quadrature, scipy."""
    # Source: scipy.integrate.quad (QUADPACK), split at the breakpoints and the crossings only by itself.
    from scipy.integrate import quad

    curve = day_curve(
        [
            fixture(
                programmes={
                    "b": [(7, 0), (9.5, 0.8), (15, 0.3), (15, 0.9), (19, 0)],
                    "v": [(10, 0.2), (22, 1)],
                }
            )
        ]
    )
    response = np.array([[260.0, 90.0]])
    edges = curve.edge_h

    def integral(of: Callable[[float], float]) -> float:
        return sum(
            quad(
                lambda t: of(float((response @ output_at(curve, t).T)[0, 0])), a, b, limit=400, epsabs=1e-11
            )[0]
            for a, b in zip(edges[:-1], np.nextafter(edges[1:], 0), strict=True)
        )

    for ek in (60.0, 180.0):
        hours = integral(lambda light, ek=ek: float(relative_rate(np.array(light / ek), model)))  # type: ignore[misc]
        assert hours_at_pmax(response, curve, ek, model)[0] == pytest.approx(hours, abs=2e-9)
        beyond = integral(lambda light, ek=ek: max(0.0, light - ek)) / integral(lambda light: light)  # type: ignore[misc]
        assert photons_beyond(response, curve, ek)[0] == pytest.approx(beyond, abs=1e-8)
        assert 0.01 < beyond < 0.9


@given(st.floats(0, 400), st.floats(0, 400), st.floats(1, 500))
@pytest.mark.identity
def test_photons_beyond_saturation_are_those_that_capping_takes_away(
    first: float, last: float, ek: float
) -> None:
    """One ramp: what lies above Ek in closed form, by its two ends; none where Ek is not passed."""
    curve = DayCurve(np.array([0.0, 24.0]), np.array([[first]]), np.array([[last]]))
    share = photons_beyond(np.array([[1.0]]), curve, ek)[0]
    low, high = min(first, last), max(first, last)
    if high == 0:
        assert np.isnan(share)
        return
    above = max(0.0, high - ek) ** 2 - max(0.0, low - ek) ** 2
    wide = high - low > 1e-3 * high and high > ek  # else the square of 1e-162 is divided by
    expected = above / (high**2 - low**2) if wide else max(0.0, 1 - ek / high)
    assert share == pytest.approx(expected, abs=2e-3 if high - low <= 1e-3 * high else 1e-9)


@pytest.mark.identity
@pytest.mark.parametrize("model", MODELS)
def test_segments_of_a_day_have_the_means_of_single_ramps(model: Model) -> None:
    """Steep, level, dark and nearly dark segments of a day add up as one by one."""
    points = [
        (6, 0),
        (7, 1e-6),
        (8, 0.9),
        (9, 0.9),
        (10, 0.9001),
        (11, 0.2),
        (12, 0),
        (13, 0),
        (20, 1),
        (20.5, 0),
    ]
    curve = day_curve([fixture(programmes={"b": points})])
    time, level = np.array(points, dtype=float).T
    means = mean_relative_rate(1.7 * level[:-1], 1.7 * level[1:], model)
    hours = hours_at_pmax(np.array([[170.0]]), curve, 100, model)[0]
    assert hours == pytest.approx(float(means @ np.diff(time)), abs=1e-12)


@pytest.mark.identity
def test_many_sites_come_out_as_one_by_one() -> None:
    """Blocks of sites change nothing: 300 sites under a day of 3,000 points, each as if alone."""
    times = np.linspace(1, 23, 3000)
    points = [(float(t), float(0.5 + 0.5 * np.sin(7 * t))) for t in times]
    curve = day_curve([fixture(programmes={"b": points})])
    response, ek = np.linspace(10, 800, 300)[:, None], np.linspace(50, 500, 300)
    hours, share = hours_at_pmax(response, curve, ek, "tanh"), photons_beyond(response, curve, ek)
    for i in (0, 131, 132, 133, 299):
        alone = response[i : i + 1]
        assert hours[i] == pytest.approx(hours_at_pmax(alone, curve, float(ek[i]), "tanh")[0], rel=1e-12)
        assert share[i] == pytest.approx(photons_beyond(alone, curve, float(ek[i]))[0], abs=1e-13)


@pytest.mark.identity
def test_unknown_model_and_ek_of_zero_are_refused() -> None:
    """A curve we do not know and an Ek of 0 have no hours."""
    curve = day_curve([fixture()])
    with pytest.raises(ValueError, match="known: tanh, webb, smith"):
        relative_rate(np.array(1.0), "steele")  # type: ignore[arg-type]
    with pytest.raises(ValueError, match="Ek is above 0"):
        hours_at_pmax(LIGHT, curve, 0.0, "tanh")
    with pytest.raises(ValueError, match="Ek is above 0"):
        photons_beyond(LIGHT, curve, -1.0)
