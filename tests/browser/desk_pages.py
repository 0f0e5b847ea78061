"""The desk in the tests' browser: served from a thread, watched for foreign requests and complaints."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from browser.conftest import Opened
from desk.served import served

from lightdose.desk.server import DeskServer

if TYPE_CHECKING:
    from playwright.sync_api import Browser, Locator

WAIT_S = 60.0
SETTLED = "document.querySelector('#sureness')?.textContent === '' && !document.querySelector('#desk').hidden"


@dataclass
class DeskPage:
    """An open desk; ``steps`` counts what a person did: clicks, drags, fields typed, keys pressed."""

    opened: Opened
    server: DeskServer
    steps: int = 0

    @property
    def page(self) -> Any:
        return self.opened.page

    def until(self, told: str | Callable[[], bool], what: str = "") -> None:
        """Wait until something is true in the page; its policy forbids Playwright's own way of waiting."""
        deadline = time.monotonic() + WAIT_S
        while not (told() if callable(told) else self.page.evaluate(told)):
            assert time.monotonic() < deadline, f"{what or told}; told: {self.text('#told')!r}"
            self.page.wait_for_timeout(30)  # lets its requests through, which sleeping would not

    def settled(self) -> None:
        """Wait for the sentence with all its draws."""
        self.until(SETTLED, "the sentence does not settle")

    def text(self, selector: str) -> str:
        return str(self.page.inner_text(selector))

    @property
    def headline(self) -> str:
        return self.text("#headline")

    def mark(self, name: str, view: str = "depth", kind: str = "coral") -> Locator:
        found: Locator = self.page.locator(f'[data-view="{view}"] [data-mark="{kind} {name}"]')
        return found

    def middle(self, where: Locator) -> tuple[float, float]:
        where.scroll_into_view_if_needed()
        box = where.bounding_box()
        assert box is not None
        return box["x"] + box["width"] / 2, box["y"] + box["height"] / 2

    def drag(self, name: str, dx: float, dy: float, view: str = "depth", kind: str = "coral") -> None:
        """Drag a mark by some pixels."""
        shape = self.mark(name, view, kind).locator(".shape, .lamp, .rock").first
        x, y = self.middle(shape)
        if kind == "fixture":  # a lamp is held by its outline: what it hangs over can be clicked through it
            y = self.page.evaluate("e => e.getBoundingClientRect().top + 1", shape.element_handle())
        self.page.mouse.move(x, y)
        self.page.mouse.down()
        for n in range(1, 11):
            self.page.mouse.move(x + dx * n / 10, y + dy * n / 10)
        self.page.mouse.up()
        self.steps += 1

    def click(self, name: str, role: str = "button", **more: Any) -> None:
        self.page.get_by_role(role, name=name, **{"exact": True, **more}).first.click()
        self.steps += 1

    def type(self, key: str, text: str) -> None:
        """Type into the field with a key of ours, and leave it."""
        field = self.page.locator(f'[data-key="{key}"]')
        field.fill(text)
        field.dispatch_event("change")
        self.steps += 1

    def choose(self, key: str, value: str) -> None:
        self.page.locator(f'[data-key="{key}"]').select_option(value)
        self.steps += 1

    def click_water(self, x_share: float, y_share: float, view: str = "depth") -> None:
        """Click into the water at shares of its width and height in a view."""
        self.until(f"!!document.querySelector('[data-view={view}] .water')")
        before = None
        while True:  # until nothing moves any more
            box = self.page.evaluate(
                f"(() => {{ const e = document.querySelector('[data-view={view}] .water');"
                " e.scrollIntoView({block: 'center'}); const b = e.getBoundingClientRect();"
                " return [b.left, b.top, b.width, b.height]; })()"
            )
            if box == before:
                break
            before = box
            self.page.wait_for_timeout(100)
        left, top, wide, high = box
        self.page.mouse.click(left + x_share * wide, top + y_share * high)
        self.steps += 1

    def save(self, why: str) -> None:
        """Open what would be written, give a reason, and save."""
        self.click("Save…")
        self.until("document.activeElement.dataset.key === 'why'", "nothing is shown to be saved")
        self.page.keyboard.type(why)
        self.page.keyboard.press("Enter")
        self.steps += 1

    def unsaved(self) -> list[str]:
        words = self.page.evaluate("document.querySelector('#unsaved').textContent")
        return words.removeprefix("not saved: ").split(", ") if words.startswith("not saved") else []


@contextmanager
def open_desk(browser: Browser, path: Path, **options: Any) -> Iterator[DeskPage]:
    """The desk of a setup in a fresh browser context; foreign requests are kept from the network."""
    with served(path) as server:
        context = browser.new_context(**({"viewport": {"width": 1280, "height": 900}} | options))
        context.set_default_timeout(20_000)
        opened = Opened(context.new_page())
        opened.page.on("console", lambda message: opened.messages.append(message.text))
        opened.page.on("pageerror", lambda trouble: opened.messages.append(str(trouble)))

        def watch(route: Any) -> None:
            opened.requests.append(route.request.url)
            if route.request.url.startswith(server.guard.origin):
                route.continue_()
            else:
                route.abort()

        context.route("**/*", watch)
        opened.page.goto(server.address)
        try:
            yield DeskPage(opened, server)
            foreign = [url for url in opened.requests if not url.startswith(server.guard.origin)]
            assert foreign == []
            assert opened.messages == []
        finally:
            context.close()
