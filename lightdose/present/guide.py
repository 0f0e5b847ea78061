"""The manual's pages in a terminal, and all of them as one page."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Sequence
from typing import Final

from lightdose.answers.words import typeset, typeset_unit
from lightdose.guide.pages import Block, Items, Page, Spans, Table, plain, topic_of
from lightdose.present.page import Ready, page_environment, policy, template_text

GAP: Final = 2
LEAST_LAST: Final = 24
"""A table keeps its columns as long as its last one has so much room; else each row is a few lines."""

UNDERLINES: Final = {1: "=", 2: "-"}
_BOLD, _END = "\x1b[1m", "\x1b[0m"


def page_lines(page: Page, width: int, *, bold: bool) -> Iterator[str]:
    """The page in lines of at most ``width``, but for code; ``bold`` makes its headings bold."""
    yield from (*_heading(page.title, 1, bold), "")
    yield from _filled(page.summary, width)
    for block in page.body:
        yield ""
        yield from _lines(block, width, bold)
    if page.leads_to:
        yield ""
        yield from _filled(f"More, by `lightdose guide TOPIC`: {', '.join(page.leads_to)}.", width)


def topic_lines(pages: Sequence[Page], width: int) -> Iterator[str]:
    """One line a page: its topic, and what it tells."""
    topics = max(len(page.topic) for page in pages)
    for page in pages:
        yield from _filled(page.summary, width, f"{page.topic:<{topics + GAP}}")


def _heading(words: str, level: int, bold: bool) -> Iterator[str]:
    yield f"{_BOLD}{words}{_END}" if bold else words
    if level in UNDERLINES:
        yield UNDERLINES[level] * len(words)


def _lines(block: Block, width: int, bold: bool) -> Iterator[str]:
    match block.kind:
        case "heading":
            yield from _heading(plain(block.spans), block.level, bold)
        case "paragraph":
            yield from _filled(_text(block.spans), width)
        case "items":
            yield from _items(block, width)
        case "code":
            yield from (f"    {line}".rstrip() for line in block.lines)
        case "table":
            yield from _table(block, width)


def _text(spans: Spans) -> str:
    """The words of running text, code in the marks that a shell of a newcomer tells apart."""
    return "".join(f"`{span.text}`" if span.style == "code" else span.text for span in spans)


def _items(block: Items, width: int) -> Iterator[str]:
    for number, entry in enumerate(block.entries, start=1):
        yield from _filled(_text(entry), width, f"{number}. " if block.numbered else "- ")


def _table(table: Table, width: int) -> Iterator[str]:
    """In columns where the last one keeps room to be read, else row by row."""
    head = [plain(cell) for cell in table.head]
    rows = [[plain(cell) for cell in row] for row in table.rows]
    widths = [max(map(len, column)) for column in zip(head, *rows, strict=True)]
    before = sum(widths[:-1]) + GAP * (len(widths) - 1)
    if before + min(widths[-1], LEAST_LAST) <= width:
        yield from _columns(head, rows, widths, width)
    else:
        yield from _records(head, rows, width)


def _columns(head: list[str], rows: list[list[str]], widths: list[int], width: int) -> Iterator[str]:
    def lead(cells: list[str]) -> str:
        return "".join(f"{cell:<{size + GAP}}" for cell, size in zip(cells[:-1], widths[:-1], strict=True))

    yield (lead(head) + head[-1]).rstrip()
    yield "-" * min(width, sum(widths) + GAP * (len(widths) - 1))
    for row in rows:
        yield from _filled(row[-1], width, lead(row))


def _records(head: list[str], rows: list[list[str]], width: int) -> Iterator[str]:
    """A row in a few lines: its first two cells, then the others after their heads."""
    for row in rows:
        yield from _filled(f"{row[0]}  {row[1]}", width, after=" " * 4)
        rest = [
            f"{name}: {cell}" for name, cell in zip(head[2:], row[2:], strict=True) if cell not in ("", "-")
        ]
        if rest:
            yield from _filled("; ".join(rest), width, " " * 4, " " * 4)


def _filled(text: str, width: int, first: str = "", after: str | None = None) -> list[str]:
    """A paragraph in lines; those after the first are set in under its text, or by ``after``."""
    indent = " " * len(first) if after is None else after
    lines = textwrap.wrap(
        text,
        max(width, len(indent) + LEAST_LAST),
        initial_indent=first,
        subsequent_indent=indent,
        break_on_hyphens=False,
        break_long_words=False,
    )
    return lines or [first.rstrip()]


def guide_page(pages: Sequence[Page], version: str) -> str:
    """All pages as text in the style of the report, with a table of contents.

    A heading is known by its topic and its own words, ``files-times``, so that links between pages lead on
    within this one.
    """
    styles = [template_text("report.css"), template_text("guide.css")]
    template = page_environment().get_template("guide.html")
    return template.render(
        pages=pages,
        version=version,
        policy=Ready(policy(styles, ())),
        styles=[Ready(style) for style in styles],
        plain=plain,
        typeset=typeset,
        typeset_unit=typeset_unit,
        place=_place,
        parts=_parts,
    )


def _place(target: str, topic: str) -> str:
    """Where a link of a page leads within the one page: "files.md#times" is #files-times."""
    words = target.partition("#")[2]
    return f"#{topic_of(target) or topic}{'-' if words else ''}{words}"


def _parts(page: Page) -> list[tuple[str, str]]:
    """The sections of a page for the contents: key and words."""
    headings = [block for block in page.body if block.kind == "heading" and block.level == 2]
    return [(f"{page.topic}-{h.key}", plain(h.spans)) for h in headings]
