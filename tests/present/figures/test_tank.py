"""The drawing of the tank: plan and front view to one scale, rock, colonies and every coral, words apart."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from judge.made_tank import made_tank
from matplotlib.patches import Polygon
from present.text_boxes import misplaced_words

from lightdose.analysis import analyse
from lightdose.model.places import Plane
from lightdose.model.setup import Coral, Setup, Site
from lightdose.model.solids import FACES, Solid
from lightdose.present.figures.tank import NAMED_AT_MOST, coral_marks, tank_views
from lightdose.present.figures.tank_view import MOST_NAMED, Box, LabelField, Scene, SiteMark, place_names

ROCK = Solid("left arch", "box", 0.12, 0.3, 0.28, (0.1, 0.12, 0.1), turn_deg=20)


def crowded(corals: int) -> Setup:
    """So many corals with long names on a rock, some with a colony, some on a wall."""
    draw = np.random.default_rng(13)
    places = draw.uniform((0.02, 0.02, 0.05), (0.58, 0.23, 0.33), (corals, 3))
    sites = tuple(Site(f"P{n}", *map(float, at)) for n, at in enumerate(places))
    stock = tuple(
        Coral(
            f"coral with a long name, number {n}",
            "lps-branching",
            f"P{n}",
            height_m=0.03,
            diameter_m=0.05 if n % 3 == 0 else 0.0,
            face=FACES["front"] if n % 5 == 0 else None,
        )
        for n in range(corals)
    )
    return made_tank(sites=sites, corals=stock, rocks=(ROCK,))


@pytest.mark.identity
@pytest.mark.parametrize("corals", [0, 3, NAMED_AT_MOST, 60])
def test_words_do_not_meet_or_leave_the_page(corals: int) -> None:
    """Names at their marks, and numbers with a list where there are many, lie apart."""
    drawing = tank_views(analyse(crowded(corals), certainty=False), "cm")
    assert misplaced_words(drawing) == []
    words = "\n".join(text.get_text() for text in drawing.figure.texts)
    assert ("60  " in words) == (corals == 60)


@pytest.mark.identity
def test_corals_stand_where_they_do_on_one_scale() -> None:
    """From above at x and y, from the front at x and the top's depth; both views have one scale."""
    setup = crowded(8)
    analysis = analyse(setup, certainty=False)
    axes = {a.get_label(): a for a in tank_views(analysis, "cm").figure.axes}
    sites = {s.name: s for s in setup.sites}
    at = [(sites[c.site].x_m, sites[c.site].y_m, sites[c.site].depth_m - c.height_m) for c in setup.corals]
    scales = []
    for kind, down in (("depth", 1), ("from_front", 2)):
        marks = [line for line in axes[kind].lines if line.get_marker() in ("o", "D")]
        places = [place for m in marks for place in zip(m.get_xdata(), m.get_ydata(), strict=True)]
        drawn = {(round(float(x), 6), round(float(y), 6)) for x, y in places}
        assert len(places) == len(at)
        assert drawn == {(round(100 * p[0], 6), round(100 * p[down], 6)) for p in at}
        box, figure = axes[kind].get_position(), axes[kind].figure
        scales.append(box.width * figure.get_size_inches()[0] / abs(np.diff(axes[kind].get_xlim())[0]))
    assert scales[0] == pytest.approx(scales[1])


@pytest.mark.identity
def test_rock_is_filled_and_colonies_are_outlines() -> None:
    """A tank without either has no such shape and says nothing of them."""
    setup = crowded(4)
    drawing = tank_views(analyse(setup, certainty=False), "cm")
    shapes = [p for p in drawing.figure.axes[0].patches if type(p) is Polygon]
    assert sorted(p.get_facecolor()[3] > 0 for p in shapes) == [False, False, True]
    assert "1 rock and 2 colonies in it" in drawing.title
    bare = replace(setup, rocks=(), corals=tuple(replace(c, diameter_m=0.0) for c in setup.corals))
    drawing = tank_views(analyse(bare, certainty=False), "cm")
    assert not [p for p in drawing.figure.axes[0].patches if type(p) is Polygon]
    assert "in it" not in drawing.title


@pytest.mark.identity
def test_corals_are_numbered_from_left_to_right() -> None:
    """So a number in the drawing is found in the list at once, and the other way round."""
    setup = crowded(20)
    marks = coral_marks(setup, analyse(setup, certainty=False).verdicts)
    assert [m.word for m in marks] == [str(n) for n in range(1, 21)]
    assert [m.at_m[0] for m in marks] == sorted(m.at_m[0] for m in marks)


@pytest.mark.identity
def test_more_places_than_a_page_has_room_for_are_counted_and_not_named(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """A search for room among 20,000 names would take an hour; marks are drawn, names stand in the table."""
    tried: list[int] = []

    def place(self: LabelField, *_: object) -> None:
        tried.append(len(self.taken))

    monkeypatch.setattr(LabelField, "place", place)
    scene, field = Scene.whole(crowded(3), Plane("depth", 0.1), "cm"), LabelField(Box(0, 0, 5, 4))
    marks = [SiteMark((0.001 * n, 0.1), True, ((f"P{n}", ""),)) for n in range(MOST_NAMED + 1)]
    found = place_names(scene, (5.0, 4.0), marks, field)
    assert found.rest == f"Its {MOST_NAMED + 1} places are too many for their names here."
    assert not found.written
    assert not field.taken
    assert not tried
    place_names(scene, (5.0, 4.0), marks[:2], field)
    assert len(tried) == 4  # each by its name, then by a number
    tried.clear()
    monkeypatch.setattr("lightdose.present.figures.tank.MOST_NAMED", 10)
    analysis = analyse(crowded(11), certainty=False)
    tank_views(analysis, "cm")
    words = len(tried)
    monkeypatch.setattr("lightdose.present.figures.tank.MOST_NAMED", 11)
    tank_views(analysis, "cm")
    assert len(tried) > 2 * words + 11


@pytest.mark.identity
def test_list_of_more_corals_than_are_named_is_their_count(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without numbers at the marks a list by numbers tells nothing, and 20,000 names take half a minute."""
    written: list[str] = []
    monkeypatch.setattr("lightdose.present.figures.tank.write_text", lambda *a, **_: written.append(a[4]))
    analysis = analyse(crowded(40), certainty=False)
    monkeypatch.setattr("lightdose.present.figures.tank.MOST_NAMED", 30)
    many = tank_views(analysis, "cm")
    assert written[-1] == "Its 40 corals are too many for their names here."
    assert len(written) == 3
    monkeypatch.setattr("lightdose.present.figures.tank.MOST_NAMED", 40)
    few = tank_views(analysis, "cm")
    assert len(written) == 3 + 2 + 40
    assert few.figure.get_figheight() > many.figure.get_figheight() + 1
