"""The first screen of the report: the answer in words."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import Final

from lightdose.model.results import Analysis, Verdict
from lightdose.present.certainty_words import deciding_sentence, open_verdicts, short_state, verdict_words
from lightdose.present.labels import DLI_UNIT, count, literal, number, range_text
from lightdose.present.summary import out_of_band, worst_first

NAMED_AT_MOST: Final = 5
NAMED_OF_MANY: Final = 3
TOGETHER: Final = 3
"""From so many corals on one side of their ranges one change for all of them comes first: our choice."""


REACHES_ALL: Final = (
    'A change of the programme reaches every coral: see what it does under "Try a change" before you make it.'
)


@dataclass(frozen=True)
class Answer:
    """A headline, then labelled paragraphs in the order of their use."""

    headline: str
    parts: tuple[tuple[str, str], ...]


def answer(analysis: Analysis) -> Answer:
    """Who gets a usual amount, who does not, the one thing to do, the one reading, and the basis.

    Units stand as on a terminal; a page sets them in type.
    """
    parts = [
        ("Not usual", _unusual(analysis)),
        ("Do first", first_step(analysis)),
        ("Measure", one_reading(analysis)),
        ("Stands on", literal(analysis.basis.sentence)),
    ]
    return Answer(headline(analysis), tuple((label, text) for label, text in parts if text))


def headline(analysis: Analysis) -> str:
    """How many corals get a usual amount of light."""
    verdicts = analysis.verdicts
    judged = [v for v in verdicts if v.dli_state != "not_judged"]
    if not judged:
        what = "No coral here is judged by light" if verdicts else "No corals yet: doses without verdicts"
        return f"{what}."
    within = sum(v.likely_state == "within" for v in judged)
    if within == len(judged):
        whom = "The one coral gets" if within == 1 else f"All {within} corals get"
        return f"{whom} a usual amount of light."
    verb = "gets" if within == 1 else "get"
    whom = "None" if within == 0 else str(within)
    return f"{whom} of {count(len(judged), 'coral')} {verb} a usual amount of light."


def _unusual(analysis: Analysis) -> str:
    off = out_of_band(analysis.verdicts)
    unjudged = sum(v.dli_state == "not_judged" for v in analysis.verdicts)
    if unjudged == len(analysis.verdicts):
        return ""
    aside = f" Light does not judge {unjudged} more." if unjudged else ""
    if not off:
        return f"No coral is known to get too little or too much.{aside}"
    shown = off if len(off) <= NAMED_AT_MOST else off[:NAMED_OF_MANY]
    named = "; ".join(f"{literal(v.coral)}, {_dose_words(v)}: {verdict_words(v)}" for v in shown)
    if len(off) == len(shown):
        return f"{named}.{aside}"
    states = Counter(short_state(v.likely_state) for v in off if v.likely_state != "undecided")
    counted = ", ".join(f"{n} {words}" for words, n in states.items())
    return f"{len(off)} corals: {counted}. Furthest off: {named}.{aside}"


def _dose_words(verdict: Verdict) -> str:
    usual = f", usual {range_text(*verdict.band_dli)}" if verdict.band_dli else ""
    return f"{number(verdict.dli_mol_m2_d)} {DLI_UNIT}{usual}"


def first_step(analysis: Analysis) -> str:
    """The one thing to do, and why."""
    off, undecided = out_of_band(analysis.verdicts), open_verdicts(analysis.verdicts)
    if not analysis.setup.sites:
        return "Add a place to the setup: without one there is nothing to compute."
    sides = Counter("little" if "below" in v.likely_state else "much" for v in off)
    clear = [v for v in off if v.dli_state != "within"]
    if clear:
        side, n = sides.most_common(1)[0]
        worst = clear[0]
        step = f"{literal(worst.coral)}: {literal(worst.advice)}"
        if n >= TOGETHER and 3 * n >= 2 * len(off):
            way = "more" if side == "little" else "less"
            return (
                f"Give the tank {way} light as a whole, for {n} corals get too {side}; lightdose tune finds "
                f"levels and hours that serve all of them. Furthest off is {step}"
            )
        why = "It is the furthest off." if len(off) > 1 else "It is the only one known to be off."
        return f"{step} {why} {REACHES_ALL}"
    if off or undecided:
        return (
            "Take a meter reading before you change the light: what is not known exactly decides whether a "
            "coral here is off at all."
        )
    if analysis.verdicts:
        return "Leave the light as it is: every coral that light judges gets what is usual for its group."
    return "Name corals in the setup to have their light judged."


def one_reading(analysis: Analysis) -> str:
    """The one reading that would settle what is open."""
    undecided = open_verdicts(analysis.verdicts)
    if undecided:
        deciding = analysis.uncertainty.deciding if analysis.uncertainty else None
        why = ""
        if deciding is not None:
            why = " Type it into readings.csv and run lightdose calibrate."
        return deciding_sentence(analysis) + why
    if analysis.basis.key == "measured" or not analysis.verdicts:
        return ""
    site = literal(worst_first(analysis.verdicts)[0].site)
    return (
        f"No verdict is open. One reading at {site} would put all of them on a measurement instead of "
        f"{'a data sheet' if analysis.basis.key == 'data sheet' else 'typical values'}."
    )
