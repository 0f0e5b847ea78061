"""`tune` in words: which levels, which hours, what every coral gets, and what stands in the way."""

from __future__ import annotations

import os
from collections.abc import Iterator, Mapping, Sequence
from typing import TextIO

from lightdose.answers.dose import is_safety
from lightdose.answers.verdicts import table_words, verdict_words, worst_first
from lightdose.model.plans import ChannelSetting, Conflict, CoralChange, Edge, Remedy, Tuning
from lightdose.model.results import Verdict
from lightdose.present.labels import DLI_UNIT, count, literal, number, range_text
from lightdose.present.tables import Column, print_table, say, terminal_console

EDGE_WORDS: Mapping[Edge | None, str] = {
    "low": "low edge",
    "high": "high edge",
    "peak": "midday limit",
    None: "",
}
SUDDEN_NAMED = 4
CAUTIONS_SHOWN = ("long_day", "no_dark_hours", "no_ramp", "little_blue", "much_red", "ultraviolet")
"""Cautions on the mix and the day that the tuned programme itself may raise."""


def tune_lines(tuning: Tuning, files: Mapping[str, str]) -> Iterator[str]:
    """The answer for pipes: one record a line, fields parted by tabs."""
    for sentence in opening_sentences(tuning):
        yield literal(sentence)
    for change in _ranked(tuning):
        yield "\t".join(literal(f) for f in _coral_fields(change))
    for c in tuning.channels:
        fields = [
            f"channel {c.fixture}/{c.channel}",
            f"level {_percent(c.level_before)} to {_percent(c.level_after)} %",
        ]
        yield "\t".join(literal(f) for f in [*fields, *([c.held] if c.held else [])])
    for sentence in closing_sentences(tuning, files):
        yield literal(sentence)


def show_tuning(
    tuning: Tuning, files: Mapping[str, str], stream: TextIO, *, colour: bool, width: int | None = None
) -> None:
    """Print `tune` for people: the finding, levels, corals, the verdict last."""
    console = terminal_console(stream, colour=colour, width=width)
    first, *rest = opening_sentences(tuning)
    say(console, literal(first), "italic")
    for sentence in rest:
        say(console, literal(sentence))
    say(console, "\nLevels at the plateau", "bold")
    print_table(console, _channel_columns(tuning), [False] * len(tuning.channels), indispensable=4)
    say(console, "\nThe corals", "bold")
    ranked = _ranked(tuning)
    bold = [c.after.dli_state not in ("within", "not_judged") for c in ranked]
    print_table(console, _coral_columns(ranked), bold, indispensable=5)
    *middle, last = closing_sentences(tuning, files)
    say(console, "")
    for sentence in middle:
        say(console, f"- {literal(sentence)}")
    say(console, literal(last), "bold")


def opening_sentences(tuning: Tuning) -> list[str]:
    """On what it stands, then the finding, the day, and what was kept or cut."""
    basis = tuning.before.basis
    lead = basis.sentence
    if basis.key != "measured":
        lead = (
            f"Measure first. {basis.sentence} One meter reading at a coral and "
            "`lightdose calibrate` come before these levels."
        )
    return [lead, headline(tuning), *conflict_sentences(tuning.conflict), *_day_words(tuning), *tuning.notes]


def headline(tuning: Tuning) -> str:
    """How many corals are served, before and after."""
    judged = [c for c in tuning.corals if c.after.dli_state != "not_judged"]
    within = sum(c.before.dli_state == "within" for c in judged)
    out = len(tuning.out_of_band)
    if tuning.unchanged:
        return (
            f"Today's programme already gives {'the coral its' if len(judged) == 1 else 'every coral its'} "
            "usual amount: nothing to change."
        )
    whom = f"{len(judged) - out} of {count(len(judged), 'coral')}"
    if not out:
        whom = {1: "The coral", 2: "Both corals"}.get(len(judged), f"All {len(judged)} corals")
    stated = "" if tuning.before.basis.key == "measured" else " by the stated values"
    return f"{whom} within common practice{stated}, {within} before."


def conflict_sentences(conflict: Conflict | None) -> list[str]:
    """Who cannot be served together, by how much, and what would solve it."""
    if conflict is None:
        return []
    low, high = _quoted(conflict.low), _quoted(conflict.high)
    needs, gets = (None if v is None else number(v) for v in (conflict.needs, conflict.gets))
    factor = "" if conflict.factor is None else f"{conflict.factor:.2f} times"
    if conflict.kind == "pair":
        text = (
            f"{low} and {high} cannot both be served where they are: while {high} stays within its limit, "
            f"{low} gets at most {gets} {DLI_UNIT} and needs {needs}, {factor} as much."
        )
    elif conflict.kind == "reach":
        text = (
            f"The light that may run does not reach: {low} gets at most {gets} {DLI_UNIT} and needs {needs}, "
            f"{factor} as much."
        )
    elif conflict.kind == "excess":
        text = (
            f"The least light that your bounds allow is too much for {high}: {gets} {DLI_UNIT}, {factor} its "
            f"upper limit {needs}."
        )
    else:
        text = f"No two corals stand in each other's way, but all together do, {low} and {high} foremost."
    helps = [_remedy_words(r) for r in conflict.remedies]
    return [text, *(helps or [_OTHER_WAYS[conflict.kind]])]


_OTHER_WAYS = {
    "pair": "No free site of the setup and no shade on one coral solves it: add a site, or part the two.",
    "several": "No one move to a free site and no shade on one coral solves it.",
    "reach": "What would: more hours or channels, a lower fixture or another one, or a place nearer to it.",
    "excess": "What would: looser bounds, a higher fixture, or a darker place for it.",
}


def _remedy_words(remedy: Remedy) -> str:
    result = (
        "every coral can be served"
        if remedy.out_of_band == 0
        else f"{count(remedy.out_of_band, 'coral')} would still be outside"
    )
    if remedy.kind == "move":
        return f"Move {_quoted(remedy.coral)} to {_quoted(remedy.site)}: then {result}."
    return (
        f"Shade {_quoted(remedy.coral)} to {remedy.open_sky:g} of its light (open_sky times "
        f"{remedy.open_sky:g}): then {result}."
    )


def _day_words(tuning: Tuning) -> list[str]:
    day = tuning.day_after
    if day is None:
        return [] if tuning.unchanged else ["Each channel keeps its own course through the day."]
    was = tuning.day_before
    today = "" if was is None else f" (today about {_hours(was.plateau_h)})"
    return [
        f"The day: {_clock(day.start_h)} to {_clock(day.start_h + day.lit_h)}, ramps of {_hours(day.up_h)} "
        f"up and {_hours(day.down_h)} down, plateau {_hours(day.plateau_h)}{today}."
    ]


def _ranked(tuning: Tuning) -> list[CoralChange]:
    order = [v.coral for v in worst_first(tuple(c.after for c in tuning.corals))]
    return sorted(tuning.corals, key=lambda c: order.index(c.coral))


def _channel_columns(tuning: Tuning) -> list[Column]:
    rows: tuple[ChannelSetting, ...] = tuning.channels
    return [
        Column("fixture", tuple(literal(c.fixture) for c in rows), name=True),
        Column("channel", tuple(literal(c.channel) for c in rows), name=True),
        Column("today\n%", tuple(_percent(c.level_before) for c in rows), right=True),
        Column("tuned\n%", tuple(_percent(c.level_after) for c in rows), right=True),
        Column("held", tuple(literal(c.held) for c in rows)),
    ]


def _coral_columns(rows: list[CoralChange]) -> list[Column]:
    return [
        Column("coral", tuple(literal(c.coral) for c in rows), name=True),
        Column(f"today\n{DLI_UNIT}", tuple(number(c.before.dli_mol_m2_d) for c in rows), right=True),
        Column("tuned", tuple(number(c.after.dli_mol_m2_d) for c in rows), right=True),
        Column("usual", tuple(range_text(*c.after.band_dli) if c.after.band_dli else "-" for c in rows)),
        Column("tuned is", tuple(table_words(c.after) for c in rows)),
        Column("95 %", tuple(_interval(c.after) for c in rows)),
        Column("binds", tuple(EDGE_WORDS[c.binds] for c in rows)),
        Column("today is", tuple(table_words(c.before) for c in rows)),
    ]


def _coral_fields(change: CoralChange) -> list[str]:
    before, after = change.before, change.after
    fields = [
        f"coral {change.coral}",
        f"before {number(before.dli_mol_m2_d)} {DLI_UNIT} ({_interval(before)}), {verdict_words(before)}",
        f"after {number(after.dli_mol_m2_d)} {DLI_UNIT} ({_interval(after)}), {verdict_words(after)}",
    ]
    if after.band_dli is not None:
        fields.append(f"usual {range_text(*after.band_dli)} {DLI_UNIT}")
    if change.binds is not None:
        fields.append(f"binds {EDGE_WORDS[change.binds]}")
    return fields


def closing_sentences(tuning: Tuning, files: Mapping[str, str]) -> list[str]:
    """What rounding cost, electricity, cautions, whether it must go in steps, and what to do next."""
    loss, coral = tuning.largest_loss
    sentences = []
    if not tuning.unchanged:
        sentences.append(
            f"Verified as written, with its true shape: {100 * loss:.2g} % off the computed dose at most "
            f"({_quoted(coral)})."
        )
    if bound := [_quoted(c.coral) for c in tuning.corals if c.binds]:
        sentences.append(f"What holds it there: {', '.join(bound)}.")
    before, after = tuning.energy_kwh_d
    if before is not None and after is not None:
        sentences.append(f"Energy {before:.2f} kWh/day before, {after:.2f} after.")
    sentences += [c.text for c in tuning.after.cautions if c.code in CAUTIONS_SHOWN]
    sentences += [c.text for c in tuning.after.cautions if is_safety(c)][:1]
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
    return [*sentences, f"{headline(tuning)} Next: {next_command(tuning, files)}"]


def _rises(changes: Sequence[CoralChange]) -> str:
    """The corals that rise, from where to where; beyond a few the rest is counted."""
    named = ", ".join(
        f"{_quoted(c.coral)} from {number(c.before.dli_mol_m2_d)} to {number(c.after.dli_mol_m2_d)}"
        for c in changes[:SUDDEN_NAMED]
    )
    rest = len(changes) - SUDDEN_NAMED
    return f"{named}{f' and {rest} more' if rest > 0 else ''} {DLI_UNIT}"


def next_command(tuning: Tuning, files: Mapping[str, str]) -> str:
    """What helps most from here."""
    path = tuning.before.setup.path or "setup.toml"
    setup = _word(path)
    if tuning.unchanged:
        return f"lightdose dose {setup}"
    if not files:
        return f"lightdose tune {setup} -o tuned"
    if len(files) == 1 and len(tuning.before.setup.fixtures) == 1:
        target = _word(next(iter(files.values())))
        if tuning.sudden:
            return f"lightdose acclimate {setup} {setup} --schedule {target} -o steps"
        return f"lightdose dose {setup} --schedule {target}"
    lines = ", ".join(
        f'schedule = "{_from_the_setup(file, path)}" under fixture "{literal(name)}"'
        for name, file in files.items()
    )
    if tuning.sudden:
        return f"in a copy of {path} set {lines}; then lightdose acclimate {setup} COPY -o steps"
    return f"in {path} set {lines}; then lightdose dose {setup}"


def _from_the_setup(file: str, setup: str) -> str:
    """A file as the setup must name it: paths there start from the setup's own folder."""
    try:
        relative = os.path.relpath(file, os.path.dirname(os.path.abspath(setup)))
    except ValueError:  # another drive
        relative = os.path.abspath(file)
    return relative.replace(os.sep, "/")


def _word(path: str) -> str:
    return f'"{path}"' if " " in path else path


def _quoted(name: str | None) -> str:
    return f"'{literal(name)}'" if name is not None else "others"


def _percent(level: float) -> str:
    return f"{100 * level:.1f}".removesuffix(".0")


def _interval(verdict: Verdict) -> str:
    if verdict.certainty is None:
        return "-"
    low, high = verdict.certainty.interval_dli
    return f"{number(low)}-{number(high)}"


def _hours(hours: float) -> str:
    minutes = round(60 * hours)
    return f"{minutes // 60}:{minutes % 60:02d} h"


def _clock(hours: float) -> str:
    minutes = round(60 * hours)
    later = "+1" if minutes > 24 * 60 else ""
    return f"{minutes // 60 % 24:02d}:{minutes % 60:02d}{later}"
