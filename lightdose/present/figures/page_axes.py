"""Axes of figures in pages: the parts of a scale are drawn at once, with one tick for all of its places.

matplotlib makes five objects for every tick of every scale, which takes longer than all else in a figure.
This module is loaded with the first figure of a page, so matplotlib stands at its head.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import nan
from typing import Any, Final

from matplotlib.artist import Artist
from matplotlib.axes import Axes
from matplotlib.axis import Axis, XAxis, YAxis
from matplotlib.ticker import FixedFormatter, FixedLocator

from lightdose.present.figures.style import ASCENT_EM, DESCENT_EM, text_size_em

CLOSE: Final = 1e-10
"""A tick so near an end of its scale, as a share of it, still lies on it."""


class _QuickAxis(Axis):
    """A scale with one tick, and none between the others."""

    @property
    def minorTicks(self) -> list[Any]:  # type: ignore[override] # noqa: N802 (matplotlib's name)
        """None, which takes no time to make."""
        return []

    def set_ticks(self, ticks: Any, labels: Any = None, *, minor: bool = False, **style: Any) -> Any:
        """Places of ticks, and their words; the scale grows to hold all of them."""
        places = [float(tick) for tick in ticks]
        if places:
            self.set_view_interval(min(places), max(places))
        self.set_major_locator(FixedLocator(places))
        if labels is not None:
            self.set_ticklabels(labels, **style)

    def set_ticklabels(self, labels: Any, *, minor: bool = False, fontdict: Any = None, **style: Any) -> Any:
        """Words of the ticks in their order."""
        self.set_major_formatter(FixedFormatter(list(labels)))
        if "fontsize" in style:
            self.set_tick_params(labelsize=style["fontsize"])

    def set_clip_path(self, path: Any, transform: Any = None) -> None:
        """The rules behind the data end with the panel."""
        Artist.set_clip_path(self, path, transform)

    def draw(self, renderer: Any) -> None:
        """Rules and ticks from end to end at once, words one by one, then the name of the scale."""
        if not self.get_visible():
            return
        places, words = self._shown()
        (tick,) = self.get_major_ticks(1)
        tick.set_clip_path(self.axes.patch)
        if places:
            self._spread(
                tick.gridline, [each for place in places for each in (place, place, nan)], (0.0, 1.0, nan)
            )
            self._spread(tick.tick1line, places, (0.0,))
            self._spread(tick.tick2line, places, (1.0,))
            for line in (tick.gridline, tick.tick1line, tick.tick2line):
                line.draw(renderer)
        for label in (tick.label1, tick.label2):
            if label.get_visible():
                for place, text in zip(places, words, strict=True):
                    self._move(label, place)
                    label.set_text(text)
                    label.draw(renderer)
        if self.label.get_text():
            self._place_label(tick, words)
            self.label.draw(renderer)
        self.stale = False

    def _shown(self) -> tuple[list[float], list[str]]:
        """Places of the ticks that lie on the scale, and their words."""
        places = [float(place) for place in self.get_majorticklocs()]
        words = self.get_major_formatter().format_ticks(places)
        low, high = sorted(self.get_view_interval())
        over = CLOSE * (high - low)
        kept = [(p, w) for p, w in zip(places, words, strict=True) if low - over <= p <= high + over]
        return [place for place, _ in kept], [word for _, word in kept]

    def _place_label(self, tick: Any, words: Sequence[str]) -> None:
        """Put the name of the scale beyond the words of its ticks."""
        figure: Any = self.get_figure(root=True)
        px_per_pt = figure.dpi / 72
        second = self.get_label_position() in ("top", "right")
        shown = (tick.label2 if second else tick.label1).get_visible() and any(words)
        size = tick.label1.get_size() if shown else 0.0
        room = size * self._depth_em(words) if shown else 0.0
        pad = tick.get_pad() + tick.get_tick_padding() if shown else 0.0
        self._beyond(px_per_pt * (pad + room + self.labelpad), second=second)

    def _spread(self, line: Any, along: list[float], across: tuple[float, ...]) -> None:
        """Put a line, or marks, at places along the scale; ``across`` goes round, from 0 to 1."""
        raise NotImplementedError

    def _move(self, label: Any, place: float) -> None:
        raise NotImplementedError

    def _depth_em(self, words: Sequence[str]) -> float:
        raise NotImplementedError

    def _beyond(self, away: float, *, second: bool) -> None:
        raise NotImplementedError


class _QuickX(_QuickAxis, XAxis):
    def _spread(self, line: Any, along: list[float], across: tuple[float, ...]) -> None:
        line.set_data(along, across * (len(along) // len(across)))

    def _move(self, label: Any, place: float) -> None:
        label.set_x(place)

    def _depth_em(self, words: Sequence[str]) -> float:
        """Height of the tallest words, in units of their size."""
        found = [text_size_em(word, False) for word in words if word]
        high = max([ASCENT_EM, *(height - descent for _, height, descent in found)])
        return high + max([DESCENT_EM, *(descent for *_, descent in found)])

    def _beyond(self, away: float, *, second: bool) -> None:
        box = self.axes.bbox
        self.label.set_y(box.y1 + away if second else box.y0 - away)


class _QuickY(_QuickAxis, YAxis):
    def _spread(self, line: Any, along: list[float], across: tuple[float, ...]) -> None:
        line.set_data(across * (len(along) // len(across)), along)

    def _move(self, label: Any, place: float) -> None:
        label.set_y(place)

    def _depth_em(self, words: Sequence[str]) -> float:
        """Width of the longest words, in units of their size."""
        return max(text_size_em(line, False)[0] for word in words for line in word.split("\n"))

    def _beyond(self, away: float, *, second: bool) -> None:
        box = self.axes.bbox
        self.label.set_x(box.x1 + away if second else box.x0 - away)


class PageAxes(Axes):
    """Axes with such scales, whose ends are set: what is drawn on them does not move them."""

    def _init_axis(self) -> None:
        self.xaxis = _QuickX(self, clear=False)
        self.yaxis = _QuickY(self, clear=False)
        for spine, axis in (
            ("bottom", self.xaxis),
            ("top", self.xaxis),
            ("left", self.yaxis),
            ("right", self.yaxis),
        ):
            self.spines[spine].register_axis(axis)

    def add_line(self, line: Any) -> Any:
        """A line that moves no scale."""
        return self.add_artist(line)

    def add_patch(self, p: Any) -> Any:
        """A shape that moves no scale."""
        return self.add_artist(p)
