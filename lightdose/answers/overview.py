"""Many setups in one view: a line for each, the worst first, and how many stand where."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Final

from lightdose.answers.answer import OverviewRow
from lightdose.answers.blocks import Block, Column, Say, Table
from lightdose.answers.check import in_short
from lightdose.answers.field import NONE
from lightdose.answers.words import count
from lightdose.errors import Problem

ROWS_SHOWN: Final = 60
"""Rows of the table on a terminal; the rest is counted. Our choice."""

FAILED: Final = "not computed"
NUMBERS: Final = frozenset(("within", "off", "undecided", "problems", "kWh/day"))


def overview_blocks(names: Sequence[str], rows: Sequence[OverviewRow]) -> list[Block]:
    """A table of setups, each by its name, the worst first, and how many stand where."""
    ranked = sorted(zip(names, rows, strict=True), key=lambda named: named[1].concern)
    heads = max((tuple(head for head, _ in row.cells) for row in rows), key=len)
    columns = [Column("setup", tuple(name for name, _ in ranked), fold=True)]
    for head in heads:
        cells = tuple(dict(row.cells).get(head, NONE) for _, row in ranked)
        columns.append(Column(head, cells, right=head in NUMBERS, fold=head not in NUMBERS))
    strong = tuple(row.concern[0] < 2 for _, row in ranked)
    table = Table(
        "setups", "", tuple(columns), strong, least=5, rows_at_most=ROWS_SHOWN, left_out="further setup"
    )
    return [table, Say(closing_line(rows), "verdict")]


def failed_overview(problems: Sequence[Problem], heads: Sequence[str]) -> OverviewRow:
    """A setup that could not be computed: its first problem under the head that ``heads`` gives last."""
    *empty, told = heads
    cells = tuple((head, NONE) for head in empty)
    return OverviewRow((*cells, (told, in_short(problems[0]))), FAILED, (0.0,), failed=True)


def closing_line(rows: Sequence[OverviewRow]) -> str:
    """How many setups stand where, the worst first."""
    order = {row.standing: row.concern[0] for row in rows}
    counts = Counter(row.standing for row in rows)
    parts = [f"{counts[standing]} {standing}" for standing in sorted(order, key=lambda s: order[s])]
    return f"{count(len(rows), 'setup')}: {', '.join(parts)}."
