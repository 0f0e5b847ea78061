"""Verdicts in words: how they stand, how sure that is, in what order, how many, and what would tell."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable, Sequence
from typing import Final

from lightdose.answers.blocks import Bar
from lightdose.answers.words import STATE_WORDS, count, number
from lightdose.errors import literal
from lightdose.model.results import Analysis, DliState, DliVerdict, Verdict

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


SEVERITY: dict[DliVerdict, int] = {
    "far_below": 0,
    "far_above": 0,
    "below": 1,
    "above": 1,
    "undecided": 2,
    "within": 3,
    "not_judged": 4,
}


def worst_first(verdicts: tuple[Verdict, ...]) -> list[Verdict]:
    """Verdicts in the order of concern: far off, off, open, within, not judged; the furthest off first."""
    return sorted(verdicts, key=concern)


def concern(verdict: Verdict) -> tuple[int, float]:
    """Sorts verdicts, the worst first."""
    return SEVERITY[verdict.likely_state], -octaves_off(verdict)


def out_of_band(verdicts: tuple[Verdict, ...]) -> list[Verdict]:
    """Those below or above their group's usual light, worst first."""
    return [v for v in worst_first(verdicts) if SEVERITY[v.likely_state] < SEVERITY["undecided"]]


def octaves_off(verdict: Verdict) -> float:
    """How many doublings the dose lies outside its band, 0 inside."""
    if verdict.band_dli is None:
        return 0.0
    low, high = verdict.band_dli
    dli = max(verdict.dli_mol_m2_d, 1e-12)
    return max(0.0, math.log2(low / dli) if low > 0 else 0.0, math.log2(dli / high))


def verdict_sentence(verdicts: tuple[Verdict, ...]) -> str:
    """How many corals stand where, such as "5 of 8 corals within common practice, 2 below, 1 above"."""
    if not verdicts:
        return "no corals to judge"
    states = Counter(v.likely_state for v in verdicts)
    judged = len(verdicts) - states["not_judged"]
    if judged:
        parts = [f"{states['within']} of {count(judged, 'coral')} within common practice"]
    else:
        parts = ["no coral here is judged by light"]
    off: tuple[DliState, ...] = ("far_below", "below", "above", "far_above")
    parts += [f"{states[s]} {STATE_WORDS[s].removesuffix(' usual')}" for s in off if states[s]]
    if states["undecided"]:
        parts.append(f"{states['undecided']} cannot be told yet")
    if judged and states["not_judged"]:
        parts.append(f"{states['not_judged']} not judged by light")
    return ", ".join(parts)


STATES: tuple[DliState, ...] = ("far_below", "below", "within", "above", "far_above")


def counts(verdicts: Sequence[Verdict]) -> dict[str, int] | None:
    """How many judged corals stand where, by their verdicts; None where none is judged."""
    states = Counter(v.likely_state for v in verdicts)
    judged = len(verdicts) - states["not_judged"]
    if not judged:
        return None
    keys: tuple[DliVerdict, ...] = ("within", "undecided", "below", "above", "far_below", "far_above")
    return {"judged": judged, **{key: states[key] for key in keys}}


def calculated_counts(states: Iterable[DliState]) -> dict[str, int]:
    """How many judged corals stand where, by their calculated states alone; the keys are those of ``counts``.

    No draws stand behind them, so none is undecided.
    """
    found = Counter(states)
    keys: tuple[DliState, ...] = ("within", "below", "above", "far_below", "far_above")
    judged = sum(found[key] for key in keys)
    return {"judged": judged, "undecided": 0, **{key: found[key] for key in keys}}


def counts_of_change(before: Iterable[DliState], after: Iterable[DliState]) -> dict[str, dict[str, int]]:
    """The calculated counts before and after a change."""
    return {"before": calculated_counts(before), "after": calculated_counts(after)}


def bar_of(verdict: Verdict) -> Bar | None:
    """Where a coral's dose lies; None for a group that light does not judge."""
    if verdict.band_dli is None:
        return None
    low, high = verdict.band_dli
    ceiling = 2 * high if verdict.ceiling_dli is None else max(verdict.ceiling_dli, high)
    floor = min(verdict.floor_dli or 0.0, low)
    known = verdict.certainty
    return Bar(
        verdict.dli_state,
        verdict.dli_mol_m2_d,
        (floor, low, high, ceiling),
        known.interval_dli if known else None,
    )
