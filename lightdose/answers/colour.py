"""The colour of light in words: of a mix, and whether colour or dose can be changed more."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Say, Section
from lightdose.answers.photosynthesis import percent_span, times
from lightdose.answers.words import DLI_UNIT, PPFD_UNIT, count, literal, number, percent
from lightdose.model.changes import ColourOrIntensity, EvidenceSide, IndexSpan
from lightdose.quantities import BANDS

DEFAULT_CURVE = "usable_z1"
NO_LIGHT = "Colour or intensity: no light of today reaches a place here, so there is nothing to compare."
NOT_GROWTH = (
    "The absorption index is the share of PPFD that symbionts can absorb; it is not growth. What can be "
    "changed further is not yet what a coral answers to."
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
        return f"Here colour can be changed more than dose: absorption index {ratio} times, dose {dose} times"
    return f"Here dose can be changed more than colour: dose {dose} times, absorption index {ratio} times"


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
        return f"{name}: absorption index {low:.2f} whatever the levels: the colour cannot be changed."
    ratios = [r for r in map(span.ratio, span.spans) if r is not None]
    others = f"; by the other curves {times((min(ratios), max(ratios)))}" if ratios else ""
    factor = "-" if ratio is None else number(ratio, 3)
    text = f"{name}: absorption index {low:.2f}-{high:.2f}, {factor} times{others}; {today}."
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
    """Spans of the absorption index and of dose at one place; None where there is no light."""
    if record is None:
        return None
    return {
        "place": record.place,
        "site": record.site,
        "peak_ppfd_umol_m2_s": record.peak_ppfd_umol_m2_s,
        "channels": record.channels,
        "today": {
            "absorption_index": dict(record.today_index),
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
        return {"absorption_index": None, "ratio": None, "why_none": span.why_none}
    return {
        "absorption_index": {curve: list(ends) for curve, ends in span.spans.items()},
        "ratio": {curve: span.ratio(curve) for curve in span.spans},
        "why_none": None,
    }
