"""What the desk answers: the sentence of `dose`, best places, readings, notes, lives of corals."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from desk.desk_tanks import EXAMPLES, copied

from lightdose.answers.blocks import Points
from lightdose.answers.dose import answer_points, headline
from lightdose.desk.answers import DeskAnswers
from lightdose.errors import LightdoseError
from lightdose.files.diary_states import read_diary
from lightdose.files.setup_file import read_setup
from lightdose.present.page import set_text
from lightdose.workflows.advice import advised


def answers_of(folder: Path, example: str) -> tuple[DeskAnswers, dict[str, Any]]:
    """The answers of a copied example, and its first state."""
    answers = DeskAnswers(copied(folder, example))
    return answers, answers.answer("state", {})


@pytest.mark.identity
@pytest.mark.parametrize("example", ["first-tank", "crowded-cube", "long-tank"])
def test_sentence_is_that_of_dose_word_for_word(tmp_path: Path, example: str) -> None:
    """Basis, headline and every point are the words of `dose` on the same files."""
    answers, state = answers_of(tmp_path, example)
    said = answers.answer("sure", {"version": state["version"]})["sentence"]
    analysis = advised(read_setup(EXAMPLES / example / "setup.toml"))
    points = answer_points(analysis, analysis.setup.length_unit)
    assert isinstance(points, Points)
    assert said["basis"] == set_text(analysis.basis.sentence)
    assert said["headline"] == set_text(headline(analysis))
    assert [p["text"] for p in said["points"]] == [set_text(p.text) for p in points.points]
    assert said["sure"]
    assert len(said["cautions"]) == len(analysis.cautions)


@pytest.mark.identity
def test_offered_action_does_what_it_says(tmp_path: Path) -> None:
    """What a button tries is the change in the sentence; the promised counts come out."""
    answers, state = answers_of(tmp_path, "crowded-cube")
    said = answers.answer("sure", {"version": state["version"]})["sentence"]
    offer = next(one for one in said["offers"] if one["changes"])
    text = next(p["text"] for p in said["points"] if offer["doing"].removesuffix(" %") in p["text"])
    words = {"do": "several", "words": offer["doing"], "changes": offer["changes"]}
    after = answers.answer("do", {"change": words})
    assert after["undo"] == offer["doing"]
    now = answers.answer("sure", {"version": after["version"]})["sentence"]["headline"]
    within, _, rest = now.partition(" of ")
    assert f"{within} within instead of" in text
    assert rest


@pytest.mark.identity
@pytest.mark.parametrize("coral", ["verirrte Muschel", "Scheibe ganz oben"])
def test_best_places_are_other_ones_where_it_gets_what_is_usual(tmp_path: Path, coral: str) -> None:
    """Up to three, apart from one another; the coral put there gets the dose that was told."""
    answers, _ = answers_of(tmp_path, "crowded-cube")
    places = answers.answer("where", {"coral": coral})["places"]
    assert 1 <= len(places) <= 3
    for one in places:
        assert one["state"] == "within common practice"
        spot = {key: one[key] for key in ("x_m", "y_m", "depth_m")}
        change = {"do": "seat", "name": coral, "site": one["site"]}
        if not one["site"]:
            change = {"do": "put", "kind": "coral", "name": coral, **spot}
        state = answers.answer("do", {"change": change})
        there = next(c for c in state["corals"] if c["name"] == coral)
        assert float(there["dli"]) == pytest.approx(float(one["dli"]), rel=0.03)
        answers.answer("undo", {})


@pytest.mark.identity
def test_readings_calibrate_as_the_command_does(tmp_path: Path) -> None:
    """The shipped readings give "Measured" in the words of `calibrate`; one taken out is gone."""
    answers, _ = answers_of(tmp_path, "first-tank")
    rows = answers.answer("readings", {})["rows"]
    told = answers.answer("calibrate", {})
    assert [p["about"] for p in told["told"] if p["about"] == "Known now"]
    assert told["sentence"]["basis"].startswith("Measured")
    assert sorted(told["unsaved"]) == ["calibration.toml", "setup.toml"]
    answers.answer("undo", {})
    answers.answer("do", {"change": {"do": "no-reading", "row": 0}})
    assert answers.answer("readings", {})["rows"] == rows[1:]
    survey = answers.answer("survey", {})
    assert survey["rows"]
    assert all("lightdose" not in p["text"] for p in survey["told"])


@pytest.mark.identity
def test_reading_at_a_coral_of_its_own_place_is_written_by_its_top(tmp_path: Path) -> None:
    """A place without a name goes into the file by its coordinates, where the coral is judged."""
    answers, state = answers_of(tmp_path, "crowded-cube")
    coral = next(c for c in state["corals"] if c["name"] == "Scheibe ganz oben")
    change = {
        "do": "reading",
        "site": coral["name"],
        "reading": "120,5",
        "unit": "umol_m2_s",
        "time": "14:00",
    }
    answers.answer("do", {"change": change | {"meter": "", "note": "ü"}})
    found = answers.answer("readings", {})
    row = dict(zip(found["columns"], found["rows"][0], strict=True))
    assert (row["x_cm"], row["y_cm"], row["depth_cm"]) == ("28", "24", "10")
    assert (row["reading"], row["site"], row["note"]) == ("120.5", "", "ü")
    answers.answer("do", {"change": {"do": "no-reading", "row": 0}})
    assert answers.answer("readings", {})["rows"] == []
    assert answers.desk.unsaved == []


@pytest.mark.identity
def test_notes_go_to_the_diary_at_once_and_lives_come_from_it(tmp_path: Path) -> None:
    """A note is a row of the diary; a coral's life has its doses by days and its notes."""
    answers, state = answers_of(tmp_path, "two-years")
    coral = state["corals"][0]["name"]
    before = len(read_diary(str(answers.desk.path)).notes)
    life = answers.answer("life", {"coral": coral})
    assert len(life["spells"]) > 5
    assert all(spell["dli"] > 0 for spell in life["spells"])
    answers.answer("note", {"coral": coral, "kind": "colour", "value": "3", "remark": "pale"})
    notes = read_diary(str(answers.desk.path)).notes
    assert (len(notes), notes[-1].coral, notes[-1].value) == (before + 1, coral, 3.0)
    assert answers.answer("diary", {})["entries"][0]["text"] == "colour 3 pale"
    assert answers.desk.unsaved == []
    for wrong in (
        {"coral": "nobody", "kind": "colour", "value": "3"},
        {"coral": coral, "kind": "colour", "value": "9"},
        {"coral": coral, "kind": "reading", "value": "9"},
        {"coral": "", "kind": "free", "value": "", "remark": "  "},
    ):
        with pytest.raises(LightdoseError):
            answers.answer("note", wrong)
    assert len(read_diary(str(answers.desk.path)).notes) == before + 1


@pytest.mark.identity
@pytest.mark.parametrize(
    ("name", "question"),
    [
        ("try", {}),
        ("try", {"name": "nobody", "x_m": 0.1, "y_m": 0.1, "depth_m": 0.1}),
        ("try", {"name": "rosa Büschel", "x_m": "left", "y_m": 0.1, "depth_m": 0.1}),
        ("spot", {"x_m": None, "y_m": 0.1, "depth_m": 0.1}),
        ("level", {"kind": "moon", "at_m": 0.1}),
        ("level", {"kind": "depth", "at_m": -5}),
        ("where", {"coral": "nobody"}),
        ("form", {"table": "__init__"}),
        ("form", {"table": "channel", "of": "nobody", "name": "x"}),
        ("names", {}),
        ("draft", {"take": True}),
        ("undo", {}),
        ("nonsense", {}),
    ],
)
def test_question_that_makes_no_sense_is_told_so(tmp_path: Path, name: str, question: dict[str, Any]) -> None:
    """Whatever is asked, the answer is a problem in words."""
    answers, _ = answers_of(tmp_path, "crowded-cube")
    with pytest.raises(LightdoseError):
        answers.answer(name, question)
