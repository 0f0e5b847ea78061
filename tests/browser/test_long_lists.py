"""A crowded tank's page: short by default, searchable, sortable, whole without scripts and on paper."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from browser.conftest import Opened, OpenPage
from browser.scenes import crowded_setup
from click.testing import CliRunner

from lightdose.cli import cli

CORALS = 60
MOST_PX = {1280: 9_000, 375: 18_000}
"""Of the page of 60 corals without opening anything, by the width of the screen."""

SHOWN = """() => [...document.querySelectorAll('#table-corals tbody tr')]
    .filter(row => row.offsetParent !== null || getComputedStyle(row).display !== 'none')
    .map(row => row.cells[0].textContent.trim())"""


@pytest.fixture(scope="session")
def crowded_page(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The report of a tank with 60 corals of many groups, some of them off, and a rock."""
    folder = tmp_path_factory.mktemp("crowded")
    page = folder / "crowded.html"
    done = CliRunner().invoke(cli, ["report", str(crowded_setup(folder, CORALS)), "-o", str(page)])
    assert done.exit_code == 0, done.output
    return page


@pytest.fixture
def opened(crowded_page: Path, open_page: OpenPage) -> Callable[..., Opened]:
    """Open it in a window of some width."""
    return lambda **options: open_page(crowded_page, **options)


@pytest.fixture
def schemes(opened: Callable[..., Opened]) -> Iterator[Opened]:
    """The page under each colour scheme, everything unfolded."""

    def each() -> Iterator[Opened]:
        for scheme in ("light", "dark"):
            shown = opened(color_scheme=scheme)
            shown.page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true; })")
            yield shown

    return each()


@pytest.mark.identity
@pytest.mark.parametrize("width", MOST_PX)
def test_page_of_sixty_corals_is_short_and_small(
    opened: Callable[..., Opened], crowded_page: Path, width: int
) -> None:
    """Under 9,000 px on a desktop and 18,000 px on a telephone before anything is unfolded; under 900 kB."""
    page = opened(width=width).page
    assert page.evaluate("document.documentElement.scrollHeight") < MOST_PX[width]
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    assert crowded_page.stat().st_size < 900_000


@pytest.mark.identity
@pytest.mark.parametrize("width", MOST_PX)
def test_page_of_a_reef_with_caves_is_short_too(
    open_page: OpenPage, tmp_path_factory: pytest.TempPathFactory, width: int
) -> None:
    """The same of the shipped reef of 48 corals, with rock, faces, shade and a year of growth."""
    page = tmp_path_factory.mktemp("caves") / "caves.html"
    setup = Path(__file__).resolve().parents[2] / "examples" / "rock-and-caves" / "setup.toml"
    done = CliRunner().invoke(cli, ["report", str(setup), "-o", str(page)])
    assert done.exit_code == 0, done.output
    shown = open_page(page, width=width).page
    assert shown.evaluate("document.documentElement.scrollHeight") < MOST_PX[width]
    assert shown.evaluate("document.documentElement.scrollWidth") <= width


@pytest.mark.published
def test_words_have_contrast_in_light_and_dark(schemes: Iterator[Opened]) -> None:
    """Every word of page and figures has 4.5 or more on its ground, by WCAG's formula."""
    # Source: WCAG 2.2, relative luminance and success criterion 1.4.3.
    for shown in schemes:
        assert shown.faint_words() == []


@pytest.mark.identity
def test_page_has_no_accessibility_violation_in_light_and_dark(
    schemes: Iterator[Opened], axe_source: str
) -> None:
    """axe-core finds nothing on a wide and on a narrow screen."""
    for shown in schemes:
        assert shown.axe_violations(axe_source) == []
        shown.page.set_viewport_size({"width": 375, "height": 700})
        assert shown.axe_violations(axe_source) == []


@pytest.mark.identity
def test_rows_of_no_concern_are_folded_counted_and_shown(opened: Callable[..., Opened]) -> None:
    """The list begins with the corals of concern; one press shows all, another folds them again."""
    page = opened().page
    first = page.evaluate(SHOWN)
    assert 0 < len(first) < CORALS
    assert f"{len(first)} of {CORALS} shown." in page.inner_text("[data-told]")
    assert f"Show {CORALS - len(first)} more" in page.inner_text("[data-more]")
    page.click("[data-more]")
    assert len(page.evaluate(SHOWN)) == CORALS
    page.click("[data-more]")
    assert page.evaluate(SHOWN) == first


@pytest.mark.identity
def test_list_is_searched_by_name_group_and_state(opened: Callable[..., Opened]) -> None:
    """A search looks at folded rows too; a group and a state together show what is both."""
    page = opened().page
    page.fill(".tools input", "CORAL 7")
    assert page.evaluate(SHOWN) == ["coral 7"]
    page.fill(".tools input", "")
    rows = page.evaluate(
        "[...document.querySelectorAll('#table-corals tbody tr')]"
        ".map(r => [r.cells[0].textContent, r.dataset.pick0, r.dataset.pick1])"
    )
    group, state = rows[0][1:]
    page.select_option("[data-pick='0']", group)
    page.select_option("[data-pick='1']", state)
    assert page.evaluate(SHOWN) == [name for name, g, s in rows if (g, s) == (group, state)]


@pytest.mark.identity
def test_list_is_sorted_by_figures_and_by_words(opened: Callable[..., Opened]) -> None:
    """A press on a head sorts by it, the next one turns it round; the way back is the order of concern."""
    page = opened().page
    page.click("[data-more]")
    written = page.evaluate(SHOWN)
    dose = "[...document.querySelectorAll('#table-corals tbody tr')].map(r => Number(r.cells[1].textContent))"
    page.click("#table-corals thead th:nth-child(2) [role=button]")
    assert page.evaluate(dose) == sorted(page.evaluate(dose))
    assert page.get_attribute("#table-corals thead th:nth-child(2)", "aria-sort") == "ascending"
    page.focus("#table-corals thead th:nth-child(2) [role=button]")
    page.keyboard.press("Enter")
    assert page.evaluate(dose) == sorted(page.evaluate(dose), reverse=True)
    page.select_option("[data-sort]", label="coral")
    numbers = [int(name.split()[1]) for name in page.evaluate(SHOWN)]
    assert numbers == sorted(numbers)
    page.select_option("[data-sort]", label="concern")
    assert page.evaluate(SHOWN) == written


@pytest.mark.identity
def test_without_scripts_and_on_paper_every_coral_shows(opened: Callable[..., Opened]) -> None:
    """Scripts off: the whole list and no control. On paper: the whole list and the table of sites."""
    page = opened(java_script_enabled=False).page
    assert page.locator("#table-corals tbody tr:visible").count() == CORALS
    assert page.locator(".tools:visible").count() == 0
    page = opened().page
    page.emulate_media(media="print")
    page.evaluate("dispatchEvent(new Event('beforeprint'))")
    assert page.locator("#table-corals tbody tr:visible").count() == CORALS
    assert page.locator("#table-sites tbody tr:visible").count() == CORALS
    assert page.locator("#try:visible").count() == 0


@pytest.mark.identity
def test_no_word_of_the_list_is_broken(opened: Callable[..., Opened]) -> None:
    """Every word of a cell stands on one line, on a desktop and on a telephone."""
    broken = """() => [...document.querySelectorAll('#table-corals :is(td, th)')].flatMap(cell => {
        const texts = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT), found = [];
        while (texts.nextNode()) for (const word of texts.currentNode.data.matchAll(/\\p{L}{2,18}/gu)) {
            const range = document.createRange();
            range.setStart(texts.currentNode, word.index);
            range.setEnd(texts.currentNode, word.index + word[0].length);
            const boxes = [...range.getClientRects()].filter(box => box.width);
            if (new Set(boxes.map(box => Math.round(box.top))).size > 1) found.push(word[0]);
        }
        return found;
    })"""
    page = opened().page
    page.click("[data-more]")
    for width in (1280, 375, 320):
        page.set_viewport_size({"width": width, "height": 800})
        assert page.evaluate(broken) == [], width


@pytest.mark.identity
def test_figures_of_a_telephone_are_drawn_for_it(opened: Callable[..., Opened]) -> None:
    """At 375 px every figure that shows has its own size, and no letter of it is under 9 px."""
    page = opened(width=375).page
    page.evaluate("() => document.querySelectorAll('details').forEach(d => { d.open = true; })")
    sizes = page.evaluate(
        """() => [...document.querySelectorAll('svg.figure')].flatMap(svg => {
            const wide = svg.getBoundingClientRect().width, texts = [...svg.querySelectorAll('text')];
            const letters = Math.min(...texts.map(t => parseFloat(getComputedStyle(t).fontSize)));
            if (!wide) return [];
            return [[wide / svg.getAttribute('width'), letters * wide / svg.viewBox.baseVal.width]];
        })"""
    )
    assert len(sizes) >= 8
    for scale, letters in sizes:
        assert scale == pytest.approx(1.0, abs=0.01)
        assert letters >= 9


@pytest.mark.identity
def test_paper_carries_title_date_and_page_numbers(opened: Callable[..., Opened], tmp_path: Path) -> None:
    """Each printed sheet says which tank, when, and which of how many sheets it is."""
    from pypdf import PdfReader

    path = tmp_path / "page.pdf"
    opened().page.pdf(path=str(path), format="A4", prefer_css_page_size=False)
    pages = PdfReader(path).pages
    assert len(pages) > 1
    for n, sheet in enumerate(pages, start=1):
        words = re.sub(r"\s+", " ", sheet.extract_text())
        assert "Crowded tank" in words
        assert re.search(r"\d{4}-\d{2}-\d{2}", words)
        assert f"page {n} of {len(pages)}" in words
