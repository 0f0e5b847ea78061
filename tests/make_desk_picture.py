"""README's picture of the desk: ``python tests/make_desk_picture.py``, with Chromium and Playwright."""

from __future__ import annotations

import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
sys.path.insert(0, str(HERE))
PICTURE = HERE.parent / "examples" / "pictures" / "first-tank-desk.png"
WIDTH, HEIGHT = 1240, 1130


def main() -> None:
    """Open the shipped example, choose a coral, and keep what the page shows."""
    import os
    import shutil

    from browser.conftest import ARGUMENTS
    from browser.desk_pages import open_desk
    from desk.desk_tanks import copied
    from playwright.sync_api import sync_playwright

    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        chromium = os.environ.get("LIGHTDOSE_CHROMIUM") or shutil.which("chromium")
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        path = copied(Path(folder), "first-tank")
        with open_desk(browser, path, viewport={"width": WIDTH, "height": HEIGHT}) as desk:
            desk.settled()
            desk.page.locator('[data-key="coral staghorn frag"]').click()
            desk.until("!!document.querySelector('#card-head')?.textContent")
            desk.page.evaluate("document.querySelector('#file').textContent = 'first-tank/setup.toml'")
            desk.page.evaluate("scrollTo(0, 0)")
            desk.page.wait_for_timeout(2500)
            desk.page.mouse.move(5, 5)
            desk.page.screenshot(path=PICTURE)
        browser.close()
    print(f"{PICTURE}, {PICTURE.stat().st_size / 1e3:.0f} kB")


if __name__ == "__main__":
    main()
