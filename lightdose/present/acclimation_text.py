"""`acclimate` in words: the steps with their dates, what each coral goes through, what to mind."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TextIO

from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.model.acclimation import AcclimatingCoral, Acclimation, AcclimationStep
from lightdose.model.results import Span
from lightdose.present.labels import DLI_UNIT, count, literal, number
from lightdose.present.tables import Column, print_table, say, terminal_console

NAMED = 8


def headline(way: Acclimation) -> str:
    """What a change all at once would do, and what the way does instead."""
    worst = max(way.corals, key=lambda c: c.target / c.before)
    factor = worst.target / worst.before
    lived = "what is assumed for it" if worst.origin == "unknown" else "what it lives in"
    if len(way.steps) == 1:
        if factor <= 1:
            return "No coral gets more light than before: one step is enough."
        return f"One step is enough: most rises {literal(worst.name)!r}, to {number(factor)} times {lived}."
    return (
        f"All at once {literal(worst.name)!r} would get {number(factor)} times {lived}; "
        f"{count(len(way.steps), 'step')} of at most {100 * way.rise_per_week:g} % a week bring it there."
    )


def closing_sentence(way: Acclimation) -> str:
    """The verdict: how long it takes."""
    last = way.steps[-1]
    if len(way.steps) == 1:
        return "Run the new programme from day 0."
    when = f" ({last.date})" if last.date else ""
    took = f"{count(len(way.steps), 'step')} in {way.weeks:g} weeks"
    return f"{took}; the new programme runs from day {last.day}{when}."


def note_sentences(way: Acclimation) -> Iterator[str]:
    """Who is new, who is missing, who limits nothing."""
    new = [c for c in way.corals if c.newcomer]
    for coral in new:
        yield f"{literal(coral.name)!r} is new here: {_origin(coral)}"
    for coral in way.corals:
        if not coral.newcomer and coral.origin != "today":
            yield f"{literal(coral.name)!r}: {_origin(coral)}"
    if way.missing:
        yield f"Only in today's setup, so left out: {_listed(way.missing)}."
    if way.not_judged:
        yield f"Not judged by light, so they limit nothing: {_listed(way.not_judged)}."


def _origin(coral: AcclimatingCoral) -> str:
    if coral.origin == "stated":
        return f"it lived in {number(coral.before)} {DLI_UNIT}, as stated."
    return f"its earlier light is unknown, so it starts at {number(coral.before)} {DLI_UNIT} at most."


def acclimate_lines(way: Acclimation) -> Iterator[str]:
    """The answer for pipes: one record a line, fields parted by tabs."""
    yield f"{literal(way.basis_sentence)} {SINGLE_VALUES}"
    yield headline(way)
    yield from note_sentences(way)
    for step in way.steps:
        low, high = _dose_range(step)
        fields = [
            f"day {step.day}",
            *([f"date {step.date}"] if step.date else []),
            f"scale {100 * step.scale:.1f} %",
            f"DLI {number(low)}-{number(high)} {DLI_UNIT}",
            f"dose over acclimated {_span(step.d_over_a)}",
            f"furthest ahead {step.furthest_ahead}",
        ]
        yield "\t".join(literal(f) for f in fields)
    for coral in way.corals:
        yield "\t".join(literal(f) for f in _coral_fields(way, coral))
    for caution in way.cautions:
        yield f"caution {literal(caution.text)}\tsource {literal(caution.source)}"
    yield closing_sentence(way)


def show_acclimation(way: Acclimation, stream: TextIO, *, colour: bool, width: int | None = None) -> None:
    """Print `acclimate` for people: steps, corals, cautions, the verdict last."""
    console = terminal_console(stream, colour=colour, width=width)
    say(console, f"{literal(way.basis_sentence)} {SINGLE_VALUES}", "italic")
    say(console, headline(way))
    for sentence in note_sentences(way):
        say(console, f"- {sentence}")
    say(console, "\nThe steps: every output of the new programme times the scale", "bold")
    print_table(console, _step_columns(way.steps), [False] * len(way.steps), indispensable=3)
    say(console, "D/A: dose over the dose it is set for, of the coral furthest ahead, with its range", "dim")
    say(console, "\nThe corals", "bold")
    print_table(console, _coral_columns(way), [False] * len(way.corals), indispensable=4)
    say(console, "\nWorth knowing", "bold")
    for caution in way.cautions:
        say(console, f"- {literal(caution.text)} [{literal(caution.source)}]")
    say(console, "")
    say(console, closing_sentence(way), "bold")


def _step_columns(steps: Sequence[AcclimationStep]) -> list[Column]:
    doses = ["-".join(number(d) for d in _dose_range(s)) for s in steps]
    columns = [
        Column("day", tuple(str(s.day) for s in steps), right=True),
        Column("scale\n%", tuple(f"{100 * s.scale:.1f}" for s in steps), right=True),
        Column(f"DLI of the corals\n{DLI_UNIT}", tuple(doses)),
        Column("D/A", tuple(_span(s.d_over_a) for s in steps)),
        Column("furthest ahead", tuple(literal(s.furthest_ahead) for s in steps), name=True),
    ]
    if steps[0].date is not None:
        columns.insert(1, Column("date", tuple(str(s.date) for s in steps)))
    return columns


def _coral_columns(way: Acclimation) -> list[Column]:
    corals = way.corals
    first = {c.coral: c.dli_mol_m2_d for c in way.steps[0].corals}
    return [
        Column("coral", tuple(literal(c.name) for c in corals), name=True),
        Column(f"before\n{DLI_UNIT}", tuple(number(c.before) for c in corals), right=True),
        Column("day 0", tuple(number(first[c.name]) for c in corals), right=True),
        Column("at the end", tuple(number(c.target) for c in corals), right=True),
        Column("in all", tuple(f"{c.target / c.before:.2f} x" for c in corals), right=True),
        Column("before is", tuple(_ORIGIN_WORDS[c.origin] for c in corals)),
        Column("site", tuple(literal(c.site) for c in corals), name=True),
    ]


_ORIGIN_WORDS = {"today": "today's light", "stated": "as stated", "unknown": "assumed"}


def _coral_fields(way: Acclimation, coral: AcclimatingCoral) -> list[str]:
    first = next(c.dli_mol_m2_d for c in way.steps[0].corals if c.coral == coral.name)
    return [
        f"coral {coral.name}",
        f"before {number(coral.before)} {DLI_UNIT} ({_ORIGIN_WORDS[coral.origin]})",
        f"day 0 {number(first)} {DLI_UNIT}",
        f"at the end {number(coral.target)} {DLI_UNIT}",
        f"site {coral.site}",
    ]


def _dose_range(step: AcclimationStep) -> tuple[float, float]:
    doses = [c.dli_mol_m2_d for c in step.corals]
    return min(doses), max(doses)


def _span(span: Span) -> str:
    return f"{span.default:.2f} ({span.low:.2f}-{span.high:.2f})"


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(repr(literal(n)) for n in names[:NAMED])
    return shown + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")
