"""How sure a verdict is, in words: odds as people say them, and the reading that would tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Final

from lightdose.model.certainty import DliState
from lightdose.model.results import Analysis, Verdict
from lightdose.present.labels import STATE_WORDS, count, literal, number

SURE: Final = 0.97
"""From here on a verdict needs no odds: our choice."""

ODDS: Final = (
    (2 / 3, "2 in 3"),
    (3 / 4, "3 in 4"),
    (4 / 5, "4 in 5"),
    (5 / 6, "5 in 6"),
    (7 / 8, "7 in 8"),
    (9 / 10, "9 in 10"),
    (19 / 20, "19 in 20"),
)
LIKELY_TO_TELL: Final = 0.5
"""A reading "would" tell where its chance is at least this: our choice."""

OPEN: Final = "cannot tell yet"

SINGLE_VALUES: Final = "Doses here are single values, without a 95 % range."
"""For answers that are reckoned without the uncertainty of what they stand on."""


def short_state(state: DliState) -> str:
    """A state in a word or two: "within", "far below"."""
    return state.replace("_", " ")


def odds(probability: float) -> str:
    """A probability as people say it: 0.83 is "about 5 in 6"."""
    held = min(max(probability, 1e-6), 1 - 1e-6)

    def distance(entry: tuple[float, str]) -> float:
        return abs(math.log(held / (1 - held)) - math.log(entry[0] / (1 - entry[0])))

    return f"about {min(ODDS, key=distance)[1]}"


def table_words(verdict: Verdict) -> str:
    """The verdict for a narrow column, without the reading that would tell."""
    known = verdict.certainty
    if known is None:
        return STATE_WORDS[verdict.dli_state]
    if known.likely == "undecided":
        return OPEN
    probability = known.probability[known.likely]
    if probability >= SURE and known.likely == verdict.dli_state:
        return STATE_WORDS[known.likely]
    return f"probably {short_state(known.likely)} ({odds(probability)})"


def brief_words(verdict: Verdict) -> str:
    """The verdict where two stand in one cell: "within", "probably above", "cannot tell yet"."""
    known = verdict.certainty
    if known is None:
        return short_state(verdict.dli_state)
    if known.likely == "undecided":
        return OPEN
    sure = known.probability[known.likely] >= SURE and known.likely == verdict.dli_state
    return short_state(known.likely) if sure else f"probably {short_state(known.likely)}"


def verdict_words(verdict: Verdict) -> str:
    """The verdict in full: "probably within (about 5 in 6)", "cannot tell yet: one reading at A3 would"."""
    known = verdict.certainty
    if known is None:
        return table_words(verdict)
    if known.likely == "undecided":
        return f"{OPEN}{_reading(verdict)}"
    if known.likely != verdict.dli_state:
        return f"{table_words(verdict)}, by the stated values {short_state(verdict.dli_state)}"
    return table_words(verdict)


def _reading(verdict: Verdict) -> str:
    known = verdict.certainty
    if known is None or known.reading_at is None:
        return ""
    site = literal(known.reading_at)
    if (known.reading_settles or 0.0) >= LIKELY_TO_TELL:
        return f": one reading at {site} would"
    return f": a reading at {site} would help most"


def interval_text(interval: tuple[float, float]) -> str:
    """An interval such as "2.51-3.96"."""
    low, high = (number(x) for x in interval)
    return low if low == high else f"{low}-{high}"


def open_verdicts(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """The verdicts that nothing settles yet."""
    return [v for v in verdicts if v.likely_state == "undecided"]


def deciding_sentence(analysis: Analysis) -> str:
    """Whom nobody can tell about yet, and the one reading that would; empty where all is told."""
    undecided = open_verdicts(analysis.verdicts)
    if not undecided:
        return ""
    names = ", ".join(literal(v.coral) for v in undecided[:5])
    if len(undecided) > 5:
        names += f" and {len(undecided) - 5} more"
    lead = f"Cannot tell yet for {names}"
    deciding = analysis.uncertainty.deciding if analysis.uncertainty else None
    if deciding is None:
        return f"{lead}."
    site, settles = literal(deciding.site), round(deciding.settles)
    if settles >= len(undecided):
        return f"{lead}: one reading at {site} would."
    if settles < 1:
        return f"{lead}: a reading at {site} would help most."
    return f"{lead}: one reading at {site} would for about {settles} of {count(len(undecided), 'coral')}."
