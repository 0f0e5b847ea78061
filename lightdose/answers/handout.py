"""What goes over the counter: a sheet for a customer, and the slip of a coral that leaves."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.answers.advice import doing
from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say
from lightdose.answers.changed import year_of
from lightdose.answers.colour import BOUNDED, MOSTLY, mix_words
from lightdose.answers.dose import is_safety, safety_lines
from lightdose.answers.field import as_json, plain
from lightdose.answers.light import FIELDS, Row
from lightdose.answers.photosynthesis import NEAR_FULL, percent_span, times
from lightdose.answers.reef import reef_sentence
from lightdose.answers.trial import OTHERS, WHY, beside_trial, trial_doses, trial_limits, trial_sentence
from lightdose.answers.verdicts import OPEN, interval_text, short_state, table_words, within_words
from lightdose.answers.words import (
    DLI_UNIT,
    DLI_UNIT_TYPESET,
    PPFD_UNIT,
    PPFD_UNIT_TYPESET,
    count,
    hours,
    joined_ends,
    number,
    percent,
    range_text,
)
from lightdose.errors import literal
from lightdose.model.changes import EvidenceSide
from lightdose.model.results import EYES, Analysis, Judgement, Verdict
from lightdose.model.shop import HandedLight, Handout, Slip
from lightdose.model.trial import GrowthTrial

LONGEST_NAME: Final = 34
"""Letters of a name within a sentence; where it matters it stands whole in other answers."""

LEAST_BLUE: Final = 0.3
MOST_RED: Final = 0.5
"""Shares of PPFD, as in the cautions on the mix: our choice."""

PHOTONS: Final = (
    "Corals live on algae that work with light. What feeds these is the number of photons (400-700 nm) in a "
    f"day: light at a moment, in {PPFD_UNIT_TYPESET}, times hours."
)
SATURATES: Final = "Beyond some light the algae gain little from more."
STEADY: Final = (
    "Corals acclimatise over weeks. The same programme every day lets them; brighter by at most 10 % of the "
    "daily dose a week (common practice, no published rule)."
)
DIAGNOSIS: Final = (
    "Pale or closed corals have many causes: heat, nutrients, pests, salinity, a sudden change. These "
    "figures rule light in or out and know nothing of the rest; heat multiplies light stress."
)
USUAL: Final = (
    "What keepers commonly give a group: no optimum, no limit of damage (common practice). Grade: A several "
    "published numbers for the group's genera, B one, C a direction only, D practice only."
)
ALGAE_PEAK: Final = (
    "The algae use blue of 440-470 nm best (mean of five published curves, from Halldal 1968 to Wangpraseurt "
    "et al. 2014)"
)
MEMORY: Final = "from memory"
FINDINGS: Final = 2
"""Findings of one side that the page has room for; the report lists all."""


def letters(handout: Handout) -> list[str]:
    """What the setups are called on the page: "A" and "B", nothing where there is one."""
    return [""] if len(handout.lights) == 1 else ["A", "B"]


def titles(handout: Handout) -> list[str]:
    """Titles of the setups; the second of one name is called changed, so that nobody mixes them up."""
    first, *others = (light.analysis.setup.title for light in handout.lights)
    return [first, *(f"{title}, changed" if title == first else title for title in others)]


def finding(handout: Handout) -> str:
    """The headline: what these corals live in, in numbers."""
    if len(handout.lights) == 1:
        return _corals_in(handout.lights[0].analysis.verdicts)
    parts = []
    for letter, light in zip(letters(handout), handout.lights, strict=True):
        parts.append(f"{letter}: {within_words(light.analysis.judgement)}")
    return "; ".join(parts)


def _corals_in(verdicts: Sequence[Verdict]) -> str:
    stand = Judgement.of(verdicts)
    if not stand.judged:
        return "The light of this tank"
    judged = [v for v in verdicts if v.dli_state != "not_judged"]
    if len(judged) == 1:
        dose, state = number(judged[0].dli_mol_m2_d), state_words(judged[0])
        return f"1 coral at {dose} {DLI_UNIT_TYPESET}, against its usual light: {state}"
    return within_words(stand)


def why_points(handout: Handout) -> list[Point]:
    """Why photons times hours come first, and how far that goes here."""
    modest = _modest(handout.lights[0]) if len(handout.lights) == 1 else _modest_of_two(handout)
    return [
        Point(f"{PHOTONS} {_each(handout, _photons)}".rstrip(), "Photons x hours"),
        Point(" ".join(filter(None, (SATURATES, modest))), "Modest light"),
        Point(_colour(handout), "Colour"),
        Point(_trial(handout.trial), WHY),
        Point(_evidence(handout, "for"), "Trials for this"),
        Point(_evidence(handout, "against"), "And against"),
        Point(STEADY, "Steady light"),
    ]


def _each(handout: Handout, told: Callable[[HandedLight], str]) -> str:
    """The same of every setup, with its letter where there are two."""
    told_of = zip(letters(handout), map(told, handout.lights), strict=True)
    return " ".join(f"{letter}: {text}" if letter else text for letter, text in told_of if text)


def _photons(light: HandedLight) -> str:
    if not light.is_lit:
        return ""
    here, dose = light.places[0], light.analysis.dose
    peak, worth = float(dose.peak_ppfd[here]), float(dose.peak_equivalent_h[here])
    return (
        f"At {joined_ends(light.place_name(here), LONGEST_NAME)} a peak of {number(peak)}, worth "
        f"{hours(worth)} hours of it, makes {number(float(dose.dli[here]))} {DLI_UNIT_TYPESET}."
    )


def _modest(light: HandedLight) -> str:
    """What more and less light would do here; that too little stays too little."""
    record, parts = light.returns, []
    if record.gain_at_full is not None and record.kept_at_half is not None:
        kept = f"{percent_span(record.kept_at_half)} %"
        text = f"Half of today's light would keep {kept} of the gross photosynthesis"
        if record.today < NEAR_FULL:
            text = (
                f"All that these fixtures can give, {number(record.photons_at_full, 2)} times the photons, "
                f"would bring {times(record.gain_at_full)} times today's gross photosynthesis; half of "
                f"today's light would keep {kept} of it"
            )
        parts.append(f"{text} ({_model(light)}).")
    low = sum("below" in v.dli_verdict for v in light.analysis.verdicts)
    if low:
        whom = count(low, "coral here gets", "corals here get")
        parts.append(f"Modest is not too little: {whom} less than usual.")
    return " ".join(parts)


def _modest_of_two(handout: Handout) -> str:
    """The same in short for two setups."""
    kept = [
        f"{letter} {percent_span(span)} %"
        for letter, light in zip(letters(handout), handout.lights, strict=True)
        if (span := light.returns.kept_at_half) is not None
    ]
    if not kept:
        return ""
    words = f"Half of today's light would keep of today's gross photosynthesis: {', '.join(kept)}"
    return f"{words} ({_model(*handout.lights)})."


def _model(*lights: HandedLight) -> str:
    assumed = any(c.ek_assumed for light in lights for c in light.returns.corals)
    words = "model curve, tanh, respiration not taken off"
    return f"{words}, onset of saturation partly assumed" if assumed else words


def _colour(handout: Handout) -> str:
    known = [light.shares for light in handout.lights if light.is_lit]
    if not known:
        return f"No light reaches a place here. {BOUNDED}"
    lead = f"This light is {mix_words(known[0])}." if len(handout.lights) == 1 else ""
    blue, red = min(s["blue"] for s in known), max(s["red"] for s in known)
    if red > MOST_RED:
        remark = "Red dominates here, so the trials below do not cover it."
    elif blue < LEAST_BLUE:
        remark = "Blue is scarce here, so the trials below may not cover it."
    elif blue >= MOSTLY:
        remark = f"{ALGAE_PEAK}, so blue without white can be enough."
    else:
        remark = f"{ALGAE_PEAK}, and blue is present here."
    return " ".join(filter(None, (lead, remark, BOUNDED)))


def _evidence(handout: Handout, side: EvidenceSide) -> str:
    """The first findings of one side and its last; what is told from memory gives way."""
    found = [e for e in handout.evidence if e.side == side and MEMORY not in e.source]
    told = found if len(found) <= FINDINGS else [*found[: FINDINGS - 1], found[-1]]
    sentences = [f"{e.text[0].upper()}{e.text[1:]} [{e.source}]." for e in told]
    return " ".join(sentences).replace(PPFD_UNIT, PPFD_UNIT_TYPESET)


def light_sentences(light: HandedLight, *, alone: bool) -> list[str]:
    """Hours, colour, and what the eye makes of it, at the brightest coral."""
    if not light.is_lit:
        return ["No light reaches a place of this setup."]
    here, dose = light.places[0], light.analysis.dose
    sentences = [
        f"Peak {number(float(dose.peak_ppfd[here]))} {PPFD_UNIT_TYPESET}, lit "
        f"{hours(float(dose.photoperiod_h[here]))} h, {number(float(dose.dli[here]))} {DLI_UNIT_TYPESET}."
    ]
    sentences += filter(None, [reef_sentence(light.analysis.reef_depths(here))])
    if light.analysis.advice and light.analysis.advice.actions:
        sentences.append(f"What we would do first: {doing(light.analysis.advice.actions[0])}.")
    if not alone:
        sentences.append(f"Colour: {mix_words(light.shares)}.")
    seen = light.looks
    if seen is not None:
        sentences.append(
            f"Looks and gets: {_rounded(seen.lux)} lx to the eye and to a lux meter. As many photons of "
            f"white light ({seen.white.name}) would be {_rounded(seen.white.lux)} lx. {_eye(seen.lux_share)}"
        )
    return sentences


def _eye(share: float) -> str:
    if share < 0.9:
        return f"So it looks {percent(share)} as bright, while the coral gets as many photons."
    return "Lux counts what the eye sees, not what the coral gets."


def _rounded(lux: float) -> str:
    """Lux to two figures: more is not known."""
    if lux <= 0:
        return "0"
    step = 10 ** max(0, len(str(int(lux))) - 2)
    return f"{round(lux / step) * step:,d}"


def trial_words(handout: Handout) -> str:
    """Where these corals stand against the doses of the trial."""
    told = _each(handout, lambda light: beside_trial(handout.trial, trial_doses(light.analysis.verdicts)))
    text = f"Line: median growth; percentages: corals that lost tissue; grey: not tried; ticks: {told}"
    return text.replace(DLI_UNIT, DLI_UNIT_TYPESET) if told else text.removesuffix("; ticks: ") + "."


def _trial(trial: GrowthTrial) -> str:
    """What the picture of the trial shows, what the trial did not control, and what others found."""
    text = f"{trial_sentence(trial)} {trial_limits(trial)} {OTHERS}"
    return text.replace(DLI_UNIT, DLI_UNIT_TYPESET)


def trial_tanks(handout: Handout) -> list[tuple[str, list[float]]]:
    """Doses of the corals of each setup, under the setup's letter."""
    doses = [trial_doses(light.analysis.verdicts) for light in handout.lights]
    return list(zip(letters(handout), doses, strict=True))


def more_text(handout: Handout, hidden: Sequence[Sequence[Verdict]]) -> str:
    """What stands behind the corals that the page has no room for, setup by setup."""
    sentences = []
    for letter, verdicts in zip(letters(handout), hidden, strict=True):
        if not verdicts:
            continue
        states = Counter(state_words(v) for v in verdicts)
        doses = sorted(v.dli_mol_m2_d for v in verdicts)
        span = f"{number(doses[0])} to {number(doses[-1])}" if len(doses) > 1 else number(doses[0])
        told = ", ".join(f"{n} {words}" for words, n in states.most_common())
        whom = f"{f'{letter}: ' if letter else ''}{count(len(doses), 'more coral')}"
        sentences.append(f"{whom} at {span} {DLI_UNIT_TYPESET}: {told}.")
    return " ".join(sentences)


def state_words(verdict: Verdict) -> str:
    """A state for a narrow column: "within", "far below", "undecided"."""
    return OPEN if verdict.dli_verdict == "undecided" else short_state(verdict.dli_verdict)


def standing_points(handout: Handout) -> list[Point]:
    """On what the page stands, what it is not, and how nobody gets hurt."""
    analyses = [light.analysis for light in handout.lights]
    return [
        Point(_basis(analyses), "Stands on"),
        Point(USUAL, "Usual"),
        Point(DIAGNOSIS, "Not a diagnosis"),
        Point(_safety(analyses), "Safety"),
    ]


def _basis(analyses: Sequence[Analysis]) -> str:
    sentences = list(dict.fromkeys(_shorter_names(a, a.basis.sentence) for a in analyses))
    if len(analyses) == 2 and len(sentences) == 2:
        return f"A: {sentences[0]} B: {sentences[1]}"
    return sentences[0]


def _safety(analyses: Sequence[Analysis]) -> str:
    """The lines on safety once each, those of the light that reaches a limit soonest."""
    text = " ".join(caution.text for caution in safety_lines(*analyses))
    for analysis in analyses:
        text = _shorter_names(analysis, text)
    return text


def _shorter_names(analysis: Analysis, text: str) -> str:
    """A sentence with the long names of fixtures cut, so that it keeps its place on the page."""
    for name in sorted((f.name for f in analysis.setup.fixtures), key=len, reverse=True):
        if len(name) > LONGEST_NAME:
            text = text.replace(name, joined_ends(name, LONGEST_NAME)).replace(
                repr(name)[1:-1], joined_ends(name, LONGEST_NAME)
            )
    return text


START: Final = (
    "Start at or below this dose, then brighter by at most 10 % a week (common practice, no published rule). "
    "If it pales or stays closed, light is only one of many causes."
)
UNKNOWN: Final = (
    "This dose gives nothing to start from: begin at the low end of the usual (common practice, no published "
    "source)."
)
WITHOUT_LIGHT: Final = "Its group lives without light: there is no least amount to start from."
GRADES: Final = {
    "A": "two or more published numbers",
    "B": "one published number",
    "C": "published direction only",
    "D": "practice only",
    "own": "own records of this tank",
}
TOLD: Final = frozenset(
    ("coral", "group", "dli_mol_m2_d", "peak_ppfd_umol_m2_s", "photoperiod_h", "peak_equivalent_h")
) | {"interval_95", "dli_state", "dli_verdict", "band_dli", "grade", "sources"}
"""Figures of `dose` that the slip has too."""


def slip_answer(slip: Slip, file: Path | None) -> Answer:
    """The slip in words; ``file`` is its page, None where none was written."""
    analysis = slip.analysis
    rows = [Point(heading(slip), "coral"), Point(origin_sentence(slip), "from"), *slip_points(slip)]
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


def heading(slip: Slip) -> str:
    """The coral's name as the slip's title."""
    return literal(slip.verdict.coral)


def origin_sentence(slip: Slip) -> str:
    """From where, and of when the figures are."""
    return f"{literal(slip.analysis.setup.title)}, {slip.date}"
