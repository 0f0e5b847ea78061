"""A tank drawn to scale in a plane: panes, floor and surface, fixtures' apertures, sites."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

from lightdose.model.fixture import Fixture
from lightdose.model.places import AXES, Plane
from lightdose.model.record import dataclass
from lightdose.model.setup import WALL_NAMES, LengthUnit, Setup, Tank
from lightdose.present.figures.canvas import fitted
from lightdose.present.figures.label_places import Box, LabelField, beside, box_around, text_size_in
from lightdose.present.figures.style import INK, QUIET_INK, SMALL_PT
from lightdose.present.labels import length
from lightdose.quantities import METRES_PER_INCH

if TYPE_CHECKING:
    from matplotlib.axes import Axes

NEAR_M: Final = 0.03
"""Sites this near a plane are drawn as lying in it. Our choice."""

GLASS: Final = "#c9dbe6"
PAINT: Final = "#3a3a3a"
BESIDE_SHARE: Final = 0.3
"""Fixtures are shown up to this part of the tank's side beyond it."""

ABOVE_SHARE: Final = 0.5
"""The air is shown to this part of the tank's longer side above the water at most."""

NAME_IN: Final = 1.25
NAME_PT: Final = SMALL_PT - 1
MARK_PT: Final = 5.0


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

    @property
    def upright(self) -> bool:
        """Whether rows are depths."""
        return self.plane.kind != "depth"

    @property
    def spans_m(self) -> tuple[float, float]:
        """The water's extent along columns and rows. [m]"""
        return water_spans_m(self.setup.tank, self.plane)

    def shown(self, metres: float) -> float:
        """A length in the unit of the axes."""
        return 100 * metres if self.unit == "cm" else metres / METRES_PER_INCH


def water_spans_m(tank: Tank, plane: Plane) -> tuple[float, float]:
    """Extent of the water along a plane's columns and rows. [m]"""
    spans = (tank.length_m, tank.width_m, tank.water_depth_m)
    along, down, _ = AXES[plane.kind]
    return spans[along], spans[down]


def whole_scene(setup: Setup, plane: Plane, unit: LengthUnit) -> Scene:
    """The tank with its panes and the fixtures that hang near it."""
    tank, along = setup.tank, AXES[plane.kind][0]
    across, down = water_spans_m(tank, plane)
    glass = max(tank.glass_thickness_m, 0.004)
    outlines = [aperture_outline(f) for f in setup.lit_fixtures]
    columns = _reach([[corner[along] for corner in o] for o in outlines], across, glass)
    if plane.kind == "depth":
        rows = _reach([[corner[1] for corner in o] for o in outlines], down, glass)
    else:
        most = max(ABOVE_SHARE * max(across, down), 1.1 * tank.rim_m)
        heights = [min(f.height_m * 1.12 + 0.01, most) for f in setup.lit_fixtures]
        rows = (-max([tank.rim_m, *heights]), down + glass)
    return Scene(setup, plane, unit, columns, rows)


def bare_scene(setup: Setup, plane: Plane, unit: LengthUnit) -> Scene:
    """The tank with its panes alone."""
    glass = max(setup.tank.glass_thickness_m, 0.004)
    across, down = water_spans_m(setup.tank, plane)
    top = 0.0 if plane.kind != "depth" else -glass
    return Scene(setup, plane, unit, (-glass, across + glass), (top, down + glass))


def fit_in(scene: Scene, width_in: float, height_in: float) -> tuple[float, float]:
    """Size of axes that show a scene to scale. [inch]"""
    across = scene.columns_m[1] - scene.columns_m[0]
    down = scene.rows_m[1] - scene.rows_m[0]
    scale = min(width_in / across, height_in / down)
    return across * scale, down * scale


def _reach(places: Sequence[Sequence[float]], span: float, glass: float) -> tuple[float, float]:
    """From the panes, further out for apertures, but not far. [m]"""
    edge, most = 0.02 * span, BESIDE_SHARE * span
    low = min([-glass, *(max(p - edge, -most) for outline in places for p in outline)])
    high = max([span + glass, *(min(p + edge, span + most) for outline in places for p in outline)])
    return low, high


def aperture_outline(fixture: Fixture) -> list[tuple[float, float]]:
    """Corners of a fixture's emitting rectangle from above; all alike for a point. [m]"""
    turn = math.radians(fixture.rotation_deg)
    half_length, half_width = fixture.type.aperture.length_m / 2, fixture.type.aperture.width_m / 2
    return [
        (
            fixture.x_m + math.cos(turn) * a * half_length - math.sin(turn) * b * half_width,
            fixture.y_m + math.sin(turn) * a * half_length + math.cos(turn) * b * half_width,
        )
        for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
    ]


def set_up_axes(axes: Axes, scene: Scene) -> None:
    """Limits, ticks within the water, and names of the axes with their unit."""
    axes.set_xlim(*(scene.shown(m) for m in scene.columns_m))
    low, high = (scene.shown(m) for m in scene.rows_m)
    axes.set_ylim(*((high, low) if scene.upright else (low, high)))
    for spine in axes.spines.values():
        spine.set_visible(False)
    for axis, span in zip((axes.xaxis, axes.yaxis), scene.spans_m, strict=True):
        axis.set_ticks(ticks_to(scene.shown(span), 9 if axis is axes.xaxis else 6))
    axes.tick_params(labelsize=SMALL_PT, length=3)
    names = {"depth": ("x", "y"), "from_front": ("x", "depth"), "from_left": ("y", "depth")}
    words = {"x": "x, from the left", "y": "y, from the front", "depth": "depth"}
    across, down = names[scene.plane.kind]
    axes.set_xlabel(f"{words[across]} [{scene.unit}]", fontsize=SMALL_PT)
    low_m, high_m = scene.rows_m
    middle = (scene.spans_m[1] / 2 - low_m) / (high_m - low_m)
    axes.set_ylabel(
        f"{words[down]} [{scene.unit}]", fontsize=SMALL_PT, y=1 - middle if scene.upright else middle
    )


def ticks_to(end: float, most: int) -> list[float]:
    """Round numbers from 0 to ``end``, at most so many."""
    step = 0.001
    for power in range(-3, 7):
        for factor in (1, 2, 5):
            step = factor * 10.0**power
            if end / step <= most - 1:
                return [step * i for i in range(int(end / step * (1 + 1e-9)) + 1)]
    return [0.0, end]


def draw_panes(axes: Axes, scene: Scene) -> None:
    """Panes and floor to scale, and the water's surface in an upright plane."""
    tank = scene.setup.tank
    across, down = scene.spans_m
    glass = tank.glass_thickness_m
    low = "left" if scene.plane.kind != "from_left" else "front"
    high = "right" if scene.plane.kind != "from_left" else "back"
    if scene.upright:
        sides = {low: (-glass, 0.0, -tank.rim_m, down), high: (across, across + glass, -tank.rim_m, down)}
        _bar(axes, scene, (-glass, across + glass, down, down + glass), "floor")
    else:
        sides = {
            low: (-glass, 0.0, -glass, down + glass),
            high: (across, across + glass, -glass, down + glass),
            "front": (0.0, across, -glass, 0.0),
            "back": (0.0, across, down, down + glass),
        }
    for name, sides_m in sides.items():
        _bar(axes, scene, sides_m, tank.walls[name].kind)
    left, right, top, bottom = (scene.shown(m) for m in (0.0, across, 0.0, down))
    axes.plot([left, left, right, right], [top, bottom, bottom, top], color=INK, linewidth=0.9, zorder=4)
    style = {"linewidth": 0.9, "linestyle": (0, (4, 2))} if scene.upright else {"linewidth": 0.9}
    axes.plot([left, right], [top, top], color=INK, zorder=4, **style)


def _bar(axes: Axes, scene: Scene, sides_m: tuple[float, float, float, float], kind: str) -> None:
    from matplotlib.patches import Rectangle

    left, right, low, high = (scene.shown(m) for m in sides_m)
    face = {"clean": GLASS, "painted": PAINT, "dark": PAINT, "floor": "#d9d2c5"}.get(kind, "#eeeeee")
    axes.add_patch(
        Rectangle(
            (left, low),
            right - left,
            high - low,
            facecolor=face,
            edgecolor=QUIET_INK,
            linewidth=0.4,
            zorder=3,
            hatch="////" if kind == "reflectance" else None,
        )
    )


def draw_fixtures(axes: Axes, scene: Scene, labels: LabelField) -> None:
    """Each aperture in outline from above, as a bar over the water from the side; a point as a cross."""
    along = AXES[scene.plane.kind][0]
    for fixture in scene.setup.lit_fixtures:
        corners = aperture_outline(fixture)
        if scene.upright:
            low, high = min(c[along] for c in corners), max(c[along] for c in corners)
            top = max(-fixture.height_m, scene.rows_m[0] * 0.93)
            outline, middle = [(low, top), (high, top)], ((low + high) / 2, top)
        else:
            outline, middle = [*corners, corners[0]], (fixture.x_m, fixture.y_m)
        _draw_aperture(axes, scene, outline, middle)
        _name_fixture(axes, scene, labels, fixture, middle)


def _draw_aperture(
    axes: Axes, scene: Scene, outline: list[tuple[float, float]], middle: tuple[float, float]
) -> None:
    is_point = all(place == outline[0] for place in outline)
    places = [middle] if is_point else outline
    x, y = ([scene.shown(place[i]) for place in places] for i in (0, 1))
    if is_point:
        axes.plot(x, y, "+", color="white", markersize=10, markeredgewidth=3.4, zorder=5)
        axes.plot(x, y, "+", color=INK, markersize=9, markeredgewidth=1.4, zorder=5)
    else:
        axes.plot(x, y, color="white", linewidth=2.6, zorder=5)
        axes.plot(x, y, color=INK, linewidth=1.2, linestyle=(0, (5, 2)), zorder=5)


def _name_fixture(
    axes: Axes, scene: Scene, labels: LabelField, fixture: Fixture, middle: tuple[float, float]
) -> None:
    name = fitted(f"fixture {fixture.name}", NAME_IN + 0.4, NAME_PT)
    if scene.upright:
        name += f", {length(fixture.height_m, scene.unit)} {scene.unit} above"
        name += " (drawn lower)" if -fixture.height_m < middle[1] - 1e-9 else ""
    size = text_size_in(name, NAME_PT)
    x, y = inches(scene, axes_size_in(axes), middle)
    tries = (
        [(x, y - 0.11), (x, y + 0.11)]
        if scene.upright
        else [(x, y + d) for d in (0.2, -0.2, 0.4, -0.4, 0.6, -0.6)]
    )
    box = labels.place(tries, size)
    if box is not None:
        write_label(axes, box, name, NAME_PT, boxed=not scene.upright)


def inches(scene: Scene, size_in: tuple[float, float], place_m: tuple[float, float]) -> tuple[float, float]:
    """A place of the plane in inches from the lower left corner of axes of that size."""
    across, up = (
        (m - low) / (high - low)
        for m, (low, high) in zip(place_m, (scene.columns_m, scene.rows_m), strict=True)
    )
    return across * size_in[0], (1 - up if scene.upright else up) * size_in[1]


def water_box(scene: Scene, size_in: tuple[float, float]) -> Box:
    """The water in inches from the lower left corner of axes of that size."""
    across, down = scene.spans_m
    (left, one), (right, other) = (inches(scene, size_in, place) for place in ((0.0, 0.0), (across, down)))
    return Box(left, min(one, other), right, max(one, other))


def axes_size_in(axes: Axes) -> tuple[float, float]:
    """Width and height of the axes. [inch]"""
    place, figure = axes.get_position(), axes.get_figure(root=True)
    assert figure is not None
    width, height = figure.get_size_inches()
    return float(place.width * width), float(place.height * height)


def write_label(axes: Axes, box: Box, text: str, size_pt: float, *, boxed: bool = True) -> None:
    """Text in the middle of its box, on a white ground that lets the map shine through a little."""
    width, height = axes_size_in(axes)
    ground = {"facecolor": "white", "alpha": 0.82, "edgecolor": "none", "pad": 0.8} if boxed else None
    axes.text(
        (box.left + box.right) / 2 / width,
        (box.low + box.high) / 2 / height,
        text,
        transform=axes.transAxes,
        fontsize=size_pt,
        color=INK,
        ha="center",
        va="center",
        bbox=ground,
        zorder=8,
    )


@dataclass(frozen=True)
class SiteMark:
    """A mark for one site, or for several that lie over one another: place, whether one is near, words."""

    place_m: tuple[float, float]
    near: bool
    label: str


def site_marks(scene: Scene, planes: Sequence[Plane]) -> list[SiteMark]:
    """The sites that are drawn on a plane: each on the nearest plane of its kind."""
    along, down, across = AXES[scene.plane.kind]
    alike = [p for p in planes if p.kind == scene.plane.kind]
    found: dict[tuple[float, float], tuple[list[str], list[bool]]] = {}
    for site in scene.setup.sites:
        place = (site.x_m, site.y_m, site.depth_m)
        if min(alike, key=lambda p, at=place[across]: abs(p.at_m - at)) != scene.plane:  # type: ignore[misc]
            continue
        near = abs(place[across] - scene.plane.at_m) <= NEAR_M
        label = fitted(site.name, NAME_IN, NAME_PT)
        if not near and not scene.upright:
            label += f" ({length(place[across], scene.unit)})"
        labels, nears = found.setdefault((round(place[along], 3), round(place[down], 3)), ([], []))
        labels.append(label)
        nears.append(near)
    return [SiteMark(at, any(nears), _joined(labels)) for at, (labels, nears) in found.items()]


def _joined(labels: Sequence[str]) -> str:
    if len(labels) <= 3:
        return ", ".join(labels)
    return f"{labels[0]}, {labels[1]} and {len(labels) - 2} more"


@dataclass(frozen=True)
class PlacedNames:
    """Where each mark's words stand, and a sentence about those for which only a number, or nothing, does."""

    written: tuple[tuple[Box, str], ...]
    rest: str


def place_names(
    scene: Scene, size_in: tuple[float, float], marks: Sequence[SiteMark], labels: LabelField
) -> PlacedNames:
    """Find room for the names of sites beside their marks; those without any get a number, or only a line."""
    places = [inches(scene, size_in, mark.place_m) for mark in marks]
    side = MARK_PT / 72 + 0.01
    for x, y in places:
        labels.take(box_around(x, y, side, side))
    written: list[tuple[Box, str]] = []
    left_over = []
    for mark, (x, y) in zip(marks, places, strict=True):
        size = text_size_in(mark.label, NAME_PT)
        box = labels.place(beside(x, y, size, 0.05), size)
        if box is None:
            left_over.append((mark, x, y))
        else:
            written.append((box, mark.label))
    numbered: list[str] = []
    bare: list[str] = []
    for mark, x, y in left_over:
        word = f"#{len(numbered) + 1}"
        size = text_size_in(word, NAME_PT, 0.01)
        box = labels.place(beside(x, y, size, 0.05), size)
        if box is not None:
            written.append((box, word))
            numbered.append(f"{word} {mark.label}")
        else:
            where = ", ".join(length(m, scene.unit) for m in mark.place_m)
            bare.append(f"{mark.label} at {where} {scene.unit}")
    parts = [f"By number: {'; '.join(numbered)}."] if numbered else []
    parts += [f"Without room for a name: {'; '.join(bare)}."] if bare else []
    return PlacedNames(tuple(written), " ".join(parts))


def draw_marks(axes: Axes, scene: Scene, marks: Sequence[SiteMark], size_pt: float) -> None:
    """Discs for sites in the plane, rings for others."""
    for mark in marks:
        axes.plot(
            [scene.shown(mark.place_m[0])],
            [scene.shown(mark.place_m[1])],
            "o",
            markersize=size_pt,
            markerfacecolor=INK if mark.near else "white",
            markeredgecolor="white" if mark.near else INK,
            markeredgewidth=0.9,
            zorder=7,
            clip_on=False,
        )


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
