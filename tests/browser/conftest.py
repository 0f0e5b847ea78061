"""Pages in the system's own browser: headless Chromium driven by Playwright for Python, one for all tests.

Without the driver, the browser or axe-core these tests skip and say why; ``LIGHTDOSE_REQUIRE_BROWSER=1``
turns such a skip into a failure. ``LIGHTDOSE_AXE`` names the folder that holds axe.min.js, as `npm pack
axe-core` brings it; ``LIGHTDOSE_CHROMIUM`` a browser that is not on the path.
"""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, NoReturn

import pytest

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Page

ARGUMENTS = [
    "--no-sandbox",
    "--disable-gpu",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]


FAINT_WORDS = r"""() => {
    const parts = text => (text.match(/[\d.]+/g) || []).map(Number);
    const linear = v => (v <= 0.04045 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4);
    const luminance = ([r, g, b]) =>
        0.2126 * linear(r / 255) + 0.7152 * linear(g / 255) + 0.0722 * linear(b / 255);
    const ground = element => {
        for (; element; element = element.parentElement) {
            const rgb = parts(getComputedStyle(element).backgroundColor);
            if (rgb.length === 3 || rgb[3] > 0.5) return rgb;
        }
        return [255, 255, 255];
    };
    const found = new Set();
    const walk = document.createTreeWalker(document.querySelector('main'), NodeFilter.SHOW_TEXT);
    while (walk.nextNode()) {
        const text = walk.currentNode, element = text.parentElement, range = document.createRange();
        range.selectNodeContents(text);
        if (!text.data.trim() || element.closest('script, style, title, desc')) continue;
        if (!range.getBoundingClientRect().width) continue;
        const style = getComputedStyle(element), below = ground(element);
        const ink = parts(element instanceof SVGElement ? style.fill : style.color);
        const [dark, light] = [luminance(ink), luminance(below)].sort((a, b) => a - b);
        if (ink.length && (light + 0.05) / (dark + 0.05) >= 4.5) continue;
        found.add(`${ink} on ${below}: ${text.data.trim().slice(0, 40)}`);
    }
    return [...found];
}"""
"""WCAG 2.2, 1.4.3: words whose colour has less than 4.5 on the ground they stand on, figures included."""


def lacking(reason: str) -> NoReturn:
    """Skip, or fail where the browser tests are required."""
    if os.environ.get("LIGHTDOSE_REQUIRE_BROWSER") == "1":
        pytest.fail(f"LIGHTDOSE_REQUIRE_BROWSER=1, but {reason}", pytrace=False)
    pytest.skip(reason)


PLAIN_FONT = """<?xml version="1.0"?>
<!DOCTYPE fontconfig SYSTEM "fonts.dtd">
<fontconfig>
  <match target="pattern">
    <edit name="family" mode="append" binding="strong"><string>Liberation Sans</string></edit>
  </match>
  <include ignore_missing="yes">/etc/fonts/fonts.conf</include>
</fontconfig>
"""
"""Where a page leaves the font to the reader's system it is one of usual width (fonts-liberation), whichever
this machine would choose: the length of a page hangs on it."""


@pytest.fixture(scope="session")
def browser(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Browser]:
    """One headless browser for all tests."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        lacking('there is no Playwright: pip install -e ".[browser]"')
    names = ("chromium", "chromium-browser", "google-chrome")
    found = os.environ.get("LIGHTDOSE_CHROMIUM") or next(filter(None, map(shutil.which, names)), None)
    if found is None:
        lacking("there is no Chromium on the path: apt-get install chromium")
    with sync_playwright() as playwright:
        fonts = tmp_path_factory.mktemp("fonts") / "fonts.conf"
        fonts.write_text(PLAIN_FONT, encoding="utf-8")
        settings = {**os.environ, "FONTCONFIG_FILE": str(fonts)}
        running = playwright.chromium.launch(executable_path=found, args=ARGUMENTS, env=settings)
        yield running
        running.close()


@pytest.fixture(scope="session")
def axe_source() -> str:
    """The text of axe-core."""
    path = Path(os.environ.get("LIGHTDOSE_AXE", "")) / "axe.min.js"
    if "LIGHTDOSE_AXE" not in os.environ or not path.is_file():
        lacking("LIGHTDOSE_AXE names no folder with axe.min.js: npm pack axe-core, and unpack it")
    return path.read_text(encoding="utf-8")


@dataclass
class Opened:
    """A page, and everything it asked for or complained about."""

    page: Page
    requests: list[str] = field(default_factory=list)
    messages: list[str] = field(default_factory=list)

    def axe_violations(self, axe_source: str) -> list[str]:
        """What axe-core finds against WCAG A and AA up to 2.2, each as one line."""
        self.page.evaluate(axe_source)
        tags = ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa", "wcag22aa", "best-practice"]
        found: list[dict[str, Any]] = self.page.evaluate(
            "tags => axe.run(document, {runOnly: tags, resultTypes: ['violations']}).then(r => r.violations)",
            tags,
        )
        return [f"{v['id']}: {node['html'][:120]}" for v in found for node in v["nodes"]]

    def faint_words(self) -> list[str]:
        """Words whose colour has a contrast below 4.5 on their ground."""
        found: list[str] = self.page.evaluate(FAINT_WORDS)
        return found


OpenPage = Callable[..., Opened]


@pytest.fixture
def open_page(browser: Browser) -> Iterator[OpenPage]:
    """Open a file as a reader does, without any network."""
    contexts = []

    def opening(path: Path, width: int = 1280, height: int = 900, **options: Any) -> Opened:
        context = browser.new_context(
            viewport={"width": width, "height": height}, offline=True, accept_downloads=True, **options
        )
        context.set_default_timeout(10_000)
        contexts.append(context)
        opened = Opened(context.new_page())
        opened.page.on("request", lambda request: opened.requests.append(request.url))
        opened.page.on("console", lambda message: opened.messages.append(message.text))
        opened.page.on("pageerror", lambda trouble: opened.messages.append(str(trouble)))
        opened.page.goto(path.resolve().as_uri())
        return opened

    yield opening
    for context in contexts:
        context.close()
