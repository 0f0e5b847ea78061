"""`note`: what was noted, and the sheet for a round at the tank."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Say
from lightdose.answers.diary_words import note_words
from lightdose.answers.field import Field, as_json, plain
from lightdose.answers.words import as_typed, count, typed_path
from lightdose.errors import literal
from lightdose.model.diary import COLOUR_COUNTS, KINDS, Note
from lightdose.model.record import dataclass
from lightdose.model.setup import Setup

# fmt: off
NOTE: Final = (
    Field("date", "date", lambda n: n.date, kind="string"),
    Field("coral", "coral", lambda n: n.coral or None, kind="string", what="null for the whole tank"),
    Field("kind", "kind", lambda n: n.kind, kind="string"),
    Field("value", "value", lambda n: n.value),
    Field("text", "text", lambda n: n.text, kind="string", what="the value as it was written"),
    Field("unit", "unit", lambda n: n.unit, kind="string"),
    Field("remark", "remark", lambda n: n.remark, kind="string"),
)
# fmt: on

SCORING: Final = (
    "Colour 1 to 6, pale to dark: by one observer, under the same white light, best against a printed chart; "
    "a change of 2 or more counts (Siebeck et al. 2006, doi 10.1007/s00338-006-0123-8). "
    "Open 0 closed, 1 little, 2 half, 3 wide (our choice). Size: the largest width in cm. "
    "Lost: a cross. Leave blank what you did not look at."
)


@dataclass(frozen=True, eq=False)
class Noted:
    """What was added to a diary.

    Attributes
    ----------
    notes : those that were read
    added : how many of them were new
    before : the latest earlier score of the same kind, where one note was made
    also : further files that a note went to
    """

    setup: Setup
    notes: Sequence[Note]
    added: int
    before: Note | None = None
    also: tuple[Path, ...] = ()
    source: str = ""


def note_answer(noted: Noted) -> Answer:
    """What stands in the diary now, in a line or two."""
    return Answer(
        "note",
        (Say(noted_sentence(noted), "strong"), Say(next_sentence(noted), "verdict")),
        lambda: {
            "added": noted.added,
            "notes": [as_json(NOTE, note) for note in noted.notes],
            "files": [str(path.absolute()) for path in noted.also],
        },
        title=noted.setup.title,
        setups=(noted.setup,),
    )


def noted_sentence(noted: Noted) -> str:
    """What was noted."""
    if noted.source:
        known = len(noted.notes) - noted.added
        already = f"; {count(known, 'note')} stood in the diary already" if known else ""
        return f"Added {count(noted.added, 'note')} of {literal(noted.source)}{already}."
    (note,) = noted.notes
    whom = literal(note.coral) if note.coral else "the whole tank"
    before = ""
    if noted.before is not None and noted.before.value is not None and note.value is not None:
        fall = noted.before.value - note.value
        before = f", {noted.before.value:g} on {noted.before.date}"
        if note.kind == "colour" and fall >= COLOUR_COUNTS:
            before += ": a change of 2 or more counts"
    also = f", and in {', '.join(path.name for path in noted.also)}" if noted.also else ""
    own = "" if note.kind in KINDS else " (a kind of your own: kept and shown, not judged)"
    return f"Noted {note.date}, {whom}: {note_words(note)}{own}{before}{also}."


def next_sentence(noted: Noted) -> str:
    """The next command."""
    corals = {note.coral for note in noted.notes if note.coral}
    one = f" --coral {as_typed(corals.pop())}" if len(corals) == 1 else ""
    return f"Next: lightdose history {typed_path(noted.setup)}{one}"


def sheet_answer(setup: Setup, rows: int, sheet: Path, table: Path) -> Answer:
    """Where the sheet and the table to fill in are."""
    typed = typed_path(setup)
    words = (
        f"Print {as_typed(str(sheet))}, walk the tank, type the scores into {as_typed(str(table))}. "
        f"Next: lightdose note {typed} --from {as_typed(str(table))}"
    )
    body: dict[str, Any] = {"sheet": str(sheet.absolute()), "table": str(table.absolute()), "corals": rows}
    blocks = (Say(f"A sheet for {count(rows, 'coral')}.", "strong"), Say(SCORING), Say(words, "verdict"))
    return Answer("note", blocks, lambda: plain(body), title=setup.title, setups=(setup,))
