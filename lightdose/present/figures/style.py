"""Colours, dashes and text sizes of figures.

The tones were searched for by us so that every pair differs by a CIEDE2000 distance of 15 or more for normal,
protan, deutan and tritan eyes (Machado, Oliveira & Fernandes 2009, IEEE TVCG 15:1291, severity 1), and every
one has a contrast of 3 or more on white (WCAG 2.2, 1.4.11). A test holds them to 10 and 3.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np

from lightdose.model.fixture import Channel
from lightdose.model.record import dataclass
from lightdose.model.results import DliState
from lightdose.model.spectrum import ChannelSpectrum, LedPeak, SpectralDistribution

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
"""A channel is drawn in the tone of its own light; white and mixed light in grey, the sum in black."""

TONE_EDGES_NM: Final = ((430, "violet"), (485, "blue"), (515, "cyan"), (565, "green"), (610, "amber"))
"""Upper peak wavelength of each tone. Our choice: where the names of the trade change."""

RED_EDGE_NM: Final = 700
BROAD_SHARE: Final = 0.6
"""Light with less than this share of its photons within 40 nm of its peak is white or mixed."""

PEAK_HALF_WIDTH_NM: Final = 40

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


TOTAL_STROKE: Final = Stroke(TONES["total"], "solid", 2.0)


def tone_of(spectrum: ChannelSpectrum) -> str:
    """The key in ``TONES`` of a channel's light, by its peak wavelength and how narrow it is."""
    tones = _part_tones(spectrum, 1.0)
    strongest = max(tones, key=lambda tone: tones[tone])
    return strongest if tones[strongest] >= BROAD_SHARE * sum(tones.values()) else "white"


def _part_tones(spectrum: ChannelSpectrum, share: float) -> dict[str, float]:
    """Tone -> share of the photons of a spectrum's parts."""
    if isinstance(spectrum, LedPeak):
        narrow = spectrum.fwhm_nm <= PEAK_HALF_WIDTH_NM * 2
        return {_tone_at(spectrum.peak_nm) if narrow else "white": share}
    if isinstance(spectrum, SpectralDistribution):
        return {_tabulated_tone(spectrum): share}
    total = sum(part_share for _, part_share in spectrum.parts)
    tones: dict[str, float] = {}
    for part, part_share in spectrum.parts:
        for tone, amount in _part_tones(part, share * part_share / total).items():
            tones[tone] = tones.get(tone, 0.0) + amount
    return tones


def _tabulated_tone(spectrum: SpectralDistribution) -> str:
    nodes = spectrum.wavelength_nm
    photons = spectrum.values * (nodes if spectrum.quantity == "power" else 1.0)
    amount = photons * np.gradient(nodes)
    peak = float(nodes[int(np.argmax(photons))])
    near = float(amount[np.abs(nodes - peak) <= PEAK_HALF_WIDTH_NM].sum())
    return _tone_at(peak) if near >= BROAD_SHARE * float(amount.sum()) else "white"


def _tone_at(peak_nm: float) -> str:
    for edge, tone in TONE_EDGES_NM:
        if peak_nm < edge:
            return tone
    return "red" if peak_nm < RED_EDGE_NM else "far red"


def channel_strokes(channels: Sequence[Channel]) -> list[Stroke]:
    """One stroke a channel: its tone, and a dash that no other channel of the tone has while they last."""
    used: dict[str, int] = {}
    strokes = []
    for channel in channels:
        tone = tone_of(channel.spectrum)
        turn = used.get(tone, 0)
        used[tone] = turn + 1
        strokes.append(Stroke(TONES[tone], DASHES[turn % len(DASHES)]))
    return strokes
