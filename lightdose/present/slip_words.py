"""What the slip of a coral says; the terminal prints the same."""

from __future__ import annotations

import math
from collections.abc import Iterator
from textwrap import wrap
from typing import Final

from lightdose.answers.colour import mix_words
from lightdose.answers.verdicts import interval_text, table_words
from lightdose.model.results import Verdict
from lightdose.model.shop import Slip
from lightdose.present.labels import DLI_UNIT, PPFD_UNIT, hours, literal, number, range_text
from lightdose.present.paper import Row

START: Final = (
    "Start at or below this dose, then brighter by at most 10 % a week (common practice, no published rule). "
    "If it sulks, light is only one of many causes."
)
UNKNOWN: Final = (
    "This dose gives nothing to start from: begin at the low end of the usual (common practice, no published "
    "source)."
)
GRADES: Final = {
    "A": "two or more published numbers",
    "B": "one published number",
    "C": "published direction only",
    "D": "practice only",
}
NO_LINE: Final = 'previous = "unknown"'


def slip_rows(slip: Slip) -> list[Row]:
    """The light that the coral lived in, and what is usual for its group."""
    verdict = slip.verdict
    dose = f"{number(verdict.dli_mol_m2_d)} {DLI_UNIT}"
    if verdict.certainty is not None:
        dose += f" (95 %: {interval_text(verdict.certainty.interval_dli)})"
    rows = [Row("dose a day", dose), Row("peak", f"{number(verdict.peak_ppfd_umol_m2_s)} {PPFD_UNIT}")]
    if math.isfinite(slip.peak_equivalent_h):
        rows.append(
            Row(
                "hours", f"lit {hours(slip.photoperiod_h)}, worth {hours(slip.peak_equivalent_h)} at the peak"
            )
        )
    rows.append(Row("colour", mix_words(slip.band_fraction)))
    return [*rows, Row("usual", _usual(verdict)), Row("basis", literal(slip.basis.sentence))]


def _usual(verdict: Verdict) -> str:
    if verdict.band_dli is None:
        return f"{literal(verdict.group_name)}: lives without light, so no amount is usual"
    grade = GRADES.get(verdict.grade, verdict.grade)
    return (
        f"{range_text(*verdict.band_dli)} for {literal(verdict.group_name)}; common practice, grade "
        f"{verdict.grade} ({grade}); here: {table_words(verdict)}"
    )


def previous_line(slip: Slip) -> str:
    """The line for the [[coral]] of the next keeper's setup.toml."""
    if slip.previous_mol_m2_d is None:
        return NO_LINE
    return f"previous = {slip.previous_mol_m2_d:.15g}"


def start_sentence(slip: Slip) -> str:
    """How to begin in the next tank."""
    if slip.verdict.band_dli is None:
        return "Its group lives without light: there is no least amount to start from."
    return START if slip.previous_mol_m2_d is not None else UNKNOWN


def heading(slip: Slip) -> str:
    """The coral's name as the slip's title."""
    return literal(slip.verdict.coral)


def origin_sentence(slip: Slip) -> str:
    """From where, and of when the figures are."""
    return f"{literal(slip.title)}, {slip.date}"


def slip_lines(slip: Slip, width: int | None = None) -> Iterator[str]:
    """The slip for a terminal of some width, or one record a line, label and text parted by a tab."""
    yield literal(slip.basis.sentence)
    rows = [
        Row("coral", heading(slip)),
        Row("from", origin_sentence(slip)),
        *slip_rows(slip)[:-1],
        Row("advice", start_sentence(slip)),
        Row("type into its [[coral]]", previous_line(slip)),
    ]
    if width is None:
        yield from (f"{row.label}\t{row.text}" for row in rows)
        return
    margin = max(len(row.label) for row in rows) + 2
    for row in rows:
        first, *more = wrap(row.text, max(width - margin, 20)) or [""]
        yield f"{row.label:<{margin}}{first}"
        yield from (" " * margin + line for line in more)
