"""Fonts of figures and printed pages: ours, and for letters that it lacks those installed on this computer.

Names come in every script. DejaVu Sans, which is always there, has Latin, Greek, Cyrillic, Arabic and Hebrew
letters; for others the plainest upright font that has them is taken. Shaping and direction are matplotlib's.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from contextlib import contextmanager
from functools import cache, lru_cache
from typing import TYPE_CHECKING, Any, Final
from unicodedata import bidirectional, name

from lightdose.present.figures.fitting import FILES, fit

if TYPE_CHECKING:
    from matplotlib.figure import Figure
    from matplotlib.ft2font import FT2Font

FONT: Final = "DejaVu Sans"
ORDINARY: Final = ("Noto Sans", "Segoe UI", "Hiragino Sans", "Arial")
"""Taken before others that have a letter too: our choice."""

SPECIAL: Final = ("serif", "mono", "emoji", "symbol", "display", "math", "unifont", "condensed", "looped")
"""Words in the names of fonts that are taken last."""

LEFT_TO_RIGHT: Final = "\u200e"
"""Around a name that runs from right to left, so that the words after it stay where they belong."""

BOX: Final = "□"
SHOWN: Final = 12
"""Letters that a message names at most."""

_FAMILY: dict[str, str | None] = {}
"""Letters that were asked for -> the family that draws each; None where no installed font does."""


def uncovered(text: str) -> set[str]:
    """The letters of ``text`` that no installed font has; those that it has can be drawn from now on."""
    letters = set(text).difference("\n")  # a line break is not drawn
    for letter in letters.difference(_FAMILY):
        _FAMILY[letter] = FONT if _has(letter) else _installed_with(letter)
    return {letter for letter in letters if _FAMILY[letter] is None}


def boxed(text: str) -> str:
    """``text`` with a box for each letter that no installed font has."""
    gone = set() if text.isascii() else uncovered(text)
    return "".join(BOX if letter in gone else letter for letter in text) if gone else text


def missing_words() -> str:
    """What to tell of the letters so far that no installed font has; "" where every one was drawn."""
    letters = sorted(letter for letter, family in _FAMILY.items() if family is None)
    if not letters:
        return ""
    scripts = sorted({name(letter, "unknown").split()[0].lower() for letter in letters})
    more = f" and {len(letters) - SHOWN} more" if len(letters) > SHOWN else ""
    shown = " ".join(letters[:SHOWN])
    return f"no font on this computer has {shown}{more} ({', '.join(scripts)}): boxes stand for them"


def families() -> list[str]:
    """The families to draw with, in the order in which they are asked for a letter."""
    needed = set(_FAMILY.values())
    return [FONT, *(family for family, _ in _installed() if family in needed)] if len(needed) > 1 else [FONT]


def drawn_families() -> list[str]:
    """Those of a file; in a page the fonts of its reader draw what ours lacks."""
    return families() if fit() is FILES else [FONT]


def font(*, bold: bool, plain: bool = False) -> FT2Font:
    """The font for measuring, which asks the others for what it lacks; for plain letters ours alone."""
    if plain:
        return _own()[bold]
    return _joined(tuple(families()), "bold" if bold else "normal")


def held_apart(text: str) -> str:
    """``text`` with marks around it where it holds letters that run from right to left."""
    if text.isascii() or not any(bidirectional(letter) in ("R", "AL") for letter in text):
        return text
    bare = text.strip(LEFT_TO_RIGHT)
    return f"{LEFT_TO_RIGHT}{bare}{LEFT_TO_RIGHT}"


@lru_cache(maxsize=16)
def _joined(names: tuple[str, ...], weight: str) -> FT2Font:
    from matplotlib.font_manager import FontProperties, findfont, get_font

    return get_font([findfont(FontProperties(family=family, weight=weight)) for family in names])


@cache
def _own() -> tuple[FT2Font, FT2Font]:
    return _joined((FONT,), "normal"), _joined((FONT,), "bold")


def _has(letter: str) -> bool:
    """Whether our font has the letter, bold too."""
    return all(own.get_char_index(ord(letter)) for own in _own())


def _installed_with(letter: str) -> str | None:
    from matplotlib.font_manager import get_font

    for family, path in _installed():
        try:
            if get_font(path).get_char_index(ord(letter)):
                return family
        except (OSError, RuntimeError):  # gone, or broken
            continue
    return None


@cache
def _installed() -> tuple[tuple[str, Any], ...]:
    """Upright fonts with their files, the plainest first; what was installed since the last look is seen."""
    import matplotlib as mpl
    from matplotlib.font_manager import FontPath, findSystemFonts, fontManager

    known = {entry.fname for entry in fontManager.ttflist}
    for path in sorted(set(findSystemFonts()) - known):
        try:
            fontManager.addfont(path)
        except Exception:  # a file that is no font is passed over, as matplotlib does
            continue
    ours = mpl.get_data_path()
    entries = [e for e in fontManager.ttflist if e.style == "normal" and not e.fname.startswith(ours)]
    entries = [e for e in entries if "lastresort" not in e.name.replace(" ", "").lower()]
    best: dict[str, Any] = {}
    for entry in sorted(entries, key=_order):
        best.setdefault(entry.name, FontPath(entry.fname, entry.index))
    return tuple(best.items())


def _order(entry: Any) -> tuple[Any, ...]:
    from matplotlib.font_manager import weight_dict

    words: Iterable[str] = (word for word in SPECIAL if word in entry.name.lower())
    weight = weight_dict.get(entry.weight, entry.weight)
    off = abs(weight - 400) if isinstance(weight, int) else 400
    plain = not entry.name.startswith(ORDINARY)
    return any(words), plain, off, entry.stretch != "normal", entry.fname, entry.index


@contextmanager
def as_drawn(figure: Figure, form: str = "png") -> Iterator[None]:
    """The figure with every text in all fonts that names need, and boxes where none has a letter.

    "text" keeps the letters, for a browser draws them with fonts of its own. Marks of direction are left out
    of a PDF, where matplotlib 3.11 gives them room: its names stand alone.
    """
    import warnings

    from matplotlib.text import Text

    ours, kept = families(), []
    for text in figure.findobj(Text):
        words = str(text.get_text())
        shown = words if form == "text" else boxed(words)
        shown = shown.replace(LEFT_TO_RIGHT, "") if form == "pdf" else shown
        text.set_fontfamily(ours)
        if shown != words:
            kept.append((text, words))
            text.set_text(shown)
    try:
        with warnings.catch_warnings():
            warnings.filterwarnings("ignore", message="Glyph .* missing from font")
            yield
    finally:
        for text, words in kept:
            text.set_text(words)
