"""`lightdose acclimate`: steps that `dose` reads back to the promised numbers, and what it refuses."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from cli.small_tanks import write_tank
from click.testing import CliRunner, Result

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"
BRIGHT = {"blue 450": 90, "cyan 500": 70, "red 660": 30}


@pytest.fixture
def tanks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Two invented tanks with two lamps each, "now" and "then", brighter; the working folder holds them."""
    write_tank(tmp_path / "now", lamps=2)
    write_tank(tmp_path / "then", lamps=2, levels=BRIGHT)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, words)


def answer(*words: str) -> Any:
    done = run(*words, "--json", "--quiet")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


def spoil(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new), encoding="utf-8")


@pytest.mark.identity
@pytest.mark.parametrize("dialect", ["plain", "excel-eu"])
def test_dose_of_every_written_step_is_the_promised_one(tanks: Path, dialect: str) -> None:
    """Each step's files put into the setup give its doses; levels are never above the last step's."""
    way = answer("acclimate", "now", "then", "-o", "steps", "--csv-dialect", dialect)
    assert way["format"] == "lightdose-acclimate/1"
    assert len(way["steps"]) > 2
    for step in way["steps"]:
        for written in step["schedules"]:
            assert Path(written["file"]).is_absolute()
            shutil.copy(written["file"], tanks / "then" / f"day-{written['fixture'][-1]}.csv")
        doses = {s["site"]: s["dli_mol_m2_d"] for s in answer("dose", "then")["sites"]}
        assert {site: doses[site] for site in step["dli_mol_m2_d"]} == pytest.approx(
            step["dli_mol_m2_d"], rel=1e-9
        )
    assert way["steps"][-1]["scale"] == 1
    assert way["weeks"] == way["steps"][-1]["day"] / 7
    assert step["file"] == step["schedules"][0]["file"]


@pytest.mark.identity
@pytest.mark.parametrize("words", [("--all-channels", "left=90"), ("--fixture-height", "14 cm")])
def test_steps_of_the_shipped_example_can_be_typed(
    tanks: Path, monkeypatch: pytest.MonkeyPatch, words: tuple[str, str]
) -> None:
    """Whole minutes and tenths of a percent; an overall setting stays one; "2 steps in 1 week"."""
    monkeypatch.chdir(shutil.copytree(EXAMPLE, tanks / "example"))
    done = run("acclimate", "setup.toml", "setup.toml", *words, "-o", "steps")
    assert done.exit_code == 0, done.stderr
    if words[0] == "--all-channels":
        assert "\n2 steps in 1 week; " in done.stdout
    written = sorted(Path("steps").glob("day-*.csv"))
    assert len(written) >= 4
    for path in written:
        head, *rows = path.read_text(encoding="utf-8").splitlines()
        assert head.endswith(",all_channels") == path.stem.endswith("-left")
        for time, *levels in (row.split(",") for row in rows):
            assert re.fullmatch(r"\d\d:\d\d", time)
            assert all(re.fullmatch(r"(\d+(\.\d)?)?", level) for level in levels)


@pytest.mark.identity
def test_first_step_compares_with_today(tanks: Path) -> None:
    """Day 0 raises no coral by more than 10 %, and one by that but for what rounding takes."""
    way = answer("acclimate", "now", "then")
    today = {s["site"]: s["dli_mol_m2_d"] for s in answer("dose", "now")["sites"]}
    rises = [dli / today[site] for site, dli in way["steps"][0]["dli_mol_m2_d"].items()]
    assert 1.098 <= max(rises) <= 1.1 * (1 + 1e-9)
    assert way["steps"][0]["file"] is None
    low, default, high = way["steps"][3]["d_over_a"]
    assert 1 < low < default < high


@pytest.mark.identity
def test_variations_change_the_new_setup_only(tanks: Path) -> None:
    """--schedule, --fixture-height and the like vary TO, so one setup serves for a change of programme."""
    way = answer("acclimate", "now", "now", "--fixture-height", "14 cm")
    assert way["steps"][0]["scale"] < 1
    same = answer("acclimate", "now", "now")
    assert [s["scale"] for s in same["steps"]] == [1]
    assert same["weeks"] == 0


@pytest.mark.pinned
def test_pipe_names_dates_files_and_the_verdict(tanks: Path) -> None:
    """The basis first, a row a step with its date, every file on stderr, the verdict last."""
    done = run("acclimate", "now", "then", "-o", "steps", "--figures", "figs", "--start", "2026-02-27")
    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    assert lines[0].startswith("Not measured. Based on data sheets")
    dated = [line.split() for line in lines if "  2026-" in line]
    assert dated[1][:2] == ["7", "2026-03-06"]
    assert lines[-1].startswith(
        f"{len(dated)} steps in {len(dated) - 1} weeks; the new programme runs from day"
    )
    assert "no published rule per week" in done.stdout
    for name in ("day-000-lamp-1.csv", "day-007-lamp-2.csv"):
        assert f"steps/{name}, " in done.stderr.replace("\\", "/")
    assert {p.name for p in (tanks / "figs").iterdir()} == {"acclimation.svg", "acclimation.png"}


@pytest.mark.identity
def test_newcomer_may_be_stated_in_the_setup_or_on_the_command_line(tanks: Path) -> None:
    """previous in a [[coral]] and --previous give the same way, where the names hold "=" too."""
    spoil(tanks / "then" / "setup.toml", 'name = "blue tip"', 'name = "cap = new"\nprevious = 2.5')
    one = answer("acclimate", "now", "then")
    spoil(tanks / "then" / "setup.toml", "\nprevious = 2.5", "")
    two = answer("acclimate", "now", "then", "--previous", "cap = new=2.5")
    assert one["steps"] == two["steps"]
    new = next(c for c in one["corals"] if c["newcomer"])
    assert (new["coral"], new["before_is"], new["before_mol_m2_d"]) == ("cap = new", "stated", 2.5)
    assert one["only_in_from"] == ["blue tip"]
    assert "unknown_previous" in {c["code"] for c in answer("acclimate", "now", "then")["cautions"]}


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (["--previous", "blue tip"], "is not CORAL=DOSE"),
        (["--previous", "blue tip=some"], "or unknown"),
        (["--previous", "blue top=3"], "did you mean 'blue tip'?"),
        (["--previous", "blue tip=0"], "above 0 mol/m2/day"),
        (["--previous", "blue tip=3", "--previous", "blue tip=4"], "stands twice"),
        (["--start", "1st of March"], "is not a date such as 2026-03-14"),
        (["--rise", "0"], "--rise"),
        (["--days", "0"], "--days"),
    ],
)
def test_wrong_words_are_refused_and_nothing_is_written(tanks: Path, words: list[str], hint: str) -> None:
    """A sentence that says what to write, exit 2, no file."""
    done = run("acclimate", "now", "then", "-o", "steps", *words)
    assert done.exit_code == 2
    assert hint in done.stderr
    assert not (tanks / "steps").exists()


@pytest.mark.pinned
def test_dark_tanks_and_missing_corals_are_refused_and_nothing_is_written(tanks: Path) -> None:
    """No light in FROM, none in TO, no coral: sentences that name the coral and the way out."""
    write_tank(tanks / "dark", levels=dict.fromkeys(BRIGHT, 0))
    write_tank(tanks / "bare", corals=())
    write_tank(tanks / "sun", corals=[("sun coral", "non-photosynthetic", "sand")])
    for before, after, words in (
        ("dark", "now", "gets no light today"),
        ("now", "dark", "after the change"),
        ("now", "bare", "there is no coral"),
        ("now", "sun", "no coral that light judges"),
    ):
        done = run("acclimate", before, after, "-o", "steps", "--figures", "figs")
        assert done.exit_code == 2, done.output
        assert words in done.stderr
        assert not (tanks / "steps").exists()
        assert not (tanks / "figs").exists()


@pytest.mark.identity
def test_inputs_are_never_overwritten(tanks: Path) -> None:
    """A folder that holds an input of that name is left as it is."""
    source = tanks / "then"
    (source / "day-1.csv").rename(source / "day-000-lamp-1.csv")
    spoil(source / "setup.toml", "day-1.csv", "day-000-lamp-1.csv")
    before = (source / "day-000-lamp-1.csv").read_bytes()
    done = run("acclimate", "now", "then", "-o", str(source))
    assert done.exit_code == 2
    assert "is an input of this run" in done.stderr
    assert (source / "day-000-lamp-1.csv").read_bytes() == before
