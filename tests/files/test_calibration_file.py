"""calibration.toml: what is written is read back to the last bit; what does not fit the setup is refused."""

from __future__ import annotations

import dataclasses
from pathlib import Path

import numpy as np
import pytest
from files.conftest import SETUP, WriteSetup
from hypothesis import given
from hypothesis import strategies as st

from lightdose.analysis import analyse, fixture_emission
from lightdose.errors import SetupError
from lightdose.files.calibration_file import calibration_toml, earlier_calibrations, read_calibration
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_file import Variations, read_setup
from lightdose.model.calibration import (
    BeamWidth,
    Calibration,
    ChannelGain,
    EarlierCalibration,
    HeightFit,
    Parameter,
    SkyShare,
    TogetherFactor,
    YellowingFit,
)
from lightdose.model.fixture import CosineLobe

CALIBRATED = SETUP.replace("[tank]", 'calibration = "calibration.toml"\n[tank]')
RIDGE = '[[site]]\nname = "ridge"\nat = { x = "40 cm", y = "20 cm", depth = "10 cm" }\n'
GAINS = (
    ChannelGain("left", "blue", 0.8, (0.75, 0.85), 62.0),
    ChannelGain("left", "white", 0.7, (0.6, 0.8), 25.0, tied_to="blue"),
)
FULL = Calibration(
    date="2026-03-14",
    meters=("handheld", 'a "second" one'),
    readings=24,
    gains=GAINS,
    parameters=(
        Parameter("gain", "left", "blue", estimate=-0.223),
        Parameter("gain", "left", "white", estimate=-0.357),
        Parameter("open_sky", site="ridge", estimate=-0.1),
    ),
    covariance=np.array([[1e-3, 1e-4, 0.0], [1e-4, 2e-3, 0.0], [0.0, 0.0, 1e-2]]),
    beams=(BeamWidth("left", 120.0, 95.0, (88.0, 101.0)),),
    open_sky=(SkyShare("ridge", 0.9, (0.8, 1.0)),),
    heights=(HeightFit("left", 0.21, (0.20, 0.22)),),
    together=(TogetherFactor("left", 0.93, (0.9, 0.96)),),
    yellowing=YellowingFit(0.2, (0.1, 0.3)),
    cautions=("left gives 7 % less\\with many channels on",),
    earlier=(EarlierCalibration("2025-03-14", ("borrowed",), 8, GAINS[:1]),),
)


def read_text(tmp_path: Path, text: str) -> Calibration | None:
    path = tmp_path / "calibration.toml"
    path.write_text(text, encoding="utf-8")
    files = InputFiles()
    found = read_calibration(path, files)
    files.finish()
    return found


def same(one: Calibration, other: Calibration) -> bool:
    names = [f.name for f in dataclasses.fields(Calibration) if f.name not in ("covariance", "file")]
    return np.array_equal(one.covariance, other.covariance) and all(
        getattr(one, n) == getattr(other, n) for n in names
    )


@pytest.mark.identity
def test_written_calibration_is_read_back(tmp_path: Path) -> None:
    """Every field, the joint covariance included."""
    found = read_text(tmp_path, calibration_toml(FULL))
    assert found is not None
    assert same(found, FULL)
    assert calibration_toml(found) == calibration_toml(FULL)


@pytest.mark.identity
@given(st.floats(1e-6, 1e6), st.text(st.characters(exclude_categories=["C", "Z"]), min_size=1, max_size=30))
def test_any_number_and_name_survive(
    tmp_path_factory: pytest.TempPathFactory, gain: float, name: str
) -> None:
    """Names with quotes, backslashes or any letter, and floats to the last bit."""
    odd = dataclasses.replace(FULL, gains=(ChannelGain(name, name, gain, (gain, gain), gain, tied_to=name),))
    found = read_text(tmp_path_factory.mktemp("calibration"), calibration_toml(odd))
    assert found is not None
    assert same(found, odd)


@pytest.mark.identity
def test_setup_stands_on_its_calibration(write_setup: WriteSetup) -> None:
    """Fluxes, beam, open sky, height and yellowing are the measured ones, and the answer says so."""
    path = write_setup(RIDGE, setup=CALIBRATED, calibration__toml=calibration_toml(FULL))
    setup = read_setup(path)
    assert fixture_emission(setup).sum(axis=1) == pytest.approx([62 * 0.8 * 0.93, 25 * 0.7 * 0.93])
    (fixture,) = setup.fixtures
    assert [c.beam for c in fixture.type.channels] == [CosineLobe(95.0)] * 2
    assert fixture.height_m == 0.21
    assert setup.sites[0].open_sky == 0.9
    assert setup.water.yellowing_440_per_m == 0.2
    basis = analyse(setup).basis
    assert basis.key == "measured"
    assert basis.sentence.startswith("Measured: 24 readings of 2026-03-14 with handheld")
    assert "'white' not told apart" in basis.sentence


@pytest.mark.identity
def test_later_edit_of_the_stated_flux_does_not_shift_what_was_measured(write_setup: WriteSetup) -> None:
    """The calibration holds fluxes, so the fixture file's figure no longer counts."""
    from files.conftest import FIXTURE

    path = write_setup(
        RIDGE,
        setup=CALIBRATED,
        fixture=FIXTURE.replace("= 62", "= 80"),
        calibration__toml=calibration_toml(FULL),
    )
    assert fixture_emission(read_setup(path))[0].sum() == pytest.approx(62 * 0.8 * 0.93)


@pytest.mark.identity
def test_variations_leave_out_what_no_longer_holds(write_setup: WriteSetup, tmp_path: Path) -> None:
    """Another height replaces the fitted one; another fixture keeps only water and open sky."""
    path = write_setup(RIDGE, setup=CALIBRATED, calibration__toml=calibration_toml(FULL))
    hung = read_setup(path, Variations(fixture_height_m=0.3))
    assert hung.fixtures[0].height_m == 0.3
    assert hung.calibration is not None
    assert hung.calibration.heights == ()
    swapped = read_setup(path, Variations(swap_fixture=tmp_path / "panel.toml"))
    assert fixture_emission(swapped)[0].sum() == pytest.approx(62)
    assert swapped.sites[0].open_sky == 0.9
    assert analyse(swapped).basis.key == "data sheet"
    assert any("left out" in said for said in swapped.understood)
    assert read_setup(path, Variations(uncalibrated=True)).calibration is None


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("old", "new", "found"),
    [
        ('fixture = "left"', 'fixture = "gone"', 'the fixture "gone" was calibrated and is not in the setup'),
        ('channel = "blue"', 'channel = "gone"', 'fixture "left" has no channel "gone" any more'),
        ("nominal_fwhm_deg = 120.0", "nominal_fwhm_deg = 60.0", "had a beam of 60 deg when it was"),
        ("gain = 0.8", "gain = -1", "-1 is outside the range"),
        ('date = "2026-03-14"', 'date = "14 March"', '"14 March" is not a date'),
        ("0.0001, 0.0]", "0.0001]", "a row of the covariance does not have 3 numbers"),
        ("interval_95 = [0.75, 0.85]", "interval_95 = [0.9, 0.1]", "not two numbers that rise"),
        ("readings = 24", 'readings = "24"', '"24" is not a whole number'),
        ("[yellowing]", "[yelowing]", "the key yelowing is not known"),
    ],
)
def test_calibration_that_does_not_fit_is_refused(
    write_setup: WriteSetup, old: str, new: str, found: str
) -> None:
    """A sentence with its place."""
    text = calibration_toml(FULL)
    assert old in text
    path = write_setup(RIDGE, setup=CALIBRATED, calibration__toml=text.replace(old, new))
    with pytest.raises(SetupError) as caught:
        read_setup(path)
    assert found in str(caught.value)
    assert "calibration.toml" in str(caught.value)


@pytest.mark.identity
def test_earlier_calibrations_are_those_of_the_file_that_is_replaced(
    write_setup: WriteSetup, tmp_path: Path
) -> None:
    """The target's own history first; a new target takes over the one the setup names; none is fine."""
    path = write_setup(RIDGE, setup=CALIBRATED, calibration__toml=calibration_toml(FULL))
    setup = read_setup(path, Variations(uncalibrated=True))
    for target in (tmp_path / "calibration.toml", tmp_path / "new.toml", None):
        assert [e.date for e in earlier_calibrations(setup, target)] == ["2026-03-14", "2025-03-14"]
    (tmp_path / "calibration.toml").unlink()
    assert earlier_calibrations(setup, None) == ()
