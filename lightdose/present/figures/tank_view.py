"""A tank drawn to scale in a plane: panes, fixtures and sites, with words that do not meet."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, Final, Literal

import numpy as np

from lightdose.answers.words import length
from lightdose.model.fixture import Fixture
from lightdose.model.places import AXES, Plane, SliceCells
from lightdose.model.record import FloatArray
from lightdose.model.setup import WALL_NAMES, LengthUnit, Setup, Tank
from lightdose.present.figures.canvas import Panel
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.style import INK, QUIET_INK, SMALL_PT, fitted, text_width_in
from lightdose.quantities import METRES_PER_INCH

if TYPE_CHECKING:
    from matplotlib.contour import QuadContourSet

NEAR_M: Final = 0.03
"""Sites this near a plane are drawn as lying in it. Our choice."""

PANE_FILLS: Final = {"clean": "#c9dbe6", "painted": "#3a3a3a", "dark": "#3a3a3a", "floor": "#d9d2c5"}
LEAST_GLASS_M: Final = 0.004
BESIDE_SHARE: Final = 0.3
"""Fixtures are shown up to this part of the tank's side beyond it."""

ABOVE_SHARE: Final = 0.5
"""The air is shown to this part of the tank's longer side above the water at most."""

Outlines = Literal["all", "cut", "lines"]

NAME_IN: Final = 1.25
NAME_PT: Final = SMALL_PT - 1
MARK_PT: Final = 5.0
LETTER_HEIGHT: Final = 1.25
"""Height of a line of text in units of its size."""

MOST_NAMED: Final = 500
"""Marks of one view that are named; no page has room for more. Our choice."""

SHORTEST_LINE_IN: Final = 0.5
"""Pieces of contours shorter than this carry no number."""


@dataclass(frozen=True)
class Box:
    """A rectangle on the page. [inch]"""

    left: float
    low: float
    right: float
    high: float

    @classmethod
    def around(cls, x: float, y: float, width: float, height: float) -> Box:
        """A box by its middle."""
        return cls(x - width / 2, y - height / 2, x + width / 2, y + height / 2)

    def meets(self, other: Box) -> bool:
        """Whether the two overlap."""
        across = self.left < other.right and other.left < self.right
        return across and self.low < other.high and other.low < self.high

    def holds(self, other: Box) -> bool:
        """Whether ``other`` lies wholly inside."""
        across = self.left <= other.left and other.right <= self.right
        return across and self.low <= other.low and other.high <= self.high


@dataclass
class LabelField:
    """An area with the boxes that are taken already. [inch]"""

    area: Box
    taken: list[Box] = field(default_factory=list)

    def place(self, middles: Sequence[tuple[float, float]], size_in: tuple[float, float]) -> Box | None:
        """The first free place for a label of that size, by its possible middles; None if all are taken."""
        boxes = [box for box in (Box.around(x, y, *size_in) for x, y in middles) if self.area.holds(box)]
        left, low, right, high = np.array([_sides(box) for box in boxes]).reshape(-1, 4, 1).transpose(1, 0, 2)
        taken = np.array([_sides(box) for box in self.taken]).reshape(-1, 4).T
        meets = (left < taken[2]) & (taken[0] < right) & (low < taken[3]) & (taken[1] < high)
        for box, met in zip(boxes, meets.any(axis=1), strict=True):
            if not met:
                self.taken.append(box)
                return box
        return None


def _sides(box: Box) -> tuple[float, float, float, float]:
    return box.left, box.low, box.right, box.high


def text_size_in(text: str, size_pt: float = NAME_PT, pad_in: float = 0.02) -> tuple[float, float]:
    """Width and height of a line of text with some room around it. [inch]"""
    return text_width_in(text, size_pt) + 2 * pad_in, size_pt * LETTER_HEIGHT / 72 + pad_in


def beside(x: float, y: float, size_in: tuple[float, float], gap_in: float) -> list[tuple[float, float]]:
    """Middles of labels around a mark, the most usual first: right, left, above, below, corners. [inch]"""
    across, up = size_in[0] / 2 + gap_in, size_in[1] / 2 + gap_in
    near = 0.7 * gap_in
    corners = [(sx * (across - near), sy * (up - near)) for sx in (1, -1) for sy in (1, -1)]
    slanting = [(sx * across, sy * 0.6 * up) for sx in (1, -1) for sy in (1, -1)]
    straight = [(across, 0.0), (-across, 0.0), (0.0, up), (0.0, -up)]
    return [(x + dx, y + dy) for dx, dy in (*straight, *corners, *slanting)]


@dataclass(frozen=True)
class Scene:
    """What a plane's drawing shows, in metres along its columns and its rows.

    Rows count up from the front in a level plane, down from the surface in an upright one.
    """

    setup: Setup
    plane: Plane
    unit: LengthUnit
    columns_m: tuple[float, float]
    rows_m: tuple[float, float]

    @classmethod
    def whole(cls, setup: Setup, plane: Plane, unit: LengthUnit) -> Scene:
        """The tank with its panes and the fixtures that hang near it."""
        tank, along = setup.tank, AXES[plane.kind][0]
        across, down = plane.spans_m(tank)
        glass = max(tank.glass_thickness_m, LEAST_GLASS_M)
        outlines = [fixture.outline_m for fixture in setup.lit_fixtures]
        columns = _reach([[corner[along] for corner in o] for o in outlines], across, glass)
        if plane.kind == "depth":
            rows = _reach([[corner[1] for corner in o] for o in outlines], down, glass)
        else:
            most = max(ABOVE_SHARE * max(across, down), 1.1 * tank.rim_m)
            heights = [min(f.height_m * 1.12 + 0.01, most) for f in setup.lit_fixtures]
            rows = (-max([tank.rim_m, *heights]), down + glass)
        return cls(setup, plane, unit, columns, rows)

    @classmethod
    def bare(cls, setup: Setup, plane: Plane, unit: LengthUnit) -> Scene:
        """The tank with its panes alone."""
        glass = max(setup.tank.glass_thickness_m, LEAST_GLASS_M)
        across, down = plane.spans_m(setup.tank)
        top = -glass if plane.kind == "depth" else 0.0
        return cls(setup, plane, unit, (-glass, across + glass), (top, down + glass))

    @property
    def upright(self) -> bool:
        """Whether rows are depths."""
        return self.plane.kind != "depth"

    @property
    def spans_m(self) -> tuple[float, float]:
        """The water's extent along columns and rows. [m]"""
        return self.plane.spans_m(self.setup.tank)

    @property
    def reach_m(self) -> tuple[float, float]:
        """What is shown along columns and rows. [m]"""
        return self.columns_m[1] - self.columns_m[0], self.rows_m[1] - self.rows_m[0]

    def size_in(self, width_in: float, height_in: float) -> tuple[float, float]:
        """Size of axes within that room that show it to scale. [inch]"""
        across, down = self.reach_m
        scale = min(width_in / across, height_in / down)
        return across * scale, down * scale

    def shown(self, metres: float) -> float:
        """A length in the unit of the axes."""
        return 100 * metres if self.unit == "cm" else metres / METRES_PER_INCH

    def inches(self, size_in: tuple[float, float], place_m: tuple[float, float]) -> tuple[float, float]:
        """A place of the plane in inches from the lower left corner of axes of that size."""
        across = (place_m[0] - self.columns_m[0]) / self.reach_m[0]
        up = (place_m[1] - self.rows_m[0]) / self.reach_m[1]
        return across * size_in[0], (1 - up if self.upright else up) * size_in[1]


def _reach(outlines: Sequence[Sequence[float]], span: float, glass: float) -> tuple[float, float]:
    """From the panes, further out for apertures, but not far. [m]"""
    edge, most = 0.02 * span, BESIDE_SHARE * span
    low = min([-glass, *(max(at - edge, -most) for outline in outlines for at in outline)])
    high = max([span + glass, *(min(at + edge, span + most) for outline in outlines for at in outline)])
    return low, high


@dataclass(frozen=True)
class SiteMark:
    """A mark for one site, or for several that lie over one another: place, whether one is near, names.

    Each name has with it what tells how far off its site lies, "" for nothing.
    """

    place_m: tuple[float, float]
    near: bool
    names: tuple[tuple[str, str], ...]

    @property
    def label(self) -> str:
        """Its names, shortened to the room that there is."""
        return _joined([fitted(name, NAME_IN, NAME_PT) + off for name, off in self.names])


def site_marks(scene: Scene, planes: Sequence[Plane]) -> list[SiteMark]:
    """The sites that are drawn on a plane: each on the nearest plane of its kind."""
    along, down, across = AXES[scene.plane.kind]
    alike = [plane for plane in planes if plane.kind == scene.plane.kind]
    at: dict[tuple[float, float], list[tuple[str, str, bool]]] = {}
    for site in scene.setup.sites:
        place = (site.x_m, site.y_m, site.depth_m)
        away = [abs(plane.at_m - place[across]) for plane in alike]
        if alike[away.index(min(away))] != scene.plane:
            continue
        near = min(away) <= NEAR_M
        off = "" if near or scene.upright else f" ({length(place[across], scene.unit)})"
        at.setdefault((round(place[along], 3), round(place[down], 3)), []).append((site.name, off, near))
    return [
        SiteMark(place_m, any(near for *_, near in sites), tuple((name, off) for name, off, _ in sites))
        for place_m, sites in at.items()
    ]


def _joined(labels: Sequence[str]) -> str:
    if len(labels) <= 3:
        return ", ".join(labels)
    return f"{labels[0]}, {labels[1]} and {len(labels) - 2} more"


@dataclass(frozen=True)
class PlacedNames:
    """Where each mark's words stand, and a sentence about those for which only a number, or nothing, does."""

    written: tuple[tuple[Box, str], ...]
    rest: str


def too_many_to_name(n: int, what: str) -> str:
    """What a figure says instead of more names than ``MOST_NAMED``."""
    return f"Its {n:,} {what} are too many for their names here."


def place_names(
    scene: Scene, size_in: tuple[float, float], marks: Sequence[SiteMark], labels: LabelField
) -> PlacedNames:
    """Find room for the names of sites beside their marks; those without any get a number, or only a line.

    A narrow figure leaves them out: its marks stand too close for numbers. More than ``MOST_NAMED`` places
    stay without names.
    """
    if len(marks) > MOST_NAMED:
        return PlacedNames((), "" if fit().narrow else too_many_to_name(len(marks), "places"))
    side = MARK_PT / 72 + 0.01
    places = [scene.inches(size_in, mark.place_m) for mark in marks]
    labels.taken += [Box.around(x, y, side, side) for x, y in places]
    written: list[tuple[Box, str]] = []

    def write(word: str, place: tuple[float, float], pad_in: float) -> bool:
        size = text_size_in(word, NAME_PT, pad_in)
        box = labels.place(beside(*place, size, 0.05), size)
        written.extend([(box, word)] if box else [])
        return box is not None

    left_over = [
        (mark, at) for mark, at in zip(marks, places, strict=True) if not write(mark.label, at, 0.02)
    ]
    if fit().narrow:
        return PlacedNames(tuple(written), "")
    numbered: list[str] = []
    bare: list[str] = []
    for mark, at in left_over:
        word = f"#{len(numbered) + 1}"
        if write(word, at, 0.01):
            numbered.append(f"{word} {mark.label}")
        else:
            where = ", ".join(length(m, scene.unit) for m in mark.place_m)
            bare.append(f"{mark.label} at {where} {scene.unit}")
    parts = [f"By number: {'; '.join(numbered)}."] if numbered else []
    parts += [f"Without room for a name: {'; '.join(bare)}."] if bare else []
    return PlacedNames(tuple(written), " ".join(parts))


@dataclass(frozen=True, eq=False)
class TankView:
    """A scene on a panel of its scale, and the boxes that its words have taken."""

    scene: Scene
    panel: Panel
    labels: LabelField

    @classmethod
    def on(
        cls,
        panel: Panel,
        scene: Scene,
        labels: LabelField | None = None,
        *,
        whole: bool = False,
        outlines: Outlines = "all",
    ) -> TankView:
        """The scene with limits and panes, and no words yet.

        ``whole`` shows solids as from outside; of others ``outlines`` shows those that the plane cuts filled
        and the rest dotted, the former alone, or all as bare lines.
        """
        area = Box(0.0, 0.0, panel.width_in, panel.height_in)
        view = cls(scene, panel, labels or LabelField(area))
        low, high = (scene.shown(m) for m in scene.rows_m)
        panel.axes.set_xlim(*(scene.shown(m) for m in scene.columns_m))
        panel.axes.set_ylim(*((high, low) if scene.upright else (low, high)))
        for spine in panel.axes.spines.values():
            spine.set_visible(False)
        view._draw_panes()
        view._draw_solids(whole=whole, outlines=outlines)
        return view

    @property
    def size_in(self) -> tuple[float, float]:
        """Width and height of the panel. [inch]"""
        return self.panel.width_in, self.panel.height_in

    def scales(self) -> None:
        """Ticks within the water, and names of the axes with their unit."""
        from matplotlib.ticker import MaxNLocator

        axes, scene = self.panel.axes, self.scene
        for axis, span, most in zip((axes.xaxis, axes.yaxis), scene.spans_m, (8, 5), strict=True):
            ticks = MaxNLocator(most, steps=[1, 2, 5, 10]).tick_values(0, scene.shown(span))
            axis.set_ticks([tick for tick in ticks if tick <= scene.shown(span) * (1 + 1e-9)])
        axes.tick_params(labelsize=SMALL_PT, length=3)
        words = ("x, from the left", "y, from the front", "depth")
        along, down, _ = AXES[scene.plane.kind]
        axes.set_xlabel(f"{words[along]} [{scene.unit}]", fontsize=SMALL_PT)
        middle = (scene.spans_m[1] / 2 - scene.rows_m[0]) / scene.reach_m[1]
        up = 1 - middle if scene.upright else middle
        axes.set_ylabel(f"{words[down]} [{scene.unit}]", fontsize=SMALL_PT, y=up)

    def plot(self, places_m: Sequence[tuple[float, float]], **style: Any) -> None:
        """A line through places of the plane, or marks on them."""
        x, y = ([self.scene.shown(place[i]) for place in places_m] for i in (0, 1))
        self.panel.axes.plot(x, y, **style)

    def fill(
        self, columns_m: FloatArray, rows_m: FloatArray, values: FloatArray, levels: FloatArray, **style: Any
    ) -> None:
        """Values as fields of colour between levels."""
        self.panel.axes.contourf(*self._grid(columns_m, rows_m), values, levels=levels, **style)

    def cells(self, cells: SliceCells, values: FloatArray, levels: FloatArray, cmap: str) -> None:
        """Values as one colour a cell between levels; nothing where there is none."""
        from matplotlib import colormaps
        from matplotlib.colors import BoundaryNorm

        edges = self._grid(cells.column_edges_m, cells.row_edges_m)
        norm = BoundaryNorm(levels, colormaps[cmap].N)
        shown = np.ma.masked_invalid(values)
        self.panel.axes.pcolormesh(*edges, shown, norm=norm, cmap=cmap, rasterized=True, zorder=1.5)

    def contour(
        self, columns_m: FloatArray, rows_m: FloatArray, values: FloatArray, levels: FloatArray, **style: Any
    ) -> QuadContourSet:
        """Values as lines at levels."""
        return self.panel.axes.contour(*self._grid(columns_m, rows_m), values, levels=levels, **style)

    def _grid(self, columns_m: FloatArray, rows_m: FloatArray) -> list[list[float]]:
        return [[self.scene.shown(float(m)) for m in at] for at in (columns_m, rows_m)]

    def _draw_panes(self) -> None:
        """Panes and floor to scale, and the water's surface in an upright plane."""
        scene, tank = self.scene, self.scene.setup.tank
        (across, down), glass = scene.spans_m, tank.glass_thickness_m
        low, high = ("front", "back") if scene.plane.kind == "from_left" else ("left", "right")
        if scene.upright:
            self._draw_bar((-glass, across + glass, down, down + glass), "floor")
            self._draw_bar((-glass, 0.0, -tank.rim_m, down), tank.walls[low].kind)
            self._draw_bar((across, across + glass, -tank.rim_m, down), tank.walls[high].kind)
        else:
            self._draw_bar((-glass, 0.0, -glass, down + glass), tank.walls[low].kind)
            self._draw_bar((across, across + glass, -glass, down + glass), tank.walls[high].kind)
            self._draw_bar((0.0, across, -glass, 0.0), tank.walls["front"].kind)
            self._draw_bar((0.0, across, down, down + glass), tank.walls["back"].kind)
        edge: Any = {"color": INK, "linewidth": 0.9, "zorder": 4}
        self.plot([(0, 0), (0, down), (across, down), (across, 0)], **edge)
        self.plot([(0, 0), (across, 0)], linestyle=(0, (4, 2)) if scene.upright else "solid", **edge)

    def _draw_solids(self, *, whole: bool, outlines: Outlines) -> None:
        """Rock and colonies in thin outline, within the water; what the plane cuts is shaded, or all rock."""
        from matplotlib.patches import Polygon, Rectangle

        scene, standing = self.scene, self.scene.setup.standing
        if standing is None:
            return
        along, down, across = AXES[scene.plane.kind]
        water = Rectangle((0, 0), *map(scene.shown, scene.spans_m), transform=self.panel.axes.transData)
        for solid in standing.solids:
            near, far = solid.extent_m[across]
            cut = not solid.coral if whole else near <= scene.plane.at_m <= far
            if outlines == "cut" and not cut:
                continue
            corners = [tuple(map(scene.shown, corner)) for corner in solid.outline_m(along, down)]
            outline = Polygon(corners, closed=True, zorder=4.5, linewidth=0.8, edgecolor=INK)
            bare = outlines == "lines"
            outline.set(facecolor=(0.5, 0.5, 0.5, 0.35) if cut and not bare else "none")
            outline.set(linestyle="-" if cut or bare else ":")
            self.panel.axes.add_patch(outline)
            outline.set_clip_path(water)

    def name_solids(self) -> None:
        """The names of rocks, where there is room beside their outline's middle."""
        along, down, _ = AXES[self.scene.plane.kind]
        for rock in self.scene.setup.rocks:
            spans = self.scene.spans_m
            ends = [rock.extent_m[axis] for axis in (along, down)]
            middle = [
                min(max(0.5 * (low + high), 0.0), span) for (low, high), span in zip(ends, spans, strict=True)
            ]
            x, y = self.scene.inches(self.size_in, (middle[0], middle[1]))
            name = fitted(rock.name, NAME_IN, NAME_PT)
            wide, high = (
                0.3 * (high - low) * side / reach
                for (low, high), side, reach in zip(ends, self.size_in, self.scene.reach_m, strict=True)
            )
            aside = [
                (0.0, 0.15),
                (0.0, -0.15),
                *((i * wide, j * high) for i in (-1, 0, 1) for j in (1, 0, -1)),
            ]
            box = self.labels.place([(x, y), *((x + dx, y + dy) for dx, dy in aside)], text_size_in(name))
            if box is not None:
                self.write(box, name)

    def _draw_bar(self, sides_m: tuple[float, float, float, float], kind: str) -> None:
        from matplotlib.patches import Rectangle

        left, right, low, high = map(self.scene.shown, sides_m)
        bar = Rectangle((left, low), right - left, high - low, linewidth=0.4, zorder=3)
        bar.set(facecolor=PANE_FILLS.get(kind, "#eeeeee"), edgecolor=QUIET_INK)
        if kind == "reflectance":
            bar.set_hatch("////")
        self.panel.axes.add_patch(bar)

    def draw_fixtures(self, *, named: bool = True) -> None:
        """Each aperture in outline from above, as a bar over the water from the side; a point as a cross."""
        scene, along = self.scene, AXES[self.scene.plane.kind][0]
        for fixture in scene.setup.lit_fixtures:
            corners = fixture.outline_m
            outline, middle = [*corners, corners[0]], (fixture.x_m, fixture.y_m)
            if scene.upright:
                low, high = min(c[along] for c in corners), max(c[along] for c in corners)
                top = max(-fixture.height_m, scene.rows_m[0] * 0.93)
                outline, middle = [(low, top), (high, top)], ((low + high) / 2, top)
            if all(place == outline[0] for place in outline):
                self.plot([middle], marker="+", color="white", markersize=10, markeredgewidth=3.4, zorder=5)
                self.plot([middle], marker="+", color=INK, markersize=9, markeredgewidth=1.4, zorder=5)
            else:
                self.plot(outline, color="white", linewidth=2.6, zorder=5)
                self.plot(outline, color=INK, linewidth=1.2, linestyle=(0, (5, 2)), zorder=5)
            if named:
                self._name_fixture(fixture, middle)

    def _name_fixture(self, fixture: Fixture, middle: tuple[float, float]) -> None:
        scene, (x, y) = self.scene, self.scene.inches(self.size_in, middle)
        name = fitted(f"fixture {fixture.name}", NAME_IN + 0.4, NAME_PT)
        middles = [(x, y + away) for away in (0.2, -0.2, 0.4, -0.4, 0.6, -0.6)]
        if scene.upright:
            name += f", {length(fixture.height_m, scene.unit)} {scene.unit} above"
            name += " (drawn lower)" if -fixture.height_m < middle[1] - 1e-9 else ""
            middles = [(x, y - 0.11), (x, y + 0.11)]
        box = self.labels.place(middles, text_size_in(name))
        if box is not None:
            self.write(box, name, boxed=not scene.upright)

    def write(self, box: Box, text: str, *, boxed: bool = True) -> None:
        """Text in the middle of its box, on a white ground that lets the map shine through a little."""
        x = (box.left + box.right) / 2 / self.panel.width_in
        y = (box.low + box.high) / 2 / self.panel.height_in
        style: Any = {"fontsize": NAME_PT, "color": INK, "ha": "center", "va": "center", "zorder": 8}
        if boxed:
            style["bbox"] = {"facecolor": "white", "alpha": 0.82, "edgecolor": "none", "pad": 0.8}
        self.panel.axes.text(x, y, text, transform=self.panel.axes.transAxes, **style)

    def marks(self, places_m: Sequence[tuple[float, float]], marker: str, face: str, **style: Any) -> None:
        """Marks that look alike at places of the plane."""
        shown = [(self.scene.shown(across), self.scene.shown(up)) for across, up in places_m]
        self.panel.marks(shown, marker, face, **{"markeredgewidth": 0.9, "zorder": 7} | style)

    def draw_marks(self, marks: Sequence[SiteMark], size_pt: float) -> None:
        """Discs for sites in the plane, rings for others."""
        for near, face, edge in ((False, "white", INK), (True, INK, "white")):
            places = [mark.place_m for mark in marks if mark.near is near]
            self.marks(places, "o", face, edge=edge, markersize=size_pt)

    def number_contours(self, contours: QuadContourSet) -> None:
        """A number on each longer piece of every contour, where there is room within the water."""
        corners = [self.scene.inches(self.size_in, place) for place in ((0.0, 0.0), self.scene.spans_m)]
        (left, right), (low, high) = (sorted(ends) for ends in zip(*corners, strict=True))
        water = LabelField(Box(left, low, right, high), self.labels.taken)
        to_inches = self.panel.axes.transData + self.panel.axes.transAxes.inverted()
        shares = 0.5 + np.array([0, *(sign * i / 20 for i in range(1, 10) for sign in (1, -1))])
        for level, lines in zip(contours.levels, contours.allsegs, strict=True):
            number, written = f"{level:g}", 0
            size = text_size_in(number, pad_in=0.01)
            for line in sorted(lines, key=len, reverse=True):
                at = to_inches.transform(line) * self.size_in
                way = np.concatenate(([0.0], np.cumsum(np.hypot(*np.diff(at, axis=0).T))))
                if way[-1] < SHORTEST_LINE_IN or written == 2:
                    break
                nearest = at[np.searchsorted(way, shares * way[-1])]
                box = water.place([(float(x), float(y)) for x, y in nearest], size)
                if box is not None:
                    written += 1
                    self.write(box, number)


def pane_words(tank: Tank, plane: Plane) -> str:
    """What stands at the panes that a plane cuts: "front clean, back painted"."""
    cut = {"depth": WALL_NAMES, "from_front": ("left", "right"), "from_left": ("front", "back")}[plane.kind]
    kinds = {name: tank.walls[name].kind for name in cut}
    if len(set(kinds.values())) == 1 and "reflectance" not in kinds.values():
        return f"all {kinds[cut[0]]}"
    return ", ".join(
        f"{name} {kind}" if kind != "reflectance" else f"{name} reflects {tank.walls[name].reflectance:g}"
        for name, kind in kinds.items()
    )
