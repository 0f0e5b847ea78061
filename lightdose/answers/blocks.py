"""What an answer is made of: sentences, lists, tables and figures in order, whatever prints them."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, Literal, overload

from lightdose.model.record import dataclass

if TYPE_CHECKING:
    from lightdose.model.results import Caution, DliState
    from lightdose.model.setup import LengthUnit

Tone = Literal["plain", "basis", "strong", "note", "verdict"]


ALIKE_FROM: Final = 4
"""From so many rows on, a column whose cells are all alike is said in a sentence. Our choice."""

CELLS_AT_ONCE: Final = 100


@dataclass(frozen=True)
class Say:
    """A sentence; ``tone`` tells the first line of an answer, its verdict and small print from the rest."""

    text: str
    tone: Tone = "plain"


@dataclass(frozen=True)
class Point:
    """An entry of a list: whom or what it is about, the text, and its source."""

    text: str
    about: str = ""
    source: str = ""
    code: str = ""


def pointed(cautions: Iterable[Caution]) -> tuple[Point, ...]:
    """Cautions as entries of a list, each with its source."""
    return tuple(Point(c.text, source=c.source, code=c.code) for c in cautions)


@dataclass(frozen=True)
class Points:
    """A list; ``terms`` sets what each is about as a term before its text."""

    points: tuple[Point, ...]
    terms: bool = False

    @classmethod
    def of(cls, texts: Iterable[str]) -> Points:
        """A list of sentences."""
        return cls(tuple(map(Point, texts)))


@dataclass(frozen=True)
class Bar:
    """Where a dose lies against floor, usual range and ceiling, with its 95 % interval. [mol m-2 d-1]"""

    state: DliState
    dose: float
    edges: tuple[float, float, float, float]
    interval: tuple[float, float] | None = None

    @property
    def zones(self) -> tuple[float, ...]:
        """As ``bar_zones`` of its edges."""
        return bar_zones(self.edges)


def bar_zones(edges: tuple[float, float, float, float]) -> tuple[float, ...]:
    """Where the zones of far below, below, within, above and far above begin, and where a bar ends."""
    return (0.0, *edges, 2 * edges[-1])


class LateCells(Sequence["str | Bar"]):
    """A cell for every row, made when it or a later one is asked for: a folded table costs nothing."""

    def __init__(self, shown: Callable[[Any], str | Bar], rows: Sequence[Any]) -> None:
        self._shown, self._rows, self._made = shown, rows, list[str | Bar]()

    def _first(self, count: int) -> list[str | Bar]:
        """So many first cells, or more."""
        self._made += map(self._shown, self._rows[len(self._made) : count])
        return self._made

    def __len__(self) -> int:
        return len(self._rows)

    @overload
    def __getitem__(self, at: int) -> str | Bar: ...

    @overload
    def __getitem__(self, at: slice) -> Sequence[str | Bar]: ...

    def __getitem__(self, at: int | slice) -> str | Bar | Sequence[str | Bar]:
        last = at.stop if isinstance(at, slice) else at + 1
        return self._first(last if last is not None and last > 0 else len(self))[at]

    def __iter__(self) -> Iterator[str | Bar]:
        for n in range(0, len(self), CELLS_AT_ONCE):
            yield from self._first(n + CELLS_AT_ONCE)[n : n + CELLS_AT_ONCE]

    def __eq__(self, other: object) -> bool:
        return isinstance(other, tuple | LateCells) and tuple(self) == tuple(other)

    def __hash__(self) -> int:
        return hash(tuple(self))


@dataclass(frozen=True)
class Column:
    """A column of a table: what stands over it, its unit as files state it, and a cell for every row.

    ``note`` is small print under the table wherever the column shows.
    """

    head: str
    cells: Sequence[str | Bar]
    unit: str = ""
    right: bool = False
    fold: bool = False
    note: str = ""

    @property
    def alike(self) -> bool:
        """Whether every cell holds the same text."""
        first = self.cells[0]
        return isinstance(first, str) and all(cell == first for cell in self.cells)


@dataclass(frozen=True)
class Table:
    """A table; its columns stand in the order in which a narrow window would give them up, the last first.

    Attributes
    ----------
    strong : the rows that are furthest from what they should be
    marks : a sign before every row of a terminal, such as "!" for a row of concern
    calm : rows of no concern: a terminal counts them where the table is long
    calm_words : how it counts them, such as "within common practice"
    unit : what the title tells, so that a terminal need not repeat it over columns
    note : small print under it
    least : so many first columns always show, and so many ``wanted`` more where names stay readable
    lines_at_most : a terminal counts the rows beyond; 0 shows all
    left_out : what the rest is called, such as "dimmer site"
    stacks : columns that do not fit go into further tables below, each after the first column
    page_columns : a page shows so many first columns; 0 shows all
    page_leaves_out : heads of columns that a page leaves to other tables
    length_unit : of columns in "length"
    filters : what a page can choose rows by, such as a group: its name, and what each row is filed under
    paper : whether a page prints it on paper too
    """

    key: str
    caption: str
    columns: tuple[Column, ...]
    strong: tuple[bool, ...] = ()
    marks: tuple[str, ...] = ()
    calm: tuple[bool, ...] = ()
    calm_words: str = "of no concern"
    unit: str = ""
    note: str = ""
    least: int = 2
    wanted: int = 0
    lines_at_most: int = 0
    left_out: str = "row"
    stacks: bool = False
    page_columns: int = 0
    page_leaves_out: tuple[str, ...] = ()
    length_unit: LengthUnit = "cm"
    filters: tuple[tuple[str, tuple[str, ...]], ...] = ()
    paper: bool = False

    @property
    def n_rows(self) -> int:
        """How many rows it has."""
        return len(self.columns[0].cells) if self.columns else 0

    def telling(self) -> tuple[list[Column], list[Column]]:
        """Columns that tell rows apart, and further ones whose cells are all alike: those are a sentence."""
        first, further = list(self.columns[: self.least]), self.columns[self.least :]
        if self.n_rows < ALIKE_FROM:
            return [*first, *further], []
        return [*first, *(c for c in further if not c.alike)], [c for c in further if c.alike]


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure for pages, drawn when it is needed; ``twice`` draws it anew for wide screens and paper."""

    draw: Callable[[], Any]
    twice: bool = False
    paper: bool = False


@dataclass(frozen=True)
class Markup:
    """Markup of our own for pages: the template that makes it, and its values."""

    template: str
    values: Mapping[str, Any]


@dataclass(frozen=True)
class Section:
    """Blocks under a title.

    Attributes
    ----------
    key : names it in addresses of a page
    nav : its words in a page's list of sections
    brief : whether a terminal shows it without being asked for everything
    extra : whether it still shows then; a short form of other sections gives way to them
    screens, paper : whether pages show it, and print it
    terminal : whether terminals and pipes ever show it
    folded : whether a page hides it behind its title until it is asked for
    """

    title: str
    blocks: tuple[Block, ...]
    key: str = ""
    nav: str = ""
    brief: bool = True
    extra: bool = True
    screens: bool = True
    paper: bool = True
    terminal: bool = True
    folded: bool = False


Block = Say | Points | Table | Picture | Markup | Section
