"""The colour of light in words: of a mix, colour or dose, and photons beside how bright it looks."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Say, Section, Table
from lightdose.answers.field import Field, as_json, said, table
from lightdose.answers.photosynthesis import percent_span, times
from lightdose.answers.words import DLI_UNIT, PPFD_UNIT, count, number, percent
from lightdose.errors import literal
from lightdose.model.changes import ColourOrIntensity, EvidenceSide, IndexSpan
from lightdose.model.comparison import Appearance, LooksAndGets
from lightdose.model.results import Analysis
from lightdose.quantities import BANDS

DEFAULT_CURVE = "usable_mean"
NO_LIGHT = "Colour or intensity: no light of today reaches a place here, so there is nothing to compare."
NOT_GROWTH = (
    "The usable share is what symbionts use of the PPFD by nine published curves; it is not growth. What can "
    "be changed further is not yet what a coral answers to."
)
BOUNDED = (
    "At equal photons, published trials show smaller and less consistent effects of colour than of dose, as "
    "long as blue is present and red does not dominate; most of the sources were read as abstracts."
)
SIDES: tuple[tuple[EvidenceSide, str], ...] = (("for", "For"), ("against", "Against"))
NEARLY_ONE = 1.005
"""Below this ratio the colour counts as not to be changed at all."""


def colour_finding(record: ColourOrIntensity) -> str:
    """One sentence without its stop: which of the two can be changed more with these fixtures."""
    colour = record.all_mixes.ratio(DEFAULT_CURVE)
    dose = number(record.dose_ratio, 2)
    if colour is None or colour < NEARLY_ONE:
        return f"The colour of this light cannot be changed at equal photons; its dose can, {dose} times"
    ratio = number(colour, 3)
    if record.larger == "colour":
        return f"Here colour can be changed more than dose: usable share {ratio} times, dose {dose} times"
    return f"Here dose can be changed more than colour: dose {dose} times, usable share {ratio} times"


def colour_sentences(record: ColourOrIntensity | None) -> list[str]:
    """The whole answer, a line a thought; terminals, pages and hand-outs take their wording from here."""
    if record is None:
        return [NO_LIGHT]
    where = literal(record.place)
    if record.site != record.place:
        where += f" ({literal(record.site)})"
    quiet = f"{', '.join(record.warnings)}; our choice"
    return [
        f"Colour or intensity? {colour_finding(record)}.",
        f"Place: {where}, with today's peak of {number(record.peak_ppfd_umol_m2_s)} {PPFD_UNIT} held.",
        _span_sentence(record, record.all_mixes, f"Every mix of {count(record.channels, 'channel')}"),
        _span_sentence(record, record.without_warnings, f"Mixes without a warning ({quiet})"),
        _dose_sentence(record),
        NOT_GROWTH,
        BOUNDED,
        *evidence_lines(record),
    ]


def evidence_lines(record: ColourOrIntensity) -> list[str]:
    """Every finding with its side and its source."""
    return [
        f'{word} "photons matter more": {e.text} [{e.source}]'
        for side, word in SIDES
        for e in record.evidence
        if e.side == side
    ]


def _span_sentence(record: ColourOrIntensity, span: IndexSpan, name: str) -> str:
    if span.spans is None:
        return f"{name}: none, for {span.why_none}."
    low, high = span.spans[DEFAULT_CURVE]
    ratio = span.ratio(DEFAULT_CURVE)
    today = f"today {record.today_index[DEFAULT_CURVE]:.2f}"
    if ratio is not None and ratio < NEARLY_ONE:
        return f"{name}: usable share {low:.2f} whatever the levels: the colour cannot be changed."
    ratios = [r for r in map(span.ratio, span.spans) if r is not None]
    others = f"; by the other curves {times((min(ratios), max(ratios)))}" if ratios else ""
    factor = "-" if ratio is None else number(ratio, 3)
    text = f"{name}: usable share {low:.2f}-{high:.2f}, {factor} times{others}; {today}."
    if span is record.without_warnings and record.today_warnings:
        text += f" Today's mix is none of them: it lacks {', '.join(record.today_warnings)}."
    return text


def _dose_sentence(record: ColourOrIntensity) -> str:
    low, high = record.dose_range
    hours = "-".join(f"{h:g}" for h in record.hours_range)
    by_output, by_hours = (f"{most / least:g}" for least, most in (record.output_range, record.hours_range))
    return (
        f"Dose: {percent_span(record.output_range)} % of output in today's mix for {hours} h (our choice) "
        f"gives {number(low)}-{number(high)} {DLI_UNIT}, {number(record.dose_ratio, 2)} times, "
        f"{by_output} by output and {by_hours} by hours; today {number(record.today_dli)} at "
        f"{percent(record.today_output)} of output."
    )


NEARLY_ALL: Final = 0.9
MOSTLY: Final = 0.6
SHARED: Final = 0.15
"""From these shares of PPFD on a band gives the mix its name, or is named as a part of it: our choice."""

_BANDS: Final = {band.key: band for band in BANDS}
_VISIBLE: Final = ("blue", "green", "red")
DARK: Final = "no light"


def colour_name(shares: Mapping[str, float]) -> str:
    """The mix in a word or three: "nearly all blue", "mostly blue", "mixed, most of it green"."""
    first = _strongest(shares)
    if first is None:
        return DARK
    if shares[first] >= NEARLY_ALL:
        return f"nearly all {first}"
    return f"mostly {first}" if shares[first] >= MOSTLY else f"mixed, most of it {first}"


def mix_words(shares: Mapping[str, float]) -> str:
    """The name of the mix, its strongest band with its edges, and the other bands that count in it.

    ``shares`` are photons of each band per photon of 400-700 nm, NaN where there is no light.
    """
    first = _strongest(shares)
    if first is None:
        return DARK
    band = _BANDS[first]
    words = f"{colour_name(shares)}: {percent(shares[first])} between {band.low_nm:g} and {band.high_nm:g} nm"
    others = [f"{percent(shares[key])} {key}" for key in _VISIBLE if key != first and shares[key] >= SHARED]
    outside = [
        f"{percent(shares[key])} as many {_BANDS[key].name} beside them"
        for key in ("uv_a", "far_red")
        if shares.get(key, 0.0) >= SHARED
    ]
    return ", ".join([words, *others, *outside])


def _strongest(shares: Mapping[str, float]) -> str | None:
    if any(math.isnan(shares[key]) for key in _VISIBLE):
        return None
    return max(_VISIBLE, key=lambda key: shares[key])


def with_colour(answer: Answer, record: ColourOrIntensity | None) -> Answer:
    """The answer of `dose` with whether colour or dose can be changed more, before its cautions."""
    first, *rest = colour_sentences(record)
    section = Section(first, tuple(map(Say, rest)))
    return replace(
        answer,
        blocks=(*answer.blocks[:-2], section, *answer.blocks[-2:]),
        body=lambda: {**answer.body(), "colour_or_intensity": colour_json(record)},
    )


def colour_json(record: ColourOrIntensity | None) -> dict[str, Any] | None:
    """Spans of the usable share and of dose at one place; None where there is no light."""
    if record is None:
        return None
    return {
        "place": record.place,
        "site": record.site,
        "peak_ppfd_umol_m2_s": record.peak_ppfd_umol_m2_s,
        "channels": record.channels,
        "today": {
            "usable_share": dict(record.today_index),
            "warnings": list(record.today_warnings),
            "output": record.today_output,
            "dli_mol_m2_d": record.today_dli,
        },
        "warnings": list(record.warnings),
        "all_mixes": _span(record.all_mixes),
        "without_warnings": _span(record.without_warnings),
        "dose": {
            "output": list(record.output_range),
            "hours_h": list(record.hours_range),
            "dli_mol_m2_d": list(record.dose_range),
            "ratio": record.dose_ratio,
        },
        "larger": record.larger,
        "evidence": [{"side": e.side, "text": e.text, "source": e.source} for e in record.evidence],
    }


def _span(span: IndexSpan) -> dict[str, Any]:
    if span.spans is None:
        return {"usable_share": None, "ratio": None, "why_none": span.why_none}
    return {
        "usable_share": {curve: list(ends) for curve, ends in span.spans.items()},
        "ratio": {curve: span.ratio(curve) for curve in span.spans},
        "why_none": None,
    }


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
