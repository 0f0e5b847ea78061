"""What `place` says: who goes where, what is missed and why, counts before and after."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from answers.printed import as_one, on_terminal, piped
from fit.placement_scenes import PLACEMENTS
from judge.made_tank import made_tank

from lightdose.answers.place import (
    best_sentences,
    miss_sentences,
    moves_sentence,
    numbered,
    place_answer,
    spot_name,
    spot_words,
    verdict_sentence,
)
from lightdose.model.places import Grid, Placement, PlaceWishes, Spot
from lightdose.model.setup import Site
from lightdose.workflows.placing import place


@pytest.fixture(scope="module", params=PLACEMENTS)
def placement(request: pytest.FixtureRequest) -> Placement:
    return place(*PLACEMENTS[request.param])


@pytest.mark.identity
def test_terminal_and_pipe_say_the_same(placement: Placement) -> None:
    """The basis and what moves first, every coral in the table, the verdict last."""
    answer = place_answer(placement, "cm", None)
    lines, shown = piped(answer), as_one(on_terminal(answer, 100))
    assert lines[:2] == [placement.before.basis.sentence, moves_sentence(placement)]
    assert lines[-1].startswith(verdict_sentence(placement))
    assert shown.endswith(as_one(lines[-1:]))
    for coral in placement.corals:
        if coral.moves:
            assert sum(coral.coral.strip() in line for line in lines) >= 1


@pytest.mark.identity
def test_counts_are_those_of_both_analyses(placement: Placement) -> None:
    """Before and after by the one judgement; the states of the rows are the calculated ones."""
    judged = place_answer(placement, "cm", None).judged
    assert judged == {"before": placement.before.judgement, "after": placement.after.judgement}
    for side, of in (("before", placement.before), ("after", placement.after)):
        states = Counter(getattr(c, side).dli_state for c in placement.corals if getattr(c, side))
        counts = of.judgement.calculated_counts or {}
        assert all(states[s] == counts.get(s, 0) for s in ("within", "below", "far_above"))


@pytest.mark.identity
def test_numbers_are_those_of_the_csv() -> None:
    """Corals are counted in the order of the setup, those without a place are not."""
    placement = place(made_tank(), PlaceWishes(everything=True, apart_m=1.0))
    assert sorted(label for _, label in numbered(placement)) == ["-", "-", "-", "1"]
    sheet = place_answer(placement, "cm", None).sheet
    assert sheet is not None
    assert [r["number"] for r in sheet.records()] == [
        None if n == "-" else int(n) for _, n in numbered(placement)
    ]


@pytest.mark.identity
def test_json_and_csv_hold_the_same_places() -> None:
    """A point of a grid has no site; metres in the JSON are the centimetres of the CSV."""
    answer = place_answer(
        place(made_tank(), PlaceWishes(everything=True, grid=Grid(0.06, (0.1, 0.2)))), "cm", None
    )
    assert answer.sheet is not None
    for coral, row in zip(answer.body()["corals"], answer.sheet.records(), strict=True):
        assert coral["site"] is None
        assert row["site"] is None
        for name in ("x", "y", "depth", "height", "moved"):
            assert row[f"{name}_cm"] == pytest.approx(100 * coral[f"{name}_m"])
        assert coral["before"]["site"] == row["site_before"]
        assert coral["dli_mol_m2_d"] == row["dli_mol_m2_d"]
    assert answer.body()["notes"]


@pytest.mark.pinned
def test_best_places_say_dose_neighbours_and_the_way() -> None:
    """A coral that was asked for: what it gets at each place, who stands beside it, and the way."""
    tank = made_tank()
    sites = (*tank.sites, Site("dim corner", 0.05, 0.05, 0.28), Site("bright corner", 0.3, 0.2, 0.02))
    placement = place(replace(tank, sites=sites), PlaceWishes(corals=("hammer",)))
    (sentence,) = best_sentences(placement, "cm")
    assert sentence.startswith("Best places for hammer (usual 2.5-5.5): ")
    assert sentence.count(" with ") >= 3
    assert ", in one step" in sentence or ", where it is" in sentence or "no way of weekly steps" in sentence
    alone = place(tank, PlaceWishes(everything=True, apart_m=1.0))
    assert all(s.startswith("No place is left for ") for s in miss_sentences(alone, "cm")[:3])


@pytest.mark.pinned
def test_places_have_names_of_their_own() -> None:
    """A site by its name, a coral's own spot by the coral's, a point of a grid by where it is."""
    assert spot_words(Spot("ridge", 0.1, 0.2, 0.3, site="ridge"), "cm") == "ridge"
    assert spot_name(Spot("x", 0.1, 0.2, 0.3), "in") == "3.9, 7.9, 11.8 in"
    own = Spot("torch", 0.1, 0.2, 0.3, site="torch", implicit=True)
    assert spot_words(own, "cm") == "the spot of 'torch'"
