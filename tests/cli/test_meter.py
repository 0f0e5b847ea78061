"""`lightdose meter`: one reading by the command line."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result
from files.conftest import FIXTURE, SETUP

from lightdose.cli import cli

MORE = """
[[site]]
name = "ridge"
at = { x = "40 cm", y = "20 cm", depth = "10 cm" }
[[site]]
name = "ledge"
at = { x = "40 cm", y = "20 cm", depth = "10 cm" }
open_sky = 0.5
[meter.handheld]
reads = "umol"
response = { shape = "tilted" }
calibrated_on = "A"
immersion = 1.25
[meter.borrowed]
reads = "umol"
response = { shape = "tilted" }
calibrated_on = "unknown"
"""
BLUE = "time,blue,white\n09:00,60,0\n17:00,60,0\n17:00,0,40\n18:00,0,40\n"


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    (tmp_path / "setup.toml").write_text(SETUP + MORE, encoding="utf-8")
    (tmp_path / "panel.toml").write_text(FIXTURE, encoding="utf-8")
    (tmp_path / "daily.csv").write_text(BLUE, encoding="utf-8")
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, ["meter", *words])


def answer(*words: str) -> dict[str, Any]:
    result = run(*words, "--json")
    assert result.exit_code == 0, result.output
    found: dict[str, Any] = json.loads(result.stdout)
    return found


@pytest.mark.published
def test_lux_without_a_meter_is_an_ideal_lux_meter(tank: Path) -> None:
    """Under a blue LED of 445 nm a lux is about 0.145 umol/m2/s, whatever the place."""
    # Source: V(lambda) of CIE 018:2019 and the exact photon energy, averaged over Ohno's LED shape here.
    import numpy as np

    from lightdose.files.library import reference_tables
    from lightdose.model.spectrum import GRID_NM, LedPeak
    from lightdose.physics.emission import photon_distribution

    light = photon_distribution(LedPeak(445, 20))
    per_photon = 683.002 * reference_tables().photopic / (0.00835934722911 * GRID_NM)
    band = (GRID_NM > 400) & (GRID_NM < 700)
    found = answer(str(tank), "1000", "--unit", "lux", "--air", "40,20,5", "--time", "12:00")
    assert found["format"] == "lightdose-meter/1"
    assert found["spectral_factor"] == pytest.approx(light[band].sum() / (light @ per_photon), rel=1e-6)
    assert found["ppfd_umol_m2_s"] == pytest.approx(1000 * found["spectral_factor"])
    assert found["immersion_factor"] is None
    assert found["meter"] is None
    low, high = found["interval_95"]
    assert low < found["ppfd_umol_m2_s"] < high
    assert math.isclose(math.sqrt(low * high), found["ppfd_umol_m2_s"])
    assert np.isclose(found["mix"][0]["share"], 1)


@pytest.mark.identity
def test_factors_multiply_the_reading(tank: Path) -> None:
    """Spectral factor under the mix of that time, times the meter's immersion."""
    blue = answer(str(tank), "200", "--site", "ridge", "--time", "12:00", "--meter", "handheld")
    white = answer(str(tank), "200", "--site", "ridge", "--time", "17:30", "--meter", "handheld")
    for found in (blue, white):
        assert found["immersion_factor"] == 1.25
        assert found["ppfd_umol_m2_s"] == pytest.approx(200 * found["spectral_factor"] * 1.25)
    assert blue["spectral_factor"] == pytest.approx(0.945, abs=0.005)
    assert white["spectral_factor"] > blue["spectral_factor"]


@pytest.mark.identity
def test_shade_changes_the_model_and_not_the_factors(tank: Path) -> None:
    """Open sky dims every colour alike."""
    clear, shaded = (
        answer(str(tank), "100", "--site", site, "--time", "12:00") for site in ("ridge", "ledge")
    )
    assert shaded["spectral_factor"] == pytest.approx(clear["spectral_factor"], rel=1e-12)
    assert shaded["model_ppfd_umol_m2_s"] == pytest.approx(clear["model_ppfd_umol_m2_s"] / 2)


@pytest.mark.identity
def test_meter_that_is_silent_about_immersion_is_refused_under_water(tank: Path) -> None:
    """Above the water it is fine; under water --immersion states it."""
    wet = run(str(tank), "100", "--site", "ridge", "--meter", "borrowed")
    assert wet.exit_code == 2
    assert "says nothing about immersion" in wet.output
    assert answer(str(tank), "100", "--air", "40,20,5", "--meter", "borrowed")["immersion_factor"] is None
    stated = answer(str(tank), "100", "--site", "ridge", "--meter", "borrowed", "--immersion", "1.3")
    assert stated["immersion_factor"] == 1.3
    unknown = answer(str(tank), "100", "--site", "ridge", "--meter", "borrowed", "--immersion", "unknown")
    width = [math.log(f["interval_95"][1] / f["interval_95"][0]) for f in (stated, unknown)]
    assert width[1] > 1.5 * width[0]


@pytest.mark.identity
def test_no_meter_under_water_widens_and_says_so(tank: Path) -> None:
    """Immersion is never silently 1."""
    result = run(str(tank), "100", "--site", "ridge", "--unit", "lux", "--time", "12:00")
    assert result.exit_code == 0
    assert "immersion unknown: taken as 1 to 1.4" in result.output
    assert "no meter named: taken as V(lambda)" in result.output


@pytest.mark.identity
def test_immersion_stated_twice_is_refused(tank: Path) -> None:
    """The meter states it already."""
    result = run(str(tank), "100", "--site", "ridge", "--meter", "handheld", "--immersion", "1.25")
    assert result.exit_code == 2
    assert "applied twice" in result.output


@pytest.mark.pinned
def test_answer_in_words(tank: Path) -> None:
    """The figure first, the factors, the mix, and how the setup's own model compares."""
    result = run(str(tank), "200", "--site", "ridge", "--time", "12:00", "--meter", "handheld")
    lines = result.output.splitlines()
    assert lines[0].startswith("200 umol/m2/s at ridge stands for 236 umol/m2/s PPFD (95 %: ")
    assert "times 1.250 immersion" in lines[1]
    assert lines[2] == "The mix: blue 100 %."
    assert lines[-1].startswith("The setup's own model says ")


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "found"),
    [
        (["100", "--site", "ridge", "--time", "22:00"], "the lights are off at 22:00"),
        (["20000", "--site", "ridge"], "this looks like lux: write --unit lux"),
        (["100"], "say where the sensor was"),
        (["100", "--site", "rigde"], "did you mean ridge?"),
        (["100", "--site", "ridge", "--time", "1200"], 'write "12:00"'),
    ],
)
def test_slip_is_met_with_a_sentence(tank: Path, words: list[str], found: str) -> None:
    """Exit code 2 and what to write instead."""
    result = run(str(tank), *words)
    assert result.exit_code == 2
    assert found in result.output
    assert not result.output.startswith(":")
