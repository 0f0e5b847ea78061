"""Figures inside a page: small, with real text, no style attributes, and ids that no other figure has.

A page's content policy refuses style attributes, so each declaration becomes an attribute of its own. The
head of a figure is left out, since the page sets it as the figure's caption.
"""

from __future__ import annotations

import io
import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from html import escape
from typing import TYPE_CHECKING, Any, Final

import numpy as np
import numpy.typing as npt

from lightdose.model.record import FloatArray
from lightdose.present.figures.canvas import HEAD_LEAD, HEAD_TITLE, KEPT, Drawing, drawing_settings
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.style import ASCENT_EM, DESCENT_EM, GAP_EM, TEXT_PT, text_size_em

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.font_manager import FontProperties

IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]

PT_PER_IN: Final = 72
PX_PER_PT: Final = 4 / 3
LONG_PATH: Final = 200
"""Letters of a path from which a tenth of a point is fine enough."""

FLAT_PT: Final = 0.1
"""Points nearer than this to the line between their neighbours are left out."""

_CURVED: Final = re.compile(r"[^MLz\d\s.e-]")
_RUNS: Final = re.compile(r"M[^M]*")
_NUMBERS: Final = re.compile(r"-?\d+(?:\.\d+)?(?:e-?\d+)?")
_NUMBER: Final = re.compile(r"-?\d+\.\d+(?:e-?\d+)?")
_REFERENCE: Final = re.compile(r"url\(#([^)]*)\)")
_SHEET: Final = re.compile(r' d="[^"]*"(?: fill="#ffffff")')
"""One of the white sheets under figure and axes."""

_DEFAULTS: Final = frozenset(
    {("text-anchor", "start"), ("font-weight", "400"), ("opacity", "1"), ("stroke-opacity", "1")}
)
_OURS: Final = frozenset({"font-family", "font-style", "stroke-linejoin"})
"""What the page's own style sheet says for all figures."""

_PAINT: Final = ("fill", "stroke")


@dataclass(frozen=True)
class InlineFigure:
    """A drawing for a page: ``caption`` states its finding, ``lead`` what is shown; ``svg`` holds neither."""

    name: str
    caption: str
    lead: str
    svg: str


class _Names:
    """Short ids of one figure in the order of their use, such as "f3-1"."""

    def __init__(self, prefix: str) -> None:
        self._prefix = prefix
        self._known: dict[str, str] = {}

    def of(self, name: str) -> str:
        return self._known.setdefault(name, f"{self._prefix}-{len(self._known) + 1}")


def inline_figure(drawing: Drawing, prefix: str) -> InlineFigure:
    """The drawing as SVG inside a page; its ids begin with ``prefix``. Two runs give the same text."""
    figure = drawing.figure
    head = [text for text in figure.texts if text.get_label() in (HEAD_TITLE, HEAD_LEAD)]
    leads = [str(text.get_text()) for text in head if text.get_label() == HEAD_LEAD]
    for text in head:
        text.set_visible(False)
    inside = _drawn(figure, _Names(prefix))
    for text in head:
        text.set_visible(True)
    width, height = (float(side) * PT_PER_IN for side in figure.get_size_inches())
    top = _head_pt(figure, [float(text.get_position()[1]) for text in head])
    tall = height - top
    narrow = " narrow" if fit().narrow else ""
    lines = [
        f'<svg class="figure{narrow}" viewBox="0 {top:g} {width:g} {tall:g}" width="{width * PX_PER_PT:.0f}" '
        f'height="{tall * PX_PER_PT:.0f}" role="img" aria-labelledby="{prefix}-title {prefix}-desc">',
        f'<title id="{prefix}-title">{escape(drawing.title, quote=False)}</title>',
        f'<desc id="{prefix}-desc">{escape(drawing.description, quote=False)}</desc>',
        *inside,
        "</svg>",
    ]
    return InlineFigure(drawing.name, drawing.title, " ".join(leads), "\n".join(lines))


def _drawn(figure: Figure, names: _Names) -> list[str]:
    """What matplotlib draws, in lines of markup."""
    import matplotlib as mpl
    from matplotlib.backends import backend_svg

    width, height = (float(side) * PT_PER_IN for side in figure.get_size_inches())
    made: Any = backend_svg.RendererSVG
    was, figure.dpi = figure.dpi, PT_PER_IN
    try:
        with drawing_settings(), mpl.rc_context({"svg.fonttype": "none"}):
            renderer = made(width, height, io.StringIO(), metadata={"Date": None, "Creator": None})
            renderer.writer = written = _Markup(names)
            renderer.get_text_width_height_descent = _text_size
            renderer._get_font_height_metrics = _line_size
            figure.draw(renderer)
            renderer.finalize()
    finally:
        figure.dpi = was
    return written.lines


def _text_size(text: str, font: FontProperties, _: object) -> tuple[float, float, float]:
    """Width, height and descent as figures measure their words. [pt]"""
    size = font.get_size_in_points()
    width, height, descent = text_size_em(text, font.get_weight() == "bold")
    return size * width, size * height, size * descent


def _head_pt(figure: Figure, places: list[float]) -> float:
    """How much of the figure's top the head takes. [pt]"""
    if not places:
        return 0.0
    height = float(figure.get_size_inches()[1])
    return round(PT_PER_IN * ((1 - min(places)) * height) + 0.25 * TEXT_PT, 1)


def _line_size(font: FontProperties) -> tuple[float, float, float]:
    """Ascent, descent and gap of a line of text, whatever its letters. [pt]"""
    size = font.get_size_in_points()
    return size * ASCENT_EM, size * DESCENT_EM, size * GAP_EM


class _Markup:
    """Takes the elements that the SVG renderer writes, and keeps what a page needs of them.

    Groups that say nothing are left out, what they hold stays. A marker takes its paint from where it is
    used: a page's style sheet reaches there, but not into it.
    """

    def __init__(self, names: _Names) -> None:
        self.lines: list[str] = []
        self._names = names
        self._open: list[tuple[str, str, list[str]]] = []

    def start(self, tag: str, attrib: Mapping[str, str] | None = None, **extra: str) -> int:
        """Open an element; gives its depth."""
        attributes = self._attributes(tag, {**(attrib or {}), **extra})
        self._open.append((tag, attributes, self.lines))
        self.lines = []
        return len(self._open)

    def end(self, tag: str | None = None) -> None:
        """Close the element that was opened last."""
        (name, attributes, before), inner = self._open.pop(), self.lines
        self.lines = before
        if name == "g" and not attributes:
            before += inner
        elif inner:
            before += [f"<{name}{attributes}>", *inner, f"</{name}>"]
        elif name not in ("g", "defs"):
            before.append(f"<{name}{attributes}/>")

    def element(
        self, tag: str, text: str | None = None, attrib: Mapping[str, str] | None = None, **extra: str
    ) -> None:
        """A whole element, if there is anything to see."""
        attributes = self._attributes(tag, {**(attrib or {}), **extra})
        if tag == "path" and (extra.get("d") == "" or _SHEET.fullmatch(attributes)):
            return
        self.lines.append(
            f"<{tag}{attributes}>{escape(text, quote=False)}</{tag}>" if text else f"<{tag}{attributes}/>"
        )

    def close(self, depth: int) -> None:
        """All is written."""

    comment = data = close

    def flush(self) -> None:
        """Nothing waits."""

    def _attributes(self, tag: str, given: Mapping[str, str]) -> str:
        """Attributes as they stand in the tag."""
        kept: dict[str, str] = {}
        for name, value in given.items():
            if name == "style":
                kept |= {key: self._said(declared) for key, declared in _declared(value)}
            elif name == "id":
                if tag != "g":
                    kept["id"] = self._names.of(value)
                elif value == KEPT:
                    kept["class"] = KEPT
            elif name == "xlink:href":
                kept["href"] = f"#{self._names.of(value.removeprefix('#'))}"
            elif name == "d":
                kept["d"] = _path(value)
            elif value and not value.startswith("rotate(-0 "):
                kept[name] = self._said(_rounded(value, 2))
        if self._open and self._open[-1][0] == "defs":
            kept = {name: value for name, value in kept.items() if not name.startswith(_PAINT)}
        return "".join([f' {name}="{escape(value)}"' for name, value in kept.items()])

    def _said(self, value: str) -> str:
        """A value with references by our names."""
        return (
            _REFERENCE.sub(lambda found: f"url(#{self._names.of(found[1])})", value)
            if "#" in value
            else value
        )


@lru_cache(maxsize=4096)
def _declared(style: str) -> tuple[tuple[str, str], ...]:
    """The declarations of a style that a page does not make itself."""
    found = (
        tuple(map(str.strip, declaration.split(":", 1))) for declaration in style.split(";") if declaration
    )
    return tuple(
        (name, _rounded(value.removesuffix("px"), 2))
        for name, value in found
        if name not in _OURS and (name, value) not in _DEFAULTS
    )


def _path(d: str) -> str:
    """A path with no more points and digits than the eye can tell."""
    short = d
    if len(d) > LONG_PATH and not _CURVED.search(d):
        short = _thinned(_RUNS.findall(d))
    short = _rounded(" ".join(short.split()), 1 if len(d) > LONG_PATH else 2)
    return re.sub(r" ?([A-Za-z]) ?", r"\1", short)


def _thinned(runs: list[str]) -> str:
    """Lines without the points that lie on them as nearly as ``FLAT_PT``."""
    numbers = [_NUMBERS.findall(run) for run in runs]
    points = np.array([n for run in numbers for n in run], dtype=float).reshape(-1, 2)
    ends = np.cumsum([len(run) // 2 for run in numbers])
    kept = _corners(points, ends)
    found = []
    for run, first, last in zip(runs, (0, *ends[:-1]), ends, strict=True):
        start, *rest = (f"{x:.3f} {y:.3f}" for x, y in points[first:last][kept[first:last]].tolist())
        close = " z" if run.rstrip().endswith("z") else ""
        found.append(f"M {start} L {' '.join(rest)}{close}" if rest else f"M {start}")
    return " ".join(found)


def _corners(points: FloatArray, ends: IntArray) -> BoolArray:
    """Which points lines need, by the rule of Ramer 1972 and of Douglas & Peucker 1973.

    ``points`` (n, 2) are those of all lines one after the other, ``ends`` where each line ends. All parts of
    all lines are cut at once, each at its furthest point, until none is further away than ``FLAT_PT``.
    """
    needed = np.zeros(len(points), dtype=bool)
    needed[[0, *ends[:-1], *(ends - 1)]] = True
    while True:
        part = np.cumsum(needed) - 1
        at = np.flatnonzero(needed)
        first, last = at[part], at[np.minimum(part + 1, at.size - 1)]
        way, off = points[last] - points[first], points - points[first]
        length = np.hypot(*way.T)
        across = np.abs(off[:, 0] * way[:, 1] - off[:, 1] * way[:, 0])
        away = np.where(length > 0, across / np.where(length > 0, length, 1.0), np.hypot(*off.T))
        away[needed] = 0.0
        furthest = np.maximum.reduceat(away, at)
        far = np.flatnonzero((away > FLAT_PT) & (away == furthest[part]))
        if far.size == 0:
            return needed
        _, one = np.unique(part[far], return_index=True)
        needed[far[one]] = True


def _rounded(text: str, decimals: int) -> str:
    return _NUMBER.sub(lambda found: f"{round(float(found[0]), decimals) + 0.0:g}", text)
