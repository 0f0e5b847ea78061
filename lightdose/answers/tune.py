"""`tune`: which levels, which hours, what every coral gets before and after, and what stands in the way."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Block, Point, Points, Say, Section
from lightdose.answers.dose import brief_cautions, cautions_section, safety_section
from lightdose.answers.field import Field, as_json, plain, said, table
from lightdose.answers.verdicts import brief_words, concern, interval_text, verdict_words
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
from lightdose.model.plans import BLUE_BELOW_NM, Conflict, CoralChange, Edge, Remedy, Tuning

EDGE_WORDS: Final[Mapping[Edge, str]] = {"low": "low edge", "high": "high edge", "peak": "midday limit"}
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
    Field("binds", "limited by", lambda c: c.binds, kind="string", show=lambda edge: EDGE_WORDS[edge],
          at={"corals": 6}),
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


def tune_answer(tuning: Tuning, files: Mapping[str, Path]) -> Answer:
    """The finding, levels, corals, what to mind; ``files``: fixture -> schedule that was written."""
    cautions = tuning.after.cautions
    corals = sorted(tuning.corals, key=lambda c: concern(c.after))
    levels = table("channels", "Levels at the plateau", CHANNEL, tuning.channels, least=4)
    doses = table(
        "corals", "Doses before and after", CORAL, corals, strong=lambda c: c in tuning.out_of_band, least=3
    )
    known = table("certainty", "How sure each verdict is", CORAL, corals)
    return Answer(
        "tune",
        (
            *opening(tuning),
            Section("Levels at the plateau", (levels,)),
            Section("The corals", (doses,)),
            Section("How sure this is", (known,), brief=False),
            Section("Worth knowing", (Points(tuple(map(Point, knowing(tuning)))),)),
            cautions_section(cautions),
            safety_section(cautions),
            *brief_cautions(cautions),
            Say(f"{headline(tuning)} Next: {next_command(tuning, files)}", "verdict"),
        ),
        lambda: tune_body(tuning, files),
        title=tuning.before.setup.title,
        basis=tuning.before.basis.key,
        judged={"before": tuning.before.judgement, "after": tuning.after.judgement},
        cautions=cautions,
        setups=(tuning.before.setup,),
        missed=bool(tuning.out_of_band),
    )


def tune_body(tuning: Tuning, files: Mapping[str, Path]) -> dict[str, Any]:
    """Schedules and levels, the day, the corals before and after, and what stands in the way."""
    energy_before, energy_after = tuning.energy_kwh_d
    loss, worst = tuning.largest_loss
    return {
        "prefer": tuning.wishes.prefer,
        "unchanged": tuning.unchanged,
        "schedules": [
            schedule_json(name, files.get(name))
            | {"channels": [as_json(CHANNEL, c) for c in tuning.channels if c.fixture == name]}
            for name in (f.name for f in tuning.after.setup.lit_fixtures)
        ],
        "day": {"before": plain(tuning.day_before), "after": plain(tuning.day_after)},
        "out_of_band": len(tuning.out_of_band),
        "conflict": plain(tuning.conflict),
        "corals": [as_json(CORAL, change) for change in tuning.corals],
        "energy_kwh_d": {"before": energy_before, "after": energy_after},
        "writing_loss": {"largest_fraction": loss, "coral": worst or None},
        "too_big_for_one_day": [c.coral for c in tuning.sudden],
        "notes": notes(tuning),
    }


def opening(tuning: Tuning) -> list[Block]:
    """On what it stands, then the finding, who stands in the way, the day, and what was kept or cut."""
    basis = tuning.before.basis
    lead = basis.sentence
    if basis.key != "measured":
        lead = (
            f"Measure first. {basis.sentence} One meter reading at a coral and "
            "`lightdose calibrate` come before these levels."
        )
    told = [*conflict_sentences(tuning.conflict), *_day_words(tuning), *notes(tuning)]
    return [Say(lead, "basis"), Say(headline(tuning), "strong"), *map(Say, told)]


def headline(tuning: Tuning) -> str:
    """How many corals are served, before and after."""
    judged = [c for c in tuning.corals if c.after.dli_state != "not_judged"]
    within = sum(c.before.dli_state == "within" for c in judged)
    out = len(tuning.out_of_band)
    if tuning.unchanged:
        whose = "the coral its" if len(judged) == 1 else "every coral its"
        return f"Today's programme already gives {whose} usual amount: nothing to change."
    whom = f"{len(judged) - out} of {count(len(judged), 'coral')}"
    if not out:
        whom = {1: "The coral", 2: "Both corals"}.get(len(judged), f"All {len(judged)} corals")
    stated = "" if tuning.before.basis.key == "measured" else " by the stated values"
    return f"{whom} within common practice{stated}, {within} before."


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


def conflict_sentences(conflict: Conflict | None) -> list[str]:
    """Who cannot be served together, by how much, and what would solve it."""
    if conflict is None:
        return []
    helps = [_remedy_words(r) for r in conflict.remedies]
    return [_conflict_words(conflict), *(helps or [_OTHER_WAYS[conflict.kind]])]


def _conflict_words(conflict: Conflict) -> str:
    needs, gets = conflict.needs_mol_m2_d, conflict.gets_at_best_mol_m2_d
    return _CONFLICTS[conflict.kind].format(
        low=_quoted(conflict.low),
        high=_quoted(conflict.high),
        needs="" if needs is None else number(needs),
        gets="" if gets is None else f"{number(gets)} {DLI_UNIT}",
        factor="" if conflict.factor is None else f"{conflict.factor:.2f} times",
    )


_CONFLICTS: Final = {
    "pair": "{low} and {high} cannot both be served where they are: while {high} stays within its limit, "
    "{low} gets at most {gets} and needs {needs}, {factor} as much.",
    "reach": "The light that may run does not reach: {low} gets at most {gets} and needs {needs}, {factor} "
    "as much.",
    "excess": "The least light that your bounds allow is too much for {high}: {gets}, {factor} its upper "
    "limit {needs}.",
    "several": "No two corals stand in each other's way, but all together do, {low} and {high} foremost.",
}
_OTHER_WAYS: Final = {
    "pair": "No free site of the setup and no shade on one coral solves it: add a site, or part the two.",
    "several": "No one move to a free site and no shade on one coral solves it.",
    "reach": "What would: more hours or channels, a lower fixture or another one, or a place nearer to it.",
    "excess": "What would: looser bounds, a higher fixture, or a darker place for it.",
}


def _remedy_words(remedy: Remedy) -> str:
    result = "every coral can be served"
    if remedy.out_of_band:
        result = f"{count(remedy.out_of_band, 'coral')} would still be outside"
    if remedy.kind == "move":
        return f"Move {_quoted(remedy.coral)} to {_quoted(remedy.site)}: then {result}."
    factor = f"{remedy.open_sky_factor:g}"
    return f"Shade {_quoted(remedy.coral)} to {factor} of its light (open_sky times {factor}): then {result}."


def _day_words(tuning: Tuning) -> list[str]:
    day, was = tuning.day_after, tuning.day_before
    if day is None:
        return [] if tuning.unchanged else ["Each channel keeps its own course through the day."]
    today = "" if was is None else f" (today about {span_of_hours(was.plateau_h)})"
    return [
        f"The day: {clock(day.start_h)} to {clock(day.start_h + day.lit_h)}, ramps of "
        f"{span_of_hours(day.ramp_up_h)} up and {span_of_hours(day.ramp_down_h)} down, plateau "
        f"{span_of_hours(day.plateau_h)}{today}."
    ]


def knowing(tuning: Tuning) -> list[str]:
    """What rounding cost, what limits the corals, electricity, and whether it must go in steps."""
    sentences = []
    if not tuning.unchanged:
        loss, coral = tuning.largest_loss
        sentences.append(
            f"Read back and checked, with its true shape: doses agree within {100 * loss:.2g} %, "
            f"least well at {_quoted(coral)}."
        )
    if bound := [_quoted(c.coral) for c in tuning.corals if c.binds]:
        sentences.append(f"Limited by: {', '.join(bound)}.")
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


def _rises(changes: Sequence[CoralChange]) -> str:
    """The corals that rise, from where to where; beyond a few the rest is counted."""
    named = ", ".join(
        f"{_quoted(c.coral)} from {number(c.before.dli_mol_m2_d)} to {number(c.after.dli_mol_m2_d)}"
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


def _quoted(name: str | None) -> str:
    return f"'{literal(name)}'" if name is not None else "others"
