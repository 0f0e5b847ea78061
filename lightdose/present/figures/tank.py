"""The tank as it stands: plan and front view, with rock, colonies, fixtures and every coral."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from lightdose.answers.verdicts import SEVERITY, within_words
from lightdose.answers.words import count
from lightdose.errors import literal
from lightdose.model.places import AXES, Plane
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, Verdict
from lightdose.model.setup import LengthUnit, Setup
from lightdose.model.solids import Face
from lightdose.present.figures.canvas import MARGIN_IN, Drawing, Panel, Sheet, drawn, line_in, write_text
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.style import INK, QUIET_INK, SMALL_PT, fitted
from lightdose.present.figures.tank_view import (
    MOST_NAMED,
    Box,
    Scene,
    TankView,
    beside,
    text_size_in,
    too_many_to_name,
)

if TYPE_CHECKING:
    from matplotlib.figure import Figure

WIDTH_IN, LEFT_IN, TALLEST_IN = 5.4, 0.55, 3.6
AXIS_IN, HEAD_IN = 0.42, 0.2
NAMED_AT_MOST: Final = 12
"""Up to so many corals have their names at their marks, more have numbers. Our choice."""

NAME_IN, MARK_PT, FACE_IN, LIST_PT, FAR_IN = 1.2, 5.0, 0.13, 7.5, 0.2
COLUMNS: Final = 3


@dataclass(frozen=True)
class CoralMark:
    """A coral: its place in the tank, the word at its mark, how it stands, and which way it looks."""

    name: str
    word: str
    at_m: tuple[float, float, float]
    verdict: Verdict
    face: Face | None

    @property
    def off(self) -> bool:
        """Whether it is told to get too little or too much."""
        return SEVERITY[self.verdict.dli_verdict] < SEVERITY["undecided"]


def coral_marks(setup: Setup, verdicts: Sequence[Verdict]) -> list[CoralMark]:
    """The corals from left to right; many are numbered in that order."""
    sites, corals = {s.name: s for s in setup.sites}, {c.name: c for c in setup.corals}
    order = sorted(verdicts, key=lambda v: (sites[v.site].x_m, sites[v.site].y_m, v.coral))
    numbered, found = len(order) > NAMED_AT_MOST, []
    for n, verdict in enumerate(order, start=1):
        site, coral = sites[verdict.site], corals[verdict.coral]
        name = literal(verdict.coral)
        word = str(n) if numbered else fitted(name, NAME_IN, SMALL_PT)
        at = (site.x_m, site.y_m, site.depth_m - coral.height_m)
        found.append(CoralMark(name, word, at, verdict, coral.face or site.face))
    return found


@drawn
def tank_views(analysis: Analysis, unit: LengthUnit) -> Drawing:
    """The tank from above and from the front to one scale, and the list of corals that have numbers."""
    setup, marks = analysis.setup, coral_marks(analysis.setup, analysis.verdicts)
    width = min(WIDTH_IN, fit().map_in)
    room = width - LEFT_IN - MARGIN_IN
    height = views_height_in(setup, unit, room) + list_height_in(marks)
    sheet = Sheet(_title(analysis), _lead(setup, marks), width, height)
    bottom = draw_views(sheet.figure, LEFT_IN, sheet.top_in, room, setup, marks, unit)
    draw_list(sheet.figure, MARGIN_IN, bottom, width - 2 * MARGIN_IN, marks)
    off = [mark.name for mark in marks if mark.off]
    told = ", ".join(off) if len(off) <= MOST_NAMED else count(len(off), "coral")
    return sheet.drawing("tank", f"{sheet.title}.{f' Not usual: {told}.' if off else ''}")


def _title(analysis: Analysis) -> str:
    standing = analysis.setup.standing
    colonies = sum(bool(solid.coral) for solid in standing.solids) if standing else 0
    told = [count(len(analysis.setup.rocks), "rock")] if analysis.setup.rocks else []
    told += [count(colonies, "colony", "colonies")] if colonies else []
    judged = f": {within_words(analysis.judgement)}" if analysis.judgement.judged else ""
    solids = f", {' and '.join(told)} in it" if told else ""
    return f"The tank{solids}{judged}"


def _lead(setup: Setup, marks: Sequence[CoralMark]) -> str:
    words = f"{literal(setup.title)}. From above, and from the front. Dashed: fixtures."
    solids = setup.standing.solids if setup.standing else ()
    drawn = (("grey: rock", bool(setup.rocks)), ("dotted: colonies", any(s.coral for s in solids)))
    shown = "; ".join(name for name, there in drawn if there)
    words += f" {shown[0].upper()}{shown[1:]}." if shown else ""
    if marks:
        words += " Discs: corals; diamonds: those with too little or too much."
    if any(mark.face for mark in marks):
        words += " A stroke leads where a coral faces."
    return words


def _scenes(setup: Setup, unit: LengthUnit) -> tuple[Scene, Scene]:
    """Plan and front view with the same columns."""
    plan = Scene.whole(setup, Plane("depth", 0.5 * setup.tank.water_depth_m), unit)
    front = Scene.whole(setup, Plane("from_front", 0.5 * setup.tank.width_m), unit)
    return plan, Scene(setup, front.plane, unit, plan.columns_m, front.rows_m)


def _size_in(scenes: tuple[Scene, Scene], width_in: float) -> float:
    """Inches a metre, so that the wider and the taller of both fit."""
    return min(width_in / scenes[0].reach_m[0], *(TALLEST_IN / scene.reach_m[1] for scene in scenes))


def views_height_in(setup: Setup, unit: LengthUnit, width_in: float) -> float:
    """Height of both views. [inch]"""
    scenes = _scenes(setup, unit)
    scale = _size_in(scenes, width_in)
    return sum(scene.reach_m[1] * scale + HEAD_IN + AXIS_IN for scene in scenes)


def draw_views(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    setup: Setup,
    marks: Sequence[CoralMark],
    unit: LengthUnit,
) -> float:
    """Both views one above the other; the height below them. [inch from the top]"""
    scenes = _scenes(setup, unit)
    scale = _size_in(scenes, width_in)
    for scene, head in zip(scenes, ("From above, the front below", "From the front"), strict=True):
        write_text(figure, left_in, top_in, width_in, head, SMALL_PT, weight="bold")
        wide, high = (metres * scale for metres in scene.reach_m)
        panel = Panel.on(figure, left_in, top_in + HEAD_IN, wide, high)
        _draw_view(panel, scene, marks)
        top_in += HEAD_IN + high + AXIS_IN
    return top_in


def _draw_view(panel: Panel, scene: Scene, marks: Sequence[CoralMark]) -> None:
    view = TankView.on(panel, scene, whole=True)
    panel.axes.set_label(scene.plane.kind)
    view.scales()
    along, down, _ = AXES[scene.plane.kind]
    places = [(mark.at_m[along], mark.at_m[down]) for mark in marks]
    points = [scene.inches(view.size_in, place) for place in places]
    side = MARK_PT / 72 + 0.015
    view.labels.taken += [Box.around(x, y, side, side) for x, y in points]
    _draw_faces(view, marks, places)
    for off, shape, fill in ((False, "o", INK), (True, "D", "white")):
        alike = [place for mark, place in zip(marks, places, strict=True) if mark.off is off]
        view.marks(alike, shape, fill, markersize=MARK_PT)
    for mark, (x, y) in zip(marks, points, strict=True) if len(marks) <= MOST_NAMED else ():
        size = text_size_in(mark.word, pad_in=0.012)
        box = view.labels.place(beside(x, y, size, 0.05), size)
        if box is None:
            box = view.labels.place(beside(x, y, size, FAR_IN), size)
            if box is not None:
                _lead_to(view, (x, y), box)
        if box is not None:
            view.write(box, mark.word)
    view.name_solids()
    view.draw_fixtures()


def _lead_to(view: TankView, at_in: tuple[float, float], box: Box) -> None:
    """A hairline from a mark to a name that stands further off."""
    near = min(max(at_in[0], box.left), box.right), min(max(at_in[1], box.low), box.high)
    x, y = ([end[axis] / view.size_in[axis] for end in (at_in, near)] for axis in (0, 1))
    axes = view.panel.axes
    axes.plot(x, y, color=INK, linewidth=0.6, zorder=6, transform=axes.transAxes)


def _draw_faces(view: TankView, marks: Sequence[CoralMark], places: Sequence[tuple[float, float]]) -> None:
    """A short stroke from each mark to where its coral looks."""
    reach = FACE_IN * view.scene.reach_m[0] / view.panel.width_in
    strokes: list[tuple[float, float]] = []
    for mark, place in zip(marks, places, strict=True):
        across, back, up = mark.face.normal if mark.face else (0.0, 0.0, 0.0)
        aside = (across, -up) if view.scene.upright else (across, back)
        if math.hypot(*aside) >= 0.1:
            end = (place[0] + reach * aside[0], place[1] + reach * aside[1])
            strokes += [place, end, (math.nan, math.nan)]
    style: Any = {"color": INK, "linewidth": 1.4, "zorder": 6.5}
    view.plot(strokes, **style)


def list_height_in(marks: Sequence[CoralMark]) -> float:
    """Height of the list of numbered corals; 0 where they have their names. [inch]"""
    if len(marks) <= NAMED_AT_MOST:
        return 0.0
    rows = math.ceil(len(marks) / COLUMNS) if len(marks) <= MOST_NAMED else 1
    return rows * line_in(LIST_PT) + 0.1


def draw_list(
    figure: Figure, left_in: float, top_in: float, width_in: float, marks: Sequence[CoralMark]
) -> float:
    """The names of numbered corals in columns, or their count; the height below them. [inch from the top]"""
    if len(marks) <= NAMED_AT_MOST:
        return top_in
    if len(marks) > MOST_NAMED:
        counted = too_many_to_name(len(marks), "corals")
        write_text(figure, left_in, top_in, width_in, counted, LIST_PT, color=QUIET_INK)
        return top_in + line_in(LIST_PT)
    rows, wide = math.ceil(len(marks) / COLUMNS), width_in / COLUMNS
    for n, mark in enumerate(marks):
        column, row = divmod(n, rows)
        text = fitted(f"{mark.word}  {mark.name}", wide - 0.1, LIST_PT, bold=mark.off)
        style: Any = {"weight": "bold"} if mark.off else {"color": QUIET_INK}
        write_text(
            figure, left_in + column * wide, top_in + row * line_in(LIST_PT), width_in, text, LIST_PT, **style
        )
    return top_in + rows * line_in(LIST_PT)
