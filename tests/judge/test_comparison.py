"""The split of a change, draws of ratios, and electricity of a whole setup."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.judge.comparison import Factors, RatioDraws, running_cost, split
from lightdose.model.results import FixtureUse

positive = st.floats(1e-6, 1e4)


def factors(peak: float, hours: float, *fractions: float) -> Factors:
    """Factors that multiply to their doses."""
    dli = 0.0036 * peak * hours
    return Factors(dli, peak, hours, tuple(dli * f for f in fractions))


@pytest.mark.identity
@given(
    positive,
    st.floats(0.01, 24),
    positive,
    st.floats(0.01, 24),
    st.lists(st.floats(0.01, 1), min_size=8, max_size=8),
)
def test_logarithms_add_to_1e_12(peak_a, hours_a, peak_b, hours_b, fractions):
    """Usable dose = 0.0036 x peak x hours x fraction, so logarithms add, and turn with A and B."""
    a, b = factors(peak_a, hours_a, *fractions[:4]), factors(peak_b, hours_b, *fractions[4:])
    there, back = split(a, b), split(b, a)
    assert there.ln_intensity + there.ln_time == pytest.approx(there.ln_dli, abs=1e-12)
    assert there.ln_dli + there.ln_colour.default == pytest.approx(there.ln_total, abs=1e-12)
    ratios = [math.log(y / x) for x, y in zip(fractions[:4], fractions[4:], strict=True)]
    assert there.ln_colour.default == pytest.approx(ratios[0], abs=1e-12)
    assert there.ln_colour.low == pytest.approx(min(ratios), abs=1e-12)
    assert there.ln_colour.high == pytest.approx(max(ratios), abs=1e-12)
    assert back.ln_total == -there.ln_total
    assert back.ln_colour.low == pytest.approx(-there.ln_colour.high, abs=1e-12)


@pytest.mark.identity
def test_zero_doses_leave_the_split_open():
    """ln of 0 is not stated; without usable photons the photons still split."""
    lit, dark = factors(100, 9, 0.8, 0.7, 0.9, 0.95), Factors(0.0, 0.0, math.nan, (0.0,) * 4)
    for one, other in ((lit, dark), (dark, lit), (dark, dark)):
        found = split(one, other)
        assert (
            found.ln_dli is found.ln_intensity is found.ln_time is found.ln_total is found.ln_colour is None
        )
    useless = factors(100, 9, 0.0, 0.0, 0.0, 0.0)
    found = split(lit, useless)
    assert (found.ln_dli, found.ln_total, found.ln_colour) == (0, None, None)


@pytest.mark.identity
def test_ratio_draws_pair_the_same_world():
    """Noise that both share leaves the ratio as it is; a place that may be dark has no interval."""
    noise = np.random.default_rng(3).lognormal(0, 0.3, 4000)
    draws = RatioDraws({}, {})
    channels = np.ones((1, noise.size))
    draws.see_before(0, 4 * noise, channels)
    draws.see_after(0, 6 * noise, channels)
    draws.see_before(1, np.maximum(noise - 1, 0), channels)
    draws.see_after(1, noise, channels)
    assert draws.ratio[0] == pytest.approx((1.5, 1.5), rel=1e-6)
    assert 1 not in draws.ratio
    assert draws.before == {}


@pytest.mark.identity
def test_running_cost_adds_fixtures():
    """Energy and cost are sums, efficacy is photons over joules; one unknown leaves the sum unknown."""
    one, two = FixtureUse("a", 0.2, 20.0, "EUR", 2.0), FixtureUse("b", 0.6, 60.0, "EUR", 1.0)
    total = running_cost((one, two))
    assert (total.energy_kwh_d, total.cost_per_year, total.currency) == (pytest.approx(0.8), 80.0, "EUR")
    assert total.photon_efficacy_umol_j == pytest.approx((0.2 * 2 + 0.6 * 1) / 0.8)
    unknown = running_cost((one, FixtureUse("b", None, None, "EUR", None)))
    assert unknown.energy_kwh_d is unknown.cost_per_year is unknown.photon_efficacy_umol_j is None
    idle = running_cost((one, FixtureUse("b", 0.0, 0.0, "EUR", None)))
    assert idle.photon_efficacy_umol_j == 2.0
    assert running_cost(()).energy_kwh_d == 0
