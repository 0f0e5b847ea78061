"""`lightdose history`: the diary read through."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers
from lightdose.cli.keep import refuse_variations

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.answers.own_ranges import OwnRecords
    from lightdose.model.diary import History
    from lightdose.present.figures.canvas import Drawing


@answers(csv="history.csv", figures=True, varies=False)
@click.option("--coral", "corals", multiple=True, metavar="NAME", help="This coral alone; repeatable.")
@click.option(
    "--own-ranges",
    metavar="FILE",
    help="Write the ranges of dose that stable corals lived in as a groups file, grade own.",
)
@click.option("--since", metavar="DATE", help="Show what happened from this day on.")
def command(ask: Ask, corals: tuple[str, ...], since: str | None, own_ranges: str | None) -> Answer:
    """What each coral lived in, what changed, and what it showed after it.

    \b
    Example:
      lightdose history my-tank/setup.toml
      lightdose history my-tank/setup.toml --coral "branching hammer" --figures figures

    It reads the states that `lightdose keep` kept and the notes that `lightdose note` wrote. For a note of
    trouble it lists what changed in the coral's light in the six weeks before, and how corals with the same
    change fared beside those without it, with the odds that such counts come by chance alone. It never names
    a cause.

    --own-ranges writes a groups file for the key groups of setup.toml: per group the lowest and the highest
    dose that its corals lived in while their colour stayed or rose for at least 60 days.
    """
    import gc

    from lightdose.answers.history import history_answer
    from lightdose.workflows.diary import history

    refuse_variations(ask, "history")
    gc.disable()  # ten years make half a million objects, and none of them runs in a circle
    first = None
    if since is not None:
        from lightdose.cli.keep import diary_date

        first = diary_date(since).isoformat()
    every = corals or ask.as_json or ask.csv_file or ask.everything
    found = history(ask.setup(), corals, first, intervals="all" if every else "last")
    own = _own_ranges(ask, found, own_ranges) if own_ranges else None
    answer = history_answer(found, one=bool(corals), own=own, rows=bool(ask.csv_file))
    return replace(answer, pictures=lambda: _pictures(found, bool(corals)))


def _own_ranges(ask: Ask, found: History, target: str) -> OwnRecords:
    """The ranges that corals lived in, written as a groups file."""
    from lightdose.answers.own_ranges import OwnRecords
    from lightdose.cli.asking import inputs_of
    from lightdose.files.own_groups import own_groups_text
    from lightdose.files.writing import output_target
    from lightdose.judge.own_ranges import group_ranges, own_ranges

    ranges = own_ranges(found.corals)
    together = group_ranges(ranges)
    path = output_target(target, "own-groups.toml")
    if ranges:
        text = own_groups_text(ranges, together, found.setup.groups, path.name)
        ask.save(path, text, inputs_of(found.setup))
    return OwnRecords(ranges, together, path if ranges else None)


def _pictures(found: History, one: bool) -> list[Drawing]:
    from lightdose.present.figures.history import history_drawings

    return list(history_drawings(found, one=one)) if found.first else []
