"""The examples run as their README says, read without a problem, and say that they are invented."""

from __future__ import annotations

import re
import runpy
import sys
import tomllib
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from make_documents import EXAMPLES, refreshed

import lightdose
from lightdose.cli import cli
from lightdose.files.setup_file import read_setup

FOLDER = EXAMPLES.parent
TEXT = EXAMPLES.read_text(encoding="utf-8")
SETUPS = sorted(
    path.relative_to(FOLDER).as_posix()
    for path in FOLDER.rglob("*.toml")
    if "diary" not in path.relative_to(FOLDER).parts  # what was kept of days that are over
    and tomllib.loads(path.read_text(encoding="utf-8")).get("format") == "lightdose-setup/1"
)


@pytest.mark.pinned
@pytest.mark.skipif(sys.platform == "win32", reason="needs a pseudo-terminal")
def test_examples_readme_shows_what_the_program_prints(tmp_path: Path) -> None:
    """Every command of examples/README.md, run in order in a copy of the folder, prints what stands there."""
    assert TEXT.count("\n$ lightdose ") >= 5
    assert refreshed(EXAMPLES, tmp_path) == TEXT, "python tests/make_documents.py writes them anew"


@pytest.mark.identity
def test_blue_only_example_puts_every_coral_in_range(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The levels that tune writes give every coral its usual dose, without white."""
    monkeypatch.chdir(tmp_path)
    setup = FOLDER / "mixed-blue" / "setup.toml"
    assert CliRunner().invoke(cli, ["tune", str(setup), "--blue-only", "-o", "t", "--strict"]).exit_code == 0
    shown = CliRunner().invoke(cli, ["dose", str(setup), "--schedule", "t/bar.csv", "--json"]).stdout
    assert shown.count('"dli_state": "within"') == 5
    levels = (tmp_path / "t" / "bar.csv").read_text(encoding="utf-8").splitlines()
    white = next(line for line in levels if line.startswith("time")).split(",").index("warm white")
    assert {float(row.split(",")[white] or 0) for row in levels if re.match(r"\d\d:", row)} == {0.0}


@pytest.mark.identity
def test_readings_give_the_unlabelled_lamp_what_they_were_made_with(tmp_path: Path) -> None:
    """The readings were made with 44 and 37 umol/s under a beam of 78 deg and rounded by hand to 3 %."""
    import json

    from lightdose.files.setup_file import Variations

    setup = FOLDER / "unlabelled-lamp" / "setup.toml"
    assert [
        c.flux for f in read_setup(setup, Variations(uncalibrated=True)).fixtures for c in f.type.channels
    ] == [
        None,
        None,
    ]
    words = [
        "calibrate",
        str(setup),
        str(setup.with_name("readings.csv")),
        "-o",
        str(tmp_path / "c.toml"),
        "--json",
    ]
    found = json.loads(CliRunner().invoke(cli, words).stdout)
    made = {"blue": 44.0, "white": 37.0}
    for gain in found["gains"]:
        low, high = gain["interval_95"]
        nominal = tomllib.loads((tmp_path / "c.toml").read_text(encoding="utf-8"))["gain"][0][
            "nominal_umol_s"
        ]
        assert low * nominal < made[gain["channel"]] < high * nominal
    low, high = found["beams"][0]["interval_95"]
    assert low < 78 < high


@pytest.mark.identity
@pytest.mark.parametrize("name", [n for n in SETUPS if not n.startswith("unlabelled-lamp")])
def test_example_passes_check_and_is_named_in_the_readme(name: str) -> None:
    """No example has a problem; each is told of; unlabelled-lamp wants its calibration first."""
    done = CliRunner().invoke(cli, ["check", str(FOLDER / name)])
    assert done.exit_code == 0
    assert done.stdout.splitlines()[-1] == "no problems"
    assert name in TEXT or name.startswith("first-tank")


@pytest.mark.identity
def test_every_example_file_says_that_it_is_invented() -> None:
    """TOML, CSV and Python: the first lines say so."""
    files = [p for kind in ("toml", "csv", "py") for p in sorted(FOLDER.rglob(f"*.{kind}"))]
    assert len(files) >= 18
    for path in files:
        if path.name == "files.csv":  # sums of files that say it themselves
            continue
        assert "invented" in path.read_text(encoding="utf-8")[:400].lower(), path


@pytest.mark.identity
@pytest.mark.parametrize("name", ["height_and_beam", "doses_over_a_rack"])
def test_study_in_python_prints_its_table_and_draws(
    name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Both scripts run, on a tank built in code, and write a figure of some size."""
    monkeypatch.setattr(sys, "argv", [name, str(tmp_path / "figure.png")])
    runpy.run_path(str(FOLDER / f"{name}.py"), run_name="__main__")
    assert (tmp_path / "figure.png").stat().st_size > 20_000
    printed = capsys.readouterr().out
    if name == "height_and_beam":
        numbers = [[float(n) for n in row.split()[-3:]] for row in printed.splitlines()[2:23]]
        mean = np.array(numbers)[:, 0].reshape(3, 7)
        even = np.array(numbers)[:, 2].reshape(3, 7)
        assert np.all(np.diff(mean, axis=1) < 0)  # higher is dimmer
        assert np.all(np.diff(mean, axis=0) < 0)  # and so is wider
        assert np.all(np.diff(even, axis=1) >= 0)
        assert "most even: beam 120 deg, 40 cm" in printed
    else:
        assert len(re.findall(r"^[2-7]: places differ by [0-5]\.\d%$", printed, re.MULTILINE)) == 6


@pytest.mark.identity
def test_python_example_prints_what_the_api_gives(capsys: pytest.CaptureFixture[str]) -> None:
    """The script runs on the public names and prints every site's dose."""
    runpy.run_path(str(FOLDER / "light_on_a_rack.py"), run_name="__main__")
    printed = capsys.readouterr().out
    analysis = lightdose.analyse(read_setup(FOLDER / "brighter-season" / "today.toml"), certainty=False)
    for site, dose in zip(analysis.setup.sites, analysis.dose.dli, strict=True):
        assert re.search(rf"^{site.name}\s+{dose:.2f}$", printed, re.MULTILINE), site.name
    higher = [int(n) for n in re.findall(r"water: (\d+) umol", printed)]
    assert higher[0] > higher[1]
    evenness = [int(n) for n in re.findall(r"(\d+)% of the strongest", printed)]
    assert evenness[0] < evenness[1]
