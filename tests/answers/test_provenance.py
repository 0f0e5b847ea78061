"""Two runs have one provenance where they compute the same, and only there; no path tells of a computer."""

from __future__ import annotations

import json
import shutil
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

import lightdose
from lightdose.answers.provenance import named
from lightdose.cli import cli
from lightdose.files.setup_file import Variations
from lightdose.model.identity import digest_of

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


@pytest.fixture(scope="module")
def setup() -> lightdose.Setup:
    return lightdose.read_setup(EXAMPLES / "first-tank")


@pytest.mark.identity
def test_each_change_of_what_is_computed_changes_the_digest(setup: lightdose.Setup) -> None:
    """Edits of every kind, variations and a calibration differ from one another and from the files."""
    found = lightdose.calibrate(setup, EXAMPLES / "first-tank" / "readings.csv", date="2026-03-14")
    site, coral = setup.sites[0], setup.corals[0]
    others = [
        setup,
        setup.changed(height="16 cm"),
        setup.changed(beam_deg=61),
        setup.changed(all_channels=37),
        setup.changed(without=coral.name),
        setup.changed(calibration=found.calibration),
        setup.changed(calibration=found.calibration, height="16 cm"),
        setup.changed(uncertainty={"beam_fraction": 0.123}),
        replace(setup, sites=(replace(site, x_m=site.x_m + 1e-9), *setup.sites[1:])),
        replace(setup, tank=replace(setup.tank, floor_reflectance=0.31)),
        replace(setup, water=replace(setup.water, yellowing_440_per_m=0.111)),
    ]
    assert len({digest_of(one) for one in others}) == len(others)


@pytest.mark.identity
def test_the_same_tank_has_one_digest_wherever_it_lies(setup: lightdose.Setup, tmp_path: Path) -> None:
    """A copy, a saved setup, another title, and a variation by file or in code."""
    shutil.copytree(EXAMPLES / "first-tank", tmp_path / "copy")
    setup.save(tmp_path / "saved")
    own = digest_of(setup)
    assert digest_of(lightdose.read_setup(tmp_path / "copy")) == own
    assert digest_of(lightdose.read_setup(tmp_path / "saved")) == own
    assert digest_of(setup.changed(title="another")) == own
    varied = lightdose.read_setup(EXAMPLES / "first-tank", Variations(fixture_height_m=0.16))
    assert digest_of(varied) == digest_of(setup.changed(height="16 cm"))


@pytest.mark.identity
def test_json_schema_and_report_identify_the_run(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Version, libraries, data, setups, seed and draws, the same everywhere, and no absolute path."""
    folder = tmp_path / "account-name"
    for name in ("two-lights", "mixed-blue"):
        shutil.copytree(EXAMPLES / name, folder / name)
    monkeypatch.chdir(folder / "two-lights")
    words = ["dose", "bar.toml", "--json", "--csv", str(tmp_path / "doses.csv")]
    done = CliRunner().invoke(cli, words)
    assert done.exit_code == 0, done.stderr
    made: dict[str, Any] = json.loads(done.stdout)["provenance"]
    assert set(made) == {"version", "libraries", "data_sha256", "seed", "draws", "setups", "inputs_sha256"}
    assert (made["seed"], made["draws"]) == (1, 4000)
    assert set(made["libraries"]) == {"python", "numpy", "scipy", "colour-science"}
    assert made["setups"][0]["file"] == "bar.toml"
    assert {"bar.toml", "bar.csv", "sites.csv"} <= set(made["setups"][0]["inputs_sha256"])
    assert json.loads((tmp_path / "doses.schema.json").read_text(encoding="utf-8"))["provenance"] == made
    assert "account-name" not in json.dumps(made)
    page = tmp_path / "page.html"
    done = CliRunner().invoke(cli, ["report", "bar.toml", "-o", str(page)])
    assert done.exit_code == 0, done.stderr
    text = page.read_text(encoding="utf-8")
    assert made["setups"][0]["sha256"] in text
    assert made["data_sha256"] in text
    assert "seed 1, 4000 draws" in text
    assert "account-name" not in text


@pytest.mark.identity
def test_files_are_named_as_the_setup_names_them() -> None:
    """Beside it, below it and just above it; from far away by their names alone."""
    assert named("/home/a/tank/setup.toml", "/home/a/tank") == "setup.toml"
    assert named("/home/a/tank/fixtures/x.toml", "/home/a/tank") == "fixtures/x.toml"
    assert named("/home/a/x.toml", "/home/a/tank") == "../x.toml"
    assert named("/srv/deep/x.toml", "/home/a/tank/more") == "x.toml"
    assert named("/srv/x.csv", "") == "x.csv"
