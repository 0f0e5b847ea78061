"""The day that `tune` sets, against the day it stands for."""

from __future__ import annotations

import numpy as np
import pytest

from lightdose.errors import InfeasibleError
from lightdose.fit.tuning_schedule import brightest_hour_share, brightest_windows, days_to_try, today_shape
from lightdose.model.light import DayCurve
from lightdose.model.plans import Controller, DayShape, TuneWishes
from lightdose.physics.dose import brightest_window


def curve(points: list[tuple[float, float]]) -> DayCurve:
    """A day of one channel from points between 0 and 24 h."""
    time, output = (np.array(v, dtype=float) for v in zip(*points, strict=True))
    return DayCurve(time, output[:-1, None], output[1:, None])


def trapezoid(start: float, up: float, plateau: float, down: float) -> DayCurve:
    """A trapezoid folded onto the clock."""
    ends = np.cumsum([start, up, plateau, down])
    edges = np.unique(np.concatenate([[0, 24], ends % 24]))
    at = edges + 24 * (edges < start)
    output = np.interp(at, ends, [0, 0.7, 0.7, 0], left=0, right=0)
    last = float(np.interp(24.0, ends, [0, 0.7, 0.7, 0], left=0, right=0))
    start_values, end_values = output[:-1], np.concatenate([output[1:-1], [last]])
    return DayCurve(edges, start_values[:, None], end_values[:, None])


@pytest.mark.identity
@pytest.mark.parametrize("start", [8.5, 0.5, 16.0, 20.25])
def test_trapezoid_is_found_again(start: float) -> None:
    """Start, ramps and plateau of a trapezoid come back exactly, also over midnight."""
    found = today_shape(trapezoid(start, 2.0, 6.0, 1.5), np.ones(1))
    assert found is not None
    hours = (found.start_h, found.ramp_up_h, found.plateau_h, found.ramp_down_h)
    assert hours == pytest.approx((start, 2.0, 6.0, 1.5))


@pytest.mark.identity
def test_moonlight_is_night() -> None:
    """Light below 5 % of the peak does not lengthen the day."""
    found = today_shape(curve([(0, 0.02), (8, 0.02), (10, 1), (16, 1), (18, 0.02), (24, 0.02)]), np.ones(1))
    assert found is not None
    assert found.plateau_h == pytest.approx(6.0, abs=0.02)
    assert found.start_h == pytest.approx(7.95, abs=0.05)


@pytest.mark.identity
def test_dark_day_has_no_shape() -> None:
    """Nothing runs: nothing to go by."""
    assert today_shape(curve([(0, 0), (24, 0)]), np.ones(1)) is None


@pytest.mark.identity
@pytest.mark.parametrize(
    ("up", "plateau", "down"), [(2, 6, 2), (1, 0.5, 2), (3, 0, 2), (0.2, 0.3, 0.1), (0, 0.5, 0)]
)
def test_brightest_hour_of_a_trapezoid_is_that_of_its_day(up: float, plateau: float, down: float) -> None:
    """The closed form equals the exact search over the day's curve."""
    shape = DayShape(10.0, up, plateau, down)
    ends = np.cumsum([10.0, up, plateau, down])
    edges = np.unique(np.concatenate([[0, 24], ends]))
    begin, finish = edges[:-1], edges[1:]
    inner = 1e-9 * (finish - begin)
    start, end = (
        np.interp(at, ends + np.array([0, 1e-12, 2e-12, 3e-12]), [0, 1, 1, 0], left=0, right=0)
        for at in (begin + inner, finish - inner)
    )
    exact = brightest_window(np.ones((1, 1)), DayCurve(edges, start[:, None], end[:, None]))[0]
    assert brightest_hour_share(shape) == pytest.approx(exact, abs=1e-6)


@pytest.mark.identity
def test_windows_hold_the_brightest_hour_of_every_plateau() -> None:
    """Where every channel has a plateau of an hour its mean is the highest output."""
    day = curve([(0, 0), (8, 0), (10, 0.6), (16, 0.6), (18, 0), (24, 0)])
    assert brightest_windows(day, np.ones(1)).max(axis=0) == pytest.approx([0.6])


@pytest.mark.identity
def test_days_keep_the_middle_and_the_steps() -> None:
    """Plateaus differ by a quarter hour around today's; the plateau's middle and the ramps stay."""
    today = DayShape(8.0, 2.0, 6.0, 2.0)
    days, now = days_to_try(today, TuneWishes())
    assert now == today
    lengths = [d.plateau_h for d in days]
    assert np.diff(lengths) == pytest.approx(0.25)
    assert min(lengths) == 3.0
    assert max(lengths) == 9.0
    middles = [d.start_h + d.ramp_up_h + 0.5 * d.plateau_h for d in days]
    assert middles == pytest.approx([13.0] * len(days), abs=1 / 60)


@pytest.mark.identity
def test_bounds_and_time_step_hold() -> None:
    """The plateau stays within the keeper's bounds; times are multiples of the controller's step."""
    wishes = TuneWishes(
        plateau_h=(5, 8), ramp_up_h=1.0, ramp_down_h=0.5, controller=Controller(time_step_min=10)
    )
    days, _ = days_to_try(DayShape(8.1, 2.0, 6.0, 2.0), wishes)
    assert {d.ramp_up_h for d in days} == {1.0}
    assert days[0].plateau_h == 5
    assert days[-1].plateau_h == 8
    for d in days:
        minutes = 60 * np.cumsum([d.start_h, d.ramp_up_h, d.plateau_h, d.ramp_down_h])
        assert np.round(minutes / 10) * 10 == pytest.approx(minutes)


@pytest.mark.identity
def test_day_of_minutes_is_never_rounded_to_none() -> None:
    """A day of a few minutes leaves days with light in them, and bounds that leave none are refused."""
    moment = DayShape(8.0, 0.02, 0.02, 0.02)
    days, _ = days_to_try(moment, TuneWishes())
    assert min(d.equivalent_h for d in days) > 0
    with pytest.raises(InfeasibleError, match="no day"):
        days_to_try(moment, TuneWishes(plateau_h=(0.0, 0.0)))


@pytest.mark.identity
@pytest.mark.parametrize("bounds", [(9.0, 5.0), (10.0, 22.0)])
def test_empty_or_endless_bounds_are_refused(bounds: tuple[float, float]) -> None:
    """Longest below shortest, or a day past 24 h."""
    with pytest.raises(InfeasibleError):
        days_to_try(DayShape(8.0, 2.0, 6.0, 2.0), TuneWishes(plateau_h=bounds))
