"""What a place gets in photons beside how bright it looks: lux misleads under blue light."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from lightdose.answers.blocks import Table
from lightdose.answers.field import Field, as_json, said, table
from lightdose.answers.words import PPFD_UNIT, number, percent
from lightdose.model.comparison import Appearance, LooksAndGets
from lightdose.model.results import Analysis

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


# fmt: off
LOOKS: Final = (
    said("site", "site", lambda look: look.place, kind="string", fold=True, at={"looks": 0}),
    said("gets", "gets", lambda look: look.ppfd_umol_m2_s, unit="umol m-2 s-1", at={"looks": 1}),
    said("looks", "looks", lambda look: rounded(look.lux), unit="lx", at={"looks": 2}),
    said("white", "white of equal photons", lambda look: rounded(look.white.lux), unit="lx", at={"looks": 3}),
    said("share", "so it looks", lambda look: percent(look.lux_share), unit="of that", at={"looks": 4}),
    said("xy", "CIE 1931 x, y", lambda look: "{:.3f}, {:.3f}".format(*look.appearance.chromaticity_xy),
         at={"looks": 5}),
    said("cct", "colour temperature", lambda look: look.appearance.cct_k, show=lambda k: f"{k:.0f} K",
         at={"looks": 6}),
)
APPEARANCE: Final = (
    Field("chromaticity_xy", "CIE 1931 x, y", lambda look: look.chromaticity_xy),
    Field("cct_k", "CCT", lambda look: look.cct_k, unit="K", what="null where it means nothing"),
    Field("duv", "Duv", lambda look: look.duv, what="distance from the white of that temperature"),
    Field("srgb", "swatch", lambda look: look.swatch.srgb, key="swatch.srgb", kind="string"),
    Field("approximate", "approximate", lambda _: True, key="swatch.approximate", kind="boolean"),
    Field("clipped", "clipped", lambda look: look.swatch.clipped, key="swatch.clipped", kind="boolean"),
)
# fmt: on


def looks_json(looks: LooksAndGets | None) -> dict[str, Any] | None:
    """What a place gets beside how it looks, at the time of its peak; None without light."""
    if looks is None:
        return None
    white = looks.white
    beside = {"name": white.name, "lux": white.lux, "lux_per_umol": white.lux_per_umol}
    return {
        "ppfd_umol_m2_s": looks.ppfd_umol_m2_s,
        "lux": looks.lux,
        **as_json(APPEARANCE, looks.appearance),
        "white_of_equal_ppfd": beside | as_json(APPEARANCE, white.appearance) | {"source": white.source},
    }


def brightest_looks(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> list[LooksAndGets]:
    """How the sites with light look, the brightest first."""
    sites = [place for place in looks[: len(analysis.setup.sites)] if place is not None]
    return sorted(sites, key=lambda place: -float(analysis.dose.dli[place.receiver]))


def looks_table(lit: Sequence[LooksAndGets]) -> Table:
    """Photons beside lux, and the white light that would bring as many photons."""
    white = f" White: {lit[0].white.name}, {lit[0].white.source}." if lit else ""
    note = f"A colour temperature stands only where it means something.{white}"
    return table("looks", "What each site gets, and how bright it looks at its peak", LOOKS, lit, note=note)


def looks_sentences(here: LooksAndGets) -> list[str]:
    """What a place gets beside how it looks, and why that misleads."""
    clipped = f"{CLIPPED[0].upper()}{CLIPPED[1:]}." if here.appearance.swatch.clipped else ""
    return [f"At {here.place}, {looks_sentence(here)} {NOTE}", f"{APPROXIMATE}. {clipped}".strip()]
