""" "Looks and gets": what a place gets in photons, and what the eye makes of it in lux."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from lightdose.model.appearance import Appearance, LooksAndGets
from lightdose.model.results import Analysis
from lightdose.present.labels import PPFD_UNIT_TYPESET, literal, number, percent, typeset
from lightdose.present.looks_words import APPROXIMATE, CLIPPED, NOTE, looks_sentence, rounded
from lightdose.present.report_tables import NONE, ROWS_AT_MOST, Head, PageTable


@dataclass(frozen=True)
class SwatchPair:
    """A place's light and white light of as many photons, as a screen shows their colours at best."""

    place: str
    own: str
    white: str
    white_name: str


def looks_table(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> PageTable:
    """Photons beside lux, and the white light that would bring as many photons."""
    lit = _brightest_sites(analysis, looks)
    white = lit[0].white if lit else None
    rows = tuple(
        (
            literal(place.place),
            number(place.ppfd_umol_m2_s),
            rounded(place.lux),
            rounded(place.white.lux),
            percent(place.lux_share),
            "{:.3f}, {:.3f}".format(*place.appearance.chromaticity_xy),
            _temperature(place.appearance),
        )
        for place in lit[:ROWS_AT_MOST]
    )
    name = literal(white.name) if white else "white"
    source = f" White: {name}, {literal(white.source)}." if white else ""
    return PageTable(
        "table-looks",
        "What each site gets, and how bright it looks at its peak",
        (
            Head("Site", number=False),
            Head("gets", PPFD_UNIT_TYPESET),
            Head("looks", "lx"),
            Head("white of equal photons", "lx"),
            Head("so it looks", "of that"),
            Head("CIE 1931 x, y"),
            Head("colour temperature"),
        ),
        rows,
        "A colour temperature stands only where it means something." + source,
    )


def looks_words(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> list[str]:
    """What the brightest site gets beside how it looks, and why that misleads."""
    lit = _brightest_sites(analysis, looks)
    if not lit:
        return []
    here = lit[0]
    clipped = f"{CLIPPED[0].upper()}{CLIPPED[1:]}." if here.appearance.swatch.clipped else ""
    return [
        typeset(f"At {literal(here.place)}, {looks_sentence(here)} {NOTE}"),
        f"{APPROXIMATE}. {clipped}".strip(),
    ]


def looks_swatch(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> SwatchPair | None:
    """The colour of the brightest site, beside white light."""
    lit = _brightest_sites(analysis, looks)
    if not lit:
        return None
    here = lit[0]
    return SwatchPair(
        literal(here.place),
        here.appearance.swatch.srgb,
        here.white.appearance.swatch.srgb,
        literal(here.white.name),
    )


def _brightest_sites(analysis: Analysis, looks: Sequence[LooksAndGets | None]) -> list[LooksAndGets]:
    sites = [place for place in looks[: len(analysis.setup.sites)] if place is not None]
    return sorted(sites, key=lambda place: -float(analysis.dose.dli[place.receiver]))


def _temperature(appearance: Appearance) -> str:
    return NONE if appearance.cct_k is None else f"{appearance.cct_k:.0f} K"
