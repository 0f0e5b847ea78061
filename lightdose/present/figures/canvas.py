"""Figures laid out in inches: panels, labels that do not meet, files that come out the same each time."""

from __future__ import annotations

import io
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, Literal
from xml.sax.saxutils import escape

from lightdose.present.figures.style import INK, QUIET_INK, RULE, SMALL_PT, TEXT_PT, TITLE_PT
from lightdose.present.labels import literal

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure
    from matplotlib.ft2font import FT2Font

FigureFormat = Literal["svg", "png"]
PNG_DPI = 160
LINE_IN = 0.165
"""Height of a line of text of ``TEXT_PT``. [inch]"""

CLOSE_SHARE, CLOSE_IN = 0.03, 0.15
"""Lines whose words add up to so nearly the width of the page are set to see whether they fit."""

UNDRAWABLE = "□"
HEAD_TITLE, HEAD_LEAD = "head title", "head lead"
"""Labels of the texts of a figure's head."""

_SETTINGS: Any = {
    "font.family": "DejaVu Sans",
    "font.size": TEXT_PT,
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


@dataclass(frozen=True, eq=False)
class Drawing:
    """A figure with its file name, its title, and a sentence that states the finding with numbers."""

    name: str
    title: str
    description: str
    figure: Figure


@contextmanager
def drawing_settings() -> Iterator[None]:
    """The settings under which every figure is drawn and saved; nothing outside changes."""
    import matplotlib as mpl

    with mpl.rc_context():
        mpl.rcdefaults()
        mpl.rcParams.update(_SETTINGS)
        yield


def render(drawing: Drawing, form: FigureFormat) -> bytes:
    """The bytes of a figure's file; text is outlined, and two runs give the same bytes."""
    metadata: dict[str, Any] = {"Date": None, "Creator": None} if form == "svg" else {"Software": None}
    buffer = io.BytesIO()
    with drawing_settings():
        drawing.figure.savefig(buffer, format=form, dpi=PNG_DPI, metadata=metadata)
    return _with_words(buffer.getvalue(), drawing) if form == "svg" else buffer.getvalue()


def _with_words(svg: bytes, drawing: Drawing) -> bytes:
    """Title and description as the first children of the drawing, for readers that speak."""
    start = svg.index(b">", svg.index(b"<svg")) + 1
    words = f"\n <title>{escape(drawing.title)}</title>\n <desc>{escape(drawing.description)}</desc>"
    return svg[:start] + words.encode("ascii", "xmlcharrefreplace") + svg[start:]


def drawable(text: str) -> str:
    """A name with a box for each letter that the figures' font lacks."""
    font = _font(bold=False)
    return "".join(c if font.get_char_index(ord(c)) else UNDRAWABLE for c in literal(text))


def shortened(text: str, longest: int) -> str:
    """A drawable name of at most so many letters: its start and its end; tables hold it whole."""
    return _joined_ends(drawable(text), longest)


def fitted(text: str, width_in: float, size_pt: float, *, bold: bool = False) -> str:
    """A drawable name not wider than ``width_in``: its start and its end; tables hold it whole."""
    name = drawable(text)
    kept = min(len(name), 120)
    while kept > 2 and text_width_in(_joined_ends(name, kept), size_pt, bold=bold) > width_in:
        kept -= 1
    return _joined_ends(name, kept)


def _joined_ends(name: str, longest: int) -> str:
    if len(name) <= longest:
        return name
    tail = longest // 3
    return f"{name[: longest - tail - 1].rstrip()}…{name[len(name) - tail :].lstrip()}"


def new_figure(width_in: float, height_in: float) -> Figure:
    """An empty white figure; call within ``drawing_settings``."""
    from matplotlib.figure import Figure

    return Figure(figsize=(width_in, height_in), facecolor="white")


def panel(figure: Figure, left_in: float, top_in: float, width_in: float, height_in: float) -> Axes:
    """Axes whose upper left corner lies so far from the figure's upper left corner."""
    figure_width, figure_height = figure.get_size_inches()
    bottom = figure_height - top_in - height_in
    return figure.add_axes(
        (
            left_in / figure_width,
            bottom / figure_height,
            width_in / figure_width,
            height_in / figure_height,
        )
    )


def write_at(
    figure: Figure, x_in: float, top_in: float, text: str, size_pt: float = TEXT_PT, **style: Any
) -> float:
    """Write wrapped text below a height and return the height below it. [inch from the top]"""
    width, height = figure.get_size_inches()
    style.setdefault("color", INK)
    lines = wrapped(text, width - x_in - 0.15, size_pt, bold=style.get("weight") == "bold")
    for line in lines:
        figure.text(x_in / width, 1 - top_in / height, line, fontsize=size_pt, va="top", **style)
        top_in += LINE_IN * size_pt / TEXT_PT
    return top_in


def head_height(title: str, lead: str, width_in: float) -> float:
    """Height of the head that ``write_head`` writes. [inch]"""
    n_title = len(wrapped(title, width_in - 0.3, TITLE_PT, bold=True))
    n_lead = len(wrapped(lead, width_in - 0.3, TEXT_PT))
    return 0.15 + n_title * LINE_IN * TITLE_PT / TEXT_PT + 0.04 + n_lead * LINE_IN + 0.12


def write_head(figure: Figure, title: str, lead: str) -> None:
    """The finding in bold, and under it what is shown; a page sets both in its own type."""
    top = write_at(figure, 0.15, 0.15, title, TITLE_PT, weight="bold", label=HEAD_TITLE)
    write_at(figure, 0.15, top + 0.04, lead, color=QUIET_INK, label=HEAD_LEAD)


@lru_cache(maxsize=4096)
def text_width_in(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of a line of text as the figures' font sets it. [inch]"""
    from matplotlib.ft2font import LoadFlags

    font = _font(bold)
    font.set_size(size_pt, 72)
    font.set_text(text, 0.0, flags=LoadFlags.NO_HINTING)
    return font.get_width_height()[0] / 64 / 72


@cache
def _font(bold: bool) -> FT2Font:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return get_font(findfont(FontProperties(family="DejaVu Sans", weight="bold" if bold else "normal")))


def wrapped(text: str, width_in: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Lines of text not wider than ``width_in``; a word that is wider is split."""
    lines = [""]
    for word in drawable(text).split(" "):
        trial = f"{lines[-1]} {word}".lstrip()
        if _fits(trial, width_in, size_pt, bold):
            lines[-1] = trial
            continue
        if lines[-1]:
            lines.append("")
        for letter in word:
            if text_width_in(lines[-1] + letter, size_pt, bold=bold) > width_in:
                lines.append("")
            lines[-1] += letter
    return lines


def _fits(line: str, width_in: float, size_pt: float, bold: bool) -> bool:
    """Whether a line is not wider than ``width_in``; it is set as a whole, which is slow, if it is close."""
    rough = sum(_advance_in(word, size_pt, bold) for word in line.split(" "))
    if abs(rough - width_in) > max(CLOSE_SHARE * width_in, CLOSE_IN):
        return rough < width_in
    return text_width_in(line, size_pt, bold=bold) <= width_in


@lru_cache(maxsize=4096)
def _advance_in(word: str, size_pt: float, bold: bool) -> float:
    """Width of a word and the space after it."""
    return text_width_in(f"x{word} x", size_pt, bold=bold) - text_width_in("xx", size_pt, bold=bold)


def spread(wanted: Sequence[float], gap: float, low: float, high: float) -> list[float]:
    """Places as near to the wanted ones as a smallest gap between neighbours and two ends allow.

    When they do not fit at all they stand evenly between the ends.
    """
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    if len(order) > 1 and gap * (len(order) - 1) > high - low:
        gap = (high - low) / (len(order) - 1)
    places = [0.0] * len(wanted)
    floor = low
    for i in order:
        places[i] = max(wanted[i], floor)
        floor = places[i] + gap
    ceiling = high
    for i in reversed(order):
        places[i] = min(places[i], ceiling)
        ceiling = places[i] - gap
    return places


def quiet_grid(axes: Axes, axis: Literal["x", "y", "both"] = "both") -> None:
    """Thin rules behind the data."""
    axes.grid(True, axis=axis, color=RULE, linewidth=0.6)
    axes.set_axisbelow(True)
    axes.tick_params(labelsize=SMALL_PT, length=3)


def drawn(build: Callable[[], Drawing]) -> Drawing:
    """Run ``build`` under the settings of figures."""
    with drawing_settings():
        return build()
