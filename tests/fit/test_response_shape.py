"""How readings change with the width of a beam, for every width that a file may state."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fit.calibration_scenes import PEAKS_NM, REQUEST, plan, scene, simulated

from lightdose.files.library import reference_tables
from lightdose.fit.calibration import calibrate
from lightdose.fit.response_shape import WIDEST_DEG, _beam_factors, fitted_beam
from lightdose.fit.survey import plan_survey
from lightdose.model.fixture import Aperture, CosineLobe, FixtureType
from lightdose.model.setup import Setup

WIDTHS_DEG = (2.0, 3.0, 8.0, 15.9, 16.0, 60.0, 120.0, 170.0, 172.0, 175.0)


def with_beams(*widths_deg: float) -> Setup:
    """One lamp, each of its channels with a beam of its own, high enough that a narrow one reaches places."""
    setup = scene(names=tuple(PEAKS_NM)[: len(widths_deg)])
    (fixture,) = setup.fixtures
    lobed = zip(fixture.type.channels, widths_deg, strict=True)
    kind = FixtureType("panel", tuple(replace(c, beam=CosineLobe(w)) for c, w in lobed), Aperture(0.2, 0.06))
    return replace(setup, fixtures=(replace(fixture, type=kind),))


@pytest.mark.identity
@pytest.mark.parametrize("one", WIDTHS_DEG)
@pytest.mark.parametrize("other", WIDTHS_DEG)
def test_stated_widths_lie_within_what_a_fit_may_reach(one: float, other: float) -> None:
    """No factor, the factor 1 among them, turns a stated beam into one that nothing gives."""
    (fixture,) = with_beams(one, other).fixtures
    factors = _beam_factors(fixture)
    assert np.all(np.diff(factors) > 0)
    assert factors[0] <= 1e-12
    assert factors[-1] >= -1e-12
    for width in (one, other):
        assert fitted_beam(CosineLobe(width), 0.0) == CosineLobe(width)
        reached = [fitted_beam(CosineLobe(width), f).fwhm_deg for f in factors]  # type: ignore[union-attr]
        assert np.all(np.diff(reached) >= 0)
        assert min(reached) <= width * (1 + 1e-12)
        assert width <= max(*reached, WIDEST_DEG) * (1 + 1e-12)


@pytest.mark.identity
@pytest.mark.parametrize("narrow_deg", [3.0, 5.0, 8.0, 12.0])
def test_survey_and_calibration_take_one_narrow_beam_among_wide_ones(narrow_deg: float) -> None:
    """The plan is made, and exact readings give back the gain of a wide channel beside a narrow one."""
    setup = with_beams(120.0, narrow_deg)
    survey = plan_survey(setup, setup.meters["handheld"], None, reference_tables(), {})
    assert survey.readings
    assert all(np.isfinite(r.expected_95).all() for r in survey.readings)
    levels = [r for r in plan() if r.levels is not None and set(r.levels) == {("left", "violet")}]
    readings = simulated(setup, levels, {"violet": 0.9})
    found = calibrate(setup, readings, reference_tables(), {}, REQUEST)
    gains = {g.channel: g.gain for g in found.calibration.gains}
    assert gains["violet"] == pytest.approx(0.9, rel=0.02)
