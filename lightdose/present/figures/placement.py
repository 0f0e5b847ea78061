"""Which coral goes where, and the steps to another place or another light."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Any, Final

import numpy as np

from lightdose.answers.acclimate import closing_sentence, doses_sentence, headline
from lightdose.answers.place import end_sentence, moves_sentence, numbered, spot_name, verdict_sentence
from lightdose.answers.verdicts import SEVERITY, short_state
from lightdose.answers.words import DLI_UNIT, DLI_UNIT_TYPESET, count, length, number, range_text
from lightdose.errors import literal
from lightdose.model.places import AXES, LightMap, MapSlice, Move, PlacedCoral, Placement, Plane, Spot
from lightdose.model.plans import Acclimation
from lightdose.model.record import FloatArray
from lightdose.model.results import DliState
from lightdose.model.setup import LengthUnit
from lightdose.present.figures.canvas import (
    LINE_IN,
    MARGIN_IN,
    STACK_RIGHT_IN,
    Drawing,
    Panel,
    Sheet,
    drawn,
    stacked_sheet,
    write_text,
)
from lightdose.present.figures.day import DOSE
from lightdose.present.figures.map import draw_light, scale_levels
from lightdose.present.figures.scales import EndLabel
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    LIMIT_FILL,
    QUIET_INK,
    SMALL_PT,
    STATE_MARKS,
    TONES,
    fitted,
    fitted_before,
    text_width_in,
)
from lightdose.present.figures.tank_view import NAME_PT, Box, Scene, TankView, beside, text_size_in

DOSES_IN, MISMATCH_IN = 3.2, 2.2
CORALS_DRAWN: Final = 16
NOTICED: Final = 0.97
"""A first dose below this share of today's is explained. Our choice."""

LEAD: Final = (
    "Above: the dose of each coral from step to step, starting from what it lives in (log scale). Below: "
    "dose over the dose that the coral furthest ahead is set for; line: it follows in 20 days; shade: 4 to "
    "40 days. Common practice, no published rule per week."
)


@drawn
def acclimation_drawing(way: Acclimation) -> Drawing:
    """Doses by day over the mismatch by day."""
    at = int(way.curve.d_over_a[1].argmax())
    low, peak, high = sorted(float(v) for v in way.curve.d_over_a[:, at])
    title = (
        f"{headline(way)} Most ahead: {literal(way.curve.coral)!r}, {peak:.2f} ({low:.2f}-{high:.2f}) times "
        "its acclimated dose."
    )
    rest = len(way.corals) - CORALS_DRAWN
    lead = f"{rest} more corals, which rise less, are not drawn. " if rest > 0 else ""
    lead += f"{LEAD} {_first_dip(way)}{doses_sentence(way)}"
    sheet, panels = stacked_sheet(
        title, lead, [DOSES_IN, MISMATCH_IN], "days from the first step", DOSE, above_in=0.05, grid="y"
    )
    last = float(way.curve.day[-1])
    for panel in panels:
        panel.axes.set_xlim(-max(3.0, 0.03 * last), last)
        panel.axes.set_xticks(np.arange(0, last + 1, 7 * max(1, round(last / 70))))
        for step in way.steps:
            panel.axes.axvline(step.day, color=LIMIT_FILL, linewidth=0.8, zorder=0)
    _draw_step_doses(panels[0], way)
    _draw_mismatch(panels[1], way)
    return sheet.drawing("acclimation", f"{literal(title)} {closing_sentence(way)}")


def _first_dip(way: Acclimation) -> str:
    """Why some corals get less at first; empty where none does."""
    first = {coral.coral: coral.dli_mol_m2_d for coral in way.steps[0].corals}
    dip = sum(first[coral.name] < NOTICED * coral.before for coral in way.corals)
    if not dip:
        return ""
    whom = count(dip, "coral gets", "corals get")
    return f"At first {whom} less than today: all start as low as the coral that would rise most needs it. "


def _draw_step_doses(panel: Panel, way: Acclimation) -> None:
    order = sorted(range(len(way.corals)), key=lambda i: -way.corals[i].target / way.corals[i].before)
    rows = [(way.corals[i], [s.corals[i].dli_mol_m2_d for s in way.steps]) for i in order[:CORALS_DRAWN]]
    ends = [dose for coral, doses in rows for dose in (coral.before, *doses)]
    panel.log_axis("y", 0.85 * min(ends), 1.18 * max(ends))
    left, right = panel.axes.get_xlim()
    days = np.array([left, *(step.day for step in way.steps), right])
    labels = []
    for coral, doses in rows:
        leads = coral.name == way.curve.coral
        panel.axes.step(
            days,
            [coral.before, *doses, doses[-1]],
            where="post",
            color=TONES["blue"] if leads else QUIET_INK,
            linewidth=2.0 if leads else 1.1,
            linestyle="solid" if coral.origin == "today" else (0, (5, 1.5)),
            zorder=4 if leads else 3,
        )
        text = fitted_before(coral.name, f" {number(doses[-1])}", STACK_RIGHT_IN - 0.4, SMALL_PT)
        labels.append(EndLabel(text, right, doses[-1], TONES["blue"] if leads else INK))
    panel.label_ends(labels)


def _draw_mismatch(panel: Panel, way: Acclimation) -> None:
    from matplotlib.ticker import MaxNLocator

    axes, day, ratio = panel.axes, way.curve.day, way.curve.d_over_a
    low, high = ratio.min(axis=0), ratio.max(axis=0)
    axes.fill_between(day, low, high, color=BAND_FILL, linewidth=0, zorder=2)
    axes.plot(day, ratio[1], color=TONES["blue"], linewidth=1.8, zorder=3)
    axes.axhline(1.0, color=QUIET_INK, linewidth=1.0, zorder=1)
    axes.set_ylim(min(0.9, 0.97 * float(low.min())), max(1.15, 1.06 * float(high.max())))
    axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    axes.set_ylabel("dose over acclimatised", fontsize=SMALL_PT)
    at = int(np.argmax(ratio[1]))
    ground = {"facecolor": "white", "edgecolor": "none", "pad": 0.8}
    panel.note(day[at], ratio[1, at], f"{ratio[1, at]:.2f}", (0, 5), ha="center", va="baseline", bbox=ground)
    last = float(day[-1])
    panel.label_ends(
        [
            EndLabel(f"follows in {tau:g} days", last, float(end), colour)
            for tau, end, colour in zip(way.curve.tau_d, ratio[:, -1], (INK, TONES["blue"], INK), strict=True)
        ]
    )


WIDTH_IN: Final = 9.0
LEFT_IN, VIEW_HEIGHT_IN, AXIS_IN, HEADING_IN = 0.75, 4.2, 0.62, 0.24
COLUMNS: Final = 2
LISTED: Final = 120
"""More corals than this are in the table only."""

CROWDED: Final = 12
"""With more corals than this some numbers may lack room, and a sentence names them; with more moves than
this arrows would cover one another, and the list says from where."""

MARK_PT: Final = 6.5
NUMBERS_BY_NAME: Final = 40
"""Numbers without room are named up to so many."""

WAY_IN: Final = 3.4
STONES_NAMED: Final = 18
"""With more stones than room only some carry their name."""


@dataclass(frozen=True)
class _Mark:
    """Corals that stand at one point of a view, one behind the other; ``state`` is that furthest off."""

    place_m: tuple[float, float]
    numbers: str
    state: DliState
    before_m: tuple[tuple[float, float], ...]


@drawn
def placement_drawing(placement: Placement, light: LightMap, unit: LengthUnit) -> Drawing:
    """Plan and side view on one scale, with contours of the light and the list of corals."""
    scenes = [Scene.whole(light.setup, part.plane, unit) for part in light.slices]
    fits = [scene.size_in(WIDTH_IN - LEFT_IN - 0.5, VIEW_HEIGHT_IN) for scene in scenes]
    scale = min(fit[0] / scene.reach_m[0] for scene, fit in zip(scenes, fits, strict=True))
    rows = numbered(placement)[:LISTED]
    spare = 3 * LINE_IN if len(rows) > CROWDED else 0.0
    views_in = sum(HEADING_IN + scale * scene.reach_m[1] + AXIS_IN for scene in scenes)
    list_in = -(-len(rows) // COLUMNS) * 2 * LINE_IN
    title = f"{moves_sentence(placement)} {verdict_sentence(placement)}"
    arrows = sum(coral.moves for coral in placement.corals) <= CROWDED
    sheet = Sheet(title, _lead(light, arrows=arrows), WIDTH_IN, views_in + spare + list_in + 0.45, 0.05)
    levels = scale_levels([part.dli for part in light.slices])
    top, bare = sheet.top_in, []
    for scene, part in zip(scenes, light.slices, strict=True):
        wide, high = (scale * reach for reach in scene.reach_m)
        sheet.write(top, _heading(part.plane, unit), left_in=LEFT_IN, weight="bold")
        view = TankView.on(sheet.panel(LEFT_IN, top + HEADING_IN, wide, high), scene)
        view.panel.axes.set_label(part.plane.kind)
        bare.append(_draw_view(view, placement, part, levels, arrows=arrows))
        top += HEADING_IN + high + AXIS_IN
    missing = sorted(set.intersection(*map(set, bare)))
    if missing and spare:
        shown = ", ".join(str(n) for n in missing[:NUMBERS_BY_NAME])
        sheet.write(top, f"Drawn without room for a number: {shown}.", SMALL_PT)
    _write_list(sheet, top + 0.1 + spare, rows, unit, whence=not arrows)
    rest = len(placement.corals) - len(rows)
    if rest:
        sheet.write(top + 0.1 + spare + list_in, f"and {count(rest, 'coral')} in the table", SMALL_PT)
    return sheet.drawing("placement", literal(title))


def _lead(light: LightMap, *, arrows: bool) -> str:
    whence = "arrows: from today's place" if arrows else "the list says from where they move"
    return (
        f"{literal(light.setup.title)}. Numbers: the list below. Discs: within their usual range; "
        "diamonds: outside it, filled when far outside; two numbers at one mark: one behind the "
        f"other, marked as the one further off; {whence}. Contours and "
        f"colours: dose in a day [{DLI_UNIT_TYPESET}] under open sky. Dashed: apertures of fixtures."
    )


def _heading(plane: Plane, unit: LengthUnit) -> str:
    at = f"{length(plane.at_m, unit)} {unit}"
    if plane.kind == "depth":
        return f"From above; light at {at} depth, the middle of the corals' tops"
    return f"From the front; light {at} behind the front pane"


def _draw_view(
    view: TankView, placement: Placement, part: MapSlice, levels: FloatArray, *, arrows: bool
) -> list[int]:
    """Draw one view; gives the numbers for which there was no room."""
    view.scales()
    contours = draw_light(view, part, part.dli, levels, pale=True)
    marks = _marks(placement, part.plane)
    places = [view.scene.inches(view.size_in, mark.place_m) for mark in marks]
    view.labels.taken += [Box.around(x, y, 0.1, 0.1) for x, y in places]
    bare: list[int] = []
    for mark, (x, y) in zip(marks, places, strict=True):
        _draw_mark(view, mark, arrows=arrows)
        words = text_size_in(mark.numbers, NAME_PT, 0.01)
        box = view.labels.place([*beside(x, y, words, 0.06), *beside(x, y, words, 0.14)], words)
        if box is None:
            bare += map(int, mark.numbers.split(", "))
        else:
            view.write(box, mark.numbers)
    view.draw_fixtures()
    if contours is not None:
        view.number_contours(contours)
    return bare


def _marks(placement: Placement, plane: Plane) -> list[_Mark]:
    marks: dict[tuple[float, float], _Mark] = {}
    for coral, label in numbered(placement):
        if coral.after is None:
            continue
        place = _seen(coral.after.spot, coral.height_m, plane)
        before = (_seen(coral.before.spot, coral.height_m, plane),) if coral.moves and coral.before else ()
        state, key = coral.after.dli_state, (round(place[0], 3), round(place[1], 3))
        if key in marks:
            mark = marks[key]
            label, before = f"{mark.numbers}, {label}", (*mark.before_m, *before)
            state = min(mark.state, state, key=SEVERITY.__getitem__)
        marks[key] = _Mark(place, label, state, before)
    return list(marks.values())


def _seen(spot: Spot, height_m: float, plane: Plane) -> tuple[float, float]:
    """Where a coral's top lies in a view. [m]"""
    top = (spot.x_m, spot.y_m, spot.depth_m - height_m)
    along, down, _ = AXES[plane.kind]
    return top[along], top[down]


def _draw_mark(view: TankView, mark: _Mark, *, arrows: bool) -> None:
    there: Any = tuple(map(view.scene.shown, mark.place_m))
    for before_m in mark.before_m if arrows else ():
        here: Any = tuple(map(view.scene.shown, before_m))
        for colour, width, order in (("white", 2.4, 5.5), (INK, 0.9, 5.6)):
            shape: Any = {"arrowstyle": "-|>", "color": colour, "linewidth": width, "shrinkB": MARK_PT / 2}
            view.panel.axes.annotate("", there, here, arrowprops=shape, zorder=order)
    shape, face = STATE_MARKS[mark.state]
    x, y = map(view.scene.shown, mark.place_m)
    edge = "white" if face == INK else INK
    style = {"markersize": MARK_PT, "markeredgewidth": 0.9, "zorder": 7}
    view.panel.mark(x, y, "o" if shape == "|" else shape, face, edge, **style)


def _write_list(
    sheet: Sheet,
    top_in: float,
    rows: Sequence[tuple[PlacedCoral, str]],
    unit: LengthUnit,
    *,
    whence: bool,
) -> None:
    room = (WIDTH_IN - 2 * MARGIN_IN) / COLUMNS - 0.2
    tall = -(-len(rows) // COLUMNS)
    for index, (coral, label) in enumerate(rows):
        left = MARGIN_IN + (index // tall) * (room + 0.2)
        top = top_in + (index % tall) * 2 * LINE_IN
        name = fitted(f"{label}  {coral.coral}", room, SMALL_PT)
        words = _list_words(coral, unit, room - 0.2, whence=whence)
        write_text(sheet.figure, left, top, WIDTH_IN, name, SMALL_PT)
        write_text(sheet.figure, left + 0.2, top + 0.9 * LINE_IN, WIDTH_IN, words, SMALL_PT)


def _list_words(coral: PlacedCoral, unit: LengthUnit, room_in: float, *, whence: bool) -> str:
    """Where to and how much; only names of places are shortened, never a number."""
    if coral.after is None:
        return "no place"
    after = coral.after
    go = "to " if coral.moves else "stays at "
    if whence and coral.moves and coral.before:
        go = f"{fitted(spot_name(coral.before.spot, unit), room_in / 4, SMALL_PT)} to "
    dose = number(after.dli_mol_m2_d)
    was = f"{number(coral.before.dli_mol_m2_d)} to {dose}" if coral.moves and coral.before else dose
    usual = f", usual {range_text(*coral.band_dli)}" if coral.band_dli else ""
    spot = spot_name(after.spot, unit)
    tail = f": {was}{usual}, {short_state(after.dli_state)}"
    return go + fitted_before(spot, tail, room_in - text_width_in(go, SMALL_PT), SMALL_PT)


@drawn
def move_drawing(move: Move) -> Drawing:
    """Dose by day under the rise that is allowed, against the usual range, each stone named at the right."""
    title = end_sentence(move).replace(DLI_UNIT, DLI_UNIT_TYPESET)
    lead = f"Line: what {literal(move.coral)} gets at each place, from today's on."
    if _rises(move):
        lead += f" Dashed: the most that {100 * move.wishes.rise_per_week:g} % a week would allow."
    lead += " Shade: the usual range of its group." if move.band_dli is not None else ""
    start = f" (day 0: {move.steps[0].date})" if move.steps[0].date else ""
    x_label = f"days from the first step{start}"
    sheet, (panel,) = stacked_sheet(title, lead, [WAY_IN], x_label, DOSE, grid="y")
    _draw_way(panel, move)
    return sheet.drawing("move", literal(title))


def _rises(move: Move) -> bool:
    """Whether any step brings more light, so that the most that is allowed tells something."""
    doses = [move.start_dli, *(s.dli_mol_m2_d for s in move.steps)]
    return any(after > before for before, after in pairwise(doses))


def _draw_way(panel: Panel, move: Move) -> None:
    axes, step, last = panel.axes, move.wishes.step_days, move.days + move.wishes.step_days
    days = [-step, *(s.day for s in move.steps), last]
    doses = [move.start_dli, *(s.dli_mol_m2_d for s in move.steps)]
    low, high = min(doses), max(doses)
    gap = max(0.12 * (high - low), 0.06 * high, 0.01)
    axes.set(xlim=(-step, last), ylim=(max(0.0, low - gap), high + gap))
    axes.set_xticks(np.arange(0, last + 1, 7 * max(1, round(last / 70))))
    if move.band_dli is not None:
        axes.axhspan(*move.band_dli, color=BAND_FILL, alpha=0.5, linewidth=0, zorder=1)
        axes.set_title(
            f"usual {range_text(*move.band_dli)}", fontsize=SMALL_PT, color=QUIET_INK, loc="left", pad=3
        )
    for dose, *ends in zip(doses, days[1:], days[2:], strict=False) if _rises(move) else ():
        most = [dose * move.wishes.growth] * 2
        axes.plot(ends, most, color=QUIET_INK, linewidth=1.0, linestyle=(0, (5, 2)), zorder=2)
    axes.step(days, [*doses, doses[-1]], where="post", color=TONES["blue"], linewidth=2.0, zorder=3)
    stones = [(move.start_site, "today"), *((s.site, f"day {s.day}") for s in move.steps)]
    shown = np.linspace(0, len(stones) - 1, min(len(stones), STONES_NAMED)).round().astype(int).tolist()
    labels = []
    for i in dict.fromkeys(shown):
        site, day = stones[i]
        text = fitted_before(site, f" {number(doses[i])}, {day}", STACK_RIGHT_IN - 0.4, SMALL_PT)
        labels.append(EndLabel(text, last, doses[i]))
    panel.label_ends(labels)
