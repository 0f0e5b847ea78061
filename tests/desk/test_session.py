"""A setup on the desk: changes, undo, drafts, saving, and files that others change."""

from __future__ import annotations

import json
import os
import random
import subprocess
import sys
from pathlib import Path

import pytest
from desk.desk_tanks import copied, many_corals

from lightdose.analysis import analyse
from lightdose.answers.dose import dose_answer, headline
from lightdose.desk import session as session_module
from lightdose.desk.session import Desk
from lightdose.errors import LightdoseError, OutputError, Problem, SetupError
from lightdose.files.diary_states import read_diary
from lightdose.files.setup_file import read_setup

MUSHROOM = "Scheibe ganz oben"


def put(name: str, **metres: float) -> dict[str, object]:
    return {"do": "put", "kind": "coral", "name": name, **metres}


@pytest.mark.identity
def test_moved_coral_changes_its_own_line_and_saving_keeps_both_states(tmp_path: Path) -> None:
    """The file differs in one line after saving, the diary holds before and after, and the reason."""
    desk = Desk(copied(tmp_path))
    before = desk.path.read_text(encoding="utf-8").splitlines()
    desk.do(put(MUSHROOM, x_m=0.34, y_m=0.12))
    assert desk.path.read_text(encoding="utf-8").splitlines() == before
    files, kept = desk.save("out of the glare")
    after = desk.path.read_text(encoding="utf-8").splitlines()
    assert files == ["setup.toml"]
    assert [(a, b) for a, b in zip(before, after, strict=True) if a != b] == [
        (
            'at = { x = "28 cm", y = "24 cm", depth = "10 cm" }',
            'at = { x = "34 cm", y = "12 cm", depth = "10 cm" }',
        )
    ]
    assert kept is not None
    assert [s.why for s in read_diary(str(desk.path)).states] == ["", "out of the glare"]
    assert desk.unsaved == []
    assert not desk.draft_path.exists()


@pytest.mark.identity
def test_random_changes_are_taken_back_to_the_same_bytes(tmp_path: Path) -> None:
    """Fifty seeded changes of all kinds, undone and redone: every state comes back byte for byte."""
    desk, draw = Desk(copied(tmp_path, "first-tank")), random.Random(3)
    assert desk.setup is not None
    names = [c.name for c in desk.setup.corals]
    seen = [dict(desk.written())]
    for n in range(50):
        some = draw.choice(names)
        change = draw.choice(
            [
                put(some, x_m=round(draw.uniform(0.05, 0.5), 3), y_m=round(draw.uniform(0.05, 0.3), 3)),
                put(some, depth_m=round(draw.uniform(0.12, 0.2), 3)),
                {"do": "set", "table": "coral", "name": some, "key": "keep_apart", "text": str(n)},
                {"do": "overall", "percent": draw.randrange(20, 100)},
                {"do": "level", "fixture": "left", "row": 1, "column": "violet", "text": str(n)},
                {"do": "names", "corals": [{"name": f"new {n}", "group": "zoanthid"}]},
                {"do": "put", "kind": "fixture", "name": "left", "x_m": 0.2 + 0.001 * n},
            ]
        )
        try:
            desk.do(change)
        except SetupError:  # such as a place inside a rock: nothing has changed
            assert dict(desk.written()) == seen[-1]
            continue
        seen.append(dict(desk.written()))
    assert len(seen) > 30
    for state in reversed(seen[:-1]):
        desk.undo()
        assert {p: t for p, t in desk.written().items() if t != desk.base.get(p)} == {
            p: t for p, t in state.items() if t != desk.base.get(p)
        }
    for _ in seen[1:]:
        desk.redo()
    assert dict(desk.written()) == seen[-1]


@pytest.mark.identity
def test_change_with_problems_is_refused_and_nothing_has_changed(tmp_path: Path) -> None:
    """A value that the readers refuse leaves texts, undo and light as they were."""
    desk = Desk(copied(tmp_path))
    with pytest.raises(SetupError, match="parsec"):
        desk.do({"do": "set", "table": "coral", "name": MUSHROOM, "key": "height", "text": "4 parsec"})
    with pytest.raises(SetupError, match="twice"):
        desk.do({"do": "names", "corals": [{"name": MUSHROOM, "group": "mushroom"}]})
    assert (desk.unsaved, desk.done) == ([], [])
    assert desk.setup is not None
    assert len(desk.setup.corals) == 45


@pytest.mark.identity
@pytest.mark.parametrize(
    "change",
    [
        {},
        {"do": "rm"},
        {"do": ["put"]},
        {"do": "put", "kind": "coral", "name": 5},
        {"do": "put", "kind": "coral", "name": MUSHROOM, "x_m": "1"},
        {"do": "put", "kind": "coral", "name": MUSHROOM, "x_m": 1e9},
        {"do": "put", "kind": "coral", "name": "nobody", "x_m": 0.1},
        {"do": "put", "kind": "moon", "name": "x"},
        {"do": "set", "table": "coral", "name": MUSHROOM, "key": "__class__", "text": "x"},
        {"do": "set", "table": "passwd", "name": "", "key": "x", "text": "x"},
        {"do": "line", "file": "../../etc/passwd", "line": 1, "text": "x"},
        {"do": "line", "file": "/etc/passwd", "line": 1, "text": "x"},
        {"do": "line", "file": "elsewhere.txt", "line": 1, "text": "x"},
        {"do": "line", "file": "setup.toml", "line": 10**9, "text": "x"},
        {"do": "level", "fixture": "links", "row": True, "column": "blue", "text": "5"},
        {"do": "level", "fixture": "links", "row": 1, "column": "blue", "text": "many"},
        {"do": "overall", "percent": 400},
        {"do": "hours", "longer_h": 1e6},
        {"do": "several", "words": "x", "changes": []},
        {"do": "several", "words": "x", "changes": [{"do": "several", "words": "x", "changes": [{}]}]},
        {"do": "begin"},
        {"do": "drop", "table": "tank", "name": "tank"},
        {"do": "set", "table": "setup", "name": "", "key": "corals", "text": "../../../etc/passwd"},
    ],
)
def test_change_that_makes_no_sense_is_refused(tmp_path: Path, change: dict[str, object]) -> None:
    """Whatever a page sends, it gets a problem in words, and no file and no text differs."""
    desk = Desk(copied(tmp_path))
    before = {p: p.read_bytes() for p in sorted(tmp_path.rglob("*")) if p.is_file()}
    with pytest.raises(LightdoseError):
        desk.do(change)
    assert desk.unsaved == []
    assert {p: p.read_bytes() for p in sorted(tmp_path.rglob("*")) if p.is_file()} == before


@pytest.mark.identity
def test_files_outside_the_folder_are_never_changed(tmp_path: Path) -> None:
    """A schedule that lies outside the setup's folder, by its path or by a link, is looked at only."""
    path = copied(tmp_path)
    (tmp_path / "daily.csv").write_bytes((path.parent / "daily.csv").read_bytes())
    (path.parent / "daily.csv").unlink()
    os.symlink(tmp_path / "daily.csv", path.parent / "daily.csv")
    before = (tmp_path / "daily.csv").read_bytes()
    desk = Desk(path)
    with pytest.raises(OutputError, match="outside the folder"):
        desk.do({"do": "overall", "percent": 30})
    (path.parent / "daily.csv").unlink()
    text = path.read_text(encoding="utf-8").replace('"daily.csv"', '"../daily.csv"')
    path.write_text(text, encoding="utf-8")
    desk = Desk(path)
    with pytest.raises(OutputError, match="outside the folder"):
        desk.do({"do": "overall", "percent": 30})
    assert (tmp_path / "daily.csv").read_bytes() == before


# ---- drafts and the disk ----------------------------------------------------------------------------------


@pytest.mark.identity
def test_unsaved_changes_outlast_the_process(tmp_path: Path) -> None:
    """What a desk left unsaved is offered to the next, and taking it gives the same texts."""
    path = copied(tmp_path)
    first = Desk(path)
    first.do(put(MUSHROOM, x_m=0.34))
    first.do({"do": "overall", "percent": 40})
    left = {p: first.texts[p] for p in first.unsaved}
    second = Desk(path)
    assert second.offered is not None
    assert second.unsaved == []
    assert second.offered["steps"] == [f"{MUSHROOM} moved", "overall setting 40 %"]
    second.take_draft()
    assert {p: second.texts[p] for p in second.unsaved} == left
    second.undo()
    assert second.unsaved == []


@pytest.mark.identity
def test_dropped_draft_is_gone(tmp_path: Path) -> None:
    """A draft that nobody wants is not offered again."""
    path = copied(tmp_path)
    Desk(path).do(put(MUSHROOM, x_m=0.34))
    Desk(path).drop_draft()
    assert Desk(path).offered is None


@pytest.mark.identity
@pytest.mark.parametrize(
    "content", ["", "{", "[]", '{"format": "x"}', '{"format": "lightdose-desk-draft/1"}']
)
def test_broken_draft_is_passed_by(tmp_path: Path, content: str) -> None:
    """A draft that is none does not stand in the way."""
    path = copied(tmp_path)
    path.with_name(".setup-desk-draft.json").write_text(content, encoding="utf-8")
    assert Desk(path).offered is None


@pytest.mark.identity
def test_draft_never_leads_out_of_the_folder(tmp_path: Path) -> None:
    """A forged draft cannot make the desk write elsewhere."""
    path = copied(tmp_path)
    forged = {
        "format": session_module.DRAFT_FORMAT,
        "kept_at": "2026-01-01T00:00",
        "steps": [],
        "files": {"../evil.txt": {"read": None, "text": "aGVsbG8="}},
    }
    path.with_name(".setup-desk-draft.json").write_text(json.dumps(forged), encoding="utf-8")
    desk = Desk(path)
    with pytest.raises(OutputError, match="outside the folder"):
        desk.take_draft()
    assert desk.unsaved == []


@pytest.mark.identity
def test_file_changed_elsewhere_is_never_written_over(tmp_path: Path) -> None:
    """Saving over another's change is refused; both are shown, and both ways out keep the other's file."""
    path = copied(tmp_path)
    desk = Desk(path)
    desk.do(put(MUSHROOM, x_m=0.34))
    theirs = path.read_bytes().replace(b'rim = "3 cm"', b'rim = "4 cm"')
    path.write_bytes(theirs)
    (conflict,) = desk.conflicts()
    assert conflict["file"] == "setup.toml"
    assert [line[2] for line in conflict["there"]] == ['rim = "3 cm"', 'rim = "4 cm"']
    assert any("34 cm" in str(line[2]) for line in conflict["here"])
    with pytest.raises(OutputError, match="changed elsewhere"):
        desk.save("mine")
    assert path.read_bytes() == theirs
    assert desk.mine_beside() == ["setup-mine.toml"]
    assert b"34 cm" in path.with_name("setup-mine.toml").read_bytes()
    assert path.read_bytes() == theirs
    assert desk.unsaved == []
    assert desk.setup is not None
    assert desk.setup.tank.rim_m == pytest.approx(0.04, rel=1e-12)


@pytest.mark.identity
def test_draft_of_a_file_that_went_on_is_a_conflict(tmp_path: Path) -> None:
    """A draft taken up over a changed file is not saved over it."""
    path = copied(tmp_path)
    Desk(path).do(put(MUSHROOM, x_m=0.34))
    path.write_bytes(path.read_bytes() + b"\n# another hand\n")
    desk = Desk(path)
    desk.take_draft()
    assert [c["file"] for c in desk.conflicts()] == ["setup.toml"]
    with pytest.raises(OutputError):
        desk.save("")
    assert path.read_bytes().endswith(b"# another hand\n")


@pytest.mark.identity
def test_file_changed_elsewhere_is_read_anew_where_nothing_is_unsaved(tmp_path: Path) -> None:
    """An editor that is open beside the desk is followed."""
    path = copied(tmp_path)
    desk = Desk(path)
    assert desk.look() == []
    version = desk.version
    path.write_bytes(path.read_bytes().replace(b'rim = "3 cm"', b'rim = "4 cm"'))
    assert desk.look() == []
    assert desk.version > version
    assert "setup.toml" in desk.notice
    desk.do(put(MUSHROOM, x_m=0.34))
    path.write_bytes(path.read_bytes() + b"\n")
    assert desk.look() == ["setup.toml"]


@pytest.mark.identity
def test_full_disk_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where a file cannot be written, what is on the disk stays whole and the change stays unsaved."""
    desk = Desk(copied(tmp_path))
    desk.do(put(MUSHROOM, x_m=0.34))
    before = desk.path.read_bytes()

    def full(*_: object, **__: object) -> str:
        raise OutputError(Problem("was not written, the disk is full"))

    monkeypatch.setattr(session_module, "write_atomically", full)
    with pytest.raises(OutputError, match="disk is full"):
        desk.save("x")
    assert desk.path.read_bytes() == before
    assert desk.unsaved == [str(desk.path)]
    desk.do(put(MUSHROOM, x_m=0.33))
    assert "cannot be kept" in desk.notice
    monkeypatch.undo()
    desk.save("x")
    assert b'x = "33 cm"' in desk.path.read_bytes()


# ---- a setup with problems --------------------------------------------------------------------------------


@pytest.mark.identity
def test_broken_setup_opens_with_the_rest_and_is_mended_by_its_lines(tmp_path: Path) -> None:
    """Three broken corals leave 42; mending each line where it stands brings all 45 back."""
    path = copied(tmp_path)
    text = path.read_text(encoding="utf-8")
    wrong = {'height = "4 cm"': 'height = "4 parsec"', 'genus = "Montipora"': 'genus = "Nonsense"'}
    wrong |= {'site = "Sand vorn 5"': 'site = "Nowhere"'}
    for right, slip in wrong.items():
        text = text.replace(right, slip, 1)
    path.write_text(text, encoding="utf-8")
    desk = Desk(path)
    assert desk.setup is not None
    assert (len(desk.setup.corals), len(desk.reading.problems)) == (42, 3)
    assert all(name.startswith("coral ") for name in desk.reading.left_out)
    for right, slip in wrong.items():
        line = next(p.place.line for p in desk.reading.problems if p.place and slip in p.place.text)
        desk.do({"do": "line", "file": "setup.toml", "line": line, "text": right})
    assert desk.reading.problems == ()
    assert len(desk.setup.corals) == 45


@pytest.mark.identity
def test_file_that_is_no_toml_is_mended_by_its_line(tmp_path: Path) -> None:
    """Even where nothing can be read, the line at fault can be mended on the page."""
    path = copied(tmp_path)
    good = path.read_text(encoding="utf-8")
    path.write_text(good.replace("[tank]", "[tank", 1), encoding="utf-8")
    desk = Desk(path)
    assert desk.setup is None
    (problem,) = desk.reading.problems
    assert problem.place is not None
    desk.do({"do": "line", "file": problem.place.file, "line": problem.place.line, "text": "[tank]"})
    assert desk.setup is not None
    assert desk.texts[str(path)] == good.encode()


@pytest.mark.identity
def test_broken_schedule_leaves_its_lamps_out(tmp_path: Path) -> None:
    """A problem in a file that a lamp names shows the tank without that lamp."""
    path = copied(tmp_path, "first-tank")
    schedule = path.parent / "schedules" / "left.csv"
    schedule.write_text(schedule.read_text().replace("11:30", "99:30"), encoding="utf-8")
    desk = Desk(path)
    assert desk.setup is not None
    assert [f.name for f in desk.setup.fixtures] == ["right"]
    assert desk.reading.left_out == ("fixture left",)


# ---- files of corals --------------------------------------------------------------------------------------


@pytest.mark.identity
def test_corals_in_a_table_are_moved_set_and_taken_out_there(tmp_path: Path) -> None:
    """A coral of corals.csv changes in its own cells; what has no column is told."""
    desk = Desk(many_corals(tmp_path, 30))
    table = desk.path.parent / "corals.csv"
    name = "コーラル 7 ü"
    before = table.read_text(encoding="utf-8").splitlines()
    desk.do(put(name, x_m=0.215))
    desk.do({"do": "set", "table": "coral", "name": name, "key": "genus", "text": "zoanthid"})
    desk.do({"do": "seat", "name": "コーラル 8 ü", "site": "Durchgang"})
    desk.do({"do": "drop", "table": "coral", "name": "コーラル 9 ü"})
    with pytest.raises(OutputError, match="no column"):
        desk.do({"do": "set", "table": "coral", "name": name, "key": "dli_band", "text": "3 to 6"})
    desk.save("")
    after = table.read_text(encoding="utf-8").splitlines()
    assert after[:8] == before[:8]
    assert after[10:] == before[11:]
    assert after[8].startswith(f"{name},zoanthid,,21.5,")
    assert after[9].startswith("コーラル 8 ü,Montipora,Durchgang,,,,")
    found = read_setup(desk.path)
    assert next(c.site for c in found.corals if c.name == "コーラル 8 ü") == "Durchgang"


@pytest.mark.identity
def test_what_the_desk_says_after_saving_is_what_dose_says(tmp_path: Path) -> None:
    """After some changes and saving, the doses of a fresh analysis are those of the desk's setup."""
    desk = Desk(copied(tmp_path))
    desk.do(put(MUSHROOM, x_m=0.36, y_m=0.1, depth_m=0.4))
    desk.do({"do": "overall", "percent": 40})
    desk.do({"do": "hours", "longer_h": 1})
    assert desk.setup is not None
    there = analyse(desk.setup, certainty=False)
    desk.save("all")
    fresh = analyse(read_setup(desk.path), certainty=False)
    assert fresh.dose.dli.tolist() == there.dose.dli.tolist()
    assert headline(fresh) == headline(there)
    assert dose_answer(fresh, "cm").title == "Würfel mit Riffbogen (invented)"


@pytest.mark.identity
def test_lamp_without_any_output_opens_and_is_calibrated(tmp_path: Path) -> None:
    """A setup whose calibration is not written yet shows its tank, and the readings give it its light."""
    from lightdose.desk.answers import DeskAnswers

    answers = DeskAnswers(copied(tmp_path, "unlabelled-lamp"))
    state = answers.answer("state", {})
    assert state["tank"]
    assert state["sentence"] is None
    assert "the file of calibration" in state["left_out"]
    after = answers.answer("calibrate", {})
    assert after["problems"] == []
    assert after["sentence"]["basis"].startswith("Measured")
    assert after["unsaved"] == ["calibration.toml"]


_KILLED = """
import os, sys
from lightdose.desk.session import Desk
from lightdose.files import unfinished
desk, place = Desk(sys.argv[1]), unfinished._take_place
desk.do({"do": "overall", "percent": 50.0, "fixtures": ["left"]})
desk.do({"do": "set", "table": "tank", "key": "rim", "text": "1 cm"})
def once(source, target):
    if str(target) == sys.argv[1]:
        os._exit(9)
    place(source, target)
unfinished._take_place = once
desk.save("")
"""


@pytest.mark.identity
def test_save_that_was_killed_half_done_is_finished_before_the_desk_reads(tmp_path: Path) -> None:
    """One of two files had its place: the next desk shows both as saved, and can save its own changes."""
    path = copied(tmp_path, "first-tank")
    assert subprocess.run([sys.executable, "-c", _KILLED, str(path)], check=False).returncode == 9
    assert list(path.parent.glob(".lightdose-*.note"))
    desk = Desk(path)
    assert desk.setup is not None
    assert desk.setup.tank.rim_m == 0.01
    assert not list(path.parent.glob(".lightdose-*"))
    desk.do({"do": "set", "table": "tank", "key": "rim", "text": "2 cm"})
    assert desk.save("after the power cut")[0] == ["setup.toml"]
    assert read_setup(path).tank.rim_m == 0.02
