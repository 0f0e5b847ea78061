"""What light is worth to photosynthesis, in words: hours at Pmax, saturation, and more light."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightdose.answers.words import PPFD_UNIT, count, number, percent, range_text
from lightdose.errors import literal

if TYPE_CHECKING:
    from lightdose.model.changes import CoralReturn, DiminishingReturn


def ek_stands_on(source: str, *, assumed: bool) -> str:
    """The source of a range of Ek, in a few words."""
    if assumed:
        last = source.rpartition(";")[2].strip()
        return last if last.endswith("assumed") else "no source given"
    return "computed from published data" if source.endswith("[C]") else source


def hours_span(ends: tuple[float, float]) -> str:
    """Hours over the range of Ek, to the tenth: "3.5-7.0", or "0.0" where both ends agree so far."""
    low, high = (f"{hours:.1f}" for hours in ends)
    return low if low == high else f"{low}-{high}"


def percent_span(ends: tuple[float, float]) -> str:
    """A share over the range of Ek in percent: "0-21"."""
    low, high = (f"{100 * share:.0f}" for share in ends)
    return low if low == high else f"{low}-{high}"


NOT_IN_IT = (
    "Gross photosynthesis, relative to Pmax: respiration, growth, harm by strong light and acclimatisation "
    "are not in it."
)
NEAR_FULL = 0.97
"""From here on today counts as full: there is nothing above it to show."""


def return_finding(record: DiminishingReturn) -> str:
    """One sentence without its stop: what full output, or half of today's, does to gross photosynthesis."""
    gain, kept = record.gain_at_full, record.kept_at_half
    if gain is None or kept is None:
        return "No coral here has both light and a known onset of saturation"
    if record.today >= NEAR_FULL:
        return f"Half of today's output keeps {_percents(kept)} of the photosynthesis"
    return (
        f"Full output instead of today's {percent(record.today)}: {number(record.photons_at_full, 2)} times "
        f"the photons, {times(gain)} times the photosynthesis"
    )


def return_sentences(record: DiminishingReturn) -> list[str]:
    """The finding with its counterpart, and what it leaves out."""
    kept = record.kept_at_half
    if kept is None:
        return [f"{return_finding(record)}."]
    sentences = [f"{return_finding(record)}."]
    if record.today < NEAR_FULL:
        sentences.append(f"Half of today's output keeps {_percents(kept)} of it.")
    assumed = sum(c.ek_assumed for c in record.corals)
    if assumed:
        whom = f"{assumed} of {count(len(record.corals), 'coral')}"
        sentences.append(f"The onset of saturation, Ek, is assumed, all of it or one end, for {whom}.")
    return [*sentences, NOT_IN_IT]


def coral_sentence(coral: CoralReturn) -> str:
    """One coral: its hours at Pmax today, at full and at half, and on what Ek they stand."""
    today, full, half = map(hours_span, (coral.today_h, coral.full_h, coral.half_h))
    beyond = coral.beyond_saturation_fraction
    share = "" if beyond is None else f", {_percents(beyond)} of the photons beyond saturation"
    return (
        f"{literal(coral.coral)}: {today} h at Pmax (tanh) today{share}; {full} h at full output, {half} h "
        f"at half of today's ({ek_words(coral, PPFD_UNIT)})."
    )


def ek_words(coral: CoralReturn, unit: str) -> str:
    """The range of Ek, the fit it comes from unless that is tanh, and what it stands on."""
    fit = "" if coral.ek_model == "tanh" else f", {coral.ek_model.title()} fit"
    basis = literal(ek_stands_on(coral.ek_source, assumed=coral.ek_assumed))
    return f"Ek {range_text(*coral.ek_range)} {unit}{fit}, {basis}"


def times(span: tuple[float, float]) -> str:
    """A span of factors: "1.1-2.2"."""
    low, high = (number(x, 2) for x in span)
    return low if low == high else f"{low}-{high}"


def _percents(span: tuple[float, float]) -> str:
    low, high = (f"{100 * x:.0f}" for x in span)
    return f"{low} %" if low == high else f"{low}-{high} %"
