"""The range of doses that corals of a tank lived in while their colour stayed, from its own diary.

It is no trial: nothing was held apart from the rest, and what happened to stay stable is not what is best.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final

from lightdose.judge.light_history import days_between
from lightdose.judge.trouble import troubles_in
from lightdose.model.diary import COLOUR_COUNTS, CoralHistory, GroupRange, Note, OwnRange, Spell

LEAST_D: Final = 60
"""A coral is scored stable or better for at least so long. [d]"""

LONGEST_GAP_D: Final = 60
"""Scores further apart do not tell what was between them. Our choice. [d]"""

LEAST_SPELL_D: Final = 14
"""A dose counts as lived in that a coral had for so long; colour answers in days to weeks. Our choice. [d]"""


def own_ranges(corals: Sequence[CoralHistory]) -> tuple[OwnRange, ...]:
    """For each coral that was stable or better for long enough, the doses that it lived in.

    Parameters
    ----------
    corals : with their notes and spells

    Source
    ------
    Stable: no score 2 or more below the best of the run (Siebeck et al. 2006, doi 10.1007/s00338-006-0123-8),
    no other trouble in it; 60 days, gaps and spells that count: our choice. Doses are the stated ones.
    """
    found = []
    for coral in corals:
        doses: list[float] = []
        runs = list(stable_runs(coral.notes))
        for run in runs:
            doses += _lived_in(coral.spells, run[0].date, run[-1].date)
        if doses:
            notes = sum(map(len, runs))
            first, last = min(r[0].date for r in runs), max(r[-1].date for r in runs)
            days = sum(days_between(r[0].date, r[-1].date) for r in runs)
            found.append(OwnRange(coral.coral, coral.group, first, last, days, notes, min(doses), max(doses)))
    return tuple(found)


def stable_runs(notes: Sequence[Note]) -> Iterator[tuple[Note, ...]]:
    """Runs of colour scores that stayed or rose, each of at least 60 days; after a fall, once it is back.

    Source
    ------
    As ``own_ranges``.
    """
    trouble = {note.date for _, note, _ in troubles_in(notes)}
    run: list[Note] = []
    back_from = 0.0
    for note in [n for n in notes if n.kind == "colour" and n.value is not None]:
        value = note.value or 0.0
        best = max((n.value or 0.0 for n in run), default=0.0)
        fell = bool(run) and best - value >= COLOUR_COUNTS
        if run and (
            fell
            or days_between(run[-1].date, note.date) > LONGEST_GAP_D
            or any(run[-1].date < day <= note.date for day in trouble)
        ):
            yield from _long_enough(run)
            run = []
        if fell:
            back_from = best - COLOUR_COUNTS + 1
        if value >= back_from:
            back_from = 0.0
            run.append(note)
    yield from _long_enough(run)


def _long_enough(run: Sequence[Note]) -> Iterator[tuple[Note, ...]]:
    if len(run) > 1 and days_between(run[0].date, run[-1].date) >= LEAST_D:
        yield tuple(run)


def _lived_in(spells: Sequence[Spell], first: str, last: str) -> Iterator[float]:
    """Doses that a coral had for long enough between two days."""
    for spell in spells:
        since, until = max(spell.since, first), min(spell.until, last)
        if since < until and days_between(since, until) >= LEAST_SPELL_D:
            yield spell.light.dli_mol_m2_d


def group_ranges(ranges: Sequence[OwnRange]) -> tuple[GroupRange, ...]:
    """The ranges of corals put together by group, in order of appearance.

    Source
    ------
    Lowest and highest dose of any of its corals; nothing is left out or weighed.
    """
    groups: dict[str, list[OwnRange]] = {}
    for one in ranges:
        groups.setdefault(one.group, []).append(one)
    return tuple(
        GroupRange(
            group,
            len(members),
            sum(m.notes for m in members),
            min(m.first for m in members),
            max(m.last for m in members),
            min(m.low for m in members),
            max(m.high for m in members),
        )
        for group, members in groups.items()
    )
