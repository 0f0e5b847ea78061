"""The weekly limit over what corals got before: with steps of any length, at any age of the last one."""

from __future__ import annotations

import pytest

from lightdose.judge.week_of_rises import LightBefore, WeeklyLimit, fast_rises, raised


@pytest.mark.identity
@pytest.mark.parametrize("days", [1, 2, 3, 7, 14])
def test_a_way_in_steps_never_stops_itself(days: int) -> None:
    """Steps on their days pass; a step a day early does not, and is due on its day."""
    limit = WeeklyLimit(0.1, days)
    growth = limit.ratio(0)
    assert growth == pytest.approx(1.1 ** (days / 7))
    dose = [growth**k for k in range(20)]
    date = [f"2026-03-{1 + k * days:02d}" for k in range(20) if 1 + k * days <= 31]
    for k in range(1, len(date)):
        ended = [j for j in range(1, k) if (k - j) * days < limit.window_d]
        light = [LightBefore(date[j], {"a": dose[j - 1]}) for j in ended]
        assert not fast_rises(light, {"a": dose[k - 1]}, {"a": dose[k]}, date[k], limit)
    (rise,) = fast_rises([LightBefore(date[1], {"a": 1.0})], {"a": dose[1]}, {"a": dose[2]}, date[1], limit)
    assert rise.due == date[2]
    assert rise.ratio == pytest.approx(growth**2)


@pytest.mark.identity
def test_a_short_step_after_a_long_one_waits() -> None:
    """One step of a week, then one of a day: the week is not over."""
    light = [LightBefore("2026-03-01", {"a": 1.0})]
    now, after = {"a": 1.1}, {"a": 1.1 * 1.1 ** (1 / 7)}
    (rise,) = fast_rises(light, now, after, "2026-03-02", WeeklyLimit(0.1, 1))
    assert rise.due == "2026-03-08"
    assert not fast_rises(light, now, after, rise.due, WeeklyLimit(0.1, 1))


@pytest.mark.identity
def test_only_corals_that_rose_and_rise_count() -> None:
    """Not those that are dimmed, are new, were in the dark, or got as much before."""
    now = {"down": 2.0, "new": 2.0, "dark": 2.0, "steady": 2.0, "rose": 2.0}
    after = dict.fromkeys(now, 3.0) | {"down": 1.0}
    before = {"down": 1.0, "dark": 0.0, "steady": 2.0, "rose": 1.9}
    found = fast_rises([LightBefore("2026-03-01", before)], now, after, "2026-03-01", WeeklyLimit())
    assert [rise.coral for rise in found] == ["rose"]
    assert raised(now, after) == ("new", "dark", "steady", "rose")
