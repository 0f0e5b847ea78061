"""Advice in words: what to do with a tank, what that does to its corals, and whom only a move would serve."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from typing import Any, Final

from lightdose.answers.blocks import Block, Point, Points, Section
from lightdose.answers.field import Field, as_json, plain, said, table
from lightdose.answers.words import as_typed, count, length, number, percent_text, span_of_hours, typed_path
from lightdose.errors import literal
from lightdose.model.advice import Action, Advice, FreePlace, Unserved
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis
from lightdose.model.setup import LengthUnit, Setup

A_WEEK: Final = 1.10
"""A rise that corals follow in a week: common practice, no published rule per week."""

AT_ONCE: Final = 0.5
"""No more is taken from a coral at once: our choice."""

NAMED: Final = 4


@dataclass(frozen=True)
class Row:
    """An action of a tank."""

    setup: Setup
    action: Action
    after_measuring: bool = False
    unit: LengthUnit = "cm"

    @property
    def doing(self) -> str:
        """What to do, in a few words."""
        return doing(self.action, self.unit)

    @property
    def text(self) -> str:
        """The whole sentence."""
        return sentence(self.action, after_measuring=self.after_measuring, unit=self.unit)


def _change(action: Action) -> dict[str, Any]:
    """What changes, by its kind."""
    if action.dials:
        before_after = {d.fixture: {"before": d.before, "after": d.after} for d in action.dials}
        return {"all_channels": before_after}
    if action.heights_m:
        heights = action.heights_m.items()
        return {"height_m": {name: {"before": one, "after": other} for name, (one, other) in heights}}
    if action.moves:
        return {"site": {coral: {"before": a, "after": b} for coral, (a, b) in action.moves.items()}}
    if action.reading is not None:
        return {"reading_at": action.reading}
    return {"plateau_longer_h": action.longer_h} if action.longer_h else {}


def _before_after(name: str) -> Callable[[Row], dict[str, float]]:
    return lambda row: {
        "before": getattr(row.action.before, name),
        "after": getattr(row.action.after, name),
    }


# fmt: off
FIELDS: Final = (
    Field("kind", "kind", lambda r: r.action.kind, kind="string"),
    said("doing", "what", lambda r: r.doing, kind="string", fold=True, at={"actions": 0}),
    Field("text", "what to do", lambda r: r.text, kind="string"),
    Field("command", "command", lambda r: command(r.setup, r.action), kind="string", fold=True,
          at={"actions": 6}),
    Field("change", "change", lambda r: _change(r.action), csv=False),
    said("within", "within", lambda r: _step(r.action.before.within, r.action.after.within),
         at={"actions": 1}),
    said("undecided", "undecided", lambda r: _step(r.action.before.undecided, r.action.after.undecided),
         at={"actions": 2}),
    said("penalty", "penalty",
         lambda r: _step(f"{r.action.before.penalty:.1f}", f"{r.action.after.penalty:.1f}"),
         at={"actions": 3}),
    *(Field(name, name, _before_after(name), csv=False) for name in ("within", "undecided", "penalty")),
    said("better_n", "better for", lambda r: len(r.action.better), kind="integer", at={"actions": 4}),
    said("worse_n", "worse for", lambda r: len(r.action.worse), kind="integer", at={"actions": 5}),
    Field("better", "better", lambda r: r.action.better),
    Field("worse", "worse", lambda r: r.action.worse),
)
# fmt: on

PENALTY_NOTE: Final = (
    "Penalty: 0 for a coral within, 1 below or above, 2 far off (our choice), expected over what is not "
    "known. Nothing is offered that leaves fewer corals within."
)


def _step(before: object, after: object) -> str:
    return str(before) if before == after else f"{before} to {after}"


def doing(action: Action, unit: LengthUnit = "cm") -> str:
    """What to do, in a few words: "set all fixtures from 46 to 38 %"."""
    if action.kind == "measure":
        return f"take one meter reading at {literal(action.reading or '')}"
    if action.dials:
        return _turning(action)
    if action.kind == "hours":
        way = "longer" if action.longer_h > 0 else "shorter"
        return f"make the plateau {span_of_hours(abs(action.longer_h))} {way}"
    if action.heights_m:
        shift = next(b - a for a, b in action.heights_m.values())
        way = "higher" if shift > 0 else "lower"
        whose = "the fixture" if len(action.heights_m) == 1 else "all fixtures"
        return f"hang {whose} {length(abs(shift), unit)} {unit} {way}"
    if action.kind == "move":
        ((coral, (_, there)),) = action.moves.items()
        return f"move {literal(coral)} to {literal(there)}"
    if action.kind == "exchange":
        return f"exchange {' and '.join(map(literal, action.moves))}"
    return "leave the light and the corals as they are"


def _turning(action: Action) -> str:
    """Which setting to turn, or how far to bring levels that have none above them."""
    steps = {(d.before, d.after) for d in action.dials}
    before, after = (percent_text(p) for p in next(iter(steps)))
    if len(steps) == 1 and not any(d.apart for d in action.dials):
        whose = (
            "all levels" if action.kind == "overall" else f"the levels of {literal(action.dials[0].fixture)}"
        )
        return f"bring {whose} to {after} % of today's"
    if len(steps) == 1:
        of = "" if action.kind == "overall" else f" of {literal(action.dials[0].fixture)}"
        return f"turn the overall setting{of} from {before} to {after} %"
    each = (
        f"{literal(d.fixture)} from {percent_text(d.before)} to {percent_text(d.after)} %"
        for d in action.dials
    )
    return f"turn {', '.join(each)}"


def sentence(action: Action, *, after_measuring: bool = False, unit: LengthUnit = "cm") -> str:
    """The whole sentence: what to do, what it does, to whom, and how fast."""
    told = doing(action, unit)
    if action.kind == "measure":
        return (
            f"{told[0].upper()}{told[1:]}, type it into readings.csv and run lightdose calibrate: until then "
            "the light is known too roughly to change it."
        )
    if action.kind == "leave":
        done = "" if action.before.penalty > 0 else ": every coral that light judges gets what is usual"
        why = done or ": no change that was tried serves more of these corals"
        return f"L{told[1:]}{why}."
    lead = "After measuring, probably: " if after_measuring else ""
    told = f"{lead}{told}" if lead else f"{told[0].upper()}{told[1:]}"
    return f"{told}. {effect(action)}{_pace(action)}"


def effect(action: Action) -> str:
    """What it does: corals within before and after, for whom it is better and for whom worse."""
    before, after = action.before, action.after
    gained = f"{after.within} within instead of {before.within}"
    if after.within == before.within:
        gained = f"{after.within} within as before"
    text = f"{gained}, {after.undecided} undecided ({before.undecided} before)"
    whom = [f"better for {_names(action.better)}"] if action.better else []
    whom.append(f"worse for {_names(action.worse)}" if action.worse else "worse for none")
    return f"{text}; {', '.join(whom)}."


def _names(names: Sequence[str]) -> str:
    if len(names) > NAMED:
        return count(len(names), "coral")
    return ", ".join(map(literal, names))


def _pace(action: Action) -> str:
    """Whether corals take it in a day."""
    if action.largest_rise > A_WEEK - 1 + 1e-9:
        weeks = math.ceil(math.log1p(action.largest_rise) / math.log(A_WEEK) - 1e-9)
        return f" Take {count(weeks, 'week')} for it, at most 10 % more a week."
    if action.largest_cut > AT_ONCE:
        return " Do it in two steps: no coral loses more than half of its light at once."
    return " Small enough for one day."


def command(setup: Setup, action: Action) -> str | None:
    """The command that goes on from there; None where there is none."""
    path = typed_path(setup)
    if action.kind == "measure":
        return f"lightdose survey {path}"
    if action.dials:
        return f"lightdose dose {path} {dial_options(setup, action)}"
    if action.heights_m:
        heights = {f"{round(100 * after, 1):g} cm" for _, after in action.heights_m.values()}
        if len(heights) == 1 and len(action.heights_m) == len(setup.lit_fixtures):
            return f'lightdose dose {path} --fixture-height "{heights.pop()}"'
        return None
    if action.kind == "hours":
        return f"lightdose tune {path} -o tuned"
    if action.kind == "move":
        ((coral, (_, there)),) = action.moves.items()
        return f"lightdose move {path} {as_typed(coral)} --to {as_typed(there)}"
    return None


def dial_options(setup: Setup, action: Action) -> str:
    """The options that try other overall settings."""
    settings = {d.after for d in action.dials}
    if len(settings) == 1 and len(action.dials) == len(setup.lit_fixtures):
        return f"--all-channels {percent_text(settings.pop())}"
    each = (as_typed(f"{d.fixture}={percent_text(d.after)}") for d in action.dials)
    return " ".join(f"--all-channels {one}" for one in each)


def rows_of(analysis: Analysis, unit: LengthUnit = "cm") -> list[Row]:
    """The actions of a tank, the most useful first."""
    advice = analysis.advice or Advice()
    setup, waits = analysis.setup, advice.measure_first
    return [Row(setup, action, waits and n > 0, unit) for n, action in enumerate(advice.actions)]


def unserved_sentence(advice: Advice, analysis: Analysis | None = None, under: str = "") -> str:
    """Corals that no light serves where they sit, and where else each could stand; or empty.

    With the analysis of a tank that has rock, how to look for places on it. ``under`` tells the light that is
    meant where it is neither today's nor that after the advice's own change.
    """
    if not advice.unserved:
        return ""
    if advice.unserved_under is not None:
        under = f"once you {doing(advice.unserved_under)}"
    n = len(advice.unserved)
    movable = [u for u in advice.unserved if u.places]
    even = f"Even {under}, " if under and movable else ""  # which light is meant matters to doses alone
    lead = f"{even}{count(n, 'coral')} cannot be served from where {'it sits' if n == 1 else 'they sit'}"
    if not movable:
        names = "" if n > NAMED else f" ({_names([u.coral for u in advice.unserved])})"
        whom = "it" if n == 1 else "them"
        rest = f"exchange {whom}, or dim for some weeks"
        if analysis is not None and (coral := _hopeful_on_rock(advice, analysis)):
            looks = f"lightdose place {typed_path(analysis.setup)} --coral {as_typed(coral)} --on rock"
            rest = f"look on the rock itself ({looks}), {rest}"
        return f"{lead}{names}, and no free place that would suit can be reached: {rest}."
    moves = "; ".join(_places(u, " then" if under else "") for u in movable[:NAMED])
    more = len(advice.unserved) - len(movable[:NAMED])
    rest = f". For {more} more no free place that would suit can be reached" if more else ""
    if len(movable) > NAMED:
        rest = f"; and {more} more"
    return f"{lead}: move {moves}{rest}."


def _hopeful_on_rock(advice: Advice, analysis: Analysis) -> str | None:
    """The first such coral whose usual light some coral of the tank gets, where there is rock to look on."""
    if not analysis.setup.rocks:
        return None
    verdicts = {v.coral: v for v in analysis.verdicts}
    doses = [v.dli_mol_m2_d for v in analysis.verdicts]
    for unserved in advice.unserved:
        band = verdicts[unserved.coral].band_dli
        if band is not None and any(band[0] <= dose <= band[1] for dose in doses):
            return unserved.coral
    return None


def _places(unserved: Unserved, when: str) -> str:
    places = " or ".join(
        f"{literal(p.site)} ({number(p.dli_mol_m2_d)}{when}{_why_offered(p)})" for p in unserved.places
    )
    return f"{literal(unserved.coral)} to {places}"


def _why_offered(place: FreePlace) -> str:
    """Why a place is offered where the calculated dose is not usual."""
    return f", calculated {place.off} usual, but probably within" if place.off else ""


def advice_points(analysis: Analysis, unit: LengthUnit = "cm") -> list[Point]:
    """What to do first, what else, and who cannot be served: for the head of an answer."""
    rows = rows_of(analysis, unit)
    points = [Point(rows[0].text, "Do first")] if rows else []
    if analysis.advice and not rows and analysis.judgement.judged:
        corals = f"{analysis.judgement.judged:,} corals"
        many = f"{corals} are too many to try changes on: part the setup for advice."
        points.append(Point(many, "Do first"))
    points += [Point(row.text, "Then" if row.after_measuring else "Or") for row in rows[1:2]]
    if analysis.advice and (unserved := unserved_sentence(analysis.advice, analysis)):
        points.append(Point(unserved, "Move"))
    return points


def advice_section(analysis: Analysis, unit: LengthUnit = "cm") -> Section:
    """Every action in a table and in full sentences."""
    rows = rows_of(analysis, unit)
    if not rows:
        return Section("", ())
    tried = table("actions", "Changes tried on the whole tank, the most useful first", FIELDS, rows,
                  note=PENALTY_NOTE)  # fmt: skip
    blocks: tuple[Block, ...] = (tried, Points(tuple(Point(row.text) for row in rows)))
    return Section("What would help", blocks, "advice", "What would help", brief=False, paper=False)


def advice_json(analysis: Analysis) -> dict[str, Any]:
    """Penalty, actions and corals to move, as JSON holds them."""
    unserved = analysis.advice.unserved if analysis.advice else ()
    return {
        "penalty": analysis.judgement.penalty if analysis.judgement.counts else None,
        "actions": [as_json(FIELDS, row) for row in rows_of(analysis)],
        "cannot_be_served": [plain(u) for u in unserved],
    }
