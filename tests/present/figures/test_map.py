"""Maps as figures: what the axes hold, to scale, words on the canvas and apart, contour numbers."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.patches import Polygon
from matplotlib.text import Text
from present.made_analysis import GROUPS, made_analysis

from lightdose.model.fixture import Aperture
from lightdose.model.places import GroupRegion, LightMap, MapSlice, Plane
from lightdose.model.results import Basis
from lightdose.model.setup import Setup, Site, Tank, Wall
from lightdose.model.solids import Solid
from lightdose.physics.slices import slice_cells
from lightdose.present.figures.canvas import Drawing, drawing_settings, render
from lightdose.present.figures.map import map_drawings, region_margin, scale_levels

PLANES = (Plane("depth", 0.12), Plane("from_front", 0.2), Plane("from_left", 0.3))
SITES_40 = tuple(
    Site(
        f"{'long ridge' if i % 3 else 'A'} {i}",
        0.03 + 0.017 * i,
        0.05 + 0.009 * (i * 7 % 40),
        0.02 + 0.009 * i,
    )
    for i in range(40)
)
SITES_3 = (
    Site("ridge", 0.2, 0.2, 0.10),
    Site("a shelf with a name that is far too long for any map", 0.7, 0.4, 0.12),
    Site("<&$x_1$ [/b] ☃", 0.02, 0.02, 0.39),
)
CUBE = Tank(0.61, 0.61, 0.61, 0.012, rim_m=0.04)
LONG = Tank(
    2.4,
    0.5,
    0.55,
    walls={"front": Wall(), "back": Wall("painted"), "left": Wall("dark"), "right": Wall("reflectance", 0.4)},
)
SHALLOW = Tank(1.2, 0.6, 0.15)
USUAL = Tank(0.75, 0.45, 0.40)


def made_setup(tank: Tank, sites: tuple[Site, ...]) -> Setup:
    """Two fixtures over a tank, one of them high, with an aperture."""
    base = made_analysis().setup
    left, right = base.fixtures
    wide = replace(left.type, aperture=Aperture(0.4, 0.06))
    inside = tuple(
        replace(
            s, x_m=s.x_m % tank.length_m, y_m=s.y_m % tank.width_m, depth_m=s.depth_m % tank.water_depth_m
        )
        for s in sites
    )
    fixtures = (
        replace(left, type=wide, x_m=0.3 * tank.length_m, y_m=0.5 * tank.width_m, rotation_deg=90),
        replace(right, x_m=0.8 * tank.length_m, y_m=0.5 * tank.width_m, height_m=3.0),
    )
    return replace(base, tank=tank, sites=inside, corals=(), fixtures=fixtures)


def made_map(tank: Tank = USUAL, sites: tuple[Site, ...] = SITES_3, groups: int = 3) -> LightMap:
    """Two round hills of light, falling with depth: an invented field."""
    setup = made_setup(tank, sites)
    slices = []
    for plane in PLANES:
        cells = slice_cells(tank, replace(plane, at_m=min(plane.at_m, 0.9 * tank.water_depth_m)), 0.02)
        x, y, depth = np.moveaxis(cells.centres_m, -1, 0)
        hills = sum(
            np.exp(-((x / tank.length_m - at) ** 2 + (y / tank.width_m - 0.5) ** 2) / 0.06)
            for at in (0.3, 0.8)
        )
        dli = (1 + 14 * hills) * np.exp(-2 * depth)
        slices.append(MapSlice(cells, 40 * dli, 30 * dli, dli, 0 * dli, 0 * dli))
    regions = []
    for group in list(GROUPS.values())[:groups]:
        assert group.band_dli is not None
        low, high = group.band_dli
        shares = tuple(float(np.mean((s.dli >= low) & (s.dli <= high))) for s in slices)
        regions.append(GroupRegion(group, group.band_dli, shares))
    return LightMap(setup, Basis("data sheet", "Invented."), tuple(slices), tuple(regions), 0.02, 1, ())


def panel_of(drawing: Drawing, label: str) -> Axes:
    (found,) = (axes for axes in drawing.figure.axes if axes.get_label() == label)
    return found


@pytest.mark.identity
def test_axes_carry_the_values_to_scale_with_units():
    """Both axes have one scale, names and units; the contours run over the whole water."""
    drawing = map_drawings(made_map(), "dli", "cm")[0]
    axes = panel_of(drawing, "map")
    assert axes.get_xlabel() == "x, from the left [cm]"
    assert axes.get_ylabel() == "y, from the front [cm]"
    box = axes.get_position()
    width, height = drawing.figure.get_size_inches()
    across = np.diff(axes.get_xlim())[0] / (box.width * width)
    up = np.diff(axes.get_ylim())[0] / (box.height * height)
    assert across == pytest.approx(up)
    filled = axes.collections[0]
    reach = np.concatenate([path.vertices for path in filled.get_paths() if len(path.vertices)])
    np.testing.assert_allclose(reach.min(axis=0), [0, 0], atol=1e-6)
    np.testing.assert_allclose(reach.max(axis=0), [75, 45], atol=1e-6)
    scale = next(a for a in drawing.figure.axes if "DLI" in a.get_ylabel())
    assert "mol m⁻² d⁻¹" in scale.get_ylabel()


@pytest.mark.identity
def test_side_view_counts_depth_downwards_and_shows_the_lamps():
    """The surface is at 0, the floor below, fixtures above the water with their height in words."""
    drawing = map_drawings(made_map(), "peak", "in")[1]
    axes = panel_of(drawing, "map")
    low, high = axes.get_ylim()
    assert low > 40 / 2.54
    assert high < -5
    assert axes.get_ylabel() == "depth [in]"
    words = [text.get_text() for text in axes.texts]
    assert "fixture left, 7.9 in above" in words
    assert any("118.1 in above (drawn lower)" in word for word in words)
    assert drawing.title.startswith("Peak PPFD of the day at 7.9 in from the front: ")


@pytest.mark.identity
@pytest.mark.parametrize("quantity", ["dli", "peak", "full_output"])
def test_contours_have_round_levels_with_their_numbers(quantity):
    """All slices share one scale; each long contour carries its number, read off its own level."""
    light = made_map()
    levels = scale_levels([part.of(quantity) for part in light.slices])
    values = np.concatenate([part.of(quantity).ravel() for part in light.slices])
    assert levels[0] <= values.min() < levels[1]
    assert levels[-2] < values.max() <= levels[-1]
    for drawing in map_drawings(light, quantity, "cm"):
        axes = panel_of(drawing, "map")
        lines = axes.collections[1]
        assert set(lines.levels) <= set(levels)
        assert lines.levels.size > 3
        words = {text.get_text() for text in axes.texts}
        numbered = [level for level in lines.levels if f"{level:g}" in words]
        assert len(numbered) >= 0.6 * lines.levels.size


@pytest.mark.identity
def test_each_group_has_its_outline_name_range_share_and_dash():
    """Regions are told apart by name and dash; the outline is where the dose meets an end of the range."""
    light = made_map()
    drawing = map_drawings(light, "dli", "cm")[0]
    words = " | ".join(text.get_text() for text in drawing.figure.texts)
    dashes = set()
    for region in light.regions:
        assert region.group.name in words
        axes = panel_of(drawing, f"group {region.group.key}")
        (outline,) = (c for c in axes.collections if not c.filled)
        dashes.add(str(outline.get_linestyle()))
        columns, rows, inside = region_margin(light.slices[0], region)
        assert inside[0, 0] < 0  # closed along the walls
        x, y = np.searchsorted(columns, 0.375), np.searchsorted(rows, 0.225)
        dli = light.slices[0].dli[y - 2, x - 2]
        low, high = region.band_dli
        assert (inside[y, x] >= 0) == (low <= dli <= high)
    assert len(dashes) == len(light.regions)
    assert "usual 8-15" in words


@pytest.mark.identity
@pytest.mark.parametrize("sites", [SITES_3, SITES_40], ids=["3 sites", "40 sites"])
@pytest.mark.parametrize("tank", [CUBE, LONG, SHALLOW], ids=["cube", "long", "shallow"])
def test_words_stay_on_the_canvas_and_apart(tank, sites):
    """No text is clipped and no two texts meet, however crowded the tank, in centimetres and in inches."""
    unit = "in" if tank is CUBE else "cm"
    for drawing in map_drawings(made_map(tank, sites), "dli", unit):
        with drawing_settings():
            from matplotlib.backends.backend_agg import FigureCanvasAgg

            canvas = FigureCanvasAgg(drawing.figure)
            drawing.figure.draw_without_rendering()
            page = drawing.figure.bbox
            texts = [
                t
                for t in drawing.figure.findobj(Text)
                if t.get_text() and t.get_visible() and (t.axes is None or t.axes.axison)
            ]
            boxes = [t.get_window_extent(canvas.get_renderer()) for t in texts]
        for text, box in zip(texts, boxes, strict=True):
            assert page.x0 <= box.x0, text.get_text()
            assert box.x1 <= page.x1, text.get_text()
            assert page.y0 <= box.y0, text.get_text()
            assert box.y1 <= page.y1, text.get_text()
        for i, one in enumerate(boxes):
            for other, box in zip(texts[i + 1 :], boxes[i + 1 :], strict=True):
                assert not one.overlaps(box), (drawing.name, texts[i].get_text(), other.get_text())


@pytest.mark.identity
def test_every_site_is_named_once_a_direction():
    """In each figure a site stands beside its mark, by a number, or in the sentence below."""
    light = made_map(USUAL, SITES_40)
    for drawing in map_drawings(light, "dli", "cm"):
        words = " ".join(text.get_text() for text in drawing.figure.findobj(Text))
        for site in light.setup.sites:
            assert site.name in words, (drawing.name, site.name)


@pytest.mark.identity
def test_even_light_and_no_groups_still_make_a_figure():
    """A field without contours, and one without light, are drawn without a warning."""
    light = made_map(groups=0)
    for value in (0.0, 3.0):
        even = [replace(s, dli=np.full(s.cells.shape, value)) for s in light.slices]
        drawings = map_drawings(replace(light, slices=tuple(even)), "dli", "cm")
        assert len(render(drawings[0], "png")) > 10_000
        assert not any(axes.get_label().startswith("group ") for axes in drawings[0].figure.axes)


@pytest.mark.identity
def test_svg_states_the_finding_and_repeats():
    """Two runs give the same bytes; title and description hold numbers."""
    one, two = (render(map_drawings(made_map(), "dli", "cm")[0], "svg") for _ in range(2))
    assert one == two
    svg = one.decode()
    assert "<title>DLI at depth 12 cm: " in svg
    assert "within its usual 8-15" in svg[svg.index("<desc>") : svg.index("</desc>")]


@pytest.mark.identity
def test_rock_stands_in_outline_and_the_lead_tells_it() -> None:
    """A rock that the slice cuts is filled, one below it dotted; it is named, and the lead explains."""
    rocks = (
        Solid("left arch", "box", 0.2, 0.3, 0.12, (0.1, 0.1, 0.1)),
        Solid("boulder", "ellipsoid", 0.6, 0.3, 0.38, (0.1, 0.1, 0.04)),
    )
    light = made_map()
    drawing = map_drawings(replace(light, setup=replace(light.setup, rocks=rocks)), "dli", "cm")[0]
    axes = next(a for a in drawing.figure.axes if a.get_label() == "map")
    styles = {p.get_linestyle() for p in axes.patches if isinstance(p, Polygon)}
    assert styles == {"-", ":"}
    words = " ".join(" ".join(t.get_text() for t in drawing.figure.texts).split())
    assert "Grey: rock and colonies" in words
    assert any(t.get_text() == "left arch" for t in axes.texts)
