"""`lightdose check`: what was understood, every problem, and the exit code."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest
from cli.small_tanks import CHANNELS, write_tank
from click.testing import CliRunner

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"


@pytest.fixture
def tank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the example, with its parent as the working folder."""
    folder = tmp_path / "tank"
    shutil.copytree(EXAMPLE, folder)
    monkeypatch.chdir(tmp_path)
    return folder


def spoil(path: Path, old: str, new: str) -> None:
    text = path.read_text(encoding="utf-8")
    assert old in text
    path.write_text(text.replace(old, new, 1), encoding="utf-8")


@pytest.mark.identity
def test_aperture_of_too_many_cells_is_named_with_its_line(tank: Path) -> None:
    """check refuses what dose would: the aperture's line, the cells, the cap and the cure, once a fixture."""
    spoil(
        tank / "fixtures" / "demo-panel.toml",
        'length = "40 cm", width = "6 cm"',
        'length = "9 m", width = "9 m"',
    )
    done = CliRunner().invoke(cli, ["check", "tank/setup.toml"])
    assert done.exit_code == 2
    first = "tank/fixtures/demo-panel.toml:8:12: the aperture of fixture 'left', 9 x 9 m, needs 22500 cells"
    assert done.stderr.startswith(first)
    assert "allowed: at most 4096 cells" in done.stderr
    assert done.stderr.endswith("2 problems\n")
    dose = CliRunner().invoke(cli, ["dose", "tank/setup.toml"])
    assert (dose.exit_code, dose.stdout) == (2, "")
    assert dose.stderr.startswith(first)


@pytest.mark.pinned
def test_sound_setup_echoes_what_was_understood_and_says_no_problems(tank: Path) -> None:
    """Units, dialects and programmes are echoed; the last line of stdout is the verdict; exit 0."""
    done = CliRunner().invoke(cli, ["check", "tank/setup.toml"])
    assert done.exit_code == 0
    lines = done.stdout.splitlines()
    assert lines[0] == "tank 75 cm x 45 cm x 40 cm"
    assert "demo panel (invented): library spectra" in done.stdout
    assert "tank/schedules/left.csv: 5 rows" in done.stdout
    assert lines[-1] == "no problems"
    assert done.stderr == "next: lightdose dose tank/setup.toml\n"
    assert tank.is_dir()


@pytest.mark.pinned
def test_every_problem_of_every_file_is_printed_sorted_and_counted(tank: Path) -> None:
    """Place, caret, cause and cure on stderr, in file order, with the count at the end; exit 2."""
    spoil(tank / "setup.toml", 'depth = "9 cm"', 'depth = "90 cm"')
    spoil(tank / "setup.toml", 'genus = "Montipora"', 'genus = "Montpora"')
    spoil(tank / "fixtures" / "demo-panel.toml", "electrical_w = 26", 'electrical_w = "26"')
    spoil(tank / "schedules" / "left.csv", "21:00", "2100")
    done = CliRunner().invoke(cli, ["check", "tank/setup.toml"])
    assert done.exit_code == 2
    heads = [line for line in done.stderr.splitlines() if line.startswith("tank/")]
    assert [head.split(": ")[0] for head in heads] == [
        "tank/fixtures/demo-panel.toml:30:16",
        "tank/schedules/left.csv:8:1",
        "tank/setup.toml:81:42",
        "tank/setup.toml:126:9",
    ]
    assert 'at = { x = "22 cm", y = "24 cm", depth = "90 cm" }\n' in done.stderr
    assert "    mend it: write 26, without quotation marks\n" in done.stderr
    assert done.stderr.endswith("\n4 problems\n")
    assert "tank 75 cm x 45 cm x 40 cm" in done.stdout
    assert "no problems" not in done.stdout


@pytest.mark.identity
def test_json_lists_problems_with_absolute_files(tank: Path) -> None:
    """One versioned object on stdout, whatever was found; nothing on stderr."""
    done = CliRunner().invoke(cli, ["check", "tank/setup.toml", "--json"])
    report = json.loads(done.stdout)
    assert (report["format"], report["problems"], done.exit_code) == ("lightdose-check/1", [], 0)
    assert report["understood"][0] == "tank 75 cm x 45 cm x 40 cm"
    spoil(tank / "setup.toml", "columns = 3", "colums = 3")
    done = CliRunner().invoke(cli, ["check", "tank/setup.toml", "--json"])
    assert done.exit_code == 2
    assert done.stderr == ""
    (problem,) = [p for p in json.loads(done.stdout)["problems"] if "colums" in p["found"]]
    assert problem["file"] == str(tank / "setup.toml")
    assert problem["line"] > 80
    assert problem["column"] == 1
    assert problem["cure"] == "did you mean columns?"


@pytest.mark.identity
def test_missing_setup_is_one_problem_without_place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A name that leads nowhere ends with exit 2 in both forms."""
    monkeypatch.chdir(tmp_path)
    done = CliRunner().invoke(cli, ["check", "nothing.toml"])
    assert done.exit_code == 2
    assert done.stderr.startswith('no file "nothing.toml"')
    report = json.loads(CliRunner().invoke(cli, ["check", "nothing.toml", "--json"]).stdout)
    assert [(p["file"], p["line"]) for p in report["problems"]] == [(None, None)]


@pytest.mark.identity
def test_suggested_command_can_be_typed_as_it_stands(tank: Path) -> None:
    """A path with blanks is put in quotation marks."""
    tank.rename(tank.parent / "my tank")
    done = CliRunner().invoke(cli, ["check", "my tank/setup.toml"])
    assert done.stderr == 'next: lightdose dose "my tank/setup.toml"\n'


@pytest.mark.identity
def test_levels_are_told_as_they_are_set_and_as_they_run(tank: Path) -> None:
    """The product of level and overall setting is what the schedule comes to; blank where there is none."""
    found = json.loads(CliRunner().invoke(cli, ["check", "tank/setup.toml", "--json"]).stdout)
    rows = {(r["fixture"], r["channel"]): r for r in found["levels"]}
    blue = rows["left", "royal blue"]
    assert (blue["set_percent"], blue["all_channels_percent"], blue["runs_at_percent"]) == (55, 80, 44)
    assert rows["right", "violet"]["all_channels_percent"] is None
    for row in rows.values():
        product = row["set_percent"] * (row["all_channels_percent"] or 100) / 100
        assert row["runs_at_percent"] == pytest.approx(product)
    lines = CliRunner().invoke(cli, ["check", "tank/setup.toml"]).stdout.splitlines()
    assert any(line.split() == ["left", "royal", "blue", "55", "80", "44"] for line in lines)
    assert found["question"] is None


@pytest.mark.identity
def test_very_much_light_without_an_overall_setting_is_asked_about(tmp_path: Path) -> None:
    """Above 25 mol the question names site, dose and cure; with an overall setting it is not asked."""
    folder = write_tank(tmp_path / "tank", levels=dict.fromkeys(CHANNELS, 100.0), lamps=2, height_cm=5)

    def question(*words: str) -> str | None:
        return json.loads(CliRunner().invoke(cli, ["check", str(folder), "--json", *words]).stdout)[
            "question"
        ]

    dosed = json.loads(CliRunner().invoke(cli, ["dose", str(folder), "--json"]).stdout)
    dose = max(site["dli_mol_m2_d"] for site in dosed["sites"])
    assert dose > 25
    asked = question()
    assert asked is not None
    assert f"ridge would get {dose:.1f} mol/m2/day" in asked
    assert question("--all-channels", "46") is None
    assert question("--fixture-height", "60 cm") is None


@pytest.mark.identity
def test_variations_are_checked_too(tank: Path) -> None:
    """A fixture that does not fit the programme is found before any dose is computed."""
    other = tank / "fixtures" / "other.toml"
    shutil.copy(tank / "fixtures" / "demo-panel.toml", other)
    assert CliRunner().invoke(cli, ["check", "tank/setup.toml", "--swap-fixture", str(other)]).exit_code == 0
    spoil(other, 'name = "violet"', 'name = "purple"')
    done = CliRunner().invoke(cli, ["check", "tank/setup.toml", "--swap-fixture", str(other)])
    assert done.exit_code == 2
    assert "purple" in done.stderr
    higher = CliRunner().invoke(cli, ["check", "tank/setup.toml", "--fixture-height", "10 in"])
    assert "25.4 cm above the water" in higher.stdout


@pytest.mark.pinned
def test_spectrum_too_coarse_for_dose_is_a_problem_of_check_too(tank: Path) -> None:
    """Check refuses what dose refuses, in the same words: 10 nm steps under a narrow LED peak."""
    steps = [f"{nm},{2.0 ** -(((nm - 450) / 8) ** 2):.5f}" for nm in range(380, 781, 10)]
    (tank / "fixtures" / "coarse.csv").write_text("wavelength_nm,relative_power\n" + "\n".join(steps))
    spoil(tank / "fixtures" / "demo-panel.toml", '{ library = "blue-470" }', '{ file = "coarse.csv" }')
    checked = CliRunner().invoke(cli, ["check", "tank/setup.toml"])
    dosed = CliRunner().invoke(cli, ["dose", "tank/setup.toml"])
    assert checked.exit_code == dosed.exit_code == 2
    assert "steps of 10 nm are too coarse" in dosed.stderr
    assert dosed.stderr.strip() in checked.stderr
    assert checked.stderr.splitlines()[-1] == "1 problem"


@pytest.mark.pinned
def test_channel_without_flux_is_told_and_sent_to_the_survey(tank: Path) -> None:
    """Without a flux the files are sound, since a calibration can find it; what dose waits for is said."""
    spoil(tank / "fixtures" / "demo-panel.toml", "photon_flux_umol_s = 9\n", "")
    done = CliRunner().invoke(cli, ["check", "tank/setup.toml"])
    assert done.exit_code == 0
    assert "no flux stated: left, violet; right, violet (dose waits for it" in done.stdout
    assert done.stderr == "next: lightdose survey tank/setup.toml\n"
