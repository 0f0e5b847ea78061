"""One change in the report page: ``python tests/benchmarks/page_benchmark.py``.

50 places x 12 channels, each channel with 50 breakpoints at times of its own, most of them with a curved
dimming, in headless Chromium. Measured by ``performance.now()`` in the page: one input event, with everything
that it sets off (programmes, outputs, doses, peaks, brightest hours, states, table, day curve), and the
layout after it.
"""

from __future__ import annotations

import os
import shutil
import sys
import tempfile
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from browser.conftest import ARGUMENTS
from browser.scenes import large_setup
from browser.shell_page import shell_page
from rows import row

from lightdose.analysis import analyse
from lightdose.files.setup_file import read_setup
from lightdose.model.changes import TryChange
from lightdose.present.report import try_change_section
from lightdose.workflows.explain import try_change

SITES, CHANNELS, POINTS = 50, 12, 50
ROUNDS = 60
MOST_MS = 16.0

MEASURE = """rounds => {
    const boxes = [...document.querySelectorAll('#try-settings input[type=range]')];
    const times = [];
    for (let n = 0; n < rounds; n++) {
        const box = boxes[n % boxes.length];
        box.value = 20 + n;
        const start = performance.now();
        box.dispatchEvent(new Event('input'));
        const reckoned = performance.now();
        document.body.getBoundingClientRect();
        times.push([reckoned - start, performance.now() - start]);
    }
    return times;
}"""


def main() -> int:
    """The times; exit 1 when the median misses its mark."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        return int(not row("one change in the page", "not run: needs the extra browser and Chromium"))
    chromium = os.environ.get("LIGHTDOSE_CHROMIUM") or shutil.which("chromium")
    with tempfile.TemporaryDirectory() as folder, sync_playwright() as playwright:
        record = try_change(
            analyse(read_setup(large_setup(Path(folder), SITES, CHANNELS, POINTS)), certainty=False)
        )
        page_file = Path(folder) / "page.html"
        page_file.write_text(shell_page(record), encoding="utf-8")
        browser = playwright.chromium.launch(executable_path=chromium, args=ARGUMENTS)
        page = browser.new_page()
        page.goto(page_file.as_uri())
        page.wait_for_timeout(500)  # a reader looks before touching
        times = page.evaluate(MEASURE, ROUNDS)
        version = browser.version
        browser.close()
    kilobytes = page_kilobytes(record)
    first = times[0]
    reckoned, laid_out = (sorted(t[i] for t in times) for i in (0, 1))
    middle = [times[ROUNDS // 2] for times in (reckoned, laid_out)]
    what = f"one change in the page, {SITES} places x {CHANNELS} channels x {POINTS} breakpoints"
    measured = (
        f"median {middle[1]:.1f} ms with layout; longest of {ROUNDS} {laid_out[-1]:.1f}, the first "
        f"{first[0]:.1f}; Chromium {version.split('.')[0]}, {kilobytes:.0f} kB"
    )
    return int(not row(what, measured, f"at most {MOST_MS:g} ms", met=middle[1] <= MOST_MS))


def page_kilobytes(record: TryChange) -> float:
    """Size of the section in the page. [kB]"""
    section = try_change_section(record)
    return len((section.html + section.script + section.style).encode()) / 1e3


if __name__ == "__main__":
    sys.exit(main())
