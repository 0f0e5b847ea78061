"""Pages of the guide in a terminal: nothing is lost, and nothing is wider than the window."""

from __future__ import annotations

import re

import pytest

from lightdose.guide.pages import Page, all_pages, read_blocks
from lightdose.present.guide import page_lines, topic_lines

KEYS = "| key | meaning | default |\n|---|---|---|\n| `length` | x, left to right | required |\n"


def page(markdown: str) -> Page:
    """A page of these blocks."""
    return Page("made", "Made page", "For a test.", read_blocks(markdown))


def body(markdown: str, width: int) -> list[str]:
    """Its lines without title and summary."""
    return list(page_lines(page(markdown), width, bold=False))[5:]


@pytest.mark.identity
@pytest.mark.parametrize("width", [40, 80, 100])
def test_every_word_of_every_page_stands_in_lines_of_the_width(width: int) -> None:
    """Only code is wider; a word that has no blank stays in one piece."""
    for shown in all_pages():
        lines = list(page_lines(shown, width, bold=False))
        printed = " ".join(" ".join(lines).split())
        for line in lines:
            free = len(line) <= width or line.startswith("    ") or " " not in line.strip()
            assert free or set(line) <= {"=", "-"}, (shown.topic, line)
        for block in shown.body:
            if block.kind == "table":
                for row in block.rows:
                    for cell in row:
                        for word in "".join(span.text for span in cell).split():
                            assert word == "-" or word in printed, (shown.topic, word)


@pytest.mark.identity
def test_no_escape_byte_unless_headings_are_bold() -> None:
    """Bold adds escapes to headings and changes no word."""
    for shown in all_pages():
        lines = list(page_lines(shown, 80, bold=False))
        assert not any("\x1b" in line for line in lines)
        bold = list(page_lines(shown, 80, bold=True))
        assert any("\x1b" in line for line in bold)
        assert [re.sub("\x1b\\[[0-9;]*m", "", line) for line in bold] == lines


@pytest.mark.identity
def test_table_that_fits_has_columns_and_another_one_has_records() -> None:
    """In a narrow window a row becomes its first two cells, then the others after their heads."""
    assert body(KEYS, 60) == [
        "key     meaning           default",
        "----------------------------------",
        "length  x, left to right  required",
    ]
    assert body(KEYS, 30) == ["length  x, left to right", "    default: required"]


@pytest.mark.identity
def test_cell_without_a_value_is_left_out_of_a_record() -> None:
    """A dash says nothing where heads are repeated."""
    assert body(KEYS.replace("required", "-"), 30) == ["length  x, left to right"]


@pytest.mark.identity
def test_list_and_code_are_set_in() -> None:
    """A folded entry goes on under its words; code keeps its blanks."""
    assert body("- one two three four five six seven eight\n\n```\na  b\n```\n", 30) == [
        "- one two three four five six",
        "  seven eight",
        "",
        "    a  b",
    ]


@pytest.mark.identity
def test_topics_are_listed_one_line_each() -> None:
    """On 80 columns, in the order of the pages."""
    pages = all_pages()
    lines = list(topic_lines(pages, 80))
    assert [line.split()[0] for line in lines] == [p.topic for p in pages]
