"""`move` against exhaustive search, and what it refuses."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest
from judge.made_tank import made_tank

from lightdose.errors import InfeasibleError, SetupError
from lightdose.fit.placement import fewest_steps
from lightdose.model.paths import reachable
from lightdose.model.places import Move, MoveWishes
from lightdose.model.setup import Setup, Site
from lightdose.workflows.placing import move


def fewest_by_trying_all(
    start: float, dli: np.ndarray, end: int, growth: float, floor: float
) -> tuple[int, float] | None:
    """Steps and largest log rise of the best path, by trying every order of every set of stones."""
    others = [p for p in range(len(dli)) if p != end]
    for stones in range(len(others) + 1):
        found = []
        for between in itertools.permutations(others, stones):
            doses = [start, *(dli[p] for p in between), dli[end]]
            steps = list(itertools.pairwise(doses))
            if all(b <= a * growth * (1 + 1e-9) and (b >= floor or b >= a) for a, b in steps):
                found.append(max(math.log(b / a) for a, b in steps))
        if found:
            return stones + 1, min(found)
    return None


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(25))
def test_path_has_the_fewest_steps_and_the_least_largest_rise(seed: int) -> None:
    """Every site of a rack of six, up and down, against all orders of all stones."""
    random = np.random.default_rng(seed)
    dli = random.uniform(2, 7, 6)
    start, growth, floor = float(random.uniform(2, 5)), float(random.uniform(1.1, 1.5)), 2.5
    ways = fewest_steps(start, dli, growth, floor)
    for end in range(6):
        best, way = fewest_by_trying_all(start, dli, end, growth, floor), ways[end]
        assert (way is None) == (best is None)
        if way is not None and best is not None:
            doses = [start, *dli[list(way)]]
            assert way[-1] == end
            assert len(way) == best[0]
            assert max(math.log(b / a) for a, b in itertools.pairwise(doses)) == pytest.approx(best[1])


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(40))
def test_reachable_sites_are_those_that_have_a_path(seed: int) -> None:
    """The quick answer, which advice uses, against the paths themselves, above and below the floor."""
    random = np.random.default_rng(seed)
    dli = random.uniform(0, 7, 60)
    start, growth, floor = float(random.uniform(0.5, 5)), float(random.uniform(1.02, 1.3)), 2.5
    ways = fewest_steps(start, dli, growth, floor)
    assert reachable(start, dli, growth, floor).tolist() == [way is not None for way in ways]


@pytest.mark.identity
def test_paths_among_20_000_sites_take_seconds_not_minutes() -> None:
    """Stones that a brighter one outdoes are left out of each step: it was quadratic."""
    from time import process_time

    dli = np.random.default_rng(1).uniform(0.1, 20, 20_000)
    start = process_time()
    assert all(way is not None for way, d in zip(fewest_steps(1.0, dli, 1.1, 0.5), dli, strict=True) if d > 1)
    assert process_time() - start < 5


@pytest.mark.identity
def test_way_of_the_issue_takes_each_stone_in_turn() -> None:
    """4.6, 5.0, 5.5, 6.0 at 10 % a week: three steps, none skipped."""
    assert fewest_steps(4.6, np.array([6.0, 5.5, 5.0, 4.2]), 1.1, 1.0)[0] == (2, 1, 0)


def racked() -> Setup:
    """The made tank with a column of free sites under its left fixture, 2 cm from one to the next."""
    tank = made_tank()
    column = tuple(Site(f"P{i}", 0.24, 0.28, 0.34 - 0.02 * i) for i in range(10))
    return replace(tank, sites=(*tank.sites, *column))


def moved(setup: Setup, coral: str, to: str, rise: float = 0.1) -> Move:
    return move(setup, MoveWishes(coral, to, rise, start="2026-03-01"))


@pytest.mark.identity
def test_steps_stay_under_the_rise_and_carry_dates() -> None:
    """Each stone is at most 7 % brighter than the one before; dates are a week apart."""
    found = moved(racked(), "brain", "P9", 0.07)
    doses = [found.start_dli, *(s.dli_mol_m2_d for s in found.steps)]
    assert len(found.steps) > 2
    assert all(b <= a * 1.07 * (1 + 1e-9) for a, b in itertools.pairwise(doses))
    assert [s.day for s in found.steps] == [7 * k for k in range(len(found.steps))]
    assert [s.date for s in found.steps[:2]] == ["2026-03-01", "2026-03-08"]
    assert found.steps[-1].site == "P9"


@pytest.mark.identity
def test_shorter_steps_rise_less() -> None:
    """Steps of 3 days rise by 1.1^(3/7) at most, and rise_per_week is scaled back to seven days."""
    found = move(racked(), MoveWishes("brain", "P4", 0.1, 3))
    assert all(s.rise_per_week <= 0.1 + 1e-9 for s in found.steps)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("coral", "to", "words"),
    [
        ("brian", "P3", "did you mean 'brain'"),
        ("brain", "Q3", "no site 'Q3'"),
        ("brain", "sand", "stands at 'sand' already"),
        ("brain", "shelf", "taken by 'hammer'"),
    ],
)
def test_move_that_cannot_be_is_refused_in_words(coral: str, to: str, words: str) -> None:
    """Unknown names, taken sites and the present one."""
    with pytest.raises(SetupError) as trouble:
        moved(racked(), coral, to)
    assert words in str(trouble.value)


@pytest.mark.pinned
def test_no_path_names_the_nearest_stone_and_acclimate() -> None:
    """Without stones between, the sentence tells how far a path comes, what is missing, what else to do."""
    setup = racked()
    gap = replace(setup, sites=tuple(s for s in setup.sites if s.name not in ("P7", "P8")))
    with pytest.raises(InfeasibleError) as trouble:
        moved(gap, "brain", "P9")
    text = str(trouble.value)
    assert "no path of free sites" in text
    assert "the nearest it comes is 'P6' with 5.28, in 1 step" in text
    assert "lightdose acclimate" in text


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("site", "words"), [("P3", "stand in the dark"), ("sand", "no rise can be calculated")]
)
def test_dark_end_or_start_is_refused(site: str, words: str) -> None:
    """A site under closed sky is no goal, and a coral there has no dose to rise from."""
    setup = racked()
    sites = tuple(replace(s, open_sky=0.0) if s.name == site else s for s in setup.sites)
    with pytest.raises(SetupError, match=words):
        moved(replace(setup, sites=sites), "brain", "P3")


@pytest.mark.identity
def test_sting_reach_keeps_a_site_shut() -> None:
    """A neighbour's keep_apart shuts the sites within it."""
    setup = racked()
    corals = tuple(replace(c, keep_apart_m=0.2) if c.name == "staghorn" else c for c in setup.corals)
    with pytest.raises(SetupError, match="sting reach of 'staghorn'"):
        moved(replace(setup, corals=corals), "brain", "P3")


@pytest.mark.identity
def test_coral_that_light_does_not_judge_goes_in_one_step() -> None:
    """No band, no limit: one step, whatever the dose."""
    assert [s.site for s in moved(racked(), "sun coral", "P9").steps] == ["P9"]
