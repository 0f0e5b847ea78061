"""Plausible changes: each case is the changed setup itself, computed the short way."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from judge.made_tank import made_tank

from lightdose.analysis import analyse, fixture_emission
from lightdose.answers.sensitivity import closing_line
from lightdose.files.library import reference_tables
from lightdose.judge.sensitivity import changed_setup, sensitivity, standard_cases
from lightdose.model.changes import SEVERITY, Case, CaseOutcome, Change, Sensitivity, case_rows
from lightdose.model.fixture import Aperture, Fixture, Programme
from lightdose.model.setup import Setup, Water
from lightdose.present.figures.explaining import tornado_drawings

TANK = made_tank()


def outcomes_of(setup: Setup, cases: tuple[Case, ...] | None = None) -> Sensitivity:
    wanted = standard_cases(setup) if cases is None else cases
    return sensitivity(analyse(setup, certainty=False), fixture_emission(setup), reference_tables(), wanted)


@cache
def found() -> Sensitivity:
    return outcomes_of(TANK)


def case(name: str) -> CaseOutcome:
    return next(o for o in found().outcomes if o.case.name == name)


@pytest.mark.identity
def test_every_case_is_the_full_analysis_of_the_changed_setup() -> None:
    """Doses and states of each case equal those of `dose` on the setup with its changes made."""
    tried = {(tuple(x.kind for x in o.case.changes), bool(o.case.baseline)): o for o in found().outcomes}
    assert len(tried) == 10
    for outcome in tried.values():
        full = analyse(changed_setup(TANK, outcome.case.changes), certainty=False)
        start = analyse(changed_setup(TANK, outcome.case.baseline), certainty=False)
        states = {v.coral: v.dli_state for v in full.verdicts}
        for index, site in enumerate(outcome.sites):
            assert site.dli_mol_m2_d == pytest.approx(float(full.dose.dli[index]), rel=1e-7)
            ratio = float(full.dose.dli[index] / start.dose.dli[index])
            assert site.dli_ratio == pytest.approx(ratio, rel=1e-7), outcome.case.name
            assert {c.coral: c.dli_state for c in site.corals}.items() <= states.items()


@pytest.mark.identity
def test_output_and_sky_scale_exactly() -> None:
    """Salt, age and a neighbour are plain factors at every site."""
    for name, factor in (
        ("salt film on the lens, output -10 %", 0.9),
        ("ageing, output -10 %", 0.9),
        ("ageing, output -20 %", 0.8),
        ("a neighbour grown over half its sky", 0.5),
    ):
        assert case(name).ratios == pytest.approx([factor] * 3, rel=1e-12)


@pytest.mark.identity
def test_failed_channels_take_together_all_the_light() -> None:
    """What each channel's failure takes adds up to the whole dose."""
    failed = [o for o in found().outcomes if o.case.name.startswith("channel failed: ")]
    assert len(failed) == 4
    lost = np.sum([1 - np.array(o.ratios) for o in failed], axis=0)
    np.testing.assert_allclose(lost, 1, rtol=1e-12)


@pytest.mark.identity
def test_yellowing_dims_by_depth_and_carbon_undoes_it() -> None:
    """More yellow, less light, most at the deepest; fresh carbon is the exact inverse of yellowing."""
    clear, strong = case("water yellowing 0 per m (clear)"), case("water yellowing 1 per m (strong)")
    visible = case("water yellowing 0.5 per m (visible)")
    assert all(a > 1 > b > c for a, b, c in zip(clear.ratios, visible.ratios, strong.ratios, strict=True))
    assert strong.ratios[2] < strong.ratios[0]
    carbon = case("fresh carbon overnight, yellowing 1 to 0 per m")
    for up, low, high in zip(carbon.ratios, strong.ratios, clear.ratios, strict=True):
        assert up * low == pytest.approx(high, rel=1e-12)


@pytest.mark.pinned
def test_fresh_carbon_is_called_a_light_shock() -> None:
    """The remark names the largest rise, where, and what to do; a small one is called small."""
    large = case("fresh carbon overnight, yellowing 1 to 0 per m")
    assert large.remark.startswith("A light shock: ")
    assert "(sand), more than the 10 % a week" in large.remark
    assert "dim by as much first" in large.remark
    assert "no more than the 10 % a week" in case("fresh carbon overnight, yellowing 0.2 to 0 per m").remark


@pytest.mark.identity
def test_clear_water_today_still_warns_of_carbon() -> None:
    """With no yellowing stated, carbon is tried from 0.5 and 1 per m, compared with that water."""
    names = [c.name for c in standard_cases(replace(TANK, water=Water()))]
    carbon = [n for n in names if "carbon" in n]
    assert carbon == [
        "fresh carbon overnight, yellowing 0.5 to 0 per m",
        "fresh carbon overnight, yellowing 1 to 0 per m",
    ]


@pytest.mark.identity
def test_points_move_the_highest_level_through_the_dimming_curve() -> None:
    """+10 points on a curved channel at 60 % are what a programme to 70 % gives; off stays off."""
    change = Change("channel_points", 0.1, fixture="left", channel="blue")
    moved = changed_setup(TANK, [change]).fixtures[0].programme.channels["blue"]
    np.testing.assert_allclose(moved.level, [0, 0.7, 0.7, 0], rtol=1e-12)
    capped = changed_setup(TANK, [replace(change, amount=0.9)]).fixtures[0].programme.channels["blue"]
    assert capped.level.max() == 1.0
    none_left = changed_setup(TANK, [replace(change, amount=-0.9)]).fixtures[0].programme.channels["blue"]
    assert none_left.level.max() == 0.0
    assert not any("red" in c.name for c in standard_cases(TANK))


@pytest.mark.identity
def test_water_level_moves_lamp_and_corals_oppositely() -> None:
    """3 cm more water: the lamp 3 cm nearer to it, each coral 3 cm deeper, the floor where it was."""
    up = changed_setup(TANK, [Change("level", 0.03)])
    assert [f.height_m for f in up.fixtures] == pytest.approx([0.15, 0.15])
    assert [s.depth_m for s in up.sites] == pytest.approx([0.11, 0.18, 0.37])
    assert up.tank.water_depth_m == pytest.approx(0.38)
    assert up.tank.rim_m == 0.0
    back = changed_setup(up, [Change("level", -0.03)])
    assert [s.depth_m for s in back.sites] == pytest.approx([s.depth_m for s in TANK.sites])


@pytest.mark.identity
def test_coral_that_falls_dry_has_no_dose_and_is_named() -> None:
    """A level 10 cm lower leaves the ridge above the water: no ratio, no state, a remark."""
    found = outcomes_of(TANK, (Case("low", (Change("level", -0.10),), "low", ""),))
    (low,) = found.outcomes
    assert low.sites[0].dli_ratio is None
    assert low.sites[0].corals[0].dli_state is None
    assert low.sites[0].corals[0].worsens
    assert low.remark == "Above the water then: ridge."
    assert low.sites[1].dli_ratio is not None


@pytest.mark.identity
def test_lamp_too_low_to_be_lowered_is_skipped_and_said() -> None:
    """A lamp 4 cm above the water cannot go 5 cm down: the case is left out with its reason."""

    def low(fixture: Fixture) -> Fixture:
        return replace(fixture, height_m=0.04)

    found = outcomes_of(replace(TANK, fixtures=tuple(low(f) for f in TANK.fixtures)))
    assert len(found.skipped) == 1
    assert found.skipped[0].startswith("fixtures -5 cm: fixture 'left' hangs")


@pytest.mark.identity
def test_worst_case_comes_first() -> None:
    """Cases are in order of the corals they bring farther from usual; a site shows its worst coral."""
    worse = [sum(c.worsens for c in o.changed) for o in found().outcomes]
    assert worse == sorted(worse, reverse=True)
    for outcome in found().outcomes:
        for site in outcome.sites:
            assert SEVERITY[site.dli_state] == max(SEVERITY[c.dli_state] for c in site.corals)


@pytest.mark.identity
def test_back_pane_cleaned_of_growth_mirrors_again_and_paint_stays() -> None:
    """Cleaning changes a pane that was dark; a painted or clean one stays as it is."""
    assert case("back pane cleaned").ratios == pytest.approx([1, 1, 1])
    assert all(r <= 1 for r in case("back pane overgrown").ratios)
    dark = changed_setup(TANK, [Change("wall", wall="back", wall_kind="dark")])
    cleaned = next(c for c in standard_cases(dark) if c.name == "back pane cleaned")
    assert changed_setup(dark, cleaned.changes).tank.walls["back"].kind == "clean"


@pytest.mark.identity
def test_tank_without_light_or_sites_has_no_ratio_and_no_figure() -> None:
    """A dark programme leaves every ratio open; without sites there is nothing to draw or to say."""
    dark = replace(TANK, fixtures=tuple(replace(f, programme=Programme({})) for f in TANK.fixtures))
    found = outcomes_of(dark)
    assert all(o.ratios == () for o in found.outcomes)
    assert all(s.dli_state == "far_below" for s in found.outcomes[0].sites[:1])
    assert tornado_drawings(found) == []
    empty = outcomes_of(replace(TANK, sites=(), corals=()))
    assert tornado_drawings(empty) == []
    assert closing_line(empty).startswith("No sites: there is nothing to compare.")


@pytest.mark.identity
def test_case_that_hangs_a_large_panel_too_low_is_left_out_and_told() -> None:
    """A panel that five centimetres lower would need too many cells loses that case, with the reason."""
    fixture = TANK.fixtures[0]
    large = replace(fixture.type, aperture=Aperture(2.4, 1.0))
    tank = replace(TANK, fixtures=(replace(fixture, type=large, height_m=0.09),))
    cases = tuple(c for c in standard_cases(tank) if c.changes and c.changes[0].kind == "height")
    found = outcomes_of(tank, cases)
    assert [o.case.name for o in found.outcomes] == ["fixtures +5 cm"]
    (skipped,) = found.skipped
    assert skipped.startswith("fixtures -5 cm: the aperture of fixture")


@pytest.mark.identity
def test_rows_stand_by_their_reach_and_hold_both_directions() -> None:
    """The farthest row is on top; height and level hold their two ends in one row."""
    rows = case_rows(found().outcomes)
    reach = [r.reach for r in rows]
    assert reach == sorted(reach, reverse=True)
    by_name = {r.name: r for r in rows}
    assert [s.end for s in by_name["fixture height"].spans] != []
    assert {s.end for s in by_name["fixture height"].spans} == {"+5 cm", "-5 cm"}
    assert {s.end for s in by_name["water yellowing"].spans} == {"0/m", "0.1/m", "0.5/m", "1/m"}
    assert by_name["neighbour grown over"].reach == pytest.approx(math.log(2))
