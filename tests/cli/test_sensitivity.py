"""`lightdose sensitivity`: JSON by contract, CSV that agrees, words worst first, figures."""

from __future__ import annotations

import csv
import json
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"
STATES = {"far_below", "below", "within", "above", "far_above", "not_judged"}


def run(*words: str) -> Any:
    return CliRunner().invoke(cli, ["sensitivity", *words])


@pytest.mark.identity
def test_json_by_contract_and_csv_agree(tmp_path: Path) -> None:
    """Every case holds every site with ratio and state; the CSV holds the same numbers; figures are there."""
    table, figures = tmp_path / "s.csv", tmp_path / "figures"
    mine = ("--case", "mine: height +5 cm")
    files = ("--csv", str(table), "--figures", str(figures), "--site", "sand left")
    result = run(str(EXAMPLE), "--json", "--quiet", *files, *mine)
    assert result.exit_code == 0
    found = json.loads(result.output)
    assert found["format"] == "lightdose-sensitivity/1"
    names = [c["case"] for c in found["cases"]]
    assert {"water yellowing 1 per m (strong)", "fixtures +5 cm", "mine", "back pane overgrown"} <= set(names)
    for case in found["cases"]:
        assert len(case["sites"]) == 12
        assert all(s["dli_state"] in STATES | {None} and s["dli_ratio"] > 0 for s in case["sites"])
    own, ours = (next(c for c in found["cases"] if c["case"] == n) for n in ("mine", "fixtures +5 cm"))
    assert (own["values_by"], ours["values_by"]) == ("yours", "our choice")
    assert [s["dli_ratio"] for s in own["sites"]] == [s["dli_ratio"] for s in ours["sites"]]
    rows = list(csv.DictReader(table.read_text(encoding="utf-8").splitlines()))
    in_json = {(c["case"], s["site"]): s["dli_ratio"] for c in found["cases"] for s in c["sites"]}
    assert {(r["case"], r["site"]): float(r["site_dli_ratio"]) for r in rows} == in_json
    assert (tmp_path / "s.schema.json").is_file()
    assert sorted(f.name for f in figures.iterdir()) == [
        "sensitivity-sand-left.png", "sensitivity-sand-left.svg", "sensitivity.png", "sensitivity.svg",
    ]  # fmt: skip


@pytest.mark.identity
def test_piped_words_are_one_row_a_case() -> None:
    """Aligned columns, ASCII, every case, worst first; each site with --all; the next command last."""
    result = run(str(EXAMPLE), "--site", "ridge", "--all")
    lines = result.output.splitlines()
    head = next(n for n, line in enumerate(lines) if line.startswith("case "))
    cases = len(json.loads(run(str(EXAMPLE), "--json").output)["cases"])
    assert lines[head + cases + 2] == ""
    assert result.output.isascii()
    assert lines[head + 2].startswith("a neighbour grown over half its sky ")
    assert lines[head + 2].split("sky")[1].split()[0] == "0.50"
    ends = lines.index("Each site's least and most")
    assert len(lines[ends + 3 : lines.index("", ends)]) == 12
    assert "Every case at ridge, largest change first" in lines
    assert "A light shock" in result.output
    assert "our choice" in result.output
    assert lines[-1].endswith(f"Next: lightdose survey {EXAMPLE}")


@pytest.mark.pinned
def test_slips_end_in_2() -> None:
    """An unknown site or case is met with a sentence, and nothing is computed."""
    for words in (["--site", "rigde"], ["--case", "hieght +5 cm"]):
        result = run(str(EXAMPLE), *words)
        assert result.exit_code == 2
        assert "did you mean" in result.output


@pytest.mark.identity
def test_counts_and_changes_of_a_case_are_of_one_judgement() -> None:
    """Today's corals by verdict, those that change taken out and put in, are the counts of each case."""
    found = json.loads(run(str(EXAMPLE), "--json", "--quiet").output)
    dose = json.loads(CliRunner().invoke(cli, ["dose", str(EXAMPLE), "--json"]).output)
    today = {c["coral"]: c["dli_verdict"] for s in dose["sites"] for c in s["corals"]}
    changed = 0
    for case in found["cases"]:
        corals = {c["coral"]: c for s in case["sites"] for c in s["corals"]}
        verdicts = {name: c["dli_verdict"] for name, c in corals.items() if c["dli_verdict_before"]}
        if case["compared_with"] == "today":
            assert {name: corals[name]["dli_verdict_before"] for name in verdicts} == {
                name: verdict for name, verdict in today.items() if verdict != "not_judged"
            }
            changed += any(c["dli_verdict"] != c["dli_verdict_before"] for c in corals.values())
        for key, number in case["counts"].items():
            if key != "judged":
                assert list(verdicts.values()).count(key) == number, (case["case"], key)
    assert changed > 3
    lines = run(str(EXAMPLE), "--all").output.splitlines()
    weaker = next(line for line in lines if line.startswith("ageing, output -10 %"))
    then = next(c for c in found["cases"] if c["case"] == "ageing, output -10 %")
    differ = sum(c["dli_verdict"] != c["dli_verdict_before"] for s in then["sites"] for c in s["corals"])
    assert then["counts"]["within"] != found["counts"]["within"]
    assert differ > 0
    assert not weaker.endswith("  -")
