"""What "try a change" does to a programme of any shape."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.model.changes import TryChannel
from lightdose.model.fixture import (
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Programme,
)
from lightdose.model.spectrum import LedPeak
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.physics.programme import leading_channel, tried_channels, tried_programme

Shape = list[tuple[float, float]]

DAY: Shape = [(8.0, 0.0), (10.0, 0.6), (16.0, 0.6), (19.0, 0.0)]


def programme(points: Shape) -> ChannelProgramme:
    time, level = np.array(points).T
    return ChannelProgramme(time, level)


def lamp(
    shapes: Mapping[str, Shape | None], dimming: DimmingCurve | None = None, name: str = "lamp"
) -> Fixture:
    """A fixture whose channels have these points; None stands for a channel without a programme."""
    channels = tuple(
        Channel(n, LedPeak(450, 20), CosineLobe(120), dimming or DimmingCurve.linear()) for n in shapes
    )
    lit = {n: programme(points) for n, points in shapes.items() if points is not None}
    return Fixture(name, FixtureType("made", channels), 0.3, 0.2, 0.2, Programme(lit))


def tried(shapes: Mapping[str, Shape | None], dli: list[float] | None = None) -> tuple[TryChannel, ...]:
    fixture = lamp(shapes)
    return tried_channels((fixture,), np.array(dli or [1.0] * len(shapes)))


def points_of(made: ChannelProgramme | None) -> Shape:
    assert made is not None
    return list(zip(made.time_h.tolist(), made.level.tolist(), strict=True))


@pytest.mark.identity
def test_trapezoid_with_two_hours_more_keeps_its_ramps() -> None:
    """Both sides move by half the change; ramps last as long as before."""
    (channel,) = tried({"blue": DAY})
    longer = tried_programme(channel, 0.3, 1.0, 2.0)
    assert points_of(longer) == [(7.0, 0.0), (9.0, 0.3), (17.0, 0.3), (20.0, 0.0)]


@pytest.mark.identity
def test_level_and_factor_multiply_and_are_cut_at_full() -> None:
    """0.6 set to 0.75 under 160 % is 1.2, cut at 1; the lower points follow."""
    (channel,) = tried({"blue": [(8.0, 0.0), (9.0, 0.3), (10.0, 0.6), (16.0, 0.6), (19.0, 0.0)]})
    levels = [level for _, level in points_of(tried_programme(channel, 0.75, 1.6, 0.0))]
    assert levels == pytest.approx([0, 0.6, 1, 1, 0])


@pytest.mark.identity
def test_peak_becomes_a_top_of_the_added_hours() -> None:
    """A programme with a single highest point stands at it for as long as is added."""
    (channel,) = tried({"blue": [(8.0, 0.0), (13.0, 0.5), (18.0, 0.0)]})
    assert points_of(tried_programme(channel, 0.5, 1.0, 3.0)) == [
        (6.5, 0.0),
        (11.5, 0.5),
        (14.5, 0.5),
        (19.5, 0.0),
    ]


@pytest.mark.identity
def test_dip_between_two_tops_stretches_about_the_middle() -> None:
    """What lies between the first and the last moment at the top keeps its place as a share of it."""
    (channel,) = tried({"blue": [(8.0, 0.0), (10.0, 0.6), (12.0, 0.2), (18.0, 0.6), (19.0, 0.0)]})
    times = [time for time, _ in points_of(tried_programme(channel, 0.6, 1.0, 4.0))]
    assert times == pytest.approx([6, 8, 11, 20, 21])


@pytest.mark.identity
@pytest.mark.parametrize(("wanted", "got"), [(-5.0, 1.0), (-9.0, 0.25), (20.0, 18.75)])
def test_top_stays_between_a_quarter_hour_and_a_day(wanted: float, got: float) -> None:
    """Ramps never meet, and 15 minutes of the day stay dark."""
    (channel,) = tried({"blue": DAY})
    points = points_of(tried_programme(channel, 0.6, 1.0, wanted))
    assert points[2][0] - points[1][0] == pytest.approx(got)
    assert points[-1][0] - points[0][0] <= 23.75


@pytest.mark.identity
def test_start_before_midnight_becomes_the_evening_before() -> None:
    """A programme that would start at -1 h starts at 23 and runs over midnight: the same repeating day."""
    (channel,) = tried({"blue": [(1.0, 0.0), (2.0, 0.6), (16.0, 0.6), (19.0, 0.0)]})
    assert points_of(tried_programme(channel, 0.6, 1.0, 4.0))[0] == (23.0, 0.0)


@pytest.mark.identity
def test_dark_hours_of_a_programme_do_not_limit_its_top() -> None:
    """Zeros from 00:00 to 24:00 around a day are dark, so that the day may grow all the same."""
    (channel,) = tried({"blue": [(0.0, 0.0), *DAY, (24.0, 0.0)]})
    assert channel.time_h.tolist() == [8.0, 10.0, 16.0, 19.0]
    assert channel.top_change_h == (-5.75, 12.75)


@pytest.mark.identity
def test_night_light_keeps_its_times_when_the_plateau_grows() -> None:
    """Only tops that meet the leading one grow; over midnight counts as the night that it is."""
    night: Shape = [(21.0, 0.0), (22.0, 0.03), (30.0, 0.03), (31.0, 0.0)]
    day, moon = tried({"blue": DAY, "moon": night}, [5.0, 0.1])
    assert points_of(tried_programme(moon, 0.03, 1.0, 2.0)) == night
    assert points_of(tried_programme(day, 0.6, 1.0, 2.0))[0][0] == 7.0


@pytest.mark.identity
def test_channel_lit_around_the_clock_keeps_its_times() -> None:
    """Nothing can get longer than a day."""
    constant: Shape = [(0.0, 0.1), (12.0, 0.5), (24.0, 0.1)]
    (channel,) = tried({"blue": constant})
    assert points_of(tried_programme(channel, 0.5, 1.0, 5.0)) == constant


@pytest.mark.identity
@pytest.mark.parametrize("off", [None, [(0.0, 0.0), (24.0, 0.0)]])
def test_channel_off_all_day_takes_the_shape_of_the_brightest(off: Shape | None) -> None:
    """At level 0 it stays dark; at a level it follows the channel of its fixture that gives most light."""
    flat: Shape = [(8.0, 0.0), (12.0, 0.2), (19.0, 0.0)]
    _, _, red = tried({"white": flat, "blue": DAY, "red": off}, [1.0, 5.0, 0.0])
    assert (red.borrowed_from, red.today_level) == ("blue", 0.0)
    assert points_of(tried_programme(red, 0.1, 1.0, 0.0)) == [(t, pytest.approx(v / 6)) for t, v in DAY]
    assert not tried_programme(red, 0.0, 1.0, 0.0).level.any()  # type: ignore[union-attr]


@pytest.mark.identity
def test_channel_that_glows_at_level_0_keeps_its_dark_points_and_borrows_nothing() -> None:
    """Where level 0 gives light, points at 0 are light: they stay, and an off channel must not be lit."""
    glow = DimmingCurve(np.array([0.0, 1.0]), np.array([0.05, 1.0]))
    fixture = lamp({"blue": [(0.0, 0.0), *DAY], "red": None, "cyan": [(0.0, 0.0), (24.0, 0.0)]}, glow)
    blue, red, cyan = tried_channels((fixture,), np.array([5.0, 0.0, 0.1]))
    assert blue.time_h[0] == 0.0
    assert not red.adjustable
    assert tried_programme(red, 0.0, 1.0, 0.0) is None
    assert points_of(tried_programme(cyan, 0.0, 2.0, 3.0)) == [(0.0, 0.0), (24.0, 0.0)]


@pytest.mark.identity
def test_fixtures_that_run_nothing_have_nothing_to_lead() -> None:
    """Without a running channel there is no plateau, and every channel stays off."""
    channels = tried({"blue": None, "red": [(0.0, 0.0), (24.0, 0.0)]}, [0.0, 0.0])
    assert leading_channel(channels, np.zeros(2)) is None
    assert not any(c.adjustable for c in channels)


@st.composite
def shapes(draw: st.DrawFn) -> Shape:
    """Any programme: minutes of the clock, jumps included, over midnight or not."""
    start = draw(st.integers(0, 1439))
    steps = draw(st.lists(st.integers(0, 200), min_size=1, max_size=7).filter(lambda s: sum(s) <= 1440))
    minutes = np.cumsum([start, *steps])
    levels = draw(
        st.lists(st.sampled_from([0.0, 0.2, 0.5, 1.0]), min_size=len(minutes), max_size=len(minutes))
    )
    points: Shape = []
    for minute, level in zip(minutes.tolist(), levels, strict=True):
        if len(points) < 2 or points[-2][0] != minute / 60:
            points.append((minute / 60, level))
    return points if len(points) > 1 else [*points, (points[0][0] + 1, 0.0)]


@pytest.mark.identity
@given(shapes(), shapes(), st.sampled_from([0.3, 1.0]), st.integers(-40, 60))
def test_any_shape_stays_a_programme_and_no_change_changes_nothing(
    first: Shape, second: Shape, level: float, quarters: int
) -> None:
    """Every result is a programme of at most a day; today's settings give today's light."""
    fixture = lamp({"a": first, "b": second})
    channels = tried_channels((fixture,), np.array([2.0, 1.0]))
    same = {c.channel: tried_programme(c, c.today_level, 1.0, 0.0) for c in channels}
    again = lamp({n: None if p is None else points_of(p) for n, p in same.items()})
    today, now = full_output_hours(day_curve([fixture])), full_output_hours(day_curve([again]))
    assert now == pytest.approx(today, abs=1e-9)
    for channel in channels:
        changed = tried_programme(channel, level, 1.2, quarters / 4)
        if changed is not None:
            assert changed.time_h[-1] - changed.time_h[0] <= 24
            assert changed.level.max() <= 1
