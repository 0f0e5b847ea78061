"""The programme as a picture and as rows: levels of every channel through the day, fixture by fixture."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lightdose.model.fixture import ChannelProgramme, Fixture
from lightdose.model.results import Analysis
from lightdose.present.figures.canvas import Drawing, drawn, fitted
from lightdose.present.figures.day import finish_panels, label_ends, panel_title, plot_line, stacked_panels
from lightdose.present.figures.style import TEXT_PT, channel_strokes
from lightdose.present.labels import clock, count, literal
from lightdose.quantities import HOURS_PER_DAY

LEAD = "Levels as set on the fixture, in percent, before its dimming curve. Straight between the points."
MOST_FIXTURES = 4


@dataclass(frozen=True)
class ProgrammeRow:
    """One moment of a programme, and the level of every channel that has a point there, in percent."""

    time: str
    percents: tuple[str, ...]


def programme_rows(fixture: Fixture) -> list[ProgrammeRow]:
    """The points of a fixture's programme in the order of time; a jump is two rows at one time."""
    names = [c.name for c in fixture.type.channels]
    cells: dict[tuple[float, bool], dict[str, str]] = {}
    for name, channel in fixture.programme.channels.items():
        for i, (time, level) in enumerate(zip(channel.time_h, channel.level, strict=True)):
            second = i > 0 and bool(channel.time_h[i - 1] == time)
            cells.setdefault((float(time), second), {})[name] = percent_words(float(level))
    return [
        ProgrammeRow(clock(moment[0]), tuple(cells[moment].get(name, "") for name in names))
        for moment in sorted(cells)
    ]


def percent_words(level: float) -> str:
    """A level in percent to two decimals at most: "12.8", "55"."""
    return f"{round(100 * level, 2) + 0.0:g}"


def schedule_drawing(analysis: Analysis) -> Drawing:
    """Levels through the day, one panel a lit fixture."""
    return drawn(lambda: _draw(analysis))


def _draw(analysis: Analysis) -> Drawing:
    fixtures = analysis.setup.lit_fixtures
    shown = fixtures[:MOST_FIXTURES]
    title = "; ".join(f"{literal(f.name)} {_words(f)}" for f in shown)
    rest = len(fixtures) - len(shown)
    lead = LEAD + (f" {count(rest, 'more fixture')} in the tables." if rest else "")
    figure, panels = stacked_panels(title, lead, len(shown))
    for axes, fixture in zip(panels, shown, strict=True):
        labels = []
        strokes = channel_strokes(fixture.type.channels)
        for channel, stroke in zip(fixture.type.channels, strokes, strict=True):
            programme = fixture.programme.channels.get(channel.name)
            if programme is None or not programme.level.max() > 0:
                continue
            level = 100 * programme.level
            for time, part in _on_one_day(programme.time_h, level):
                plot_line(axes, time, part, stroke)
            last = int(np.flatnonzero(level >= level.max() * (1 - 1e-9))[-1])
            at = float(programme.time_h[last])
            at -= HOURS_PER_DAY if at > HOURS_PER_DAY else 0.0
            highest = percent_words(float(programme.level.max()))
            labels.append((f"{channel.name}, {highest} %", stroke, at, float(level[last])))
        axes.set_xlim(0, HOURS_PER_DAY)
        axes.set_ylim(0, 1.08 * _highest(shown))
        axes.set_xticks(range(0, 25, 3), [f"{h:02d}:00" for h in range(0, 25, 3)])
        label_ends(axes, labels)
        panel_title(axes, fitted(fixture.name, 2.6, TEXT_PT, bold=True), _words(fixture))
    finish_panels(panels, "time of day [hh:mm]", "level [%]", "both")
    return Drawing("schedule", title, f"{title}. {_highest_words(shown)}", figure)


def _on_one_day(time_h: np.ndarray, level: np.ndarray) -> list[tuple[np.ndarray, np.ndarray]]:
    """A programme over midnight as the part before it and the part after it, on one clock."""
    if time_h[-1] <= HOURS_PER_DAY:
        return [(time_h, level)]
    before, after = time_h <= HOURS_PER_DAY, time_h >= HOURS_PER_DAY
    at_midnight = float(np.interp(HOURS_PER_DAY, time_h, level))
    return [
        (np.append(time_h[before], HOURS_PER_DAY), np.append(level[before], at_midnight)),
        (np.append(0.0, time_h[after] - HOURS_PER_DAY), np.append(at_midnight, level[after])),
    ]


def _lit(fixture: Fixture) -> list[ChannelProgramme]:
    return [c for c in fixture.programme.channels.values() if c.level.max() > 0]


def _highest(fixtures: tuple[Fixture, ...]) -> float:
    return 100 * max((float(c.level.max()) for f in fixtures for c in _lit(f)), default=1.0)


def _words(fixture: Fixture) -> str:
    lit = _lit(fixture)
    if not lit:
        return "stays dark"
    start, end = (clock(f(float(c.time_h[i]) for c in lit)) for f, i in ((min, 0), (max, -1)))
    return f"runs {start} to {end}"


def _highest_words(fixtures: tuple[Fixture, ...]) -> str:
    return " ".join(
        f"{literal(f.name)}: "
        + (
            ", ".join(
                f"{literal(name)} up to {percent_words(float(c.level.max()))} %"
                for name, c in f.programme.channels.items()
            )
            or "no programme"
        )
        + "."
        for f in fixtures
    )
