"""Words for what a diary holds: notes, changes of light, and how others fared."""

from __future__ import annotations

from collections.abc import Iterable
from typing import Final

from lightdose.answers.words import count, number
from lightdose.errors import literal
from lightdose.model.diary import Change, ChangeKind, Fared, Note, TroubleKind

CHANGED: Final[dict[ChangeKind, str]] = {
    "fast_rise": "rose by more than 10 % a week",
    "below_floor": "fell below its floor",
    "deep_cut": "fell by more than half at once",
    "moved": "was moved",
    "colour": "got another colour of light",
    "hours": "got longer or shorter days",
    "brighter": "rose",
    "dimmer": "fell",
}
"""What a change is called, of one coral or of many."""

FARED: Final[dict[TroubleKind, str]] = {"paler": "paler", "closed": "closed", "lost": "lost"}


def note_words(note: Note, before: float | None = None) -> str:
    """A note as people say it: "colour 3, was 5: pale at the tips"."""
    value = note.text or ("" if note.value is None else f"{note.value:g}")
    unit = "" if note.kind == "size_cm" else note.unit
    kind = "size" if note.kind == "size_cm" else "" if note.kind == "free" and note.remark else note.kind
    said = " ".join(part for part in (kind, value, "cm" if note.kind == "size_cm" else unit) if part)
    said += "" if before is None else f", was {before:g}"
    text = f"{said}: {note.remark}" if said and note.remark else said or note.remark
    return literal(text)


def step_words(change: Change) -> str:
    """How a dose changed: "+15 %"; nothing where it hardly did."""
    ratio = change.ratio
    if ratio is None:
        return "from dark"
    return "" if abs(ratio - 1) < 0.005 else percent_change(ratio)


def percent_change(ratio: float) -> str:
    """A ratio as a change: "+15 %", "-8 %", "3.2 x"."""
    return f"{ratio:.1f} x" if ratio >= 3 else f"{100 * (ratio - 1):+.0f} %"


def mark_words(change: Change, *, moves: bool = True) -> str:
    """What a change counts as: the marks that people must see first, ``moves`` among them."""
    marks = []
    if "fast_rise" in change.kinds:
        rise = "" if change.rise_in_week is None else f" {percent_change(change.rise_in_week)}"
        marks.append(f"rise{rise} in a week")
    if "below_floor" in change.kinds:
        marks.append("below its floor")
    if "deep_cut" in change.kinds:
        marks.append("cut by more than half")
    if moves and "moved" in change.kinds:
        marks.append(moved_words(change))
    if "colour" in change.kinds:
        marks.append("other colour")
    if "hours" in change.kinds:
        marks.append(f"{change.after.photoperiod_h - change.before.photoperiod_h:+.1f} h a day")
    return ", ".join(marks)


def moved_words(change: Change) -> str:
    """Where a coral went: "moved from A3 to ridge"."""
    a, b = literal(change.before.site), literal(change.after.site)
    return f"moved from {a} to {b}" if a != b else f"set otherwise at {a}"


def fared_words(fared: Fared) -> str:
    """How corals with a change fared and how the others, and how often that comes by chance alone."""
    word = FARED[fared.trouble]
    text = (
        f"{CHANGED[fared.kind]}: {count(fared.changed, 'coral')}, {fared.changed_bad} {word}; "
        f"did not: {fared.others}, {fared.others_bad} {word}"
    )
    return f"{text}; {chance_words(fared)}"


def chance_words(fared: Fared) -> str:
    """ "by chance alone about 1 time in 9", or why nothing can be said."""
    if fared.chance is None:
        return "nothing to compare with" if not (fared.changed and fared.others) else "no difference to tell"
    if fared.chance > 0.4:
        return "as often as not by chance alone"
    if fared.chance < 0.001:
        return "by chance alone less than 1 time in 1,000"
    return f"by chance alone about 1 time in {round(1 / fared.chance):,}"


def range_words(low: float, high: float) -> str:
    """A range of doses: "5.15-9.02"."""
    return f"{number(low)}-{number(high)}"


def listed(words: Iterable[str], most: int = 6) -> str:
    """Names or phrases in a row, and how many more."""
    every = list(words)
    more = f" and {len(every) - most} more" if len(every) > most else ""
    return ", ".join(literal(word) for word in every[:most]) + more
