"""A new tank from eight answers, and corals by their names."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest

from lightdose.desk.begin import COLOURS, TYPICAL, recognised
from lightdose.desk.session import Desk
from lightdose.errors import LightdoseError
from lightdose.files.library import emitter_names
from lightdose.files.setup_file import read_setup
from lightdose.workflows.advice import advised

ANSWERS: dict[str, Any] = {
    "do": "begin",
    "title": "Fenster ü",
    "unit": "cm",
    "length": "100",
    "width": "50",
    "water_depth": "45,5",
    "rim": "",
    "floor": "sand",
    "walls": {"front": "clean", "back": "painted", "left": "clean", "right": "dark"},
    "lamps": "2",
    "lamp_length": "40",
    "lamp_width": "18",
    "height": "20",
    "across": False,
    "watts": "120",
    "overall": "60",
    "meter": "umol",
    "channels": [{"name": "blau", "colour": "blue", "leds": "30"},
                 {"name": "weiß", "colour": "cool white", "leds": "10"}],
    "rows": [{"time": "09:00", "levels": ["0", "0"]}, {"time": "12:00", "levels": ["80", ""]},
             {"time": "18:00", "levels": ["80", "30"]}, {"time": "21:00", "levels": ["0", "0"]}],
    "corals": [{"name": "grün \"x\"", "group": "Acropora"}, {"name": "ハナ", "group": "zoanthid"}],
}  # fmt: skip


@pytest.mark.identity
def test_eight_answers_make_a_setup_that_reads_and_says_what_it_stands_on(tmp_path: Path) -> None:
    """Files, lamps and corals are as answered; everything says that its values are typical."""
    desk = Desk(tmp_path / "new" / "setup.toml")
    assert desk.first
    desk.do(ANSWERS)
    assert not (tmp_path / "new").exists()
    desk.save("begun")
    setup = read_setup(desk.path)
    assert setup.title == "Fenster ü"
    assert (setup.tank.length_m, setup.tank.width_m, setup.tank.water_depth_m) == (1.0, 0.5, 0.455)
    assert [wall.kind for wall in setup.tank.walls.values()] == ["clean", "painted", "clean", "dark"]
    assert [(f.x_m, f.y_m, f.height_m) for f in setup.fixtures] == [(0.25, 0.25, 0.2), (0.75, 0.25, 0.2)]
    watts = [c.electrical_w for c in setup.fixtures[0].type.channels]
    assert watts == [90.0, 30.0]
    assert [c.name for c in setup.unplaced] == ['grün "x"', "ハナ"]
    assert TYPICAL in desk.path.read_text(encoding="utf-8")
    for name in ('grün "x"', "ハナ"):
        desk.do({"do": "put", "kind": "coral", "name": name, "x_m": 0.3, "y_m": 0.2, "depth_m": 0.2})
    assert desk.setup is not None
    analysis = advised(desk.setup)
    assert analysis.basis.key == "typical values"
    assert all(v.dli_mol_m2_d > 0 for v in analysis.verdicts)


@pytest.mark.identity
def test_inches_are_written_as_inches(tmp_path: Path) -> None:
    """Who measures in inches gets a file in inches."""
    desk = Desk(tmp_path / "setup.toml")
    desk.do(ANSWERS | {"unit": "in", "length": "40", "width": "20", "water_depth": "18", "height": "8"})
    assert desk.setup is not None
    assert desk.setup.length_unit == "in"
    assert desk.setup.tank.length_m == pytest.approx(40 * 0.0254, rel=1e-12)
    assert desk.setup.fixtures[1].x_m == pytest.approx(30 * 0.0254, rel=1e-12)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("changed", "words"),
    [
        ({"length": ""}, "Length of the tank: a length is missing"),
        ({"length": "long"}, "Length of the tank"),
        ({"lamps": "0"}, "no number of lamps"),
        ({"lamps": "many"}, "not a number"),
        ({"watts": ""}, "Watts of a lamp"),
        ({"channels": []}, "a lamp has one or more"),
        ({"channels": ANSWERS["channels"][:1] * 2}, "same name"),
        ({"rows": ANSWERS["rows"][:1]}, "two rows or more"),
        ({"rows": [{"time": "9", "levels": ["0", "0"]}, *ANSWERS["rows"][1:]]}, "9"),
        ({"overall": "800"}, "800"),
        ({"walls": {"front": "brick"}}, "makes no sense"),
        ({"corals": [{"name": "x", "group": "nonsense"}]}, "nonsense"),
        ({"corals": [{"name": "x", "group": "zoanthid"}] * 2}, "stands twice"),
        ({"water_depth": "9000"}, "9000"),
    ],
)
def test_answer_that_cannot_be_is_told(tmp_path: Path, changed: dict[str, Any], words: str) -> None:
    """Each slip is told by its question or its file, and nothing is begun."""
    desk = Desk(tmp_path / "setup.toml")
    with pytest.raises(LightdoseError, match=words):
        desk.do(ANSWERS | changed)
    assert desk.first
    assert desk.unsaved == []
    assert list(tmp_path.iterdir()) == []


@pytest.mark.identity
def test_every_colour_is_in_the_library() -> None:
    """The words for colours name LEDs that are there."""
    assert set(COLOURS.values()) <= set(emitter_names())


@pytest.mark.identity
def test_names_tell_what_corals_are() -> None:
    """A word within a name, or behind a comma, tells the group; a name that tells nothing is asked about."""
    text = "green hammer\nAcropora millepora\nMoon, staghorn\nGeweih;Acropora\n\n  • torch \nBerta\nBerta\n"
    found = {one["name"]: one["group"] for one in recognised(text)}
    assert list(found) == [
        "green hammer",
        "Acropora millepora",
        "Moon",
        "Geweih",
        "torch",
        "Berta",
        "Berta 2",
    ]
    assert found["Acropora millepora"] == found["Moon"] == found["Geweih"] == "Acropora"
    assert found["green hammer"]
    assert found["torch"]
    assert found["Berta"] == found["Berta 2"] == ""
