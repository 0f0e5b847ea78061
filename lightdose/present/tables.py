"""Tables as wide as the window, for commands that print their own; answers go through ``present/text.py``."""

from __future__ import annotations

import os
from collections.abc import Sequence
from typing import TYPE_CHECKING, TextIO

from lightdose.model.record import dataclass

if TYPE_CHECKING:
    from rich.console import Console
    from rich.table import Table

NAME_WIDTH = 28
"""A longer name is folded onto more lines, never cut."""

GAP = 2


@dataclass(frozen=True)
class Column:
    """One column of a table: its head in one or two lines, and a cell for every row."""

    head: str
    cells: tuple[str, ...]
    right: bool = False
    name: bool = False

    @property
    def width(self) -> int:
        """Columns of the terminal that it takes; a name takes ``NAME_WIDTH`` at most."""
        from rich.cells import cell_len

        widest = max(cell_len(t) for t in (*self.head.split("\n"), *self.cells))
        return min(widest, NAME_WIDTH) if self.name else widest


def fitting(columns: Sequence[Column], width: int, indispensable: int) -> list[Column]:
    """The indispensable first columns, and of the others those that still fit, in their order."""
    chosen = list(columns[:indispensable])
    used = sum(c.width + GAP for c in chosen) - GAP
    for column in columns[indispensable:]:
        if used + GAP + column.width <= width:
            chosen.append(column)
            used += GAP + column.width
    return chosen


def print_table(
    console: Console, columns: Sequence[Column], bold: Sequence[bool], indispensable: int = 3
) -> list[Column]:
    """Print the columns that fit, the indispensable first ones always; gives the columns that were shown."""
    from rich.text import Text

    table = _table()
    chosen = fitting(columns, console.width, indispensable)
    crowded = sum(c.width + GAP for c in chosen) - GAP > console.width
    for column in chosen:
        table.add_column(
            Text(column.head),
            justify="right" if column.right else "left",
            overflow="fold",
            no_wrap=not (column.name or (crowded and column.head.partition("\n")[0] == "state")),
            max_width=NAME_WIDTH if column.name else None,
        )
    for row, strong in zip(zip(*(c.cells for c in chosen), strict=True), bold, strict=True):
        table.add_row(*(Text(cell) for cell in row), style="bold" if strong else "")
    console.print(table)
    return chosen


def _table() -> Table:
    from rich.box import Box
    from rich.table import Table

    # Lines of a Box: top, head, rule under the head, ...; each is left, fill, divider, right.
    ascii_rule = Box("    \n    \n -- \n    \n    \n    \n    \n    \n", ascii=True)
    return Table(
        box=ascii_rule, show_edge=False, pad_edge=False, padding=(0, GAP - 1, 0, 0), header_style="bold"
    )


def say(console: Console, text: str, style: str = "") -> None:
    """A line of text as it is, folded at the window's edge."""
    from rich.text import Text

    console.print(Text(text, style=style), overflow="fold")


def terminal_console(stream: TextIO, *, colour: bool, width: int | None) -> Console:
    """A console that shows names literally; ``width`` is the terminal's where it is None."""
    from rich.console import Console

    return Console(
        file=stream,
        width=width,
        no_color=not colour,
        color_system="standard" if colour else None,
        force_terminal=colour,
        markup=False,
        highlight=False,
        emoji=False,
        legacy_windows=False if os.name != "nt" else None,
    )
