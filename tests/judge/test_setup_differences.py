"""What differs between two setups, and whether their light field is the same."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from judge.made_tank import made_channel, made_fixture, made_tank

import lightdose
from lightdose.judge.comparison import same_lamps, same_light_field, same_setup, setup_differences
from lightdose.model.calibration import Calibration
from lightdose.model.fixture import ChannelProgramme, Dial, Programme
from lightdose.model.setup import Cover, Setup, Wall, Water
from lightdose.model.spectrum import SpectralTable

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
TANK = made_tank()


def changed(**changes: object) -> Setup:
    """The tank with its first fixture changed."""
    return replace(TANK, fixtures=(replace(TANK.fixtures[0], **changes), TANK.fixtures[1]))


NIGHT = Programme({"blue": ChannelProgramme(np.array([0.0, 24.0]), np.array([0.1, 0.1]))})
TYPE = TANK.fixtures[0].type
REDDER = replace(TYPE, channels=(*TYPE.channels[:2], made_channel("red", 660, 7)))
CURVE = SpectralTable("screen", np.array([400.0, 700.0]), np.array([0.9, 0.8]))

FIELD_CHANGES = {
    "height": (changed(height_m=0.25), "left: 25 cm above the water instead of 18 cm"),
    "place": (changed(rotation_deg=90.0), "left: hung elsewhere"),
    "scale": (changed(output_scale=0.9), "left: output scale 0.9 instead of 1"),
    "file": (changed(type=REDDER), "left: altered file"),
    "type": (
        changed(type=replace(TYPE, name="bar (invented)")),
        "left: 'bar (invented)' instead of 'panel (invented)'",
    ),
    "off": (changed(enabled=False), "fixture in A only: left"),
    "wall": (
        replace(TANK, tank=replace(TANK.tank, walls={**TANK.tank.walls, "left": Wall("painted")})),
        "another tank",
    ),
    "water": (replace(TANK, water=Water(yellowing_440_per_m=0.3)), "another water"),
    "cover": (replace(TANK, cover=Cover(CURVE)), "another cover"),
    "site": (
        replace(TANK, sites=(replace(TANK.sites[0], depth_m=0.09), *TANK.sites[1:])),
        "site placed otherwise: ridge",
    ),
    "coral": (
        replace(TANK, corals=(replace(TANK.corals[0], height_m=0.05), *TANK.corals[1:])),
        "coral placed otherwise: staghorn",
    ),
}


@pytest.mark.identity
@pytest.mark.parametrize("case", FIELD_CHANGES)
def test_change_of_light_is_named_and_needs_its_own_field(case: str) -> None:
    """Each thing that changes light at full output is told in words, and the field is not shared."""
    other, words = FIELD_CHANGES[case]
    assert setup_differences(TANK, other) == (words,)
    assert not same_light_field(TANK, other)
    assert not same_light_field(other, TANK)


@pytest.mark.identity
def test_other_programme_shares_the_field() -> None:
    """A programme, a title or a group's name leaves the light at full output as it is."""
    assert setup_differences(TANK, changed(programme=NIGHT)) == ("left: another programme",)
    assert same_light_field(TANK, changed(programme=NIGHT))
    renamed = replace(TANK, title="Another (invented)", corals=(*TANK.corals[:1], *TANK.corals[2:]))
    assert setup_differences(TANK, renamed) == ()
    assert same_light_field(TANK, renamed)


@pytest.mark.identity
def test_setup_made_twice_is_the_same() -> None:
    """Records are compared by what they hold, arrays included, not by which object or file they are."""
    again = made_tank()
    assert again.fixtures[0] is not TANK.fixtures[0]
    assert same_light_field(TANK, again)
    assert setup_differences(TANK, again) == ()
    read = [Calibration("2026-03-14", (), 3, (), (), np.zeros((0, 0)), file=file) for file in ("a", "b")]
    copied = [replace(TANK, calibration=calibration) for calibration in read]
    assert setup_differences(*copied) == ()
    assert setup_differences(TANK, copied[0]) == ("calibrated in one only",)


@pytest.mark.identity
def test_how_well_things_are_known_counts() -> None:
    """Another uncertainty makes other draws: ratios of the two are not from one world."""
    assert not same_light_field(TANK, replace(TANK, uncertainty={"height_cm": 2.0}))


@pytest.mark.identity
def test_same_change_of_several_fixtures_is_said_once() -> None:
    """Two fixtures that hang higher stand in one phrase; lengths follow A's unit."""
    other = replace(TANK, fixtures=tuple(replace(f, height_m=0.254) for f in TANK.fixtures))
    assert setup_differences(TANK, other) == ("left, right: 25.4 cm above the water instead of 18 cm",)
    inches = replace(TANK, length_unit="in")
    assert "10 in above" in setup_differences(inches, other)[0]
    more = replace(TANK, fixtures=(*TANK.fixtures, made_fixture("third", 0.3)))
    assert setup_differences(TANK, more) == ("fixture in B only: third",)


@pytest.mark.identity
def test_overall_setting_alone_is_said_by_its_numbers() -> None:
    """Blanks of a dial make no difference; another level does, whatever the overall setting."""
    rows = {"blue": np.array([0.5, np.nan, 0.5])}
    dial = Dial(np.array([8.0, 12.0, 18.0]), np.array([0.46, 0.46, 0.23]), rows)
    a = changed(programme=dial.programme())
    assert setup_differences(a, changed(programme=dial.programme())) == ()
    dimmed = changed(programme=dial.at(0.38).programme())
    assert setup_differences(a, dimmed) == ("left: overall setting 38 % instead of 46 %",)
    other = replace(dial, levels={"blue": np.array([0.5, 0.6, 0.5])})
    assert setup_differences(a, changed(programme=other.programme())) == ("left: another programme",)


@pytest.mark.identity
def test_folder_and_its_copy_are_the_same(tmp_path: Path) -> None:
    """Every example reads alike wherever it lies, with blank cells beside an overall setting too."""
    shutil.copytree(EXAMPLES / "first-tank", tmp_path / "copy")
    one, other = (lightdose.read_setup(folder) for folder in (EXAMPLES / "first-tank", tmp_path / "copy"))
    assert any(f.programme.dial is not None for f in one.lit_fixtures)
    assert same_setup(one, other)
    assert same_lamps(one, other)
