"""The way of one coral: its dose from stone to stone, under the rise that is allowed, against its range."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from lightdose.answers.move import end_sentence
from lightdose.model.places import Move
from lightdose.present.figures.canvas import (
    LINE_IN,
    Drawing,
    drawn,
    fitted,
    head_height,
    new_figure,
    panel,
    quiet_grid,
    spread,
    write_head,
)
from lightdose.present.figures.style import BAND_FILL, INK, QUIET_INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import DLI_UNIT, DLI_UNIT_TYPESET, literal, number, range_text

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN: Final = 8.0
LEFT_IN: Final = 0.75
NAMES_IN: Final = 2.3
HEIGHT_IN: Final = 3.4
NAMED: Final = 18
"""With more stones than room only some carry their name."""


def move_drawing(move: Move) -> Drawing:
    """Dose by day, each stone named at the right."""
    return drawn(lambda: _draw(move))


def _draw(move: Move) -> Drawing:
    title = end_sentence(move).replace(DLI_UNIT, DLI_UNIT_TYPESET)
    lead = (
        f"Line: what {literal(move.coral)} gets at each place, from today's on. Dashed: the most that "
        f"{100 * move.wishes.rise_per_week:g} % a week would allow. Shade: the usual range of its group."
    )
    head = head_height(title, lead, WIDTH_IN) + (0.12 if move.band_dli else 0.0)
    figure = new_figure(WIDTH_IN, head + HEIGHT_IN + 0.6)
    write_head(figure, title, lead)
    axes = panel(figure, LEFT_IN, head, WIDTH_IN - LEFT_IN - NAMES_IN, HEIGHT_IN)
    _draw_way(axes, move)
    return Drawing("move", title, literal(title), figure)


def _draw_way(axes: Axes, move: Move) -> None:
    step, last = move.wishes.step_days, move.days + move.wishes.step_days
    days = np.array([-step, *(s.day for s in move.steps), last], dtype=np.float64)
    doses = [move.start_dli, *(s.dli_mol_m2_d for s in move.steps)]
    axes.set_xlim(-step, last)
    low, high = min(doses), max(doses)
    gap = max(0.12 * (high - low), 0.06 * high, 0.01)
    bottom, top = max(0.0, low - gap), high + gap
    if move.band_dli is not None:
        axes.axhspan(*move.band_dli, color=BAND_FILL, alpha=0.5, linewidth=0, zorder=1)
    axes.set_ylim(bottom, top)
    for k, dose in enumerate(doses[:-1]):
        most = dose * move.wishes.growth
        axes.plot(
            [days[k + 1], days[k + 2]], [most, most], color=QUIET_INK, linewidth=1.0,
            linestyle=(0, (5, 2)), zorder=2,
        )  # fmt: skip
    axes.step(days, [*doses, doses[-1]], where="post", color=TONES["blue"], linewidth=2.0, zorder=3)
    quiet_grid(axes, "y")
    every = 7 * max(1, round(last / 7 / 10))
    ticks = np.arange(0, last + 1, every)
    axes.set_xticks(ticks, [f"{t:g}" for t in ticks])
    start = f" (day 0: {move.steps[0].date})" if move.steps[0].date else ""
    axes.set_xlabel(f"days from the first step{start}", fontsize=TEXT_PT)
    axes.set_ylabel(f"dose in a day [{DLI_UNIT_TYPESET}]", fontsize=TEXT_PT)
    if move.band_dli is not None:
        axes.set_title(
            f"usual {range_text(*move.band_dli)}", fontsize=SMALL_PT, color=QUIET_INK, loc="left", pad=3
        )
    _name_stones(axes, move, doses, (bottom, top))


def _name_stones(axes: Axes, move: Move, doses: list[float], limits: tuple[float, float]) -> None:
    names = [move.start_site, *(s.site for s in move.steps)]
    shown = np.unique(np.linspace(0, len(names) - 1, min(len(names), NAMED)).round().astype(int)).tolist()
    bottom, top = limits
    wanted = [(doses[i] - bottom) / (top - bottom) * HEIGHT_IN for i in shown]
    for i, place in zip(shown, spread(wanted, LINE_IN, 0.05, HEIGHT_IN - 0.05), strict=True):
        day = "today" if i == 0 else f"day {move.steps[i - 1].day}"
        axes.annotate(
            f"{fitted(names[i], NAMES_IN - 1.25, SMALL_PT)} {number(doses[i])}, {day}",
            (1.0, doses[i]),
            xycoords=("axes fraction", "data"),
            xytext=(1.05, place / HEIGHT_IN),
            textcoords="axes fraction",
            va="center",
            fontsize=SMALL_PT,
            color=INK,
            arrowprops={
                "arrowstyle": "-", "color": QUIET_INK, "linewidth": 0.6, "shrinkA": 1, "shrinkB": 0,
                "relpos": (0.0, 0.5),
            },
        )  # fmt: skip
