"""From outputs to levels and back, and what a controller can take."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.fit.tuning_schedule import (
    OutputShape,
    channel_programme,
    level_points,
    outputs_to_try,
    written_hours,
)
from lightdose.model.fixture import ChannelProgramme, DimmingCurve
from lightdose.model.plans import Controller, DayShape
from lightdose.physics.day_curve import output_points

DAY = DayShape(8.0, 2.0, 6.0, 2.0)
BENT = DimmingCurve(np.array([0, 0.1, 0.5, 1.0]), np.array([0, 0.07, 0.46, 1.0]))
FLAT = DimmingCurve(np.array([0, 0.1, 0.4, 0.6, 1.0]), np.array([0, 0.0, 0.5, 0.5, 1.0]))


@pytest.mark.identity
@given(
    st.lists(st.integers(0, 20), min_size=1, max_size=4),
    st.lists(st.floats(0, 1), min_size=3, max_size=6),
)
def test_inverse_dimming_gives_back_the_course_of_output(rises: list[int], course: list[float]) -> None:
    """output(level(t)) is the wanted output at every time, whatever the curve, level stretches included."""
    steps = np.concatenate([[0], np.cumsum(rises), [sum(rises) + 5]]) / (sum(rises) + 5)
    dimming = DimmingCurve(np.linspace(0, 1, steps.size), steps)
    time = np.arange(len(course), dtype=float)
    wanted = np.array(course)
    got_time, got = output_points(ChannelProgramme(*level_points(time, wanted, dimming)), dimming)
    asked = np.linspace(0, time[-1], 97)
    assert np.interp(asked, got_time, got) == pytest.approx(np.interp(asked, time, wanted), abs=1e-9)


@pytest.mark.identity
@pytest.mark.parametrize("dimming", [DimmingCurve.linear(), BENT, FLAT])
def test_written_trapezoid_gives_its_hours(dimming: DimmingCurve) -> None:
    """To rounding of levels and minutes the programme gives plateau plus half the ramps at its output."""
    programme = channel_programme(OutputShape.trapezoid(DAY), 0.8, dimming, Controller())
    assert written_hours(programme, dimming) == pytest.approx(0.8 * DAY.equivalent_h, rel=2e-3)


@pytest.mark.identity
@pytest.mark.parametrize("dimming", [DimmingCurve.linear(), BENT, FLAT])
@pytest.mark.parametrize(
    "controller", [Controller(4, 15, 0.05, True), Controller(5, 10, 0.0, True), Controller(None, 30, 0.12)]
)
def test_programme_keeps_within_what_the_controller_takes(
    dimming: DimmingCurve, controller: Controller
) -> None:
    """Points, times, least level and whole percents; the corners of the day stay."""
    programme = channel_programme(
        OutputShape.trapezoid(DayShape(22.5, 1.5, 5.0, 2.0)), 0.73, dimming, controller
    )
    minutes = 60 * programme.time_h
    percents = 100 * programme.level
    assert controller.most_points is None or programme.time_h.size <= controller.most_points
    assert np.round(minutes / controller.time_step_min) * controller.time_step_min == pytest.approx(minutes)
    assert percents.min() >= 100 * controller.least_level - 1e-9
    step = 1 if controller.whole_percents else 0.1
    assert np.round(percents / step) * step == pytest.approx(percents)
    assert (programme.time_h[0], programme.time_h[-1]) == pytest.approx((22.5, 31.0))


@pytest.mark.identity
def test_level_next_to_a_wanted_output_is_one_the_controller_holds() -> None:
    """Both neighbours in whole percents, nearest first, none above the cap; off below the least level."""
    whole = Controller(whole_percents=True)
    linear = DimmingCurve.linear()
    assert outputs_to_try(0.432, linear, whole, 1.0) == pytest.approx((0.43, 0.44))
    assert outputs_to_try(0.436, linear, whole, 0.4361) == pytest.approx((0.43,))
    assert outputs_to_try(0.02, linear, Controller(least_level=0.05, whole_percents=True), 1.0) == (
        pytest.approx((0.0, 0.05))
    )


@pytest.mark.identity
def test_channel_that_stays_off_is_two_points_at_nothing() -> None:
    """Off from the day's first to its last time."""
    programme = channel_programme(OutputShape.trapezoid(DAY), 0.0, BENT, Controller(least_level=0.1))
    assert programme.level.tolist() == [0.0, 0.0]
    assert programme.time_h.tolist() == [8.0, 18.0]
