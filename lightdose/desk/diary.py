"""The diary on the page: states and notes, the life of a coral, and a note in two clicks."""

from __future__ import annotations

import datetime
from collections.abc import Mapping
from typing import Any, Final

from lightdose.answers.words import number
from lightdose.desk.session import Desk
from lightdose.errors import Problem, SetupError
from lightdose.files.diary_notes import add_notes, made_note
from lightdose.files.diary_states import diary_folder, read_diary
from lightdose.model.diary import KINDS, SCORES
from lightdose.present.page import set_text

MOST_SHOWN: Final = 60


def diary_of(desk: Desk) -> dict[str, Any]:
    """What was kept and noted, the last first; all of it stands in the files of the diary."""
    diary = read_diary(str(desk.path))
    states = [
        {"date": s.date, "what": "kept", "text": s.why or "kept without a reason"} for s in diary.states
    ]
    notes = [
        {
            "date": n.date,
            "what": n.coral or "the tank",
            "text": " ".join(
                part for part in (n.kind if n.kind != "free" else "", n.text, n.unit, n.remark) if part
            ),
        }
        for n in diary.notes
    ]
    entries = sorted((*states, *notes), key=lambda e: e["date"], reverse=True)
    return {
        "entries": entries[:MOST_SHOWN],
        "more": max(0, len(entries) - MOST_SHOWN),
        "problems": [p.found for p in diary.problems[:5]],
        "kinds": [{"key": key, "what": what, "scale": SCORES.get(key)} for key, what in KINDS.items()],
    }


def life_of(desk: Desk, coral: str) -> dict[str, Any]:
    """The doses of a coral by its days, and what was noted of it."""
    from lightdose.answers.history import life_sentence
    from lightdose.workflows.diary import history

    setup = desk.setup
    if setup is None or desk.first:
        return {"spells": [], "notes": [], "sentence": ""}
    found = history(setup, (coral,), intervals="none").corals
    if not found or not (found[0].spells or found[0].notes):
        return {"spells": [], "notes": [], "sentence": ""}
    one = found[0]
    return {
        "sentence": set_text(life_sentence(one)) if one.spells else "",
        "spells": [
            {"from": s.state.date, "until": s.until, "dli": round(s.light.dli_mol_m2_d, 4),
             "shown": number(s.light.dli_mol_m2_d)}
            for s in one.spells
        ],
        "notes": [
            {"date": n.date, "kind": n.kind, "value": n.text, "remark": n.remark}
            for n in one.notes[-MOST_SHOWN:]
        ],
    }  # fmt: skip


def noted(desk: Desk, asked: Mapping[str, Any]) -> dict[str, Any]:
    """Add a note of today; a diary is only ever added to."""
    coral, kind = str(asked.get("coral", "")), str(asked["kind"])
    value, remark = str(asked.get("value", "")), str(asked.get("remark", ""))[:2000]
    setup = desk.setup
    names = [c.name for c in (*setup.corals, *setup.unplaced)] if setup else []
    if coral and coral not in names:
        raise SetupError(Problem("there is no such coral"))
    if kind not in KINDS or kind == "reading":
        raise SetupError(Problem("readings have a table of their own, under Readings"))
    if not (value.strip() or remark.strip() or kind == "lost"):
        raise SetupError(Problem("nothing to note: write a few words, or choose a value"))
    if desk.first:
        raise SetupError(Problem("save the new tank first: its diary stands beside it"))
    note = made_note(datetime.date.today().isoformat(), coral, kind, value, "", remark)
    add_notes(diary_folder(str(desk.path)), [note])
    return {"noted": f"{coral or 'the tank'}: {kind} {value}".strip(), **diary_of(desk)}
