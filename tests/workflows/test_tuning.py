"""`tune` on whole tanks: never worse than today, within what may change, and as good as trying everything."""

from __future__ import annotations

from dataclasses import replace
from functools import cache
from itertools import product

import numpy as np
import pytest
from crossed import crossed
from judge.crowded_tanks import crowded_tank
from judge.made_tank import WALLS, made_channel
from scipy.optimize import Bounds, LinearConstraint, milp

from lightdose.analysis import Analysis, analyse
from lightdose.errors import InfeasibleError
from lightdose.files.groups_file import default_groups
from lightdose.judge.uncertain_inputs import DEFAULTS
from lightdose.model.fixture import Aperture, ChannelProgramme, Dial, Fixture, FixtureType, Programme
from lightdose.model.plans import Controller, TuneWishes, Tuning, WhatChanges
from lightdose.model.record import FloatArray
from lightdose.model.results import PENALTY, Judgement, Verdict
from lightdose.model.setup import Coral, Setup, Site, Tank
from lightdose.physics.changed_day import DayChange, Plateau, with_levels, with_times
from lightdose.physics.day_curve import day_curve, full_output_hours
from lightdose.quantities import MOL_PER_UMOL_S_H
from lightdose.workflows.advice import advised
from lightdose.workflows.tuning import tune

CHANGES: tuple[WhatChanges, ...] = ("overall", "fixtures", "channels")
SEEDS = (0, 4)
CORALS = 20
KNOWN = dict.fromkeys(DEFAULTS, 0.0)


@cache
def tank(seed: int) -> Setup:
    return crowded_tank(seed, corals=CORALS, free=4)


@cache
def tuned(seed: int, change: WhatChanges, *, blue_only: bool = False) -> Tuning:
    return tune(tank(seed), TuneWishes(change=change, blue_only=blue_only))


# --- on crowded tanks ----------------------------------------------------------------------------------


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize(("change", "blue_only"), crossed(CHANGES, [False, True], one_in=2))
def test_tuned_is_never_worse_than_today(seed: int, change: WhatChanges, blue_only: bool) -> None:
    """No higher penalty, no fewer within, by a run of its own; where nothing helps, today's stays."""
    found = tuned(seed, change, blue_only=blue_only)
    before, after = found.before.judgement, found.after.judgement
    assert after.penalty <= before.penalty
    assert after.within >= before.within
    assert analyse(found.after.setup).judgement == after
    assert found.unchanged == (found.after is found.before)
    if not found.unchanged:
        assert after.penalty < before.penalty


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
def test_more_freedom_serves_no_fewer(seed: int) -> None:
    """Levels do at least as well as factors of fixtures, those as well as one factor, but for a fiftieth."""
    penalties = [tuned(seed, change).after.judgement.penalty for change in CHANGES]
    slack = 0.02 * (1 + tuned(seed, "overall").before.judgement.penalty)
    assert penalties[1] <= penalties[0] + slack
    assert penalties[2] <= penalties[1] + slack


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
def test_tune_does_what_dose_advises_or_better(seed: int) -> None:
    """One factor and one length of day are no worse than the overall or the hours that `dose` offers."""
    advice = advised(tank(seed)).advice
    assert advice is not None
    slack = 0.02 * (1 + tuned(seed, "overall").before.judgement.penalty)
    for action in advice.actions:
        if action.kind in ("overall", "hours"):
            assert tuned(seed, "overall").after.judgement.penalty <= action.after.penalty + slack
        if action.kind == "fixture":
            assert tuned(seed, "fixtures").after.judgement.penalty <= action.after.penalty + slack


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("points", [0.0, 0.02, pytest.param(0.05, marks=pytest.mark.slow)])
def test_colour_at_every_coral_moves_no_further_than_asked(seed: int, points: float) -> None:
    """Shares of blue and of red, levels rounded as they are written."""
    found = tune(tank(seed), TuneWishes(change="channels", colour_shift=points))
    for before, after in zip(found.before.verdicts, found.after.verdicts, strict=True):
        if before.band_dli is None:
            continue
        was, now = found.before.band_fraction(before.receiver), found.after.band_fraction(after.receiver)
        for band in ("blue", "red"):
            assert abs(now[band] - was[band]) <= points + 0.002  # a level is written to a tenth of a percent


@pytest.mark.identity
@pytest.mark.parametrize(("seed", "blue_only"), crossed(SEEDS, [False, True], one_in=2))
def test_violet_and_red_rise_only_where_they_are_allowed(seed: int, blue_only: bool) -> None:
    """Below 420 and above 600 nm no level rises, and the table says why; named ones may."""
    found = tuned(seed, "channels", blue_only=blue_only)
    levels = {
        (f.name, n): p.level.max()
        for f in found.before.setup.fixtures
        for n, p in f.programme.channels.items()
    }
    for fixture in found.after.setup.fixtures:
        for name in ("violet", "red"):
            assert fixture.programme.channels[name].level.max() <= levels[fixture.name, name] + 1e-12
    held = {(c.channel, c.held) for c in found.channels if c.channel in ("violet", "red")}
    assert all(words for _, words in held)
    allowed = TuneWishes(change="channels", allow=("violet", "left/red"), blue_only=blue_only)
    free = {(c.fixture, c.channel) for c in tune(tank(seed), allowed).channels if not c.held}
    assert {("left", "violet"), ("right", "violet")} <= free
    assert (("left", "red") in free) is not blue_only
    assert ("right", "red") not in free


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("change", ["overall", "fixtures"])
def test_mix_stays_where_only_factors_change(seed: int, change: WhatChanges) -> None:
    """All channels of a fixture by one factor; of all fixtures where the change is overall."""
    found = tuned(seed, change)
    ratios: dict[str, list[float]] = {}
    then = {f.name: f for f in found.after.setup.fixtures}
    for fixture in found.before.setup.fixtures:
        for name, programme in fixture.programme.channels.items():
            now = then[fixture.name].programme.channels[name].level.max()
            ratios.setdefault(fixture.name, []).append(now / programme.level.max())
    for own in ratios.values():
        assert own == pytest.approx([own[0]] * len(own), rel=0.01)  # a tenth of a percent in 13
    if change == "overall":
        firsts = [own[0] for own in ratios.values()]
        assert firsts == pytest.approx([firsts[0]] * len(firsts), rel=0.01)


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
def test_blue_only_keeps_the_ratios_among_the_kept(seed: int) -> None:
    """Channels that are not blue go dark, the others keep their mix."""
    found = tuned(seed, "overall", blue_only=True)
    assert not found.unchanged
    kept = {"violet", "blue"}
    for fixture, now in zip(found.before.setup.fixtures, found.after.setup.fixtures, strict=True):
        levels = {n: p.level.max() for n, p in now.programme.channels.items()}
        assert {n for n, level in levels.items() if level > 0} <= kept | {"cyan"}
        assert levels["red"] == 0
        lit = [n for n in levels if levels[n] > 0]
        ratios = [levels[n] / fixture.programme.channels[n].level.max() for n in lit]
        assert ratios == pytest.approx([ratios[0]] * len(ratios), rel=0.01)


@pytest.mark.identity
def test_moves_besides_are_judged_by_a_run_of_their_own() -> None:
    """At most so many corals, none pinned; the tank then is what a fresh run of the moved setup finds."""
    found = tune(tank(4), TuneWishes(with_moves=2))
    assert found.moved is not None
    moves = found.moved.moves
    assert 1 <= len(moves) <= 2
    corals = {c.name: c for c in found.after.setup.corals}
    assert not any(corals[name].pinned for name in moves)
    assert {name: corals[name].site for name in moves} == {name: here for name, (here, _) in moves.items()}
    then = {c.name: c.site for c in found.moved.after.setup.corals}
    assert all(then[name] == there for name, (_, there) in moves.items())
    assert analyse(found.moved.after.setup).judgement == found.moved.after.judgement
    assert found.moved.after.judgement.penalty < found.after.judgement.penalty
    assert found.moved.after.judgement.within >= found.after.judgement.within
    with pytest.raises(InfeasibleError, match="more than the setup has"):
        tune(tank(4), TuneWishes(with_moves=CORALS + 1))


# --- small tanks, everything known exactly -------------------------------------------------------------

PLATEAU = Plateau(11.0, 17.0)
NAMES = {"royal": 440, "blue": 460, "sky": 475}
"""All blue, so that no caution on colour stands in the way."""


def small_tank(seed: int, *, dial: float = 0.5, flux: float = 1.0, known: bool = True) -> Setup:
    """Two fixtures of three channels each over six corals of mixed groups, straight drivers."""
    rng = np.random.default_rng([seed, 5])
    groups, sources = default_groups()
    keys = [k for k, g in groups.items() if g.band_dli]
    rows, shape = np.array([9.0, 11.0, 17.0, 19.0]), np.array([0.0, 1.0, 1.0, 0.0])
    fixtures = []
    for name, x in (("left", 0.15), ("right", 0.45)):
        channels = tuple(made_channel(n, nm, flux * float(rng.uniform(20, 50))) for n, nm in NAMES.items())
        levels = {n: round(float(rng.uniform(0.2, 1.0)), 2) * shape for n in NAMES}
        kind = FixtureType("small panel (invented)", channels, Aperture(0.08, 0.05))
        fixtures.append(Fixture(name, kind, x, 0.2, 0.18, Dial(rows, np.full(4, dial), levels).programme()))
    sites = tuple(
        Site(f"s{i}", *(float(rng.uniform(a, b)) for a, b in ((0.05, 0.55), (0.05, 0.35), (0.05, 0.32))))
        for i in range(6)
    )
    corals = tuple(Coral(f"c{i}", keys[int(rng.integers(len(keys)))], f"s{i}") for i in range(6))
    return Setup(
        f"Small tank {seed} (invented)",
        Tank(0.6, 0.4, 0.35, walls=WALLS),
        tuple(fixtures),
        sites,
        corals,
        groups,
        sources,
        uncertainty=KNOWN if known else {},
    )


def penalties(verdicts: tuple[Verdict, ...], doses: FloatArray) -> FloatArray:
    """Penalty of tanks with doses (..., n_coral), by the definition of the states. [mol m-2 d-1]"""
    total = np.zeros(doses.shape[:-1])
    for i, v in enumerate(verdicts):
        assert v.band_dli is not None
        dose, (low, high) = doses[..., i], v.band_dli
        total += np.where((dose < low) | (dose > high), PENALTY["below"], 0.0)
        total += np.where(dose < (v.floor_dli or 0.0), 1.0, 0.0)
        total += np.where(dose > (v.ceiling_dli or np.inf), 1.0, 0.0)
    return total


def withins(verdicts: tuple[Verdict, ...], doses: FloatArray) -> FloatArray:
    """Corals within, the same way."""
    bands = np.array([v.band_dli for v in verdicts])
    return np.asarray(((doses >= bands[:, 0]) & (doses <= bands[:, 1])).sum(axis=-1))


def doses_by_setting(analysis: Analysis, change: DayChange) -> FloatArray:
    """Doses from each fixture at overall settings of 1 to 100 %: (n_fixture, 100, n_coral). [mol m-2 d-1]"""
    light = analysis.light_field.of("ppfd")[[v.receiver for v in analysis.verdicts]]
    found = np.zeros((2, 100, len(light)))
    for i, fixture in enumerate(analysis.setup.fixtures):
        dial = fixture.programme.dial
        assert dial is not None
        full = with_levels(fixture, [1 / dial.plateau] * 3)
        hours = full_output_hours(day_curve([with_times(full, PLATEAU, change)]))
        at_full = MOL_PER_UMOL_S_H * light[:, 3 * i : 3 * i + 3] @ hours
        found[i] = np.linspace(0.01, 1, 100)[:, None] * at_full  # straight drivers
    return found


SMALL_SEEDS = (0, 1, 2, 3, 7, 10)
SAMPLED = [0, 7, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (1, 2, 3, 10))]
"""Two by default, all with `-m slow` besides."""


@pytest.mark.identity
@pytest.mark.parametrize("seed", SAMPLED)
def test_one_factor_and_one_day_are_as_good_as_trying_all(seed: int) -> None:
    """Every overall setting by whole percents in every length of the plateau by quarter hours."""
    setup = small_tank(seed)
    found = tune(setup, TuneWishes(plateau_h=(4.0, 8.0)))
    verdicts, today = found.before.verdicts, found.before.judgement
    best, analysis = today.penalty, analyse(setup, certainty=False)
    for k in range(-8, 9):
        doses = doses_by_setting(analysis, DayChange(0.25 * k)).sum(axis=0)
        keeps = withins(verdicts, doses) >= today.within
        best = min(best, float(penalties(verdicts, doses)[keeps].min(initial=np.inf)))
    assert found.after.judgement.penalty <= best + 0.1


@pytest.mark.identity
@pytest.mark.parametrize("seed", SAMPLED)
def test_a_factor_a_fixture_is_as_good_as_trying_all(seed: int) -> None:
    """Every pair of settings by whole percents, the day as it is."""
    setup = small_tank(seed)
    found = tune(setup, TuneWishes(change="fixtures", plateau_h=(6.0, 6.0)))
    verdicts, today = found.before.verdicts, found.before.judgement
    each = doses_by_setting(analyse(setup, certainty=False), DayChange())
    doses = each[0][:, None] + each[1][None]
    keeps = withins(verdicts, doses) >= today.within
    best = min(today.penalty, float(penalties(verdicts, doses)[keeps].min(initial=np.inf)))
    assert found.after.judgement.penalty <= best + 0.1


def least_penalty(setup: Setup) -> float:
    """The least penalty that any levels of the channels reach, as a mixed-integer program."""
    analysis = analyse(setup, certainty=False)
    verdicts = analysis.verdicts
    light = analysis.light_field.of("ppfd")[[v.receiver for v in verdicts]]
    full = tuple(
        replace(
            f,
            programme=Programme(
                {
                    n: ChannelProgramme(p.time_h, p.level / p.level.max())
                    for n, p in f.programme.channels.items()
                }
            ),
        )
        for f in setup.fixtures
    )
    per_level = MOL_PER_UMOL_S_H * light * full_output_hours(day_curve(full))  # (n_coral, n_channel)
    corals, channels = per_level.shape
    most = per_level.sum(axis=1)
    # Columns: levels, then for each coral: under low, under floor, over high, over ceiling.
    rows, lows = [], []
    for i, v in enumerate(verdicts):
        assert v.band_dli is not None
        marks = (v.band_dli[0], v.floor_dli or 0.0, v.band_dli[1], v.ceiling_dli or np.inf)
        for k, mark in enumerate(marks):
            row = np.zeros(channels + 4 * corals)
            if k < 2:  # dose >= mark unless the switch is on
                row[:channels], row[channels + 4 * i + k] = per_level[i], mark
                rows.append(row)
                lows.append(mark)
            elif np.isfinite(mark):  # dose <= mark unless it is on
                row[:channels], row[channels + 4 * i + k] = -per_level[i], max(most[i] - mark, 0.0)
                rows.append(row)
                lows.append(-mark)
    cost = np.concatenate([np.zeros(channels), np.ones(4 * corals)])
    found = milp(
        cost,
        constraints=LinearConstraint(np.array(rows), np.array(lows), np.inf),
        integrality=np.concatenate([np.zeros(channels), np.ones(4 * corals)]),
        bounds=Bounds(0, 1),
    )
    assert found.success
    return float(round(found.fun))


@pytest.mark.identity
@pytest.mark.parametrize("seed", SAMPLED)
def test_levels_of_channels_reach_what_an_exact_program_reaches(seed: int) -> None:
    """Colour left free and everything allowed: the penalty of the mixed-integer program, never less."""
    setup = small_tank(seed)
    wishes = TuneWishes(change="channels", plateau_h=(6.0, 6.0), colour_shift=1.0, allow=tuple(NAMES))
    found = tune(setup, wishes)
    least = least_penalty(setup)
    assert found.after.judgement.penalty >= least - 1e-9
    assert found.after.judgement.penalty <= least + 0.1


@pytest.mark.identity
@pytest.mark.parametrize("seed", SMALL_SEEDS[:3])
def test_twice_the_flux_at_half_the_setting_is_the_same_light(seed: int) -> None:
    """Doses and states today, and the penalty that tuning reaches, do not hang on how the light is shared."""
    one, other = small_tank(seed, dial=0.8), small_tank(seed, dial=0.4, flux=2.0)
    before = [analyse(s, certainty=False) for s in (one, other)]
    assert before[0].dose.dli == pytest.approx(before[1].dose.dli, rel=1e-12)
    assert before[0].judgement == before[1].judgement
    first, second = (tune(s, TuneWishes(plateau_h=(6.0, 6.0))) for s in (one, other))
    assert first.after.judgement.penalty == pytest.approx(second.after.judgement.penalty, abs=0.1)


@pytest.mark.identity
@pytest.mark.parametrize("bounds", [(5.0, 5.0), (7.0, 8.0), (2.0, 3.0)])
def test_plateau_stays_within_its_bounds(bounds: tuple[float, float]) -> None:
    """And its middle, its ramps and every channel's own course stay."""
    for seed, change in product(SMALL_SEEDS[:2], CHANGES):
        found = tune(small_tank(seed), TuneWishes(change=change, plateau_h=bounds))
        if found.unchanged:
            continue
        day = found.day_after
        assert day is not None
        assert bounds[0] - 1e-9 <= day.plateau_h <= bounds[1] + 1e-9
        assert (day.ramp_up_h, day.ramp_down_h) == pytest.approx((2.0, 2.0))
        assert day.start_h + 0.5 * day.lit_h == pytest.approx(14.0)


@pytest.mark.identity
def test_least_change_among_equals() -> None:
    """A tank where all are within already is left alone, whatever may change."""
    setup = small_tank(0)
    served = replace(
        setup,
        corals=tuple(
            replace(c, band_dli=(0.5 * v.dli_mol_m2_d, 2.0 * v.dli_mol_m2_d))
            for c, v in zip(setup.corals, analyse(setup).verdicts, strict=True)
        ),
    )
    for change in CHANGES:
        found = tune(served, TuneWishes(change=change))
        assert found.unchanged
        assert found.refused is None
        assert found.after.judgement.within == 6


@pytest.mark.identity
def test_most_change_and_caps_hold() -> None:
    """No dose moves further than asked; no level passes its cap; a channel that is off stays off."""
    for seed in SMALL_SEEDS[:3]:
        held = tune(small_tank(seed), TuneWishes(change="channels", most_change=0.10))
        assert all(abs(c.rise or 0.0) <= 0.10 + 0.005 for c in held.corals)
        wishes = TuneWishes(change="channels", caps=(("left/sky", 0.3),), off=("royal",))
        found = tune(small_tank(seed), wishes)
        for fixture in () if found.unchanged else found.after.setup.fixtures:
            runs = fixture.programme.channels
            assert runs["royal"].level.max() == 0
            assert fixture.name != "left" or runs["sky"].level.max() <= 0.3 + 1e-12


@pytest.mark.identity
def test_dial_alone_is_turned_by_whole_percents() -> None:
    """What is written leaves the levels of the channels alone, and sets each dial to a whole percent."""
    setup = small_tank(1, known=False)
    found = tune(setup, TuneWishes(controller=Controller(whole_percents=True)))
    for before, after in zip(setup.fixtures, found.after.setup.fixtures, strict=True):
        one, other = before.programme.dial, after.programme.dial
        assert one is not None
        assert other is not None
        assert {n: v.tolist() for n, v in one.levels.items()} == {
            n: v.tolist() for n, v in other.levels.items()
        }
        assert 100 * other.plateau == pytest.approx(round(100 * other.plateau), abs=1e-9)


@pytest.mark.identity
def test_penalty_is_0_within_1_off_and_2_far_off() -> None:
    """The yardstick of this file is that of the program, where everything is known."""
    for seed in SMALL_SEEDS[:3]:
        analysis = analyse(small_tank(seed))
        doses = np.array([v.dli_mol_m2_d for v in analysis.verdicts])
        assert Judgement.of(analysis.verdicts).penalty == pytest.approx(
            float(penalties(analysis.verdicts, doses)), abs=1e-9
        )
