"""The pages of the manual: found by topic, with their title and the line that stands for them in lists."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from importlib.resources import files

from lightdose.errors import LightdoseError, Problem
from lightdose.guide import TOPICS
from lightdose.guide.blocks import Block, Heading, Paragraph, Spans, plain, read_blocks
from lightdose.near_names import near_names


@dataclass(frozen=True, slots=True)
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
