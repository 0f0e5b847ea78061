"""`acclimate`: the steps with their dates, what each coral goes through, what to mind."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Point, Points, Say, Section, pointed
from lightdose.answers.field import Field, as_json, said, table
from lightdose.answers.verdicts import SINGLE_VALUES
from lightdose.answers.words import DLI_UNIT, count, number
from lightdose.errors import literal
from lightdose.model.plans import (
    AcclimatingCoral,
    Acclimation,
    AcclimationStep,
    CarefulStart,
    CoralStep,
)
from lightdose.model.record import dataclass
from lightdose.model.results import Span

NAMED: Final = 8
ORIGIN_WORDS: Final = {"today": "today's light", "stated": "as stated", "unknown": "assumed"}


@dataclass(frozen=True, eq=False)
class Row:
    """A coral, and its dose of the first step. [mol m-2 d-1]"""

    coral: AcclimatingCoral
    first: float


def _span(span: Span) -> str:
    return f"{span.default:.2f} ({span.low:.2f}-{span.high:.2f})"


def _doses(step: AcclimationStep) -> str:
    doses = [coral.dli_mol_m2_d for coral in step.corals]
    return f"{number(min(doses))}-{number(max(doses))}"


def _ends(step: AcclimationStep | CoralStep) -> tuple[float, float, float]:
    return step.d_over_a.low, step.d_over_a.default, step.d_over_a.high


# fmt: off
CORAL_STEP: Final = (
    Field("coral", "coral", lambda c: c.coral, kind="string"),
    Field("dli_mol_m2_d", "DLI", lambda c: c.dli_mol_m2_d, "dli"),
    Field("rise_per_week", "rise", lambda c: c.rise_per_week),
    Field("d_over_a", "D/A", _ends),
)
STEP: Final = (
    Field("day", "day", lambda s: s.day, kind="integer", at={"steps": 0}),
    Field("date", "date", lambda s: s.date, kind="string", at={"steps": 1}),
    Field("scale", "scale", lambda s: s.scale, unit="%", show=lambda scale: f"{100 * scale:.1f}",
          at={"steps": 2}),
    Field("dli_mol_m2_d", "DLI", lambda s: s.site_dli, "dli", "of every site with corals"),
    said("doses", "DLI of the corals", _doses, unit="mol m-2 d-1", at={"steps": 3}),
    said("ahead", "D/A", lambda s: _span(s.d_over_a), at={"steps": 4}),
    Field("d_over_a", "D/A", _ends,
          what="dose over the dose acclimatised to, of the coral furthest ahead: low, default, high"),
    Field("furthest_ahead", "furthest ahead", lambda s: s.furthest_ahead, kind="string", fold=True,
          at={"steps": 5}),
    Field("corals", "corals", lambda s: [as_json(CORAL_STEP, coral) for coral in s.corals], csv=False),
)
CORAL: Final = (
    Field("coral", "coral", lambda r: r.coral.name, kind="string", fold=True, at={"corals": 0}),
    Field("group", "group", lambda r: r.coral.group, kind="string"),
    Field("before_mol_m2_d", "before", lambda r: r.coral.before, "dli", at={"corals": 1}),
    Field("first", "day 0", lambda r: r.first, "dli", key="", at={"corals": 2}),
    Field("target_mol_m2_d", "at the end", lambda r: r.coral.target, "dli", at={"corals": 3}),
    Field("target_at_most_mol_m2_d", "at most", lambda r: r.coral.target * r.coral.rise_at_most, "dli",
          "upper end at the end, by what is not known of both lights", at={"corals": 3.5}),
    Field("rise_at_most", "rise at most", lambda r: r.coral.rise_at_most,
          what="times the calculated rise that the true one may be, upper end of 95 %; 1 where it is known"),
    said("factor", "in all", lambda r: f"{r.coral.target / r.coral.before:.2f} x", at={"corals": 4}),
    Field("before_is", "before is", lambda r: r.coral.origin, kind="string",
          show=lambda origin: ORIGIN_WORDS[origin], at={"corals": 5}),
    Field("site", "site", lambda r: r.coral.site, kind="string", fold=True, at={"corals": 6}),
    Field("newcomer", "new here", lambda r: r.coral.newcomer, kind="boolean"),
    Field("first_limit_mol_m2_d", "at most at first", lambda r: r.coral.first_limit, "dli"),
)
AFTER: Final = (
    Field("times", "the reading there over the calculated", lambda a: a.times, at={"after": 0},
          what="a reading of the new light over what is calculated for it", show=lambda x: f"{x:.2f}"),
    Field("scale", "then run at once", lambda a: a.scale, unit="%", show=lambda scale: f"{100 * scale:.0f}",
          at={"after": 1}, what="share of the new programme's output"),
    Field("weeks", "weeks to all of it", lambda a: a.weeks, show=lambda weeks: f"{weeks:g}",
          at={"after": 2}),
)
START: Final = (
    Field("coral", "coral", lambda s: s.coral, kind="string", what="whose rise may be the largest"),
    Field("site", "site", lambda s: s.site, kind="string", what="where to read"),
    Field("scale", "scale", lambda s: s.scale, what="of the first step"),
    Field("rise_at_most", "rise at most", lambda s: s.rise_at_most,
          what="the whole change over what it lives in, upper end of 95 %"),
    Field("peak_ppfd_umol_m2_s", "peak", lambda s: s.peak, "peak", "to read there on day 0, as calculated"),
    Field("after_measuring", "then", lambda s: [as_json(AFTER, way) for way in s.after], csv=False),
)
# fmt: on


def acclimate_answer(way: Acclimation, files: Sequence[Mapping[str, Path]] = ()) -> Answer:
    """The whole way; ``files`` holds fixture -> schedule for every step, nothing where none was written."""
    first = way.steps[0]
    rows = [Row(c, s.dli_mol_m2_d) for c, s in zip(way.corals, first.corals, strict=True)]
    steps = [one for one in STEP if one.name != "date" or first.date]
    ahead = "D/A: dose over the dose it is set for, of the coral furthest ahead, with its range."
    corals = [one for one in CORAL if one.name != "target_at_most_mol_m2_d" or way.start]
    following = "" if files else " Next: add -o DIR to write one schedule a step and fixture."
    return Answer(
        "acclimate",
        (
            Say(f"{way.basis_sentence} {doses_sentence(way)}", "basis"),
            Say(headline(way), "strong"),
            Points(tuple(map(Point, note_sentences(way)))),
            Section(
                "The steps: every output of the new programme times the scale",
                (table("steps", "The steps", steps, way.steps, note=ahead, least=3),),
            ),
            *([_after_section(way.start)] if way.start else []),
            Section("The corals", (table("corals", "The corals", corals, rows, least=4),)),
            Section("Worth knowing", (Points(pointed(way.cautions)),)),
            Say(f"{closing_sentence(way)}{following}", "verdict"),
        ),
        lambda: _body(way, rows, files),
        title=way.before.title,
        basis=way.basis.key,
        cautions=way.cautions,
        setups=(way.before, way.after),
    )


def _body(way: Acclimation, rows: Sequence[Row], files: Sequence[Mapping[str, Path]]) -> dict[str, Any]:
    curve = way.curve
    written = files or [{}] * len(way.steps)
    return {
        "from": way.before.title,
        "to": way.after.title,
        "rise_per_week": way.rise_per_week,
        "step_days": way.step_days,
        "weeks": way.weeks,
        "start": as_json(START, way.start) if way.start else None,
        "steps": [
            as_json(STEP, step) | _schedules(made) for step, made in zip(way.steps, written, strict=True)
        ],
        "corals": [as_json(CORAL, row) for row in rows],
        "only_in_from": list(way.missing),
        "not_judged": list(way.not_judged),
        "mismatch": {
            "coral": curve.coral,
            "tau_d": list(curve.tau_d),
            "day": curve.day.tolist(),
            "dli_mol_m2_d": curve.dli.tolist(),
            "d_over_a": [row.tolist() for row in curve.d_over_a],
        },
    }


def _schedules(files: Mapping[str, Path]) -> dict[str, Any]:
    """The files of one step; ``file`` is the first of them."""
    schedules = [{"fixture": name, "file": str(path.resolve())} for name, path in files.items()]
    return {"file": schedules[0]["file"] if schedules else None, "schedules": schedules}


def doses_sentence(way: Acclimation) -> str:
    """What the doses are, and what the first step keeps to."""
    if way.start is None:
        return SINGLE_VALUES
    return "Doses here are as calculated; the first step keeps to the upper end of their 95 % range."


def headline(way: Acclimation) -> str:
    """What a change all at once would do, and what the way does instead."""
    if way.start:
        return _careful_headline(way.start)
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


def _careful_headline(start: CarefulStart) -> str:
    then = start.as_calculated
    onward = "all of it" if then.scale >= 1 else f"{_percent(then.scale)} of it, the rest in steps"
    return (
        f"Start at {_percent(start.scale)} of the new programme, measure, then go on: all at once "
        f"{literal(start.coral)!r} might get up to {number(start.rise_at_most)} times what it lives in "
        f"(upper end of 95 %). If the reading is as calculated, run {onward}."
    )


def _percent(scale: float) -> str:
    return f"{math.floor(100 * scale):.0f} %"


def _after_section(start: CarefulStart) -> Section:
    """How to go on from a reading."""
    read = (
        f"Read the plateau at {literal(start.site)!r} on day 0: as calculated it gives "
        f"{number(start.peak)} umol/m2/s. Without a reading the steps above stay slow enough."
    )
    if start.both_open:
        read += " Nobody measured today's light either: read it there first, and divide the one by the other."
    best = "Better still, calibrate with the readings and run acclimate again."
    rows = table("after", "How to go on from the reading", AFTER, start.after, least=3)
    return Section("After measuring", (Say(read), rows, Say(best, "note")))


def closing_sentence(way: Acclimation) -> str:
    """The verdict: how long it takes."""
    last = way.steps[-1]
    if way.start:
        return (
            f"Start at {_percent(way.start.scale)}, measure, then go on by the reading; without one, "
            f"{_took(way)}."
        )
    if len(way.steps) == 1:
        return "Run the new programme from day 0."
    when = f" ({last.date})" if last.date else ""
    return f"{_took(way)}; the new programme runs from day {last.day}{when}."


def _took(way: Acclimation) -> str:
    """How many steps there are, and how long they take: "2 steps in 1 week"."""
    return f"{count(len(way.steps), 'step')} in {way.weeks:g} {'week' if way.weeks == 1 else 'weeks'}"


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


def _listed(names: Sequence[str]) -> str:
    shown = ", ".join(repr(literal(n)) for n in names[:NAMED])
    return shown + (f" and {len(names) - NAMED} more" if len(names) > NAMED else "")
