"""The pages of the guide: each is there, can be shown, and leads only where something is."""

from __future__ import annotations

import pytest

from lightdose.errors import LightdoseError
from lightdose.guide import TOPICS
from lightdose.guide.pages import all_pages, page_text, read_page

SHORT = 66
"""Letters of a summary that stands behind its topic on one line of 80."""


@pytest.mark.identity
def test_every_markdown_file_is_a_topic() -> None:
    """No page lies in the folder without a name on the command line."""
    from pathlib import Path

    import lightdose.guide

    assert lightdose.guide.__file__
    folder = Path(lightdose.guide.__file__).parent
    assert {path.stem for path in folder.glob("*.md")} == set(TOPICS)
    assert len(set(TOPICS)) == len(TOPICS)


@pytest.mark.identity
@pytest.mark.parametrize("topic", TOPICS)
def test_page_has_a_title_a_short_summary_and_plain_letters(topic: str) -> None:
    """Pages print under every encoding, and their summaries stand on one line each."""
    page = read_page(topic)
    assert page.title
    assert page.body
    assert page.summary.endswith(".")
    assert len(page.summary) <= SHORT
    assert page_text(topic).isascii()


@pytest.mark.identity
def test_every_link_leads_to_a_page_or_a_heading_of_the_guide() -> None:
    """In the repository, in a terminal and in the one page alike."""
    pages = {page.topic: page for page in all_pages()}
    headings = {
        topic: {block.key for block in page.body if block.kind == "heading"} for topic, page in pages.items()
    }
    for topic, page in pages.items():
        for block in page.body:
            spans = [s for part in getattr(block, "entries", ()) for s in part]
            spans += getattr(block, "spans", ())
            spans += [s for row in getattr(block, "rows", ()) for cell in row for s in cell]
            for target in (s.target for s in spans if s.target):
                file, _, key = target.partition("#")
                assert not file or file.removesuffix(".md") in TOPICS, (topic, target)
                assert not key or key in headings[file.removesuffix(".md") or topic], (topic, target)
        assert set(page.leads_to) <= set(TOPICS) - {topic}


@pytest.mark.identity
def test_headings_of_a_page_differ() -> None:
    """So that each has an address of its own."""
    for page in all_pages():
        keys = [block.key for block in page.body if block.kind == "heading"]
        assert len(set(keys)) == len(keys), page.topic


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("topic", "cure"),
    [
        ("shedule", "did you mean schedule?"),
        ("SETUP", "did you mean setup?"),
        ("quant", "did you mean quantities?"),
        ("", "`lightdose guide` lists all pages"),
        ("../start", "did you mean start?"),
    ],
)
def test_unknown_topic_is_refused_with_the_near_one(topic: str, cure: str) -> None:
    """All pages are named too."""
    with pytest.raises(LightdoseError) as refusal:
        read_page(topic)
    (problem,) = refusal.value.problems
    assert problem.cure == cure
    assert problem.allowed == ", ".join(TOPICS)
