"""The readings that the guide shows, read and calibrated with the tank of its first steps."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from click.testing import CliRunner

from lightdose.cli import cli
from lightdose.cli.init import example_folder
from lightdose.files.readings_csv import COLUMNS, read_readings
from lightdose.files.setup_file import read_setup
from lightdose.guide.pages import page_text

PAGE = page_text("readings")


def block(kind: str) -> str:
    """The one block of a kind on the page."""
    (found,) = re.findall(rf"^```{kind}\n(.*?)^```", PAGE, flags=re.MULTILINE | re.DOTALL)
    return str(found)


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    """The tank of the first steps with the guide's second meter and its readings."""
    tank = tmp_path / "my-tank"
    shutil.copytree(example_folder(), tank)
    with (tank / "setup.toml").open("a", encoding="utf-8") as setup:
        setup.write("\n" + block("toml"))
    (tank / "readings.csv").write_text(block("csv"), encoding="utf-8")
    return tank


@pytest.mark.identity
def test_readings_of_the_guide_show_every_kind(tank: Path) -> None:
    """A time, levels, all channels, a pair of two meters, a ramp; nothing of them is refused."""
    setup = read_setup(tank / "setup.toml")
    readings, _ = read_readings(tank / "readings.csv", "readings.csv", setup)
    assert len(readings) == len(block("csv").splitlines()) - 1
    assert {r.meter for r in readings if r.pair} == set(setup.meters) == {"handheld", "phone"}
    assert len({r.time_h for r in readings if r.site == "shelf"}) == 3
    every = sum(len(fixture.type.channels) for fixture in setup.lit_fixtures)
    assert {len(r.levels) for r in readings if r.levels} == {2, every}
    assert set(block("csv").splitlines()[0].split(",")) - set(COLUMNS) == {"blue"}


@pytest.mark.identity
def test_readings_of_the_guide_calibrate(tank: Path) -> None:
    """`calibrate` takes every row and holds none of them for wild."""
    words = ["calibrate", str(tank / "setup.toml"), str(tank / "readings.csv"), "--json", "--quiet"]
    done = CliRunner().invoke(cli, words)
    assert done.exit_code == 0, done.output
    told = json.loads(done.stdout)
    assert [r["line"] for r in told["residuals"] if not r["outlier"]] == list(range(2, 10))
