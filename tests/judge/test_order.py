"""Everything that has a name is drawn by its name: no result hangs on the order of a setup's lists."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest
from crossed import crossed

from lightdose.analysis import analyse
from lightdose.judge.uncertain_inputs import draw_inputs, stream, uncertain_inputs
from lightdose.model.advice import Advice
from lightdose.model.fixture import Fixture
from lightdose.model.plans import TuneWishes, Tuning, WhatChanges
from lightdose.model.results import Analysis
from lightdose.model.setup import Setup
from lightdose.workflows.advice import advised
from lightdose.workflows.tuning import tune

from .crowded_tanks import crowded_tank

TANK = crowded_tank(7, corals=14, free=4)


@cache
def analysed() -> Analysis:
    return analyse(TANK)


@cache
def advice() -> Advice | None:
    return advised(TANK).advice


@cache
def tuned(change: WhatChanges) -> Tuning:
    return tune(TANK, TuneWishes(change=change))


def corals_turned(setup: Setup) -> Setup:
    return replace(setup, corals=setup.corals[::-1])


def sites_turned(setup: Setup) -> Setup:
    return replace(setup, sites=setup.sites[::-1])


def fixtures_turned(setup: Setup) -> Setup:
    return replace(setup, fixtures=setup.fixtures[::-1])


def channels_turned(setup: Setup) -> Setup:
    def turned(fixture: Fixture) -> Fixture:
        return replace(fixture, type=replace(fixture.type, channels=fixture.type.channels[::-1]))

    return replace(setup, fixtures=tuple(map(turned, setup.fixtures)))


TURNS: tuple[Callable[[Setup], Setup], ...] = (corals_turned, sites_turned, fixtures_turned, channels_turned)


def told(analysis: Analysis) -> dict[str, Any]:
    """All that is judged, by names."""
    return {
        v.coral: (v.dli_verdict, dict(v.certainty.probability) if v.certainty else None)
        for v in analysis.verdicts
    }


@pytest.mark.identity
@pytest.mark.parametrize("turn", TURNS)
def test_judgement_does_not_hang_on_order(turn: Callable[[Setup], Setup]) -> None:
    """Counts, penalty, and each coral's probabilities are the same to the last draw."""
    one, other = analysed(), analyse(turn(TANK))
    assert one.judgement.counts == other.judgement.counts
    assert one.judgement.calculated_counts == other.judgement.calculated_counts
    assert one.judgement.penalty == pytest.approx(other.judgement.penalty, abs=1e-3)
    mine, theirs = told(one), told(other)
    for coral, (verdict, probability) in mine.items():
        assert theirs[coral][0] == verdict
        assert theirs[coral][1] == pytest.approx(probability, abs=1e-3)


@pytest.mark.identity
@pytest.mark.parametrize("turn", TURNS)
def test_actions_do_not_hang_on_order(turn: Callable[[Setup], Setup]) -> None:
    """The same changes in the same order, with the same outcome; the same corals to move."""
    one, other = advice(), advised(turn(TANK)).advice
    assert one is not None
    assert other is not None
    assert len(one.actions) > 2
    for mine, theirs in zip(one.actions, other.actions, strict=True):
        assert mine.kind == theirs.kind
        assert set(mine.dials) == set(theirs.dials)
        assert (mine.longer_h, dict(mine.moves), mine.reading) == (
            theirs.longer_h,
            dict(theirs.moves),
            theirs.reading,
        )
        assert (mine.after.within, mine.after.undecided) == (theirs.after.within, theirs.after.undecided)
        assert mine.after.penalty == pytest.approx(theirs.after.penalty, abs=1e-3)
        assert set(mine.better) == set(theirs.better)
        assert set(mine.worse) == set(theirs.worse)
    assert {u.coral for u in one.unserved} == {u.coral for u in other.unserved}


@pytest.mark.identity
@pytest.mark.parametrize(("turn", "change"), crossed(TURNS, ["overall", "fixtures", "channels"], one_in=2))
def test_tune_does_not_hang_on_order(turn: Callable[[Setup], Setup], change: WhatChanges) -> None:
    """The same settings for every channel and fixture, and the same judgement."""
    one, other = tuned(change), tune(turn(TANK), TuneWishes(change=change))
    levels = [{(c.fixture, c.channel): c.level_after for c in t.channels} for t in (one, other)]
    assert levels[0] == levels[1]
    assert set(one.dials) == set(other.dials)
    assert one.day_after == other.day_after
    assert one.after.judgement.counts == other.after.judgement.counts


@pytest.mark.identity
def test_numbers_of_a_name_are_its_own() -> None:
    """The same name, the same numbers; another name or seed, others; names do not run into each other."""
    first = stream(1, "place", "A1").random(50)
    assert np.array_equal(first, stream(1, "place", "A1").random(50))
    for other in (stream(2, "place", "A1"), stream(1, "place", "A2"), stream(1, "placeA", "1")):
        assert not np.array_equal(first, other.random(50))


@pytest.mark.identity
def test_one_more_fixture_changes_no_draw_of_the_others() -> None:
    """A second lamp is drawn beside the first, which keeps its output, height, beam and dimming."""
    both = draw_inputs(uncertain_inputs(TANK), 200, 1)
    alone = draw_inputs(uncertain_inputs(replace(TANK, fixtures=TANK.fixtures[1:])), 200, 1)
    count = len(TANK.fixtures[1].type.channels)
    assert np.array_equal(both.gain[:, -count:], alone.gain)
    for name in ("height_m", "ln_beam", "dimming"):
        assert np.array_equal(getattr(both, name)[:, 1:], getattr(alone, name))
    assert np.array_equal(both.added_yellowing_per_m, alone.added_yellowing_per_m)


@pytest.mark.identity
def test_coral_that_is_gone_changes_no_draw_of_the_others() -> None:
    """Without one coral every other has the same interval."""
    fewer = analyse(replace(TANK, corals=TANK.corals[1:]))
    intervals = {v.coral: v.certainty.interval_dli for v in analysed().verdicts if v.certainty}
    for verdict in fewer.verdicts:
        assert verdict.certainty is not None
        assert verdict.certainty.interval_dli == pytest.approx(intervals[verdict.coral], rel=1e-9)
