"""The diary read through: what each coral lived in, what changed, and what it showed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Literal

from lightdose.errors import Place, Problem, SetupError
from lightdose.files.diary_notes import read_notes
from lightdose.files.diary_states import diary_folder, in_force, read_diary, seen_from_home
from lightdose.judge.comparison import coral_differences, setup_differences
from lightdose.judge.light_history import Under, changes_of, spells_of
from lightdose.judge.trouble import with_troubles
from lightdose.judge.uncertain_inputs import basis_of
from lightdose.model.diary import (
    CoralHistory,
    Diary,
    History,
    KeptState,
    Note,
    StateChange,
)
from lightdose.model.setup import Setup
from lightdose.near_names import did_you_mean
from lightdose.workflows.kept_light import KeptLight, KeptSetups

Intervals = Literal["all", "last", "none"]


def history(
    setup: Setup,
    corals: Sequence[str] = (),
    since: str | None = None,
    *,
    intervals: Intervals = "all",
) -> History:
    """The history of a tank, or of some corals of it.

    Parameters
    ----------
    setup : as it is today
    corals : names; all where none is given
    since : first day that is shown; what came before still counts
    intervals : which doses get their 95 % range: all, each coral's last, or none

    Raises
    ------
    SetupError
        If a coral is neither in today's setup nor in a kept state nor in a note.
    """
    diary = read_diary(setup.path)
    states = _standing(diary.states)
    setups = KeptSetups(Path(diary.folder))
    light = KeptLight(setups, states)
    days = [*(state.date for state in states), *(note.date for note in diary.notes)]
    last = max(days, default="")
    everyone = _histories(setup, diary, states, light, last)
    shown = _asked(everyone, corals, setup)
    tank_notes = tuple(note for note in diary.notes if not note.coral)
    shown = with_troubles(list(everyone.values()), tank_notes, shown)
    shown = _known(shown, light, intervals)
    now = in_force(states, last)
    return History(
        setup=setup,
        basis=basis_of(setup),
        diary=diary,
        first=since or min(days, default=""),
        last=last,
        states=state_changes(states, setups, LAST_WORDS if intervals == "last" else len(states)),
        distinct=setups.distinct,
        corals=shown,
        tank_notes=tank_notes,
        problems=(*diary.problems, *dict.fromkeys(setups.problems)),
        unkept=now is None or now.contents != contents_of(setup),
    )


SHOWS_LIFE = ("colour", "open", "size_cm")
"""Kinds of notes that only a coral that is there can get."""


def lost_note(setup: Setup, coral: str, date: str) -> Note | None:
    """The note that a coral died or left, up to a day; None where a later one shows that it is there."""
    folder = diary_folder(setup.path)
    notes = [n for n in read_notes(folder, str(folder))[0] if n.coral == coral and n.date <= date]
    lost = next((n for n in reversed(notes) if n.kind == "lost"), None)
    if lost is None or any(n.kind in SHOWS_LIFE and n.date > lost.date for n in notes):
        return None
    return lost


def refuse_lost(setup: Setup, coral: str, date: str) -> Note | None:
    """Raise SetupError where the diary notes a coral as lost before a day; gives a note of that very day.

    A coral that leaves is noted as lost on the day on which its slip is printed.
    """
    lost = lost_note(setup, coral, date)
    if lost is None or lost.date == date:
        return lost
    remark = f" ({lost.remark})" if lost.remark else ""
    raise SetupError(
        Problem(
            f"{coral!r} was noted as lost on {lost.date}{remark}, so it gets no slip of {date}",
            f"a slip up to {lost.date}: --date",
            "give a new coral a new name; where it is still there, note its colour, and this slip is made",
            lost.place,
        )
    )


def contents_of(setup: Setup) -> frozenset[tuple[str, str]]:
    """Which files a setup has, seen from its folder, and with which bytes."""
    return frozenset(seen_from_home(setup).items())


def _standing(states: Sequence[KeptState]) -> list[KeptState]:
    """Of each day the state that stands: the last."""
    return list({state.date: state for state in states}.values())


def _histories(
    setup: Setup, diary: Diary, states: Sequence[KeptState], light: KeptLight, last: str
) -> dict[str, CoralHistory]:
    unders: dict[str, list[Under]] = {coral.name: [] for coral in setup.corals}
    ends = [*(state.date for state in states[1:]), last][: len(states)]
    for state, until in zip(states, ends, strict=True):
        for name, day in light.days(state).items():
            unders.setdefault(name, []).append(Under(state, day, until))
    notes: dict[str, list[Note]] = {}
    for note in diary.notes:
        notes.setdefault(note.coral, []).append(note)
    made, group_today = {}, {coral.name: coral.group for coral in setup.corals}
    for name, found in unders.items():
        spells = spells_of(found)
        group = found[-1].light.group if found else group_today[name]
        of_group = setup.groups.get(group)
        made[name] = CoralHistory(
            coral=name,
            group=group,
            group_name=of_group.name if of_group else group,
            spells=spells,
            changes=changes_of(name, spells),
            notes=tuple(notes.get(name, ())),
        )
    for name, own in notes.items():
        if name and name not in made:
            made[name] = CoralHistory(name, "", "", (), (), tuple(own))
    return made


def _asked(
    everyone: Mapping[str, CoralHistory], names: Sequence[str], setup: Setup
) -> tuple[CoralHistory, ...]:
    problems = []
    for name in names:
        if name not in everyone:
            known = list(everyone)
            allowed = ", ".join(map(repr, known[:20])) + (
                f" and {len(known) - 20} more" if known[20:] else ""
            )
            found = f"there is no coral {name!r}, today or in a kept state"
            problems.append(Problem(found, allowed, did_you_mean(name, known), Place(setup.path)))
    if problems:
        raise SetupError(*problems)
    return tuple(everyone[name] for name in dict.fromkeys(names)) if names else tuple(everyone.values())


def _known(
    corals: Sequence[CoralHistory], light: KeptLight, intervals: Intervals
) -> tuple[CoralHistory, ...]:
    """Corals with the intervals of their doses."""
    if intervals == "none":
        return tuple(corals)
    first = -1 if intervals == "last" else 0
    light.find_intervals((s.state, c.coral) for c in corals for s in c.spells[first:])
    made = []
    for coral in corals:
        spells = list(coral.spells)
        spells[first:] = [
            spell._replace(light=light.days(spell.state).get(coral.coral, spell.light))
            for spell in spells[first:]
        ]
        made.append(replace(coral, spells=tuple(spells)))
    return tuple(made)


LAST_WORDS = 20
"""Of so many last states it is told what differs where nobody asked for more. Our choice."""


def state_changes(states: Sequence[KeptState], setups: KeptSetups, last: int) -> tuple[StateChange, ...]:
    """Every state, the last ones with what differs from the one before, in words."""
    told = max(0, len(states) - last)
    made, before = [StateChange(state, ()) for state in states[:told]], None
    if told:
        before = setups.setup(states[told - 1])
    for state in states[told:]:
        setup = setups.setup(state)
        words: tuple[str, ...] = ()
        corals: tuple[str, ...] = ()
        if setup is not None and before is not None:
            words = setup_differences(before, setup, over_time=True)
            corals = coral_differences(before, setup)
        made.append(StateChange(state, words, corals))
        before = setup or before
    return tuple(made)
