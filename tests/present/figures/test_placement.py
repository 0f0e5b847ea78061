"""The figures and words of `place` and `move`: words that do not meet, marks where corals stand."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np
import pytest
from fit.placement_scenes import PLACEMENTS
from judge.made_tank import made_tank, stepped
from matplotlib.colors import to_hex
from matplotlib.text import Annotation
from present.text_boxes import misplaced_words

from lightdose.answers.words import number
from lightdose.judge.map_choice import shown_planes
from lightdose.model.places import MoveWishes, Placement, PlaceWishes
from lightdose.model.setup import Setup
from lightdose.present.figures.canvas import Drawing, render
from lightdose.present.figures.placement import move_drawing, placement_drawing
from lightdose.present.figures.style import STATE_MARKS
from lightdose.workflows.placing import move, place
from lightdose.workflows.plans import light_map


def drawing_of(placement: Placement, setup: Setup) -> Drawing:
    return placement_drawing(placement, light_map(setup, shown_planes(placement), cell_m=0.02), "cm")


@pytest.mark.identity
@pytest.mark.parametrize("case", PLACEMENTS)
def test_words_of_the_plan_do_not_meet_or_leave_the_page(case: str) -> None:
    """Every text box lies inside the canvas and apart from the others."""
    setup, wishes = PLACEMENTS[case]
    drawing = drawing_of(place(setup, wishes), setup)
    assert misplaced_words(drawing) == []
    assert render(drawing, "svg").startswith(b"<?xml")


@pytest.mark.identity
def test_marks_stand_where_the_corals_do_on_one_scale() -> None:
    """From above at x and y, from the front at x and the top's depth; both views have one scale."""
    setup = made_tank()
    placement = place(setup, PlaceWishes())
    axes = {a.get_label(): a for a in drawing_of(placement, setup).figure.axes}
    spots = [(c.after.spot, c.height_m) for c in placement.corals if c.after]
    expected = {
        "depth": {(round(100 * s.x_m, 3), round(100 * s.y_m, 3)) for s, _ in spots},
        "from_front": {(round(100 * s.x_m, 3), round(100 * (s.depth_m - h), 3)) for s, h in spots},
    }
    scales = []
    for kind, places in expected.items():
        marks = [line for line in axes[kind].lines if line.get_marker() in ("o", "D")]
        drawn = {(round(float(m.get_xdata()[0]), 3), round(float(m.get_ydata()[0]), 3)) for m in marks}
        assert drawn == places
        box, figure = axes[kind].get_position(), axes[kind].figure
        width = box.width * figure.get_size_inches()[0]
        scales.append(width / abs(np.diff(axes[kind].get_xlim())[0]))
    assert scales[0] == pytest.approx(scales[1])


@pytest.mark.identity
def test_corals_behind_one_another_keep_their_lines_and_the_worse_state() -> None:
    """Two corals at one point of a view: each way is drawn, the mark is the one further off."""
    setup = made_tank()
    placement = place(setup, PlaceWishes())
    spot = next(c.after.spot for c in placement.corals if c.after)
    pair = []
    for y_m, state, old_x in ((0.1, "within", 0.05), (0.3, "far_below", 0.5)):
        coral = next(c for c in placement.corals if c.after)
        assert coral.after is not None
        after = replace(coral.after, spot=replace(spot, y_m=y_m, name=f"s{y_m}"), dli_state=state)
        before = replace(coral.before, spot=replace(spot, x_m=old_x, name="old"))
        pair.append(replace(coral, coral=f"c{y_m}", before=before, after=after, moved_m=0.2))
    drawing = drawing_of(replace(placement, corals=tuple(pair)), setup)
    front = next(a for a in drawing.figure.axes if a.get_label() == "from_front")
    marks = [line for line in front.lines if line.get_marker() in ("o", "D")]
    ways = {round(float(a.xyann[0]), 3) for a in front.texts if isinstance(a, Annotation)}
    assert [to_hex(m.get_markerfacecolor()) for m in marks] == [to_hex(STATE_MARKS["far_below"][1])]
    assert ways == {5.0, 50.0}
    assert "1, 2" in {t.get_text() for t in front.texts}


@pytest.mark.identity
def test_more_moves_than_arrows_can_show_are_told_in_the_list(monkeypatch: pytest.MonkeyPatch) -> None:
    """No arrow is drawn, the lead does not speak of any, and the list says from where."""
    setup = made_tank()
    placement = place(setup, PlaceWishes(everything=True))
    assert any(coral.moves for coral in placement.corals)
    monkeypatch.setattr("lightdose.present.figures.placement.CROWDED", 0)
    drawing = drawing_of(placement, setup)
    assert not any(isinstance(t, Annotation) for axes in drawing.figure.axes for t in axes.texts)
    words = " ".join(t.get_text() for t in drawing.figure.texts)
    assert "arrows" not in words
    assert re.search(r"\w to \w[^:]*: [\d.]+ to [\d.]+, usual", words)


@pytest.mark.identity
@pytest.mark.parametrize(("sites", "rise", "to"), [(10, 0.1, "P9"), (200, 0.012, "P199"), (10, 0.1, "P4")])
def test_words_of_the_way_do_not_meet_or_leave_the_page(sites: int, rise: float, to: str) -> None:
    """A few stones, very many, and one step down."""
    drawing = move_drawing(move(stepped(sites), MoveWishes("brain", to, rise)))
    assert misplaced_words(drawing) == []
    (axes,) = drawing.figure.axes
    assert "mol m⁻² d⁻¹" in axes.get_ylabel()


@pytest.mark.identity
def test_line_of_the_way_holds_the_doses() -> None:
    """The steps drawn are today's dose and those of the record."""
    found = move(stepped(10), MoveWishes("brain", "P9"))
    (axes,) = move_drawing(found).figure.axes
    line = next(x for x in axes.lines if to_hex(x.get_color()) == "#0344dd")
    assert line.get_ydata()[:-1] == pytest.approx([found.start_dli, *(s.dli_mol_m2_d for s in found.steps)])


@pytest.mark.identity
def test_long_names_of_places_are_shortened_but_never_a_number() -> None:
    """The list under the picture keeps dose and usual range whole whatever a place is called."""
    setup = made_tank()
    placement = place(setup, PlaceWishes())
    corals = []
    for coral in placement.corals:
        if coral.after is not None:
            coral = replace(coral, after=replace(coral.after, spot=replace(coral.after.spot, name="w" * 80)))
        corals.append(coral)
    drawing = drawing_of(replace(placement, corals=tuple(corals)), setup)
    texts = [t.get_text() for t in drawing.figure.texts]
    doses = [number(c.after.dli_mol_m2_d) for c in corals if c.after is not None]
    assert doses
    for dose in doses:
        assert any(f"{dose}, usual" in text and "…" in text for text in texts)
