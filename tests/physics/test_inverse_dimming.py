"""Levels for wished-for outputs: what is written gives the output again."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.errors import ScheduleError
from lightdose.model.fixture import ChannelProgramme, DimmingCurve
from lightdose.model.record import FloatArray
from lightdose.physics.day_curve import output_points
from lightdose.physics.programme import level_for_output, opened_day, programme_for_output, scaled_programme

CURVED = DimmingCurve(np.array([0, 0.1, 0.5, 1]), np.array([0, 0.07, 0.46, 1]))
FLAT = DimmingCurve(np.array([0, 0.05, 0.3, 0.4, 1]), np.array([0, 0, 0.2, 0.2, 1]))


def output_at(programme: ChannelProgramme, dimming: DimmingCurve, at: FloatArray) -> FloatArray:
    time, output = output_points(programme, dimming)
    values: FloatArray = np.interp(at, time, output)
    return values


@pytest.mark.identity
@pytest.mark.parametrize("dimming", [CURVED, FLAT, DimmingCurve.linear()])
def test_level_for_output_gives_that_output(dimming: DimmingCurve) -> None:
    """Dimming after its inverse is the output itself, and the level is the lowest that gives it."""
    output = np.linspace(0, 1, 201)
    level = level_for_output(output, dimming)
    assert np.interp(level, dimming.level, dimming.output) == pytest.approx(output, abs=1e-15)
    lower = np.interp(np.maximum(level - 1e-6, 0), dimming.level, dimming.output)
    assert np.all((lower < output) | (level == 0))


@pytest.mark.identity
@pytest.mark.parametrize("dimming", [CURVED, FLAT])
def test_ramp_in_output_gets_rows_at_the_knots(dimming: DimmingCurve) -> None:
    """A trapezoid in output comes back as the same trapezoid, between the rows too."""
    time, output = np.array([8.0, 11, 17, 20.5]), np.array([0.0, 0.9, 0.9, 0])
    programme = programme_for_output(time, output, dimming)
    at = np.linspace(8, 20.5, 1001)
    assert output_at(programme, dimming, at) == pytest.approx(np.interp(at, time, output), abs=1e-14)


@pytest.mark.pinned
def test_flat_part_of_dimming_is_crossed_by_a_jump_of_level() -> None:
    """Where two levels give one output the level jumps and the output does not."""
    programme = programme_for_output([8, 9], [0, 0.4], FLAT)
    assert programme.time_h.tolist() == pytest.approx([8, 8.5, 8.5, 9])
    assert programme.level.tolist() == pytest.approx([0.05, 0.3, 0.4, 0.55])


@pytest.mark.identity
@given(
    st.lists(st.floats(0, 1), min_size=3, max_size=8),
    st.sampled_from([CURVED, FLAT]),
    st.floats(0.01, 1.0),
)
def test_scaled_programme_scales_the_output_everywhere(
    levels: list[float], dimming: DimmingCurve, factor: float
) -> None:
    """Every output of the scaled programme is the factor times the old one."""
    time = np.asarray(6 + np.arange(len(levels)) * 1.7, dtype=np.float64)
    programme = ChannelProgramme(time, np.array(levels))
    scaled = scaled_programme(programme, dimming, factor)
    at = np.linspace(time[0], time[-1], 333)
    assert output_at(scaled, dimming, at) == pytest.approx(
        factor * output_at(programme, dimming, at), abs=1e-9
    )


@pytest.mark.identity
def test_jumps_and_factor_one_stay_as_they_are() -> None:
    """A factor of 1 changes nothing; a jump of output stays a jump at its time."""
    programme = ChannelProgramme(np.array([8.0, 8, 12, 12, 13]), np.array([0, 0.6, 0.6, 0.2, 0.2]))
    assert scaled_programme(programme, CURVED, 1.0) is programme
    half = scaled_programme(programme, DimmingCurve.linear(), 0.5)
    assert half.time_h.tolist() == [8, 12, 12, 13]
    assert half.level.tolist() == pytest.approx([0.3, 0.3, 0.1, 0.1])


@pytest.mark.identity
def test_day_over_midnight_opens_in_its_longest_dark_time() -> None:
    """14:00 to 02:00 is one programme past 24 h; an ordinary day only loses its dark ends."""
    time = np.array([0.0, 2, 14, 16, 24])
    output = np.array([0.5, 0, 0, 0.5, 0.5])
    opened = opened_day(time, output)
    assert opened[0].tolist() == [14, 16, 24, 26]
    assert opened[1].tolist() == [0, 0.5, 0.5, 0]
    day = opened_day(np.array([0.0, 8, 12, 20, 24]), np.array([0, 0, 1.0, 0, 0]))
    assert day[0].tolist() == [8, 12, 20]
    twice = np.array([0.0, 2, 2, 3, 20, 20, 22, 22, 24]), np.array([0, 0, 0.4, 0, 0, 0.3, 0.3, 0, 0])
    opened = opened_day(*twice)
    assert float(np.interp(23.0, *opened)) == 0
    assert (opened[0][0], opened[0][-1]) == (20, 27)
    around = np.array([0.0, 12, 24]), np.array([0.2, 1, 0.2])
    assert opened_day(*around)[0].tolist() == [0, 12, 24]


@pytest.mark.identity
def test_output_beyond_full_is_refused() -> None:
    """No level gives more than full output."""
    with pytest.raises(ScheduleError, match="outputs are 0 to 100"):
        programme_for_output([8, 9], [0, 1.1], CURVED)
