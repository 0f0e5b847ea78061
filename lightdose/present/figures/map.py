"""Maps of the light: one figure a slice, to scale, and where each coral group would be within its range."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from lightdose.model.places import LightMap, MapQuantity, MapSlice
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import LengthUnit
from lightdose.present.figures.canvas import (
    LINE_IN,
    Drawing,
    drawn,
    head_height,
    new_figure,
    panel,
    wrapped,
    write_at,
    write_head,
)
from lightdose.present.figures.label_places import Box, LabelField, text_size_in
from lightdose.present.figures.map_groups import WIDTH_IN, draw_groups, group_panels, to_walls
from lightdose.present.figures.scene import (
    MARK_PT,
    NAME_PT,
    NEAR_M,
    Scene,
    axes_size_in,
    bare_scene,
    draw_fixtures,
    draw_marks,
    draw_panes,
    fit_in,
    pane_words,
    place_names,
    set_up_axes,
    site_marks,
    water_box,
    whole_scene,
    write_label,
)
from lightdose.present.figures.style import INK, SMALL_PT
from lightdose.present.labels import (
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    length,
    literal,
    number,
    percent,
    range_text,
)
from lightdose.present.map_table import plane_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.contour import QuadContourSet
    from matplotlib.figure import Figure

LEFT_IN: Final = 0.75
SCALE_IN: Final = 1.15
MAP_HEIGHT_IN: Final = 5.2
AXIS_IN: Final = 0.55
STEPS: Final = 15
"""Steps of the scale, at most."""

SHORTEST_LINE_IN: Final = 0.5
"""Pieces of contours shorter than this carry no number."""

COLOURS: Final = "viridis"

QUANTITY_TITLES: Final[dict[MapQuantity, tuple[str, str]]] = {
    "dli": ("DLI", DLI_UNIT_TYPESET),
    "peak": ("Peak PPFD of the day", PPFD_UNIT_TYPESET),
    "full_output": ("PPFD at full output", PPFD_UNIT_TYPESET),
}


def map_drawings(light: LightMap, quantity: MapQuantity, unit: LengthUnit) -> list[Drawing]:
    """One drawing a slice, all on one scale."""
    levels = scale_levels([part.of(quantity) for part in light.slices])
    names = _file_names(light, unit)
    return [
        drawn(lambda i=i: _Page(light, i, quantity, unit, levels).draw(names[i]))  # type: ignore[misc]
        for i in range(len(light.slices))
    ]


def scale_levels(values: Sequence[FloatArray]) -> FloatArray:
    """Round levels from below the least value to above the highest."""
    from matplotlib.ticker import MaxNLocator

    low, high = min(float(v.min()) for v in values), max(float(v.max()) for v in values)
    if high - low <= 1e-9 * max(high, 1e-12):
        low, high = 0.0, high * 1.25 or 1.0
    levels: FloatArray = np.asarray(MaxNLocator(STEPS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))
    return levels[levels >= 0]


def _file_names(light: LightMap, unit: LengthUnit) -> list[str]:
    names: list[str] = []
    for part in light.slices:
        base = "map-" + plane_words(part.plane, unit).replace(" ", "-").replace(".", "_")
        names.append(base if base not in names else f"{base}-{len(names) + 1}")
    return names


@dataclass(frozen=True, eq=False)
class _Page:
    """The figure of one slice."""

    light: LightMap
    index: int
    quantity: MapQuantity
    unit: LengthUnit
    levels: FloatArray

    @property
    def part(self) -> MapSlice:
        return self.light.slices[self.index]

    def draw(self, name: str) -> Drawing:
        setup, plane = self.light.setup, self.part.plane
        scene, title, lead = whole_scene(setup, plane, self.unit), self._title(), self._lead()
        head = head_height(title, lead, WIDTH_IN) + 0.1
        size = fit_in(scene, WIDTH_IN - LEFT_IN - SCALE_IN, MAP_HEIGHT_IN)
        marks = site_marks(scene, [part.plane for part in self.light.slices])
        labels = LabelField(Box(0.0, 0.0, *size))
        names = place_names(scene, size, marks, labels)
        below = head + size[1] + AXIS_IN
        list_in = len(wrapped(names.rest, WIDTH_IN - 0.3, SMALL_PT)) * LINE_IN + 0.1 if names.rest else 0.0
        panels = group_panels(bare_scene(setup, plane, self.unit), len(self.light.regions))
        figure = new_figure(WIDTH_IN, below + list_in + panels.height_in + 0.1)
        write_head(figure, title, lead)
        axes = panel(figure, LEFT_IN, head, *size)
        axes.set_label("map")
        set_up_axes(axes, scene)
        contours = self._draw_values(axes, scene)
        draw_panes(axes, scene)
        draw_marks(axes, scene, marks, MARK_PT)
        for box, text in names.written:
            write_label(axes, box, text, NAME_PT)
        draw_fixtures(axes, scene, labels)
        if contours is not None:
            number_contours(axes, contours, LabelField(water_box(scene, size), labels.taken))
        self._draw_scale(figure, head, size)
        if names.rest:
            write_at(figure, 0.15, below, names.rest, SMALL_PT)
        if self.light.regions:
            draw_groups(figure, self.light, self.index, panels, marks, below + list_in)
        return Drawing(name, title, self._description(title), figure)

    def _title(self) -> str:
        values = self.part.of(self.quantity)
        name, unit = QUANTITY_TITLES[self.quantity]
        low, middle, high = (number(float(v)) for v in (values.min(), np.median(values), values.max()))
        return f"{name} at {plane_words(self.part.plane, self.unit)}: {low} to {high} {unit}, median {middle}"

    def _lead(self) -> str:
        near = f"{length(NEAR_M, self.unit)} {self.unit}"
        seen = {
            "depth": "Seen from above, the front below",
            "from_front": "Seen from the front",
            "from_left": "Seen from the left, the front at the left",
        }[self.part.plane.kind]
        others = "with their depth" if self.part.plane.kind == "depth" else "before or behind it"
        return (
            f"{literal(self.light.setup.title)}. {seen}; open sky, flat surface, clear water, flat receiver."
            f" Panes to scale: {pane_words(self.light.setup.tank, self.part.plane)}. Dashed: apertures of "
            f"fixtures. Discs: sites within {near} of the slice; rings: other sites, {others}."
        )

    def _description(self, title: str) -> str:
        words = "; ".join(
            f"{literal(r.group.name)} within its usual {range_text(*r.band_dli)} {DLI_UNIT_TYPESET} on "
            f"{percent(r.area_fraction[self.index])} of it"
            for r in self.light.regions
        )
        return f"{title}. {words}." if words else f"{title}."

    def _draw_values(self, axes: Axes, scene: Scene) -> QuadContourSet | None:
        columns, rows, values = to_walls(self.part, self.part.of(self.quantity))
        x, y = ([scene.shown(float(m)) for m in at] for at in (columns, rows))
        axes.contourf(x, y, values, levels=self.levels, cmap=COLOURS)
        inner = self.levels[(self.levels > values.min()) & (self.levels < values.max())]
        if inner.size == 0:
            return None
        middle = 0.5 * (self.levels[0] + self.levels[-1])
        colours = [INK if level > middle else "white" for level in inner]
        return axes.contour(x, y, values, levels=inner, colors=colours, linewidths=0.8)

    def _draw_scale(self, figure: Figure, top: float, size: tuple[float, float]) -> None:
        from matplotlib import colormaps
        from matplotlib.cm import ScalarMappable
        from matplotlib.colors import BoundaryNorm

        colours = colormaps[COLOURS]
        tall = min(max(size[1], 1.6), 3.2)
        axes = panel(figure, LEFT_IN + size[0] + 0.22, top + max(0.0, (size[1] - tall) / 2), 0.16, tall)
        bar = figure.colorbar(
            ScalarMappable(BoundaryNorm(self.levels, colours.N), colours), cax=axes, ticks=list(self.levels)
        )
        every = 1 + int(self.levels.size * LINE_IN / tall)
        words = [f"{level:g}" if i % every == 0 else "" for i, level in enumerate(self.levels)]
        bar.ax.set_yticklabels(words)
        bar.ax.tick_params(labelsize=SMALL_PT, length=3)
        name, unit = QUANTITY_TITLES[self.quantity]
        bar.ax.set_ylabel(f"{name}\n[{unit}]", fontsize=SMALL_PT)


def number_contours(axes: Axes, contours: QuadContourSet, labels: LabelField) -> None:
    """A number on each longer piece of every contour, where there is room."""
    width, height = axes_size_in(axes)
    for level, lines in zip(contours.levels, contours.allsegs, strict=True):
        text = f"{level:g}"
        size = text_size_in(text, NAME_PT, 0.01)
        written = 0
        for line in sorted(lines, key=len, reverse=True):
            at = _in_inches(axes, line, width, height)
            way = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(at, axis=0).T))))
            if way[-1] < SHORTEST_LINE_IN or written == 2:
                break
            shares = 0.5 + np.array([0, *(sign * i / 20 for i in range(1, 10) for sign in (1, -1))])
            nearest = np.searchsorted(way, shares * way[-1])
            box = labels.place(((float(x), float(y)) for x, y in at[nearest]), size)
            if box is not None:
                written += 1
                write_label(axes, box, text, NAME_PT)


def _in_inches(axes: Axes, line: FloatArray, width: float, height: float) -> FloatArray:
    (x0, x1), (y0, y1) = axes.get_xlim(), axes.get_ylim()
    return np.column_stack(((line[:, 0] - x0) / (x1 - x0) * width, (line[:, 1] - y0) / (y1 - y0) * height))
