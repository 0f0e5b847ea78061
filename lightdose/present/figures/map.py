"""Maps of the light: one figure a slice, to scale, and where each coral group would be within its range."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

import numpy as np

from lightdose.answers.map import area_words, plane_words
from lightdose.answers.words import DLI_UNIT_TYPESET, PPFD_UNIT_TYPESET, length, number, percent, range_text
from lightdose.errors import literal
from lightdose.model.places import GroupRegion, LightMap, MapQuantity, MapSlice
from lightdose.model.record import FloatArray
from lightdose.model.setup import LengthUnit
from lightdose.present.figures.canvas import (
    KEPT,
    LINE_IN,
    MARGIN_IN,
    Drawing,
    Sheet,
    drawn,
    text_height_in,
    write_text,
)
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.style import BAND_FILL, DASHES, INK, QUIET_INK, SMALL_PT, fitted
from lightdose.present.figures.tank_view import (
    MARK_PT,
    NEAR_M,
    Box,
    LabelField,
    Scene,
    SiteMark,
    TankView,
    pane_words,
    place_names,
    site_marks,
)

if TYPE_CHECKING:
    from matplotlib.contour import QuadContourSet

NARROW_LEFT_IN, NARROW_SCALE_IN = 0.5, 0.55
LEFT_IN, SCALE_IN, MAP_HEIGHT_IN, AXIS_IN = 0.75, 1.15, 5.2, 0.55
SIDE_IN, GAP_IN, HEADING_IN, GROUP_HEAD_IN, TALLEST_IN = 0.3, 0.3, 0.35, 0.4, 2.3
STEPS: Final = 15
"""Steps of the scale, at most."""

OUTSIDE: Final = -1e3
"""Far out of every range, so that an outline closes along the walls."""

COLOURS: Final = "viridis"
QUANTITY_TITLES: Final[dict[MapQuantity, tuple[str, str]]] = {
    "dli": ("DLI", DLI_UNIT_TYPESET),
    "peak": ("Peak PPFD of the day", PPFD_UNIT_TYPESET),
    "full_output": ("PPFD at full output", PPFD_UNIT_TYPESET),
}
SEEN: Final = {
    "depth": ("Seen from above, the front below", "with their depth"),
    "from_front": ("Seen from the front", "before or behind it"),
    "from_left": ("Seen from the left, the front at the left", "before or behind it"),
}
GROUPS_HEADING: Final = "Where each group would get its usual light on this slice (shaded and outlined)"


def map_drawings(light: LightMap, quantity: MapQuantity, unit: LengthUnit) -> list[Drawing]:
    """One drawing a slice, all on one scale."""
    levels = scale_levels([part.of(quantity) for part in light.slices])
    names: list[str] = []
    drawings = []
    for part in light.slices:
        name = "map-" + plane_words(part.plane, unit).replace(" ", "-").replace(".", "_")
        names.append(name if name not in names else f"{name}-{len(names) + 1}")
        drawings.append(_Page(light, part, quantity, unit, levels).draw(names[-1]))
    return drawings + ([skins_drawing(light, quantity, unit)] if light.skins else [])


@drawn
def skins_drawing(light: LightMap, quantity: MapQuantity, unit: LengthUnit) -> Drawing:
    """Light on the skins of rock and colonies, from above and from the front, to one scale."""
    setup = light.setup
    views = [(Scene.bare(setup, view.cells.plane, unit), view) for view in light.skins]
    width = fit().map_in
    room = width - LEFT_IN - SCALE_IN
    scale = min(min(room / s.reach_m[0], MAP_HEIGHT_IN / s.reach_m[1]) for s, _ in views)
    sizes = [(scale * s.reach_m[0], scale * s.reach_m[1]) for s, _ in views]
    name, per = QUANTITY_TITLES[quantity]
    values = np.concatenate([view.of(quantity).ravel() for _, view in views])
    low, middle, high = (number(float(v)) for v in np.nanquantile(values, (0, 0.5, 1)))
    title = f"{name} on the skins of rock and colonies: {low} to {high} {per}, median {middle}"
    sheet = Sheet(title, _skins_lead(light), width, sum(h + HEADING_IN + AXIS_IN for _, h in sizes), 0.1)
    levels, top = scale_levels([view.of(quantity) for _, view in views]), sheet.top_in
    for (scene, view), (wide, high_in) in zip(views, sizes, strict=True):
        kind = scene.plane.kind
        sheet.write(top, SEEN[kind][0], left_in=LEFT_IN, weight="bold")
        panel = sheet.panel(LEFT_IN, top + HEADING_IN, wide, high_in)
        tank = TankView.on(panel, scene, outlines="lines")
        panel.axes.set_label(f"skins {kind}")
        tank.scales()
        tank.cells(view.cells, view.of(quantity), levels, COLOURS)
        marks = site_marks(scene, [scene.plane])
        tank.draw_marks(marks, 3.2)
        tank.name_solids()
        if kind == "depth":
            draw_scale(sheet, LEFT_IN, top + HEADING_IN, (wide, high_in), levels, (name, per))
        top += HEADING_IN + high_in + AXIS_IN
    return sheet.drawing("map-skins", f"{title}.")


def _skins_lead(light: LightMap) -> str:
    return (
        f"{literal(light.setup.title)}. Each skin as it faces, so an upright one gets less than a flat spot "
        "there; branching colonies are outlines. White: no skin is seen. Dots: sites."
    )


def scale_levels(values: Sequence[FloatArray]) -> FloatArray:
    """Round levels from below the least value to above the highest."""
    from matplotlib.ticker import MaxNLocator

    low, high = (end([float(pick(v)) for v in values]) for end, pick in ((min, np.nanmin), (max, np.nanmax)))
    if high - low <= 1e-9 * max(high, 1e-12):
        low, high = 0.0, high * 1.25 or 1.0
    levels: FloatArray = np.asarray(MaxNLocator(STEPS, steps=[1, 2, 2.5, 5, 10]).tick_values(low, high))
    return levels[levels >= 0]


def draw_light(
    view: TankView, part: MapSlice, values: FloatArray, levels: FloatArray, *, pale: bool = False
) -> QuadContourSet | None:
    """Fields of colour and contours at those levels that a slice crosses; pale as a ground for marks."""
    columns, rows, values = to_walls(part, values)
    view.fill(columns, rows, values, levels, cmap=COLOURS, alpha=0.75 if pale else 1.0)
    inner = levels[(levels > np.nanmin(values)) & (levels < np.nanmax(values))]
    if inner.size == 0:
        return None
    middle = 0.5 * (levels[0] + levels[-1])
    colours = [INK if pale or level > middle else "white" for level in inner]
    lines = view.contour(columns, rows, values, inner, colors=colours, linewidths=0.6 if pale else 0.8)
    lines.set_gid(KEPT)
    return lines


@dataclass(frozen=True, eq=False)
class _Page:
    """The figure of one slice."""

    light: LightMap
    part: MapSlice
    quantity: MapQuantity
    unit: LengthUnit
    levels: FloatArray

    @drawn
    def draw(self, name: str) -> Drawing:
        setup, plane = self.light.setup, self.part.plane
        scene = Scene.whole(setup, plane, self.unit)
        width, left, scale = fit().map_in, *((NARROW_LEFT_IN, 0.0) if fit().narrow else (LEFT_IN, SCALE_IN))
        wide, high = scene.size_in(width - left - (scale or MARGIN_IN), MAP_HEIGHT_IN)
        marks = site_marks(scene, [part.plane for part in self.light.slices])
        labels = LabelField(Box(0.0, 0.0, wide, high))
        names = place_names(scene, (wide, high), marks, labels)
        list_in = text_height_in(names.rest, width - 2 * MARGIN_IN, SMALL_PT) + 0.1 if names.rest else 0.0
        list_in += 0.0 if scale else NARROW_SCALE_IN
        groups = _Groups(self, Scene.bare(setup, plane, self.unit), marks)
        below = high + AXIS_IN + list_in
        sheet = Sheet(self._title(), self._lead(), width, below + groups.height_in + 0.1, 0.1)
        view = TankView.on(sheet.panel(left, sheet.top_in, wide, high), scene, labels)
        view.panel.axes.set_label("map")
        view.scales()
        contours = draw_light(view, self.part, self.part.of(self.quantity), self.levels)
        view.draw_marks(marks, MARK_PT)
        for box, text in names.written:
            view.write(box, text)
        view.draw_fixtures()
        view.name_solids()
        if contours is not None:
            view.number_contours(contours)
        draw_scale(sheet, left, sheet.top_in, (wide, high), self.levels, QUANTITY_TITLES[self.quantity])
        if names.rest:
            after = 0.0 if scale else NARROW_SCALE_IN
            sheet.write(sheet.top_in + high + AXIS_IN + after, names.rest, SMALL_PT)
        groups.draw(sheet, sheet.top_in + below)
        return sheet.drawing(name, self._description(sheet.title))

    def _title(self) -> str:
        values = self.part.of(self.quantity)
        name, unit = QUANTITY_TITLES[self.quantity]
        low, middle, high = (number(float(v)) for v in np.nanquantile(values, (0, 0.5, 1)))
        return f"{name} at {plane_words(self.part.plane, self.unit)}: {low} to {high} {unit}, median {middle}"

    def _lead(self) -> str:
        near = f"{length(NEAR_M, self.unit)} {self.unit}"
        seen, others = SEEN[self.part.plane.kind]
        solids = " Grey: rock and colonies in the slice; dotted: beside it."
        solids = solids if self.light.setup.standing is not None else ""
        return (
            f"{literal(self.light.setup.title)}. {seen}; open sky, flat surface, clear water, flat receiver."
            f" Panes to scale: {pane_words(self.light.setup.tank, self.part.plane)}. Dashed: apertures of "
            f"fixtures. Discs: sites within {near} of the slice; rings: other sites, {others}.{solids}"
        )

    def _description(self, title: str) -> str:
        words = "; ".join(
            f"{literal(region.group.name)} within its usual {range_text(*region.band_dli)} "
            f"{DLI_UNIT_TYPESET} on {percent(self.share(region))} of it"
            for region in self.light.regions
        )
        return f"{title}. {words}." if words else f"{title}."

    def share(self, region: GroupRegion) -> float:
        """The part of this slice on which a group would be within its range, 0-1."""
        return region.area_fraction[self.light.slices.index(self.part)]


def draw_scale(
    sheet: Sheet,
    left_in: float,
    top_in: float,
    size_in: tuple[float, float],
    levels: FloatArray,
    words: tuple[str, str],
) -> None:
    """The scale of colours beside a map of that corner and size, below it in a narrow figure. [inch]"""
    from matplotlib import colormaps
    from matplotlib.cm import ScalarMappable
    from matplotlib.colors import BoundaryNorm

    wide, high = size_in
    name, unit = words
    colours = colormaps[COLOURS]
    mapped = ScalarMappable(BoundaryNorm(levels, colours.N), colours)
    if fit().narrow:
        axes = sheet.panel(left_in, top_in + high + AXIS_IN, wide, 0.12).axes
        sheet.figure.colorbar(mapped, cax=axes, ticks=list(levels), orientation="horizontal")
        every = 1 + int(levels.size * 0.3 / wide)
        axes.set_xticklabels([f"{level:g}" if i % every == 0 else "" for i, level in enumerate(levels)])
        axes.tick_params(labelsize=SMALL_PT, length=3)
        axes.set_xlabel(f"{name} [{unit}]", fontsize=SMALL_PT)
        return
    tall = min(max(high, 1.6), 3.2)
    axes = sheet.panel(left_in + wide + 0.22, top_in + max(0.0, (high - tall) / 2), 0.16, tall).axes
    sheet.figure.colorbar(mapped, cax=axes, ticks=list(levels))
    every = 1 + int(levels.size * LINE_IN / tall)
    axes.set_yticklabels([f"{level:g}" if i % every == 0 else "" for i, level in enumerate(levels)])
    axes.tick_params(labelsize=SMALL_PT, length=3)
    axes.set_ylabel(f"{name}\n[{unit}]", fontsize=SMALL_PT)


class _Groups:
    """Small drawings of a slice below its map, one a coral group, two or three in a row."""

    def __init__(self, page: _Page, scene: Scene, marks: Sequence[SiteMark]) -> None:
        n = len(page.light.regions)
        self.page, self.scene, self.marks = page, scene, marks
        self.columns = 2 if n <= 2 else 3
        self.width_in = (fit().map_in - 2 * SIDE_IN - (self.columns - 1) * GAP_IN) / self.columns
        self.size_in = scene.size_in(self.width_in, TALLEST_IN)
        self.step_in = GROUP_HEAD_IN + self.size_in[1] + GAP_IN / 2
        self.height_in = HEADING_IN + -(-n // self.columns) * self.step_in if n else 0.0

    def draw(self, sheet: Sheet, top_in: float) -> None:
        """The heading and one drawing a group, with its name, range and share."""
        regions = self.page.light.regions
        if regions:
            sheet.write(top_in, GROUPS_HEADING, weight="bold")
        for i, region in enumerate(regions):
            row, column = divmod(i, self.columns)
            left = SIDE_IN + column * (self.width_in + GAP_IN)
            top = top_in + HEADING_IN + row * self.step_in
            usual = f"usual {range_text(*region.band_dli)} {DLI_UNIT_TYPESET}"
            words = f"{usual}, {share_words(self.page.share(region))}"
            for line, (text, colour) in enumerate(((region.group.name, INK), (words, QUIET_INK))):
                shown = fitted(text, self.width_in, SMALL_PT)
                write_text(
                    sheet.figure,
                    left,
                    top + 0.9 * line * LINE_IN,
                    fit().map_in,
                    shown,
                    SMALL_PT,
                    color=colour,
                )
            panel = sheet.panel(left, top + GROUP_HEAD_IN - 0.05, *self.size_in)
            view = TankView.on(panel, self.scene, outlines="cut")
            view.panel.axes.set_label(f"group {region.group.key}")
            view.panel.axes.set_axis_off()
            _draw_region(view, self.page.part, region, DASHES[i % len(DASHES)])
            view.draw_marks(self.marks, 3.2)


def share_words(fraction: float) -> str:
    """A share of a slice: "nowhere here", "everywhere here", "41 % of it"."""
    if fraction in (0, 1):
        return "everywhere here" if fraction else "nowhere here"
    return area_words(fraction).replace("the area", "it")


def _draw_region(view: TankView, part: MapSlice, region: GroupRegion, dash: object) -> None:
    """A group's region, shaded and outlined; each group has its own dash while they last."""
    columns, rows, inside = region_margin(part, region)
    if np.any(inside > 0):
        view.fill(columns, rows, inside, np.array([0.0, inside.max() + 1.0]), colors=[BAND_FILL])
        outline = view.contour(
            columns, rows, inside, np.zeros(1), colors=[INK], linewidths=1.6, linestyles=[dash]
        )
        outline.set(zorder=6)


def region_margin(part: MapSlice, region: GroupRegion) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Columns, rows [m], and how far each place lies inside the range (below 0: outside). [mol m-2 d-1]"""
    low, high = region.band_dli
    columns, rows, dli = to_walls(part, part.dli)
    margin = np.nan_to_num(np.minimum(dli - low, high - dli), nan=OUTSIDE)
    inside = np.pad(margin, 1, constant_values=OUTSIDE)
    thin = 1e-6
    columns, rows = (np.concatenate((at[:1] - thin, at, at[-1:] + thin)) for at in (columns, rows))
    return columns, rows, inside


def to_walls(part: MapSlice, values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Columns, rows [m] and values of a slice, the outermost cells drawn out to the walls."""
    cells = part.cells
    columns = np.concatenate((cells.column_edges_m[:1], cells.column_centres_m, cells.column_edges_m[-1:]))
    rows = np.concatenate((cells.row_edges_m[:1], cells.row_centres_m, cells.row_edges_m[-1:]))
    return columns, rows, np.pad(values, 1, mode="edge")
