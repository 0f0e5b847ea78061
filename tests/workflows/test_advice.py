"""Advice tried on whole tanks: a fresh run finds what was promised, and following it never leads back."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest
from crossed import crossed
from judge.crowded_tanks import crowded_tank, followed
from judge.made_tank import made_tank

from lightdose.analysis import analyse
from lightdose.judge.actions import LEAST_GAIN, LEAST_GAIN_SHARE
from lightdose.judge.uncertain_inputs import DEFAULTS
from lightdose.model.advice import Action, Stand
from lightdose.model.fixture import ChannelProgramme, Programme
from lightdose.model.results import Analysis, Judgement, severity
from lightdose.model.setup import Coral, Setup
from lightdose.workflows.advice import advised

SEEDS = (0, 2, 3)
"""Tanks in which every kind of action is offered; even ones are measured."""

STEPS = 10


@cache
def tank(seed: int) -> Setup:
    return crowded_tank(seed, measured=seed % 2 == 0)


@cache
def answer(seed: int) -> Analysis:
    return advised(tank(seed))


def actions(analysis: Analysis) -> tuple[Action, ...]:
    assert analysis.advice is not None
    return analysis.advice.actions


def stands_as(judgement: Judgement, stand: Stand) -> bool:
    """Whether a tank stands as was said: both counts exactly, the penalty but for rounding."""
    same = (judgement.within, judgement.undecided) == (stand.within, stand.undecided)
    return same and judgement.penalty == pytest.approx(stand.penalty, abs=1e-9)


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
def test_before_and_after_are_what_fresh_runs_find(seed: int) -> None:
    """Each offered change, made in the setup and judged anew, gives the counts and the penalty promised."""
    analysis = answer(seed)
    for action in actions(analysis):
        assert stands_as(analysis.judgement, action.before)
        assert stands_as(analyse(followed(tank(seed), action)).judgement, action.after), action.kind


@pytest.mark.identity
def test_every_kind_of_action_is_among_those_tried() -> None:
    """The tanks of these tests offer each change of light and of corals that needs no ladder."""
    kinds = {action.kind for seed in SEEDS for action in actions(answer(seed))}
    assert kinds >= {"measure", "overall", "fixture", "hours", "move", "exchange"}


def hung_too_high() -> Setup:
    """Lamps at full that give too little from where they hang."""
    setup = tank(2)
    day = ChannelProgramme(np.array([6.0, 6.25, 19.75, 20.0]), np.array([0.0, 1.0, 1.0, 0.0]))
    full = tuple(
        replace(
            f,
            height_m=0.45,
            output_scale=0.3,
            programme=Programme({c.name: day for c in f.type.channels}),
        )
        for f in setup.fixtures
    )
    return replace(setup, fixtures=full)


@pytest.mark.identity
def test_height_at_which_light_takes_too_many_rays_is_not_offered(monkeypatch: pytest.MonkeyPatch) -> None:
    """The other advice is given all the same; before, the dose itself was refused."""
    monkeypatch.setattr("lightdose.workflows.advice.RAYS_FOR_HEIGHTS", 10)
    found = actions(advised(hung_too_high()))
    assert found
    assert all(action.kind != "height" for action in found)


@pytest.mark.identity
def test_height_does_what_it_says_where_no_setting_can() -> None:
    """Lower, by whole centimetres, and a fresh run agrees."""
    dim = hung_too_high()
    hung = [a for a in actions(advised(dim)) if a.kind == "height"]
    assert hung
    for action in hung:
        for before, after in action.heights_m.values():
            assert before == 0.45
            assert 100 * (before - after) == pytest.approx(round(100 * (before - after)), abs=1e-6)
        assert stands_as(analyse(followed(dim, action)).judgement, action.after)


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
def test_offered_is_only_what_helps_and_leaves_no_fewer_within(seed: int) -> None:
    """Penalty falls by half a coral or a twentieth; within never falls; the most useful stands first."""
    offered = [a for a in actions(answer(seed)) if a.kind not in ("measure", "leave")]
    assert offered
    for action in offered:
        least = min(LEAST_GAIN, LEAST_GAIN_SHARE * action.before.penalty)
        assert action.gain >= least - 1e-9
        assert action.after.within >= action.before.within
    penalties = [round(a.after.penalty, 2) for a in offered]
    assert penalties == sorted(penalties)


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
def test_better_and_worse_are_the_corals_whose_verdicts_change(seed: int) -> None:
    """Whose verdict changes is named on the right side; nobody stands on both; pinned corals stay."""
    setup, before = tank(seed), answer(seed).verdicts
    pinned = {c.name for c in setup.corals if c.pinned}
    for action in actions(answer(seed)):
        assert not set(action.better) & set(action.worse)
        assert not set(action.moves) & pinned
        after = analyse(followed(setup, action)).verdicts
        for old, new in zip(before, after, strict=True):
            step = severity(new.dli_verdict) - severity(old.dli_verdict)
            if step:
                assert old.coral in (action.better if step < 0 else action.worse)


@pytest.mark.identity
@pytest.mark.parametrize(("seed", "of"), crossed(SEEDS, ["light", "corals"], one_in=2))
def test_following_the_first_action_ten_times_never_leads_back(seed: int, of: str) -> None:
    """The penalty never rises and the number within never falls, step by step, by fresh runs."""
    kinds = ("move", "exchange") if of == "corals" else ("overall", "fixture", "hours", "height")
    setup, analysis = tank(seed), answer(seed)
    for _ in range(STEPS):
        first = next((a for a in actions(analysis) if a.kind in kinds), None)
        if first is None:
            break
        setup = followed(setup, first)
        then = advised(setup)
        assert stands_as(then.judgement, first.after)
        assert then.judgement.penalty < analysis.judgement.penalty
        assert then.judgement.within >= analysis.judgement.within
        analysis = then


@pytest.mark.identity
def test_unmeasured_tank_is_read_first_and_never_raised_first() -> None:
    """Too dark and too bright alike: the first action is the reading, at a site of the tank."""
    for factor in (0.4, 1.0, 2.0):
        setup = crowded_tank(1, corals=12)
        fixtures = tuple(replace(f, output_scale=factor) for f in setup.fixtures)
        analysis = advised(replace(setup, fixtures=fixtures))
        assert analysis.basis.key != "measured"
        first, *rest = actions(analysis)
        assert first.kind == "measure"
        assert first.reading in {s.name for s in setup.sites}
        assert not first.raises_light
        assert analysis.advice is not None
        assert analysis.advice.measure_first
        assert "measure" not in {a.kind for a in rest}


@pytest.mark.identity
def test_raise_of_light_waits_for_a_reading_where_all_is_said_to_be_known() -> None:
    """Nothing uncertain and nothing open: a raise still waits for the reading, a cut of light does not."""
    setup = crowded_tank(3, corals=12)
    known = dict.fromkeys(DEFAULTS, 0.0)
    dim = replace(
        setup, uncertainty=known, fixtures=tuple(replace(f, output_scale=0.1) for f in setup.fixtures)
    )
    first, second, *_ = actions(advised(dim))
    assert (first.kind, second.raises_light) == ("measure", True)
    bright = replace(dim, fixtures=tuple(replace(f, output_scale=3.0) for f in setup.fixtures))
    first = actions(advised(bright))[0]
    assert first.kind != "measure"
    assert first.largest_cut > 0


@pytest.mark.identity
@pytest.mark.parametrize("seed", [0, 2])
def test_measured_tank_is_not_asked_to_be_measured(seed: int) -> None:
    """Every channel was read: the first action is a change, however wide the intervals are."""
    analysis = answer(seed)
    assert analysis.basis.key == "measured"
    assert "measure" not in {a.kind for a in actions(analysis)}
    assert analysis.advice is not None
    assert not analysis.advice.measure_first


@pytest.mark.identity
@pytest.mark.parametrize("seed", SEEDS)
def test_places_of_unserved_corals_suit_and_can_be_reached(seed: int) -> None:
    """At most three a coral, free, named, no two for what is pinned; each dose is what the place gives."""
    setup, advice = tank(seed), answer(seed).advice
    assert advice is not None
    taken = {c.site for c in setup.corals}
    corals = {c.name: c for c in setup.corals}
    for unserved in advice.unserved:
        assert len(unserved.places) <= 3
        assert not (unserved.places and corals[unserved.coral].pinned)
        assert not {p.site for p in unserved.places} & taken


@pytest.mark.identity
def test_tank_without_judged_corals_has_no_actions() -> None:
    """No corals, or only such as live without light: no action and no reading; no light: leave it."""
    bare = advised(made_tank(corals=()))
    assert actions(bare) == ()
    sun = advised(made_tank(corals=(Coral("sun coral", "non-photosynthetic", "sand"),)))
    assert actions(sun) == ()
    dark = made_tank()
    off = replace(dark, fixtures=tuple(replace(f, enabled=False) for f in dark.fixtures))
    assert {a.kind for a in actions(advised(off))} <= {"measure", "leave"}
