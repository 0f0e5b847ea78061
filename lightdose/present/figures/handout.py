"""The pictures of pages for people: a tank from the front, a coral on its usual range, a day, a year."""

from __future__ import annotations

import datetime
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, Final

from lightdose.answers.changed import year_before, year_spells
from lightdose.answers.language import Language
from lightdose.answers.verdicts import bar_of
from lightdose.answers.words import PPFD_UNIT_TYPESET
from lightdose.model.diary import CoralHistory
from lightdose.model.light import SiteDay
from lightdose.model.places import Plane
from lightdose.model.results import Verdict
from lightdose.model.setup import LengthUnit, Setup
from lightdose.present.figures.canvas import Panel, line_in, write_text
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    LIMIT_FILL,
    QUIET_INK,
    TONES,
    Stroke,
    text_width_in,
    write_line,
)
from lightdose.present.figures.tank_view import Box, Scene, TankView, beside, text_size_in
from lightdose.present.page import WIDTH, range_bar

if TYPE_CHECKING:
    from matplotlib.figure import Figure

BAR_IN: Final = 0.17
AXIS_IN, LEFT_IN, PT = 0.36, 0.5, 7.5
NUMBER_PT: Final = 9.0
STROKES: Final = (Stroke(TONES["total"], "solid", 1.6), Stroke(TONES["blue"], (0, (4, 1.6)), 1.6))
"""Of the first setup and of the second."""


def front_scene(setup: Setup, unit: LengthUnit) -> Scene:
    """The tank from the front, with the lamps over it."""
    return Scene.whole(setup, Plane("from_front", 0.5 * setup.tank.width_m), unit)


def draw_front(
    figure: Figure,
    left_in: float,
    top_in: float,
    room_in: tuple[float, float],
    setup: Setup,
    unit: LengthUnit,
    shown: Sequence[Verdict],
) -> float:
    """The tank to scale with every coral; those of ``shown`` have numbers. The height below it. [inch]"""
    scene = front_scene(setup, unit)
    wide, high = scene.size_in(*room_in)
    panel = Panel.on(figure, left_in + (room_in[0] - wide) / 2, top_in, wide, high)
    view = TankView.on(panel, scene, whole=True)
    panel.axes.set(xticks=[], yticks=[])
    numbers = {v.receiver: str(n) for n, v in enumerate(shown, start=1)}
    stands = {v.receiver: setup.receivers[v.receiver] for v in shown}
    sites = {site.name: site for site in setup.sites}
    tops = [(sites[c.site].x_m, sites[c.site].depth_m - c.height_m) for c in setup.corals]
    style: Any = {"color": QUIET_INK, "markeredgecolor": "white", "markersize": 4.0, "markeredgewidth": 0.5}
    view.plot(tops, linestyle="none", marker="o", zorder=6, **style)
    view.labels.taken += [Box.around(*scene.inches(view.size_in, top), 0.05, 0.05) for top in tops]
    places = {r: (at.x_m, at.depth_m) for r, at in stands.items()}
    points = {r: scene.inches(view.size_in, place) for r, place in places.items()}
    view.labels.taken += [Box.around(*point, 0.12, 0.12) for point in points.values()]
    for receiver, place in places.items():
        x, y = map(scene.shown, place)
        panel.mark(x, y, "o", INK, "white", markersize=8.0, markeredgewidth=0.8, zorder=7)
        size = text_size_in(numbers[receiver], NUMBER_PT, 0.015)
        box = view.labels.place(beside(*points[receiver], size, 0.07), size)
        if box is not None:
            x, y = (box.left + box.right) / 2 / wide, (box.low + box.high) / 2 / high
            style = {"ha": "center", "va": "center_baseline", "weight": "bold", "zorder": 8}
            style["bbox"] = {"facecolor": "white", "alpha": 0.85, "edgecolor": "none", "pad": 0.6}
            panel.axes.text(
                x, y, numbers[receiver], transform=panel.axes.transAxes, fontsize=NUMBER_PT, **style
            )
    view.draw_fixtures(named=False)
    return top_in + high


def draw_range(figure: Figure, left_in: float, top_in: float, width_in: float, verdict: Verdict) -> float:
    """A coral's dose on the usual range of its kind; the height below it. [inch]"""
    known = bar_of(verdict)
    if known is None:
        return top_in
    panel = Panel.on(figure, left_in, top_in, width_in, BAR_IN)
    panel.axes.set(xlim=(0, WIDTH), ylim=(0.5, -0.5))
    panel.axes.axis("off")
    bar = range_bar(known)
    panel.bar(0, bar.floor, bar.ceiling, 0.45, LIMIT_FILL)
    panel.bar(0, bar.low, bar.high, 0.8, BAND_FILL)
    if bar.line:
        panel.span(0, *bar.line, 1.0)
    panel.dose_mark(0, bar.mark, bar.state, markersize=6.5, markeredgewidth=1.2)
    return top_in + BAR_IN


def draw_days(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    height_in: float,
    days: Sequence[tuple[str, SiteDay]],
    w: Language,
) -> float:
    """Light through the day, of two setups to one scale; the area is the dose. The height below it. [inch]"""
    top = max((float(day.total.max(initial=0.0)) for _, day in days), default=0.0)
    named = len(days) > 1
    panel = Panel.on(figure, left_in + LEFT_IN, top_in + 0.06, width_in - LEFT_IN - 0.08, height_in - AXIS_IN)
    panel.day_axis(top if top > 0 else 1.0, "{}")
    panel.axes.locator_params(axis="y", nbins=4)
    panel.axes.set_xlabel(w.say("hour of the day"), fontsize=PT, labelpad=2)
    panel.axes.set_ylabel(PPFD_UNIT_TYPESET, fontsize=PT, labelpad=3)
    panel.grid()
    panel.axes.tick_params(labelsize=PT - 0.5)
    for turn, ((letter, day), stroke) in enumerate(zip(days, STROKES, strict=False)):
        panel.line(day.time_h, day.total, stroke, clip_on=True)
        if not named:
            panel.axes.fill_between(day.time_h, day.total, color=LIMIT_FILL, linewidth=0, zorder=0.5)
            continue
        left, at = left_in + LEFT_IN + 0.1, top_in + 0.1 + turn * line_in(PT)
        write_line(figure, left, at + 0.06, 0.22, stroke)
        write_text(figure, left + 0.28, at, 1.0, letter, PT, weight="bold")
    return top_in + height_in


def draw_year(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    height_in: float,
    life: CoralHistory,
    date: str,
    band: tuple[float, float] | None,
    w: Language,
) -> float:
    """The daily dose of a coral's last year as a line on its usual range; the height below it. [inch]"""
    spells = year_spells(life, date)
    first, last = (datetime.date.fromisoformat(d) for d in (year_before(date), date))
    days: list[int] = []
    doses: list[float] = []
    for spell in spells:
        since, until = (datetime.date.fromisoformat(d) for d in (spell.since, spell.until))
        ends = max(since, first), min(until, last)
        days += [max((end - first).days, 0) for end in ends]
        doses += [spell.light.dli_mol_m2_d] * 2
    length = (last - first).days
    axis = line_in(PT - 0.5) + 0.03
    scale = 1.25 * max([*doses, *(band or ())])
    ends_in = max(text_width_in(w.number(d), PT) for d in doses) + 0.06
    panel = Panel.on(figure, left_in, top_in, width_in - ends_in, height_in - axis)
    panel.axes.set(xlim=(0, length), ylim=(0, scale), yticks=[], xticks=[])
    panel.axes.spines["left"].set_visible(False)
    if band:
        panel.axes.axhspan(*band, color=BAND_FILL, alpha=0.6, linewidth=0, zorder=0)
    panel.line(days, doses, Stroke(TONES["total"], "solid", 1.3))
    panel.mark(days[-1], doses[-1], "o", INK, INK, markersize=3.5)
    panel.note(1, doses[-1], w.number(doses[-1]), (4, 0), fontsize=PT, xycoords=("axes fraction", "data"))
    at = top_in + height_in - axis + 0.03
    write_text(figure, left_in, at, width_in, w.date(first.isoformat()), PT - 0.5, color=QUIET_INK)
    words = w.date(date)
    right = left_in + width_in - ends_in - text_width_in(words, PT - 0.5)
    write_text(figure, right, at, width_in, words, PT - 0.5, color=QUIET_INK)
    return top_in + height_in
