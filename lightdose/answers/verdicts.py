"""Verdicts in words: how they stand, how sure that is, in what order, how many, and what would tell."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any, Final

from lightdose.answers.blocks import Bar
from lightdose.answers.words import STATE_WORDS, count, number
from lightdose.errors import literal
from lightdose.model.results import Analysis, DliState, DliVerdict, Judgement, Verdict

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

OPEN: Final = "undecided"

SINGLE_VALUES: Final = "Doses here are single values, without a 95 % range."
"""For answers that are calculated without the uncertainty of what they stand on."""


def short_state(state: DliVerdict) -> str:
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
    if known.verdict == "undecided":
        return OPEN
    probability = known.probability[known.verdict]
    if probability >= SURE and known.verdict == verdict.dli_state:
        return STATE_WORDS[known.verdict]
    return f"probably {short_state(known.verdict)} ({odds(probability)})"


def odds_of(verdict: Verdict) -> str:
    """How likely the verdict is, "9 in 10"; empty where it is sure or undecided."""
    known = verdict.certainty
    if known is None or known.verdict == "undecided" or not brief_words(verdict).startswith("probably"):
        return ""
    return odds(known.probability[known.verdict]).removeprefix("about ")


def brief_words(verdict: Verdict) -> str:
    """The verdict where two stand in one cell: "within", "probably above", "undecided"."""
    known = verdict.certainty
    if known is None:
        return short_state(verdict.dli_state)
    if known.verdict == "undecided":
        return OPEN
    sure = known.probability[known.verdict] >= SURE and known.verdict == verdict.dli_state
    return short_state(known.verdict) if sure else f"probably {short_state(known.verdict)}"


def verdict_words(verdict: Verdict) -> str:
    """The verdict in full: "probably within (about 5 in 6)", "undecided: one reading at A3 ..."."""
    known = verdict.certainty
    if known is None:
        return table_words(verdict)
    if known.verdict == "undecided":
        return f"{OPEN}{_reading(verdict)}"
    if known.verdict != verdict.dli_state:
        return f"{table_words(verdict)}, by the stated values {short_state(verdict.dli_state)}"
    return table_words(verdict)


def _reading(verdict: Verdict) -> str:
    known = verdict.certainty
    if known is None or known.reading_at is None:
        return ""
    site = literal(known.reading_at)
    if (known.reading_settles or 0.0) >= LIKELY_TO_TELL:
        return f": one reading at {site} would settle it"
    return f": a reading at {site} would help most"


def interval_text(interval: tuple[float, float]) -> str:
    """An interval such as "2.51-3.96"."""
    low, high = (number(x) for x in interval)
    return low if low == high else f"{low}-{high}"


def open_verdicts(verdicts: Sequence[Verdict]) -> list[Verdict]:
    """The verdicts that nothing settles yet."""
    return [v for v in verdicts if v.dli_verdict == "undecided"]


def deciding_sentence(analysis: Analysis) -> str:
    """Whom nobody can tell about yet, and the one reading that would; empty where all is told."""
    undecided = open_verdicts(analysis.verdicts)
    if not undecided:
        return ""
    names = ", ".join(literal(v.coral) for v in undecided[:5])
    if len(undecided) > 5:
        names += f" and {len(undecided) - 5} more"
    lead = f"Undecided: {names}"
    deciding = analysis.uncertainty.deciding if analysis.uncertainty else None
    if deciding is None:
        return f"{lead}."
    site, settles = literal(deciding.site), round(deciding.settles)
    if settles >= len(undecided):
        return f"{lead}. One reading at {site} would settle {'it' if len(undecided) == 1 else 'them'}."
    if settles < 1:
        return f"{lead}. A reading at {site} would help most."
    return f"{lead}. One reading at {site} would settle about {settles} of {count(len(undecided), 'coral')}."


SEVERITY: dict[DliVerdict, int] = {
    "far_below": 0,
    "far_above": 0,
    "below": 1,
    "above": 1,
    "undecided": 2,
    "within": 3,
    "not_judged": 4,
}


MARKS: Final = ("!!", "! ", "? ", "", "")
"""Before a coral far off, off, undecided, within and not judged, in the order of ``SEVERITY``."""


def concerns(verdicts: Sequence[Verdict], *, changed: Sequence[bool] = ()) -> dict[str, Any]:
    """What a table of corals needs to mark the rows of concern and to count the rest.

    ``changed`` tells rows that show in any case.
    """
    severities = [SEVERITY[v.dli_verdict] for v in verdicts]
    calm = [s > SEVERITY["undecided"] for s in severities]
    if changed:
        calm = [one and not other for one, other in zip(calm, changed, strict=True)]
    unjudged = sum(v.dli_verdict == "not_judged" for v in verdicts)
    return {
        "marks": tuple(MARKS[s] for s in severities),
        "calm": tuple(calm),
        "calm_words": f"within common practice{f' or not judged by light ({unjudged})' if unjudged else ''}",
    }


def worst_first(verdicts: tuple[Verdict, ...]) -> list[Verdict]:
    """Verdicts in the order of concern: far off, off, open, within, not judged; the furthest off first."""
    return sorted(verdicts, key=concern)


def concern(verdict: Verdict) -> tuple[int, float]:
    """Sorts verdicts, the worst first."""
    return SEVERITY[verdict.dli_verdict], -octaves_off(verdict)


def out_of_band(verdicts: tuple[Verdict, ...]) -> list[Verdict]:
    """Those below or above their group's usual light, worst first."""
    return [v for v in worst_first(verdicts) if SEVERITY[v.dli_verdict] < SEVERITY["undecided"]]


def octaves_off(verdict: Verdict) -> float:
    """How many doublings the dose lies outside its band, 0 inside."""
    if verdict.band_dli is None:
        return 0.0
    low, high = verdict.band_dli
    dli = max(verdict.dli_mol_m2_d, 1e-12)
    return max(0.0, math.log2(low / dli) if low > 0 else 0.0, math.log2(dli / high))


def within_words(judged: Judgement) -> str:
    """The two counts that every surface shows: "39 of 60 corals within common practice, 6 undecided"."""
    undecided = f", {judged.undecided} undecided" if judged.undecided else ""
    return f"{judged.within} of {count(judged.judged, 'coral')} within common practice{undecided}"


def before_after_words(before: Judgement, after: Judgement) -> str:
    """Both counts after a change, and before it: "40 of 59 ..., 6 undecided (before: 34, 8 undecided)"."""
    undecided = f", {before.undecided} undecided" if before.undecided or after.undecided else ""
    return f"{within_words(after)} (before: {before.within}{undecided})"


def verdict_sentence(verdicts: Sequence[Verdict]) -> str:
    """How many corals stand where, such as "5 of 8 corals within common practice, 1 undecided, 2 below"."""
    return judgement_words(Judgement.of(verdicts), len(verdicts))


def judgement_words(judged: Judgement, corals: int) -> str:
    """The same of a judgement; ``corals`` counts those without light of their own too."""
    if not corals:
        return "no corals to judge"
    if judged.counts is None:
        return "no coral here is judged by light"
    parts = [within_words(judged)]
    off: tuple[DliState, ...] = ("far_below", "below", "above", "far_above")
    parts += [f"{judged.counts[s]} {STATE_WORDS[s].removesuffix(' usual')}" for s in off if judged.counts[s]]
    if corals > judged.judged:
        parts.append(f"{corals - judged.judged} not judged by light")
    return ", ".join(parts)


STATES: tuple[DliState, ...] = ("far_below", "below", "within", "above", "far_above")


def bar_of(verdict: Verdict) -> Bar | None:
    """Where a coral's dose lies; None for a group that light does not judge."""
    if verdict.band_dli is None:
        return None
    edges = bar_edges(verdict.band_dli, verdict.floor_dli, verdict.ceiling_dli)
    known = verdict.certainty
    return Bar(verdict.dli_state, verdict.dli_mol_m2_d, edges, known.interval_dli if known else None)


def bar_edges(
    band: tuple[float, float], floor: float | None, ceiling: float | None
) -> tuple[float, float, float, float]:
    """Floor, ends of the usual range and ceiling, in order, of a group that lacks some of them too."""
    low, high = band
    return min(floor or 0.0, low), low, high, 2 * high if ceiling is None else max(ceiling, high)
