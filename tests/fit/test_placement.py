"""`place` against enumeration, and what it refuses."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from fit.placement_scenes import least_price, made_task, price
from judge.made_tank import made_tank

from lightdose.errors import SetupError
from lightdose.files.setup_file import read_setup
from lightdose.fit.placement import grid_spots, placed_setup, setup_spots, standing_today
from lightdose.fit.placement_search import (
    MOST_CELLS_EXACT,
    assignment,
    best_choice,
    conflicts,
    exact_choice,
    packings,
    repaired,
)
from lightdose.model.paths import own_skies
from lightdose.model.places import Grid, PlaceWishes
from lightdose.model.setup import Coral, Site
from lightdose.workflows.placing import place

CROWDED = Path(__file__).resolve().parents[2] / "examples" / "crowded-cube"
SMALL = [(seed, n, m) for seed in range(6) for n, m in ((3, 5), (4, 4), (5, 4), (5, 6))]


@pytest.mark.identity
@pytest.mark.parametrize(("seed", "n", "m"), SMALL)
def test_choice_without_rules_is_the_least_of_all_choices(seed: int, n: int, m: int) -> None:
    """Stage by stage no choice of spots is cheaper, corals without a place included."""
    task = made_task(seed, n, m)
    found = best_choice(task)
    assert found.proven_optimal
    assert price(task, found.spots) == least_price(task)


@pytest.mark.identity
@pytest.mark.parametrize(("seed", "n", "m"), SMALL)
def test_choice_with_rules_is_the_least_of_all_that_keep_them(seed: int, n: int, m: int) -> None:
    """The same where all keep 12 cm apart and one pair 20 cm."""
    task = made_task(seed, n, m, 0.12, pairs=1)
    found = best_choice(task)
    assert found.proven_optimal
    assert price(task, found.spots) == least_price(task)


@pytest.mark.identity
@pytest.mark.parametrize("apart_m", [0.0, 0.05])
@pytest.mark.parametrize("most_moves", [0, 1, 3])
@pytest.mark.parametrize("seed", [1, *(pytest.param(seed, marks=pytest.mark.slow) for seed in (0, 2, 3))])
def test_few_moves_are_the_best_of_all_with_so_many(seed: int, most_moves: int, apart_m: float) -> None:
    """6 corals on 6 places: every choice with at most so many moves is tried."""
    task = made_task(seed, 6, 6, apart_m, most_moves=most_moves)
    gaps = np.hypot(*(task.places_m[:, None, :] - task.places_m[None, :, :]).transpose(2, 0, 1))
    task = replace(task, apart_m=np.minimum(task.apart_m, gaps))  # who stands too near today may stay so
    found = best_choice(task)
    assert price(task, found.spots) == least_price(task)
    assert task.cost(found.spots).moves <= most_moves


@pytest.mark.identity
def test_price_on_moves_keeps_their_number_and_loses_no_coral() -> None:
    """40 corals on 160 places with rules, too many to solve exactly: at most 3 move, all stand somewhere."""
    task = made_task(2, 40, 160, 0.01, pairs=3, most_moves=3)
    assert task.dli.size > MOST_CELLS_EXACT
    found = best_choice(task)
    assert -1 not in found.spots
    cost, today = task.cost(found.spots), task.cost(tuple(range(40)))
    assert cost.moves <= 3
    assert cost.penalty < today.penalty


@pytest.mark.identity
def test_no_coral_of_a_crowded_tank_loses_its_place() -> None:
    """45 corals on 48 places, one of them with a sting reach of 8 cm: all stand, and the reach is kept."""
    setup = read_setup(CROWDED)
    found = place(setup, PlaceWishes(everything=True))
    assert found.unplaced == ()
    after = found.after.setup
    assert len(after.corals) == len(setup.corals)
    at = {s.name: (s.x_m, s.y_m) for s in after.sites}
    (stings,) = (c for c in after.corals if c.keep_apart_m)
    others = [math.dist(at[stings.site], at[c.site]) for c in after.corals if c is not stings]
    assert min(others) >= stings.keep_apart_m - 1e-9


@pytest.mark.identity
@pytest.mark.parametrize("pinned", [False, True])
@pytest.mark.parametrize("moves", [None, 1])
def test_corals_that_stand_too_near_today_and_cannot_part_keep_a_place_each(
    moves: int | None, pinned: bool
) -> None:
    """Two places 5 cm apart, a reach of 10 cm: no rule takes a place from a coral that has one."""
    tank = made_tank()
    sites = (Site("a", 0.20, 0.20, 0.20), Site("b", 0.25, 0.20, 0.10))
    corals = (
        Coral("one", "lps-branching", "a", keep_apart_m=0.10, pinned=pinned),
        Coral("two", "sps-shallow", "b"),
    )
    setup = replace(tank, sites=sites, corals=corals)
    found = place(setup, PlaceWishes(everything=moves is None, moves=moves))
    assert found.unplaced == ()
    (near,) = (c.text for c in found.cautions if c.code == "too_near")
    assert "two and one (5 of 10 cm)" in near if pinned else "one and two (5 of 10 cm)" in near
    assert ("--all parts them" in near) == (moves is not None)


@pytest.mark.identity
@pytest.mark.parametrize("apart_cm", [4.9, 5.0])
def test_corals_that_stand_far_enough_apart_are_not_told_as_near(apart_cm: float) -> None:
    """Two places 5 cm apart: a reach of 5 cm is kept, and corals that all stay are nobody's choice."""
    sites = (Site("a", 0.20, 0.20, 0.20), Site("b", 0.25, 0.20, 0.10))
    corals = (
        Coral("one", "lps-branching", "a", keep_apart_m=apart_cm / 100),
        Coral("two", "sps-shallow", "b"),
    )
    found = place(replace(made_tank(), sites=sites, corals=corals), PlaceWishes(everything=True))
    assert "too_near" not in {c.code for c in found.cautions}


@pytest.mark.identity
def test_coral_without_a_place_gets_none_at_the_cost_of_one_that_has() -> None:
    """Two corals and one place, which the newcomer would like better: who stands there stays."""
    sites = (Site("a", 0.20, 0.20, 0.20),)
    for one, other in itertools.permutations(("sps-shallow", "mushroom")):
        setup = replace(
            made_tank(), sites=sites, corals=(Coral("here", one, "a"),), unplaced=(Coral("new", other, ""),)
        )
        found = place(setup, PlaceWishes(everything=True))
        assert [c.name for c in found.after.setup.unplaced] == ["new"]


@pytest.mark.slow
@pytest.mark.identity
@pytest.mark.parametrize("apart_m", [0.0, 0.06])
def test_seven_corals_on_seven_spots_equal_enumeration(apart_m: float) -> None:
    """7 x 7 with and without pairwise rules: all 130,922 choices are tried."""
    task = made_task(3, 7, 7, apart_m, pairs=1 if apart_m else 0)
    assert price(task, best_choice(task).spots) == least_price(task)


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(5))
def test_repair_keeps_every_rule_and_never_beats_the_exact_answer(seed: int) -> None:
    """On small cases: exact <= repaired, both keep the rules; the bound is below both."""
    task = made_task(seed, 8, 30, 0.08, pairs=2)
    key = task.key()
    bound = assignment(key)
    swapped = repaired(task, key, bound)
    exact = exact_choice(task)
    assert exact is not None
    ours, best, least = price(task, swapped), price(task, exact), task.cost(bound)
    assert ours is not None
    assert best is not None
    assert ours >= best
    assert task.cost(exact).penalty >= least.penalty - 1e-9
    assert -1 not in swapped


@pytest.mark.identity
@pytest.mark.parametrize("seed", range(3))
def test_repaired_choice_leaves_no_cheaper_open_spot_and_no_swap_that_pays(seed: int) -> None:
    """What it keeps count of, who is in whose way, is looked up anew: 40 corals on 90 spots, three kinds."""
    task = made_task(seed, 40, 90, 0.04, pairs=12)
    draw = np.random.default_rng(seed)
    wide = draw.integers(0, 3, 40) * 0.02
    apart = np.maximum(task.apart_m, np.add.outer(wide, wide)) * ~np.eye(40, dtype=bool)
    task = replace(task, apart_m=apart)
    key = task.key()
    found = list(repaired(task, key, assignment(key)))
    assert conflicts(task, tuple(found)) == []

    def fits(choice: list[int]) -> bool:
        standing = [p for p in choice if p >= 0]
        return len(set(standing)) == len(standing) and not conflicts(task, tuple(choice))

    tried = 0
    for i in range(40):
        for p in np.flatnonzero(key[i, :-1] < key[i, found[i]]).tolist():
            tried += 1
            assert not fits([*found[:i], p, *found[i + 1 :]])
        for j in range(i):
            pays = key[i, found[j]] + key[j, found[i]] < key[i, found[i]] + key[j, found[j]]
            if pays and found[i] >= 0 and found[j] >= 0:
                tried += 1
                swapped = list(found)
                swapped[i], swapped[j] = found[j], found[i]
                assert not fits(swapped)
    assert tried > 20


@pytest.mark.identity
def test_large_case_keeps_rules_and_names_its_bound() -> None:
    """30 corals on 400 spots, 5 cm apart: all placed, no conflict, proven only where it meets the bound."""
    task = made_task(1, 30, 400, 0.05)
    assert task.dli.size > MOST_CELLS_EXACT
    found = best_choice(task)
    assert conflicts(task, found.spots) == []
    assert -1 not in found.spots
    key = task.key()
    total = [sum(key[i, p] for i, p in enumerate(c)) for c in (found.spots, found.bound)]
    assert total[0] >= total[1]
    assert found.proven_optimal == (total[0] == total[1])


@pytest.mark.identity
def test_packings_keep_their_distance() -> None:
    """No two spots of a packing are nearer than asked, and no free spot is left that would fit."""
    task = made_task(0, 10, 300, 0.07)
    at = task.places_m
    for kept in packings(task):
        gap = np.hypot(*(at[kept][:, None, :] - at[None, :, :]).transpose(2, 0, 1))
        own = gap[:, kept]
        assert own[~np.eye(len(kept), dtype=bool)].min() >= 0.07 - 1e-9
        assert (gap.min(axis=0) < 0.07)[task.allowed.any(axis=0)].all()


@pytest.mark.identity
def test_grid_is_centred_and_keeps_half_its_spacing_from_panes() -> None:
    """0.6 x 0.4 m at 7 cm: 8 x 5 points a depth, as far from left as from right."""
    spots = grid_spots(made_tank().tank, Grid(0.07, (0.1, 0.2)))
    x, y = sorted({s.x_m for s in spots}), sorted({s.y_m for s in spots})
    assert (len(x), len(y), len(spots)) == (8, 5, 80)
    assert x[0] + x[-1] == pytest.approx(0.6)
    assert min(x[0], y[0]) >= 0.035 - 1e-9
    assert np.diff(x) == pytest.approx(0.07)


@pytest.mark.identity
def test_today_is_no_change_of_the_setup() -> None:
    """The setup with today's places is today's, shared and own spots included; with a coral's own sky."""
    tank = made_tank()
    own = Site("lone", 0.5, 0.3, 0.2, open_sky=0.5, implicit=True)
    lone = Coral("lone", "soft", "lone", height_m=0.02)
    setup = replace(tank, sites=(*tank.sites, own), corals=(*tank.corals, lone))
    today = placed_setup(setup, standing_today(setup))
    assert (today.sites, today.corals, today.unplaced) == (setup.sites, setup.corals, ())
    assert own_skies(setup)["lone"] == 0.5
    assert {s.name: s.room for s in setup_spots(setup)} == {"ridge": 1, "shelf": 1, "sand": 2, "lone": 1}


@pytest.mark.identity
def test_nothing_moves_where_no_move_serves_more() -> None:
    """Asked again after a plan was followed, `place` leaves all where they are."""
    placed = place(made_tank(), PlaceWishes(everything=True))
    assert placed.after.judgement.penalty < placed.before.judgement.penalty
    again = place(placed.setup, PlaceWishes(everything=True))
    assert not any(c.moves for c in again.corals)
    assert again.after.judgement == again.before.judgement


@pytest.mark.identity
def test_coral_without_a_place_gets_one_and_all_others_stay() -> None:
    """By default only corals without a place are placed; three places are told with their neighbours."""
    tank = made_tank()
    free = Site("free", 0.1, 0.1, 0.1)
    new = Coral("newcomer", "soft", "")
    found = place(replace(tank, sites=(*tank.sites, free), unplaced=(new,)), PlaceWishes())
    by_name = {c.coral: c for c in found.corals}
    assert [c.coral for c in found.corals if c.moves] == ["newcomer"]
    assert by_name["newcomer"].before is None
    assert by_name["newcomer"].after is not None
    assert by_name["newcomer"].after.spot.name == "free"
    assert [p.standing.spot.name for p in by_name["newcomer"].best] == ["free"]
    assert "newcomer" in {c.name for c in found.setup.corals}


@pytest.mark.identity
def test_a_coral_keeps_to_what_it_is_to_stand_on() -> None:
    """A new coral for sand takes no place that is told to be rock, however good; one not told may be."""
    tank = made_tank()
    places = {"rock": Site("free", 0.1, 0.1, 0.1, on="rock"), "sand": Site("foot", 0.1, 0.3, 0.28, on="sand")}
    setup = replace(tank, sites=(*tank.sites, *places.values()))
    for on, name in (("sand", "foot"), ("rock", "free"), ("wall", None)):
        new = Coral("newcomer", "soft", "", on=on)  # type: ignore[arg-type]
        spot = place(replace(setup, unplaced=(new,)), PlaceWishes()).plan.spots["newcomer"]
        assert (spot and spot.name) == name


@pytest.mark.identity
def test_pins_and_forbidden_places_hold() -> None:
    """A pinned coral stands where it is told, a forbidden site is not taken, others make room."""
    setup = made_tank()
    wishes = PlaceWishes(everything=True, pins={"brain": "ridge"}, not_at=(("staghorn", "sand"),))
    spots = place(setup, wishes).plan.spots
    standing = {name: spot.name for name, spot in spots.items() if spot}
    assert standing["brain"] == "ridge"
    assert standing["staghorn"] == "shelf"
    assert {standing["hammer"], standing["sun coral"]} == {"sand"}


@pytest.mark.identity
def test_tall_coral_takes_no_shallow_place() -> None:
    """A coral taller than ridge and shelf are deep goes to the sand, whatever the light there."""
    setup = made_tank()
    corals = tuple(replace(c, site="sand", height_m=0.2) if c.name == "staghorn" else c for c in setup.corals)
    found = place(replace(setup, corals=corals), PlaceWishes(everything=True))
    spot = found.plan.spots["staghorn"]
    assert spot is not None
    assert spot.name == "sand"


@pytest.mark.identity
def test_coral_without_room_is_named() -> None:
    """Four corals that keep a metre apart: one is placed, the others told where they would stand."""
    found = place(made_tank(), PlaceWishes(everything=True, apart_m=1.0))
    assert len(found.unplaced) == 3
    assert all(found.plan.choices[c.coral] for c in found.unplaced)
    assert found.plan.cost.unplaced == 3
    assert {v.name for v in found.setup.corals}.isdisjoint(c.coral for c in found.unplaced)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("wishes", "words"),
    [
        (PlaceWishes(pins={"brian": "sand"}), "did you mean 'brain'"),
        (PlaceWishes(pins={"brain": "rigde"}), "did you mean 'ridge'"),
        (PlaceWishes(pins={"brain": "ridge", "hammer": "ridge"}), "pinned to one place"),
        (PlaceWishes(pins={"brain": "ridge"}, not_at=(("brain", "ridge"),)), "must not stand there"),
        (
            PlaceWishes(
                pins={"brain": "ridge", "hammer": "shelf"}, not_beside=(("brain", "hammer"),), beside_m=0.5
            ),
            "pinned 24.5 cm apart",
        ),
        (PlaceWishes(not_beside=(("brain", "brain"),)), "apart from itself"),
        (PlaceWishes(grid=Grid(0.001, (0.1,))), "240,000 places"),
    ],
)
def test_wishes_that_cannot_hold_are_refused_in_words(wishes: PlaceWishes, words: str) -> None:
    """Unknown names, contradictory pins and endless grids end in a sentence."""
    with pytest.raises(SetupError) as trouble:
        place(made_tank(), wishes)
    assert words in str(trouble.value)


@pytest.mark.pinned
def test_dark_tank_is_refused() -> None:
    """Without light no place is better than another."""
    setup = made_tank()
    dark = replace(setup, fixtures=tuple(replace(f, enabled=False) for f in setup.fixtures))
    with pytest.raises(SetupError, match="no place gets any light"):
        place(dark, PlaceWishes())


@pytest.mark.pinned
def test_setup_without_corals_is_refused() -> None:
    """There is nothing to place."""
    with pytest.raises(SetupError, match="nothing to place"):
        place(made_tank(corals=()), PlaceWishes())


@pytest.mark.pinned
def test_pin_against_the_setup_is_refused() -> None:
    """pinned = true in the setup and another --pin contradict one another."""
    setup = made_tank()
    held = tuple(replace(c, pinned=c.name == "brain") for c in setup.corals)
    with pytest.raises(SetupError, match="pinned twice"):
        place(replace(setup, corals=held), PlaceWishes(pins={"brain": "ridge"}))
