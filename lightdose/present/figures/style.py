"""Colours, dashes and text sizes of figures.

The tones were searched for by us so that every pair differs by a CIEDE2000 distance of 15 or more for normal,
protan, deutan and tritan eyes (Machado, Oliveira & Fernandes 2009, IEEE TVCG 15:1291, severity 1), and every
one has a contrast of 3 or more on white (WCAG 2.2, 1.4.11). A test holds them to 10 and 3.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from typing import Any, Final

from lightdose.model.fixture import Channel
from lightdose.model.record import dataclass
from lightdose.model.results import DliState
from lightdose.model.spectrum import ChannelSpectrum, light_colour

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
