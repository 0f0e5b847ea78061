"""The manual as one page to read offline and to print: it holds everything and requests nothing."""

from __future__ import annotations

from collections.abc import Sequence

from lightdose.answers.words import typeset, typeset_unit
from lightdose.guide.blocks import plain
from lightdose.guide.pages import Page, topic_of
from lightdose.present.page import Ready, page_environment, policy, template_text


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
