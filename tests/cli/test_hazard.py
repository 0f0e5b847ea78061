"""`lightdose hazard`: behaviour first, JSON by contract, CSV that agrees, variations."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from lightdose.cli import cli

from .small_tanks import write_tank

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"
NUMBERS = ("e_b_w_m2", "l_b_w_m2_sr", "h_eff_8h_j_m2", "e_uv_a_w_m2", "time_to_limit_s")


def run(*words: str) -> Any:
    return CliRunner().invoke(cli, ["hazard", *words])


@pytest.mark.identity
def test_json_by_contract_and_csv_agree(tmp_path: Path) -> None:
    """One entry a fixture, distance and limit; the CSV and its schema hold the same numbers."""
    table = tmp_path / "h.csv"
    result = run(str(EXAMPLE), "--json", "--quiet", "--csv", str(table))
    assert result.exit_code == 0
    found = json.loads(result.output)
    assert found["format"] == "lightdose-hazard/1"
    entries = found["fixtures"]
    keys = [(e["fixture"], e["distance_m"], e["limit_key"]) for e in entries]
    assert len(set(keys)) == len(keys) == 2 * 2 * 4
    assert {e["distance_m"] for e in entries} == {0.2, 0.5}
    assert all(e["limit"] and e["source"] for e in entries)
    blue = [e for e in entries if e["limit_key"] == "blue_light_irradiance"]
    assert all(e["time_to_limit_s"] == pytest.approx(100 / e["e_b_w_m2"]) for e in blue)
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    assert len(rows) == len(entries) + len(found["together_at_most"])
    for row, entry in zip(rows, [*entries, *found["together_at_most"]], strict=True):
        assert (row["fixture"], row["limit_key"]) == (entry["fixture"], entry["limit_key"])
        for name in NUMBERS:
            for cell, value in (
                (row[name], entry[name]),
                (row[f"programme_{name}"], entry["programme_peak"][name]),
            ):
                assert (float(cell) if cell else None) == value
    schema = json.loads((tmp_path / "h.schema.json").read_text(encoding="utf-8"))
    assert [f["name"] for f in schema["fields"]] == list(rows[0])


@pytest.mark.identity
def test_piped_words_put_behaviour_before_figures() -> None:
    """Behaviour, then one record a fixture, distance and limit in ASCII, the verdict last."""
    result = run(str(EXAMPLE))
    lines = result.output.splitlines()
    assert lines[0] == "Around these lights"
    first = next(n for n, line in enumerate(lines) if line.startswith("fixture "))
    assert lines.index(next(line for line in lines if "Do not look into the emitters" in line)) < first
    assert sum(line.startswith(("left ", "right ")) and "20 cm" in line for line in lines[first:]) == 2
    assert result.output.isascii()
    assert lines[-1].startswith("Do not look into it: from 20 cm left")


@pytest.mark.identity
def test_fixture_without_emitters_and_with_odd_names(tmp_path: Path) -> None:
    """Radiance is left out and asked for; names and inches show as they are."""
    folder = write_tank(tmp_path / "tank")
    text = (folder / "setup.toml").read_text(encoding="utf-8")
    odd = "=1+1 [x] </script>"
    (folder / "setup.toml").write_text(text.replace("lamp 1", odd), encoding="utf-8")
    found = json.loads(run(str(folder / "setup.toml"), "--json").output)
    assert {e["limit_key"] for e in found["fixtures"]} == {"blue_light_irradiance", "actinic_uv", "uv_a"}
    assert all(e["l_b_w_m2_sr"] is None and e["fixture"] == odd for e in found["fixtures"])
    assert found["together_at_most"] == []
    result = run(str(folder / "setup.toml"), "--imperial")
    assert any(line.startswith(odd) and "7.9 in" in line for line in result.output.splitlines())
    assert f"single emitter of {odd} is not known" in result.output


@pytest.mark.identity
def test_variations_and_disabled_fixtures(tmp_path: Path) -> None:
    """Another height changes nothing, another schedule only the programme; no lit fixture is said so."""
    folder = write_tank(tmp_path / "tank")
    setup = str(folder / "setup.toml")
    plain, higher = (
        json.loads(run(setup, "--json", *more).output) for more in ((), ("--fixture-height", "60 cm"))
    )
    assert higher["fixtures"] == plain["fixtures"]
    (folder / "dim.csv").write_text(
        "time,blue 450,cyan 500,red 660\n09:00,0,0,0\n12:00,10,10,10\n18:00,0,0,0\n", encoding="utf-8"
    )
    dim = json.loads(run(setup, "--json", "--schedule", str(folder / "dim.csv")).output)
    for new, old in zip(dim["fixtures"], plain["fixtures"], strict=True):
        assert new["e_b_w_m2"] == old["e_b_w_m2"]
        assert new["programme_peak"]["e_b_w_m2"] < old["programme_peak"]["e_b_w_m2"]
    text = (folder / "setup.toml").read_text(encoding="utf-8")
    off = text.replace('type = "lamp.toml"', 'type = "lamp.toml"\nenabled = false')
    (folder / "setup.toml").write_text(off, encoding="utf-8")
    result = run(setup)
    assert result.exit_code == 0
    assert "No fixture is enabled" in result.output
