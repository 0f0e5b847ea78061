"""Colour against dose at one place of a tank."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from judge.made_tank import made_tank

from lightdose.analysis import analyse, light_field
from lightdose.model.fixture import ChannelProgramme, Fixture, Programme
from lightdose.model.setup import Setup
from lightdose.workflows.explain import colour_or_intensity, diminishing_return


def _only(setup: Setup, channel: str) -> Setup:
    """The setup whose fixtures have this one channel, run as ``blue`` is."""

    def cut(fixture: Fixture) -> Fixture:
        kept = tuple(c for c in fixture.type.channels if c.name == channel)
        programme = Programme({channel: fixture.programme.channels["blue"]})
        return replace(fixture, type=replace(fixture.type, channels=kept), programme=programme)

    return replace(setup, fixtures=tuple(cut(f) for f in setup.fixtures))


@pytest.mark.identity
def test_brightest_coral_is_weighed_with_todays_mix_inside_the_span() -> None:
    """The place is the brightest coral with symbionts; today's mix lies within what can be made."""
    analysis = analyse(made_tank(), certainty=False)
    record = colour_or_intensity(analysis)
    assert record is not None
    verdict = next(v for v in analysis.verdicts if v.coral == "staghorn")
    assert (record.place, record.site, record.receiver) == ("staghorn", "ridge", verdict.receiver)
    assert record.peak_ppfd_umol_m2_s == verdict.peak_ppfd_umol_m2_s
    assert record.channels == 6
    assert record.today_warnings == ()
    assert record.all_mixes.spans is not None
    for curve, (low, high) in record.all_mixes.spans.items():
        assert low - 1e-9 <= record.today_index[curve] <= high + 1e-9
        ends = record.index_over_today(record.all_mixes, curve)
        assert ends is not None
        assert ends[0] <= 1 + 1e-9
        assert ends[1] >= 1 - 1e-9
    assert record.larger == "dose"


@pytest.mark.identity
def test_spans_hold_every_mix_that_is_tried() -> None:
    """Random outputs, scaled to the peak, never leave the span; those without a warning not theirs."""
    setup = made_tank()
    record = colour_or_intensity(analyse(setup, certainty=False))
    assert record is not None
    assert record.all_mixes.spans is not None
    assert record.without_warnings.spans is not None
    field = light_field(setup, [(0.18, 0.2, 0.05)], ("ppfd", "usable_mean", "blue", "red", "below_390"))[0]
    outputs = np.random.default_rng(5).uniform(0, 1, (4000, len(field))) ** 3
    outputs *= (record.peak_ppfd_umol_m2_s / (outputs @ field[:, 0]))[:, None]
    able = outputs[np.all(outputs <= 1, axis=1)]
    ppfd, usable, blue, red, below = (able @ field).T
    index = usable / ppfd
    low, high = record.all_mixes.spans["usable_mean"]
    assert low - 1e-9 <= index.min() < index.max() <= high + 1e-9
    quiet = (blue >= 0.3 * ppfd) & (red <= 0.5 * ppfd) & (below <= 0.01 * ppfd)
    low, high = record.without_warnings.spans["usable_mean"]
    assert low - 1e-9 <= index[quiet].min() < index[quiet].max() <= high + 1e-9
    assert quiet.sum() > 50


@pytest.mark.identity
def test_dose_span_is_what_a_flat_day_at_both_ends_gives() -> None:
    """25 % for 4 h and full for 12 h in today's mix: always 12 times, three by hours and four by output."""
    analysis = analyse(made_tank(), certainty=False)
    record = colour_or_intensity(analysis)
    assert record is not None
    assert record.dose_ratio == pytest.approx(12, rel=1e-12)
    at_full = record.peak_ppfd_umol_m2_s / record.today_output
    assert record.dose_range[0] == pytest.approx(0.0036 * 0.25 * at_full * 4, rel=1e-12)
    assert record.dose_range[1] == pytest.approx(0.0036 * at_full * 12, rel=1e-12)
    assert record.dose_over_today[0] == pytest.approx(record.dose_range[0] / record.today_dli)


@pytest.mark.identity
def test_single_channel_cannot_change_its_colour() -> None:
    """One blue channel a fixture: nearly one index; a red one has no mix without a warning."""
    blue = colour_or_intensity(analyse(_only(made_tank(), "blue"), certainty=False))
    assert blue is not None
    assert blue.all_mixes.ratio("usable_mean") == pytest.approx(1, abs=2e-3)
    assert blue.without_warnings.spans is not None
    red = colour_or_intensity(analyse(_only(made_tank(), "red"), certainty=False))
    assert red is not None
    assert red.without_warnings.spans is None
    assert "blue at least 30 % of PPFD or red at most 50 % of PPFD" in red.without_warnings.why_none
    assert len(red.today_warnings) == 2
    assert red.index_over_today(red.without_warnings, "usable_mean") is None
    assert red.larger == "dose"


@pytest.mark.identity
def test_places_can_be_named_and_dark_ones_have_no_answer() -> None:
    """Another receiver gives its own peak; without light there is nothing to weigh, and no coral to show."""
    setup = made_tank()
    analysis = analyse(setup, certainty=False)
    sand = colour_or_intensity(analysis, 2)
    assert sand is not None
    assert sand.peak_ppfd_umol_m2_s == analysis.dose.peak_ppfd[2]
    assert sand.place == "brain"
    bare = analyse(replace(setup, corals=()), certainty=False)
    ridge = colour_or_intensity(bare)
    assert ridge is not None
    assert (ridge.place, ridge.site) == ("ridge", "ridge")
    dark = analyse(replace(setup, fixtures=()), certainty=False)
    assert colour_or_intensity(dark) is None
    assert diminishing_return(dark).corals == ()
    nowhere = analyse(replace(setup, corals=(), sites=()), certainty=False)
    assert colour_or_intensity(nowhere) is None


@pytest.mark.identity
def test_a_fuller_programme_narrows_what_colour_can_do() -> None:
    """With every channel at full there is one mix alone."""
    setup = made_tank()
    flat = ChannelProgramme(np.array([8.0, 18.0]), np.array([1.0, 1.0]))
    full = replace(
        setup,
        fixtures=tuple(
            replace(f, programme=Programme({c.name: flat for c in f.type.channels})) for f in setup.fixtures
        ),
    )
    record = colour_or_intensity(analyse(full, certainty=False))
    assert record is not None
    assert record.today_output == 1
    assert record.all_mixes.ratio("usable_mean") == pytest.approx(1, abs=1e-7)
