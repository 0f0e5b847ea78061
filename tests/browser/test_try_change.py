"""Try a change in a real browser: the same numbers as Python, exact reset, what it saves is read back."""

from __future__ import annotations

import random
import re
import shutil
from collections.abc import Callable
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from browser.conftest import Opened, OpenPage
from browser.scenes import CUBE, EXAMPLE, hostile_setup, shapes_setup
from browser.shell_page import shell_page

from lightdose.analysis import analyse, site_days
from lightdose.answers.verdicts import short_state
from lightdose.answers.words import number
from lightdose.files.setup_file import read_setup
from lightdose.model.changes import TryChange, TrySettings
from lightdose.model.results import Analysis
from lightdose.model.setup import Setup
from lightdose.workflows.explain import changed_setup, try_change

RESULTS = """() => [...document.querySelectorAll('#try-results tr')]
    .sort((a, b) => a.dataset.row - b.dataset.row)
    .map(row => [...row.querySelectorAll('td:not(.try-bar)')].map(cell => cell.textContent))"""

SET = """values => {
    const boxes = [...document.querySelectorAll('#try-settings input[type=number]')];
    values.forEach((value, i) => {
        if (value === null || boxes[i].disabled) return;
        boxes[i].value = value;
        boxes[i].dispatchEvent(new Event('input', { bubbles: true }));
    });
}"""


@dataclass
class Tried:
    """A setup, its record, and the page that shows it."""

    setup: Setup
    analysis: Analysis
    record: TryChange
    opened: Opened

    def try_out(self, all_channels: str | None, plateau_h: str | None, levels: list[str | None]) -> Analysis:
        """Type settings into the page and make the same change to the setup."""
        self.opened.page.evaluate(SET, [all_channels, plateau_h, *levels])
        today = TrySettings.today(self.record)
        settings = TrySettings(
            levels=tuple(
                before if typed is None or not channel.adjustable else float(f"{typed}e-2")
                for typed, before, channel in zip(levels, today.levels, self.record.channels, strict=True)
            ),
            plateau_h=today.plateau_h if plateau_h is None else float(plateau_h),
            all_channels=1.0 if all_channels is None else float(f"{all_channels}e-2"),
        )
        return analyse(changed_setup(self.setup, self.record, settings), certainty=False)

    def shown(self) -> list[list[str]]:
        """The cells of every row: usual, today, now, change, state, peak."""
        rows: list[list[str]] = self.opened.page.evaluate(RESULTS)
        return rows


@pytest.fixture
def tried(tmp_path: Path, open_page: OpenPage) -> Callable[..., Tried]:
    """Open the section for a setup."""

    def opening(path: Path, **options: Any) -> Tried:
        setup = read_setup(path)
        analysis = analyse(setup, certainty=False)
        record = try_change(analysis)
        page = tmp_path / "page.html"
        page.write_text(shell_page(record, setup.title), encoding="utf-8")
        return Tried(setup, analysis, record, open_page(page, **options))

    return opening


def expected(analysis: Analysis, today: Analysis) -> list[list[str]]:
    """Now, state and peak of every row as Python reckons and prints them."""
    rows = []
    for row in try_change(analysis).rows:
        state = "no coral" if row.dli_state is None else short_state(row.dli_state)
        verdict = next((v for v in analysis.verdicts if v.coral == row.coral), None)
        if verdict is not None and verdict.peak_state == "high":
            state += "; bright at midday"
        rows.append([number(row.dli_mol_m2_d), state, number(row.peak_ppfd_umol_m2_s)])
    assert len(rows) == len(try_change(today).rows)
    return rows


def now_state_peak(shown: list[list[str]]) -> list[list[str]]:
    return [[row[2], row[4], row[5]] for row in shown]


def plateau_limits_h(record: TryChange) -> tuple[float, float]:
    """Shortest and longest plateau that may be tried. [h]"""
    if record.leading is None:
        return record.plateau_h, record.plateau_h
    shorter, longer = record.channels[record.leading].top_change_h
    return record.plateau_h + shorter, record.plateau_h + longer


def drawn_settings(rng: random.Random, record: TryChange) -> tuple[str, str, list[str | None]]:
    """Settings as a keeper types them, some channels left alone, some off, some at full."""
    low, high = plateau_limits_h(record)
    plateau = rng.choice(
        [f"{low:g}", f"{high:g}", *(f"{round(rng.uniform(low, high) * 4) / 4:g}" for _ in range(6))]
    )
    levels: list[str | None] = [
        rng.choice([None, "0", "100", f"{rng.uniform(0, 100):.1f}", str(rng.randrange(101))])
        for _ in record.channels
    ]
    return str(rng.randrange(10, 200)), plateau, levels


@pytest.mark.identity
@pytest.mark.parametrize(("scene", "count"), [("example", 10), ("every shape", 20)])
def test_page_random_settings_show_what_python_reckons(
    tried: Callable[..., Tried], tmp_path: Path, scene: str, count: int
) -> None:
    """Dose, peak and state of every row agree to the shown digit with `analyse` of the changed setup."""
    case = tried(EXAMPLE if scene == "example" else shapes_setup(tmp_path))
    rng = random.Random(20261125)
    for turn in range(count):
        settings = drawn_settings(rng, case.record)
        now = case.try_out(*settings)
        assert now_state_peak(case.shown()) == expected(now, case.analysis), f"setting {turn}: {settings}"
        case.opened.page.click("#try-reset")
    assert case.opened.messages == []


def curve_points(opened: Opened, kind: str) -> tuple[np.ndarray[Any, Any], np.ndarray[Any, Any]]:
    """Hours and PPFD of a drawn curve, read off the picture by its own axis labels."""
    drawing = opened.page.evaluate(
        """kind => ({
            points: document.querySelector(`#try-curve .${kind}`).getAttribute('points'),
            ticks: [...document.querySelectorAll('#try-curve text')].map(
                t => [Number(t.getAttribute('x')), Number(t.getAttribute('y')), t.textContent]),
        })""",
        kind,
    )
    x, y = np.array([[float(c) for c in p.split(",")] for p in drawing["points"].split()]).T
    labels = [(a, b, float(t)) for a, b, t in drawing["ticks"] if re.fullmatch(r"[\d.]+", t)]
    right = max(b for _, b, _ in labels)
    hours = [(a, t) for a, b, t in labels if b == right]
    heights = [(b - 4, t) for a, b, t in labels if b != right]
    (x0, h0), (x1, h1) = hours[0], hours[-1]
    (y0, p0), (y1, p1) = heights[0], heights[-1]
    return h0 + (x - x0) / (x1 - x0) * (h1 - h0), p0 + (y - y0) / (y1 - y0) * (p1 - p0)


@pytest.mark.identity
@pytest.mark.parametrize("place", [0, 4])
def test_page_day_curve_passes_through_every_point_of_pythons_day(
    tried: Callable[..., Tried], tmp_path: Path, place: int
) -> None:
    """The drawn curve, read back by its own axis, is the day of the changed setup, jumps included."""
    case = tried(shapes_setup(tmp_path))
    now = case.try_out("120", "4.5", ["60", "35", "20", None, "50", "70", None, None, "30", "10"])
    case.opened.page.select_option("#try-place", index=place)
    site = case.record.rows[place].site
    receiver = next(i for i, r in enumerate(now.light_field.receivers) if r.name == site)
    day = site_days(now, [receiver])[0]
    hours, ppfd = curve_points(case.opened, "try-after")
    own = day.by_channel.sum(axis=0)
    # A tenth of a pixel is 0.003 h and 0.1 % of the height.
    assert hours == pytest.approx(day.time_h, abs=0.005)
    assert ppfd == pytest.approx(own, abs=0.002 * own.max())
    before = curve_points(case.opened, "try-before")[1]
    assert before.max() == pytest.approx(case.analysis.dose.peak_ppfd[receiver], rel=0.002)


@pytest.mark.identity
def test_page_reset_returns_to_pythons_own_numbers(tried: Callable[..., Tried], tmp_path: Path) -> None:
    """After any change, one press shows the page as it was opened, to the last letter."""
    case = tried(shapes_setup(tmp_path))
    page = case.opened.page
    text = "document.querySelector('#try-body').innerHTML"
    values = "[...document.querySelectorAll('#try-body input')].map(i => i.value)"
    first = page.evaluate(text), page.evaluate(values)
    assert now_state_peak(case.shown()) == expected(case.analysis, case.analysis)
    case.try_out("37", "5", ["10"] * len(case.record.channels))
    assert page.evaluate(text) != first[0]
    page.click("#try-reset")
    assert (page.evaluate(text), page.evaluate(values)) == first


@pytest.mark.identity
def test_page_almost_unchanged_settings_give_todays_numbers(
    tried: Callable[..., Tried], tmp_path: Path
) -> None:
    """Reckoned anew, a factor that changes the 12th digit alone shows what Python embedded."""
    case = tried(shapes_setup(tmp_path))
    case.opened.page.evaluate(SET, ["100.0000000001"])
    assert "As today" not in case.opened.page.inner_text("#try-now")
    assert now_state_peak(case.shown()) == expected(case.analysis, case.analysis)


def saved(case: Tried, folder: Path) -> dict[str, str]:
    """Press every button that saves, and give the files by fixture."""
    folder.mkdir()
    files = {}
    for n, fixture in enumerate(case.record.fixtures):
        with case.opened.page.expect_download() as download:
            case.opened.page.click(f"#try-save button:nth-child({n + 1})")
        files[fixture.name] = download.value.suggested_filename
        download.value.save_as(folder / files[fixture.name])
    return files


@pytest.mark.identity
@pytest.mark.parametrize("turn", range(4))
def test_saved_schedules_read_back_give_the_pages_numbers(
    tried: Callable[..., Tried], tmp_path: Path, turn: int
) -> None:
    """`lightdose` reads what the page saves, every shape of programme, and reckons the page's numbers."""
    case = tried(shapes_setup(tmp_path, lit_at_zero=False))
    if turn:
        case.try_out(*drawn_settings(random.Random(turn), case.record))
    files = saved(case, tmp_path / "saved")
    assert files == {"reef": "tried-reef.csv", "side": "tried-side.csv"}
    again = analyse(read_setup(shapes_setup(tmp_path / "saved", files, lit_at_zero=False)), certainty=False)
    assert now_state_peak(case.shown()) == expected(again, case.analysis)


@pytest.mark.identity
def test_overall_setting_is_a_control_and_comes_back_in_what_is_saved(
    tried: Callable[..., Tried], tmp_path: Path
) -> None:
    """Levels beside an overall setting are typed, shown and saved as they are set; Python agrees."""
    case = tried(shutil.copytree(CUBE, tmp_path / "cube") / "setup.toml")
    page, record = case.opened.page, case.record
    assert record.dial == 0.46
    assert page.input_value("#try-settings tr:nth-child(1) input[type=number]") == "46"
    levels: list[str | None] = ["33.3", None, "70", *[None] * (len(record.channels) - 3)]
    page.evaluate(SET, ["38", None, *levels])
    today = TrySettings.today(record)
    typed = [
        old if new is None else float(f"{new}e-2") * 0.46
        for new, old in zip(levels, today.levels, strict=True)
    ]
    settings = replace(today, levels=tuple(typed), all_channels=0.38 / 0.46)
    now = analyse(changed_setup(case.setup, record, settings), certainty=False)
    assert now_state_peak(case.shown()) == expected(now, case.analysis)
    files = saved(case, tmp_path / "saved")
    text = (tmp_path / "saved" / files["links"]).read_text(encoding="utf-8")
    assert text.splitlines()[0].endswith(",all_channels")
    assert {row.rsplit(",", 1)[1] for row in text.splitlines()[1:]} == {"38"}
    for name in ("links", "rechts"):
        saved_text = (tmp_path / "saved" / files[name]).read_text(encoding="utf-8")
        (tmp_path / "cube" / f"{name}.csv").write_text(saved_text, encoding="utf-8")
    setup = (tmp_path / "cube" / "setup.toml").read_text(encoding="utf-8")
    for name in ("links", "rechts"):
        setup = setup.replace('schedule = "daily.csv"', f'schedule = "{name}.csv"', 1)
    (tmp_path / "cube" / "setup.toml").write_text(setup, encoding="utf-8")
    again = analyse(read_setup(tmp_path / "cube" / "setup.toml"), certainty=False)
    assert now_state_peak(case.shown()) == expected(again, case.analysis)


@pytest.mark.identity
def test_saved_levels_have_the_digits_that_are_shown(tried: Callable[..., Tried], tmp_path: Path) -> None:
    """No level has more than two digits behind its point, whatever it was multiplied by."""
    case = tried(EXAMPLE)
    case.try_out("123", "7.3", ["33.3", "7", *[None] * (len(case.record.channels) - 2)])
    for file in saved(case, tmp_path / "saved").values():
        _, *rows = (tmp_path / "saved" / file).read_text(encoding="utf-8").splitlines()
        for cell in ",".join(row.partition(",")[2] for row in rows).split(","):
            assert re.fullmatch(r"(\d+(\.\d{1,2})?)?", cell), cell


@pytest.mark.identity
def test_cautions_stand_beside_a_sudden_rise_and_another_colour(
    tried: Callable[..., Tried], tmp_path: Path
) -> None:
    """Nothing is warned of today or within 10 %; beyond, the weeks are told; and a colour that changes."""
    case = tried(EXAMPLE)
    page, caution = case.opened.page, case.opened.page.locator("#try-caution")
    assert not caution.is_visible()
    page.evaluate(SET, ["109"])
    assert not caution.is_visible()
    page.evaluate(SET, ["150"])
    assert re.search(r"9 corals get over 10 % more light, .* take 5 weeks for it", caution.inner_text())
    page.evaluate(SET, ["40"])
    assert "lose more than half" in caution.inner_text()
    page.evaluate(SET, ["100", None, *["0"] * 5, "90", *["0"] * 5, "90"])
    assert "red is" in caution.inner_text()
    page.click("#try-reset")
    assert not caution.is_visible()


@pytest.mark.identity
def test_results_stand_beside_the_controls_the_furthest_off_first(
    tried: Callable[..., Tried], tmp_path: Path
) -> None:
    """While the last control is used the results are in sight, wide or narrow, and begin with the worst."""
    path = shutil.copytree(CUBE, tmp_path / "cube") / "setup.toml"
    for width, height in ((1280, 900), (375, 700)):
        page = tried(path, width=width, height=height).opened.page
        page.locator("#try-settings tr:last-child input[type=range]").focus()
        box = page.locator("#try-results tr").first.bounding_box()
        assert box is not None
        assert 0 <= box["y"] < height
        assert page.locator("#try-results tr .try-state").first.inner_text().startswith("far")


@pytest.mark.identity
def test_saved_schedule_that_cannot_keep_a_channel_dark_says_so(
    tried: Callable[..., Tried], tmp_path: Path
) -> None:
    """A night light that glows at level 0, in days too long for one line of time: the page tells."""
    case = tried(shapes_setup(tmp_path))
    saved(case, tmp_path / "today")
    assert "glows" not in case.opened.page.inner_text("#try-saved")
    longest = f"{plateau_limits_h(case.record)[1]:g}"
    case.try_out(None, longest, [None] * len(case.record.channels))
    case.opened.page.click("#try-save button")
    assert "reef: moon glows at level 0" in case.opened.page.inner_text("#try-saved")


@pytest.mark.identity
def test_saved_schedule_of_hostile_names_is_read_back(tried: Callable[..., Tried], tmp_path: Path) -> None:
    """Channel names with quotes, commas and formula signs survive the way through the browser."""
    from lightdose.files.schedule_csv import read_schedule

    case = tried(hostile_setup(tmp_path))
    case.try_out("50", None, [None] * len(case.record.channels))
    with case.opened.page.expect_download() as download:
        case.opened.page.click("#try-save button")
    saved = tmp_path / "saved.csv"
    download.value.save_as(saved)
    fixture = case.setup.lit_fixtures[0]
    programme, _ = read_schedule(saved, "saved.csv", [c.name for c in fixture.type.channels])
    for name, own in fixture.programme.channels.items():
        assert programme.channels[name].time_h.tolist() == own.time_h.tolist()
        assert programme.channels[name].level == pytest.approx(own.level / 2)


@pytest.mark.identity
def test_names_that_bite_show_literally_and_run_nothing(tried: Callable[..., Tried], tmp_path: Path) -> None:
    """Every name stands in the page as it was written; nothing of it runs or becomes an element."""
    case = tried(hostile_setup(tmp_path))
    page = case.opened.page
    heads = page.evaluate(
        "[...document.querySelectorAll('#try-results tr')].sort((a, b) => a.dataset.row - b.dataset.row)"
        ".map(r => r.querySelector('th').firstChild.textContent)"
    )
    assert heads == [r.coral or r.site for r in case.record.rows]
    names = page.evaluate(
        "[...document.querySelectorAll('#try-settings th')].map(h => h.firstChild.textContent)"
    )
    assert names[2:] == [f"{c.fixture}: {c.channel}" for c in case.record.channels]
    assert page.evaluate("window.ran") is None
    assert page.locator("#try img, #try b, #try script:not([type])").count() == 0
    assert case.opened.messages == []
    assert len(case.opened.requests) == 1


@pytest.mark.identity
def test_injected_handler_and_script_are_stopped_by_the_policy(
    tried: Callable[..., Tried], tmp_path: Path
) -> None:
    """Even markup that got into the page would not run: the policy allows one script, by its hash."""
    case = tried(EXAMPLE)
    page = case.opened.page
    page.evaluate(
        """() => {
            document.body.insertAdjacentHTML(
                'beforeend', '<img src=x onerror="window.ran=1"><p onclick="window.ran=2">p</p>');
            const script = document.createElement('script');
            script.textContent = 'window.ran=3';
            document.body.append(script);
        }"""
    )
    page.locator("p", has_text=re.compile("^p$")).click()
    assert page.evaluate("window.ran") is None
    assert any("Content Security Policy" in m for m in case.opened.messages)


@pytest.mark.identity
def test_keyboard_alone_changes_resets_and_saves(tried: Callable[..., Tried], tmp_path: Path) -> None:
    """Arrow keys move the slider, typing fills the box, Enter presses the buttons; focus shows."""
    case = tried(EXAMPLE)
    page = case.opened.page
    page.focus("#try-settings tr:nth-child(3) input[type=range]")
    page.keyboard.press("ArrowRight")
    box = page.locator("#try-settings tr:nth-child(3) input[type=number]")
    assert box.input_value() == "29"
    page.keyboard.press("Shift+Tab")
    assert page.evaluate("document.activeElement.type") == "number"
    assert page.evaluate("getComputedStyle(document.activeElement).outlineStyle") == "solid"
    page.keyboard.type("50.5")
    now = case.try_out(None, None, ["50.5", *[None] * (len(case.record.channels) - 1)])
    assert now_state_peak(case.shown()) == expected(now, case.analysis)
    page.focus("#try-reset")
    page.keyboard.press("Enter")
    assert page.inner_text("#try-now").startswith("As today.")
    page.keyboard.press("Tab")
    with page.expect_download() as download:
        page.keyboard.press("Enter")
    assert download.value.suggested_filename == "tried-left.csv"


@pytest.mark.identity
@pytest.mark.parametrize(("typed", "kept"), [("150", "100"), ("-3", "0"), ("", "28"), ("57.25", "57.25")])
def test_typed_level_outside_its_range_is_brought_back(
    tried: Callable[..., Tried], tmp_path: Path, typed: str, kept: str
) -> None:
    """A box left behind shows the level that counts; an empty one changes nothing."""
    page = tried(EXAMPLE).opened.page
    box = page.locator("#try-settings tr:nth-child(3) input[type=number]")
    box.fill(typed)
    box.press("Tab")
    assert box.input_value() == kept


@pytest.mark.identity
@pytest.mark.parametrize("width", [1280, 320])
def test_section_fits_its_width_and_its_targets_a_finger(
    tried: Callable[..., Tried], tmp_path: Path, width: int
) -> None:
    """Nothing is wider than the page or cut off in its cell, and every control measures 24 px or more."""
    page = tried(hostile_setup(tmp_path), width=width).opened.page
    page.locator("#try details").evaluate("d => { d.open = true; }")
    assert page.evaluate("document.documentElement.scrollWidth <= document.documentElement.clientWidth")
    cut = page.evaluate(
        """() => [...document.querySelectorAll('#try :is(td, th, p, li, button, caption, label)')]
            .filter(e => e.offsetParent && !e.closest('thead') && e.scrollWidth > e.clientWidth + 1)
            .map(e => e.textContent.slice(0, 60))"""
    )
    assert cut == []
    small = page.evaluate(
        """() => [...document.querySelectorAll('#try :is(button, input, select, summary)')]
            .map(e => [e.tagName, e.getBoundingClientRect()])
            .filter(([, box]) => box.width < 24 || box.height < 24)
            .map(([name, box]) => [name, box.width, box.height])"""
    )
    assert small == []


@pytest.mark.identity
def test_control_in_focus_is_never_covered(tried: Callable[..., Tried], tmp_path: Path) -> None:
    """Going back through a long list by keyboard, the line that stays in sight hides no control."""
    page = tried(EXAMPLE, width=375, height=500).opened.page
    page.focus("#try-settings tr:last-child input[type=range]")
    # 14 rows of two controls, two buttons that save, one that resets, the choice of a place, the results.
    for _ in range(2 * 14 - 1 + 5):
        page.keyboard.press("Shift+Tab")
        seen = page.evaluate(
            """() => {
                const box = document.activeElement.getBoundingClientRect();
                const seen = document.elementFromPoint(box.x + box.width / 2, box.y + box.height / 2);
                return document.activeElement.contains(seen) || document.activeElement.outerHTML;
            }"""
        )
        assert seen is True


@pytest.mark.identity
@pytest.mark.parametrize("width", [1280, 320])
def test_day_curve_keeps_its_labels_inside_and_apart(
    tried: Callable[..., Tried], tmp_path: Path, width: int
) -> None:
    """Every text of the picture lies inside its viewBox, and no two of them meet."""
    page = tried(EXAMPLE, width=width).opened.page
    boxes = page.evaluate(
        """() => [...document.querySelectorAll('#try-curve text')].map(t => {
            const b = t.getBBox(); return [b.x, b.y, b.x + b.width, b.y + b.height, t.textContent]; })"""
    )
    view = [float(v) for v in page.get_attribute("#try-curve svg", "viewBox").split()]
    assert len(boxes) >= 8
    for left, top, right, bottom, text in boxes:
        assert min(left, top, view[2] - right, view[3] - bottom) >= 0, text
    for n, a in enumerate(boxes):
        for b in boxes[:n]:
            assert a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] + 3 or b[3] <= a[1] + 3, (a[4], b[4])


@pytest.mark.identity
@pytest.mark.parametrize("scene", ["example", "hostile"])
def test_section_has_no_accessibility_violation(
    tried: Callable[..., Tried], tmp_path: Path, axe_source: str, scene: str
) -> None:
    """axe-core finds nothing against WCAG A and AA up to 2.2, changed and unchanged, wide and narrow."""
    path = EXAMPLE if scene == "example" else hostile_setup(tmp_path)
    case = tried(path)
    case.opened.page.locator("#try details").evaluate("d => { d.open = true; }")
    assert case.opened.axe_violations(axe_source) == []
    case.opened.page.set_viewport_size({"width": 360, "height": 800})
    case.opened.page.evaluate(SET, ["180"])
    assert case.opened.axe_violations(axe_source) == []


@pytest.mark.identity
def test_section_without_scripts_says_so_and_shows_no_control(
    tried: Callable[..., Tried], tmp_path: Path
) -> None:
    """With scripts off a sentence stands in the place of controls that would not work."""
    page = tried(EXAMPLE, java_script_enabled=False).opened.page
    assert page.locator("#try noscript").inner_text().startswith("This part calculates in your browser")
    assert not page.locator("#try-body").is_visible()


@pytest.mark.identity
def test_section_in_print_is_hidden(tried: Callable[..., Tried], tmp_path: Path) -> None:
    """Paper has no use for controls."""
    page = tried(EXAMPLE).opened.page
    page.emulate_media(media="print")
    assert not page.locator("#try").is_visible()
