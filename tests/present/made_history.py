"""Histories made of numbers, for what prints and draws them: any number of corals over two years."""

from __future__ import annotations

import datetime
from dataclasses import replace

import numpy as np
from judge.made_tank import made_tank

from lightdose.judge.light_history import Under, changes_of, spells_of
from lightdose.judge.trouble import with_troubles
from lightdose.judge.uncertain_inputs import basis_of
from lightdose.model.diary import CoralDay, CoralHistory, Diary, History, KeptState, Note, StateChange

START = datetime.date(2024, 1, 1)
DAYS = tuple(range(0, 720, 40))
LONG = "a coral with a name that somebody wrote as a whole sentence on its plug"


def day(n: int) -> str:
    return (START + datetime.timedelta(n)).isoformat()


def made_history(count: int, seed: int = 3) -> History:
    """Corals with doses that wander, some moved, some pale, one with a long name; two years of states."""
    rng = np.random.default_rng(seed)
    states = [KeptState(day(n), day(n), "a reason", ()) for n in DAYS]
    ends = [*(s.date for s in states[1:]), day(730)]
    corals = []
    for index in range(count):
        name = LONG if index == 1 else f"coral {index + 1}"
        dose, unders = float(rng.uniform(1, 12)), []
        for n, (state, until) in enumerate(zip(states, ends, strict=True)):
            dose *= float(rng.choice([1.0, 1.0, 1.0, 1.3, 0.8, 0.45 if index % 9 == 0 else 1.1]))
            site = "ridge" if n > 6 and index % 5 == 0 else "sand"
            place = (0.1, 0.2, 0.1 if site == "ridge" else 0.3, 1.0)
            shares = {"blue": 0.7, "green": 0.2, "red": 0.1}
            known = 0.7 * dose, 1.2 * dose
            light = CoralDay(dose, 30 * dose, 11.0, shares, site, place, "sps-shallow", 4.0, known)
            unders.append(Under(state, light, until))
        spells = spells_of(unders)
        notes = [
            Note(day(n), name, "colour", float(c), "", "", f"{c:g}")
            for n, c in ((n, int(rng.integers(2, 6))) for n in range(5, 720, 30))
        ]
        notes += [Note(day(n), name, "open", 3.0, "", "", "3") for n in range(5, 720, 60)]
        notes.append(Note(day(300), name, "free", None, "", "a remark that goes on for quite some words", ""))
        notes.sort(key=lambda note: note.date)
        changes = changes_of(name, spells)
        corals.append(CoralHistory(name, "sps-shallow", "small-polyp", spells, changes, tuple(notes)))
    tank_notes = tuple(Note(day(n), "", "care", None, "", "water change", "") for n in range(20, 700, 90))
    setup = replace(made_tank(), path="tank/setup.toml")
    return History(
        setup=setup,
        basis=basis_of(setup),
        diary=Diary("tank/diary", tuple(states), tuple(n for c in corals for n in c.notes)),
        first=day(0),
        last=day(730),
        states=tuple(StateChange(s, ("left: another programme",)) for s in states),
        distinct=len(states),
        corals=with_troubles(corals, tank_notes, corals),
        tank_notes=tank_notes,
    )
