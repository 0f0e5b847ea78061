"""What the slip of a coral that leaves says: on a terminal, and on its page in the language of the shop."""

from __future__ import annotations

from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say
from lightdose.answers.changed import year_before, year_of, year_spells
from lightdose.answers.colour import mix_words
from lightdose.answers.dose import is_safety
from lightdose.answers.field import as_json, plain
from lightdose.answers.handout import basis_words, mix_of, usual_words
from lightdose.answers.language import Language, mark
from lightdose.answers.light import FIELDS, Row
from lightdose.answers.verdicts import interval_text, table_words
from lightdose.answers.words import DLI_UNIT, PPFD_UNIT, hours, number, range_text
from lightdose.errors import literal
from lightdose.model.diary import CoralHistory
from lightdose.model.results import EYES
from lightdose.model.shop import Slip

START: Final = (
    "Start at or below this dose, then brighter by at most 10 % a week (common practice, no published rule). "
    "If it pales or stays closed, light is only one of many causes."
)
UNKNOWN: Final = (
    "This dose gives nothing to start from: begin at the low end of the usual (common practice, no published "
    "source)."
)
WITHOUT_LIGHT: Final = "Its group lives without light: there is no least amount to start from."
RISE: Final = mark("Then at most 10 % more in a week (common practice, no published rule).")
PALES: Final = mark("If it pales or stays closed, light is only one of many causes.")
GRADES: Final = {
    "A": "two or more published numbers",
    "B": "one published number",
    "C": "published direction only",
    "D": "practice only",
    "own": "the keeper's own numbers",
}
TOLD: Final = frozenset(
    ("coral", "group", "dli_mol_m2_d", "peak_ppfd_umol_m2_s", "photoperiod_h", "peak_equivalent_h")
) | {"interval_95", "dli_state", "dli_verdict", "band_dli", "grade", "sources"}
"""Figures of `dose` that the slip has too."""


def slip_answer(slip: Slip, file: Path | None) -> Answer:
    """The slip in words; ``file`` is its page, None where none was written."""
    analysis = slip.analysis
    rows = [
        Point(literal(slip.verdict.coral), "coral"),
        Point(origin_sentence(slip), "from"),
        *slip_points(slip),
    ]
    following = [] if file else [Say("Next: add -o slip.pdf for a page to print.")]
    return Answer(
        "slip",
        (
            Say(analysis.basis.sentence, "basis"),
            Points((*rows, Point(start_sentence(slip), "advice"))),
            Say(EYES, "note"),
            *following,
            Say(f"Type into its [[coral]]: {previous_line(slip)}", "verdict"),
        ),
        lambda: _body(slip, file),
        title=analysis.setup.title,
        basis=analysis.basis.key,
        cautions=tuple(caution for caution in analysis.cautions if is_safety(caution)),
        setups=(analysis.setup,),
    )


def _body(slip: Slip, file: Path | None) -> dict[str, Any]:
    known = as_json([one for one in FIELDS if one.name in TOLD], _row(slip))
    return known | {
        "date": slip.date,
        "last_year": year_of(slip.life, slip.date) if slip.life else None,
        "band_fraction": plain(slip.analysis.band_fraction(slip.verdict.receiver)),
        "previous": "unknown" if slip.previous_mol_m2_d is None else slip.previous_mol_m2_d,
        "file": None if file is None else str(file.resolve()),
    }


def _row(slip: Slip) -> Row:
    sites = [site.name for site in slip.analysis.setup.sites]
    return Row(slip.analysis, sites.index(slip.verdict.site), slip.verdict)


def slip_points(slip: Slip) -> list[Point]:
    """The light that the coral lived in, and what is usual for its group."""
    verdict, row = slip.verdict, _row(slip)
    dose = f"{number(verdict.dli_mol_m2_d)} {DLI_UNIT}"
    if verdict.certainty is not None:
        dose += f" (95 %: {interval_text(verdict.certainty.interval_dli)})"
    points = [Point(dose, "dose a day"), Point(f"{number(verdict.peak_ppfd_umol_m2_s)} {PPFD_UNIT}", "peak")]
    if verdict.dli_mol_m2_d > 0:
        worth = hours(row.of("peak_equivalent_h"))
        points.append(Point(f"lit {hours(row.of('photoperiod_h'))}, worth {worth} at the peak", "hours"))
    points.append(Point(mix_words(slip.analysis.band_fraction(verdict.receiver)), "colour"))
    year = [Point(year_of(slip.life, slip.date), "last year")] if slip.life else []
    return [*points, Point(_usual(slip), "usual"), *year]


def _usual(slip: Slip) -> str:
    verdict = slip.verdict
    group = literal(verdict.group_name)
    if verdict.band_dli is None:
        return f"{group}: lives without light, so no amount is usual"
    grade = GRADES.get(verdict.grade, verdict.grade)
    usual = f"{range_text(*verdict.band_dli)} for {group}"
    stands_on = "" if verdict.grade == "own" else "common practice, "
    return f"{usual}; {stands_on}grade {verdict.grade} ({grade}); here: {table_words(verdict)}"


def previous_line(slip: Slip) -> str:
    """The line for the [[coral]] of the next keeper's setup.toml."""
    if slip.previous_mol_m2_d is None:
        return 'previous = "unknown"'
    return f"previous = {slip.previous_mol_m2_d:.15g}"


def start_sentence(slip: Slip) -> str:
    """How to begin in the next tank."""
    if slip.verdict.band_dli is None:
        return WITHOUT_LIGHT
    return START if slip.previous_mol_m2_d is not None else UNKNOWN


def origin_sentence(slip: Slip) -> str:
    """From where, and of when the figures are."""
    return f"{literal(slip.analysis.setup.title)}, {slip.date}"


def lived_points(slip: Slip, w: Language) -> list[Point]:
    """The light that the coral lived in, for its page."""
    verdict, row = slip.verdict, _row(slip)
    dose = w.dose(w.number(verdict.dli_mol_m2_d))
    if verdict.certainty is not None:
        span = w.span(*verdict.certainty.interval_dli)
        dose = w.say("{dose} (95 %: {span})", dose=dose, span=span)
    peak = w.ppfd(w.number(verdict.peak_ppfd_umol_m2_s))
    points = [Point(dose, w.say("In a day")), Point(peak, w.say("Strongest"))]
    if verdict.dli_mol_m2_d > 0:
        lit, worth = w.hours(row.of("photoperiod_h")), w.hours(row.of("peak_equivalent_h"))
        text = w.say("lit for {lit}, worth {worth} of the strongest light", lit=lit, worth=worth)
        points.append(Point(text, w.say("Hours")))
    shares = slip.analysis.band_fraction(verdict.receiver)
    return [
        *points,
        Point(mix_of(shares, w), w.say("Colour")),
        Point(usual_words(verdict, w), w.say("Usual")),
        Point(basis_words(slip.analysis.basis.key, w), w.say("How we know")),
    ]


def start_points(slip: Slip, w: Language) -> list[str]:
    """How to bring it into the next tank, step by step."""
    if slip.verdict.band_dli is None:
        return [w.say("Its kind lives without light: it needs food, and no light to start from.")]
    if slip.previous_mol_m2_d is None:
        first = w.say("This dose gives nothing to start from: begin at the low end of what is usual.")
    else:
        start = w.dose(w.marked(f"{slip.previous_mol_m2_d:.15g}"))
        first = w.say("Start at {dose} or less: deeper, in half shade, or with the lamp dimmed.", dose=start)
    return [first, w.say(RISE), w.say(PALES)]


def year_words(life: CoralHistory, date: str, w: Language) -> str:
    """The doses of the last year, and how often it moved and lost colour; nothing where no state was kept."""
    doses = [s.light.dli_mol_m2_d for s in year_spells(life, date)]
    if not doses:
        return ""
    words = [w.dose(w.span(min(doses), max(doses)))]
    since = year_before(date)
    moves = sum("moved" in c.kinds for c in life.changes if since < c.date <= date)
    if moves:
        words.append(w.counted("moved {n} time", "moved {n} times", moves))
    scores = [n.value for n in life.notes if n.kind == "colour" and n.value and since < n.date <= date]
    if scores:
        first, last = f"{scores[0]:g}", f"{scores[-1]:g}"
        words.append(w.say("colour from {first} to {last} (1 pale, 6 dark)", first=first, last=last))
    return "; ".join(words)
