"""The way to another light: doses step by step, and how far light runs ahead of the coral that lags most."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from lightdose.answers.acclimate import closing_sentence, headline
from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.model.plans import Acclimation
from lightdose.model.record import FloatArray
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
from lightdose.present.figures.style import BAND_FILL, INK, LIMIT_FILL, QUIET_INK, SMALL_PT, TEXT_PT, TONES
from lightdose.present.labels import DLI_UNIT_TYPESET, literal, number

if TYPE_CHECKING:
    from matplotlib.axes import Axes

WIDTH_IN = 8.8
LEFT_IN = 0.75
NAMES_IN = 2.2
DOSES_IN = 3.2
MISMATCH_IN = 2.2
GAP_IN = 0.62
CORALS_DRAWN = 16
TICKS = (0.01, 0.02, 0.05, 0.1, 0.2, 0.5, 1, 2, 3, 5, 7, 10, 15, 20, 30, 50, 100, 200)
LEAD = (
    "Above: the dose of each coral from step to step, starting from what it lives in (log scale). Below: "
    "dose over the dose that the coral furthest ahead is set for; line: it follows in 20 days; shade: 4 to "
    f"40 days. Common practice, no published rule per week. {SINGLE_VALUES}"
)


def acclimation_drawing(way: Acclimation) -> Drawing:
    """Doses by day over the mismatch by day."""
    return drawn(lambda: _draw(way))


def _draw(way: Acclimation) -> Drawing:
    at = int(way.curve.d_over_a[1].argmax())
    low, peak, high = sorted(float(v) for v in way.curve.d_over_a[:, at])
    title = (
        f"{headline(way)} Most ahead: {literal(way.curve.coral)!r}, {peak:.2f} ({low:.2f}-{high:.2f}) times "
        "its acclimated dose."
    )
    rest = len(way.corals) - CORALS_DRAWN
    lead = (f"{rest} more corals, which rise less, are not drawn. " if rest > 0 else "") + LEAD
    head = head_height(title, lead, WIDTH_IN)
    figure = new_figure(WIDTH_IN, head + DOSES_IN + GAP_IN + MISMATCH_IN + 0.6)
    write_head(figure, title, lead)
    width = WIDTH_IN - LEFT_IN - NAMES_IN
    doses = panel(figure, LEFT_IN, head, width, DOSES_IN)
    mismatch = panel(figure, LEFT_IN, head + DOSES_IN + GAP_IN, width, MISMATCH_IN)
    _draw_doses(doses, way)
    _draw_mismatch(mismatch, way)
    for axes in (doses, mismatch):
        _draw_days(axes, way)
    mismatch.set_xlabel("days from the first step", fontsize=TEXT_PT)
    return Drawing("acclimation", title, f"{literal(title)} {closing_sentence(way)}", figure)


def _draw_days(axes: Axes, way: Acclimation) -> None:
    from matplotlib.ticker import MaxNLocator

    last = float(way.curve.day[-1])
    axes.set_xlim(-max(3.0, 0.03 * last), last)
    weeks = max(1, round(last / 7 / 10))
    axes.set_xticks(np.arange(0, last + 1, 7 * weeks))
    if axes.get_yscale() == "linear":
        axes.yaxis.set_major_locator(MaxNLocator(6, steps=[1, 2, 5, 10]))
    for step in way.steps:
        axes.axvline(step.day, color=LIMIT_FILL, linewidth=0.8, zorder=0)


def _draw_doses(axes: Axes, way: Acclimation) -> None:
    days = np.array([s.day for s in way.steps], dtype=np.float64)
    ranked = sorted(way.corals, key=lambda c: c.target / c.before, reverse=True)[:CORALS_DRAWN]
    lowest = min(min(c.before, *(_own(way, c.name))) for c in ranked)
    highest = max(max(c.before, *(_own(way, c.name))) for c in ranked)
    axes.set_yscale("log")
    axes.set_ylim(0.85 * lowest, 1.18 * highest)
    shown = [t for t in TICKS if 0.85 * lowest <= t <= 1.18 * highest]
    axes.set_yticks(shown, [f"{t:g}" for t in shown])
    axes.minorticks_off()
    quiet_grid(axes, "y")
    left, right = -max(3.0, 0.03 * way.curve.day[-1]), float(way.curve.day[-1])
    ends = []
    for coral in ranked:
        own = _own(way, coral.name)
        bold = coral.name == way.curve.coral
        colour = TONES["blue"] if bold else QUIET_INK
        x = np.concatenate([[left, 0.0], np.repeat(days, 2)[1:], [right]])
        y = np.concatenate([[coral.before, coral.before], np.repeat(own, 2)])
        axes.plot(
            x, y, color=colour, linewidth=2.0 if bold else 1.1,
            linestyle="solid" if coral.origin == "today" else (0, (5, 1.5)), zorder=4 if bold else 3,
        )  # fmt: skip
        ends.append(float(own[-1]))
    low, high = (float(np.log(v)) for v in axes.get_ylim())
    _name_ends(
        axes,
        [
            f"{fitted(c.name, NAMES_IN - 0.85, SMALL_PT)} {number(end)}"
            for c, end in zip(ranked, ends, strict=True)
        ],
        [(float(np.log(end)) - low) / (high - low) for end in ends],
        [TONES["blue"] if c.name == way.curve.coral else INK for c in ranked],
        DOSES_IN,
    )
    axes.set_ylabel(f"dose in a day [{DLI_UNIT_TYPESET}]", fontsize=TEXT_PT)


def _name_ends(
    axes: Axes, texts: Sequence[str], at: Sequence[float], colours: Sequence[str], height_in: float
) -> None:
    """Words at the ends of their lines, moved apart where they would meet; ``at`` is in heights."""
    places = spread([a * height_in for a in at], LINE_IN, 0.05, height_in - 0.05)
    for text, end, place, colour in zip(texts, at, places, colours, strict=True):
        axes.annotate(
            text,
            (1.0, end),
            xycoords="axes fraction",
            xytext=(1.045, place / height_in),
            textcoords="axes fraction",
            va="center",
            fontsize=SMALL_PT,
            color=colour,
            arrowprops={
                "arrowstyle": "-", "color": QUIET_INK, "linewidth": 0.6, "shrinkA": 1, "shrinkB": 0,
                "relpos": (0.0, 0.5),
            },
        )  # fmt: skip


def _draw_mismatch(axes: Axes, way: Acclimation) -> None:
    curve = way.curve
    low, high = curve.d_over_a.min(axis=0), curve.d_over_a.max(axis=0)
    axes.fill_between(curve.day, low, high, color=BAND_FILL, linewidth=0, zorder=2)
    axes.plot(curve.day, curve.d_over_a[1], color=TONES["blue"], linewidth=1.8, zorder=3)
    axes.axhline(1.0, color=QUIET_INK, linewidth=1.0, zorder=1)
    quiet_grid(axes, "y")
    most, least = float(high.max()), float(low.min())
    axes.set_ylim(min(0.9, 0.97 * least), max(1.15, 1.06 * most))
    axes.set_ylabel("dose over acclimated", fontsize=TEXT_PT)
    at = int(np.argmax(curve.d_over_a[1]))
    axes.annotate(
        f"{curve.d_over_a[1, at]:.2f}",
        (curve.day[at], curve.d_over_a[1, at]),
        xytext=(0, 5),
        textcoords="offset points",
        ha="center",
        fontsize=SMALL_PT,
        color=INK,
        bbox={"facecolor": "white", "edgecolor": "none", "pad": 0.8},
        zorder=5,
    )
    ends = [float(v) for v in curve.d_over_a[:, -1]]
    bottom, top = axes.get_ylim()
    _name_ends(
        axes,
        [f"follows in {tau:g} days" for tau in curve.tau_d],
        [(end - bottom) / (top - bottom) for end in ends],
        [INK, TONES["blue"], INK],
        MISMATCH_IN,
    )


def _own(way: Acclimation, coral: str) -> FloatArray:
    index = [c.name for c in way.corals].index(coral)
    return np.array([s.corals[index].dli_mol_m2_d for s in way.steps])
