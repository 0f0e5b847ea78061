"""The day at chosen sites, and the programme that makes it: light and levels through 24 hours."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np

from lightdose.answers.words import (
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    clock,
    count,
    hours,
    length,
    literal,
    number,
    percent_words,
)
from lightdose.model.fixture import ChannelProgramme, Fixture
from lightdose.model.light import SiteDay
from lightdose.model.record import FloatArray
from lightdose.model.results import Analysis
from lightdose.model.setup import LengthUnit
from lightdose.present.figures.canvas import LINE_IN, PANEL_IN, Drawing, Panel, drawn, stacked_sheet
from lightdose.present.figures.lettering import fitted
from lightdose.present.figures.style import DASHES, INK, TEXT_PT, TONES, TOTAL_STROKE, Stroke, channel_strokes

CLOCK: Final = "time of day [hh:mm]"
PPFD: Final = f"PPFD [{PPFD_UNIT_TYPESET}]"
LEVELS_LEAD: Final = (
    "Levels as set on the fixture, in percent, before its dimming curve, with the highest of each channel. "
    "Straight between the points."
)
DAY_LEAD: Final = (
    "PPFD (400-700 nm) through the day, planar, in the water. Black: total; the others: each channel, with "
    "its peak."
)
INTERVAL_LEAD: Final = " Bar: 95 % of what the inputs allow at the peak."
MOST_FIXTURES: Final = 4
MOST_LINES: Final = 8


@dataclass(frozen=True)
class ChannelLine:
    """A line of a figure: one channel, or the channels of one name in several fixtures, added."""

    label: str
    stroke: Stroke
    channels: tuple[int, ...]

    def of(self, by_channel: FloatArray) -> FloatArray:
        """The sum of its rows."""
        summed: FloatArray = by_channel[list(self.channels)].sum(axis=0)
        return summed


def channel_lines(analysis: Analysis, receivers: Sequence[int]) -> list[ChannelLine]:
    """The lines to draw, brightest first; beyond ``MOST_LINES`` the rest is one line."""
    fixtures = analysis.setup.lit_fixtures
    keys = analysis.light_field.channels
    strokes = channel_strokes([c for f in fixtures for c in f.type.channels])
    single = len(fixtures) == 1
    if single or len(keys) <= MOST_LINES - 2:
        lines = [
            ChannelLine(k.channel if single else f"{k.fixture}: {k.channel}", stroke, (i,))
            for i, (k, stroke) in enumerate(zip(keys, strokes, strict=True))
        ]
    else:
        lines = _added_by_name(analysis, strokes)
    dose = analysis.dose.dli_by_channel[list(receivers)].sum(axis=0) if receivers else np.zeros(len(keys))
    lines.sort(key=lambda line: -float(line.of(dose)))
    if len(lines) > MOST_LINES:
        rest = tuple(i for line in lines[MOST_LINES - 1 :] for i in line.channels)
        label = f"{len(lines) - MOST_LINES + 1} other channels"
        lines[MOST_LINES - 1 :] = [ChannelLine(label, Stroke(TONES["white"], DASHES[4]), rest)]
    return lines


def _added_by_name(analysis: Analysis, strokes: Sequence[Stroke]) -> list[ChannelLine]:
    """Channels of one name and one tone in several fixtures as one line."""
    channels = [c for f in analysis.setup.lit_fixtures for c in f.type.channels]
    members: dict[tuple[str, str], list[int]] = {}
    for i, (channel, stroke) in enumerate(zip(channels, strokes, strict=True)):
        members.setdefault((channel.name, stroke.colour), []).append(i)
    own = channel_strokes([channels[rows[0]] for rows in members.values()])
    return [
        ChannelLine(name if len(rows) == 1 else f"{name} ({len(rows)} fixtures)", stroke, tuple(rows))
        for ((name, _), rows), stroke in zip(members.items(), own, strict=True)
    ]


@drawn
def day_drawing(analysis: Analysis, days: Sequence[SiteDay], unit: LengthUnit) -> Drawing:
    """PPFD through the day, each channel and the total, one panel a site on one scale."""
    receivers = [day.receiver for day in days]
    title = _range_title(analysis, receivers)
    lead = DAY_LEAD if analysis.uncertainty is None else DAY_LEAD + INTERVAL_LEAD
    sheet, panels = stacked_sheet(title, lead, [PANEL_IN] * len(days), CLOCK, PPFD)
    ends = [end for r in receivers for end in _peak_interval(analysis, r)]
    top = max([*ends, *(float(day.total.max(initial=0.0)) for day in days)], default=0.0) or 1.0
    lines = channel_lines(analysis, receivers)
    for panel, day in zip(panels, days, strict=True):
        panel.day_axis(top)
        shown = [(line.label, line.of(day.by_channel), line.stroke) for line in lines]
        _draw_by_height(panel, day.time_h, [*shown, ("total", day.total, TOTAL_STROKE)])
        _draw_peak_interval(panel, day, _peak_interval(analysis, day.receiver))
        panel.head(place_name(analysis, day.receiver, unit), _day_words(analysis, day.receiver))
    words = "; ".join(f"{literal(day.name)}: {_day_words(analysis, day.receiver)}" for day in days)
    return sheet.drawing("days", f"{title}. {words}.")


def _draw_by_height(
    panel: Panel, time_h: FloatArray, lines: Sequence[tuple[str, FloatArray, Stroke]]
) -> None:
    """The lines that give light, and beside the panel their names and peaks, the highest on top."""
    lit = sorted((line for line in lines if line[1].max(initial=0.0) > 0), key=lambda line: line[1].max())
    for _, values, stroke in lit:
        panel.line(time_h, values, stroke)
    panel.key([(label, number(float(values.max())), stroke) for label, values, stroke in reversed(lit)])


def _peak_interval(analysis: Analysis, receiver: int) -> tuple[float, ...]:
    """Both ends of the peak's 95 % interval; none where it is not known."""
    known = analysis.uncertainty
    return () if known is None else tuple(float(x) for x in known.peak_ppfd[receiver])


def _draw_peak_interval(panel: Panel, day: SiteDay, interval: tuple[float, ...]) -> None:
    """A bar at the time of the peak, with caps; midway through a plateau."""
    total = day.total
    if not interval or not total.max(initial=0.0) > 0:
        return
    at_peak = day.time_h[total >= total.max() * (1 - 1e-9)]
    middle = 0.5 * float(at_peak[0] + at_peak[-1])
    panel.axes.plot([middle, middle], interval, color=INK, linewidth=1.1, marker="_", markersize=7, zorder=6)


def place_name(analysis: Analysis, receiver: int, unit: LengthUnit) -> str:
    """A site and its depth above its panel."""
    point = analysis.light_field.receivers[receiver]
    return f"{fitted(point.name, 2.6, TEXT_PT, bold=True)}, {length(point.depth_m, unit)} {unit} deep"


def _day_words(analysis: Analysis, receiver: int) -> str:
    dose = analysis.dose
    if not dose.peak_ppfd[receiver] > 0:
        return "no light"
    return (
        f"{number(float(dose.dli[receiver]))} {DLI_UNIT_TYPESET}, "
        f"peak {number(float(dose.peak_ppfd[receiver]))} {PPFD_UNIT_TYPESET}, "
        f"lit {hours(float(dose.photoperiod_h[receiver]))} h"
    )


def _range_title(analysis: Analysis, receivers: Sequence[int]) -> str:
    doses = sorted(float(analysis.dose.dli[r]) for r in receivers)
    if not doses or doses[-1] == 0:
        return f"No light at {count(len(doses), 'site')}"
    if len(doses) == 1:
        return f"{number(doses[0])} {DLI_UNIT_TYPESET} in a day"
    return f"From {number(doses[0])} to {number(doses[-1])} {DLI_UNIT_TYPESET} in a day at {len(doses)} sites"


@drawn
def schedule_drawing(analysis: Analysis) -> Drawing:
    """Levels through the day, one panel a lit fixture."""
    fixtures = analysis.setup.lit_fixtures
    shown = [(fixture, _lit(fixture)) for fixture in fixtures[:MOST_FIXTURES]]
    title = "; ".join(f"{literal(fixture.name)} {_hours_words(lit)}" for fixture, lit in shown)
    rest = len(fixtures) - len(shown)
    lead = LEVELS_LEAD + (f" {count(rest, 'more fixture')} in the tables." if rest else "")
    heights = [max(PANEL_IN, len(lit) * LINE_IN) for _, lit in shown]
    sheet, panels = stacked_sheet(title, lead, heights, CLOCK, "level [%]")
    top = 100 * max((_highest(channel) for _, lit in shown for channel in lit.values()), default=1.0)
    for panel, (fixture, lit) in zip(panels, shown, strict=True):
        panel.day_axis(top)
        strokes = dict(
            zip((c.name for c in fixture.type.channels), channel_strokes(fixture.type.channels), strict=True)
        )
        for name, channel in lit.items():
            for time_h, level in channel.on_one_day():
                panel.line(time_h, 100 * level, strokes[name])
        ranked = sorted(lit, key=lambda name: -_highest(lit[name]))
        panel.key([(name, f"{percent_words(_highest(lit[name]))} %", strokes[name]) for name in ranked])
        panel.head(fitted(fixture.name, 2.6, TEXT_PT, bold=True), _hours_words(lit))
    words = " ".join(_highest_words(fixture) for fixture, _ in shown)
    return sheet.drawing("schedule", f"{title}. {words}")


def _lit(fixture: Fixture) -> dict[str, ChannelProgramme]:
    """The channels that shine, in the order of the fixture's file."""
    programme = fixture.programme.channels
    names = [c.name for c in fixture.type.channels if c.name in programme]
    return {name: programme[name] for name in names if programme[name].level.max() > 0}


def _highest(channel: ChannelProgramme) -> float:
    return float(channel.level.max())


def _hours_words(lit: dict[str, ChannelProgramme]) -> str:
    if not lit:
        return "stays dark"
    start = min(float(channel.time_h[0]) for channel in lit.values())
    end = max(float(channel.time_h[-1]) for channel in lit.values())
    return f"runs {clock(start)} to {clock(end)}"


def _highest_words(fixture: Fixture) -> str:
    levels = [
        f"{literal(name)} up to {percent_words(_highest(channel))} %"
        for name, channel in fixture.programme.channels.items()
    ]
    return f"{literal(fixture.name)}: {', '.join(levels) or 'no programme'}."
