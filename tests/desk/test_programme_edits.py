"""Programmes on the desk: cells, rows, the overall setting and hours, in the files' own manner."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from desk.desk_tanks import copied

from lightdose.desk.session import Desk
from lightdose.errors import LightdoseError
from lightdose.files.setup_file import Variations, read_setup
from lightdose.physics.day_curve import day_curve, full_output_hours


def hours(desk: Desk) -> list[float]:
    """Hours at full output of every channel."""
    assert desk.setup is not None
    return [float(h) for h in full_output_hours(day_curve(desk.setup.lit_fixtures))]


@pytest.mark.identity
def test_overall_factor_is_that_of_the_variation(tmp_path: Path) -> None:
    """Turning the factor gives the light of `--all-channels`, and changes that column alone."""
    desk = Desk(copied(tmp_path))
    table = desk.path.parent / "daily.csv"
    before = table.read_text(encoding="utf-8")
    wanted = read_setup(desk.path, Variations(all_channels={"": 30.0}))
    desk.do({"do": "overall", "percent": 30})
    desk.save("")
    assert table.read_text(encoding="utf-8") == before.replace(",46\n", ",30\n")
    expected = [float(h) for h in full_output_hours(day_curve(wanted.lit_fixtures))]
    assert hours(desk) == pytest.approx(expected, rel=1e-12)


@pytest.mark.identity
def test_programme_without_a_factor_gets_one(tmp_path: Path) -> None:
    """A schedule without all_channels gets the column; 100 is what it ran at."""
    path = copied(tmp_path, "two-years")
    desk = Desk(path)
    was = hours(desk)
    desk.do({"do": "overall", "percent": 50})
    assert desk.setup is not None
    assert all(f.programme.dial is not None for f in desk.setup.lit_fixtures)
    desk.do({"do": "overall", "percent": 100})
    full = hours(desk)
    factor = {round(a / b, 6) for a, b in zip(full, was, strict=True) if b > 0}
    assert all(f >= 1 - 1e-9 for f in factor)


@pytest.mark.identity
def test_inline_programme_changes_in_place_or_moves_into_a_file(tmp_path: Path) -> None:
    """A point inside the setup changes there; an overall setting gives the programme a file of its own."""
    path = copied(tmp_path, "first-tank")
    channels = ("violet", "blue", "cyan", "cool white", "deep red")
    off = ", ".join(f'"{name}" = [["00:00", 0], ["24:00", 0]]' for name in channels)
    inline = f'{{ "royal blue" = [["09:00", 0], ["12:00", 60], ["18:00", 60], ["21:00", 0]], {off} }}'
    text = path.read_text(encoding="utf-8").replace('"schedules/left.csv"', inline)
    path.write_text(text, encoding="utf-8")
    desk = Desk(path)
    change = {"do": "level", "fixture": "left", "column": "royal blue", "row": 1, "text": "50"}
    desk.do(change)
    assert desk.texts[str(path)] == text.replace('["12:00", 60]', '["12:00", 50.0]').encode()
    desk.do(
        {
            "do": "level",
            "fixture": "left",
            "column": "time",
            "channel": "royal blue",
            "row": 0,
            "text": "08:00",
        }
    )
    was = hours(desk)
    desk.do({"do": "overall", "fixtures": ["left"], "percent": 50})
    assert (path.parent / "left.csv").exists() is False
    assert str(path.parent / "left.csv") in desk.unsaved
    desk.do({"do": "overall", "fixtures": ["left"], "percent": 100})
    assert hours(desk) == pytest.approx(was, rel=1e-9)


@pytest.mark.identity
@pytest.mark.parametrize("example", ["crowded-cube", "first-tank", "two-years"])
@pytest.mark.parametrize("longer", [1.5, -1.0])
def test_hours_of_full_light_grow_and_shrink(tmp_path: Path, example: str, longer: float) -> None:
    """The plateau changes by so many hours for every channel that runs, and undo brings it back."""
    desk = Desk(copied(tmp_path, example))
    before, texts = np.array(hours(desk)), desk.written()
    desk.do({"do": "hours", "longer_h": longer})
    change = np.array(hours(desk)) - before
    running = before > 0
    assert np.all(np.sign(change[running]) == np.sign(longer))
    assert np.all(np.abs(change) <= abs(longer) + 1e-9)
    desk.undo()
    assert np.array(hours(desk)) == pytest.approx(before, rel=1e-12)
    assert set(desk.unsaved) == set(texts)


@pytest.mark.identity
def test_row_is_added_between_and_taken_out(tmp_path: Path) -> None:
    """A new row takes the values of its neighbour; taken out, the file is as before."""
    desk = Desk(copied(tmp_path))
    table = desk.path.parent / "daily.csv"
    before = table.read_bytes()
    desk.do({"do": "row", "fixture": "links", "time": "15:00", "before": 2})
    desk.do({"do": "level", "fixture": "links", "row": 2, "column": "royal blue", "text": "50"})
    assert b"15:00,25,45,50,50,15,3,6,1,46" in desk.texts[str(table)]  # type: ignore[operator]
    desk.do({"do": "no-row", "fixture": "links", "row": 2})
    assert desk.texts[str(table)] == before
    assert desk.unsaved == []


@pytest.mark.identity
@pytest.mark.parametrize(
    "change",
    [
        {"do": "overall", "percent": 0},
        {"do": "overall", "percent": 101},
        {"do": "overall", "percent": True},
        {"do": "overall", "percent": 50, "fixtures": ["nobody"]},
        {"do": "hours", "longer_h": 30},
        {"do": "hours", "longer_h": -12},
        {"do": "row", "fixture": "links", "time": "soon", "before": 1},
        {"do": "row", "fixture": "links", "time": "15:00", "before": 99},
        {"do": "level", "fixture": "links", "row": 1, "column": "time", "text": "99:99"},
        {"do": "level", "fixture": "links", "row": 1, "column": "blue", "text": "140"},
        {"do": "level", "fixture": "nobody", "row": 1, "column": "blue", "text": "40"},
    ],
)
def test_programme_that_cannot_be_is_refused(tmp_path: Path, change: dict[str, object]) -> None:
    """What the controller could not run is told, and the programme stays."""
    desk = Desk(copied(tmp_path))
    before = hours(desk)
    with pytest.raises(LightdoseError):
        desk.do(change)
    assert desk.unsaved == []
    assert hours(desk) == before
