"""Small drawings of a slice, one a coral group: where the group would be within its usual light."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np

from lightdose.model.places import GroupRegion, LightMap, MapSlice
from lightdose.model.record import FloatArray, dataclass
from lightdose.present.figures.canvas import LINE_IN, fitted, panel, write_at
from lightdose.present.figures.scene import Scene, SiteMark, draw_marks, draw_panes, fit_in
from lightdose.present.figures.style import BAND_FILL, DASHES, INK, QUIET_INK, SMALL_PT, TEXT_PT
from lightdose.present.labels import DLI_UNIT_TYPESET, range_text
from lightdose.present.map_table import area_words

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

WIDTH_IN: Final = 9.0
SIDE_IN: Final = 0.3
GAP_IN: Final = 0.3
HEADING_IN: Final = 0.35
PANEL_HEAD_IN: Final = 0.4
TALLEST_IN: Final = 2.3
OUTSIDE: Final = -1e3
"""Far out of every range, so that an outline closes along the walls."""


@dataclass(frozen=True)
class GroupPanels:
    """How the small drawings stand below a map."""

    scene: Scene
    columns: int
    width_in: float
    size_in: tuple[float, float]
    height_in: float


def group_panels(scene: Scene, count: int) -> GroupPanels:
    """Two or three drawings in a row, as large as they fit."""
    columns = 2 if count <= 2 else 3
    width = (WIDTH_IN - 2 * SIDE_IN - (columns - 1) * GAP_IN) / columns
    size = fit_in(scene, width, TALLEST_IN)
    rows = -(-count // columns)
    height = HEADING_IN + rows * (PANEL_HEAD_IN + size[1] + GAP_IN / 2) if count else 0.0
    return GroupPanels(scene, columns, width, size, height)


def draw_groups(
    figure: Figure, light: LightMap, index: int, panels: GroupPanels, marks: Sequence[SiteMark], top_in: float
) -> None:
    """The heading and one drawing a group: its region shaded and outlined, with its name, range and share."""
    heading = "Where each group would get its usual light on this slice (shaded and outlined)"
    write_at(figure, 0.15, top_in, heading, TEXT_PT, weight="bold")
    page_width, page_height = figure.get_size_inches()
    step = PANEL_HEAD_IN + panels.size_in[1] + GAP_IN / 2
    for i, region in enumerate(light.regions):
        left = SIDE_IN + (i % panels.columns) * (panels.width_in + GAP_IN)
        top = top_in + HEADING_IN + (i // panels.columns) * step
        words = (
            f"usual {range_text(*region.band_dli)} {DLI_UNIT_TYPESET}, "
            f"{share_words(region.area_fraction[index])}"
        )
        for row, (text, colour) in enumerate(((region.group.name, INK), (words, QUIET_INK))):
            figure.text(
                left / page_width,
                1 - (top + row * 0.9 * LINE_IN) / page_height,
                fitted(text, panels.width_in, SMALL_PT),
                fontsize=SMALL_PT,
                color=colour,
                va="top",
            )
        axes = panel(figure, left, top + PANEL_HEAD_IN - 0.05, *panels.size_in)
        axes.set_label(f"group {region.group.key}")
        draw_region(axes, panels.scene, light.slices[index], region, i)
        draw_marks(axes, panels.scene, marks, 3.2)


def share_words(fraction: float) -> str:
    """A share of a slice: "nowhere here", "everywhere here", "41 % of it"."""
    if fraction in (0, 1):
        return "everywhere here" if fraction else "nowhere here"
    return area_words(fraction).replace("the area", "it")


def draw_region(axes: Axes, scene: Scene, part: MapSlice, region: GroupRegion, turn: int) -> None:
    """One region on bare panes; each group has its own dash while they last."""
    axes.set_xlim(*(scene.shown(m) for m in scene.columns_m))
    low, high = (scene.shown(m) for m in scene.rows_m)
    axes.set_ylim(*((high, low) if scene.upright else (low, high)))
    axes.set_axis_off()
    columns, rows, inside = region_margin(part, region)
    x, y = ([scene.shown(float(m)) for m in at] for at in (columns, rows))
    if np.any(inside > 0):
        axes.contourf(x, y, inside, levels=[0.0, float(inside.max()) + 1.0], colors=[BAND_FILL])
        axes.contour(
            x, y, inside, levels=[0.0], colors=[INK], linewidths=1.6, linestyles=[DASHES[turn % len(DASHES)]]
        ).set(zorder=6)
    draw_panes(axes, scene)


def region_margin(part: MapSlice, region: GroupRegion) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Columns, rows [m], and how far each place lies inside the range (below 0: outside). [mol m-2 d-1]"""
    low, high = region.band_dli
    columns, rows, dli = to_walls(part, part.dli)
    inside = np.minimum(dli - low, high - dli)
    thin = 1e-6
    return (
        np.concatenate((columns[:1] - thin, columns, columns[-1:] + thin)),
        np.concatenate((rows[:1] - thin, rows, rows[-1:] + thin)),
        np.pad(inside, 1, constant_values=OUTSIDE),
    )


def to_walls(part: MapSlice, values: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Columns, rows [m] and values of a slice, the outermost cells drawn out to the walls."""
    cells = part.cells
    columns, rows = (
        np.concatenate((edges[:1], centres, edges[-1:]))
        for edges, centres in (
            (cells.column_edges_m, cells.column_centres_m),
            (cells.row_edges_m, cells.row_centres_m),
        )
    )
    return columns, rows, np.pad(values, 1, mode="edge")
