"""The placement drawn to scale: from above and from the front, corals by number, contours of the light."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from lightdose.answers.place import moves_sentence, numbered, spot_name, verdict_sentence
from lightdose.answers.verdicts import SEVERITY, short_state
from lightdose.model.places import AXES, LightMap, MapSlice, PlacedCoral, Placement, Plane
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.results import DliState
from lightdose.model.setup import LengthUnit
from lightdose.present.figures.canvas import (
    LINE_IN,
    Drawing,
    drawn,
    fitted,
    head_height,
    new_figure,
    panel,
    text_width_in,
    write_at,
    write_head,
)
from lightdose.present.figures.label_places import Box, LabelField, beside, box_around, text_size_in
from lightdose.present.figures.map import COLOURS, number_contours, scale_levels
from lightdose.present.figures.map_groups import WIDTH_IN, to_walls
from lightdose.present.figures.scene import (
    NAME_PT,
    Scene,
    draw_fixtures,
    draw_panes,
    fit_in,
    inches,
    set_up_axes,
    water_box,
    whole_scene,
    write_label,
)
from lightdose.present.figures.style import INK, SMALL_PT, STATE_MARKS, TEXT_PT
from lightdose.present.labels import DLI_UNIT_TYPESET, count, length, literal, number, range_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

LEFT_IN: Final = 0.75
VIEW_HEIGHT_IN: Final = 4.2
AXIS_IN: Final = 0.62
HEADING_IN: Final = 0.24
COLUMNS: Final = 2
LISTED: Final = 120
"""More corals than this are in the table only."""

CROWDED: Final = 12
"""With more corals than this some numbers may lack room, and a sentence names them."""

MARK_PT: Final = 6.5
NUMBERS_BY_NAME: Final = 40
"""Numbers without room are named up to so many."""


def planes_for(placement: Placement) -> tuple[Plane, Plane]:
    """The level and the upright slice behind the corals: at the middle depth of their tops, the middle y."""
    tops = [(c.after.spot.y_m, c.after.spot.depth_m - c.height_m) for c in placement.corals if c.after]
    tank = placement.setup.tank
    if not tops:
        return Plane("depth", tank.water_depth_m / 2), Plane("from_front", tank.width_m / 2)
    middle = [float(np.median(v)) for v in zip(*tops, strict=True)]
    return Plane("depth", max(0.0, round(middle[1], 3))), Plane("from_front", round(middle[0], 3))


def placement_drawing(placement: Placement, light: LightMap, unit: LengthUnit) -> Drawing:
    """Plan and side view with the list of corals; ``light`` holds the slices of ``planes_for``."""
    return drawn(lambda: _Page(placement, light, unit).draw())


@dataclass(frozen=True)
class _Mark:
    """Corals that stand at one point of a view, one behind the other; ``state`` is that furthest off."""

    place_m: tuple[float, float]
    numbers: str
    state: DliState
    before_m: tuple[tuple[float, float], ...]


@dataclass(frozen=True, eq=False)
class _Page:
    placement: Placement
    light: LightMap
    unit: LengthUnit

    def draw(self) -> Drawing:
        setup = self.light.setup
        scenes = [whole_scene(setup, part.plane, self.unit) for part in self.light.slices]
        sizes = _one_scale(scenes)
        title, lead = f"{moves_sentence(self.placement)} {verdict_sentence(self.placement)}", self._lead()
        head = head_height(title, lead, WIDTH_IN) + 0.05
        rows = numbered(self.placement)[:LISTED]
        list_rows = -(-len(rows) // COLUMNS)
        tall = head + sum(HEADING_IN + s[1] + AXIS_IN for s in sizes) + 0.1
        spare = 3 * LINE_IN if len(rows) > CROWDED else 0.0
        figure = new_figure(WIDTH_IN, tall + spare + list_rows * 2 * LINE_IN + 0.35)
        write_head(figure, title, lead)
        levels = scale_levels([part.dli for part in self.light.slices])
        top, bare = head, []
        for scene, part, size in zip(scenes, self.light.slices, sizes, strict=True):
            write_at(figure, LEFT_IN, top, self._heading(part.plane), TEXT_PT, weight="bold")
            axes = panel(figure, LEFT_IN, top + HEADING_IN, *size)
            axes.set_label(part.plane.kind)
            bare.append(self._draw_view(axes, scene, part, size, levels))
            top += HEADING_IN + size[1] + AXIS_IN
        missing = sorted(set(bare[0]) & set(bare[1]))
        if missing and spare:
            shown = ", ".join(str(n) for n in missing[:NUMBERS_BY_NAME])
            write_at(figure, 0.15, top, f"Drawn without room for a number: {shown}.", SMALL_PT)
        self._draw_list(figure, top + 0.1 + spare, rows)
        return Drawing("placement", title, literal(title), figure)

    def _lead(self) -> str:
        return (
            f"{literal(self.light.setup.title)}. Numbers: the list below. Discs: within their usual range; "
            "diamonds: outside it, filled when far outside; two numbers at one mark: one behind the "
            "other, marked as the one further off; thin lines: from today's place. Contours and "
            f"colours: dose in a day [{DLI_UNIT_TYPESET}] under open sky. Dashed: apertures of fixtures."
        )

    def _heading(self, plane: Plane) -> str:
        at = f"{length(plane.at_m, self.unit)} {self.unit}"
        if plane.kind == "depth":
            return f"From above; light at {at} depth, the middle of the corals' tops"
        return f"From the front; light {at} behind the front pane"

    def _draw_view(
        self, axes: Axes, scene: Scene, part: MapSlice, size: tuple[float, float], levels: FloatArray
    ) -> list[int]:
        """Draw one view; gives the numbers for which there was no room."""
        set_up_axes(axes, scene)
        columns, rows, values = to_walls(part, part.dli)
        x, y = ([scene.shown(float(m)) for m in at] for at in (columns, rows))
        axes.contourf(x, y, values, levels=levels, cmap=COLOURS, alpha=0.75)
        inner = levels[(levels > values.min()) & (levels < values.max())]
        contours = (
            axes.contour(x, y, values, levels=inner, colors=[INK], linewidths=0.6) if inner.size else None
        )
        draw_panes(axes, scene)
        labels = LabelField(Box(0.0, 0.0, *size))
        marks = self._marks(scene)
        for mark in marks:
            _draw_mark(axes, scene, mark)
            labels.take(box_around(*inches(scene, size, mark.place_m), 0.1, 0.1))
        bare: list[int] = _write_numbers(axes, scene, size, marks, labels)
        draw_fixtures(axes, scene, labels)
        if contours is not None:
            number_contours(axes, contours, LabelField(water_box(scene, size), labels.taken))
        return bare

    def _marks(self, scene: Scene) -> list[_Mark]:
        along, down, _ = AXES[scene.plane.kind]
        found: dict[tuple[float, float], _Mark] = {}
        for coral, label in numbered(self.placement):
            if coral.after is None:
                continue
            spot, old = coral.after.spot, coral.before.spot
            at = (spot.x_m, spot.y_m, spot.depth_m - coral.height_m)
            was = (old.x_m, old.y_m, old.depth_m - coral.height_m)
            place = (at[along], at[down])
            key = (round(place[0], 3), round(place[1], 3))
            state, before = coral.after.dli_state, ((was[along], was[down]),) if coral.moves else ()
            if key in found:
                mark = found[key]
                label, before = f"{mark.numbers}, {label}", (*mark.before_m, *before)
                state = min(mark.state, state, key=SEVERITY.__getitem__)
            found[key] = _Mark(place, label, state, before)
        return list(found.values())

    def _draw_list(self, figure: Figure, top: float, rows: Sequence[tuple[PlacedCoral, str]]) -> None:
        width, height = figure.get_size_inches()
        room = (WIDTH_IN - 0.3) / COLUMNS - 0.2
        tall = -(-len(rows) // COLUMNS)
        for index, (coral, label) in enumerate(rows):
            left = 0.15 + (index // tall) * (room + 0.2)
            at = top + (index % tall) * 2 * LINE_IN
            name = fitted(f"{label}  {coral.coral}", room, SMALL_PT)
            for line, text in enumerate((name, self._words(coral, room - 0.2))):
                figure.text(
                    (left + 0.2 * line) / width,
                    1 - (at + line * 0.9 * LINE_IN) / height,
                    text,
                    fontsize=SMALL_PT,
                    color=INK,
                    va="top",
                )
        rest = len(self.placement.corals) - len(rows)
        if rest:
            write_at(
                figure, 0.15, top + tall * 2 * LINE_IN, f"and {count(rest, 'coral')} in the table", SMALL_PT
            )

    def _words(self, coral: PlacedCoral, room_in: float) -> str:
        """Where to and how much; only the name of the place is shortened, never a number."""
        if coral.after is None:
            return "no place"
        after = coral.after
        go = "to" if coral.moves else "stays at"
        dose = number(after.dli_mol_m2_d)
        was = f"{number(coral.before.dli_mol_m2_d)} to {dose}" if coral.moves else dose
        usual = f", usual {range_text(*coral.band_dli)}" if coral.band_dli else ""
        spot = spot_name(after.spot, self.unit)
        tail = f": {was}{usual}, {short_state(after.dli_state)}"
        return f"{go} {fitted(spot, room_in - text_width_in(f'{go} {tail}', SMALL_PT), SMALL_PT)}{tail}"


def _one_scale(scenes: Sequence[Scene]) -> list[tuple[float, float]]:
    """Sizes of the views on one scale. [inch]"""
    fits = [fit_in(s, WIDTH_IN - LEFT_IN - 0.5, VIEW_HEIGHT_IN) for s in scenes]
    scale = min(f[0] / (s.columns_m[1] - s.columns_m[0]) for s, f in zip(scenes, fits, strict=True))
    return [(scale * (s.columns_m[1] - s.columns_m[0]), scale * (s.rows_m[1] - s.rows_m[0])) for s in scenes]


def _draw_mark(axes: Axes, scene: Scene, mark: _Mark) -> None:
    x, y = (scene.shown(m) for m in mark.place_m)
    for before_m in mark.before_m:
        was = [scene.shown(m) for m in before_m]
        axes.plot([was[0], x], [was[1], y], color="white", linewidth=2.0, zorder=5.5)
        axes.plot([was[0], x], [was[1], y], color=INK, linewidth=0.8, zorder=5.6)
    shape, face = STATE_MARKS[mark.state]
    axes.plot(
        [x], [y], "o" if shape == "|" else shape, markersize=MARK_PT, markerfacecolor=face,
        markeredgecolor="white" if face == INK else INK, markeredgewidth=0.9, zorder=7, clip_on=False,
    )  # fmt: skip


def _write_numbers(
    axes: Axes, scene: Scene, size: tuple[float, float], marks: Sequence[_Mark], labels: LabelField
) -> list[int]:
    """Each number beside its mark; gives those for which there is no room."""
    bare: list[int] = []
    for mark in marks:
        words = text_size_in(mark.numbers, NAME_PT, 0.01)
        x, y = inches(scene, size, mark.place_m)
        box = labels.place([*beside(x, y, words, 0.06), *beside(x, y, words, 0.14)], words)
        if box is None:
            bare += [int(n) for n in mark.numbers.split(", ")]
        else:
            write_label(axes, box, mark.numbers, NAME_PT)
    return bare
