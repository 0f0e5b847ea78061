"""The canvas of all figures: a sheet with its head, panels laid out in inches, and the marks they share."""

from __future__ import annotations

import io
import math
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from dataclasses import dataclass
from functools import wraps
from html import escape
from typing import TYPE_CHECKING, Any, Final, Literal, ParamSpec, TypeVar

from lightdose.model.record import FloatArray
from lightdose.model.results import DliState, Verdict
from lightdose.present.figures import fonts
from lightdose.present.figures.fitting import FILES, fit
from lightdose.present.figures.scales import ROUND_STEPS, EndLabel, spaced_ticks, spread
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    LIMIT_FILL,
    QUIET_INK,
    RULE,
    SMALL_PT,
    STATE_MARKS,
    TEXT_PT,
    TITLE_PT,
    TONES,
    Stroke,
    fitted,
    fitted_before,
    words_ink,
    wrapped,
)
from lightdose.quantities import BANDS

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FigureFormat = Literal["svg", "png"]
Points = FloatArray | Sequence[float]
MADE_BY: Final = "lightdose"
"""Stands in every file, so that a later result may take its place (``files.writing``)."""
PNG_DPI: Final = 160
MOST_FIGURES: Final = 5
"""Of one list; each takes a second and 20 MB, and what lies beyond stands in tables and CSV. Our choice."""

MARGIN_IN: Final = 0.15
LINE_IN: Final = 0.165
"""Height of a line of text of ``TEXT_PT``. [inch]"""
ASCENT: Final = 0.76
"""From the top of a line to the feet of its letters, in units of its size: whatever the script."""

STACK_WIDTH_IN, STACK_LEFT_IN, STACK_RIGHT_IN = 9.0, 0.85, 2.6
PANEL_IN, PANEL_GAP_IN = 1.75, 0.25
ROWS_WIDTH_IN, NAMES_IN, WORDS_IN, ROW_IN = 9.5, 2.5, 3.6, 0.27
AXIS_IN: Final = 0.6
"""Room below a panel for its scale and its name."""

HEAD_IN, BANDS_IN = 0.25, 0.18
"""Room above a panel for its name, and for the names of colour bands."""

NARROW_LEFT_IN, NARROW_RIGHT_IN, NARROW_SHARE = 0.55, 0.2, 0.75
"""Of a narrow figure: room beside its panels, and their height over that of wide ones."""

TICKS_IN, LABEL_IN, NARROW_ROW_IN = 0.24, 0.2, 0.68
"""Of a narrow figure: room below a panel for the numbers of its scale and for its name; height of a row."""

LEADER: Final[Any] = {
    "arrowstyle": "-",
    "color": QUIET_INK,
    "linewidth": 0.6,
    "shrinkA": 1,
    "shrinkB": 0,
    "relpos": (0.0, 0.5),
}
"""A hairline from a label to its point."""
HEAD_TITLE, HEAD_LEAD = "head title", "head lead"
"""Labels of the texts of a figure's head."""
KEPT: Final = "kept"
"""The id of what keeps its colours on a dark page, such as lines on a ground that does not change."""

_SETTINGS: Any = {
    "font.size": TEXT_PT,
    "text.color": INK,
    "text.parse_math": False,
    "text.hinting": "none",  # lines are as wide on the page as ``text_width_in`` says
    "axes.unicode_minus": False,
    "svg.fonttype": "path",
    "svg.hashsalt": "lightdose",
    "path.simplify": True,
    "axes.edgecolor": QUIET_INK,
    "axes.labelcolor": INK,
    "xtick.color": QUIET_INK,
    "ytick.color": QUIET_INK,
    "xtick.labelcolor": INK,
    "ytick.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
}
_settled: ContextVar[bool] = ContextVar("settled", default=False)
_CALLERS: Final[ContextVar[Iterator[Figure | None]]] = ContextVar("callers")
_P = ParamSpec("_P")
_T = TypeVar("_T")


@dataclass(frozen=True, eq=False)
class Drawing:
    """A figure with its file name, its title, and a sentence that states the finding with numbers."""

    name: str
    title: str
    description: str
    figure: Figure


@contextmanager
def drawing_settings() -> Iterator[None]:
    """The settings under which every figure is drawn and saved; nothing outside changes.

    Within themselves they cost nothing: who draws many figures enters them once.
    """
    import matplotlib as mpl

    if _settled.get():
        mpl.rcParams["font.family"] = fonts.drawn_families()  # names since then may need further ones
        yield
        return
    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        mpl.rcParams["font.family"] = fonts.drawn_families()
        settled = _settled.set(True)
        try:
            yield
        finally:
            _settled.reset(settled)


def drawn(build: Callable[_P, _T]) -> Callable[_P, _T]:
    """The same function under the settings of figures."""

    @wraps(build)
    def under_settings(*args: _P.args, **named: _P.kwargs) -> _T:
        with drawing_settings():
            return build(*args, **named)

    return under_settings


def render(drawing: Drawing, form: FigureFormat) -> bytes:
    """The bytes of a figure's file; text is outlined, and two runs give the same bytes."""
    if form == "png":
        return saved(drawing.figure, "png", {"Software": MADE_BY}, dpi=PNG_DPI)
    svg = saved(drawing.figure, "svg", {"Date": None, "Creator": MADE_BY})
    start = svg.index(b">", svg.index(b"<svg")) + 1
    # Title and description come first, for readers that speak.
    words = f"\n <title>{escape(drawing.title)}</title>\n <desc>{escape(drawing.description)}</desc>"
    return svg[:start] + words.encode("ascii", "xmlcharrefreplace") + svg[start:]


def saved(figure: Figure, form: str, metadata: dict[str, Any], **settings: Any) -> bytes:
    """The bytes of a file with every name in a font that has its letters; ``settings`` are matplotlib's."""
    import matplotlib as mpl

    buffer, dpi = io.BytesIO(), settings.pop("dpi", "figure")
    ours: Any = settings
    form_of_text = "text" if settings.get("svg.fonttype") == "none" else form
    with drawing_settings(), mpl.rc_context(ours), fonts.as_drawn(figure, form_of_text):
        figure.savefig(buffer, format=form, dpi=dpi, metadata=metadata)
    return buffer.getvalue()


def line_in(size_pt: float) -> float:
    """Height of one line of text. [inch]"""
    return LINE_IN * size_pt / TEXT_PT


def text_height_in(text: str, width_in: float, size_pt: float, *, bold: bool = False) -> float:
    """Height of wrapped text. [inch]"""
    return len(wrapped(text, width_in, size_pt, bold=bold)) * line_in(size_pt)


@contextmanager
def drawn_on(figure: Figure | None, page: int = 1) -> Iterator[None]:
    """Draw the figure of a page, counted from 1, on one of the caller's, which takes its size."""
    token = _CALLERS.set(iter([None] * (page - 1) + [figure]))
    try:
        yield
    finally:
        _CALLERS.reset(token)


def new_figure(width_in: float, height_in: float) -> Figure:
    """An empty white figure, or the caller's emptied; call within ``drawing_settings``."""
    from matplotlib.figure import Figure

    callers = next(_CALLERS.get(iter(())), None)
    if callers is None:
        return Figure(figsize=(width_in, height_in), facecolor="white")
    callers.clear()
    callers.set_size_inches(width_in, height_in)
    callers.set_facecolor("white")
    return callers


def write_text(
    figure: Figure, left_in: float, top_in: float, width_in: float, text: str, size_pt: float, **style: Any
) -> float:
    """Write wrapped text in a column and return the height below it. [inch from the top]"""
    style.setdefault("color", INK)
    width, height = figure.get_size_inches()
    for line in wrapped(text, width_in, size_pt, bold=style.get("weight") == "bold"):
        at = 1 - (top_in + ASCENT * size_pt / 72) / height
        figure.text(left_in / width, at, line, fontsize=size_pt, va="baseline", **style)
        top_in += line_in(size_pt)
    return top_in


class Sheet:
    """A figure under its head: the finding in bold, and under it what is shown.

    A page sets both in its own type. ``top_in`` is where the head ends; places are in inches from the upper
    left corner.
    """

    def __init__(self, title: str, lead: str, width_in: float, below_in: float, gap_in: float = 0.0) -> None:
        room = width_in - 2 * MARGIN_IN
        top = MARGIN_IN + text_height_in(title, room, TITLE_PT, bold=True) + 0.04
        self.title, self.width_in = title, width_in
        self.top_in = top + text_height_in(lead, room, TEXT_PT) + 0.12 + gap_in
        self.figure = new_figure(width_in, self.top_in + below_in)
        self.write(MARGIN_IN, title, TITLE_PT, weight="bold", label=HEAD_TITLE)
        self.write(top, lead, color=QUIET_INK, label=HEAD_LEAD)

    def write(
        self, top_in: float, text: str, size_pt: float = TEXT_PT, left_in: float = MARGIN_IN, **style: Any
    ) -> float:
        """Write text over the width of the sheet and return the height below it."""
        room = self.width_in - left_in - MARGIN_IN
        return write_text(self.figure, left_in, top_in, room, text, size_pt, **style)

    def panel(
        self, left_in: float, top_in: float, width_in: float, height_in: float, right_in: float = 0.0
    ) -> Panel:
        """A panel whose upper left corner lies so far from that of the sheet."""
        return Panel.on(self.figure, left_in, top_in, width_in, height_in, right_in)

    def drawing(self, name: str, description: str) -> Drawing:
        """The finished figure."""
        return Drawing(name, self.title, description, self.figure)


def pages(rows: Sequence[_T], size: int) -> list[tuple[str, Sequence[_T]]]:
    """Rows on as many figures as they need, up to ``MOST_FIGURES``, each with the end of its file's name."""
    shown = range(0, min(len(rows), MOST_FIGURES * size), size)
    return [(f"-{i // size + 1}" if len(shown) > 1 else "", rows[i : i + size]) for i in shown]


def row_sheet(
    title: str,
    lead: str,
    names: Sequence[str],
    x_label: str,
    *,
    words_in: float = WORDS_IN,
    row_in: float = ROW_IN,
    gap_in: float = 0.0,
) -> tuple[Sheet, Panel]:
    """One panel with a named row a thing, and room for words to its right; if narrow both are in the row."""
    if fit().narrow:
        height = len(names) * NARROW_ROW_IN
        sheet = Sheet(title, lead, fit().map_in, height + AXIS_IN)
        panel = sheet.panel(MARGIN_IN, sheet.top_in, fit().map_in - 2 * MARGIN_IN, height)
        panel.name_rows([name.replace("\n", " ") for name in names])
        panel.axes.set_xlabel(x_label, fontsize=TEXT_PT)
        return sheet, panel
    height = len(names) * row_in
    sheet = Sheet(title, lead, ROWS_WIDTH_IN, height + AXIS_IN, gap_in)
    panel = sheet.panel(NAMES_IN, sheet.top_in, ROWS_WIDTH_IN - NAMES_IN - words_in, height, words_in)
    panel.name_rows(names)
    panel.axes.set_xlabel(x_label, fontsize=TEXT_PT)
    return sheet, panel


def row_name(name: str) -> str:
    """A name as wide as the room before a row allows."""
    return fitted(name, NAMES_IN - 0.3, TEXT_PT)


def stacked_sheet(
    title: str,
    lead: str,
    heights_in: Sequence[float],
    x_label: str,
    y_label: str,
    *,
    right_in: float = STACK_RIGHT_IN,
    above_in: float = HEAD_IN,
    grid: Literal["y", "both"] = "both",
    keys: Sequence[int] = (),
) -> tuple[Sheet, list[Panel]]:
    """Panels below one another; they share the scale under the last, and each has words above it.

    ``keys`` tells how many lines of a key a narrow figure shows below each panel.
    """
    if fit().narrow:
        return _narrow_stack(title, lead, heights_in, (x_label, y_label), above_in, grid, keys)
    gap = PANEL_GAP_IN + above_in
    below = sum(heights_in) + gap * (len(heights_in) - 1) + AXIS_IN
    sheet = Sheet(title, lead, STACK_WIDTH_IN, below, above_in)
    panels: list[Panel] = []
    width, top = STACK_WIDTH_IN - STACK_LEFT_IN - right_in, sheet.top_in
    for height in heights_in:
        panel = sheet.panel(STACK_LEFT_IN, top, width, height, right_in)
        panel.grid(grid)
        panel.axes.set_ylabel(y_label, fontsize=SMALL_PT)
        panel.axes.tick_params(labelbottom=len(panels) == len(heights_in) - 1)
        panels.append(panel)
        top += height + gap
    if panels:
        panels[-1].axes.set_xlabel(x_label, fontsize=TEXT_PT)
    return sheet, panels


def _narrow_stack(
    title: str,
    lead: str,
    heights_in: Sequence[float],
    labels: tuple[str, str],
    above_in: float,
    grid: Literal["y", "both"],
    keys: Sequence[int],
) -> tuple[Sheet, list[Panel]]:
    """The same with words above in two more lines, a scale under each panel, and its key below that."""
    wide, above = fit().map_in, above_in + 2 * LINE_IN
    heights = [NARROW_SHARE * height for height in heights_in]
    below = [TICKS_IN + key_height_in(n) for n in (keys or [0] * len(heights))]
    if below:
        below[-1] += LABEL_IN
    sheet = Sheet(title, lead, wide, sum(heights) + sum(below) + above * (len(heights) - 1) + 0.05, above)
    panels: list[Panel] = []
    top = sheet.top_in
    for height, under in zip(heights, below, strict=True):
        room = wide - NARROW_LEFT_IN - NARROW_RIGHT_IN
        panel = sheet.panel(NARROW_LEFT_IN, top, room, height, NARROW_RIGHT_IN)
        panel.grid(grid)
        panel.axes.set_ylabel(labels[1], fontsize=SMALL_PT)
        panels.append(panel)
        top += height + under + above
    if panels:
        panels[-1].axes.set_xlabel(labels[0], fontsize=TEXT_PT)
    return sheet, panels


def key_height_in(entries: int) -> float:
    """Height of a key of two columns below a panel. [inch]"""
    return -(-entries // 2) * LINE_IN + (0.06 if entries else 0.0)


def _axes(figure: Figure, box: tuple[float, float, float, float]) -> Axes:
    """Axes within a figure; those of pages are drawn quicker, and not meant for anybody's changes."""
    if fit() is FILES:
        return figure.add_axes(box)
    from lightdose.present.figures.page_axes import PageAxes

    return figure.add_axes(box, axes_class=PageAxes)


@dataclass(frozen=True, eq=False)
class Panel:
    """Axes of known size, with the marks that figures share; ``right_in`` is room for words beside them."""

    axes: Axes
    width_in: float
    height_in: float
    right_in: float

    @classmethod
    def on(
        cls,
        figure: Figure,
        left_in: float,
        top_in: float,
        width_in: float,
        height_in: float,
        right_in: float = 0.0,
    ) -> Panel:
        """A panel whose upper left corner lies so far from the figure's upper left corner."""
        wide, high = figure.get_size_inches()
        bottom = high - top_in - height_in
        box = (left_in / wide, bottom / high, width_in / wide, height_in / high)
        return cls(_axes(figure, box), width_in, height_in, right_in)

    def grid(self, axis: Literal["x", "y", "both"] = "both") -> None:
        """Thin rules behind the data."""
        self.axes.grid(True, axis=axis, color=RULE, linewidth=0.6)
        self.axes.set_axisbelow(True)
        self.axes.tick_params(labelsize=SMALL_PT, length=3)

    def name_rows(self, names: Sequence[str]) -> None:
        """Rows from the top down, each with its name to its left."""
        self.axes.set_ylim(len(names) - 0.5, -0.5)
        self.grid("x")
        if fit().narrow:
            self.axes.set_yticks([])
            self.axes.spines["left"].set_visible(False)
            for row, name in enumerate(names):
                shown = fitted(name, self.width_in, TEXT_PT)
                self.note(0, row - 0.36, shown, (0, 0), xycoords=("axes fraction", "data"), fontsize=TEXT_PT)
            return
        self.axes.set_yticks(range(len(names)), names)
        self.axes.tick_params(axis="y", length=0, labelsize=TEXT_PT, pad=8)
        self.axes.spines["left"].set_visible(False)

    def log_axis(
        self, axis: Literal["x", "y"], low: float, high: float, steps: Sequence[Sequence[float]] = ROUND_STEPS
    ) -> None:
        """A log scale with the closest steps whose ticks stand apart."""
        ticks = spaced_ticks(low, high, self.width_in if axis == "x" else self.height_in, steps)
        self.axes.set(**{f"{axis}scale": "log", f"{axis}lim": (low, high)})
        scale = self.axes.xaxis if axis == "x" else self.axes.yaxis
        scale.set_ticks(ticks, [f"{tick:g}" for tick in ticks])
        self.axes.minorticks_off()

    def day_axis(self, top: float, hour: str = "{:02d}:00") -> None:
        """From midnight to midnight with a tick every three hours, and from nothing to over ``top``."""
        hours = range(0, 25, 3)
        self.axes.set(xlim=(0, 24), ylim=(0, 1.08 * top))
        if fit().narrow:
            hour, label = "{}", self.axes.xaxis.label
            label.set_text(label.get_text().replace("hh:mm", "h"))
        self.axes.set_xticks(hours, [hour.format(h) for h in hours])

    def wavelength_axis(self, start_nm: int, end_nm: int, top: float) -> None:
        """Wavelengths with a tick every 50 nm, and from nothing to over ``top``."""
        self.axes.set(xlim=(start_nm, end_nm), ylim=(0, 1.08 * top))
        step = 100 if fit().narrow else 50
        self.axes.set_xticks(range(step * math.ceil(start_nm / step), end_nm + 1, step))

    def head(self, name: str, words: str = "", above_in: float = 0.0) -> None:
        """A name above the panel, and beside it what it shows; below the name in a narrow figure."""
        if fit().narrow:
            room = self.width_in + self.right_in - 0.05
            lines = wrapped(words, room, SMALL_PT)[:2] if words else []
            for n, (text, style) in enumerate(
                [(line, {"color": QUIET_INK}) for line in reversed(lines)]
                + [(fitted(name, room, TEXT_PT, bold=True), {"fontsize": TEXT_PT, "weight": "bold"})]
            ):
                up = 72 * (0.05 + above_in + n * LINE_IN)
                self.note(0, 1, text, (0, up), xycoords="axes fraction", va="bottom", **style)
            return
        title = self.axes.text(
            0,
            1 + (0.07 + above_in) / self.height_in,
            name,
            transform=self.axes.transAxes,
            fontsize=TEXT_PT,
            weight="bold",
            color=INK,
        )
        self.note(1, 0, words, (8, 0), xycoords=title, color=QUIET_INK, va="bottom")

    def note(self, x: float, y: float, text: str, offset_pt: tuple[float, float], **style: Any) -> None:
        """Small words beside a point."""
        kept: dict[str, Any] = {"fontsize": SMALL_PT, "color": INK, "va": "center"}
        self.axes.annotate(text, (x, y), xytext=offset_pt, textcoords="offset points", **kept | style)

    def beside(self, row: float, words: str, gap_pt: float = 8, **style: Any) -> None:
        """Small words to the right of a row, or at its foot in a narrow figure."""
        if fit().narrow:
            shown = fitted(words, self.width_in, SMALL_PT)
            style.pop("ha", None)
            self.note(0, row + 0.36, shown, (0, 0), xycoords=("axes fraction", "data"), **style)
            return
        self.note(1, row, words, (gap_pt, 0), xycoords=("axes fraction", "data"), **style)

    def line(self, x: Points, y: Points, stroke: Stroke, **style: Any) -> None:
        """A line as its stroke says."""
        kept: dict[str, Any] = {"solid_joinstyle": "round", "clip_on": False}
        self.axes.plot(x, y, **kept | stroke.style | style)

    def bar(self, row: float, low: float, high: float, height: float, fill: str, **style: Any) -> None:
        """A bar along a row."""
        self.axes.barh(row, high - low, left=low, height=height, color=fill, **style)

    def span(self, row: float, low: float, high: float, width_pt: float = 1.1) -> None:
        """A thin line along a row: from end to end of an interval."""
        self.axes.plot(
            (low, high), (row, row), color=INK, linewidth=width_pt, solid_capstyle="butt", zorder=4
        )

    def mark(self, x: float, y: float, marker: str, face: str, edge: str = INK, **style: Any) -> None:
        """One mark, never clipped."""
        self.marks([(x, y)], marker, face, edge, **style)

    def marks(
        self, places: Sequence[tuple[float, float]], marker: str, face: str, edge: str = INK, **style: Any
    ) -> None:
        """Marks that look alike."""
        kept: dict[str, Any] = {"markersize": 6.5, "markeredgewidth": 1.3, "clip_on": False, "zorder": 5}
        kept |= {"linestyle": "none", "marker": marker, "markerfacecolor": face, "markeredgecolor": edge}
        if places:
            self.axes.plot(*zip(*places, strict=True), **kept | style)

    def dose_mark(self, row: float, dose: float, state: DliState, **style: Any) -> None:
        """A disc within the usual range, a diamond outside it, filled when far outside."""
        marker, face = STATE_MARKS[state]
        edge = TONES["blue"] if state == "within" else INK
        self.mark(self.held(dose), row, marker, face, edge, **{"markersize": 7} | style)

    def range_bar(self, row: float, verdict: Verdict) -> None:
        """The usual range of a coral's group in dark, from floor to ceiling in light."""
        if verdict.band_dli is None:
            return
        low, high = map(self.held, verdict.band_dli)
        ceiling = math.inf if verdict.ceiling_dli is None else verdict.ceiling_dli
        self.bar(row, self.held(verdict.floor_dli or 0.0), self.held(ceiling), 0.34, LIMIT_FILL)
        self.bar(row, low, high, 0.52, BAND_FILL)

    def held(self, x: float) -> float:
        """A value brought to the nearer end of the scale if it lies beyond."""
        low, high = self.axes.get_xlim()
        return min(max(x, low), high)

    def label_ends(self, labels: Sequence[EndLabel]) -> None:
        """Words in the right margin, as level with their points as they fit, tied to them by hairlines.

        A narrow figure has them below the panel, a line each.
        """
        if fit().narrow:
            for n, label in enumerate(labels):
                x = (MARGIN_IN / 2 - NARROW_LEFT_IN) / self.width_in
                text = fitted(label.text, self.width_in + NARROW_LEFT_IN, SMALL_PT)
                style: dict[str, Any] = {"fontsize": SMALL_PT, "color": INK, "va": "center"}
                self.axes.text(x, self.below(n), text, transform=self.axes.transAxes, **style)
            return
        place = self.axes.transData + self.axes.transAxes.inverted()
        wanted = [float(place.transform((label.x, label.y))[1]) * self.height_in for label in labels]
        for label, at in zip(labels, spread(wanted, LINE_IN, 0.05, self.height_in - 0.05), strict=True):
            self.axes.annotate(
                label.text,
                (label.x, label.y),
                xytext=(1 + 0.26 / self.width_in, at / self.height_in),
                textcoords="axes fraction",
                va="center",
                fontsize=SMALL_PT,
                color=words_ink(label.colour),
                arrowprops=LEADER,
            )

    def key(self, entries: Sequence[tuple[str, str, Stroke]]) -> None:
        """Names with a piece of their line and a figure, in the right margin, or below a narrow panel."""
        if fit().narrow:
            self._key_below(entries)
            return
        style: dict[str, Any] = {"fontsize": SMALL_PT, "color": INK, "va": "center"}
        for i, (label, figure, stroke) in enumerate(entries):
            y = 1 - (i + 0.5) * LINE_IN / self.height_in
            start, end, words, edge = (1 + x / self.width_in for x in (0.12, 0.5, 0.58, self.right_in - 0.15))
            self.line((start, end), (y, y), stroke, transform=self.axes.transAxes)
            name = fitted(label, self.right_in - 1.15, SMALL_PT)
            self.axes.text(words, y, name, transform=self.axes.transAxes, **style)
            self.axes.text(edge, y, figure, transform=self.axes.transAxes, ha="right", **style)

    def _key_below(self, entries: Sequence[tuple[str, str, Stroke]]) -> None:
        """The same in two columns below the scale."""
        style: dict[str, Any] = {"fontsize": SMALL_PT, "color": INK, "va": "center"}
        room = (self.width_in + NARROW_LEFT_IN) / 2
        rows = -(-len(entries) // 2)
        for i, (label, figure, stroke) in enumerate(entries):
            column, row = divmod(i, rows)
            left = column * (room + 0.05) - NARROW_LEFT_IN + MARGIN_IN / 2
            y = self.below(row)
            start, end, words = (at / self.width_in for at in (left, left + 0.27, left + 0.33))
            self.line((start, end), (y, y), stroke, transform=self.axes.transAxes)
            text = fitted_before(label, f" {figure}" if figure else "", room - 0.4, SMALL_PT)
            self.axes.text(words, y, text, transform=self.axes.transAxes, **style)

    def below(self, line: int) -> float:
        """Height of a line of words below the scale of a narrow panel, as a share of the panel's own."""
        named = LABEL_IN if self.axes.get_xlabel() else 0.0
        return -(TICKS_IN + named + 0.06 + (line + 0.5) * LINE_IN) / self.height_in

    def band_edges(self, start_nm: float) -> None:
        """Thin lines at the edges of colour bands, with their names above the panel."""
        for band in BANDS:
            for edge in (band.low_nm, band.high_nm):
                if edge > start_nm:
                    self.axes.axvline(edge, color=QUIET_INK, linewidth=0.6, linestyle=(0, (2, 2)), zorder=0)
            middle = (max(band.low_nm, start_nm) + band.high_nm) / 2
            words = f"{band.name} {band.low_nm:g}-{band.high_nm:g}"
            if fit().narrow:
                words = band.name.replace("far red", "far r.")
            style = {"fontsize": SMALL_PT - 1, "color": QUIET_INK, "ha": "center", "va": "baseline"}
            self.note(middle, 1, words, (0, 3), xycoords=("data", "axes fraction"), **style)
