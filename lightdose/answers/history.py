"""`history`: what each coral lived in, what changed, and what it showed after it."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Block, Point, Points, Say, Section, Table
from lightdose.answers.diary_words import (
    fared_words,
    listed,
    mark_words,
    moved_words,
    note_words,
    range_words,
    step_words,
)
from lightdose.answers.field import Field, Sheet, as_json, said, table
from lightdose.answers.keep import STATE
from lightdose.answers.note import NOTE
from lightdose.answers.own_ranges import OwnRecords, own_body, own_section, own_sentence
from lightdose.answers.words import DLI_UNIT, as_typed, count, number, typed_path
from lightdose.errors import literal
from lightdose.model.diary import (
    Change,
    CoralHistory,
    Fared,
    History,
    Note,
    Spell,
    StateChange,
    Trouble,
)
from lightdose.model.record import dataclass

TROUBLES_SHOWN: Final = 3
STATES_SHOWN: Final = 12
NOTES_SHOWN: Final = 8
SCORED: Final = ("colour", "open")
SAME: Final = 0.005

NO_CAUSE: Final = (
    "Light is not the diagnosis: what comes before need not be the cause, and heat, nutrients, pests and "
    "handling leave no trace here unless somebody notes them."
)
SET_FOR: Final = (
    "Set for: the dose that a coral has followed to with a lag of 20 days, 4 to 40 in range; it is taken as "
    "set for its first dose."
)


@dataclass(frozen=True, eq=False)
class Event:
    """An entry in the life of a coral: a new state or a note."""

    coral: CoralHistory
    date: str
    what: str
    spell: Spell | None = None
    change: Change | None = None
    note: Note | None = None
    trouble: Trouble | None = None

    def light(self, name: str) -> Any:
        """A figure of the light; None for a note."""
        return getattr(self.spell.light, name) if self.spell else None

    @property
    def colours(self) -> str | None:
        """Blue, green and red in percent of the dose."""
        shares = self.light("shares")
        return "/".join(f"{100 * shares[k]:.0f}" for k in ("blue", "green", "red")) if shares else None

    @property
    def step(self) -> str:
        """The step of the dose and what it counts as."""
        return "" if self.change is None else mark_words(self.change, moves=False) or step_words(self.change)

    def noted(self, name: str) -> Any:
        """A cell of a note; None for a state."""
        return getattr(self.note, name) if self.note else None


def _span(ends: tuple[float, float]) -> str:
    return range_words(*ends)


def _set_for(event: Event) -> Any:
    return event.spell.set_for if event.spell else None


def _share(key: str) -> Any:
    return lambda e: (e.light("shares") or {}).get(key)


# fmt: off
EVENT: Final = (
    Field("coral", "coral", lambda e: e.coral.coral, kind="string"),
    Field("date", "date", lambda e: e.date, kind="string"),
    Field("until", "until", lambda e: e.spell.until if e.spell else None, kind="string",
          what="day of the next state"),
    Field("what", "what", lambda e: e.what, kind="string",
          what="what differs from the state before, or the note"),
    Field("state", "state", lambda e: e.spell.state.name if e.spell else None, kind="string"),
    Field("dli_mol_m2_d", "DLI", lambda e: e.light("dli_mol_m2_d"), "dli"),
    Field("interval_dli", "95 %", lambda e: e.light("interval_dli"),
          what="95 % interval of the dose", unit="mol m-2 d-1",
          parts=(("dli_low_mol_m2_d", "95 % interval of the dose, low end"),
                 ("dli_high_mol_m2_d", "95 % interval of the dose, high end"))),
    Field("rise_in_week", "rise", lambda e: e.change.rise_in_week if e.change else None,
          what="dose over the least dose of the seven days before"),
    Field("counts_as", "counts as", lambda e: e.change.kinds if e.change else None, kind="string",
          what="kinds of change, parted by semicolons"),
    Field("set_for_mol_m2_d", "set for", _set_for,
          unit="mol m-2 d-1",
          what="dose that it has followed to on the last day of the state, lag 20 days, 4 to 40 in range",
          parts=(("set_for_mol_m2_d", "acclimated dose on the last day of the state, lag 20 days"),
                 ("set_for_low_mol_m2_d", "the same, low end over lags of 4 to 40 days"),
                 ("set_for_high_mol_m2_d", "the same, high end over lags of 4 to 40 days"))),
    Field("blue_fraction", "blue", _share("blue"), what="photons of 400-500 nm per photon of 400-700 nm"),
    Field("green_fraction", "green", _share("green"), what="photons of 500-600 nm per photon of 400-700 nm"),
    Field("red_fraction", "red", _share("red"), what="photons of 600-700 nm per photon of 400-700 nm"),
    Field("peak_ppfd_umol_m2_s", "peak", lambda e: e.light("peak_ppfd_umol_m2_s"), "peak"),
    Field("photoperiod_h", "lit", lambda e: e.light("photoperiod_h"), "photoperiod"),
    Field("site", "site", lambda e: e.light("site"), kind="string"),
    Field("place_m", "place", lambda e: e.light("place"), what="x, y, depth and open sky",
          parts=(("x_m", "from the left wall, m"), ("y_m", "from the front wall, m"),
                 ("depth_m", "below the surface, m"), ("open_sky", "share of the light that reaches it"))),
    Field("kind", "kind", lambda e: e.noted("kind"), kind="string", what="kind of a note"),
    Field("value", "value", lambda e: e.noted("value"), what="value of a note"),
    Field("unit", "unit", lambda e: e.noted("unit"), kind="string", what="unit of a note"),
    Field("remark", "remark", lambda e: e.noted("remark"), kind="string", what="remark of a note"),
    Field("trouble", "trouble", lambda e: e.trouble.kind if e.trouble else None, kind="string",
          what="paler, closed or lost, where a note tells of it"),
)
DAY: Final = (
    said("date", "date", lambda d: d.date, kind="string", at={"life": 0}),
    said("what", "what", lambda d: d.what, kind="string", fold=True, at={"life": 1}),
    said("dose", "DLI", lambda d: d.light("dli_mol_m2_d"), of="dli", at={"life": 2}),
    said("step", "step", lambda d: d.step, kind="string", fold=True, at={"life": 3}),
    said("set_for", "set for", lambda d: _set_for(d.event) if d.event else None, of="dli",
         show=lambda s: number(s.default), at={"life": 4}),
    said("interval", "95 %", lambda d: d.light("interval_dli"), show=_span, unit="mol m-2 d-1",
         at={"life": 5}),
    said("site", "site", lambda d: d.light("site"), kind="string", fold=True, at={"life": 6}),
    said("lit", "lit", lambda d: d.light("photoperiod_h"), of="photoperiod", show=lambda h: f"{h:.1f}",
         at={"life": 7}),
    said("colours", "blue/green/red", lambda d: d.event.colours if d.event else None, kind="string",
         unit="%", at={"life": 8}),
)
# fmt: on


def _now(coral: CoralHistory) -> Spell | None:
    return coral.spells[-1] if coral.spells else None


def _doses(coral: CoralHistory) -> str | None:
    if not coral.spells:
        return None
    doses = [spell.light.dli_mol_m2_d for spell in coral.spells]
    return range_words(min(doses), max(doses))


def _marked(kind: str) -> Any:
    return lambda c: sum(kind in change.kinds for change in c.changes)


def _some(n: int) -> str:
    return str(n) if n else "-"


def _scores(coral: CoralHistory) -> str | None:
    values = [note.value for note in coral.notes if note.kind == "colour" and note.value is not None]
    if not values:
        return None
    return f"{values[0]:g} to {values[-1]:g}" if len(values) > 1 else f"{values[0]:g}"


# fmt: off
CORAL: Final = (
    Field("coral", "coral", lambda c: c.coral, kind="string", fold=True, at={"corals": 0}),
    Field("group", "group", lambda c: c.group or None, kind="string"),
    said("now", "DLI now", lambda c: _now(c) and _now(c).light.dli_mol_m2_d, of="dli", at={"corals": 1}),  # type: ignore[union-attr]
    said("lived", "lived in", _doses, kind="string", unit="mol m-2 d-1", at={"corals": 2}),
    said("interval", "95 %", lambda c: _now(c) and _now(c).light.interval_dli,  # type: ignore[union-attr]
         show=_span, unit="mol m-2 d-1", at={"corals": 6.5}),
    said("set_for", "set for", lambda c: _now(c) and _now(c).set_for,  # type: ignore[union-attr]
         show=lambda s: number(s.default), unit="mol m-2 d-1", at={"corals": 3}),
    said("rises", "fast rises", _marked("fast_rise"), show=_some, at={"corals": 4}),
    said("drops", "below floor", _marked("below_floor"), show=_some, at={"corals": 6}),
    said("moves", "moves", _marked("moved"), show=_some, at={"corals": 7}),
    said("colour", "colour", _scores, kind="string", at={"corals": 5}),
    said("notes", "notes", lambda c: len(c.notes), show=_some, at={"corals": 8}),
    said("trouble", "trouble", lambda c: listed(f"{t.kind} {t.note.date}" for t in c.troubles) or None,
         kind="string", fold=True, at={"corals": 5.5}),
)
CHANGE: Final = (
    Field("date", "date", lambda c: c.date, kind="string"),
    Field("counts_as", "counts as", lambda c: list(c.kinds)),
    Field("before_mol_m2_d", "before", lambda c: c.before.dli_mol_m2_d, "dli"),
    Field("after_mol_m2_d", "after", lambda c: c.after.dli_mol_m2_d, "dli"),
    Field("rise_in_week", "rise", lambda c: c.rise_in_week),
    Field("site_before", "from", lambda c: c.before.site, kind="string"),
    Field("site_after", "to", lambda c: c.after.site, kind="string"),
)
FARED: Final = (
    Field("counts_as", "change", lambda f: f.kind, kind="string"),
    Field("trouble", "trouble", lambda f: f.trouble, kind="string"),
    Field("changed", "changed", lambda f: f.changed, kind="integer"),
    Field("changed_in_trouble", "in trouble", lambda f: f.changed_bad, kind="integer"),
    Field("others", "others", lambda f: f.others, kind="integer"),
    Field("others_in_trouble", "in trouble", lambda f: f.others_bad, kind="integer"),
    Field("not_looked_at", "not looked at", lambda f: f.not_looked_at, kind="integer"),
    Field("chance", "chance", lambda f: f.chance,
          what="of as many or more by chance alone, Fisher's exact test, one-sided"),
)
STATE_ROW: Final = (
    said("date", "date", lambda s: s.state.date, kind="string", at={"states": 0}),
    said("what", "what changed", lambda s: "; ".join(s.words) or "-", kind="string", fold=True,
         at={"states": 1}),
    said("why", "why", lambda s: s.state.why, kind="string", fold=True, at={"states": 2}),
)
# fmt: on


def history_answer(
    history: History, *, one: bool, own: OwnRecords | None = None, rows: bool = True
) -> Answer:
    """The history of a tank; ``one`` where single corals were asked for, ``own`` where their ranges were.

    ``rows`` tells whether its rows are wanted as values.
    """
    events = [event for coral in history.corals for event in events_of(coral, history)] if rows else []
    lives = [_life(coral, history) for coral in history.corals] if one else [_tank(history)]
    return Answer(
        "history",
        (
            Say(f"{history.basis.sentence} {span_sentence(history)}", "basis"),
            *lives,
            *([] if one or not history.states else [_states(history)]),
            *_troubles(history),
            *([own_section(own)] if own else []),
            *(
                [Section("Worth knowing", (Points.of(remarks),))]
                if (remarks := list(_remarks(history)))
                else []
            ),
            Say(own_sentence(own, history.setup) if own else closing(history, one=one), "verdict"),
        ),
        lambda: {**_body(history), **(own_body(own) if own else {})},
        title=history.setup.title,
        basis=history.basis.key,
        setups=(history.setup,),
        sheet=Sheet(EVENT, events),
        inputs={
            f"{history.diary.folder}/{f.kept_as}": f.sha256 for s in history.states for f in s.state.files
        },
    )


def _body(history: History) -> dict[str, Any]:
    return {
        "first": history.first,
        "last": history.last,
        "distinct_states": history.distinct,
        "states": [as_json(STATE[:3], s.state) | {"differences": list(s.words)} for s in history.states],
        "corals": [_coral_body(coral, history) for coral in history.corals],
        "tank_notes": [as_json(NOTE, note) for note in history.tank_notes],
        "problems": [str(problem) for problem in history.problems],
        "not_kept": history.unkept,
    }


def _coral_body(coral: CoralHistory, history: History) -> dict[str, Any]:
    spells = [e for e in events_of(coral, history, every=True) if e.spell]
    light = [f for f in EVENT[1:19] if f.name not in ("what", "counts_as", "rise_in_week")]
    return {
        "coral": coral.coral,
        "group": coral.group or None,
        "light": [as_json(light, event) for event in spells],
        "changes": [as_json(CHANGE, change) for change in coral.changes],
        "notes": [as_json(NOTE, note) for note in coral.notes],
        "troubles": [_trouble_body(trouble) for trouble in coral.troubles],
    }


def _trouble_body(trouble: Trouble) -> dict[str, Any]:
    return {
        "trouble": trouble.kind,
        "note": as_json(NOTE, trouble.note),
        "was": trouble.before,
        "before_it": [
            as_json(CHANGE, change) | {"others": [as_json(FARED, fared) for fared in all_fared]}
            for change, all_fared in trouble.changes
        ],
        "also_noted": [as_json(NOTE, note) for note in trouble.also_noted],
        "not_recorded": list(trouble.not_recorded),
    }


def events_of(coral: CoralHistory, history: History, *, every: bool = False) -> list[Event]:
    """What happened to a coral, by date; states that did not touch its light only if ``every`` is wanted."""
    words = {s.state.name: s for s in history.states}
    changes = {change.date: change for change in coral.changes}
    troubles = {id(t.note): t for t in coral.troubles}
    events: list[Event] = []
    before: Spell | None = None
    for spell in coral.spells:
        change = changes.get(spell.since)
        moved = before is None or change is not None or _differs(before, spell)
        if every or moved:
            events.append(
                Event(coral, spell.since, _what(words.get(spell.state.name), before, change), spell, change)
            )
        before = spell
    for note in coral.notes:
        trouble = troubles.get(id(note))
        was = trouble.before if trouble else None
        events.append(Event(coral, note.date, note_words(note, was), note=note, trouble=trouble))
    events.sort(key=lambda event: event.date)
    return [event for event in events if every or event.date >= history.first]


def _differs(a: Spell, b: Spell) -> bool:
    one, other = a.light.dli_mol_m2_d, b.light.dli_mol_m2_d
    return abs(one - other) > SAME * max(one, other)


def _what(state: StateChange | None, before: Spell | None, change: Change | None) -> str:
    if state is None:
        return ""
    moved = change is not None and "moved" in change.kinds
    own = [moved_words(change)] if change is not None and moved else []
    words = "; ".join([*own, *state.differences])
    if before is None:
        words = "it comes" if state.words else "first state"
    words = words or "no change of its own"
    return f"{words} ({literal(state.state.why)})" if state.state.why else words


@dataclass(frozen=True, eq=False)
class Day:
    """A line in the life of a coral as people read it: a new state, or all notes of a day."""

    date: str
    what: str
    event: Event | None = None
    trouble: bool = False
    news: bool = True

    def light(self, name: str) -> Any:
        """A figure of the light; None for notes."""
        return self.event.light(name) if self.event else None

    @property
    def step(self) -> str:
        """What the change counts as."""
        return "trouble" if self.trouble else self.event.step if self.event else ""


def days_of(events: Sequence[Event]) -> list[Day]:
    """The lines of a life; notes that say what was said before are no news."""
    days: list[Day] = []
    said_last: dict[str, str] = {}
    for date, together in groupby(events, key=lambda e: e.date):
        notes = []
        for event in together:
            if event.note is None:
                days.append(Day(date, event.what, event))
            else:
                notes.append(event)
        if not notes:
            continue
        told = [n.note for n in notes if n.note]
        news = any(n.kind not in SCORED or n.remark or said_last.get(n.kind) != n.text for n in told)
        said_last |= {n.kind: n.text for n in told}
        trouble = any(n.trouble for n in notes)
        days.append(Day(date, ", ".join(n.what for n in notes), None, trouble, news or trouble))
    return days


def span_sentence(history: History) -> str:
    """From when to when, with how many states and notes."""
    notes = len(history.diary.notes)
    if not history.states:
        return f"No state is kept yet, so the diary knows no light; {count(notes, 'note')}."
    states = len(history.states)
    kept = count(states, "state") + (
        f", {history.distinct} of them distinct" if history.distinct < states else ""
    )
    return f"{history.first} to {history.last}: {kept}, {count(notes, 'note')}."


def _life(coral: CoralHistory, history: History) -> Section:
    events = events_of(coral, history)
    title = f"{literal(coral.coral)}" + (f", {coral.group_name}" if coral.group_name else "")
    blocks: tuple[Block, ...] = (Say(life_sentence(coral), "strong"),)
    if events:
        days = days_of(events)
        news = [day for day in days if day.news]
        note = SET_FOR
        if len(news) < len(days):
            note += f" {count(len(days) - len(news), 'round')} without news left out; --all shows them."
        blocks = (
            *blocks,
            Section("", (_lines(news, note),), extra=False),
            Section("", (_lines(days, SET_FOR),), brief=False),
        )
    return Section(title, blocks)


def _lines(days: Sequence[Day], note: str) -> Table:
    return table("life", "The coral's life", DAY, days, least=3, note=note, strong=lambda d: d.trouble)


IT_LIVED: Final = "It lived in "


def life_sentence(coral: CoralHistory) -> str:
    """The range of doses that a coral lived in, and what it is set for."""
    now = _now(coral)
    if now is None:
        return f"{literal(coral.coral)} stands in no kept state, so nothing is known of its light."
    doses = [spell.light.dli_mol_m2_d for spell in coral.spells]
    span = f"{number(min(doses))} to {number(max(doses))}" if max(doses) > min(doses) else number(doses[0])
    known = now.light.interval_dli
    interval = f" (95 %: {range_words(*known)})" if known else ""
    fast, moved = _marked("fast_rise")(coral), _marked("moved")(coral)
    counted = [count(fast, "rise") + " faster than 10 % a week"] if fast else []
    counted += [count(_marked("below_floor")(coral), "drop") + " below its floor"] * bool(
        _marked("below_floor")(coral)
    )
    counted += [count(moved, "move")] if moved else []
    return (
        f"{IT_LIVED}{span} {DLI_UNIT}; now {number(now.light.dli_mol_m2_d)}{interval}, set for "
        f"{number(now.set_for.default)} ({range_words(now.set_for.low, now.set_for.high)})."
        + (f" {', '.join(counted)[0].upper()}{', '.join(counted)[1:]}." if counted else "")
    )


def _tank(history: History) -> Section:
    rows = sorted(history.corals, key=lambda c: (-len(c.troubles), c.coral))
    shown = table(
        "corals", "The corals", CORAL, rows, least=2, note=SET_FOR, strong=lambda c: bool(c.troubles)
    )
    return Section("The corals", (shown,))


def _states(history: History) -> Section:
    rows = [s for s in history.states if s.state.date >= history.first][-STATES_SHOWN:]
    title = (
        f"What changed, the last {len(rows)} of {len(history.states)} states"
        if len(rows) < len(history.states)
        else "What changed"
    )
    return Section(title, (table("states", title, STATE_ROW, rows, least=2),))


def _troubles(history: History) -> Iterator[Section]:
    every: dict[tuple[str, str], tuple[CoralHistory, list[Trouble]]] = {}
    for coral in history.corals:
        for trouble in coral.troubles:
            if trouble.note.date >= history.first:
                every.setdefault((trouble.note.date, coral.coral), (coral, []))[1].append(trouble)
    latest = sorted(every, reverse=True)
    for index, key in enumerate(latest):
        coral, troubles = every[key]
        points = Points(tuple(_trouble_points(troubles)))
        yield Section(trouble_title(coral, troubles), (points,), brief=index < TROUBLES_SHOWN)


def trouble_title(coral: CoralHistory, troubles: Sequence[Trouble]) -> str:
    """What was noted: "2026-03-01, staghorn frag: colour 3, was 5"."""
    notes = ", ".join(note_words(trouble.note, trouble.before) for trouble in troubles)
    return f"{troubles[0].note.date}, {literal(coral.coral)}: {notes}"


def _trouble_points(troubles: Sequence[Trouble]) -> Iterator[Point]:
    """What stands in the diary of the weeks before notes of one coral and day."""
    first = troubles[0]
    if not first.changes:
        yield Point("In the six weeks before, nothing changed in its light that the diary knows of.")
    for index, (change, _) in enumerate(first.changes):
        yield Point(f"{change.date}: {change_words(change)}.")
        for trouble in troubles:
            for fared in trouble.changes[index][1]:
                yield Point(f"Others: {fared_words(fared)}{_unseen(fared)}.")
    told = {id(trouble.note) for trouble in troubles}
    notes = [n for n in first.also_noted if id(n) not in told]
    also = [f"{n.date} {'' if n.coral else 'tank: '}{note_words(n)}" for n in notes]
    more = f" and {len(also) - NOTES_SHOWN} more" if len(also) > NOTES_SHOWN else ""
    yield Point(
        f"Also noted in these weeks: {'; '.join(also[:NOTES_SHOWN])}{more}."
        if also
        else "Nothing else was noted in these weeks."
    )
    if first.not_recorded:
        yield Point(f"Not recorded: {', '.join(first.not_recorded)}.")


def change_words(change: Change) -> str:
    """A change of a coral's light: "dose 6.82 to 7.82 mol/m2/day, rise +15 % in a week"."""
    a, b = change.before.dli_mol_m2_d, change.after.dli_mol_m2_d
    marks = mark_words(change)
    return f"dose {number(a)} to {number(b)} {DLI_UNIT}" + (f", {marks}" if marks else "")


def _unseen(fared: Fared) -> str:
    return f" ({fared.not_looked_at} more not looked at)" if fared.not_looked_at else ""


def _remarks(history: History) -> Iterator[str]:
    told = [f for c in history.corals for t in c.troubles for _, all_fared in t.changes for f in all_fared]
    if any(c.troubles for c in history.corals):
        yield NO_CAUSE
    odds = {
        (f.kind, f.trouble, f.changed, f.changed_bad, f.others, f.others_bad)
        for f in told
        if f.chance is not None
    }
    if odds:
        yield (
            f"Comparisons of corals counted here: {len(odds)}, the troubled coral among them each time. Of "
            "ten such comparisons one looks like 1 in 10 by chance alone (Fisher's exact test, one-sided)."
        )
    if history.unkept and history.states:
        yield f"Today's setup differs from the last state: lightdose keep {typed_path(history.setup)}"
    for problem in history.problems[:5]:
        yield " ".join(str(problem).split())
    if len(history.problems) > 5:
        yield f"and {len(history.problems) - 5} more rows or states that cannot be read"


def closing(history: History, *, one: bool) -> str:
    """How many were in trouble, and the next command."""
    troubled = [c for c in history.corals if c.troubles]
    path = typed_path(history.setup)
    if not history.states:
        return f"Next: lightdose keep {path}, today and after each change"
    noted = sum(len(c.troubles) for c in troubled)
    if one:
        words = f"{count(noted, 'note')} of trouble." if noted else "No note of trouble."
        return f"{words} Next: add --figures DIR to see it on one time axis"
    if not troubled:
        return f"No note of trouble. Next: lightdose note {path} --sheet, for a round at the tank"
    worst = max(troubled, key=lambda c: c.troubles[-1].note.date)
    return (
        f"{count(noted, 'note')} of trouble at {count(len(troubled), 'coral')}. "
        f"Next: lightdose history {path} --coral {as_typed(worst.coral)}"
    )
