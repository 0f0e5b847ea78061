"""Colour or dose: what these fixtures can change more, in sentences, with the evidence for and against."""

from __future__ import annotations

from lightdose.model.explaining import ColourOrIntensity, EvidenceSide, IndexSpan
from lightdose.present.diminishing_words import times
from lightdose.present.labels import DLI_UNIT, PPFD_UNIT, count, literal, number, percent
from lightdose.present.saturation_words import percent_span

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
