"""Errors of dimming curves carried through the day."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lightdose.judge.drawn_light import uncertain_day
from lightdose.physics.day_curve import day_curve, day_points, full_output_hours

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
