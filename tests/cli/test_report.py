"""`lightdose report`: what is written and printed, and how it ends."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"
SETUP = str(EXAMPLE / "setup.toml")


def _run(*words: str) -> Result:
    return CliRunner().invoke(cli, ["report", *words])


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.identity
def test_page_and_handout_are_written_and_named(tmp_path: Path) -> None:
    """Both files with their sizes on stderr, the answer in ASCII words on stdout."""
    done = _run(SETUP, "-o", "out", "--handout", "out")
    assert done.exit_code == 0, done.output
    page = tmp_path / "out" / "report.html"
    assert f"wrote {page.relative_to(tmp_path)}, " in done.stderr
    assert "handout.pdf" in done.stderr
    assert done.stdout.startswith("6 of 9 corals within common practice, 2 undecided.\n")
    assert done.stdout.isascii()
    assert page.stat().st_size < 500_000
    assert (tmp_path / "out" / "handout.pdf").read_bytes().startswith(b"%PDF")


@pytest.mark.identity
def test_handout_has_its_date_and_language_and_they_need_it(tmp_path: Path) -> None:
    """--language is that of the sheet, a page for a browser where it is so called; --date is on both."""
    done = _run(SETUP, "-o", "r.html", "--handout", "h.html", "--language", "de", "--date", "2026-03-14")
    assert done.exit_code == 0, done.output
    page = (tmp_path / "h.html").read_text(encoding="utf-8")
    assert "14. März 2026" in page
    assert "So bekommen diese Korallen ihr Licht" in page
    assert 'content: "2026-03-14"' in (tmp_path / "r.html").read_text(encoding="utf-8")
    for words in (("--language", "de"), ("--paper", "a4")):
        refused = _run(SETUP, "-o", "r.html", *words)
        assert refused.exit_code == 2
        assert "--handout FILE" in refused.stderr


@pytest.mark.identity
def test_json_names_files_and_headline_figures(tmp_path: Path) -> None:
    """Absolute paths, sizes, how many corals stand where, and the other setup's figures beside."""
    shutil.copytree(EXAMPLE, tmp_path / "other")
    done = _run(SETUP, "other/setup.toml", "--fixture-height", "14 cm", "-o", "r.html", "--json", "--quiet")
    assert done.exit_code == 0, done.output
    result = json.loads(done.stdout)
    assert result["format"] == "lightdose-report/1"
    (file,) = result["files"]
    assert file["kind"] == "report"
    assert Path(file["file"]) == (tmp_path / "r.html").resolve()
    assert file["bytes"] == (tmp_path / "r.html").stat().st_size
    for key in ("counts", "calculated_counts"):
        judged = result[key]
        assert result["corals"] == judged["judged"] == sum(judged.values()) - judged["judged"] == 9
    assert result["deciding_reading"] == {"site": "shelf"}
    assert result["dli_mol_m2_d"][0] < result["dli_mol_m2_d"][1]
    assert result["other"]["dli_mol_m2_d"][1] > result["dli_mol_m2_d"][1]
    text = (tmp_path / "r.html").read_text(encoding="utf-8")
    assert 'id="compared"' in text
    assert "14 cm above the water instead of 20 cm" in text


@pytest.mark.identity
def test_variation_changes_the_setup_and_is_said(tmp_path: Path) -> None:
    """Without OTHER the page is of the varied setup, in inches where asked."""
    done = _run(SETUP, "--fixture-height", "16 cm", "--imperial", "-o", "v.html", "--quiet")
    assert done.exit_code == 0, done.output
    assert done.stderr == ""
    text = (tmp_path / "v.html").read_text(encoding="utf-8")
    assert "fixture height 16 cm" in text
    assert "6.3 in above the water" in text
    assert 'id="compared"' not in text


@pytest.mark.identity
def test_wrong_use_is_refused_and_inputs_stay(tmp_path: Path) -> None:
    """An input is never overwritten; a sheet needs its hand-out; a missing setup is named."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    setup = tmp_path / "tank" / "setup.toml"
    before = setup.read_bytes()
    done = _run("tank/setup.toml", "-o", "tank/setup.toml")
    assert done.exit_code == 2
    assert "is no name for a page" in done.stderr
    assert setup.read_bytes() == before
    assert _run(SETUP, "--paper", "a4").exit_code == 2
    missing = _run("nowhere.toml")
    assert missing.exit_code == 2
    assert "nowhere.toml" in missing.stderr


@pytest.mark.identity
def test_tank_without_corals_or_light_still_has_a_page(tmp_path: Path) -> None:
    """No coral, no programme, no site: the page says so and leaves the empty parts out."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    setup = tmp_path / "tank" / "setup.toml"
    text = setup.read_text(encoding="utf-8")
    corals, rest = text.index("[[coral]]"), text.index("[electricity]")
    bare = text[:corals] + text[rest:]
    setup.write_text(bare, encoding="utf-8")
    assert _run("tank/setup.toml", "-o", "a.html").stdout.startswith("No corals yet")
    places = bare.index("[[site]]")
    setup.write_text(bare[:places] + bare[bare.index("[electricity]") :], encoding="utf-8")
    assert _run("tank/setup.toml", "-o", "b.html").exit_code == 0
    dark = bare.replace("schedule =", "enabled = false\nschedule =")
    setup.write_text(dark, encoding="utf-8")
    done = _run("tank/setup.toml", "-o", "c.html")
    assert done.exit_code == 0, done.output
    page = (tmp_path / "c.html").read_text(encoding="utf-8")
    assert 'id="table-corals"' not in page
    assert not re.search(r">\s*-?(nan|inf)\b", page, re.IGNORECASE)
