"""Text as the figures' font sets it: how wide it is, where it wraps, how a long name is shortened."""

from __future__ import annotations

import re
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Final

from lightdose.answers.words import literal

if TYPE_CHECKING:
    from matplotlib.ft2font import FT2Font

FONT: Final = "DejaVu Sans"
UNDRAWABLE: Final = "□"

CLOSE_SHARE, CLOSE_IN = 0.03, 0.15
"""Lines whose words add up to so nearly the width of the page are set to see whether they fit."""

_UNIT: Final = re.compile(r"(?<=\d) (?=%|nm\b|h\b|lx\b|µmol|mol\b)|(?<=mol) (?=m⁻²)|(?<=m⁻²) (?=[ds]⁻¹)")


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


def fitted_before(name: str, tail: str, width_in: float, size_pt: float) -> str:
    """A name and the words after it, not wider than ``width_in``; only the name is shortened."""
    return fitted(name, width_in - text_width_in(tail, size_pt), size_pt) + tail


def _joined_ends(name: str, longest: int) -> str:
    if len(name) <= longest:
        return name
    tail = longest // 3
    return f"{name[: longest - tail - 1].rstrip()}…{name[len(name) - tail :].lstrip()}"


@lru_cache(maxsize=4096)
def text_width_in(text: str, size_pt: float, *, bold: bool = False) -> float:
    """Width of a line of text. [inch]"""
    from matplotlib.ft2font import LoadFlags

    font = _font(bold)
    font.set_size(size_pt, 72)
    font.set_text(text, 0.0, flags=LoadFlags.NO_HINTING)
    return font.get_width_height()[0] / 64 / 72


@cache
def _font(bold: bool) -> FT2Font:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return get_font(findfont(FontProperties(family=FONT, weight="bold" if bold else "normal")))


def wrapped(text: str, width_in: float, size_pt: float, *, bold: bool = False) -> list[str]:
    """Lines of text not wider than ``width_in``; a number keeps its unit, a word that is wider is split."""
    lines = [""]
    for word in _UNIT.sub("\u00a0", drawable(text)).split(" "):
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
