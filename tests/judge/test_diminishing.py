"""Gross photosynthesis against overall output."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lightdose.analysis import analyse
from lightdose.judge.map_choice import output_returns
from lightdose.model.fixture import Programme

from .made_tank import made_tank


@pytest.mark.identity
def test_curves_pass_through_today_and_end_at_full() -> None:
    """Today's hours are the verdict's own; full output is a programme whose first channel reaches 100 %."""
    setup = made_tank()
    analysis = analyse(setup, certainty=False)
    record = output_returns(analysis)
    assert [c.coral for c in record.corals] == ["staghorn", "brain", "hammer"], "brightest first"
    assert record.left_out == ("sun coral",)
    # The blue channel runs highest, 60 % of level: 0.46 + (0.6 - 0.5) / 0.5 * 0.54 of output.
    assert record.today == pytest.approx(0.568, abs=1e-12)
    assert record.photons_at_full == pytest.approx(1 / 0.568, rel=1e-12)
    verdicts = {v.coral: v for v in analysis.verdicts}
    for coral in record.corals:
        verdict = verdicts[coral.coral]
        assert coral.today_h == pytest.approx(verdict.hours_at_pmax_h, rel=1e-12)
        assert coral.beyond_saturation_fraction == verdict.photons_beyond_saturation_fraction
        assert (coral.hours_low[0], coral.hours_high[0]) == (0, 0)
        assert (coral.hours_low[-1], coral.hours_high[-1]) == pytest.approx(coral.full_h, rel=1e-12)
        assert np.all(np.diff(coral.hours_low) > 0)
        assert np.all(np.diff(coral.hours_low, 2) < 0), "each step brings less"
        assert np.all(coral.hours_low[1:] < coral.hours_high[1:])


@pytest.mark.identity
def test_scaled_programme_gives_the_hours_that_the_curve_shows() -> None:
    """Half of today's output, analysed as a setup of its own, agrees."""
    setup = made_tank()
    record = output_returns(analyse(setup, certainty=False))
    dimmed = replace(setup, fixtures=tuple(replace(f, output_scale=0.5) for f in setup.fixtures))
    verdicts = {v.coral: v for v in analyse(dimmed, certainty=False).verdicts}
    for coral in record.corals:
        assert coral.half_h == pytest.approx(verdicts[coral.coral].hours_at_pmax_h, rel=1e-9)


@pytest.mark.identity
def test_spans_over_all_corals_hold_each_of_them() -> None:
    """More light brings less than its share, and half of it costs less than half."""
    record = output_returns(analyse(made_tank(), certainty=False))
    assert record.gain_at_full is not None
    assert record.kept_at_half is not None
    assert 1 < record.gain_at_full[0] < record.gain_at_full[1] < record.photons_at_full
    assert 0.5 < record.kept_at_half[0] < record.kept_at_half[1] < 1
    assert record.kept_at_half[0] == min(c.half_over_today[0] for c in record.corals)


@pytest.mark.identity
def test_dark_tank_has_no_curve() -> None:
    """Where nothing runs there is nothing to scale, and every coral is named as left out."""
    setup = made_tank()
    dark = replace(setup, fixtures=tuple(replace(f, programme=Programme({})) for f in setup.fixtures))
    record = output_returns(analyse(dark, certainty=False))
    assert (record.today, record.corals) == (0, ())
    assert set(record.left_out) == {c.name for c in setup.corals}
    assert record.gain_at_full is None
    assert record.kept_at_half is None
    assert record.photons_at_full == float("inf")
