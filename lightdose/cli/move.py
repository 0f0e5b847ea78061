"""`lightdose move`: stepping stones for one coral, under the weekly rise."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.adopting import (
    adopt_move,
    check_adoptable,
    check_due,
    due_day,
    keep_option,
    move_reason,
    with_kept,
)
from lightdose.cli.asking import Ask, days_option, rise_option, start_date
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.diary import RecentSteps
    from lightdose.model.places import Move
    from lightdose.present.figures.canvas import Drawing


@answers(figures=True, imperial=True, folds=False)
@click.argument("coral")
@click.option("--to", "to", required=True, metavar="SITE", help="Where it is to stand; a free site.")
@rise_option
@days_option
@click.option("--start", metavar="YYYY-MM-DD", help="Date of the first step; else days are numbered.")
@keep_option
def command(ask: Ask, coral: str, to: str, rise: float, days: int, start: str | None, keeps: bool) -> Answer:
    """The way of one coral to another site, over free sites, in steps that it can follow.

    \b
    Example:
      lightdose move my-tank/setup.toml "zoanthid plug" --to A2
      lightdose move my-tank/setup.toml "zoanthid plug" --to A2 --start 2026-03-01 --figures pictures

    Moving one coral spares all others a change of the programme. Each step is at most --rise a week brighter
    than the one before, with the fewest steps; down is free above the floor of its group. Rise per week:
    common practice, no published rule per week. With --keep the coral stands at the first step's site in the
    setup from today on; run it again on the day of the next step: sooner is refused.
    """
    from lightdose.answers.place import move_answer
    from lightdose.model.places import MoveWishes
    from lightdose.workflows.placing import move

    if keeps:
        check_adoptable(ask)
        if start is not None:
            raise click.UsageError("--keep takes over today's step: leave --start out")
    wishes = MoveWishes(coral, to, rise / 100, days, start_date(start))
    setup = ask.setup()
    found = move(setup, wishes)
    before = _check_due(found) if keeps else None
    answer = move_answer(found, ask.unit(setup), keeps=keeps)
    answer = replace(answer, pictures=lambda: [_drawing(found)])
    if before is None:
        return answer
    kept = adopt_move(setup.path, coral, found.steps[0].site)
    return with_kept(answer, kept, before, due_day(days) if len(found.steps) > 1 else None)


def _check_due(move: Move) -> RecentSteps:
    from lightdose.judge.week_of_rises import WeeklyLimit

    wishes, first = move.wishes, move.steps[0]
    limit = WeeklyLimit(wishes.rise_per_week, wishes.step_days)
    setup = move.before.setup
    return check_due(setup.path, {move.coral: first.dli_mol_m2_d}, limit, move_reason(move.coral))


def _drawing(found: Move) -> Drawing:
    from lightdose.present.figures.placement import move_drawing

    return move_drawing(found)
