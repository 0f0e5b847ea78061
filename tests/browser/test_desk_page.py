"""The desk as a person uses it, in a real browser."""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING, Any

import pytest
from browser.desk_pages import open_desk
from browser.scenes import HOSTILE, hostile_setup
from browser.test_report_page import CUT_TEXT, OPEN_ALL
from click.testing import CliRunner
from desk.desk_tanks import copied, many_corals

from lightdose.cli import cli
from lightdose.files.diary_states import read_diary
from lightdose.files.setup_file import read_setup

if TYPE_CHECKING:
    from playwright.sync_api import Browser

MUSHROOM = "Scheibe ganz oben"


def dose_json(path: Path) -> dict[str, Any]:
    """What `dose --json` says of a setup."""
    result = CliRunner().invoke(cli, ["dose", str(path), "--json", "--quiet"])
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def agrees(shown: list[list[str]], said: dict[str, Any]) -> None:
    """The page's list of corals is that of `dose`: doses, states, counts."""
    rows = {coral["coral"]: (site, coral) for site in said["sites"] for coral in site["corals"]}
    assert {row[0] for row in shown} == set(rows)
    for name, dose, words in shown:
        coral = rows[name][1]
        judged = coral["judged_dli_mol_m2_d"]
        assert float(dose) == pytest.approx(judged, rel=0.005, abs=0.005), name
        state = coral["dli_verdict"]
        if state == "undecided":
            assert words == "undecided"
        elif state != "not_judged":
            assert state.replace("_", " ").split()[-1] in words, name


LISTED = """[...document.querySelectorAll('#coral-list tbody tr')].map(row => [
    row.querySelector('th button').textContent, row.querySelector('td.n').textContent,
    row.querySelector('.words').textContent.trim()])"""


@pytest.mark.identity
def test_drag_undo_and_save_reach_sentence_file_diary_and_dose(browser: Browser, tmp_path: Path) -> None:
    """A dragged coral changes the sentence, one line of the file and the diary; undo works."""
    path = copied(tmp_path)
    before = path.read_text(encoding="utf-8").splitlines()
    with open_desk(browser, path) as desk:
        desk.settled()
        agrees(desk.page.evaluate(LISTED), dose_json(path))
        first = desk.page.evaluate("document.querySelector('#points').textContent")
        assert MUSHROOM in first
        desk.drag(MUSHROOM, 60, 100)
        desk.until(lambda: desk.unsaved() == ["setup.toml"])
        desk.settled()
        assert desk.page.evaluate("document.querySelector('#points').textContent") != first
        assert path.read_text(encoding="utf-8").splitlines() == before
        desk.click(f"Take back: {MUSHROOM} moved")
        desk.until(lambda: desk.unsaved() == [])
        desk.settled()
        assert desk.page.evaluate("document.querySelector('#points').textContent") == first
        desk.click(f"Do again: {MUSHROOM} moved")
        desk.until(lambda: desk.unsaved() == ["setup.toml"])
        desk.save("out of the glare")
        desk.until(lambda: "Saved setup.toml" in desk.text("#told"))
        assert desk.unsaved() == []
        desk.settled()
        agrees(desk.page.evaluate(LISTED), dose_json(path))
        counts = dose_json(path)["counts"]
        assert desk.headline.startswith(f"{counts['within']} of {counts['judged']} corals")
        assert "out of the glare" in desk.text("#diary")
    after = path.read_text(encoding="utf-8").splitlines()
    assert len([1 for a, b in zip(before, after, strict=True) if a != b]) == 1
    assert [s.why for s in read_diary(str(path)).states] == ["", "out of the glare"]


@pytest.mark.identity
def test_keyboard_moves_chooses_and_saves(browser: Browser, tmp_path: Path) -> None:
    """Without a mouse: a coral is chosen in the list, moved by arrows, taken back and saved by keys."""
    path = copied(tmp_path)
    with open_desk(browser, path) as desk:
        desk.settled()
        desk.page.locator(f'[data-key="coral {MUSHROOM}"]').focus()
        desk.page.keyboard.press("Enter")
        mark = desk.mark(MUSHROOM)
        desk.until(lambda: mark.get_attribute("tabindex") == "0")
        mark.focus()
        for key in ("ArrowRight", "ArrowRight", "ArrowDown", "PageDown"):
            desk.page.keyboard.press(key)
        desk.until(lambda: desk.unsaved() == ["setup.toml"])
        assert desk.page.evaluate("document.activeElement.dataset.mark") == f"coral {MUSHROOM}"
        desk.page.keyboard.press("Control+s")
        desk.until("document.activeElement.dataset.key === 'why'")
        desk.page.keyboard.type("by keys")
        desk.page.keyboard.press("Enter")
        desk.until(lambda: "Saved" in desk.text("#told"))
        desk.page.keyboard.press("Control+z")
        desk.until(lambda: desk.unsaved() == ["setup.toml"])
    site = next(s for s in read_setup(path).sites if s.name == MUSHROOM)
    assert (site.x_m, site.y_m, site.depth_m) == pytest.approx((0.30, 0.23, 0.11), abs=1e-9)


@pytest.mark.identity
def test_lamps_and_rocks_are_dragged_too(browser: Browser, tmp_path: Path) -> None:
    """A lamp from the front goes up, a rock from above goes aside; each is one step."""
    path = copied(tmp_path, "first-tank")
    with open_desk(browser, path) as desk:
        desk.settled()
        desk.drag("left", 0, -20, "from_front", "fixture")
        desk.until(lambda: desk.page.get_by_role("button", name="Take back: left moved").count() == 1)
        desk.settled()
        desk.drag("rock ledge", -40, 0, "depth", "rock")
        desk.until(lambda: desk.page.get_by_role("button", name="Take back: rock ledge moved").count() == 1)
        desk.settled()
        desk.save("")
        desk.until(lambda: "Saved" in desk.text("#told"))
    after = read_setup(path)
    assert after.fixtures[0].height_m > 0.21
    assert after.fixtures[0].x_m == pytest.approx(0.20, abs=1e-3)
    assert next(r for r in after.rocks if r.name == "rock ledge").x_m < 0.60


@pytest.mark.identity
def test_click_into_free_water_tells_its_light_and_who_would_suit(browser: Browser, tmp_path: Path) -> None:
    """A place anywhere has its dose, groups for which that is usual, and can be read or named there."""
    path = copied(tmp_path)
    with open_desk(browser, path) as desk:
        desk.settled()
        desk.click_water(0.93, 0.93)
        desk.until("!document.querySelector('#spot').hidden")
        assert "mol m⁻² d⁻¹" in desk.text("#spot")
        assert "Usual for" in desk.text("#spot")
        desk.click("Name this place")
        desk.until(lambda: desk.unsaved() == ["setup.toml"])
        assert any(s["name"] == "place 1" for s in read_state(desk)["sites"])


def read_state(desk: Any) -> dict[str, Any]:
    """The state of the desk as its page gets it."""
    from desk.served import Client

    return Client(desk.server).ask("state")


@pytest.mark.identity
def test_conflict_with_an_editor_is_shown_and_nothing_is_written_over(
    browser: Browser, tmp_path: Path
) -> None:
    """Both texts are shown; the other's file stays, and mine is put beside it."""
    path = copied(tmp_path)
    with open_desk(browser, path) as desk:
        desk.settled()
        desk.drag(MUSHROOM, 60, 100)
        desk.until(lambda: desk.unsaved() == ["setup.toml"])
        theirs = path.read_text(encoding="utf-8").replace('rim = "3 cm"', 'rim = "5 cm"')
        path.write_text(theirs, encoding="utf-8")
        desk.click("Save…")
        desk.until("document.querySelector('#save-box').open")
        assert "Changed elsewhere" in desk.text("#save-box")
        assert 'rim = "5 cm"' in desk.text("#save-box")
        desk.click("Read what is there, put mine beside it")
        desk.until(lambda: "setup-mine.toml" in desk.text("#told"))
        assert path.read_text(encoding="utf-8") == theirs
        assert (path.parent / "setup-mine.toml").is_file()


@pytest.mark.identity
def test_hostile_names_show_as_they_are_and_run_nothing(browser: Browser, tmp_path: Path) -> None:
    """Names that would be markup show literally in list, tank, cards and fields; nothing runs."""
    with open_desk(browser, hostile_setup(tmp_path)) as desk:
        desk.settled()
        names = [row[0] for row in desk.page.evaluate(LISTED)]
        assert sorted(names) == sorted(f"coral {text}" for text in HOSTILE[:-1])
        desk.page.locator("#coral-list tbody tr button").first.click()
        desk.until(
            "!document.querySelector('#card').hidden && !!document.querySelector('#card-head')?.textContent"
        )
        assert desk.text("#card-title") in names
        desk.page.evaluate(OPEN_ALL)
        desk.page.wait_for_timeout(1500)
        assert desk.page.evaluate("window.ran") is None
        assert (
            desk.page.evaluate("document.querySelectorAll('main img, main script, main iframe').length") == 0
        )
        assert desk.page.evaluate("document.documentElement.scrollWidth <= innerWidth")


# ---- looks ------------------------------------------------------------------------------------------------


def tank_of(folder: Path, corals: int) -> Path:
    return copied(folder) if corals == 45 else many_corals(folder, corals)


@pytest.mark.identity
@pytest.mark.parametrize("corals", [3, 45, 300])
@pytest.mark.parametrize("width", [1280, 375])
def test_page_stands_whole_at_every_size(browser: Browser, tmp_path: Path, corals: int, width: int) -> None:
    """Few or many corals, wide or narrow: nothing is cut, nothing makes the page scroll sideways."""
    with open_desk(browser, tank_of(tmp_path, corals), viewport={"width": width, "height": 800}) as desk:
        desk.settled()
        desk.page.locator("#coral-list tbody tr button").first.click()
        desk.until(
            "!document.querySelector('#card').hidden && !!document.querySelector('#card-head')?.textContent"
        )
        desk.page.evaluate(OPEN_ALL)
        desk.page.wait_for_timeout(1200)
        assert desk.page.evaluate("document.documentElement.scrollWidth") <= width
        assert desk.page.evaluate(CUT_TEXT, "main :is(p, dd, h1, h2, h3, button, summary, legend)") == []
        assert desk.page.evaluate("document.querySelectorAll('#coral-list tbody tr').length") == corals
        assert desk.page.evaluate("document.querySelectorAll('[data-view=depth] .coral').length") == corals


@pytest.mark.identity
@pytest.mark.parametrize("scheme", ["light", "dark"])
@pytest.mark.parametrize("width", [1280, 375])
def test_desk_has_no_accessibility_violation(
    browser: Browser, tmp_path: Path, axe_source: str, scheme: str, width: int
) -> None:
    """axe-core finds nothing against WCAG A and AA up to 2.2, with a card and every part unfolded."""
    path = copied(tmp_path, "first-tank")
    size = {"width": width, "height": 900}
    with open_desk(browser, path, viewport=size, color_scheme=scheme) as desk:
        desk.settled()
        desk.page.locator("#coral-list tbody tr button").first.click()
        desk.until(
            "!document.querySelector('#card').hidden && !!document.querySelector('#card-head')?.textContent"
        )
        desk.page.evaluate(OPEN_ALL)
        desk.page.wait_for_timeout(1500)
        assert desk.opened.axe_violations(axe_source) == []
        small = desk.page.evaluate(
            "[...document.querySelectorAll('button, input, select, summary')].filter(e => e.offsetParent"
            " && Math.min(e.getBoundingClientRect().height, e.getBoundingClientRect().width) < 18)"
            ".map(e => e.outerHTML.slice(0, 80))"
        )
        assert small == []


@pytest.mark.identity
def test_first_run_has_no_accessibility_violation(browser: Browser, tmp_path: Path, axe_source: str) -> None:
    """The eight questions pass axe-core too."""
    with open_desk(browser, tmp_path / "new" / "setup.toml") as desk:
        desk.until("!document.querySelector('#first').hidden")
        assert desk.opened.axe_violations(axe_source) == []


@pytest.mark.identity
def test_verdicts_are_told_by_shape_and_word(browser: Browser, tmp_path: Path) -> None:
    """Marks differ by their shapes, and each has its word; no mark has a colour of its own."""
    with open_desk(browser, copied(tmp_path)) as desk:
        desk.settled()
        kinds: dict[str, set[str]] = {}
        colours = set()
        for name, _, words in desk.page.evaluate(LISTED):
            mark = desk.mark(name)
            shape = mark.locator(".shape")
            drawn = shape.evaluate("e => e.tagName + (e.classList.contains('full') ? ' full' : '')")
            kinds.setdefault(words.split(" (")[0].removeprefix("probably ").split()[0], set()).add(drawn)
            colours.add(shape.evaluate("e => getComputedStyle(e).stroke"))
            assert words in str(mark.get_attribute("aria-label"))
        assert len(colours) == 1
        assert kinds["far"] == {"path full"}
        assert kinds["within"] == {"circle full"}
        assert kinds["undecided"] == {"circle"}
        assert kinds["above"] | kinds["below"] == {"path"}


@pytest.mark.identity
def test_print_shows_the_answer_and_no_controls(browser: Browser, tmp_path: Path) -> None:
    """On paper stand the sentence, the tank and the list; buttons and fields do not."""
    with open_desk(browser, copied(tmp_path)) as desk:
        desk.settled()
        desk.page.emulate_media(media="print")
        controls = "document.querySelectorAll('button:not(.linkish), #filters input, #rest')"
        assert desk.page.evaluate(f"[...{controls}].filter(e => e.offsetParent).length") == 0
        assert desk.page.evaluate("!!document.querySelector('#headline').offsetParent")
        assert desk.page.evaluate("document.querySelectorAll('#views svg').length") == 2
        assert len(desk.page.pdf(format="A4")) > 10_000


# ---- walks ------------------------------------------------------------------------------------------------

NAMES = """green staghorn
Acropora millepora blue
Montipora cap
hammer
torch
Zoanthus red
Zoanthus orange
Discosoma
Ricordea
leather
"""


@pytest.mark.identity
def test_new_tank_by_page_alone_in_sixty_steps_to_the_first_answer(browser: Browser, tmp_path: Path) -> None:
    """From an empty folder to a saved, valid setup of 45 corals, measured, tuned, with one more coral."""
    path = tmp_path / "my tank" / "setup.toml"
    names = "\n".join(NAMES.split("\n")[n % 10] + f" {n}" for n in range(45))
    with open_desk(browser, path) as desk:
        desk.until("!document.querySelector('#first').hidden")
        typed = {
            "title": "Tank in the window",
            "length": "100",
            "width": "50",
            "water_depth": "45",
            "lamps": "2",
        }
        typed |= {"lamp_length": "40", "lamp_width": "18", "height": "20", "watts": "120", "overall": "60"}
        for key, text in typed.items():
            desk.type(f"first {key}", text)
        for n, level in enumerate(("80", "70", "20", "40"), start=1):
            desk.type(f"first row 1 {n}", level)
            desk.type(f"first row 2 {n}", level)
        desk.choose("first meter", "umol")
        desk.type("new names", names)
        desk.click("Look at these names")
        desk.until(lambda: desk.page.get_by_role("button", name="Take these").count() == 1)
        assert "All 45 names" in desk.text("#first")
        desk.click("Take these")
        desk.click("Draw this tank")
        desk.until("!document.querySelector('#desk').hidden")
        assert not path.exists()
        desk.click_water(0.5, 0.5)
        desk.until(
            lambda: "corals within common practice" in desk.headline or "coral within" in desk.headline
        )
        assert desk.steps <= 60
        desk.settled()  # the whole answer pushes the tank down the page
        for n in range(1, 45):
            desk.click_water(0.06 + 0.11 * (n % 9), 0.1 + 0.17 * (n // 9))
            desk.until(f"document.querySelectorAll('#no-place li').length === {44 - n}")
        desk.settled()
        assert "Not measured" in desk.text("#basis")
        save(desk, "as it stands")
        setup = read_setup(path)
        assert (len(setup.corals), setup.unplaced, len(setup.fixtures)) == (45, (), 2)
        # Three readings, calibrate, tune by the overall setting.
        for place, value in zip([c.name for c in setup.corals[::16]], ("95", "80", "110"), strict=True):
            desk.choose("reading place", place)
            desk.type("reading value", value)
            desk.type("reading time", "14:00")
            desk.choose("reading meter", "mine")
            desk.click("Add this reading")
            undo = f"document.querySelector('#undo').getAttribute('aria-label').includes('reading {value} ')"
            desk.until(undo)
            desk.until("document.querySelector('[data-key=\"reading value\"]').value === ''")
        desk.page.locator('[data-key="calibrate"]').click()
        desk.until(lambda: "Known now" in desk.text("#readings"))
        desk.settled()
        assert "easured" in desk.text("#basis")
        desk.type("overall lamp 1 lamp 2", "45")
        desk.until(lambda: read_state(desk)["undo"] == "overall setting 45 %")
        save(desk, "measured, and dimmed")
        setup = read_setup(path)
        assert setup.calibration is not None
        dial = setup.fixtures[0].programme.dial
        assert dial is not None
        assert dial.plateau == pytest.approx(0.45, rel=1e-12)
        assert "measured, and dimmed" in desk.text("#diary")
    assert [s.why for s in read_diary(str(path)).states] == ["as it stands", "measured, and dimmed"]


def save(desk: Any, why: str) -> None:
    """Save with a reason."""
    desk.save(why)
    desk.until(lambda: desk.unsaved() == [] and why in desk.text("#diary"))


@pytest.mark.identity
def test_one_new_coral_takes_five_steps(browser: Browser, tmp_path: Path) -> None:
    """Unfold, type its name, look, add, click where it stands: five steps, and it is judged."""
    path = copied(tmp_path)
    with open_desk(browser, path) as desk:
        desk.settled()
        desk.page.locator("#new-corals summary").click()
        desk.steps += 1
        desk.type("new names", "new Discosoma, Discosoma")
        desk.click("Look at these names")
        desk.click("Add these")
        desk.until("!!document.querySelector('#no-place [aria-pressed=true]')")
        desk.click_water(0.9, 0.9)
        desk.until(lambda: any(c["name"] == "new Discosoma" for c in read_state(desk)["corals"]))
        assert desk.steps <= 5
        save(desk, "a gift")
        assert "a gift" in desk.text("#diary")
    assert any(c.name == "new Discosoma" for c in read_setup(path).corals)


@pytest.mark.identity
def test_note_on_a_coral_takes_two_clicks(browser: Browser, tmp_path: Path) -> None:
    """Choose the coral, click its colour: the row stands in the diary at once."""
    path = copied(tmp_path)
    with open_desk(browser, path) as desk:
        desk.settled()
        desk.page.locator(f'[data-key="coral {MUSHROOM}"]').click()
        desk.page.get_by_role("button", name="colour 4").click()
        desk.until(lambda: "Noted" in desk.text("#told"))
        assert "colour 4" in desk.text("#diary")
    (note,) = read_diary(str(path)).notes
    assert (note.coral, note.kind, note.value) == (MUSHROOM, "colour", 4.0)
    assert path.read_bytes() == (Path(__file__).parents[2] / "examples/crowded-cube/setup.toml").read_bytes()


@pytest.mark.identity
def test_three_best_places_are_marked_and_taken_by_a_click(browser: Browser, tmp_path: Path) -> None:
    """`Where could this coral go?` marks up to three places; a click moves the coral there."""
    path = copied(tmp_path)
    with open_desk(browser, path) as desk:
        desk.settled()
        desk.page.locator('[data-key="coral verirrte Muschel"]').click()
        desk.page.get_by_role("button", name="Where could this coral go?").click()
        desk.until(
            "document.querySelectorAll('[data-view=depth] [data-best]').length > 0", "no place is marked"
        )
        assert (
            1 <= desk.page.evaluate("document.querySelectorAll('[data-view=depth] [data-best]').length") <= 3
        )
        desk.page.locator('[data-key="best 0"]').click()
        desk.until(lambda: desk.unsaved() == ["setup.toml"])


@pytest.mark.identity
def test_setup_full_of_problems_shows_them_and_the_rest(browser: Browser, tmp_path: Path) -> None:
    """Problems stand first, each with its line; the rest of the tank is there, and a mended line helps."""
    path = copied(tmp_path)
    text = path.read_text(encoding="utf-8").replace('genus = "Montipora"', 'genus = "Nonsense"')
    path.write_text(text, encoding="utf-8")
    count = text.count('genus = "Nonsense"')
    with open_desk(browser, path) as desk:
        desk.settled()
        assert desk.page.evaluate("document.querySelectorAll('.problem').length") == count
        assert f"of {44 - count} corals" in desk.headline
        desk.type("mend 0", 'genus = "Montipora"')
        desk.page.locator('[data-key="mend go 0"]').click()
        desk.until(lambda: desk.page.evaluate("document.querySelectorAll('.problem').length") == count - 1)


@pytest.mark.identity
def test_leaving_with_unsaved_changes_asks(browser: Browser, tmp_path: Path) -> None:
    """The browser asks before the page is left with changes, and a new page is offered nothing less."""
    path = copied(tmp_path)
    with open_desk(browser, path) as desk:
        desk.settled()
        asked: list[str] = []
        desk.page.on("dialog", lambda dialog: (asked.append(dialog.type), dialog.accept()))
        desk.drag(MUSHROOM, 60, 100)
        desk.until(lambda: desk.unsaved() == ["setup.toml"])
        desk.page.reload()
        assert asked == ["beforeunload"]
        desk.until(lambda: desk.unsaved() == ["setup.toml"])
    with open_desk(browser, path) as desk:
        desk.until("!document.querySelector('#offered').hidden")
        desk.click("Take them up again")
        desk.until(lambda: desk.unsaved() == ["setup.toml"])


@pytest.mark.identity
def test_page_is_small(browser: Browser, tmp_path: Path) -> None:
    """The page weighs less than 300 kB."""
    with open_desk(browser, copied(tmp_path)) as desk:
        desk.settled()
        weight = desk.page.evaluate("performance.getEntriesByType('navigation')[0].decodedBodySize")
        assert 0 < weight < 300_000
