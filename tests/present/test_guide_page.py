"""The guide as one page: whole, self-contained, and safe by its content policy."""

from __future__ import annotations

import re
from html.parser import HTMLParser

import pytest

from lightdose.guide.pages import Page, all_pages, read_blocks
from lightdose.present.guide import guide_page
from lightdose.present.page import policy


class Parts(HTMLParser):
    """Ids, links, headings and text of a page."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.ids: list[str] = []
        self.links: list[str] = []
        self.tags: list[str] = []
        self.words = ""
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        held = dict(attrs)
        if held.get("id"):
            self.ids.append(held["id"] or "")
        if tag == "a":
            self.links.append(held["href"] or "")
        assert "style" not in held
        assert not any(name.startswith("on") for name in held)

    def handle_data(self, data: str) -> None:
        self.words += data


@pytest.mark.identity
def test_page_holds_every_block_and_every_link_arrives() -> None:
    """Titles, tables and code of all pages are there; ids are unique and links lead to them."""
    pages = all_pages()
    parts = Parts(guide_page(pages, "1.2.3"))
    assert len(set(parts.ids)) == len(parts.ids)
    assert {link.removeprefix("#") for link in parts.links} <= set(parts.ids)
    assert all(link.startswith("#") for link in parts.links)
    assert parts.tags.count("h1") == 1
    for kind, tag in (("table", "table"), ("code", "pre")):
        count = sum(block.kind == kind for page in pages for block in page.body)
        assert parts.tags.count(tag) == count
    for page in pages:
        assert page.title in parts.words
        assert page.topic in parts.ids
    assert "Guide to lightdose 1.2.3" in parts.words


@pytest.mark.identity
def test_page_requests_nothing_and_allows_its_own_styles_alone() -> None:
    """The policy names each style by its hash; there is no script, picture or address of another place."""
    text = guide_page(all_pages(), "1.2.3")
    stated = re.search('Content-Security-Policy" content="([^"]*)"', text)
    assert stated
    styles = re.findall("<style>(.*?)</style>", text, re.DOTALL)
    assert len(styles) == 2
    assert stated[1] == policy(styles, ())
    assert not re.search(r"<(script|img|link|iframe)|https?://|url\(|@import", text)


@pytest.mark.identity
def test_signs_of_markup_show_as_they_are() -> None:
    """Text, code and cells are escaped."""
    hostile = '<script>alert(1)</script> & "x"'
    blocks = read_blocks(f"`{hostile}`\n\n| a |\n|---|\n| `{hostile}` |\n\n```\n{hostile}\n```\n")
    text = guide_page([Page("made", hostile, hostile, blocks)], "1")
    assert "<script" not in text
    # In the contents and over its page title and summary, then text, head of a table, cell and code.
    assert Parts(text).words.count(hostile) == 7
