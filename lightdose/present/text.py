"""An answer as lines of text: on a terminal as wide as its window, in a pipe the same without any escape.

Sentences come first, tables show the columns that fit, the verdict stands last. In a pipe every row stays on
one line and nothing is wrapped.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from itertools import accumulate
from math import inf
from typing import Final

from lightdose.answers.blocks import Bar, Block, Column, Markup, Picture, Points, Say, Section, Table, Tone
from lightdose.answers.words import ascii_unit, count
from lightdose.errors import literal
from lightdose.model.record import dataclass

PIPE_WIDTH: Final = 118
"""Columns of a table in a pipe: what fits most windows that it may end up in. Our choice."""

FOLD_WIDTH: Final = 28
"""A longer name is folded onto more lines, never cut."""

READABLE: Final = 20
"""No name is folded to less than this for the sake of a wanted column."""

CALM_FROM: Final = 13
"""From so many rows on a terminal counts those of no concern instead of printing them. Our choice."""

SCREENFUL: Final = 60
FEWEST_ROWS: Final = 8
"""Lines of a short answer in a window of any width, while its long tables keep as many as the second. Our
choice."""

NARROWEST: Final = 10
"""No column is folded to less than this."""

GAP: Final = 2
BAR_WIDTHS: Final = (1, 2, 5, 2, 1)
"""Characters of a range bar: far below, below, within, above, far above."""

_STYLES: Final[dict[Tone | str, str]] = {
    "basis": "\x1b[3m", "strong": "\x1b[1m", "verdict": "\x1b[1m", "note": "\x1b[2m", "plain": "",
}  # fmt: skip
_PLAIN_AGAIN: Final = "\x1b[0m"


@dataclass(frozen=True)
class Window:
    """Where lines go: how wide, whether it wraps and takes styles, and whether everything is to be shown.

    In a pipe that is asked for everything, tables are as wide as they are. Long tables show ``fewer`` lines
    than they may.
    """

    width: int = PIPE_WIDTH
    wraps: bool = False
    styled: bool = False
    everything: bool = False
    fewer: int = 0

    @property
    def table_width(self) -> float:
        """How wide a table may be."""
        return inf if self.everything and not self.wraps else self.width

    def line(self, text: str, tone: Tone = "plain", indent: str = "") -> Iterator[str]:
        """A paragraph, wrapped where the window wraps."""
        lines = wrapped(text, self.width, indent) if self.wraps else [text]
        start = _STYLES[tone] if self.styled else ""
        return (f"{start}{line}{_PLAIN_AGAIN}" if start else line for line in lines)


def lines_of(blocks: Iterable[Block], window: Window) -> list[str]:
    """Every line of an answer; where words wrap, so many rows that a short one stays a screenful."""
    blocks = list(blocks)
    lines = list(_lines(blocks, window))
    for _ in range(2 if window.wraps and not window.everything else 0):
        if len(lines) > SCREENFUL:
            window = replace(window, fewer=window.fewer + len(lines) - SCREENFUL)
            lines = list(_lines(blocks, window))
    return lines


def _lines(blocks: Iterable[Block], window: Window) -> Iterator[str]:
    for block in blocks:
        if isinstance(block, Say):
            if block.tone == "verdict":
                yield ""
            yield from window.line(literal(block.text), block.tone)
        elif isinstance(block, Points):
            for point in block.points:
                about = f"{point.about}: " if point.about else ""
                source = f" [{point.source}]" if point.source else ""
                yield from window.line(literal(f"- {about}{point.text}{source}"), indent="  ")
        elif isinstance(block, Table):
            yield from _table(block, window)
        elif isinstance(block, Section):
            shown = block.extra if window.everything else block.brief
            if block.terminal and block.blocks and shown:
                yield ""
                if block.title:
                    yield from window.line(literal(block.title), "strong")
                yield from _lines(block.blocks, window)
        else:
            assert isinstance(block, Picture | Markup)  # for pages alone


def _table(table: Table, window: Window) -> Iterator[str]:
    if not table.n_rows:
        return
    if any(table.marks):
        marked = (Column("", table.marks), *table.columns)
        table = replace(table, columns=marked, least=table.least + 1, marks=())
    short = window.wraps and not window.everything
    rows = _of_concern(table) if short else list(range(table.n_rows))
    calm = table.n_rows - len(rows)
    if not rows:
        yield from window.line(f"All {calm} {table.calm_words}: --all shows them", "note")
        return
    telling, alike = table.telling()
    laid = _laid(telling, table, rows, window)
    if table.stacks:
        stacked = list(_stacked(laid[0], laid[1:], window))
        chosen = laid
    else:
        if window.wraps:
            laid = _squeezed_to(laid, table, window.width)
        chosen = _fitting(laid, window.table_width, table.least)
        stacked = [_widened(chosen, window.width) if window.wraps else chosen]
    if short and table.lines_at_most:
        heights = accumulate(max(len(c.cells[n]) for c in stacked[0]) for n in range(len(rows)))
        most = max(min(FEWEST_ROWS, table.lines_at_most), table.lines_at_most - window.fewer)
        rows = rows[: max(1, sum(height <= most for height in heights))]
    for n, columns in enumerate(stacked):
        yield from [""] * (n > 0)
        yield from _rows(columns, table, rows, window)
    if rest := _counted(table, table.n_rows - calm - len(rows), calm):
        yield from window.line(f"and {rest}: --all shows them", "note")
    if said := alike_words(alike, table.length_unit):
        yield from window.line(literal(said), "note")
    for note in filter(None, (*(c.note for c in chosen), table.note)):
        yield from window.line(literal(note), "note")


def _laid(columns: Sequence[Column], table: Table, rows: Sequence[int], window: Window) -> list[_Laid]:
    """Columns with their cells; in a pipe none is made that finds no room, for a table may be long."""
    made: list[_Laid] = []
    for column in columns:
        chosen = made if window.wraps or table.stacks else _fitting(made, window.table_width, table.least)
        least = _width(chosen) + GAP + max(map(cell_len, column.head.split("\n")))
        if chosen is made or len(made) < table.least or least <= window.table_width:
            made.append(_Laid.of(column, table, rows, window))
    return made


def _of_concern(table: Table) -> list[int]:
    """The rows of a short answer: where the table is long, those of no concern are counted instead."""
    long = table.calm and table.n_rows >= CALM_FROM
    return [n for n in range(table.n_rows) if not (long and table.calm[n])]


def _counted(table: Table, left_out: int, calm: int) -> str:
    """How a terminal counts the rows that it leaves out; empty where all show."""
    told = [count(left_out, table.left_out)] if left_out else []
    return " and ".join([*told, *([f"{calm} {table.calm_words}"] if calm else [])])


def _squeezed_to(laid: list[_Laid], table: Table, width: int) -> list[_Laid]:
    """What must show folded to the window, with the columns wanted where names stay readable."""
    for kept in (table.least + table.wanted, table.least):
        folded = _squeezed(laid[:kept], width)
        short = any(f.width < min(READABLE, c.width) for f, c in zip(folded, laid, strict=False))
        if kept == table.least or (_width(folded) <= width and not short):
            break
    return [*folded, *laid[kept:]]


def _stacked(first: _Laid, rest: Sequence[_Laid], window: Window) -> Iterator[list[_Laid]]:
    """The columns that fit beside the first one, then the next of them, each lot a table of its own."""
    while rest:
        n = max(1, sum(_width([first, *rest[:k]]) <= window.table_width for k in range(1, len(rest) + 1)))
        yield [first, *rest[:n]]
        rest = rest[n:]


def _rows(chosen: Sequence[_Laid], table: Table, rows: Sequence[int], window: Window) -> Iterator[str]:
    yield from _head(chosen)
    yield "-" * _width(chosen)
    for place, index in enumerate(rows):
        strong = window.styled and index < len(table.strong) and table.strong[index]
        for line in _row(chosen, [c.cells[place] for c in chosen]):
            yield f"{_STYLES['strong']}{line}{_PLAIN_AGAIN}" if strong else line


@dataclass(frozen=True)
class _Laid:
    """A column with its cells in lines, each of them at most ``width`` wide."""

    head: str
    unit: str
    texts: tuple[str, ...]
    cells: tuple[tuple[str, ...], ...]
    right: bool
    width: int
    note: str

    @classmethod
    def of(cls, column: Column, table: Table, rows: Sequence[int], window: Window) -> _Laid:
        unit = table.length_unit if column.unit == "length" else ascii_unit(column.unit)
        unit = "" if column.unit == table.unit else unit
        shown = [column.cells[n] for n in rows]
        texts = tuple(bar_text(c) if isinstance(c, Bar) else literal(c) for c in shown)
        fold = column.fold and window.wraps
        cells = tuple(tuple(wrapped(t, FOLD_WIDTH)) if fold else (t,) for t in texts)
        width = max(cell_len(t) for t in (*column.head.split("\n"), unit, *(t for c in cells for t in c)))
        return cls(column.head, unit, texts, cells, column.right, width, column.note)

    def folded(self, width: int) -> _Laid:
        """The same with its cells and head folded to a width."""
        cells = tuple(tuple(wrapped(text, width)) for text in self.texts)
        head = "\n".join(part for line in self.head.split("\n") for part in wrapped(line, width))
        return replace(self, head=head, cells=cells, width=width)

    def set_in(self, text: str) -> str:
        """A line of a cell as wide as the column."""
        blanks = " " * (self.width - cell_len(text))
        return blanks + text if self.right else text + blanks


def alike_words(columns: Sequence[Column], length_unit: str) -> str:
    """What all rows share, in a sentence without its stop; empty where it is nothing."""
    said = []
    for column in columns:
        unit = length_unit if column.unit == "length" else ascii_unit(column.unit)
        if column.cells[0] not in ("-", ""):
            said.append(
                " ".join(filter(None, (column.head.replace("\n", " "), str(column.cells[0]), unit.strip())))
            )
    return f"the same for all: {', '.join(said)}" if said else ""


def _width(columns: Sequence[_Laid]) -> int:
    return sum(c.width + GAP for c in columns) - GAP


def _squeezed(columns: Sequence[_Laid], width: int) -> list[_Laid]:
    """Columns that must all show: where they are too wide together, the widest texts are folded."""
    made = list(columns)
    while (excess := _width(made) - width) > 0:
        n = max(range(len(made)), key=lambda i: 0 if made[i].right else made[i].width)
        if made[n].right or made[n].width <= NARROWEST:
            break
        made[n] = made[n].folded(max(NARROWEST, made[n].width - excess))
    return made


def _widened(columns: Sequence[_Laid], width: int) -> list[_Laid]:
    """Columns with the room that is left over shared among those whose cells are folded."""
    made = list(columns)
    folded = [n for n, c in enumerate(made) if any(len(cell) > 1 for cell in c.cells)]
    for left, n in zip(range(len(folded), 0, -1), folded, strict=True):
        room = max(0, width - _width(made)) // left
        laid = made[n].folded(made[n].width + room)
        needed = max(cell_len(line) for cell in (laid.head.split("\n"), *laid.cells) for line in cell)
        made[n] = replace(laid, width=max(made[n].width, needed))
    return made


def _fitting(columns: Sequence[_Laid], width: float, least: int) -> list[_Laid]:
    """The first columns that always show, and of the others those that still fit, in their order."""
    chosen = list(columns[:least])
    for column in columns[least:]:
        if _width([*chosen, column]) <= width:
            chosen.append(column)
    return chosen


def _head(columns: Sequence[_Laid]) -> Iterator[str]:
    stacks = [[*c.head.split("\n"), *([c.unit] if c.unit else [])] for c in columns]
    height = max(map(len, stacks))
    for level in range(height):
        yield _joined(
            c.set_in(s[level] if level < len(s) else "") for c, s in zip(columns, stacks, strict=True)
        )


def _row(columns: Sequence[_Laid], cells: Sequence[tuple[str, ...]]) -> Iterator[str]:
    for level in range(max(map(len, cells))):
        yield _joined(
            c.set_in(cell[level] if level < len(cell) else "") for c, cell in zip(columns, cells, strict=True)
        )


def _joined(texts: Iterable[str]) -> str:
    return (" " * GAP).join(texts).rstrip()


def cell_len(text: str) -> int:
    """Columns of a terminal that a text takes: wide letters of East Asian scripts take two, marks none."""
    if text.isascii():
        return len(text)
    from unicodedata import combining, east_asian_width

    return sum(0 if combining(c) else 2 if east_asian_width(c) in "WF" else 1 for c in text)


_BETWEEN_WORDS = re.compile(r" (?!(?:%|cm|mol/m2/day)(?:[^\w/]|$))")


def wrapped(text: str, width: int, indent: str = "") -> list[str]:
    """A text in lines of at most ``width`` columns, the further ones indented; a longer word is parted.

    A unit stays by its number.
    """
    lines, line = [], ""
    for word in _BETWEEN_WORDS.split(text):
        joined = f"{line} {word}" if line.strip() else line + word
        if cell_len(joined) <= width or not line.strip():
            line = joined
        else:
            lines.append(line)
            line = indent + word
        while cell_len(line) > width:
            cut = next(n for n in range(len(line), 0, -1) if cell_len(line[:n]) <= width or n == 1)
            lines.append(line[:cut])
            line = indent + line[cut:] if cut > len(indent) else line[cut:]
    return [*lines, line]


def bar_text(bar: Bar) -> str:
    """Where the dose lies: ``.[..|..*..|..].``, floor [, usual | |, ceiling ]."""
    zone = ("far_below", "below", "within", "above", "far_above").index(bar.state)
    start, end, cells = bar.zones[zone], bar.zones[zone + 1], BAR_WIDTHS[zone]
    share = (bar.dose - start) / (end - start) if end > start else 0.0
    zones = [list("." * width) for width in BAR_WIDTHS]
    zones[zone][min(cells - 1, max(0, int(share * cells)))] = "*"
    fences = ("[", "|", "|", "]", "")
    return "".join("".join(marks) + fence for marks, fence in zip(zones, fences, strict=True))
