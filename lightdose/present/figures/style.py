"""Colours, dashes and letters of figures.

The tones were searched for by us so that every pair differs by a CIEDE2000 distance of 15 or more for normal,
protan, deutan and tritan eyes (Machado, Oliveira & Fernandes 2009, IEEE TVCG 15:1291, severity 1), and every
one has a contrast of 3 or more on white (WCAG 2.2, 1.4.11). A test holds them to 10 and 3.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable
from functools import lru_cache, partial
from itertools import pairwise
from typing import TYPE_CHECKING, Any, Final
from unicodedata import category

from lightdose.answers.words import joined_ends
from lightdose.errors import literal
from lightdose.model.fixture import Channel
from lightdose.model.record import dataclass
from lightdose.model.results import DliState
from lightdose.model.spectrum import ChannelSpectrum, light_colour
from lightdose.present.figures import fonts

if TYPE_CHECKING:
    from matplotlib.figure import Figure

TONES: Final = {
    "violet": "#460873",
    "blue": "#0344dd",
    "cyan": "#2697b6",
    "green": "#175901",
    "amber": "#c08016",
    "red": "#bf384a",
    "far red": "#752e46",
    "white": "#817c7d",
    "total": "#0d0d0d",
}
"""A channel is drawn in the tone of its own light (``light_colour``); white in grey, the sum in black."""

Dash = str | tuple[float, tuple[float, ...]]
DASHES: Final[tuple[Dash, ...]] = (
    "solid",
    (0, (5, 1.5)),
    (0, (1.2, 1.2)),
    (0, (6, 1.5, 1.2, 1.5)),
    (0, (2.5, 1.2)),
    (0, (8, 1.5, 1.2, 1.5, 1.2, 1.5)),
)
"""Channels of one tone take these in turn."""

_PALE: Final = frozenset((TONES["cyan"], TONES["amber"], TONES["white"]))


def words_ink(colour: str) -> str:
    """The colour of words that belong to a line: the line's own where it is dark enough to be read."""
    return QUIET_INK if colour in _PALE else colour


STATE_MARKS: Final[dict[DliState, tuple[str, str]]] = {
    "far_below": ("D", TONES["total"]),
    "below": ("D", "white"),
    "within": ("o", TONES["blue"]),
    "above": ("D", "white"),
    "far_above": ("D", TONES["total"]),
    "not_judged": ("|", TONES["total"]),
}
"""Marker and its face: a disc inside the usual range, a diamond outside it, filled when far outside."""

INK: Final = TONES["total"]
QUIET_INK: Final = "#595959"
BAND_FILL: Final = "#9db4c8"
LIMIT_FILL: Final = "#e4e8ec"
RULE: Final = "#d5d5d5"

DARK: Final = {
    "#ffffff": "#14171a",
    TONES["total"]: "#ececec",
    QUIET_INK: "#b6bcc2",
    RULE: "#363c42",
    BAND_FILL: "#46637d",
    LIMIT_FILL: "#22272c",
    TONES["violet"]: "#908eff",
    TONES["blue"]: "#445ddd",
    TONES["cyan"]: "#1fdef9",
    TONES["green"]: "#747a27",
    TONES["amber"]: "#eece2b",
    TONES["red"]: "#f48e77",
    TONES["far red"]: "#bc3775",
    TONES["white"]: "#b59fae",
}
"""What every tone of figures becomes on the dark page; searched for in the same way as the tones."""

TITLE_PT: Final = 12.0
TEXT_PT: Final = 9.0
SMALL_PT: Final = 8.0


@dataclass(frozen=True)
class Stroke:
    """How a line is drawn."""

    colour: str
    dash: Dash
    width_pt: float = 1.6

    @property
    def style(self) -> dict[str, Any]:
        """The same in the words of matplotlib."""
        return {"color": self.colour, "linestyle": self.dash, "linewidth": self.width_pt}


TOTAL_STROKE: Final = Stroke(TONES["total"], "solid", 2.0)


def spectrum_strokes(spectra: Iterable[ChannelSpectrum]) -> list[Stroke]:
    """One stroke a light: its tone, and a dash that no other light of the tone has while they last."""
    used: Counter[str] = Counter()
    strokes = []
    for tone in map(light_colour, spectra):
        strokes.append(Stroke(TONES[tone], DASHES[used[tone] % len(DASHES)]))
        used[tone] += 1
    return strokes


def channel_strokes(channels: Iterable[Channel]) -> list[Stroke]:
    """The strokes of channels by their light."""
    return spectrum_strokes(channel.spectrum for channel in channels)


MEASURED_PT: Final = 720.0
"""Letters are measured once, so large that rounding to a 64th of a point does not matter."""

ASCENT_EM, DESCENT_EM, GAP_EM = 1556 / 2048, 492 / 2048, 410 / 2048
"""Of a line of text of our font, whatever its letters, and between two lines, as the font itself says."""

LAST_PLAIN: Final = "\u024f"
"""Letters up to this one are in our font, and stand for themselves."""

_PIECES: Final = re.compile(f"[\0-{LAST_PLAIN}]?[^\0-{LAST_PLAIN}]+|[\0-{LAST_PLAIN}]")
"""What is measured together: a plain letter, or a run of others, which may change one another's shape."""

_UNIT: Final = re.compile(r"(?<=\d) (?=%|nm\b|h\b|lx\b|µmol|mol\b)|(?<=mol) (?=m⁻²)|(?<=m⁻²) (?=[ds]⁻¹)")


def drawable(text: str) -> str:
    """A name as it is drawn: what steers the line as an escape, and its direction held."""
    if text.isascii():
        return literal(text)
    shown = fonts.LEFT_TO_RIGHT.join(map(literal, text.split(fonts.LEFT_TO_RIGHT)))
    fonts.uncovered(shown)
    return shown if fonts.LEFT_TO_RIGHT in shown else fonts.held_apart(shown)


def shortened(text: str, longest: int) -> str:
    """A drawable name of at most so many letters: its start and its end; tables hold it whole."""
    return joined_ends(drawable(text), longest)


def fitted(text: str, width_in: float, size_pt: float, *, bold: bool = False) -> str:
    """A drawable name not wider than ``width_in``: its start and its end; tables hold it whole."""
    name = drawable(text)
    kept = min(len(name), 120)
    while kept > 2 and text_width_in(joined_ends(name, kept), size_pt, bold=bold) > width_in:
        kept -= 1
    return joined_ends(name, kept)


def fitted_before(name: str, tail: str, width_in: float, size_pt: float) -> str:
    """A name and the words after it, not wider than ``width_in``; only the name is shortened."""
    return fitted(name, width_in - text_width_in(tail, size_pt), size_pt) + tail


def text_width_in(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of a line of text. [inch]"""
    return text_size_em(text, bold)[0] * size_pt / 72


@lru_cache(maxsize=16384)
def text_size_em(text: str, bold: bool) -> tuple[float, float, float]:
    """Width, height and descent in units of the size: unhinted letters grow in proportion.

    Only neighbours move one another, so a line is the sum of its pairs less what two of them share.
    """
    pieces = _PIECES.findall(text)
    own = [_set_em(piece, bold) for piece in pieces]
    pairs = [_set_em(pair, bold) for pair in map("".join, pairwise(pieces))]
    shared = own[1:-1] if pairs else []
    wide = sum(size[0] for size in pairs or own) - sum(size[0] for size in shared)
    descent = max((size[2] for size in own), default=0.0)
    return wide, max((high - low for _, high, low in own), default=0.0) + descent, descent


@lru_cache(maxsize=16384)
def _set_em(text: str, bold: bool) -> tuple[float, float, float]:
    """The same of a few letters, which are set as a whole."""
    from matplotlib.ft2font import LoadFlags

    plain = max(text) <= LAST_PLAIN
    font = fonts.font(bold=bold, plain=plain)
    font.set_size(MEASURED_PT, 72)
    font.set_text(text if plain else fonts.boxed(text), 0.0, flags=LoadFlags.NO_HINTING)
    per_em = 64 * MEASURED_PT
    wide, high = font.get_width_height()
    return wide / per_em, high / per_em, font.get_descent() / per_em


def wrapped(text: str, width_in: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Lines of text not wider than ``width_in``; a number keeps its unit, a word that is wider is split."""
    measure = partial(text_width_in, size_pt=size_pt, bold=bold)
    lines, wide = [""], 0.0
    for word in _UNIT.sub("\u00a0", drawable(text)).split(" "):
        end = lines[-1][-1:]
        grown = wide + measure(f"{end} {word}") - measure(end) if end else measure(word)
        if grown > width_in and end:
            lines.append("")
            grown = measure(word)
        if grown <= width_in:
            lines[-1] = f"{lines[-1]} {word}".lstrip()
        else:
            for letter in word:
                if measure(lines[-1] + letter) > width_in and not category(letter).startswith("M"):
                    lines.append("")
                lines[-1] += letter
            grown = measure(lines[-1])
        wide = grown
    return lines


def write_rule(figure: Figure, left_in: float, top_in: float, width_in: float, *, dark: bool = False) -> None:
    """A thin line across a column."""
    write_line(figure, left_in, top_in, width_in, Stroke(QUIET_INK if dark else RULE, "solid", 0.7))


def write_line(figure: Figure, left_in: float, top_in: float, width_in: float, stroke: Stroke) -> None:
    """A level piece of a line."""
    from matplotlib.lines import Line2D

    width, height = figure.get_size_inches()
    y, ends = 1 - top_in / height, (left_in / width, (left_in + width_in) / width)
    figure.add_artist(Line2D(ends, (y, y), **stroke.style))
