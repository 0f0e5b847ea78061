"""`lightdose tune`: what is written keeps its promise, and how it ends."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"


@pytest.fixture(autouse=True)
def tank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the example that a test may change."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "tank"


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, list(words))


@pytest.mark.identity
def test_dose_on_what_was_written_gives_the_promised_numbers(tank: Path) -> None:
    """The setup with the written schedules in place gets every dose and interval that was promised."""
    done = run("tune", "tank/setup.toml", "-o", "tuned", "--whole-percents", "--json", "--quiet")
    assert done.exit_code == 0, done.stderr
    assert done.stderr == ""
    promised = json.loads(done.stdout)
    assert promised["format"] == "lightdose-tune/1"
    assert promised["out_of_band"] == 0
    assert promised["conflict"] is None
    setup = (tank / "setup.toml").read_text(encoding="utf-8")
    for entry in promised["schedules"]:
        assert Path(entry["file"]).is_absolute()
        setup = setup.replace(f"schedules/{entry['fixture']}.csv", f"../tuned/{entry['fixture']}.csv")
    (tank / "setup.toml").write_text(setup, encoding="utf-8")
    got = json.loads(run("dose", "tank/setup.toml", "--json").stdout)
    corals = {c["coral"]: c for s in got["sites"] for c in s["corals"]}
    for entry in promised["corals"]:
        now, after = corals[entry["coral"]], entry["after"]
        assert now["dli_mol_m2_d"] == pytest.approx(after["dli_mol_m2_d"], rel=1e-12)
        assert now["dli_state"] == after["dli_state"] == "within"
        assert now["interval_95"]["dli_mol_m2_d"] == pytest.approx(after["interval_95"]["dli_mol_m2_d"])
    energy = sum(f["energy_kwh_d"] for f in got["fixtures"])
    assert energy == pytest.approx(promised["energy_kwh_d"]["after"])


@pytest.mark.identity
def test_first_line_of_an_unmeasured_fixture_says_to_measure_first() -> None:
    """Before any level stands what it stands on; the last line has the next command."""
    done = run("tune", "tank/setup.toml")
    lines = done.stdout.splitlines()
    assert done.exit_code == 0, done.stderr
    assert lines[0].startswith("Measure first.")
    assert lines[-1].endswith("Next: lightdose tune tank/setup.toml -o tuned")
    rows = {title: lines[lines.index(title) + 4 :] for title in ("Levels at the plateau", "The corals")}
    assert [rows[title].index("") for title in rows] == [12, 9]
    assert "\x1b" not in done.stdout


@pytest.mark.identity
def test_strict_ends_in_3_and_names_the_pair() -> None:
    """With the mix kept two corals cannot both be served; JSON names them and what would help."""
    done = run("tune", "tank/setup.toml", "--keep-mix", "--strict", "--json")
    found = json.loads(done.stdout)
    assert done.exit_code == 3
    assert found["out_of_band"] == 1
    assert (found["conflict"]["low"], found["conflict"]["high"]) == ("staghorn frag", "meat coral")
    assert found["conflict"]["factor"] > 1.2
    assert {r["kind"] for r in found["conflict"]["remedies"]} >= {"shade"}
    words = run("tune", "tank/setup.toml", "--keep-mix").stdout
    assert "cannot both be served" in words
    assert "Shade 'meat coral'" in words


@pytest.mark.identity
def test_change_too_big_for_a_day_names_acclimate(tank: Path) -> None:
    """Below a fixture at a tenth of its output nearly all corals would rise at once; steps are advised."""
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    (tank / "setup.toml").write_text(
        text.replace("output_scale = 1.0", "output_scale = 0.5"), encoding="utf-8"
    )
    done = run("tune", "tank/setup.toml", "-o", "tuned")
    assert "Too big a change for one day" in done.stdout
    assert "then lightdose acclimate tank/setup.toml COPY -o steps" in done.stdout
    assert 'schedule = "../tuned/left.csv" under fixture "left"' in done.stdout


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--keep-mix", "--cap", "left/blue=20"], "the mix cannot be kept"),
        (["--plateau", "9-5"], "leaves no length"),
        (["--off", "blau"], 'there is no channel "blau"'),
        (["--cap", "blue"], "is not CHANNEL=PERCENT"),
        (["--cap", "blue=120"], "outside 0 to 100 percent"),
        (["--plateau", "x"], '"x"'),
        (["--keep-mix", "--keep-each-mix"], "choose one"),
        (["--most-points", "3"], "3 points a channel"),
    ],
)
def test_bounds_that_cannot_be_kept_end_in_2_and_write_nothing(words: list[str], sentence: str) -> None:
    """A sentence, exit 2, no file."""
    done = run("tune", "tank/setup.toml", "-o", "tuned", "--figures", "figures", *words)
    assert done.exit_code == 2
    assert sentence in done.output
    assert not Path("tuned").exists()
    assert not Path("figures").exists()


@pytest.mark.identity
def test_tank_without_corals_or_with_a_dark_site_ends_in_2(tank: Path) -> None:
    """No band to aim at, or a coral that no channel reaches."""
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    bare = re.sub(r"\[\[coral\]\].*?(?=# ---- The rest)", "", text, flags=re.DOTALL)
    (tank / "bare.toml").write_text(bare, encoding="utf-8")
    done = run("tune", "tank/bare.toml", "-o", "tuned")
    assert done.exit_code == 2
    assert "no corals" in done.output
    (tank / "dark.toml").write_text(text.replace('open_sky = "half under"', "open_sky = 0"), encoding="utf-8")
    done = run("tune", "tank/dark.toml", "-o", "tuned")
    assert done.exit_code == 2
    assert '"mushroom rock" at "ledge" gets no light' in done.output
    assert not Path("tuned").exists()


@pytest.mark.identity
def test_one_file_cannot_hold_two_fixtures_and_no_input_is_overwritten() -> None:
    """A file name is refused for two fixtures; the schedules that are read stay as they are."""
    done = run("tune", "tank/setup.toml", "-o", "both.csv")
    assert done.exit_code == 2
    assert "name a folder" in done.output
    before = Path("tank/schedules/left.csv").read_bytes()
    done = run("tune", "tank/setup.toml", "-o", "tank/schedules")
    assert done.exit_code == 2
    assert "never overwritten" in done.output
    assert Path("tank/schedules/left.csv").read_bytes() == before


@pytest.mark.identity
def test_single_fixture_is_written_as_one_file_in_either_dialect(tank: Path) -> None:
    """With one fixture FILE is its schedule for the next command; decimal commas read back alike."""
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    start, end = text.index('[[fixture]]\nname = "right"'), text.index("# ---- Places")
    (tank / "one.toml").write_text(text[:start] + text[end:], encoding="utf-8")
    done = run("tune", "tank/one.toml", "-o", "one.csv", "--csv-dialect", "excel-eu", "--json")
    assert done.exit_code == 0, done.stderr
    assert Path("one.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    promised = {c["coral"]: c["after"]["dli_mol_m2_d"] for c in json.loads(done.stdout)["corals"]}
    got = json.loads(run("dose", "tank/one.toml", "--schedule", "one.csv", "--json").stdout)
    assert {c["coral"]: c["dli_mol_m2_d"] for s in got["sites"] for c in s["corals"]} == pytest.approx(
        promised
    )
    spoken = run("tune", "tank/one.toml", "-o", "two.csv").stdout
    assert "--schedule two.csv" in spoken.splitlines()[-1]


@pytest.mark.identity
def test_figures_are_written_twice_alike() -> None:
    """Both figures as SVG and PNG, the same bytes each time, with words that state the finding."""
    for folder in ("a", "b"):
        assert run("tune", "tank/setup.toml", "--figures", folder, "--quiet").exit_code == 0
    names = sorted(p.name for p in Path("a").iterdir())
    assert names == ["tuned-days.png", "tuned-days.svg", "tuned-doses.png", "tuned-doses.svg"]
    assert all(Path("a", n).read_bytes() == Path("b", n).read_bytes() for n in names)
    assert "<desc>Doses before and after: all 9 corals" in Path("a/tuned-doses.svg").read_text(
        encoding="utf-8"
    )
