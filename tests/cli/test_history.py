"""`lightdose history`: a coral's life in order, in text, CSV and JSON alike."""

from __future__ import annotations

import csv
import json
from pathlib import Path

import pytest
from cli.test_keep import run, tank
from workflows.test_diary import programme

__all__ = ["tank"]


@pytest.fixture
def lived(tank: Path) -> Path:
    """A tank whose coral pales after a fast rise."""
    run("keep", tank, "--date", "2025-01-01")
    run("note", tank, "--coral", "blue tip", "--kind", "colour", "--value", "5", "--date", "2025-01-05")
    programme(tank, 60)
    run("keep", tank, "--date", "2025-02-01", "--why", "the season")
    run("note", tank, "--kind", "care", "changed 20 l", "--date", "2025-02-03")
    run("note", tank, "--coral", "blue tip", "--kind", "colour", "--value", "3", "--date", "2025-02-20")
    return tank


@pytest.mark.identity
def test_life_stands_in_order(lived: Path) -> None:
    """State, note, state, note: dates rise, the step is marked, the note of trouble is told."""
    done = run("history", lived, "--coral", "blue tip")
    assert done.exit_code == 0, done.stderr
    days = [line[:10] for line in done.stdout.splitlines() if line[:4] == "2025"]
    assert days[:4] == ["2025-01-01", "2025-01-05", "2025-02-01", "2025-02-20"]
    assert "in a week" in done.stdout
    assert "colour 3, was 5" in done.stdout
    assert "(the season)" in done.stdout
    assert "tank: care: changed 20 l" in done.stdout


@pytest.mark.identity
def test_no_cause_is_ever_named(lived: Path) -> None:
    """The words say what came before, what was not recorded, and that light is not the diagnosis."""
    text = run("history", lived, "--all").stdout
    assert "Light is not the diagnosis" in text
    assert "Not recorded: temperature" in text
    assert not any(word in text.casefold() for word in ("because", "caused", "due to", "bleached by"))


@pytest.mark.identity
def test_csv_and_json_hold_the_same(lived: Path, tmp_path: Path) -> None:
    """Doses of the rows are those of the JSON, unrounded, and notes stand among them."""
    out = tmp_path / "life.csv"
    assert run("history", lived, "--coral", "blue tip", "--csv", out).exit_code == 0
    with out.open(encoding="utf-8", newline="") as stream:
        found = list(csv.DictReader(stream))
    told = json.loads(run("history", lived, "--coral", "blue tip", "--json").stdout)["corals"][0]
    light = [row for row in found if row["state"]]
    assert [float(row["dli_mol_m2_d"]) for row in light] == [s["dli_mol_m2_d"] for s in told["light"]]
    assert [row["value"] for row in found if row["kind"]] == ["5.0", "3.0"]
    assert told["troubles"][0]["trouble"] == "paler"
    assert told["troubles"][0]["before_it"][0]["others"][0]["chance"] is None


@pytest.mark.identity
def test_since_leaves_out_what_came_before(lived: Path) -> None:
    """What is shown begins there; the doses do not change."""
    text = run("history", lived, "--coral", "blue tip", "--since", "2025-02-01").stdout
    assert "2025-01-05" not in text.split("Also noted")[0]
    assert "2025-02-01" in text


@pytest.mark.identity
def test_unknown_coral_gets_near_names(lived: Path) -> None:
    """From today's corals and those of kept states."""
    done = run("history", lived, "--coral", "blue tap")
    assert done.exit_code == 2
    assert "did you mean 'blue tip'" in done.stderr


@pytest.mark.identity
def test_changed_setup_is_told_as_not_kept(lived: Path) -> None:
    """The diary knows nothing of what was not kept."""
    programme(lived, 80)
    assert "lightdose keep" in run("history", lived).stdout


@pytest.mark.identity
def test_own_ranges_feed_the_groups_of_the_setup(tank: Path) -> None:
    """What is written is what the setup then judges by, with grade own in dose."""
    run("keep", tank, "--date", "2025-01-01")
    programme(tank, 45)
    run("keep", tank, "--date", "2025-02-15")
    for day in ("2025-01-05", "2025-02-05", "2025-03-05", "2025-04-05"):
        run("note", tank, "--coral", "hammer", "--kind", "colour", "--value", "4", "--date", day)
    done = run("history", tank, "--own-ranges", tank / "own.toml")
    assert done.exit_code == 0, done.stderr
    assert 'groups = "own.toml"' in done.stdout
    setup = tank / "setup.toml"
    text = setup.read_text(encoding="utf-8")
    setup.write_text(text.replace("title =", 'groups = "own.toml"\ntitle ='), encoding="utf-8")
    told = json.loads(run("dose", tank, "--json").stdout)
    corals = {c["coral"]: c for site in told["sites"] for c in site["corals"]}
    assert corals["hammer"]["grade"] == "own"
    assert corals["hammer"]["sources"] == ["own records, 2025-01-05 to 2025-04-05"]
    low, high = corals["hammer"]["band_dli"]
    assert low <= corals["hammer"]["dli_mol_m2_d"] <= high
    assert "own" in run("dose", tank).stdout
    assert "the keeper's own numbers" in run("slip", tank, "hammer", "--date", "2025-05-01").stdout


@pytest.mark.identity
def test_report_and_slip_tell_of_the_diary(lived: Path, tmp_path: Path) -> None:
    """What changed stands on the page, the last year on the slip; without a diary neither does."""
    page = tmp_path / "report.html"
    assert run("report", lived, "-o", page).exit_code == 0
    text = page.read_text(encoding="utf-8")
    assert 'id="changed"' in text
    assert "the season" in text
    done = run("slip", lived, "blue tip", "--year", "--date", "2025-03-01", "-o", tmp_path / "slip.pdf")
    assert done.exit_code == 0, done.stderr
    assert "- last year: since 2025-01-01:" in done.stdout
    (lived / "diary" / "states.csv").unlink()
    assert run("report", lived, "-o", page).exit_code == 0
    assert 'id="changed"' not in page.read_text(encoding="utf-8")
