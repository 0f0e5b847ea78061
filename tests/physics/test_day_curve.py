"""Programmes x dimming = exact repeating day."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.model.fixture import DimmingCurve
from lightdose.model.light import DayCurve
from lightdose.physics.day_curve import day_curve, day_points, full_output_hours, output_at, output_points

from .day_scenes import TRAPEZOID, fixture, programme

CURVED = DimmingCurve(np.array([0, 0.1, 0.5, 1]), np.array([0, 0.07, 0.46, 1]))
GLOWING = DimmingCurve(np.array([0.0, 1.0]), np.array([0.2, 1.0]))


def value_before(curve: DayCurve, time_h: float) -> np.ndarray:
    return curve.output_end[np.searchsorted(curve.edge_h, time_h) - 1]


@pytest.mark.identity
def test_knot_crossings_stand_at_their_times_with_the_knots_outputs() -> None:
    """A ramp 0 to 100 % over 10 h crosses the knots at 10 and 50 % after 1 and 5 h, either way."""
    time, output = output_points(programme([(8, 0), (18, 1)]), CURVED)
    assert time.tolist() == [8, 9, 13, 18]
    assert output.tolist() == [0, 0.07, 0.46, 1]
    time, output = output_points(programme([(8, 1), (18, 0)]), CURVED)
    assert time.tolist() == [8, 13, 17, 18]
    assert output.tolist() == [1, 0.46, 0.07, 0]


@pytest.mark.identity
def test_jump_over_a_knot_adds_no_point() -> None:
    """Two rows at one time are a jump, whatever knots lie between their levels."""
    time, output = output_points(programme([(8, 0.6), (9, 0.6), (9, 0), (10, 0)]), CURVED)
    assert time.tolist() == [8, 9, 9, 10]
    assert output[[1, 2]].tolist() == [CURVED.output[2] + 0.2 * (1 - CURVED.output[2]), 0]


@pytest.mark.identity
def test_output_equals_dimming_of_level_everywhere() -> None:
    """Between the points too, output is the dimming curve of the level at that time."""
    run = programme([(6, 0.05), (9, 0.8), (12, 0.3), (12, 0.95), (20, 0)])
    time, output = output_points(run, CURVED)
    for t in np.linspace(6, 20, 561):
        if t == 12:
            continue
        level = np.interp(t, run.time_h, run.level)
        assert np.interp(t, time, output) == pytest.approx(
            np.interp(level, CURVED.level, CURVED.output), abs=1e-14
        )


@pytest.mark.identity
def test_day_keeps_the_programmes_own_values_at_its_own_times() -> None:
    """No resampling: at its own points a channel has bit for bit its own outputs, among other breakpoints."""
    odd = [(7 + i / 7, (i * 0.137) % 1.0) for i in range(40)]
    curve = day_curve([fixture("a", {"b": odd}), fixture("b", {"w": [(h + 0.123, 0.5) for h in range(24)]})])
    for t, level in odd:
        at = int(np.flatnonzero(curve.edge_h == t)[0])
        if t != odd[-1][0]:
            assert curve.output_start[at, 0] == level
        if t != odd[0][0]:
            assert curve.output_end[at - 1, 0] == level


@pytest.mark.identity
def test_channel_is_off_outside_its_programme_even_if_it_glows_at_level_0() -> None:
    """Output above 0 at level 0 counts only between the first and the last point of the programme."""
    curve = day_curve([fixture(programmes={"b": [(10, 0), (14, 0)]}, dimming=GLOWING)])
    assert output_at(curve, [9.99, 10, 12, 14, 20]).ravel().tolist() == [0, 0.2, 0.2, 0, 0]
    assert full_output_hours(curve)[0] == pytest.approx(0.8, rel=1e-15)


@pytest.mark.identity
def test_unnamed_channel_stays_off_and_keeps_its_column() -> None:
    """Channels come in the order of the fixture's type, programmed or not."""
    curve = day_curve([fixture(channels=["red", "blue", "white"]), fixture("right", {"uv": TRAPEZOID})])
    assert full_output_hours(curve).tolist() == [0, 8, 0, 8]


@pytest.mark.identity
def test_day_without_fixtures_is_one_empty_segment() -> None:
    """All fixtures switched off is a dark day, not a failure."""
    curve = day_curve([])
    assert curve.edge_h.tolist() == [0, 24]
    assert curve.output_start.shape == (1, 0)


@pytest.mark.identity
def test_fixtures_that_overlap_over_midnight_share_the_clock() -> None:
    """A 14:00-02:00+1 and B 00:00-06:00 overlap from 0 to 2 h."""
    curve = day_curve([fixture("A", {"x": [(14, 0.5), (26, 0.5)]}), fixture("B", {"y": [(0, 1), (6, 1)]})])
    assert curve.edge_h.tolist() == [0, 2, 6, 14, 24]
    assert curve.output_start.T.tolist() == [[0.5, 0, 0, 0.5], [1, 1, 0, 0]]
    assert np.array_equal(curve.output_start, curve.output_end)


@pytest.mark.identity
def test_ramp_over_midnight_is_split_at_its_value() -> None:
    """A ramp from 22:00 to 02:00+1 stands half way at midnight on both sides."""
    curve = day_curve([fixture(programmes={"b": [(20, 1), (22, 1), (26, 0)]})])
    assert curve.output_end[-1, 0] == 0.5
    assert curve.output_start[0, 0] == 0.5
    assert value_before(curve, 2)[0] == 0


@pytest.mark.identity
@pytest.mark.parametrize("start", [0, 0.1, 7.3, 14.3, 23.9])
def test_programme_around_the_clock_lasts_24_hours(start: float) -> None:
    """From any hour to the same hour the next day there is neither a gap nor an overlap."""
    curve = day_curve([fixture(programmes={"b": [(start, 0.25), (start + 24, 0.25)]})])
    assert full_output_hours(curve)[0] == pytest.approx(6, abs=1e-13)


@pytest.mark.identity
def test_jump_at_midnight_belongs_to_each_side() -> None:
    """Two rows at 24:00 end one day's level and begin the next."""
    curve = day_curve([fixture(programmes={"b": [(18, 1), (24, 1), (24, 0.25), (27, 0.25)]})])
    assert (curve.output_end[-1, 0], curve.output_start[0, 0]) == (1, 0.25)
    assert full_output_hours(curve)[0] == 6.75


@pytest.mark.identity
def test_programme_that_ends_at_midnight_leaves_the_morning_dark() -> None:
    """24:00 is an end: nothing of it falls on 00:00."""
    curve = day_curve([fixture(programmes={"b": [(12, 1), (24, 1)]})])
    assert output_at(curve, [0, 11.9, 12, 23.99]).ravel().tolist() == [0, 0, 1, 1]


@pytest.mark.identity
def test_points_double_only_at_jumps() -> None:
    """The chain of points has two points where any channel jumps, and one elsewhere."""
    curve = day_curve([fixture(), fixture("B", {"y": [(9, 1), (12, 1)]})])
    time, output = day_points(curve)
    assert time.tolist() == [0, 8, 9, 9, 10, 12, 12, 16, 18, 24]
    assert output[:, 1].tolist() == [0, 0, 0, 1, 1, 1, 0, 0, 0, 0]
    assert output[2, 0] == output[3, 0] == 0.5


@given(
    st.lists(st.tuples(st.integers(0, 1440), st.floats(0, 1)), min_size=2, max_size=12),
    st.integers(0, 1439),
)
@pytest.mark.identity
def test_shift_over_midnight_keeps_the_hours(points: list[tuple[int, float]], shift: int) -> None:
    """Moving a programme round the clock, over midnight or not, changes no daily integral."""
    minutes = sorted(dict(points).items())
    if len(minutes) < 2:
        return
    base = minutes[0][0]
    at_zero = [((t - base) / 60, level) for t, level in minutes]
    moved = [(t + shift / 60, level) for t, level in at_zero]
    hours = full_output_hours(day_curve([fixture(programmes={"b": at_zero}, dimming=CURVED)]))
    shifted = full_output_hours(day_curve([fixture(programmes={"b": moved}, dimming=CURVED)]))
    assert shifted[0] == pytest.approx(hours[0], abs=1e-12)


@given(st.floats(0.001, 0.999))
@pytest.mark.identity
def test_splitting_a_segment_changes_nothing(share: float) -> None:
    """A point put on a ramp, on its line, leaves every output of the day as it was."""
    split = [(8, 0), (8 + 2 * share, share), (10, 1), (16, 1), (18, 0)]
    plain, finer = (day_curve([fixture(programmes={"b": p}, dimming=CURVED)]) for p in (TRAPEZOID, split))
    times = np.linspace(0, 24, 97)
    assert output_at(finer, times) == pytest.approx(output_at(plain, times), abs=1e-13)
    assert full_output_hours(finer)[0] == pytest.approx(full_output_hours(plain)[0], abs=1e-13)


@pytest.mark.identity
def test_output_at_wraps_around_the_day() -> None:
    """26 h is 2 o'clock of the same repeating day."""
    curve = day_curve([fixture(programmes={"b": [(20, 1), (22, 1), (26, 0)]})])
    assert output_at(curve, [25.0, 1.0, -23.0]).ravel() == pytest.approx([0.25, 0.25, 0.25], abs=1e-15)
