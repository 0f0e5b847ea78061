"""Markdown as blocks: headings, paragraphs, lists, code and tables, alike for a terminal and for HTML.

Only what our own pages use is taken; anything else is refused, so that no page shows less in one place than
in another.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

if TYPE_CHECKING:
    from markdown_it.token import Token


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of text in one style; ``target`` is where a link leads, else empty."""

    text: str
    style: Literal["plain", "code", "strong"] = "plain"
    target: str = ""


Spans = tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class Heading:
    """A heading; level 1 is the title of a page."""

    level: int
    spans: Spans
    kind: Literal["heading"] = "heading"

    @property
    def key(self) -> str:
        """The heading's words as they stand in a link: "First steps" is first-steps."""
        kept = "".join(c for c in plain(self.spans).lower() if c.isalnum() or c in " -_")
        return kept.replace(" ", "-")


@dataclass(frozen=True, slots=True)
class Paragraph:
    """Running text."""

    spans: Spans
    kind: Literal["paragraph"] = "paragraph"


@dataclass(frozen=True, slots=True)
class Items:
    """A list; every entry is one paragraph."""

    entries: tuple[Spans, ...]
    numbered: bool = False
    kind: Literal["items"] = "items"


@dataclass(frozen=True, slots=True)
class Code:
    """Lines that stand as they are."""

    lines: tuple[str, ...]
    kind: Literal["code"] = "code"


@dataclass(frozen=True, slots=True)
class Table:
    """A table: its heads, and rows of as many cells."""

    head: tuple[Spans, ...]
    rows: tuple[tuple[Spans, ...], ...]
    kind: Literal["table"] = "table"


Block = Heading | Paragraph | Items | Code | Table


def plain(spans: Spans) -> str:
    """The words alone."""
    return "".join(span.text for span in spans)


def read_blocks(markdown: str) -> tuple[Block, ...]:
    """The blocks of a page in their order; comments are left out.

    Raises
    ------
    ValueError
        For markdown that our pages do not use, such as a list in a list or a picture.
    """
    from markdown_it import MarkdownIt

    tokens = MarkdownIt("commonmark").enable("table").parse(markdown)
    return tuple(_Reader(tokens).blocks())


class _Reader:
    """Walks the tokens of a page once."""

    def __init__(self, tokens: Sequence[Token]) -> None:
        self._tokens = iter(tokens)

    def blocks(self) -> Iterator[Block]:
        for token in self._tokens:
            if token.type == "html_block" and token.content.startswith("<!--"):
                continue
            if token.type == "heading_open":
                yield Heading(int(token.tag[1]), self._inline("heading_close"))
            elif token.type == "paragraph_open":
                yield Paragraph(self._inline("paragraph_close"))
            elif token.type in ("fence", "code_block"):
                yield Code(tuple(token.content.rstrip("\n").split("\n")))
            elif token.type in ("bullet_list_open", "ordered_list_open"):
                yield Items(tuple(self._entries()), token.type == "ordered_list_open")
            elif token.type == "table_open":
                head, *rows = self._rows()
                yield Table(head, tuple(rows))
            else:
                raise _unused(token)

    def _inline(self, closing: str) -> Spans:
        """The text of one block, up to the token that closes it."""
        spans: Spans = ()
        for token in self._tokens:
            if token.type == closing:
                break
            if token.type != "inline":
                raise _unused(token)
            spans = tuple(_spans(token.children or ()))
        return spans

    def _entries(self) -> Iterator[Spans]:
        for token in self._tokens:
            if token.type in ("bullet_list_close", "ordered_list_close"):
                return
            if token.type == "paragraph_open":
                yield self._inline("paragraph_close")
            elif token.type not in ("list_item_open", "list_item_close"):
                raise _unused(token)

    def _rows(self) -> Iterator[tuple[Spans, ...]]:
        cells: list[Spans] = []
        for token in self._tokens:
            if token.type == "table_close":
                return
            if token.type in ("th_open", "td_open"):
                cells.append(self._inline(token.type.replace("open", "close")))
            elif token.type == "tr_close":
                yield tuple(cells)
                cells = []


def _spans(tokens: Sequence[Token]) -> Iterator[Span]:
    style: Literal["plain", "strong"] = "plain"
    target = ""
    for token in tokens:
        if token.type == "text":
            if token.content:
                yield Span(token.content, style, target)
        elif token.type == "code_inline":
            yield Span(token.content, "code", target)
        elif token.type == "softbreak":
            yield Span(" ", style, target)
        elif token.type in ("strong_open", "strong_close"):
            style = "strong" if token.type == "strong_open" else "plain"
        elif token.type in ("link_open", "link_close"):
            target = str(token.attrGet("href") or "") if token.type == "link_open" else ""
        else:
            raise _unused(token)


def _unused(token: Token) -> ValueError:
    return ValueError(f"pages of the guide have no {token.type}: {token.content[:60]!r}")
