"""The sheet for a round at the tank: a row a coral, what it showed last, and blanks to fill in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from lightdose.answers.diary_words import note_words
from lightdose.answers.note import SCORING
from lightdose.errors import literal
from lightdose.model.diary import Note
from lightdose.model.setup import Coral, Setup
from lightdose.present.page import Ready, page_environment, policy, set_text, template_text

LAST: Final = ("colour", "open", "size_cm", "lost")
"""Kinds of which the sheet shows what was noted last."""


def round_sheet(setup: Setup, notes: Sequence[Note], csv_name: str, command: str) -> str:
    """The page as text; it holds everything and requests nothing."""
    style = template_text("survey_sheet.css") + template_text("round_sheet.css")
    known: dict[str, list[Note]] = {}
    for note in notes:
        known.setdefault(note.coral, []).append(note)
    corals = [*setup.corals, *setup.unplaced]
    values = {
        "title": set_text(setup.title),
        "scoring": set_text(SCORING),
        "csv_name": literal(csv_name),
        "command": literal(command),
        "style": Ready(style),
        "policy": Ready(policy([style], [])),
        "rows": [_row(coral, known.get(coral.name, ())) for coral in corals],
    }
    return page_environment().get_template("round_sheet.html").render(values)


def _row(coral: Coral, notes: Sequence[Note]) -> dict[str, Any]:
    latest = {note.kind: note for note in notes if note.kind in LAST}
    said = ", ".join(note_words(latest[kind]) for kind in LAST if kind in latest)
    day = max((note.date for note in latest.values()), default="")
    return {"coral": set_text(coral.name), "place": set_text(coral.site), "last": set_text(said), "day": day}
