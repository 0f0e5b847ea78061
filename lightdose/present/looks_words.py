"""What a place gets beside how it looks, in words: lux misleads under blue light."""

from __future__ import annotations

from typing import Final

from lightdose.model.appearance import Appearance, LooksAndGets
from lightdose.present.labels import PPFD_UNIT, number

DIM: Final = 0.67
BRIGHT: Final = 1.15
"""Shares of the lux of white light below and above which light looks dim or bright: our choice."""

APPROXIMATE: Final = (
    "Swatches are approximate: colour only, at the screen's full brightness, which no screen shows as it is"
)
CLIPPED: Final = "this light is more saturated than a screen can show (outside sRGB), so its swatch is paler"
NOTE: Final = (
    "Lux weighs light by the human eye, which hardly sees blue; corals count photons. "
    "Compare places by PPFD, not by lux or by eye."
)
"""Source of the weighting: V(lambda), CIE 018:2019."""


def looks_sentence(looks: LooksAndGets, ppfd_unit: str = PPFD_UNIT) -> str:
    """ "190 umol/m2/s measures 3,020 lx and looks dim; white light with the same photons ... 13,200 lx." """
    gets, white = f"{rounded(looks.ppfd_umol_m2_s)} {ppfd_unit}", looks.white
    return (
        f"{gets} of this light measures {rounded(looks.lux)} lx and {look_words(looks)}; white light "
        f"({white.name}) with the same photons would measure {rounded(white.lux)} lx."
    )


def look_words(looks: LooksAndGets) -> str:
    """How bright light looks beside white light of equal photons."""
    if looks.lux_share < DIM:
        return "looks dim"
    return "looks bright" if looks.lux_share > BRIGHT else "looks about as bright as white light"


def colour_text(look: Appearance) -> str:
    """Chromaticity, and the colour temperature where it means something: "x 0.155 y 0.053, CCT 6,600 K"."""
    x, y = look.chromaticity_xy
    text = f"x {x:.3f} y {y:.3f}"
    if look.cct_k is None:
        return f"{text}, no CCT (too far from white)"
    return f"{text}, CCT {rounded(look.cct_k)} K (Duv {look.duv:+.4f})"


def swatch_text(look: Appearance) -> str:
    """The screen colour with its caution: "#3000ff (approximate, clipped)"."""
    return f"{look.swatch.srgb} (approximate{', clipped' if look.swatch.clipped else ''})"


def rounded(value: float) -> str:
    """Three significant digits with a comma at thousands: "13,200"."""
    text = number(value)
    if value >= 1000:
        digits = len(str(round(value))) - 3
        return f"{round(value, -digits):,.0f}"
    return text
