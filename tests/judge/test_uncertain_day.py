"""Errors of dimming curves carried through the day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lightdose.judge.drawn_light import uncertain_day
from lightdose.judge.uncertain_inputs import DEFAULTS
from lightdose.physics.day_curve import day_curve, day_points, full_output_hours
from lightdose.physics.dimming_error import FOOT_OVER_MID

from .full_model import small_setup, varied_fixture

RESPONSE = np.array([[30.0, 10.0, 20.0, 5.0], [3.0, 40.0, 2.0, 1.0]])


@pytest.mark.identity
@pytest.mark.parametrize("shift", [-0.03, 0.0, 0.02, 0.05])
def test_drawn_day_is_the_day_of_the_shifted_dimming_curve(shift: float) -> None:
    """Hours and peaks equal those of fixtures whose dimming curves carry the tent."""
    fixtures = small_setup().fixtures
    shifted = [varied_fixture(f, 0.0, 0.0, shift) for f in fixtures]
    curve = day_curve(shifted)
    day = uncertain_day(fixtures, RESPONSE)
    dimming = np.full((1, 2), shift)
    assert day.hours(dimming)[:, 0] == pytest.approx(full_output_hours(curve), rel=1e-12)
    peaks = (day_points(curve)[1] @ RESPONSE.T).max(axis=0)
    assert day.peaks(RESPONSE[:, :, None], dimming)[:, 0] == pytest.approx(peaks, rel=1e-12)


@pytest.mark.identity
def test_full_and_no_output_are_certain() -> None:
    """At level 0 and 100 the tent is 0, so a programme between them is only uncertain on its ramps."""
    fixture = small_setup().fixtures[0]
    blue = fixture.programme.channels["blue"]
    square = replace(blue, time_h=np.array([8.0, 8.0, 18.0, 18.0]), level=np.array([0.0, 1.0, 1.0, 0.0]))
    programme = replace(fixture.programme, channels={"blue": square})
    day = uncertain_day([replace(fixture, programme=programme)], RESPONSE[:, :2])
    assert day.tent_h == pytest.approx([0.0, 0.0], abs=1e-12)
    assert day.stated_h == pytest.approx([10.0, 0.0])


@pytest.mark.identity
def test_no_place_and_no_light_need_no_moment() -> None:
    """A setup without sites has no peak to look for."""
    assert uncertain_day(small_setup().fixtures, np.zeros((0, 4))).peak_output.shape[0] == 0
    assert uncertain_day((), np.zeros((2, 0))).stated_h.size == 0


@pytest.mark.identity
def test_ramp_is_off_most_near_its_foot_and_its_plateau_as_before() -> None:
    """A ramp to a plateau holds half its hours of the foot's error, four times the error at mid level."""
    fixture = small_setup().fixtures[0]
    blue = fixture.programme.channels["blue"]

    def hours(level: list[float], times: list[float]) -> float:
        programme = replace(blue, time_h=np.array(times), level=np.array(level))
        changed = replace(fixture, programme=replace(fixture.programme, channels={"blue": programme}))
        return float(uncertain_day([changed], RESPONSE[:, :2]).tent_h[0])

    assert hours([0.0, 1.0], [8.0, 11.0]) == pytest.approx(3 * (0.5 + 4 * 0.5), rel=1e-12)
    top = 0.4
    assert hours([top, top], [8.0, 11.0]) == pytest.approx(3 * 2 * top, rel=1e-12)
    assert hours([0.0, top], [8.0, 11.0]) == pytest.approx(3 * (top + 4 * 0.5 * top), rel=1e-12)


@pytest.mark.published
def test_measured_ramp_lies_within_the_ramps_that_are_drawn() -> None:
    """7.50 equivalent hours where 8.00 were programmed are within two standard uncertainties."""
    # Source: open data of a coral experiment, one LED tank, one day, dark until 15-20 % of the programme;
    # figures only. That its ramps took 3 h each is assumed: a foot of 17 % then takes 0.51 h.
    ramps_h, mid = 6.0, 0.01 * DEFAULTS["dimming_points"]
    assert pytest.approx(0.17 / 2 * ramps_h, abs=0.02) == 8.0 - 7.5
    sd_h = mid * FOOT_OVER_MID * 0.5 * ramps_h
    assert pytest.approx(2 * sd_h, rel=0.1) == 8.0 - 7.5
