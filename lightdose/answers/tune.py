"""`tune`: which levels, which hours, what every coral gets before and after, and what stands in the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.answers.advice import unserved_sentence
from lightdose.answers.answer import Answer, drawn_of
from lightdose.answers.blocks import Block, Point, Points, Say, Section
from lightdose.answers.dose import brief_cautions, cautions_section, safety_section
from lightdose.answers.field import Field, as_json, plain, said, table
from lightdose.answers.light import MOL
from lightdose.answers.verdicts import (
    before_after_words,
    brief_words,
    concern,
    concerns,
    interval_text,
    verdict_words,
    within_words,
)
from lightdose.answers.words import (
    DLI_UNIT,
    clock,
    count,
    number,
    percent,
    percent_text,
    range_text,
    schedule_json,
    span_of_hours,
    try_schedules,
    typed_path,
)
from lightdose.errors import literal
from lightdose.model.advice import Advice
from lightdose.model.plans import BLUE_BELOW_NM, CoralChange, Tuning
from lightdose.model.results import Analysis

SUDDEN_NAMED: Final = 4


# fmt: off
LIGHT: Final = (
    Field("dli_mol_m2_d", "DLI", lambda v: v.dli_mol_m2_d, "dli"),
    Field("dli_state", "calculated", lambda v: v.dli_state, kind="string"),
    Field("dli_verdict", "verdict", lambda v: v.dli_verdict, kind="string"),
    Field("peak_ppfd_umol_m2_s", "peak", lambda v: v.peak_ppfd_umol_m2_s, "peak"),
    Field("peak_state", "the peak is", lambda v: v.peak_state, kind="string"),
    Field("interval_95", "95 %", lambda v: v.certainty and {"dli_mol_m2_d": v.certainty.interval_dli}),
    Field("probability_within", "within", lambda v: v.certainty and v.certainty.probability.get("within")),
)
CORAL: Final = (
    Field("coral", "coral", lambda c: c.coral, kind="string", fold=True, at={"corals": 0, "certainty": 0}),
    Field("group", "group", lambda c: c.after.group, kind="string"),
    Field("site", "site", lambda c: c.after.site, kind="string"),
    Field("today", "DLI today", lambda c: c.before.dli_mol_m2_d, "dli", key="", at={"corals": 1}),
    Field("tuned", "DLI tuned", lambda c: c.after.dli_mol_m2_d, "dli", key="", at={"corals": 2}),
    said("tuned_is", "tuned is", lambda c: brief_words(c.after), kind="string", at={"corals": 3}),
    Field("band_dli", "usual", lambda c: c.after.band_dli, kind="string", show=lambda band: range_text(*band),
          at={"corals": 4}),
    said("today_is", "today is", lambda c: brief_words(c.before), kind="string", at={"corals": 5}),
    said("tuned_95", "tuned, 95 %", lambda c: c.after.certainty and c.after.certainty.interval_dli,
         show=interval_text, at={"corals": 7, "certainty": 1}),
    said("tuned_words", "tuned is", lambda c: verdict_words(c.after), kind="string", fold=True,
         at={"certainty": 2}),
    said("today_95", "today, 95 %", lambda c: c.before.certainty and c.before.certainty.interval_dli,
         show=interval_text, at={"certainty": 3}),
    said("today_words", "today is", lambda c: verdict_words(c.before), kind="string", fold=True,
         at={"certainty": 4}),
    Field("before", "before", lambda c: as_json(LIGHT, c.before)),
    Field("after", "after", lambda c: as_json(LIGHT, c.after)),
    Field("rise", "rise", lambda c: c.rise),
)
CHANNEL: Final = (
    Field("fixture", "fixture", lambda c: c.fixture, kind="string", fold=True, key="", at={"channels": 0}),
    Field("channel", "channel", lambda c: c.channel, kind="string", fold=True, at={"channels": 1}),
    Field("level_before", "today", lambda c: round(100 * c.level_before, 12), unit="%", show=percent_text,
          key="level_percent.before", at={"channels": 2}),
    Field("level_after", "tuned", lambda c: round(100 * c.level_after, 12), unit="%", show=percent_text,
          key="level_percent.after", at={"channels": 3}),
    Field("held", "held", lambda c: c.held or None, kind="string", at={"channels": 4}),
)
# fmt: on


def tune_answer(tuning: Tuning, files: Mapping[str, Path], *, keeps: bool = False) -> Answer:
    """The finding, levels, corals, what to mind; ``files``: fixture -> schedule that was written.

    With ``keeps`` they are taken over, and what is next is told there.
    """
    cautions = tuning.after.cautions
    corals = sorted(tuning.corals, key=lambda c: concern(c.after))
    levels = table("channels", "Levels at the plateau, as they are set", CHANNEL, tuning.channels, least=4)
    doses = table(
        "corals",
        "Doses before and after",
        CORAL,
        corals,
        strong=lambda c: c in tuning.out_of_band,
        **concerns([c.after for c in corals]),
        unit=MOL,
        least=5,
    )
    known = table("certainty", "How sure each verdict is", CORAL, corals)
    return Answer(
        "tune",
        (
            *opening(tuning),
            Section("Levels at the plateau", (levels,)),
            Section(f"The corals: daily dose in {DLI_UNIT}, those of concern first", (doses,)),
            Section("How sure this is", (known,), brief=False),
            Section("Worth knowing", (Points(tuple(map(Point, knowing(tuning)))),)),
            cautions_section(cautions),
            safety_section(cautions),
            *brief_cautions(cautions),
            Say(f"{headline(tuning)}{'' if keeps else f' Next: {next_command(tuning, files)}'}", "verdict"),
        ),
        lambda: tune_body(tuning, files),
        title=tuning.before.setup.title,
        basis=tuning.before.basis.key,
        judged={"before": tuning.before.judgement, "after": tuning.after.judgement},
        cautions=cautions,
        setups=(tuning.before.setup,),
        drawn=drawn_of(tuning.after),
        missed=bool(tuning.out_of_band),
    )


def tune_body(tuning: Tuning, files: Mapping[str, Path]) -> dict[str, Any]:
    """Schedules and levels, overall settings, the day, the corals before and after, and whom to move."""
    energy_before, energy_after = tuning.energy_kwh_d
    moved = tuning.moved
    return {
        "change": tuning.wishes.change,
        "prefer": tuning.wishes.prefer,
        "unchanged": tuning.unchanged,
        "refused": plain(tuning.refused),
        "penalty": {when: part.judgement.penalty for when, part in _sides(tuning)},
        "all_channels": {
            when: {d.fixture: getattr(d, when) for d in tuning.dials} for when, _ in _sides(tuning)
        },
        "schedules": [
            schedule_json(name, files.get(name))
            | {"channels": [as_json(CHANNEL, c) for c in tuning.channels if c.fixture == name]}
            for name in (f.name for f in tuning.after.setup.lit_fixtures)
        ],
        "day": {"before": plain(tuning.day_before), "after": plain(tuning.day_after)},
        "out_of_band": len(tuning.out_of_band),
        "better": [c.coral for c in tuning.corals if c.step < 0],
        "worse": [c.coral for c in tuning.corals if c.step > 0],
        "cannot_be_served": plain(tuning.unserved),
        "with_moves": moved
        and {
            "moves": [{"coral": c, "from": a, "to": b} for c, (a, b) in moved.moves.items()],
            "counts": moved.after.judgement.counts,
            "calculated_counts": moved.after.judgement.calculated_counts,
            "penalty": moved.after.judgement.penalty,
        },
        "corals": [as_json(CORAL, change) for change in tuning.corals],
        "energy_kwh_d": {"before": energy_before, "after": energy_after},
        "too_big_for_one_day": [c.coral for c in tuning.sudden],
        "notes": notes(tuning),
    }


def _sides(tuning: Tuning) -> tuple[tuple[str, Analysis], tuple[str, Analysis]]:
    return ("before", tuning.before), ("after", tuning.after)


def opening(tuning: Tuning) -> list[Block]:
    """What to turn where, on what that stands, the day, and the corals that only a move serves."""
    basis = tuning.before.basis
    lead = basis.sentence
    if basis.key != "measured":
        lead = (
            f"Measure first. {basis.sentence} One meter reading at a coral and "
            "`lightdose calibrate` come before these levels."
        )
    told = [*_setting_words(tuning), *_day_words(tuning), *notes(tuning), *_moves_words(tuning)]
    return [Say(lead, "basis"), Say(headline(tuning), "strong"), *map(Say, told)]


def headline(tuning: Tuning) -> str:
    """How the corals stand, before and after."""
    before, after = tuning.before.judgement, tuning.after.judgement
    if not tuning.unchanged:
        return f"{before_after_words(before, after)}."
    if before.within == before.judged:
        return f"Leave it: {within_words(before)} already."
    what = {
        "overall": "overall setting and no other day",
        "fixtures": "setting of the fixtures and no other day",
        "channels": "level of the channels and no other day",
    }[tuning.wishes.change]
    text = f"Leave it: no other {what} serves these corals noticeably better. {within_words(before)}."
    if tuning.refused is not None:
        other = tuning.refused
        left = f"{other.within} within, {other.undecided} undecided"
        text += f" The best within your bounds would leave {left}."
    return text


def _setting_words(tuning: Tuning) -> list[str]:
    """What to turn at the fixture."""
    if tuning.unchanged:
        return []
    turned = [d for d in tuning.dials if d.after != d.before]
    levels = [c for c in tuning.channels if round(c.level_after - c.level_before, 6)]
    steps = {(d.before, d.after) for d in turned}
    sentences = []
    rest = "; the levels of the channels stay as they are set."
    if turned and levels:
        rest = ", with the levels of the table below."
    if turned:
        if len(steps) == 1 and len(turned) == len(tuning.after.setup.lit_fixtures):
            before, after = map(percent_text, steps.pop())
            sentences.append(f"Overall {before} to {after}{rest}")
        else:
            each = ", ".join(
                f"{literal(d.fixture)} {percent_text(d.before)} to {percent_text(d.after)}" for d in turned
            )
            sentences.append(f"Overall setting: {each}{rest}")
    elif levels:
        if (factor := _one_factor(tuning)) is not None:
            sentences.append(f"All levels times {factor:.2f}: enter those of the table below.")
        else:
            sentences.append("Enter the levels of the table below.")
    return sentences


def _one_factor(tuning: Tuning) -> float | None:
    """By what all levels change alike, up to the tenth of a percent that a controller takes."""
    brightest = max(tuning.channels, key=lambda c: c.level_before)
    factor = brightest.level_after / brightest.level_before if brightest.level_before else 0.0
    alike = all(abs(c.level_after - factor * c.level_before) <= 0.001 for c in tuning.channels)
    return factor if alike and factor else None


def _moves_words(tuning: Tuning) -> list[str]:
    """Who is off all the same, and what moving corals adds."""
    sentences = []
    under = "" if tuning.unchanged else "on the new programme"
    if told := unserved_sentence(Advice(unserved=tuning.unserved), tuning.after, under):
        sentences.append(told)
    if tuning.moved is not None:
        moves = ", ".join(f"{literal(c)} to {literal(b)}" for c, (_, b) in tuning.moved.moves.items())
        stands = tuning.moved.after.judgement
        sentences.append(
            f"With {count(len(tuning.moved.moves), 'coral')} moved ({moves}): {stands.within} within, "
            f"{stands.undecided} undecided."
        )
    elif tuning.wishes.with_moves:
        sentences.append("No coral moved besides would serve more of them.")
    return sentences


def notes(tuning: Tuning) -> list[str]:
    """Which channels were kept and which cut, where only blue may run."""
    shares = [(c, c.blue_share) for c in tuning.channels if c.blue_share is not None]
    if not shares:
        return []
    named = {blue: dict.fromkeys(f"{c.channel} ({percent(s)})" for c, s in shares if c.is_blue == blue)
             for blue in (True, False)}  # fmt: skip
    kept, cut = (", ".join(named[blue]) or "none" for blue in (True, False))
    return [
        f"Blue only, by photons below {BLUE_BELOW_NM:g} nm (our choice: more than half): kept {kept}; "
        f"cut {cut}."
    ]


def _day_words(tuning: Tuning) -> list[str]:
    day, was = tuning.day_after, tuning.day_before
    if tuning.unchanged or day is None or was is None:
        return []
    if round(day.plateau_h - was.plateau_h, 3) == 0 and round(day.lit_h - was.lit_h, 3) == 0:
        return ["The day stays as it is."]
    return [
        f"The day: {clock(day.start_h)} to {clock(day.start_h + day.lit_h)}, plateau "
        f"{span_of_hours(day.plateau_h)} (today {span_of_hours(was.plateau_h)})."
    ]


def knowing(tuning: Tuning) -> list[str]:
    """Electricity, what becomes worse, and whether it must go in steps."""
    sentences = []
    if not tuning.unchanged:
        worse = [c for c in tuning.corals if c.step > 0]
        sentences.append(
            "What is written was read back and judged by itself. "
            + (f"Worse off than today: {_named(worse)}." if worse else "No coral is worse off than today.")
        )
    before, after = tuning.energy_kwh_d
    if before is not None and after is not None:
        sentences.append(f"Energy {before:.2f} kWh/day before, {after:.2f} after.")
    if tuning.sudden:
        sentences.append(
            f"Too big a change for one day: {_rises(tuning.sudden)}, more than 25 % up (common practice, no "
            "published source). Go there in steps with `lightdose acclimate`."
        )
    if tuning.brisk:
        also = " too" if tuning.sudden else ""
        sentences.append(
            f"With caution{also}: {_rises(tuning.brisk)}, 10 to 25 % up at once, more than a week's rise "
            "(common practice, no published source). `lightdose acclimate` spreads it over weeks."
        )
    return sentences


def _named(changes: Sequence[CoralChange]) -> str:
    rest = len(changes) - SUDDEN_NAMED
    names = ", ".join(literal(c.coral) for c in changes[:SUDDEN_NAMED])
    return f"{names} and {rest} more" if rest > 0 else names


def _rises(changes: Sequence[CoralChange]) -> str:
    """The corals that rise, from where to where; beyond a few the rest is counted."""
    named = ", ".join(
        f"{literal(c.coral)} from {number(c.before.dli_mol_m2_d)} to {number(c.after.dli_mol_m2_d)}"
        for c in changes[:SUDDEN_NAMED]
    )
    rest = len(changes) - SUDDEN_NAMED
    return f"{named}{f' and {rest} more' if rest > 0 else ''} {DLI_UNIT}"


def next_command(tuning: Tuning, files: Mapping[str, Path]) -> str:
    """What helps most from here."""
    setup = tuning.before.setup
    path = typed_path(setup)
    if tuning.unchanged:
        return f"lightdose dose {path}"
    if not files:
        return f"lightdose tune {path} -o tuned"
    return try_schedules(setup, files, in_steps=bool(tuning.sudden))
