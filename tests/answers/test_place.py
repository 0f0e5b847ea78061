"""What `place` says: who goes where, what is missed and why, counts before and after."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import pytest
from answers.printed import as_one, on_terminal, piped
from fit.placement_scenes import PLACEMENTS
from judge.made_tank import made_tank

from lightdose.answers.place import (
    miss_sentences,
    moves_sentence,
    numbered,
    place_answer,
    spot_name,
    spot_words,
    verdict_sentence,
)
from lightdose.model.places import Grid, Placement, PlaceWishes, Spot, Standing
from lightdose.workflows.plans import place


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
    rows = lines[lines.index("Who goes where") : lines.index("Worth knowing")]
    for coral in placement.corals:
        assert sum(coral.coral.strip() in row for row in rows) >= 1


@pytest.mark.identity
def test_counts_are_of_the_records_states(placement: Placement) -> None:
    """Before and after by the calculated states, with the keys that `dose` counts by; none is undecided."""
    counts = place_answer(placement, "cm", None).counts
    assert counts is not None
    before = Counter(c.before.dli_state for c in placement.corals)
    after = Counter(c.after.dli_state for c in placement.corals if c.after)
    for of, states in (("before", before), ("after", after)):
        got = dict(counts[of])
        assert got.pop("judged") == sum(n for s, n in states.items() if s != "not_judged")
        assert got.pop("undecided") == 0
        assert got == {s: states[s] for s in ("within", "below", "above", "far_below", "far_above")}


@pytest.mark.identity
def test_numbers_are_those_of_the_csv() -> None:
    """Corals are counted in the order of the setup, those without a place are not."""
    placement = place(made_tank(), PlaceWishes(apart_m=1.0))
    assert sorted(label for _, label in numbered(placement)) == ["-", "-", "-", "1"]
    sheet = place_answer(placement, "cm", None).sheet
    assert sheet is not None
    assert [r["number"] for r in sheet.records()] == [
        None if n == "-" else int(n) for _, n in numbered(placement)
    ]


@pytest.mark.identity
def test_json_and_csv_hold_the_same_places() -> None:
    """A point of a grid has no site; metres in the JSON are the centimetres of the CSV."""
    answer = place_answer(place(made_tank(), PlaceWishes(grid=Grid(0.06, (0.1, 0.2)))), "cm", None)
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
def test_misses_say_why() -> None:
    """Pinned, crowded out, or no place in range: each with the place that comes nearest."""
    placement = place(made_tank(), PlaceWishes(apart_m=1.0))
    assert all(s.startswith("No place is left for ") for s in miss_sentences(placement, "cm")[:3])
    placement = place(made_tank(), PlaceWishes())
    coral = next(c for c in placement.corals if c.after and c.band_dli)
    spot = Spot("p", 0.1, 0.2, 0.3)
    off = replace(coral, after=Standing(spot, 0.1, "far_below"), pinned=False)
    near = replace(off, nearest=Standing(spot, coral.band_dli[0] / 2, "below"))  # type: ignore[index]
    crowded = replace(off, nearest=Standing(spot, coral.band_dli[0], "within"))  # type: ignore[index]
    for case, words in (
        (replace(off, pinned=True), ": it is pinned."),
        (crowded, "its places are needed by others; alone it would stand at x, y, depth 10, 20, 30 cm"),
        (near, "the nearest miss is x, y, depth 10, 20, 30 cm"),
        (near, "2.00 times too little"),
    ):
        (sentence,) = miss_sentences(replace(placement, corals=(case,)), "cm")
        assert words in sentence


@pytest.mark.pinned
def test_places_have_names_of_their_own() -> None:
    """A site by its name, a coral's own spot by the coral's, a point of a grid by where it is."""
    assert spot_words(Spot("ridge", 0.1, 0.2, 0.3, site="ridge"), "cm") == "ridge"
    assert spot_name(Spot("x", 0.1, 0.2, 0.3), "in") == "3.9, 7.9, 11.8 in"
    own = Spot("torch", 0.1, 0.2, 0.3, site="torch", implicit=True)
    assert spot_words(own, "cm") == "the spot of 'torch'"
