"""Hours of a changed day in closed form, against the day curve of the changed programmes."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from lightdose.errors import ScheduleError
from lightdose.model.fixture import Dial, DimmingCurve, Fixture
from lightdose.physics.changed_day import (
    DayChange,
    Plateau,
    channel_hours,
    headroom,
    moved_times,
    plateau_of,
    with_levels,
    with_times,
)
from lightdose.physics.day_curve import day_curve, full_output_hours

from .day_scenes import Points, fixture

CURVES = (
    DimmingCurve.linear(),
    DimmingCurve(np.array([0.0, 0.1, 0.5, 1.0]), np.array([0.0, 0.07, 0.46, 1.0])),
    DimmingCurve(np.array([0.0, 1.0]), np.array([0.03, 1.0])),
)
QUARTER_H = 0.25

quarters = st.integers(1, 12).map(lambda n: n * QUARTER_H)
levels = st.integers(0, 20).map(lambda n: n / 20)


@st.composite
def courses(draw: st.DrawFn, plateau: Plateau, lit: st.SearchStrategy[float]) -> Points:
    """A course through the plateau, with bends and jumps on its ramps, at times on the quarter hour."""
    up, down = draw(quarters), draw(quarters)
    top = draw(lit)
    before = [(plateau.start_h - up, draw(levels)), (plateau.start_h - up / 2, draw(levels))]
    if draw(st.booleans()):
        before.append((plateau.start_h, draw(levels)))  # a jump
    after = [(plateau.end_h + down, draw(levels))]
    if draw(st.booleans()):
        after.insert(0, (plateau.end_h, draw(levels)))
    return (*before, (plateau.start_h, top), (plateau.end_h, top), *after)


@st.composite
def beside(draw: st.DrawFn, plateau: Plateau) -> Points:
    """A course that has ended before the plateau, or begins after it."""
    away, long, top = draw(quarters), draw(quarters), draw(levels)
    if draw(st.booleans()):
        last = plateau.start_h - away
        return ((last - long, top), (last, draw(levels)))
    return ((plateau.end_h + away, top), (plateau.end_h + away + long, draw(levels)))


@st.composite
def days(draw: st.DrawFn) -> tuple[Plateau, Fixture]:
    """A fixture with one channel through the plateau and others through it, dark along it, or beside it.

    The plateau may stand anywhere, so programmes may pass midnight on either side.
    """
    length = draw(st.integers(12, 24)) * QUARTER_H
    start = draw(st.integers(0, 96).map(lambda n: n * QUARTER_H).filter(lambda h: h + length <= 24))
    plateau = Plateau(start, start + length)
    kinds = st.one_of(courses(plateau, levels), courses(plateau, st.just(0.0)), beside(plateau))
    runs = {"a": draw(courses(plateau, st.just(0.6))), "b": draw(kinds), "c": draw(kinds)}
    runs = {name: on_the_clock(points) for name, points in runs.items()}
    return plateau, fixture(programmes=runs, dimming=draw(st.sampled_from(CURVES)))


def on_the_clock(points: Points) -> Points:
    """The same course beginning between 0 and 24 h."""
    by = 24 * math.floor(points[0][0] / 24)
    return [(time - by, level) for time, level in points]


changes = st.builds(
    DayChange,
    st.integers(-6, 6).map(lambda n: n / 2),
    st.sampled_from([0.5, 1.0, 1.5, 2.0]),
    st.sampled_from([0.5, 1.0, 1.5, 2.0]),
)
factors = st.lists(st.floats(0.05, 4.0), min_size=3, max_size=3)


def in_closed_form(lamp: Fixture, factor: list[float], plateau: Plateau, change: DayChange) -> np.ndarray:
    """Hours of each channel by ``channel_hours``."""
    return np.array(
        [
            channel_hours(lamp.programme.channels[c.name], c.dimming, np.array([f]), plateau).at(change)[0]
            for c, f in zip(lamp.type.channels, factor, strict=True)
        ]
    )


@pytest.mark.identity
@given(days(), factors, changes)
def test_hours_equal_those_of_the_changed_programmes(
    day: tuple[Plateau, Fixture], factor: list[float], change: DayChange
) -> None:
    """Levels multiplied and held at full, the plateau longer or shorter, ramps stretched: the same hours."""
    plateau, lamp = day
    made = with_times(with_levels(lamp, factor), plateau, change)
    whole = full_output_hours(day_curve([made]))
    assert in_closed_form(lamp, factor, plateau, change) == pytest.approx(whole, abs=1e-9)


@pytest.mark.identity
@given(days(), st.floats(0.1, 1.0), changes)
def test_overall_factor_stays_a_dial(day: tuple[Plateau, Fixture], factor: float, change: DayChange) -> None:
    """Where a dial stands apart from the levels it alone changes, and gives the same hours."""
    plateau, lamp = day
    assume(all(p.time_h[-1] <= 24 for p in lamp.programme.channels.values()))
    time = np.unique(np.concatenate([p.time_h for p in lamp.programme.channels.values()]))
    columns = {n: np.interp(time, p.time_h, p.level) for n, p in lamp.programme.channels.items()}
    dial = Dial(time, np.full(time.size, 0.9), columns)
    lamp = Fixture(lamp.name, lamp.type, 0.1, 0.1, 0.2, dial.programme())
    made = with_times(with_levels(lamp, [factor] * 3), plateau, change)
    now = made.programme.dial
    assert now is not None
    assert now.plateau == pytest.approx(0.9 * factor, abs=1e-12)
    for name, column in columns.items():
        assert now.levels[name].tolist() == column.tolist()
    plain = Fixture(lamp.name, lamp.type, 0.1, 0.1, 0.2, type(lamp.programme)(lamp.programme.channels))
    same = with_times(with_levels(plain, [factor] * 3), plateau, change)
    assert full_output_hours(day_curve([made])) == pytest.approx(
        full_output_hours(day_curve([same])), abs=1e-9
    )


@pytest.mark.identity
@given(days())
def test_no_change_is_no_change(day: tuple[Plateau, Fixture]) -> None:
    """The same day moves no time; a factor of 1 moves no level."""
    plateau, lamp = day
    made = with_times(with_levels(lamp, [1.0] * 3), plateau, DayChange())
    for name, programme in lamp.programme.channels.items():
        assert made.programme.channels[name].time_h.tolist() == pytest.approx(programme.time_h.tolist())
        assert made.programme.channels[name].level.tolist() == programme.level.tolist()


@pytest.mark.identity
@given(days(), changes)
def test_plateau_grows_around_its_middle(day: tuple[Plateau, Fixture], change: DayChange) -> None:
    """Both ends of the plateau move by half, what goes before and after is stretched from there."""
    plateau, _ = day
    ends = np.array([plateau.start_h - 1, plateau.start_h, plateau.end_h, plateau.end_h + 1])
    half = 0.5 * change.longer_h
    wanted = [
        plateau.start_h - half - change.up,
        plateau.start_h - half,
        plateau.end_h + half,
        plateau.end_h + half + change.down,
    ]
    moved = moved_times(ends, plateau, change)
    by = 24 * round((moved[0] - wanted[0]) / 24)  # a programme begins between 0 and 24 h
    assert moved - by == pytest.approx(wanted, abs=1e-9)


@pytest.mark.identity
def test_day_that_would_overtake_itself_is_refused() -> None:
    """What runs at night is not run over by a longer day."""
    plateau = Plateau(8.0, 16.0)
    night = np.array([22.0, 23.0, 25.0, 26.0])
    assert moved_times(night, plateau, DayChange(1.0)).tolist() == [22.5, 23.5, 24.5, 25.5]
    with pytest.raises(ScheduleError, match="as long as that"):
        moved_times(night, plateau, DayChange(3.0))


@pytest.mark.identity
def test_longest_stretch_at_the_brightest_is_the_plateau() -> None:
    """All channels stand still there; a dimmer stretch is not it; a day of ramps has its brightest part."""
    lamp = fixture(
        programmes={
            "a": [(8, 0), (9, 0.2), (12, 0.2), (13, 0.8), (16, 0.8), (18, 0)],
            "b": [(9, 0), (14, 0.5), (15.5, 0.5), (17, 0)],
        }
    )
    assert plateau_of([lamp], np.array([1.0, 1.0])) == Plateau(14.0, 15.5)
    assert plateau_of([lamp], np.array([1.0, 0.0])) == Plateau(14.0, 15.5)
    ramps = fixture(programmes={"a": [(8, 0), (12, 1), (16, 0)]})
    assert plateau_of([ramps], np.array([1.0])) == Plateau(11.8, 12.2)  # 95 % of the highest and more
    assert plateau_of([ramps], np.array([0.0])) is None


@pytest.mark.identity
@given(days())
def test_headroom_takes_the_highest_level_to_full(day: tuple[Plateau, Fixture]) -> None:
    """Times that factor the highest level is 1, and no level was cut on the way."""
    _, lamp = day
    factor = headroom(lamp)
    highest = [p.level.max() for p in with_levels(lamp, [factor] * 3).programme.channels.values()]
    assert max(highest) == pytest.approx(1.0)
    ratios = [
        new.level.max() / old.level.max()
        for new, old in zip(
            with_levels(lamp, [factor] * 3).programme.channels.values(),
            lamp.programme.channels.values(),
            strict=True,
        )
        if old.level.max() > 0
    ]
    assert ratios == pytest.approx([factor] * len(ratios))
    assert headroom(fixture(programmes={"a": [(8, 0), (9, 0)]})) == math.inf
