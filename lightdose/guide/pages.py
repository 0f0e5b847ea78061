"""The manual's pages: found, read into blocks, and assembled.

Only what our own pages use is taken; anything else is refused, so that no page shows less in one place than
in another.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from importlib.resources import files
from typing import TYPE_CHECKING, Literal

from lightdose.errors import LightdoseError, Problem
from lightdose.frozen import dataclass
from lightdose.guide import TOPICS
from lightdose.near_names import near_names

if TYPE_CHECKING:
    from markdown_it.token import Token


@dataclass(frozen=True)
class Span:
    """A stretch of text in one style; ``target`` is where a link leads, else empty."""

    text: str
    style: Literal["plain", "code", "strong"] = "plain"
    target: str = ""


Spans = tuple[Span, ...]


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class Paragraph:
    """Running text."""

    spans: Spans
    kind: Literal["paragraph"] = "paragraph"


@dataclass(frozen=True)
class Items:
    """A list; every entry is one paragraph."""

    entries: tuple[Spans, ...]
    numbered: bool = False
    kind: Literal["items"] = "items"


@dataclass(frozen=True)
class Code:
    """Lines that stand as they are."""

    lines: tuple[str, ...]
    kind: Literal["code"] = "code"


@dataclass(frozen=True)
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


@dataclass(frozen=True)
class Page:
    """A page of the manual.

    Attributes
    ----------
    topic : its name on the command line and in links
    title, summary : its first heading and its first paragraph, one sentence
    body : the blocks below them
    """

    topic: str
    title: str
    summary: str
    body: tuple[Block, ...]

    @property
    def leads_to(self) -> tuple[str, ...]:
        """Topics of the pages that it links to, each once, in the order of the page."""
        spans = [span for block in self.body for part in _texts(block) for span in part]
        found = (topic_of(span.target) for span in spans if span.target)
        return tuple(dict.fromkeys(topic for topic in found if topic not in ("", self.topic)))


def _texts(block: Block) -> Iterable[Spans]:
    if block.kind == "items":
        return block.entries
    if block.kind == "table":
        return [cell for row in block.rows for cell in row]
    return () if block.kind == "code" else (block.spans,)


def topic_of(target: str) -> str:
    """The topic that a link such as "files.md#times" leads to; empty for a link within its own page."""
    return target.partition("#")[0].removesuffix(".md")


def page_text(topic: str) -> str:
    """The markdown of a page."""
    return files("lightdose.guide").joinpath(f"{topic}.md").read_text("utf-8")


def read_page(topic: str) -> Page:
    """The page on a topic.

    Raises
    ------
    LightdoseError
        If there is no such page; names the nearest and all of them.
    """
    if topic not in TOPICS:
        raise LightdoseError(_no_such_page(topic))
    title, summary, *body = read_blocks(page_text(topic))
    assert isinstance(title, Heading), topic
    assert isinstance(summary, Paragraph), topic
    return Page(topic, plain(title.spans), plain(summary.spans), tuple(body))


def all_pages() -> tuple[Page, ...]:
    """Every page in reading order."""
    return tuple(read_page(topic) for topic in TOPICS)


def _no_such_page(topic: str) -> Problem:
    small = topic.lower()
    close = near_names(topic, TOPICS, 2) or [t for t in TOPICS if t.startswith(small)]
    return Problem(
        f'the guide has no page "{topic}"',
        ", ".join(TOPICS),
        f"did you mean {' or '.join(close)}?" if close and small else "`lightdose guide` lists all pages",
    )
