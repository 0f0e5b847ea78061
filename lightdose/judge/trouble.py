"""Notes of trouble, what stands in the diary of the weeks before them, and how other corals fared.

Light is not the diagnosis: nothing here names a cause. What is counted is told with the chance that counts as
lopsided come by chance alone, and with what nobody wrote down.
"""

from __future__ import annotations

import datetime
from bisect import bisect_left
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace
from typing import Final

from lightdose.judge.chance import chance_of_as_many
from lightdose.judge.light_history import day_number
from lightdose.model.diary import (
    COLOUR_COUNTS,
    Change,
    ChangeKind,
    CoralHistory,
    Fared,
    Note,
    Trouble,
    TroubleKind,
)

WEEKS_BEFORE: Final = 6
BEFORE_D: Final = 7 * WEEKS_BEFORE
"""So many days before a note, and so many after a change, are looked at. Our choice. [d]"""

REMEMBERED_D: Final = 84
"""A score is set against the best of so many days before it. Our choice. [d]"""

SAME_CHANGE_D: Final = 3
"""Changes of two corals within so many days are the same change. Our choice. [d]"""

CLOSED: Final = 0.0
OPEN_FALL: Final = 2.0
"""A coral is in trouble that is closed, or opens by so much less than before. Our choice."""

COMPARED: Final[tuple[ChangeKind, ...]] = ("fast_rise", "below_floor", "deep_cut", "moved", "colour", "hours")
"""Kinds of changes for which corals are compared, the first of a change's own kinds leads."""

LOOKED_AT: Final[Mapping[TroubleKind, tuple[str, ...]]] = {
    "paler": ("colour", "lost"),
    "closed": ("open", "lost"),
    "lost": ("colour", "open", "size_cm", "lost", "free", "care"),
}
"""Notes that show that somebody looked, by what is asked."""


def troubles_in(notes: Sequence[Note]) -> list[tuple[TroubleKind, Note, float | None]]:
    """Where one coral's notes tell of trouble: the kind, the note, and the score it fell from.

    Parameters
    ----------
    notes : of one coral, by date

    Source
    ------
    A fall of 2 or more on a scale of 6 colours: Siebeck et al. 2006, doi 10.1007/s00338-006-0123-8. Closed,
    or open by 2 less: our choice. A fall is told once, until the score is back within 1 of the best.
    """
    found: list[tuple[TroubleKind, Note, float | None]] = []
    found += _falls(notes, "colour", "paler", float(COLOUR_COUNTS))
    found += _falls(notes, "open", "closed", OPEN_FALL)
    lost = next((note for note in notes if note.kind == "lost"), None)
    if lost is not None:
        found.append(("lost", lost, None))
    return sorted(found, key=lambda one: one[1].date)


def _falls(
    notes: Sequence[Note], kind: str, trouble: TroubleKind, fall: float
) -> Iterator[tuple[TroubleKind, Note, float | None]]:
    scored = [(note, note.value) for note in notes if note.kind == kind and note.value is not None]
    days = [day_number(note.date) for note, _ in scored]
    in_trouble, first = False, 0
    for index, (note, value) in enumerate(scored):
        while days[index] - days[first] > REMEMBERED_D:
            first += 1
        best = max((v for _, v in scored[first:index]), default=None)
        fell = best is not None and (best - value >= fall or (kind == "open" and value <= CLOSED < best))
        if fell and not in_trouble:
            yield trouble, note, best
        in_trouble = fell or (in_trouble and best is not None and best - value > fall - 1)


def with_troubles(
    corals: Sequence[CoralHistory], tank_notes: Sequence[Note], shown: Sequence[CoralHistory]
) -> tuple[CoralHistory, ...]:
    """The shown corals with their troubles, each with what changed before it and how all corals fared.

    Parameters
    ----------
    corals : every coral of the tank, for comparison
    tank_notes : of the whole tank
    shown : those whose troubles are told
    """
    seen = _Seen(corals)
    made = []
    for coral in shown:
        found = seen.troubles.get(coral.coral)
        found = troubles_in(coral.notes) if found is None else found
        troubles = tuple(_trouble(coral, kind, note, best, tank_notes, seen) for kind, note, best in found)
        made.append(replace(coral, troubles=troubles))
    return tuple(made)


def _trouble(
    coral: CoralHistory,
    kind: TroubleKind,
    note: Note,
    best: float | None,
    tank_notes: Sequence[Note],
    seen: _Seen,
) -> Trouble:
    first = _earlier(note.date, BEFORE_D)
    changes = [c for c in coral.changes if first <= c.date <= note.date]
    changes.sort(key=lambda c: (-_size(c), c.date))
    fared = []
    for change in changes:
        leading = next((k for k in COMPARED if k in change.kinds), None)
        fared.append((change, (seen.fared(change.date, leading, kind),) if leading else ()))
    own = [n for n in coral.notes if n != note and first <= n.date <= note.date]
    common = [n for n in tank_notes if first <= n.date <= note.date]
    also = tuple(sorted([*own, *common], key=lambda n: n.date))
    return Trouble(kind, note, best, tuple(fared), also, tuple(_not_recorded(also, seen, first, note.date)))


def _size(change: Change) -> float:
    """How much a change matters for an order: the share by which the dose changes, more where it moved."""
    ratio = change.ratio
    if ratio is None or ratio <= 0:
        return 100.0
    return max(ratio, 1 / ratio) - 1


def _not_recorded(also: Sequence[Note], seen: _Seen, first: str, last: str) -> Iterator[str]:
    words = " ".join(f"{n.kind} {n.remark}" for n in also).casefold()
    if not any(word in words for word in ("temperature", "heat", "warm", "cold", "celsius", "degrees")):
        yield "temperature"
    if not any(n.kind == "care" for n in also):
        yield "care"
    if not any(word in words for word in ("salinity", "nitrate", "phosphate", "alkalinity", "nutrient")):
        yield "salinity and nutrients"
    if not any(n.kind == "reading" for n in also):
        yield "a light reading"
    unseen = seen.not_looked_at(first, last)
    if unseen:
        yield f"how {unseen} of {len(seen.corals)} corals looked"


def _earlier(date: str, days: int) -> str:
    return (datetime.date.fromisoformat(date) - datetime.timedelta(days)).isoformat()


def _later(date: str, days: int) -> str:
    return _earlier(date, -days)


def _any_within(dates: Sequence[str], first: str, last: str) -> bool:
    """Whether any of some dates in order lies within two others."""
    index = bisect_left(dates, first)
    return index < len(dates) and dates[index] <= last


class _Seen:
    """What was seen of every coral, for comparing them."""

    def __init__(self, corals: Sequence[CoralHistory]) -> None:
        self.corals = corals
        self.troubles = {c.coral: troubles_in(c.notes) for c in corals}
        self._bad = {
            name: [(kind, note.date) for kind, note, _ in found] for name, found in self.troubles.items()
        }
        self._looked = {
            (c.coral, trouble): sorted({n.date for n in c.notes if n.kind in kinds})
            for c in corals
            for trouble, kinds in LOOKED_AT.items()
        }
        self._since = {c.coral: [spell.since for spell in c.spells] for c in corals}
        self._counted: dict[tuple[str, ChangeKind, TroubleKind], Fared] = {}

    def not_looked_at(self, first: str, last: str) -> int:
        """Corals without any note of how they look in a span of days."""
        return sum(not _any_within(self._looked[c.coral, "lost"], first, last) for c in self.corals)

    def _was_there(self, coral: CoralHistory, date: str) -> bool:
        """Whether a coral stood in the tank before a change of that day, and after it."""
        index = bisect_left(self._since[coral.coral], date) - 1
        return index >= 0 and date <= coral.spells[index].until

    def fared(self, date: str, kind: ChangeKind, trouble: TroubleKind) -> Fared:
        """Corals with this kind of change about this day, and the others, and which got into trouble."""
        key = date, kind, trouble
        if key not in self._counted:
            self._counted[key] = self._count(*key)
        return self._counted[key]

    def _count(self, date: str, kind: ChangeKind, trouble: TroubleKind) -> Fared:
        near = _earlier(date, SAME_CHANGE_D), _later(date, SAME_CHANGE_D)
        end = _later(date, BEFORE_D)
        counts = {True: [0, 0], False: [0, 0]}
        unseen = 0
        for coral in self.corals:
            if not self._was_there(coral, date):
                continue
            if not _any_within(self._looked[coral.coral, trouble], date, end):
                unseen += 1
                continue
            changed = any(kind in c.kinds and near[0] <= c.date <= near[1] for c in coral.changes)
            bad = any(which == trouble and date <= day <= end for which, day in self._bad[coral.coral])
            counts[changed][0] += 1
            counts[changed][1] += bad
        (changed_n, changed_bad), (others, others_bad) = counts[True], counts[False]
        told = changed_n > 0 and others > 0 and changed_bad + others_bad > 0
        chance = chance_of_as_many(changed_bad, changed_n, others_bad, others) if told else None
        return Fared(kind, trouble, changed_n, changed_bad, others, others_bad, unseen, chance)
