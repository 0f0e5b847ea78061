"""What `move` says: the way, its steps, where it ends, on terminal and pipe alike."""

from __future__ import annotations

import pytest
from answers.printed import as_one, on_terminal, piped
from judge.made_tank import stepped

from lightdose.answers.place import end_sentence, headline, move_answer, move_body
from lightdose.answers.words import number
from lightdose.model.places import Move, MoveWishes
from lightdose.workflows.placing import move


@pytest.fixture(scope="module")
def way() -> Move:
    return move(stepped(10), MoveWishes("brain", "P9", start="2026-03-01"))


@pytest.mark.identity
@pytest.mark.parametrize("width", [60, 90, 130])
def test_terminal_and_pipe_say_the_same(way: Move, width: int) -> None:
    """The basis first, the way, every step with its date and dose, the end last, at every width."""
    answer = move_answer(way, "in")
    lines = piped(answer)
    shown = as_one(on_terminal(answer, width))
    assert lines[:2] == [way.before.basis.sentence, headline(way)]
    assert lines[-1].startswith(end_sentence(way))
    assert shown.startswith(as_one(lines[:2]))
    assert shown.endswith(lines[-1])
    for step in way.steps:
        assert f"{step.day} {step.date} {step.site} {number(step.dli_mol_m2_d)}" in shown


@pytest.mark.identity
def test_steps_have_dates_only_where_a_start_is_named(way: Move) -> None:
    """Without --start days are numbered, and no empty column of dates stands in the table."""
    undated = move_answer(move(stepped(10), MoveWishes("brain", "P9")), "cm")
    assert any("date" in line.split() for line in piped(move_answer(way, "cm")))
    assert not any("date" in line.split() for line in piped(undated))
    assert "day 0" not in as_one(piped(undated))


@pytest.mark.identity
def test_json_holds_the_record(way: Move) -> None:
    """Every dose to the digit, and the end as the last step has it."""
    body = move_body(way)
    assert [s["dli_mol_m2_d"] for s in body["steps"]] == [s.dli_mol_m2_d for s in way.steps]
    assert body["from"] == {"site": way.start_site, "dli_mol_m2_d": way.start_dli}
    assert body["dli_state"] == way.end_state
    assert body["steps"][-1]["site"] == body["to"] == "P9"


@pytest.mark.pinned
def test_long_ways_name_their_ends() -> None:
    """Of many stones the first and the last stand in the line; the table holds all."""
    found = move(stepped(200), MoveWishes("brain", "P199", 0.012))
    assert "more ..." in headline(found)
    assert headline(found).count(", P") <= 12
