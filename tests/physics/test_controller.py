"""Programmes as a controller takes them: what is kept, what is given up, and that it is the least."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.model.fixture import ChannelProgramme, DimmingCurve
from lightdose.model.plans import Controller
from lightdose.physics.controller import held_programme, rounded_levels
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
    if np.round(programme.time_h[0] * 60 / step) == np.round(programme.time_h[-1] * 60 / step):
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
    assert held_programme(dark, CURVE, Controller(least_level=0.1, time_step_min=30)) is dark
