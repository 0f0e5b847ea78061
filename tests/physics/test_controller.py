"""Programmes as a controller takes them: what is kept, what is given up, and that it is the least."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.model.fixture import ChannelProgramme, Dial, DimmingCurve, day_later_h
from lightdose.model.plans import Controller
from lightdose.physics.controller import held_dial, held_programme, rounded_levels
from lightdose.physics.day_curve import output_points

CURVE = DimmingCurve(np.array([0.0, 0.1, 0.5, 1.0]), np.array([0.0, 0.07, 0.46, 1.0]))


@st.composite
def courses(draw: st.DrawFn) -> ChannelProgramme:
    """Points on whole minutes at tenths of a percent, at least one of them lit."""
    minutes = sorted(draw(st.sets(st.integers(300, 1300), min_size=3, max_size=9)))
    marks = draw(st.lists(st.integers(0, 1000), min_size=len(minutes), max_size=len(minutes)).filter(any))
    return ChannelProgramme(np.array(minutes) / 60, np.array(marks) / 1000)


def photons(programme: ChannelProgramme) -> float:
    """Hours at full output, by trapezoids over the bends of output."""
    time_h, output = output_points(programme, CURVE)
    return float(np.trapezoid(output, time_h))


@pytest.mark.identity
@given(courses())
def test_controller_that_takes_all_changes_nothing(programme: ChannelProgramme) -> None:
    """Tenths of a percent on whole minutes come back as they are."""
    made = held_programme(programme, CURVE, Controller())
    assert made.time_h.tolist() == programme.time_h.tolist()
    assert made.level.tolist() == programme.level.tolist()


@pytest.mark.identity
@given(courses(), st.sampled_from([5, 10, 15, 30]))
def test_times_are_multiples_of_the_step(programme: ChannelProgramme, step: int) -> None:
    """Each time is the nearest step; first and last level stay; nothing new appears."""
    made = held_programme(programme, CURVE, Controller(time_step_min=step))
    first, last = np.floor(programme.time_h[[0, -1]] * 60 / step + 0.5 + 1e-6)  # halfway is the later one
    if first == last:
        assert made.time_h.tolist() == programme.time_h.tolist()  # shorter than a step: left as it is
        return
    steps = made.time_h * 60 / step
    assert steps == pytest.approx(np.round(steps), abs=1e-9)
    assert set(made.level.tolist()) <= set(programme.level.tolist())
    assert (made.level[0], made.level[-1]) == (programme.level[0], programme.level[-1])
    assert abs(made.time_h[0] - programme.time_h[0]) <= step / 120 + 1e-9


@pytest.mark.identity
@given(courses(), st.integers(1, 400))
def test_running_channel_is_never_under_its_least_level(programme: ChannelProgramme, mark: int) -> None:
    """Below the least level it is that level; above it the course is what it was, to the minute."""
    least = mark / 1000
    made = held_programme(programme, CURVE, Controller(least_level=least))
    assert made.level.min() >= least - 1e-12
    assert set(programme.time_h.tolist()) <= set(made.time_h.tolist())
    at_points = np.interp(programme.time_h, made.time_h, made.level)
    assert at_points == pytest.approx(np.maximum(programme.level, least), abs=5e-4)


@pytest.mark.identity
@given(courses(), st.integers(4, 6))
def test_few_points_keep_the_ends_and_cost_least(programme: ChannelProgramme, most: int) -> None:
    """At most so many points of the old ones; of one too many, the one whose loss changes least."""
    made = held_programme(programme, CURVE, Controller(most_points=most))
    assert made.time_h.size == min(most, programme.time_h.size)
    assert (made.time_h[0], made.time_h[-1]) == (programme.time_h[0], programme.time_h[-1])
    old = dict(zip(programme.time_h.tolist(), programme.level.tolist(), strict=True))
    assert all(old[t] == v for t, v in zip(made.time_h.tolist(), made.level.tolist(), strict=True))
    if programme.time_h.size == most + 1:
        whole = photons(programme)
        time, level = programme.time_h, programme.level
        losses = [
            abs(photons(ChannelProgramme(np.delete(time, i), np.delete(level, i))) - whole)
            for i in range(1, time.size - 1)
        ]
        assert abs(photons(made) - whole) == pytest.approx(min(losses), abs=1e-12)


@pytest.mark.identity
@given(st.lists(st.floats(0, 1), min_size=1, max_size=20), st.booleans())
def test_levels_are_rounded_to_what_can_be_typed(levels: list[float], whole: bool) -> None:
    """Whole percents or tenths, the nearest, within 0 to 100; a blank cell stays blank."""
    steps = 100 if whole else 1000
    made = rounded_levels(np.array([*levels, np.nan]), Controller(whole_percents=whole))
    assert np.isnan(made[-1])
    assert made[:-1] * steps == pytest.approx(np.round(made[:-1] * steps), abs=1e-9)
    assert np.all(np.abs(made[:-1] - np.array(levels)) <= 0.5 / steps + 1e-12)
    assert np.all((made[:-1] >= 0) & (made[:-1] <= 1))


@pytest.mark.identity
def test_channel_that_stays_off_is_left_alone() -> None:
    """No least level lights it."""
    dark = ChannelProgramme(np.array([8.0, 18.0]), np.array([0.0, 0.0]))
    made = held_programme(dark, CURVE, Controller(least_level=0.1, time_step_min=30))
    assert (made.time_h.tolist(), made.level.tolist()) == ([8, 18], [0, 0])


@pytest.mark.identity
def test_day_that_moves_by_half_a_minute_keeps_its_lengths() -> None:
    """Halfway is the later minute everywhere: ramps and plateau last as long as before, off channels too."""
    time = np.array([8.5, 11.5, 17.5, 21.0]) - 7.5 / 60
    for level in (np.array([0, 0.5, 0.5, 0]), np.zeros(4)):
        made = held_programme(ChannelProgramme(time, level), CURVE, Controller())
        assert made.time_h * 60 == pytest.approx([503, 683, 1043, 1253])
        assert made.level.tolist() == level.tolist()


@pytest.mark.identity
def test_programme_around_the_clock_stays_a_day_long() -> None:
    """A start at 23:59:40 is midnight, and 24 hours on steps that part no day are no longer than a day."""
    start = 24 - 20 / 3600
    around = ChannelProgramme(np.array([start, 36.0, day_later_h(start)]), np.array([0.1, 0.5, 0.1]))
    assert held_programme(around, CURVE, Controller()).time_h.tolist() == [0, 12, 24]
    late = held_programme(around, CURVE, Controller(time_step_min=7)).time_h * 60
    assert late[0] == 0
    assert late[-1] == pytest.approx(1435)


@pytest.mark.identity
def test_overall_setting_keeps_its_rows_in_minutes_and_tenths() -> None:
    """Rows of one minute are one row, a jump stays two; blanks stay blank, values are tenths."""
    nan = np.nan
    time = np.array([8 + 20 / 3600, 10 - 10 / 3600, 10 + 10 / 3600, 14, 14, 18])
    overall = np.array([80.04, nan, 80.04, 80.04, 40.06, 40.06]) / 100
    blue = np.array([0, 50.11, nan, 50.11, 20.07, 0]) / 100
    white = np.array([0, nan, 30.33, 30.33, 30.33, 0]) / 100
    made = held_dial(Dial(time, overall, {"blue": blue, "white": white}), Controller())
    assert made.time_h.tolist() == [8, 10, 14, 14, 18]
    assert made.overall.tolist() == [0.8, 0.8, 0.8, 0.401, 0.401]
    assert made.levels["blue"].tolist() == [0, 0.501, 0.501, 0.201, 0]
    assert made.levels["white"].tolist() == [0, 0.303, 0.303, 0.303, 0]
    whole = held_dial(Dial(time, overall, {"blue": blue}), Controller(whole_percents=True))
    assert whole.levels["blue"].tolist() == [0, 0.5, 0.5, 0.2, 0]
