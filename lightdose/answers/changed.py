"""What the diary adds to other answers: the last states of a tank, and the last year of a coral."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lightdose.answers.blocks import Block, Say
from lightdose.answers.diary_words import moved_words
from lightdose.answers.field import table
from lightdose.answers.history import STATE_ROW, span_sentence
from lightdose.answers.words import DLI_UNIT, count, number
from lightdose.model.diary import CoralHistory, History, Spell

CHANGED: Final = "What changed"
LAST_STATES: Final = 4


def changed_blocks(history: History) -> tuple[Block, ...]:
    """The last four states in words, for a page."""
    rows = history.states[-LAST_STATES:]
    words = f"From {span_sentence(history)} lightdose history tells what was noted, too."
    return Say(words), table("states", f"The last {count(len(rows), 'state')}", STATE_ROW, rows, least=2)


def most_changed(corals: Sequence[CoralHistory], most: int) -> tuple[CoralHistory, ...]:
    """The corals that were in trouble, then those whose dose changed most, in the order of the setup."""

    def concern(coral: CoralHistory) -> tuple[int, float]:
        doses = [s.light.dli_mol_m2_d for s in coral.spells if s.light.dli_mol_m2_d > 0]
        return len(coral.troubles), max(doses) / min(doses) if doses else 0.0

    chosen = sorted(corals, key=concern, reverse=True)[:most]
    return tuple(coral for coral in corals if any(coral is one for one in chosen))


def year_before(date: str) -> str:
    """The same day of the year before; of a leap day the day before it."""
    return f"{int(date[:4]) - 1}{date[4:].replace('-02-29', '-02-28')}"


def year_spells(coral: CoralHistory, date: str) -> list[Spell]:
    """The states that a coral lived in within the year that ends on ``date``."""
    return [s for s in coral.spells if s.until > year_before(date) and s.since <= date]


def year_of(coral: CoralHistory, date: str) -> str:
    """A coral's last year in a sentence: the doses that it lived in, changes, moves and what was noted."""
    first, spells = year_before(date), year_spells(coral, date)
    if not spells:
        return "in no kept state"
    doses = [spell.light.dli_mol_m2_d for spell in spells]
    low, high = number(min(doses)), number(max(doses))
    words = [f"{low}-{high} {DLI_UNIT}" if low != high else f"{low} {DLI_UNIT}"]
    changes = [c for c in coral.changes if first < c.date <= date]
    fast = sum("fast_rise" in c.kinds for c in changes)
    words += [f"{count(fast, 'rise')} faster than 10 % a week"] if fast else []
    words += [f"{c.date} {moved_words(c)}" for c in changes if "moved" in c.kinds]
    scores = [n for n in coral.notes if n.kind == "colour" and first < n.date <= date]
    words += [f"colour {scores[0].text} to {scores[-1].text}, pale to dark 1 to 6"] if scores else []
    words += [f"{t.kind} {t.note.date}" for t in coral.troubles if first < t.note.date <= date]
    return f"since {max(first, spells[0].since)}: {', '.join(words)}"
