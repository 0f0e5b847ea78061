"""The pages that `lightdose` writes, opened as a reader opens them: reports, measuring sheet, guide."""

from __future__ import annotations

import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import pytest
from browser.conftest import OpenPage
from browser.scenes import EXAMPLE, HOSTILE, TWO_YEARS, hostile_setup
from click.testing import CliRunner

from lightdose.cli import cli

MakePage = Callable[[str], Path]

PAGES = ("report", "comparison", "hostile report", "sheet", "round", "hostile round", "guide")

BOXES = "main :is(td, th, p, li, dt, dd, h1, h2, h3, caption, figcaption, button, summary)"

CUT_TEXT = """boxes => [...document.querySelectorAll(boxes)]
    .filter(e => e.offsetParent !== null && !e.closest('thead'))
    .filter(e => e.scrollWidth > e.clientWidth + 1 && getComputedStyle(e).display !== 'inline')
    .map(e => `${e.tagName} ${e.textContent.trim().slice(0, 60)}`)"""

OUTSIDE_TEXT = """() => [...document.querySelectorAll('svg[viewBox]')].flatMap(svg => {
    const frame = svg.getBoundingClientRect();
    if (!frame.width) return [];
    return [...svg.querySelectorAll('text')].filter(t => {
        const box = t.getBoundingClientRect();
        return box.width && (box.left < frame.left - 1 || box.right > frame.right + 1
            || box.top < frame.top - 1 || box.bottom > frame.bottom + 1);
    }).map(t => t.textContent);
})"""

OPEN_ALL = "() => document.querySelectorAll('details').forEach(d => { d.open = true; })"


def run(*words: object) -> None:
    """One command, which must end well."""
    result = CliRunner().invoke(cli, [str(w) for w in words])
    assert result.exit_code == 0, result.output


@pytest.fixture(scope="session")
def made_page(tmp_path_factory: pytest.TempPathFactory, browser: object) -> MakePage:
    """Write each page once, by the command that a keeper types."""
    folder = tmp_path_factory.mktemp("pages")
    made: dict[str, Path] = {}

    def make(kind: str) -> Path:
        if kind not in made:
            page = folder / f"{kind.replace(' ', '-')}.html"
            if kind == "report":
                run("report", EXAMPLE, "-o", page)
            elif kind == "comparison":
                run("report", EXAMPLE, EXAMPLE, "--fixture-height", "30 cm", "-o", page)
            elif kind == "hostile report":
                hostile = folder / "hostile"
                hostile.mkdir()
                run("report", hostile_setup(hostile), "-o", page)
            elif kind == "round":
                run("note", TWO_YEARS, "--sheet", "-o", folder / "round")
                page = folder / "round" / "round.html"
            elif kind == "hostile round":
                bites = folder / "bites"
                bites.mkdir()
                run("note", hostile_setup(bites), "--sheet", "-o", bites / "round")
                page = bites / "round" / "round.html"
            elif kind == "guide":
                run("guide", "--html", page)
            else:
                run("survey", EXAMPLE, "-o", folder / "survey")
                page = folder / "survey" / "survey.html"
            made[kind] = page
        return made[kind]

    return make


@pytest.mark.identity
@pytest.mark.parametrize("kind", ["report", "comparison", "sheet", "round", "guide"])
def test_page_has_no_accessibility_violation(
    made_page: MakePage, open_page: OpenPage, axe_source: str, kind: str
) -> None:
    """axe-core finds nothing against WCAG A and AA up to 2.2, with every part unfolded."""
    opened = open_page(made_page(kind))
    opened.page.evaluate(OPEN_ALL)
    assert opened.axe_violations(axe_source) == []


@pytest.mark.published
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("kind", ["report", "comparison"])
def test_words_of_the_report_have_contrast(
    made_page: MakePage, open_page: OpenPage, kind: str, scheme: str
) -> None:
    """Every word, of figures too, has 4.5 or more on its ground, by WCAG's formula."""
    # Source: WCAG 2.2, relative luminance and success criterion 1.4.3.
    opened = open_page(made_page(kind), color_scheme=scheme)
    opened.page.evaluate(OPEN_ALL)
    assert opened.faint_words() == []


@pytest.mark.identity
@pytest.mark.parametrize("kind", PAGES)
def test_page_asks_for_nothing_and_complains_of_nothing(
    made_page: MakePage, open_page: OpenPage, kind: str
) -> None:
    """The file is all that is read, and the console stays empty."""
    path = made_page(kind)
    opened = open_page(path)
    opened.page.evaluate(OPEN_ALL)
    opened.page.wait_for_load_state("networkidle")
    assert opened.requests == [path.resolve().as_uri()]
    assert opened.messages == []
    assert path.stat().st_size < 500_000


@pytest.mark.identity
@pytest.mark.parametrize("kind", PAGES)
def test_page_fits_a_narrow_screen_and_cuts_no_text(
    made_page: MakePage, open_page: OpenPage, kind: str
) -> None:
    """At 320 px nothing makes the page wider than the screen; text fits its box there and at 1280 px."""
    opened = open_page(made_page(kind), width=320)
    opened.page.evaluate(OPEN_ALL)
    for width in (320, 1280):
        opened.page.set_viewport_size({"width": width, "height": 800})
        wide = "document.documentElement.scrollWidth <= document.documentElement.clientWidth"
        assert opened.page.evaluate(wide), width
        assert opened.page.evaluate(CUT_TEXT, BOXES) == [], width
        assert opened.page.evaluate(OUTSIDE_TEXT) == [], width


@pytest.mark.identity
def test_names_that_bite_show_literally_and_run_nothing(made_page: MakePage, open_page: OpenPage) -> None:
    """Every hostile name is text of the page, not markup, and the policy has nothing to stop."""
    opened = open_page(made_page("hostile report"))
    opened.page.evaluate(OPEN_ALL)
    text = re.sub(r"\s+", " ", opened.page.inner_text("main"))
    for name in HOSTILE:
        assert re.sub(r"\s+", " ", name) in text, name
    assert opened.page.evaluate("window.ran") is None
    assert opened.page.locator("main img, main b b, main svg[onload]").count() == 0
    assert opened.messages == []


@pytest.mark.identity
def test_report_policy_stops_injected_handlers_and_scripts(made_page: MakePage, open_page: OpenPage) -> None:
    """Markup that got in all the same would not run: scripts are named by their hash."""
    opened = open_page(made_page("report"))
    opened.page.evaluate(
        """() => {
            document.body.insertAdjacentHTML('beforeend', '<img src=x onerror="window.ran=1">');
            const script = document.createElement('script');
            script.textContent = 'window.ran=2';
            document.body.append(script);
        }"""
    )
    opened.page.wait_for_timeout(50)
    assert opened.page.evaluate("window.ran") is None
    assert any("Content Security Policy" in m for m in opened.messages)


@pytest.mark.pinned
@pytest.mark.parametrize("kind", ["report", "sheet"])
@pytest.mark.parametrize("paper", ["A4", "Letter"])
def test_example_prints_on_at_most_two_pages(
    made_page: MakePage, open_page: OpenPage, kind: str, paper: str
) -> None:
    """The page of the example takes one or two sheets of A4 and of Letter."""
    printed = open_page(made_page(kind)).page.pdf(format=paper, prefer_css_page_size=False)
    assert 1 <= len(re.findall(rb"/Type\s*/Page\b(?!s)", printed)) <= 2


@pytest.mark.identity
def test_report_in_print_shows_no_control(made_page: MakePage, open_page: OpenPage) -> None:
    """Buttons, boxes, sliders and folded parts have no use on paper; heads that sort are heads there."""
    page = open_page(made_page("report")).page
    page.emulate_media(media="print")
    shown = page.locator(":not(thead *) > :is(button, input, select, summary, nav)").evaluate_all(
        "all => all.filter(e => e.offsetParent !== null).map(e => e.outerHTML.slice(0, 80))"
    )
    assert shown == []


@pytest.mark.identity
def test_report_prints_the_map_of_a_wide_screen(made_page: MakePage, open_page: OpenPage) -> None:
    """A sheet is narrower than a screen that gets small maps, and holds the large one at its full size."""
    page = open_page(made_page("report"), width=703).page
    assert page.locator("#maps svg.narrow").first.is_visible()
    page.emulate_media(media="print")
    printed = page.locator("figure.broad svg.figure").evaluate_all(
        "all => all.filter(e => e.getClientRects().length).map(e => [e.classList.contains('narrow'),"
        " e.getBoundingClientRect().width / e.viewBox.baseVal.width])"
    )
    assert printed
    assert all(not narrow and scale == pytest.approx(4 / 3, rel=0.01) for narrow, scale in printed)


@pytest.mark.identity
def test_report_without_scripts_holds_every_dose(made_page: MakePage, open_page: OpenPage) -> None:
    """With scripts off the doses, peaks and ranges of all corals stand in the tables."""
    from lightdose.analysis import analyse
    from lightdose.answers.words import number
    from lightdose.files.setup_file import read_setup

    page = open_page(made_page("report"), java_script_enabled=False).page
    rows = {r.split("\t")[0]: r for r in page.locator("#table-corals tbody tr").all_inner_texts()}
    for verdict in analyse(read_setup(EXAMPLE), certainty=False).verdicts:
        row = next(text for head, text in rows.items() if verdict.coral in head)
        assert number(verdict.dli_mol_m2_d) in row
        assert number(verdict.peak_ppfd_umol_m2_s) in row
    assert page.locator("#try-body").is_hidden()


@pytest.mark.identity
def test_report_has_one_main_heading_and_its_headings_skip_no_level(
    made_page: MakePage, open_page: OpenPage
) -> None:
    """One h1; every further heading is at most one level deeper than the one before."""
    page = open_page(made_page("report")).page
    levels = page.evaluate("[...document.querySelectorAll('h1, h2, h3, h4')].map(h => Number(h.tagName[1]))")
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))


@pytest.mark.identity
def test_report_targets_measure_24_pixels_and_focus_shows(made_page: MakePage, open_page: OpenPage) -> None:
    """Every control that stands for itself is at least 24 px high, and the one in focus is outlined."""
    page = open_page(made_page("report"), width=375).page
    small = page.evaluate(
        """() => [...document.querySelectorAll('button, input, select, summary, nav a')]
            .filter(e => e.offsetParent !== null)
            .map(e => [e.outerHTML.slice(0, 60), e.getBoundingClientRect().height])
            .filter(([, height]) => height < 24)"""
    )
    assert small == []
    for _ in range(6):
        page.keyboard.press("Tab")
        style = page.evaluate("(e => [e.tagName, getComputedStyle(e).outlineStyle])(document.activeElement)")
        assert style[1] != "none", style
