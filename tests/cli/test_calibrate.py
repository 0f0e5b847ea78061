"""`lightdose calibrate` from files to files."""

from __future__ import annotations

import hashlib
import json
import math
import re
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from files.conftest import FIXTURE, SCHEDULE, SETUP

import lightdose
from lightdose.cli import cli
from lightdose.files.setup_file import read_setup

MORE = """
[[site]]
name = "ridge"
at = { x = "30 cm", y = "20 cm", depth = "10 cm" }
[[site]]
name = "slope"
at = { x = "45 cm", y = "25 cm", depth = "20 cm" }
[[site]]
name = "sand"
at = { x = "15 cm", y = "30 cm", height = "1 cm" }
[meter.handheld]
reads = "umol"
response = { shape = "ideal" }
immersion = "built in"
"""
SITES = ("ridge", "slope", "sand")
GAIN = {"blue": 0.86, "white": 0.92}


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    """A setup, and readings of an ideal meter over a fixture that gives 86 and 92 % of its file."""
    (tmp_path / "setup.toml").write_text(SETUP + MORE, encoding="utf-8")
    (tmp_path / "panel.toml").write_text(FIXTURE, encoding="utf-8")
    (tmp_path / "daily.csv").write_text(SCHEDULE, encoding="utf-8")
    setup = read_setup(tmp_path / "setup.toml")
    points = [(s.x_m, s.y_m, s.depth_m) for s in setup.sites]
    ppfd = lightdose.light_field(setup, points)[:, :, 0]
    rows = ["site,reading,unit,blue,white,meter,date"]
    for site, (blue, white) in zip(SITES, ppfd.tolist(), strict=True):
        rows += [
            f"{site},{GAIN['blue'] * blue!r},umol_m2_s,100,0,handheld,2026-03-14",
            f"{site},{GAIN['white'] * white!r},umol_m2_s,0,100,handheld,2026-03-14",
        ]
    (tmp_path / "readings.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    return tmp_path


def run(tank: Path, *words: str, readings: str = "readings.csv") -> Result:
    return CliRunner().invoke(cli, ["calibrate", str(tank), str(tank / readings), *words])


def answer(tank: Path, *words: str) -> dict[str, Any]:
    result = run(tank, *words, "--json")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


def use_calibration(tank: Path) -> None:
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    text = text.replace("[tank]", 'calibration = "calibration.toml"\n[tank]', 1)
    (tank / "setup.toml").write_text(text, encoding="utf-8")


@pytest.mark.identity
def test_json_holds_what_the_contract_names(tank: Path) -> None:
    """Gains, beams, open sky, yellowing and residuals, with their keys; numbers are finite."""
    found = answer(tank)
    assert found["format"] == "lightdose-calibrate/1"
    for gain in found["gains"]:
        assert gain["fixture"] == "left"
        assert gain["gain"] == pytest.approx(GAIN[gain["channel"]], rel=0.02)
        low, high = gain["interval_95"]
        assert low < GAIN[gain["channel"]] < high
        assert gain["tied_to"] is None
    assert {"fixture", "fwhm_deg", "interval_95"} <= set(found["beams"][0])
    assert found["open_sky"] == []
    assert found["yellowing_440_per_m"] is None
    assert [caution["code"] for caution in found["cautions"]] == ["meter_scale"]
    assert (found["basis"], found["counts"]) == ("measured", None)
    made = found["provenance"]
    assert "setup.toml" in made["setups"][0]["inputs_sha256"]
    readings = (tank / "readings.csv").read_bytes()
    assert made["inputs_sha256"]["readings.csv"] == hashlib.sha256(readings).hexdigest()
    assert [r["line"] for r in found["residuals"]] == [2, 3, 4, 5, 6, 7]
    for residual in found["residuals"]:
        assert residual["outlier"] is False
        assert residual["model_umol_m2_s"] == pytest.approx(residual["reading_umol_m2_s"], rel=0.03)


@pytest.mark.identity
def test_calibration_carries_into_dose(tank: Path) -> None:
    """`dose` with the written file stands on readings and gives the measured doses."""
    before = lightdose.analyse(read_setup(tank)).dose.dli
    result = run(tank, "-o", str(tank / "calibration.toml"))
    assert result.exit_code == 0
    assert 'next: calibration = "calibration.toml"' in result.stderr
    use_calibration(tank)
    dose = CliRunner().invoke(cli, ["dose", str(tank), "--json"])
    found = json.loads(dose.stdout)
    assert found["basis"] == "measured"
    ratios = [site["dli_mol_m2_d"] / old for site, old in zip(found["sites"], before, strict=True)]
    assert all(0.85 < ratio < 0.93 for ratio in ratios)
    assert "calibration.toml" in found["provenance"]["setups"][0]["inputs_sha256"]


@pytest.mark.identity
def test_second_run_gives_the_same_file_and_a_later_one_keeps_the_first(tank: Path) -> None:
    """The same readings twice: byte for byte the same; readings of a year later: history and trend."""
    target = tank / "calibration.toml"
    run(tank, "-o", str(target))
    first = target.read_bytes()
    run(tank, "-o", str(target))
    assert target.read_bytes() == first
    use_calibration(tank)
    text = (tank / "readings.csv").read_text(encoding="utf-8").replace("2026-03-14", "2027-03-20")
    rows = [row.split(",") for row in text.splitlines()]
    weaker = [",".join([r[0], repr(float(r[1]) * 0.88), *r[2:]]) for r in rows[1:]]
    (tank / "later.csv").write_text("\n".join([",".join(rows[0]), *weaker]), encoding="utf-8")
    later = run(tank, "-o", str(target), readings="later.csv")
    assert "1 earlier calibration kept in it" in later.stderr
    assert "Since 2026-03-14: left " in later.stdout
    assert " % lower" in later.stdout
    setup = read_setup(tank)
    assert setup.calibration is not None
    assert setup.calibration.date == "2027-03-20"
    assert [e.date for e in setup.calibration.earlier] == ["2026-03-14"]


@pytest.mark.identity
def test_unscaled_fixture_becomes_usable(tank: Path) -> None:
    """Without any flux in its file `dose` refuses; one reading a channel makes it answer."""
    bare = FIXTURE.replace("photon_flux_umol_s = 62\n", "").replace("ppf_umol_s = 20\n", "")
    (tank / "panel.toml").write_text(bare, encoding="utf-8")
    refused = CliRunner().invoke(cli, ["dose", str(tank)])
    assert refused.exit_code == 2
    lines = (tank / "readings.csv").read_text(encoding="utf-8").splitlines()
    (tank / "two.csv").write_text("\n".join(lines[:3]), encoding="utf-8")
    done = run(tank, "-o", str(tank / "calibration.toml"), readings="two.csv")
    assert done.exit_code == 0, done.output
    assert "file says nothing" in done.stdout
    use_calibration(tank)
    assert CliRunner().invoke(cli, ["dose", str(tank)]).exit_code == 0


@pytest.mark.pinned
def test_answer_in_words(tank: Path) -> None:
    """Basis first, a row a channel, each reading where all is asked for, the verdict last."""
    lines = run(tank, "--quiet").stdout.splitlines()
    assert lines[0] == "Measured: 6 readings of 2026-03-14 with handheld."
    assert any(
        re.fullmatch(r"left +blue +5[34]\.\d +[\d.]+-[\d.]+ +8[67] % of its file", line) for line in lines
    )
    assert lines[-1].startswith("6 readings used; half of them lie within ")
    readings = [line.split() for line in run(tank, "--quiet", "--all").stdout.splitlines()]
    assert len([r for r in readings if r[:2] in (["2", "ridge"], ["7", "sand"]) and r[-1] in GAIN]) == 2
    assert not any(line.split()[:2] == ["2", "ridge"] for line in lines)


@pytest.mark.identity
def test_date_option_dates_readings_without_one(tank: Path) -> None:
    """Their own dates lead; without any the option, which must be a date."""
    assert answer(tank, "--date", "2020-01-01")["date"] == "2026-03-14"
    text = (tank / "readings.csv").read_text(encoding="utf-8").replace("2026-03-14", "")
    (tank / "readings.csv").write_text(text, encoding="utf-8")
    assert answer(tank, "--date", "2020-01-01")["date"] == "2020-01-01"
    assert run(tank, "--date", "yesterday").exit_code == 2


@pytest.mark.identity
def test_figures_are_written(tank: Path) -> None:
    """Model against reading, residuals by site and by channel, as SVG and PNG."""
    result = run(tank, "--figures", str(tank / "figures"))
    assert result.exit_code == 0
    names = {p.name for p in (tank / "figures").iterdir()}
    stems = ("calibration", "residuals-by-channel", "residuals-by-site")
    assert names == {f"{stem}.{suffix}" for stem in stems for suffix in ("svg", "png")}


@pytest.mark.pinned
def test_cautions_are_objects(tank: Path) -> None:
    """Readings that contradict each other have code, text and source."""
    lines = (tank / "readings.csv").read_text(encoding="utf-8").splitlines()
    twice = lines[1].replace(lines[1].split(",")[1], repr(1.9 * float(lines[1].split(",")[1])))
    (tank / "readings.csv").write_text("\n".join([*lines[:2], twice]), encoding="utf-8")
    told = {caution["code"]: caution for caution in answer(tank)["cautions"]}
    assert all(set(caution) >= {"code", "text", "source"} for caution in told.values())
    caution = told["contradiction"]
    assert re.match(r"line \d \([\d.]+ umol\) contradicts line \d \(", caution["text"])


@pytest.mark.identity
def test_readings_are_never_overwritten(tank: Path) -> None:
    """-o that names the readings is refused, and they stay."""
    before = (tank / "readings.csv").read_bytes()
    assert run(tank, "-o", str(tank / "readings.csv")).exit_code == 2
    assert (tank / "readings.csv").read_bytes() == before


@pytest.mark.pinned
def test_rows_that_cannot_be_read_and_rows_that_cannot_be_used_are_told_together(tank: Path) -> None:
    """Form, darkness and a missing meter in one run, in the order of the file."""
    rows = ("ridge,100,umol_m2_s,03:00", "ridge,1e2x,umol_m2_s,12:00", "sand,900,lux,12:00")
    text = "\n".join(("site,reading,unit,time", *rows, "slope,100,umol_m2_s,12:00"))
    (tank / "mixed.csv").write_text(text, encoding="utf-8")
    done = run(tank, readings="mixed.csv")
    assert done.exit_code == 2
    told = [line.split("mixed.csv:")[1] for line in done.stderr.splitlines() if "mixed.csv:" in line]
    assert [line.split(":")[0] for line in told] == ["2", "3", "4"]
    assert "the lights are off at 03:00" in told[0]
    assert "not a number" in told[1]
    assert "says nothing about immersion" in told[2]
    assert "3 problems" in done.stderr


@pytest.mark.pinned
def test_unknown_site_of_open_sky_is_refused(tank: Path) -> None:
    """With the close name."""
    result = run(tank, "--open-sky", "rigde")
    assert result.exit_code == 2
    assert "did you mean ridge?" in result.output


@pytest.mark.identity
def test_open_sky_yellowing_and_height_are_reported_when_asked(tank: Path) -> None:
    """Each has its entry, with an interval around it."""
    found = answer(tank, "--open-sky", "sand", "--yellowing", "--height")
    (sky,) = found["open_sky"]
    assert sky["site"] == "sand"
    assert sky["value"] == pytest.approx(1, abs=0.1)
    tint = found["yellowing_440_per_m"]
    assert tint["interval_95"][0] <= tint["value"] <= tint["interval_95"][1]
    assert found["heights"][0]["height_m"] == pytest.approx(0.20, abs=0.03)
    assert all(math.isfinite(g["gain"]) for g in found["gains"])


@pytest.mark.identity
def test_calibrated_dose_loads_no_scipy(tank: Path) -> None:
    """Reading a calibration costs no heavy library."""
    run(tank, "-o", str(tank / "calibration.toml"))
    use_calibration(tank)
    probe = (
        "import sys; from lightdose.cli import cli\n"
        f"try: cli.main(['dose', {str(tank)!r}])\n"
        "except SystemExit as stop: assert stop.code == 0\n"
        "assert not {'scipy', 'pandas', 'matplotlib', 'colour'} & set(sys.modules)"
    )
    done = subprocess.run([sys.executable, "-c", probe], capture_output=True, text=True, check=False)
    assert done.returncode == 0, done.stderr
    assert done.stdout.startswith("Measured: 6 readings")


@pytest.mark.identity
@pytest.mark.parametrize("output", ["calibration.toml", "tank/calibration.toml", "tank/found/today.toml"])
def test_line_that_is_proposed_works_as_it_is_typed(
    tank: Path, output: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Run from above the tank's folder, the line names the file as the setup finds it, wherever it went."""
    files = list(tank.iterdir())
    (tank / "tank" / "found").mkdir(parents=True)
    for file in files:
        file.rename(tank / "tank" / file.name)
    monkeypatch.chdir(tank)
    setup = Path("tank/setup.toml")
    result = CliRunner().invoke(cli, ["calibrate", str(setup), "tank/readings.csv", "-o", output])
    assert result.exit_code == 0, result.output
    found = re.search(r"next: (calibration = .*) above the first table of tank/setup\.toml", result.stderr)
    assert found is not None
    text = setup.read_text(encoding="utf-8")
    setup.write_text(text.replace("[tank]", f"{found[1]}\n[tank]", 1), encoding="utf-8")
    assert read_setup(setup).calibration is not None


@pytest.mark.identity
def test_way_back_that_a_calibration_names_works(tank: Path) -> None:
    """The head of the file says what leads back: the line out of the setup, with or without the file."""
    run(tank, "-o", str(tank / "calibration.toml"))
    head = (tank / "calibration.toml").read_text(encoding="utf-8").split("format =")[0]
    assert "take that line out of setup.toml" in head
    assert "Delete" not in head
    before = (tank / "setup.toml").read_text(encoding="utf-8")
    use_calibration(tank)
    (tank / "setup.toml").write_text(before, encoding="utf-8")
    assert read_setup(tank).calibration is None


@pytest.mark.identity
def test_place_whose_sky_was_asked_for_and_came_out_low_is_said_to_be_shaded(tank: Path) -> None:
    """Three places, one of them read at a third: the sky that fits it, and the same word on it everywhere."""
    text = (tank / "readings.csv").read_text(encoding="utf-8")
    rows = [row.split(",") for row in text.splitlines()]
    dim = [[r[0], repr(float(r[1]) / 3), *r[2:]] if r[0] == "slope" else r for r in rows[1:]]
    (tank / "readings.csv").write_text("\n".join(",".join(r) for r in [rows[0], *dim]), encoding="utf-8")
    for asked in ((), ("--open-sky", "slope")):
        found = answer(tank, *asked)
        (sky,) = (s for s in found["open_sky"] if s["site"] == "slope")
        assert sky["value"] == pytest.approx(1 / 3, rel=0.05)
        assert found["shaded_places"] == ["slope"]
        assert [c["code"] for c in found["cautions"]].count("shaded_place") == 1
        assert "- Shade: slope looks shaded." in run(tank, *asked).stdout
    assert answer(tank, "--open-sky", "ridge")["shaded_places"] == ["slope"]
