"""The linear programs of `tune` against brute force, closed forms and exact properties."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from fit.tuning_scenes import day, task
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import InfeasibleError
from lightdose.fit.tuning_problem import best_day, least_violation, most_light, violation_of

HOURS = 8.0


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(4))
def test_least_violation_equals_brute_force_within_the_step_of_its_grid(seed: int) -> None:
    """No point of a grid of 101 levels in three channels is better; its best is as near as a step allows."""
    random = np.random.default_rng(seed)
    light = random.uniform(20, 300, (5, 3))
    low = random.uniform(1, 8, 5)
    made = task(light, [(a, 1.6 * a) for a in low], peak_max=random.uniform(150, 500, 5))  # type: ignore[arg-type]
    limits = day(HOURS, 3)
    found = least_violation(made, limits)
    assert found is not None
    levels = np.linspace(0, 1, 101)
    grid = np.array(list(product(levels, repeat=3))) * HOURS
    dose = 0.0036 * grid @ light.T
    worth = (
        np.maximum(0, 1 - dose / made.low)
        + np.maximum(0, dose / made.high - 1)
        + np.maximum(0, grid / HOURS @ light.T / made.peak_max - 1)
    ).sum(axis=1)
    # One step of a level moves the violation by at most its slope times half a step in each channel.
    slope = (0.0036 * HOURS * light / made.low[:, None] + light / made.peak_max[:, None]).sum()
    assert found.violation <= worth.min() + 1e-7
    assert worth.min() - found.violation <= slope * 0.005
    assert violation_of(made, limits, found.v_h) == pytest.approx(found.violation, abs=1e-6)


@pytest.mark.identity
@given(st.lists(st.tuples(st.floats(20, 200), st.floats(1, 6), st.floats(1.2, 3)), min_size=1, max_size=5))
def test_locked_mix_serves_all_exactly_where_the_intervals_of_its_factor_meet(
    corals: list[tuple[float, float, float]],
) -> None:
    """With one factor k each coral needs low/D <= k <= high/D; all are served where these intersect."""
    light = np.array([[a, 0.5 * a] for a, _, _ in corals])
    bands = [(low, low * wide) for _, low, wide in corals]
    mix = np.array([[0.4], [0.7]])
    made = task(light.tolist(), bands, mix=mix, today_h=[0.4 * HOURS, 0.7 * HOURS])
    dose = made.dose(made.today_h)
    lowest, highest = float(np.max(made.low / dose)), float(np.min(made.high / dose))
    found = least_violation(made, day(HOURS, 2, most=50))
    assert found is not None
    if lowest < highest * (1 - 1e-6):
        assert found.violation == pytest.approx(0, abs=1e-6)
        factor = found.v_h[0] / made.today_h[0]
        assert lowest * (1 - 1e-5) <= factor <= highest * (1 + 1e-5)
        assert found.v_h[1] / made.today_h[1] == pytest.approx(factor)
    elif lowest > highest * (1 + 1e-4):
        assert found.violation > 0


@pytest.mark.identity
def test_answer_scales_with_the_bands() -> None:
    """Twice the bands and peak limits ask for twice the outputs; twice the light for half of them."""
    light = [[120.0, 60.0, 30.0], [50.0, 70.0, 20.0]]
    made = task(light, [(2.0, 3.0), (1.4, 1.9)], peak_max=[180, 90], today_h=[1, 1, 1])
    _, once = best_day(made, [day(HOURS, 3)], [0], "change")
    doubled = replace(
        made, low=2 * made.low, high=2 * made.high, peak_max=2 * made.peak_max, today_h=2 * made.today_h
    )
    _, twice = best_day(doubled, [day(HOURS, 3, most=2)], [0], "change")
    assert twice.v_h == pytest.approx(2 * once.v_h, abs=1e-5)
    brighter = replace(made, response=2 * made.response, today_h=made.today_h / 2)
    _, half = best_day(brighter, [day(HOURS, 3, most=0.5)], [0], "change")
    assert half.v_h == pytest.approx(once.v_h / 2, abs=1e-5)


@pytest.mark.identity
def test_programme_inside_every_band_changes_nothing() -> None:
    """The least change is none, on the day nearest to today's."""
    made = task([[100.0, 50.0]], [(1.0, 4.0)], today_h=[4.0, 3.0])
    index, found = best_day(made, [day(h, 2) for h in (6.0, 7.0, 8.0)], [1, 0, 2], "change")
    assert index == 1
    assert found.v_h == pytest.approx([4.0, 3.0], abs=1e-5)


@pytest.mark.identity
def test_least_change_stops_at_the_edge_of_the_band_and_keeps_the_mix() -> None:
    """A coral below its band rises to the edge; of equal changes the one in today's mix is taken."""
    made = task([[100.0, 50.0]], [(3.0, 6.0)], today_h=[4.0, 3.0])
    _, found = best_day(made, [day(HOURS, 2, most=3)], [0], "change")
    assert made.dose(found.v_h) == pytest.approx([3.0], abs=1e-5)
    assert found.v_h / made.today_h == pytest.approx([3.0 / 1.98] * 2, rel=0.03)


@pytest.mark.identity
def test_margin_puts_a_lone_coral_in_the_middle_of_its_band() -> None:
    """min(D - low, high - D) / (high - low) is largest, one half, in the middle."""
    made = task([[100.0, 50.0]], [(2.0, 4.0)], today_h=[4.0, 3.0])
    _, found = best_day(made, [day(HOURS, 2, most=3)], [0], "margin")
    assert made.dose(found.v_h) == pytest.approx([3.0], abs=1e-5)
    assert found.cost == pytest.approx(-0.5, abs=1e-6)


@pytest.mark.identity
def test_least_energy_takes_the_channel_with_most_light_per_watt() -> None:
    """Two channels, one coral: only the thriftier one runs, and just enough."""
    made = task([[100.0, 50.0]], [(2.0, 4.0)], today_h=[4.0, 3.0], power=[30.0, 10.0])
    _, found = best_day(made, [day(HOURS, 2, most=3)], [0], "energy")
    assert found.v_h == pytest.approx([0.0, 2.0 / (0.0036 * 50)], abs=1e-4)


@pytest.mark.identity
def test_longer_day_is_taken_only_where_a_channel_is_at_full() -> None:
    """6 h at full output are too few and 8 h enough: the nearest day that serves the coral is chosen."""
    made = task([[100.0]], [(0.0036 * 100 * 7.4, 5.0)], today_h=[5.0])
    days = [day(h, 1) for h in (6.0, 7.0, 7.5, 8.0)]
    index, found = best_day(made, days, [0, 1, 2, 3], "change")
    assert index == 2
    assert found.violation == pytest.approx(0, abs=1e-6)


@pytest.mark.identity
def test_peak_limit_counts_like_the_band() -> None:
    """A dose that only a bright short day can give is paid for by the peak, and the longer day avoids it."""
    made = task([[100.0]], [(2.0, 4.0)], peak_max=[75.0], today_h=[5.0])
    short, long = least_violation(made, day(6.0, 1, most=2)), least_violation(made, day(9.0, 1, most=2))
    assert short is not None
    assert long is not None
    # 2 mol in 6 h: 92.6 umol m-2 s-1. Dose and peak cost alike below the limit: D = low, peak over by 0.2346.
    assert short.violation == pytest.approx(min(2 / 0.0036 / 6 / 75 - 1, 1 - 0.0036 * 75 * 6 / 2), abs=1e-6)
    assert long.violation == pytest.approx(0, abs=1e-6)


@pytest.mark.identity
def test_most_light_of_one_under_the_limit_of_another_is_their_ratio() -> None:
    """One channel: while the other stays at 3, this one gets 3 times the ratio of their responses."""
    made = task([[200.0], [80.0]], [(8.0, 15.0), (1.0, 3.0)])
    assert most_light(made, day(20.0, 1), 0, 1) == pytest.approx(3 * 200 / 80)


@pytest.mark.identity
def test_bounds_without_a_common_point_are_refused() -> None:
    """A row that no output can keep leaves nothing."""
    made = task([[100.0]], [(1.0, 2.0)])
    closed = replace(made, rows=np.array([[1.0]]), limits=np.array([-1.0]))
    with pytest.raises(InfeasibleError):
        best_day(closed, [day(8.0, 1)], [0], "change")
