"""The lag of corals behind their light against closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.judge.acclimation import acclimated_dose, steady_mismatch, weeks_to_rise


@pytest.mark.published
@pytest.mark.parametrize(("tau", "expected"), [(10.0, 16.2302), (20.0, 11.7512)])
def test_acclimated_dose_five_days_after_a_jump(tau: float, expected: float) -> None:
    """From 6 to 32 mol m-2 d-1, after 5 days."""
    # Closed form 32 - 26 exp(-5 / tau); the two doses are those of DiPerna et al. 2018, PLoS ONE 13:e0203882.
    assert float(acclimated_dose(6.0, 32.0, 5.0, tau)) == pytest.approx(expected, abs=5e-5)


@pytest.mark.identity
@pytest.mark.parametrize(("rise", "weeks", "mismatch"), [(0.10, 7.27, 1.27), (0.25, 3.1, 1.64)])
def test_weeks_to_double_and_steady_mismatch(rise: float, weeks: float, mismatch: float) -> None:
    """ln 2 / ln(1 + g) weeks, and 1 + 20 ln(1 + g) / 7."""
    assert weeks_to_rise(2.0, rise) == pytest.approx(weeks, abs=0.01)
    assert steady_mismatch(rise, 20.0) == pytest.approx(mismatch, abs=0.005)


@pytest.mark.identity
def test_steady_mismatch_is_the_limit_of_a_long_rise() -> None:
    """Daily small steps of a steady rise settle at the closed form."""
    rise, tau, step = 0.10, 20.0, 0.01
    dose = 1.1 ** (np.arange(0, 300, step) / 7)
    set_for = 1.0
    for value in dose:
        set_for = float(acclimated_dose(set_for, value, step, tau))
    assert dose[-1] / set_for == pytest.approx(steady_mismatch(rise, tau), rel=1e-3)


@pytest.mark.identity
def test_lag_is_additive_in_time() -> None:
    """Two stretches at one dose are one long stretch."""
    once = acclimated_dose(2.0, 9.0, 11.0, 20.0)
    assert acclimated_dose(acclimated_dose(2.0, 9.0, 4.0, 20.0), 9.0, 7.0, 20.0) == pytest.approx(once)
