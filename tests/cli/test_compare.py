"""`lightdose compare`: what it says, writes and refuses."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from cli.small_tanks import write_tank
from click.testing import CliRunner, Result

from lightdose.cli import cli

BRIGHTER = "time,blue 450,cyan 500,red 660\n08:00,0,0,0\n10:00,70,70,70\n20:00,70,70,70\n22:00,0,0,0\n"


@pytest.fixture
def tanks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An invented tank, one with its lamp lower, and another schedule."""
    write_tank(tmp_path / "shop")
    write_tank(tmp_path / "low", height_cm=10)
    (tmp_path / "brighter.csv").write_text(BRIGHTER, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, ("compare", *words))


def flat(value: Any) -> list[float]:
    """Every number in a value of JSON, in its order."""
    if isinstance(value, dict):
        return [x for part in value.values() for x in flat(part)]
    return [x for part in value for x in flat(part)] if isinstance(value, list) else [value]


def answer(*words: str) -> Any:
    done = run(*words, "--json", "--quiet")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.identity
def test_setup_beside_itself_is_all_zero(tanks: Path) -> None:
    """compare A A: the contract's keys are there, every ln is exactly 0, every ratio 1."""
    found = answer("shop/setup.toml", "shop/setup.toml")
    assert found["format"] == "lightdose-compare/1"
    assert found["basis"] == "data sheet"
    assert found["basis_sentence"].startswith("Both: not measured")
    assert found["differences"] == []
    for row in (*found["sites"], *found["corals"]):
        assert row["dli_ratio"] == 1
        assert row["interval_95_dli_ratio"] == [1, 1]
        assert [row[k] for k in ("ln_dli", "ln_total", "ln_intensity", "ln_time")] == [0, 0, 0, 0]
        assert row["ln_colour"] == {"default": 0, "low": 0, "high": 0}
        assert row["a"] == row["b"]


@pytest.mark.identity
@pytest.mark.parametrize("other", [["low/setup.toml"], ["--schedule", "brighter.csv"]])
def test_split_adds_and_agrees_with_dose(tanks: Path, other: list[str]) -> None:
    """Parts add to 1e-12, and both sides are what `dose` says of each setup."""
    found = answer("shop/setup.toml", *other)
    words = other if other[0].startswith("--") else []
    second = "shop/setup.toml" if words else other[0]
    doses = [
        json.loads(CliRunner().invoke(cli, ("dose", path, *extra, "--json")).stdout)
        for path, extra in (("shop/setup.toml", []), (second, words))
    ]
    for i, site in enumerate(found["sites"]):
        assert site["ln_intensity"] + site["ln_time"] == pytest.approx(site["ln_dli"], abs=1e-12)
        assert site["ln_dli"] + site["ln_colour"]["default"] == pytest.approx(site["ln_total"], abs=1e-12)
        assert site["ln_dli"] == pytest.approx(math.log(site["dli_ratio"]), abs=1e-12)
        for side, dose in zip("ab", doses, strict=True):
            for key in (
                "dli_mol_m2_d",
                "peak_ppfd_umol_m2_s",
                "lux_at_peak",
                "interval_95",
                "usable_fraction",
            ):
                assert flat(site[side][key]) == pytest.approx(flat(dose["sites"][i][key]), rel=1e-12)


@pytest.mark.identity
def test_variation_needs_no_second_setup(tanks: Path) -> None:
    """A varied is the same as a setup that stands so; with neither B nor variation, usage is told."""
    assert answer("shop/setup.toml", "--fixture-height", "10 cm")["sites"][0]["ln_total"] == pytest.approx(
        answer("shop/setup.toml", "low/setup.toml")["sites"][0]["ln_total"], abs=1e-12
    )
    both = answer("shop/setup.toml", "low/setup.toml", "--schedule", "brighter.csv")
    assert both["differences"] == [
        "lamp 1: 10 cm above the water instead of 20 cm",
        "lamp 1: another programme",
    ]
    alone = run("shop/setup.toml")
    assert alone.exit_code == 2
    assert "name B, or vary A" in alone.stderr


@pytest.mark.pinned
def test_first_lines_say_the_basis_the_sides_and_the_photons(tanks: Path) -> None:
    """Basis first, then what A and B are, what differs, then photons before colour."""
    lines = run("shop/setup.toml", "--schedule", "brighter.csv", "--quiet", "--all").stdout.splitlines()
    assert lines[0].startswith("Both: not measured")
    assert lines[1] == "A: shop (invented). B: the same with schedule brighter.csv."
    assert lines[2] == "B differs by: lamp 1: another programme."
    assert "times as bright" in lines[3]
    assert ", 1.3 times as long; colour by usable share " in lines[3]
    assert ", not growth" in lines[3]
    text = "\n".join(lines)
    assert "published growth was about equal under blue and under white light" in text
    assert "white light (CIE LED-B5) with the same photons would measure" in text
    corals = answer("shop/setup.toml", "--schedule", "brighter.csv")["corals"]
    steepest = max(corals, key=lambda coral: coral["dli_ratio"])["coral"]
    assert f"Next: {steepest} would get" in text
    assert "optimal" not in text
    assert text.isascii()


@pytest.mark.identity
def test_strict_looks_at_b(tanks: Path) -> None:
    """Exit 3 where a coral of B is out of its usual range, else 0."""
    states = [c["judged"]["b"]["dli_state"] for c in answer("shop/setup.toml", "low/setup.toml")["corals"]]
    assert any(s != "within" for s in states)
    assert run("shop/setup.toml", "low/setup.toml", "--strict").exit_code == 3
    assert run("shop/setup.toml", "low/setup.toml").exit_code == 0
    write_tank(tanks / "bare", corals=())
    assert run("low/setup.toml", "bare/setup.toml", "--strict").exit_code == 0


@pytest.mark.identity
@pytest.mark.parametrize("dialect", ["plain", "excel-eu"])
def test_csv_holds_the_numbers_of_the_json(tanks: Path, dialect: str) -> None:
    """One row a site and coral, unrounded, with a schema beside; own reader reads them back."""
    from lightdose.files.delimited import read_delimited, read_text

    found = answer("shop/setup.toml", "low/setup.toml")
    done = run("shop/setup.toml", "low/setup.toml", "--csv", "out.csv", "--csv-dialect", dialect)
    assert "wrote out.csv" in done.stderr
    table = read_delimited(read_text(Path("out.csv"), limit_bytes=10**6, label="out.csv")[0], "out.csv")
    names = list(table.header or ())
    rows = {(r.cells[0], r.cells[1]): r for r in table.rows}
    assert len(rows) == len(found["sites"]) + len(found["corals"])
    for site in found["sites"]:
        row = rows["site", site["site"]]
        for column, wanted in (
            ("ln_total", site["ln_total"]),
            ("dli_mol_m2_d_b", site["b"]["dli_mol_m2_d"]),
            ("chromaticity_x_a", site["a"]["looks"]["chromaticity_xy"][0]),
            ("white_lux_at_peak_b", site["b"]["looks"]["white_of_equal_ppfd"]["lux"]),
        ):
            assert table.number(row, names.index(column)) == wanted
    schema = json.loads(Path("out.schema.json").read_text(encoding="utf-8"))
    assert [f["name"] for f in schema["fields"]] == names


@pytest.mark.identity
def test_figures_are_written_twice_alike(tanks: Path) -> None:
    """Five figures as SVG and PNG; two runs give the same bytes; a strange site is refused with a hint."""
    words = ("shop/setup.toml", "low/setup.toml", "--figures")
    assert run(*words, "one", "--site", "ridge").exit_code == 0
    assert run(*words, "two", "--site", "ridge").exit_code == 0
    names = sorted(p.name for p in Path("one").iterdir())
    stems = (
        "comparison-days",
        "comparison-doses",
        "comparison-spectra",
        "comparison-split",
        "looks-and-gets",
    )
    assert names == sorted(f"{stem}.{form}" for stem in stems for form in ("png", "svg"))
    for name in names:
        assert (Path("one") / name).read_bytes() == (Path("two") / name).read_bytes()
    refused = run(*words, "three", "--site", "rigde")
    assert refused.exit_code != 0
    assert "did you mean 'ridge'?" in str(refused.exception) + refused.stderr


@pytest.mark.identity
def test_dark_sides_are_said_and_not_divided(tanks: Path) -> None:
    """No light under A: null logarithms and ratio, words instead, figures all the same."""
    write_tank(tanks / "dark", levels={"blue 450": 0, "cyan 500": 0, "red 660": 0})
    found = answer("dark/setup.toml", "shop/setup.toml")
    site = found["sites"][0]
    assert site["dli_ratio"] is None
    assert [site[k] for k in ("ln_dli", "ln_total", "ln_intensity", "ln_time", "ln_colour")] == [None] * 5
    assert site["a"]["looks"] is None
    done = run("dark/setup.toml", "shop/setup.toml", "--figures", "dark-figures")
    assert done.exit_code == 0
    assert "Dark under A: " in done.stdout
    assert answer("shop/setup.toml", "dark/setup.toml")["sites"][0]["dli_ratio"] == 0


@pytest.mark.identity
def test_all_problems_name_their_file(tanks: Path) -> None:
    """A missing B and an input as output are refused in a sentence."""
    assert run("shop/setup.toml", "nowhere/setup.toml").exit_code != 0
    taken = run("shop/setup.toml", "low/setup.toml", "--csv", "low/setup.toml")
    assert taken.exit_code != 0
    assert "lightdose-setup/1" in Path("low/setup.toml").read_text(encoding="utf-8")
