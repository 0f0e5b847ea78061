"""Markdown of the guide as blocks: what our pages use, and nothing else."""

from __future__ import annotations

import pytest

from lightdose.guide.pages import Code, Heading, Items, Paragraph, Span, Table, plain, read_blocks


@pytest.mark.identity
def test_markdown_becomes_blocks_in_its_order() -> None:
    """Each kind of block once; comments leave nothing behind."""
    text = (
        "# A page\n\nRun `x` or\n**wait**, see [there](other.md#place).\n\n<!-- made -->\n\n"
        "- one\n- two\n\n1. first\n\n```sh\na  b\n\nc\n```\n\n<!-- end of made -->\n"
    )
    assert read_blocks(text) == (
        Heading(1, (Span("A page"),)),
        Paragraph(
            (
                Span("Run "),
                Span("x", "code"),
                Span(" or"),
                Span(" "),
                Span("wait", "strong"),
                Span(", see "),
                Span("there", target="other.md#place"),
                Span("."),
            )
        ),
        Items(((Span("one"),), (Span("two"),))),
        Items(((Span("first"),),), numbered=True),
        Code(("a  b", "", "c")),
    )


@pytest.mark.identity
def test_table_keeps_every_cell_and_a_stroke_in_code() -> None:
    """An escaped stroke is no fence; an empty cell stays."""
    (table,) = read_blocks("| key | allowed |\n|---|---|\n| `a` | `x\\|y` |\n| b |  |\n")
    assert isinstance(table, Table)
    assert [plain(cell) for cell in table.head] == ["key", "allowed"]
    assert [[plain(cell) for cell in row] for row in table.rows] == [["a", "x|y"], ["b", ""]]


@pytest.mark.identity
@pytest.mark.parametrize(
    "text", ["![picture](a.png)\n", "> a quotation\n", "- a\n  - b\n", "<b>bold</b>\n", "a *b* c\n"]
)
def test_markdown_that_no_page_uses_is_refused(text: str) -> None:
    """A page never shows less in a terminal than in the repository."""
    with pytest.raises(ValueError, match="pages of the guide have no"):
        read_blocks(text)


@pytest.mark.identity
def test_key_of_a_heading_is_what_links_in_a_repository_use() -> None:
    """Small letters, blanks as dashes, signs left out."""
    (heading,) = read_blocks("## [[coral]] and more, `x_cm`\n")
    assert isinstance(heading, Heading)
    assert heading.key == "coral-and-more-x_cm"
