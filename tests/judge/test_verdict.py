"""States by the daily dose, the peak's state, and what a verdict carries."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lightdose.files.groups_file import default_groups
from lightdose.judge.verdict import (
    OWN_BAND_SOURCE,
    dli_state,
    judge_corals,
    output_headroom,
    peak_state,
)
from lightdose.model.fixture import DimmingCurve, Fixture
from lightdose.model.light import LightField
from lightdose.model.results import Verdict
from lightdose.model.setup import Coral, Setup, Site, Tank
from lightdose.physics.day_curve import day_curve
from lightdose.physics.dose import daily_dose

from ..physics.day_scenes import TRAPEZOID, field, fixture

BAND, FLOOR, CEILING = (4.0, 9.0), 2.0, 20.0
PRACTICE = "common practice, no published source"


def setup_of(corals: Sequence[Coral], sites: Sequence[Site], lamp: Fixture) -> Setup:
    groups, sources = default_groups()
    return Setup("made", Tank(0.7, 0.4, 0.4), (lamp,), tuple(sites), tuple(corals), groups, sources)


def judged(
    corals: Sequence[Coral],
    site_dli: dict[str, float],
    tops: dict[str, float] | None = None,
    lamp: Fixture | None = None,
) -> tuple[Verdict, ...]:
    """Verdicts where every site, and every top of a coral, gets the dose stated; full hours 8 a day."""
    sites = [Site(name, 0.1 * i, 0.1, 0.2) for i, name in enumerate(site_dli)]
    setup = setup_of(corals, sites, lamp or fixture(programmes={"b": [(t, 0.5 * v) for t, v in TRAPEZOID]}))
    doses = [*site_dli.values(), *(tops or {}).values()]
    made = field([[d / (0.0036 * 4)] for d in doses])
    scene = LightField(setup.receivers, made.channels, made.weightings, made.response)
    return judge_corals(
        setup,
        scene,
        daily_dose(scene, day_curve([fixture(programmes={"b": [(t, 0.5 * v) for t, v in TRAPEZOID]})])),
    )


@pytest.mark.identity
@pytest.mark.parametrize(
    ("dli", "state"),
    [
        (0, "far_below"),
        (1.999, "far_below"),
        (2, "below"),
        (3.999, "below"),
        (4, "within"),
        (9, "within"),
        (9.001, "above"),
        (20, "above"),
        (20.001, "far_above"),
    ],
)
def test_state_changes_at_the_marks(dli: float, state: str) -> None:
    """floor <= D < low is below, low <= D <= high within, high < D <= ceiling above."""
    assert dli_state(dli, BAND, FLOOR, CEILING) == state


@pytest.mark.identity
def test_missing_marks_leave_no_far_states() -> None:
    """Without a floor or ceiling nothing is far off; without a band nothing is judged."""
    assert dli_state(0, BAND, None, None) == "below"
    assert dli_state(1e6, BAND, None, None) == "above"
    assert dli_state(5, None, None, None) == "not_judged"


@given(st.floats(0, 60), st.floats(0, 60))
@pytest.mark.identity
def test_more_light_never_lowers_the_state(one: float, other: float) -> None:
    """The states are ordered as the doses."""
    order = ["far_below", "below", "within", "above", "far_above"]
    low, high = sorted((one, other))
    marks = (BAND, FLOOR, CEILING)
    assert order.index(dli_state(low, *marks)) <= order.index(dli_state(high, *marks))


@pytest.mark.identity
def test_peak_state_compares_the_brightest_hour() -> None:
    """Edges of the midday band belong to it; no band, no state."""
    band = (120.0, 280.0)
    assert [peak_state(v, band) for v in (119.9, 120, 280, 280.1)] == ["low", "within", "within", "high"]
    assert peak_state(100, None) is None


@pytest.mark.identity
def test_verdict_carries_the_groups_marks_and_citations() -> None:
    """Band, floor, ceiling, grade and sources are the group's; sources are citations in full."""
    (verdict,) = judged([Coral("frag", "sps-shallow", "A1")], {"A1": 10})
    groups, sources = default_groups()
    group = groups["sps-shallow"]
    assert verdict.dli_mol_m2_d == pytest.approx(10)
    assert (verdict.band_dli, verdict.floor_dli, verdict.ceiling_dli) == ((8, 15), 4, 30)
    assert (verdict.dli_state, verdict.grade, verdict.group_name) == ("within", "A", group.name)
    assert verdict.sources == tuple(sources[key] for key in group.sources)
    assert verdict.sources[0] == PRACTICE
    assert verdict.judged_at_depth_m == pytest.approx(0.2)


@pytest.mark.identity
def test_peak_in_verdict_is_the_mean_of_the_brightest_hour() -> None:
    """A spike of 10 minutes raises the peak, not the peak's state."""
    lamp = fixture(
        programmes={"b": [(8, 0.2), (12, 0.2), (12, 1), (12 + 1 / 6, 1), (12 + 1 / 6, 0.2), (16, 0.2)]}
    )
    setup = setup_of([Coral("frag", "mushroom", "A1")], [Site("A1", 0.1, 0.1, 0.2)], lamp)
    scene = LightField(setup.receivers, *_parts(field([[200.0]])))
    (verdict,) = judge_corals(setup, scene, daily_dose(scene, day_curve([lamp])))
    assert verdict.peak_ppfd_umol_m2_s == pytest.approx(200)
    assert verdict.brightest_hour_ppfd_umol_m2_s == pytest.approx(200 * (1 / 6 + 0.2 * 5 / 6), rel=1e-12)
    assert verdict.peak_state == "within"


def _parts(made: LightField) -> tuple[object, ...]:
    return made.channels, made.weightings, made.response


@pytest.mark.identity
def test_coral_off_its_site_is_judged_at_its_own_top() -> None:
    """The receiver that names the coral counts, with its depth; its neighbours keep theirs."""
    corals = [Coral("tall", "sps-plating", "A1", height_m=0.06), Coral("flat", "sps-plating", "A1")]
    tall, flat = judged(corals, {"A1": 3.0}, {"tall": 6.0})
    assert (tall.receiver, flat.receiver) == (1, 0)
    assert (tall.dli_state, flat.dli_state) == ("within", "below")
    assert (tall.judged_at_depth_m, flat.judged_at_depth_m) == (pytest.approx(0.14), pytest.approx(0.2))


@pytest.mark.identity
def test_own_band_replaces_the_groups_and_says_so() -> None:
    """dli_band of a coral wins; marks that it passes move out of its way; the source names the keeper."""
    (verdict,) = judged([Coral("frag", "sps-shallow", "A1", band_dli=(3, 40))], {"A1": 3.5})
    assert (verdict.dli_state, verdict.band_dli) == ("within", (3, 40))
    assert (verdict.floor_dli, verdict.ceiling_dli) == (3, 40)
    assert verdict.sources[0] == OWN_BAND_SOURCE
    assert "your own 3-40" in verdict.advice


@pytest.mark.identity
def test_own_peak_limit_replaces_the_midday_band() -> None:
    """peak_max of a coral is the high end of its midday band, even below the group's low end."""
    plain, capped, low = judged(
        [
            Coral("plain", "sps-plating", "A1"),
            Coral("capped", "sps-plating", "A1", peak_max=200),
            Coral("low", "sps-plating", "A1", peak_max=50),
        ],
        {"A1": 7.0},
    )
    assert plain.brightest_hour_ppfd_umol_m2_s == pytest.approx(7 / 0.0036 / 8, rel=1e-12)
    assert [v.peak_state for v in (plain, capped, low)] == ["within", "high", "high"]
    assert (capped.band_peak, low.band_peak) == ((120, 200), (50, 50))


@pytest.mark.identity
def test_group_without_symbionts_is_not_judged() -> None:
    """No band, no state by dose or peak, grade n/a."""
    (verdict,) = judged([Coral("sun", "non-photosynthetic", "A1")], {"A1": 5})
    assert (verdict.dli_state, verdict.peak_state, verdict.grade) == ("not_judged", None, "n/a")
    assert (verdict.band_dli, verdict.floor_dli, verdict.ceiling_dli) == (None, None, None)


@pytest.mark.identity
def test_hours_at_pmax_span_the_groups_range_of_ek() -> None:
    """With a day, hours of both ends of Ek by tanh, beside them by the group's own curve; without, none."""
    lamp = fixture()
    corals = [Coral("frag", "sps-shallow", "A1"), Coral("sun", "non-photosynthetic", "A1")]
    setup = setup_of(corals, [Site("A1", 0.1, 0.1, 0.2)], lamp)
    scene = LightField(setup.receivers, *_parts(field([[300.0]])))
    curve = day_curve([lamp])
    dose = daily_dose(scene, curve)
    frag, sun = judge_corals(setup, scene, dose, curve)
    # At Ek 200: tanh 7.7120633112 h, Smith 7.1330367999 h, check values of physics/test_photosynthesis.py.
    tanh_500 = 6 * math.tanh(0.6) + 4 * math.log(math.cosh(0.6)) / 0.6
    smith_500 = 6 * 0.6 / math.sqrt(1.36) + 4 * (math.sqrt(1.36) - 1) / 0.6
    assert frag.hours_at_pmax_h == pytest.approx((tanh_500, 7.7120633112), abs=1e-9)
    assert frag.hours_at_pmax_own_curve_h == pytest.approx((smith_500, 7.1330367999), abs=1e-9)
    assert frag.hours_above_saturation_h == (0, pytest.approx(6 + 4 / 3, abs=1e-12))
    assert (sun.hours_at_pmax_h, sun.hours_above_saturation_h) == (None, None)
    assert judge_corals(setup, scene, dose)[0].hours_at_pmax_h is None


@pytest.mark.identity
def test_headroom_is_set_by_the_channel_nearest_to_full_output() -> None:
    """Half output leaves a factor of 2, through the dimming curve; nothing running leaves no bound."""
    curved = DimmingCurve(np.array([0, 0.5, 1]), np.array([0, 0.25, 1]))
    assert output_headroom((fixture(programmes={"b": [(8, 0.5), (9, 0.5)]}),)) == pytest.approx(2)
    assert output_headroom(
        (fixture(programmes={"b": [(8, 0.5), (9, 0.5)]}, dimming=curved),)
    ) == pytest.approx(4)
    assert output_headroom(()) == float("inf")
