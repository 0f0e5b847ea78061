""" "Looks and gets": what a place gets in photons, and what the eye makes of it in lux."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from lightdose.model.appearance import Appearance, LooksAndGets
from lightdose.model.results import Analysis
from lightdose.present.labels import PPFD_UNIT_TYPESET, literal, number, percent
from lightdose.present.report_tables import NONE, ROWS_AT_MOST, Head, PageTable

SWATCHES_AT_MOST: Final = 3


@dataclass(frozen=True)
class SwatchPair:
    """A place's light and white light of as many photons, as a screen shows their colours at best."""

    place: str
    key: int
    own: str
    white: str
    words: str


def looks_table(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> PageTable:
    """Photons beside lux, and the white light that would bring as many photons."""
    lit = _brightest_sites(analysis, looks)
    white = lit[0].white if lit else None
    rows = tuple(
        (
            literal(place.place),
            number(place.ppfd_umol_m2_s),
            number(place.lux),
            number(place.white.lux),
            percent(place.lux_share),
            "{:.3f}, {:.3f}".format(*place.appearance.chromaticity_xy),
            _temperature(place.appearance),
        )
        for place in lit[:ROWS_AT_MOST]
    )
    name = literal(white.name) if white else "white"
    return PageTable(
        "table-looks",
        "What each site gets, and how bright it looks at its peak",
        (
            Head("Site", number=False),
            Head("gets", PPFD_UNIT_TYPESET),
            Head("looks", "lx"),
            Head(f"as many photons of {name} would look", "lx"),
            Head("so it looks", "of that"),
            Head("CIE 1931 x, y"),
            Head("colour temperature"),
        ),
        rows,
        "The eye is misled by blue: equal photons, and far fewer lux. A colour temperature stands only where it "
        f"means something. {literal(white.name)}: {literal(white.source)}."
        if white
        else "",
    )


def looks_swatches(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> list[SwatchPair]:
    """The colours of a few places, brightest first."""
    return [
        SwatchPair(
            literal(place.place),
            i,
            place.appearance.swatch.srgb,
            place.white.appearance.swatch.srgb,
            _swatch_words(place),
        )
        for i, place in enumerate(_shown(analysis, looks))
    ]


def _shown(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> list[LooksAndGets]:
    lit = _brightest_sites(analysis, looks)
    ends = (0, len(lit) // 2, len(lit) - 1) if lit else ()
    different = {lit[i].appearance.swatch.srgb: lit[i] for i in reversed(ends)}
    return list(reversed(different.values()))[:SWATCHES_AT_MOST]


def _brightest_sites(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> list[LooksAndGets]:
    sites = [place for place in looks[: len(analysis.setup.sites)] if place is not None]
    return sorted(sites, key=lambda place: -float(analysis.dose.dli[place.receiver]))


def _swatch_words(place: LooksAndGets) -> str:
    paler = (
        "; paler than the light itself, which no screen can show" if place.appearance.swatch.clipped else ""
    )
    return f"approximate, at the screen's full brightness{paler}"


def _temperature(appearance: Appearance) -> str:
    return NONE if appearance.cct_k is None else f"{appearance.cct_k:.0f} K"
