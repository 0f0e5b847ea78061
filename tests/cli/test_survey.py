"""`lightdose survey`: the sheet, the table with blanks, and that calibrate reads it once it is filled."""

from __future__ import annotations

import csv
import html
import json
import math
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from lightdose.cli import cli
from lightdose.fit.observations import SHEET_LN_MEAN

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"


def run(*words: str) -> Any:
    return CliRunner().invoke(cli, [*words])


def fill(blank: Path, plan: dict[str, Any], target: Path) -> None:
    """Write into every blank the geometric middle of what the plan expects."""
    with blank.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    for row, reading in zip(rows, plan["readings"], strict=True):
        low, high = reading["expected_95"]
        row["reading"] = f"{(low * high) ** 0.5:.1f}"
    with target.open("w", encoding="utf-8", newline="") as file:
        writer = csv.DictWriter(file, rows[0], lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


@pytest.mark.identity
def test_filled_sheet_goes_into_calibrate_and_finds_what_was_expected(tmp_path: Path) -> None:
    """Readings as the priors expect them give back the middle of the priors, narrower; nothing is refused."""
    result = run("survey", str(EXAMPLE), "-o", str(tmp_path), "--json", "--quiet")
    assert result.exit_code == 0, result.output
    plan = json.loads(result.output)
    assert plan["format"] == "lightdose-survey/1"
    assert 6 <= len(plan["readings"]) <= 10
    assert plan["files"] == [str(tmp_path / "survey.html"), str(tmp_path / "survey-readings.csv")]
    filled = tmp_path / "filled.csv"
    fill(tmp_path / "survey-readings.csv", plan, filled)
    found = run("calibrate", str(EXAMPLE), str(filled), "--json")
    assert found.exit_code == 0, found.output
    fit = json.loads(found.stdout)
    assert len(fit["residuals"]) == len(plan["readings"])
    assert not any(r["outlier"] for r in fit["residuals"])
    for gain in fit["gains"]:
        assert gain["gain"] == pytest.approx(math.exp(SHEET_LN_MEAN), rel=0.04)
    after = {f"{g['fixture']}/{g['channel']}": g["interval_95"] for g in fit["gains"]}
    for channel in plan["channels"]:
        low, high = after[channel["channel"]]
        assert (high / low) ** 0.5 == pytest.approx(channel["factor_95_after"], rel=0.03)


@pytest.mark.identity
def test_filled_sheet_is_not_written_over(tmp_path: Path) -> None:
    """A second run refuses to replace readings, and says how to go on; blanks are replaced."""
    assert run("survey", str(EXAMPLE), "-o", str(tmp_path), "--readings", "2").exit_code == 0
    assert run("survey", str(EXAMPLE), "-o", str(tmp_path), "--readings", "2").exit_code == 0
    table = tmp_path / "survey-readings.csv"
    filled = (
        table.read_text(encoding="utf-8")
        .replace(",umol_m2_s,", "120,umol_m2_s,")
        .replace(",120,", ",,120,", 0)
    )
    table.write_text(filled, encoding="utf-8")
    result = run("survey", str(EXAMPLE), "-o", str(tmp_path), "--readings", "2")
    assert result.exit_code == 2
    assert "readings stand in it already" in result.output
    assert table.read_text(encoding="utf-8") == filled


@pytest.mark.identity
@pytest.mark.parametrize("dialect", ["plain", "excel-eu"])
def test_blank_table_is_refused_by_calibrate_row_by_row_only_for_its_blanks(
    tmp_path: Path, dialect: str
) -> None:
    """Columns, units, times, levels and meter are as calibrate wants them: only the readings are missing."""
    run("survey", str(EXAMPLE), "-o", str(tmp_path), "--readings", "6", "--csv-dialect", dialect)
    result = run("calibrate", str(EXAMPLE), str(tmp_path / "survey-readings.csv"))
    assert result.exit_code == 2
    problems = [line for line in result.output.splitlines() if "survey-readings.csv:" in line]
    assert len(problems) == 6
    assert all("a number is missing here" in line for line in problems)


@pytest.mark.pinned
def test_words_say_what_the_readings_are_worth_and_what_to_do() -> None:
    """Worth first, then a row a reading, safety and the next command; the routine where all is asked for."""
    result = run("survey", str(EXAMPLE))
    assert result.exit_code == 0
    lines = result.output.splitlines()
    assert "would narrow the daily dose of a coral from within" in lines[0]
    assert len([line for line in lines if re.match(r" +\d+  ", line)]) in range(6, 11)
    assert "warm up for 20 minutes" in run("survey", str(EXAMPLE), "--all").output
    assert "face out of the beam" in result.output
    assert lines[-1].startswith(f"Next: lightdose survey {EXAMPLE} -o survey")
    assert result.output.isascii()


@pytest.mark.pinned
def test_unknown_meter_gets_the_near_name() -> None:
    """`--meter handhled` names the meter that was meant."""
    result = run("survey", str(EXAMPLE), "--meter", "handhled")
    assert result.exit_code == 2
    assert "did you mean handheld?" in result.output


@pytest.mark.identity
def test_command_that_is_proposed_puts_the_calibration_beside_the_setup(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """On screen and on the sheet alike, run from above the tank's folder: where the setup looks it up."""
    shutil.copytree(EXAMPLE.parent, tmp_path / "my tank")
    monkeypatch.chdir(tmp_path)
    result = run("survey", "my tank/setup.toml", "-o", "sheet")
    assert result.exit_code == 0, result.output
    command = (
        'lightdose calibrate "my tank/setup.toml" sheet/survey-readings.csv -o "my tank/calibration.toml"'
    )
    assert command in " ".join(result.stdout.split())
    assert command in html.unescape((tmp_path / "sheet" / "survey.html").read_text(encoding="utf-8"))


@pytest.mark.identity
def test_survey_of_a_measured_tank_says_from_where_its_promise_counts(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The plan is that of the tank before it was measured, and says so on screen and on the sheet."""
    shutil.copytree(EXAMPLE.parent, tmp_path / "tank")
    monkeypatch.chdir(tmp_path / "tank")
    before = json.loads(run("survey", "setup.toml", "--json").stdout)
    run("calibrate", "setup.toml", "readings.csv", "-o", "calibration.toml")
    text = Path("setup.toml").read_text(encoding="utf-8")
    Path("setup.toml").write_text(f'calibration = "calibration.toml"\n{text}', encoding="utf-8")
    after = json.loads(run("survey", "setup.toml", "--json").stdout)
    assert [c["factor_95_before"] for c in after["corals"]] == [
        c["factor_95_before"] for c in before["corals"]
    ]
    said = run("survey", "setup.toml", "-o", "sheet").stdout
    page = html.unescape(Path("sheet/survey.html").read_text(encoding="utf-8"))
    for told in (
        "Counted from the fixture files alone, ",
        "The readings of 2026-03-14 are not counted: calibrate fits a new set by itself.",
        "By the readings of 2026-03-14 ",
    ):
        assert told in said
        assert told in page
