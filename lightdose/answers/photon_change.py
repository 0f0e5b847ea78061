"""How the photons of a place change, in words: how many times, by brightness, by hours, by colour."""

from __future__ import annotations

import math
from collections.abc import Callable
from typing import Final

from lightdose.answers.words import number
from lightdose.model.comparison import PlaceChange
from lightdose.model.results import Span

SAME: Final = 0.005
"""A ratio this near to 1 counts as no change in words."""


def factor(ratio: float) -> str:
    """A factor with two digits, three where it is near to 1: "1.8", "0.97"."""
    rounded = round(ratio, 2)
    if rounded < 1.1 or ratio >= 10:
        return cell_factor(ratio)
    return f"{ratio:.1f}"


def cell_factor(ratio: float) -> str:
    """A factor as tables and bars show it, all of a column to the same place: "1.80", "0.97"."""
    return number(ratio, 2) if ratio >= 10 or ratio < 0.1 else f"{ratio:.2f}"


def photon_words(change: PlaceChange) -> str:
    """The ratio of doses and its parts: "1.8 times the photons: 1.5 times as bright, 1.2 times as long"."""
    ratio, split = change.dli_ratio, change.split
    if ratio is None:
        return "dark under A" if change.after.dli_mol_m2_d > 0 else "dark under both"
    if ratio == 0:
        return "dark under B"
    if split.ln_intensity is None or split.ln_time is None:
        return f"{factor(ratio)} times the photons"
    brighter, longer = math.exp(split.ln_intensity), math.exp(split.ln_time)
    if max(abs(ratio - 1), abs(brighter - 1), abs(longer - 1)) < SAME:
        return "the same photons: as bright, same hours"
    write = factor if _multiply(ratio, brighter, longer) else cell_factor
    return (
        f"{write(ratio)} times the photons: {_times(brighter, 'as bright', 'as bright', write)}, "
        f"{_times(longer, 'as long', 'same hours', write)}"
    )


def _multiply(ratio: float, brighter: float, longer: float) -> bool:
    """Whether the short factors still give their product; if not, a reader who multiplies is puzzled."""
    if not all(0.1 <= x < 10 for x in (ratio, brighter, longer)):
        return True
    shown = math.prod(1.0 if abs(x - 1) < SAME else float(factor(x)) for x in (brighter, longer))
    return factor(shown) == factor(ratio)


def _times(ratio: float, words: str, same: str, write: Callable[[float], str]) -> str:
    return same if abs(ratio - 1) < SAME else f"{write(ratio)} times {words}"


def colour_factor(span: Span | None) -> str:
    """The ratio of usable shares with its span, "-" without one."""
    if span is None:
        return "-"
    middle, low, high = (cell_factor(math.exp(x)) for x in (span.default, span.low, span.high))
    return middle if low == high else f"{middle} ({low}-{high})"


def change_sentence(change: PlaceChange) -> str:
    """Photons first: "1.8 times the photons: 1.5 times as bright, 1.2 times as long; same colour"."""
    words, colour = photon_words(change), change.split.ln_colour
    if colour is None:
        return words
    if max(map(abs, (colour.default, colour.low, colour.high))) < SAME:
        return f"{words}, same colour"
    return f"{words}; colour by usable share {colour_factor(change.split.ln_colour)}, not growth"
