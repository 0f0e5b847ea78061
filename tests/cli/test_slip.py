"""`lightdose slip`: its page, its words, its date, and the line that the next keeper types."""

from __future__ import annotations

import datetime
import json
from pathlib import Path

import pytest
from cli.small_tanks import write_tank
from click.testing import CliRunner, Result
from pypdf import PdfReader

from lightdose.cli import cli
from lightdose.present.figures import fonts


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, words)


@pytest.fixture
def shop(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    return write_tank(tmp_path / "shop") / "setup.toml"


@pytest.mark.identity
def test_line_typed_into_the_next_setup_is_where_acclimate_begins(shop: Path, tmp_path: Path) -> None:
    """The customer's setup with that line starts the coral at or below the dose it lived in.

    Where the new light is not measured, the upper end of what it may be starts there.
    """
    done = run("slip", str(shop), "hammer", "--date", "2026-03-14")
    assert done.exit_code == 0, done.stderr
    line = done.stdout.splitlines()[-1].partition(": ")[2]
    dose = json.loads(run("slip", str(shop), "hammer", "--json", "--quiet").stdout)["dli_mol_m2_d"]
    home = write_tank(tmp_path / "home", levels={"blue 450": 90, "cyan 500": 60, "red 660": 20}, corals=())
    setup = home / "setup.toml"
    coral = f'[[coral]]\nname = "hammer"\ngroup = "lps-branching"\nsite = "sand"\n{line}\n'
    setup.write_text(setup.read_text(encoding="utf-8") + coral, encoding="utf-8")
    steps = json.loads(run("acclimate", str(shop), str(setup), "--json", "--previous", "hammer=1").stdout)
    assert steps["format"] == "lightdose-acclimate/1"
    away = write_tank(tmp_path / "away", corals=(("other", "mushroom", "ridge"),)) / "setup.toml"
    answer = run("acclimate", str(away), str(setup), "--json", "--quiet")
    assert answer.exit_code == 0, answer.stderr
    plan = json.loads(answer.stdout)
    typed = float(line.removeprefix("previous = "))
    assert typed <= dose < typed + 0.1
    first = plan["steps"][0]["dli_mol_m2_d"]["sand"]
    assert first <= typed * 1.1 * (1 + 1e-9)
    sites = json.loads(run("dose", str(setup), "--json").stdout)["sites"]
    there = next(site for site in sites if site["site"] == "sand")
    rise = there["interval_95"]["dli_mol_m2_d"][1] / there["dli_mol_m2_d"]
    assert rise > 1
    last = plan["steps"][-1]["dli_mol_m2_d"]["sand"]
    most = min(typed * 1.1 / rise, last)
    assert 0.99 * most <= first <= most * (1 + 1e-9)  # rounded to tenths of a percent, downwards


@pytest.mark.identity
def test_json_equals_dose_and_names_the_file(shop: Path, tmp_path: Path) -> None:
    """The numbers are `dose`'s, unrounded; the file is absolute."""
    answer = run("slip", str(shop), "hammer", "--date", "2026-03-14", "-o", "s.pdf", "--json", "--quiet")
    assert answer.exit_code == 0, answer.stderr
    found = json.loads(answer.stdout)
    sites = json.loads(run("dose", str(shop), "--json").stdout)["sites"]
    (coral,) = next(s["corals"] for s in sites if s["site"] == "sand")
    for key in ("dli_mol_m2_d", "peak_ppfd_umol_m2_s", "dli_state", "grade", "sources", "band_dli"):
        assert found[key] == coral[key]
    assert found["format"] == "lightdose-slip/1"
    assert found["basis"] == "data sheet"
    assert found["date"] == "2026-03-14"
    assert found["file"] == str(tmp_path.resolve() / "s.pdf")


@pytest.mark.identity
def test_sheet_follows_option_then_the_lengths(shop: Path) -> None:
    """A setup in centimetres prints on A6; --paper letter on a quarter of Letter."""
    for words, width in ((("-o", "a.pdf"), 297.64), (("-o", "b.pdf", "--paper", "letter"), 306.0)):
        assert run("slip", str(shop), "hammer", *words).exit_code == 0
        assert float(PdfReader(words[1]).pages[0].mediabox.width) == pytest.approx(width, abs=0.01)
    text = shop.read_text(encoding="utf-8").replace('"60 cm"', '"24 in"')
    shop.write_text(text, encoding="utf-8")
    assert run("slip", str(shop), "hammer", "-o", "c.pdf").exit_code == 0
    assert float(PdfReader("c.pdf").pages[0].mediabox.width) == pytest.approx(306.0, abs=0.01)


@pytest.mark.identity
def test_date_is_todays_and_said_where_none_is_given(shop: Path) -> None:
    """A message tells that the date is today's; a named one needs no message."""
    before = datetime.date.today()
    done = run("slip", str(shop), "hammer")
    today = {before.isoformat(), datetime.date.today().isoformat()}
    assert any(f"dated {day}, today" in done.stderr and day in done.stdout for day in today)
    assert "today" not in run("slip", str(shop), "hammer", "--date", "2026-03-14").stderr


@pytest.mark.identity
def test_page_is_in_the_language_asked_for_and_the_answer_stays_english(shop: Path) -> None:
    """The PDF speaks Dutch with decimal commas; what a terminal or script reads does not change."""
    words = ("slip", str(shop), "hammer", "--date", "2026-03-01", "-o", "s.pdf")
    english, dutch = run(*words), run(*words, "--language", "nl")
    assert dutch.exit_code == 0, dutch.stderr
    assert dutch.stdout == english.stdout
    text = PdfReader("s.pdf").pages[0].extract_text()
    assert "Het licht waarin het leefde" in text
    assert "1 maart 2026" in text
    assert "door ons vertaald" in text
    assert run(*words, "--language", "xx").exit_code == 2


@pytest.mark.identity
def test_letters_without_a_font_are_named_and_the_page_version_has_them(
    shop: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """One message names letters and the page to write instead; that page holds the name as it is."""
    monkeypatch.setattr(fonts, "_FAMILY", {})
    monkeypatch.setattr(fonts, "_installed", tuple)
    text = shop.read_text(encoding="utf-8")
    shop.write_text(text.replace("hammer", "サンゴ"), encoding="utf-8")
    words = ("slip", str(shop), "サンゴ", "--date", "2026-03-14", "-o")
    told = run(*words, "s.pdf").stderr
    assert told.count("no font on this computer has") == 1
    assert "サ" in told
    assert "s.html" in told
    page = run(*words, "s.html")
    assert "no font" not in page.stderr
    assert "サンゴ" in Path("s.html").read_text(encoding="utf-8")
    fonts_known = run("slip", str(shop), "サンゴ", "--date", "2026-03-14")
    assert "no font" not in fonts_known.stderr


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "told"),
    [
        (("hamer",), "did you mean 'hammer'?"),
        (("hammer", "--date", "14.3.2026"), "--date"),
    ],
)
def test_slip_refuses_with_a_hint(shop: Path, words: tuple[str, ...], told: str) -> None:
    """A coral typed wrong gets a suggestion, a date its form."""
    done = run("slip", str(shop), *words)
    assert done.exit_code == 2
    assert told in done.stderr


@pytest.mark.identity
@pytest.mark.parametrize("more", [(), ("--year",)])
def test_lost_coral_gets_no_slip_of_a_later_day(shop: Path, more: tuple[str, ...]) -> None:
    """Refused with the note's line and nothing written; made for the day on which it left, and before."""
    run("keep", str(shop), "--date", "2025-01-01")
    run("note", str(shop), "--coral", "hammer", "--kind", "lost", "eaten", "--date", "2025-03-01")
    words = ("slip", str(shop), "hammer", "-o", "s.pdf", *more)
    for date in (("--date", "2025-03-02"), ()):
        done = run(*words, *date)
        assert (done.exit_code, done.stdout) == (2, "")
        assert "notes.csv:2" in done.stderr
        assert "'hammer' was noted as lost on 2025-03-01 (eaten)" in done.stderr
        assert not Path("s.pdf").exists()
    left = run(*words, "--date", "2025-03-01")
    assert left.exit_code == 0, left.stderr
    assert "as lost on this day" in left.stderr
    assert "lost" not in run(*words, "--date", "2025-02-28").stderr
    assert run("slip", str(shop), "blue tip", *more).exit_code == 0
    run("note", str(shop), "--coral", "hammer", "--kind", "colour", "--value", "4", "--date", "2025-04-01")
    assert run(*words).exit_code == 0
