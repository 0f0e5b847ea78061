"""An edit of a measured setup in code means what it says; `replace`, variations and files agree."""

from __future__ import annotations

import re
import shutil
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner

from lightdose.analysis import analyse, light_of
from lightdose.cli import cli
from lightdose.files.setup_file import Variations, read_setup
from lightdose.model.fixture import Channel, CosineLobe, Flux
from lightdose.model.setup import Setup

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The example, calibrated by its readings."""
    tank = tmp_path_factory.mktemp("measured") / "tank"
    shutil.copytree(EXAMPLE, tank)
    words = ["calibrate", tank, tank / "readings.csv", "-o", tank / "calibration.toml", "--quiet"]
    done = CliRunner().invoke(cli, [str(w) for w in words])
    assert done.exit_code == 0, done.stderr
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    text = text.replace("[tank]", 'calibration = "calibration.toml"\n\n[tank]', 1)
    (tank / "setup.toml").write_text(text, encoding="utf-8")
    return tank


@pytest.fixture(scope="module")
def measured(folder: Path) -> Setup:
    setup = read_setup(folder)
    assert setup.calibration is not None
    return setup


@pytest.fixture(scope="module")
def stated(folder: Path) -> Setup:
    return read_setup(folder, Variations(uncalibrated=True))


def edited(setup: Setup, edit: Callable[[Channel], Channel]) -> Setup:
    """A setup whose every channel is edited."""
    fixtures = [
        replace(f, type=replace(f.type, channels=tuple(map(edit, f.type.channels)))) for f in setup.fixtures
    ]
    return replace(setup, fixtures=tuple(fixtures))


def assert_same(a: Setup, b: Setup) -> None:
    """The same doses and the same intervals."""
    one, other = analyse(a), analyse(b)
    assert one.dose.dli == pytest.approx(other.dose.dli, rel=1e-12)
    assert one.uncertainty is not None
    assert other.uncertainty is not None
    assert one.uncertainty.dli == pytest.approx(other.uncertainty.dli, rel=1e-12)
    assert one.basis.key == other.basis.key


@pytest.mark.identity
def test_without_its_calibration_a_setup_is_as_stated(measured: Setup, stated: Setup) -> None:
    """Fluxes, beams, heights, skies and water go back to the files' own."""
    assert_same(replace(measured, calibration=None), stated)


@pytest.mark.identity
def test_calibration_put_into_a_stated_setup_gives_the_measured_one(measured: Setup, stated: Setup) -> None:
    """Put in in code, or read beside the setup; put in a second time it changes nothing."""
    again = replace(stated, calibration=measured.calibration)
    assert_same(again, measured)
    assert_same(replace(replace(measured, calibration=None), calibration=measured.calibration), measured)


@pytest.mark.identity
def test_height_in_code_equals_the_variation(folder: Path, measured: Setup) -> None:
    """Doses and intervals; the heights that readings found are left out in both."""
    hung = replace(measured, fixtures=tuple(replace(f, height_m=0.16) for f in measured.fixtures))
    assert_same(hung, read_setup(folder, Variations(fixture_height_m=0.16)))


@pytest.mark.identity
def test_swapped_type_in_code_equals_the_variation(folder: Path, measured: Setup, tmp_path: Path) -> None:
    """Another lamp is not measured, and it hangs where it was stated."""
    panel = folder / "fixtures" / "demo-panel.toml"
    text = re.sub(r"(?m)^(\w+_(?:umol_s|w|lm)) = ", r"\1 = 1", panel.read_text(encoding="utf-8"))
    other = folder / "fixtures" / "other.toml"
    other.write_text(text, encoding="utf-8")
    varied = read_setup(folder, Variations(swap_fixture=other))
    types = {f.name: f.type for f in varied.fixtures}
    swapped = replace(measured, fixtures=tuple(replace(f, type=types[f.name]) for f in measured.fixtures))
    assert_same(swapped, varied)
    assert analyse(swapped, certainty=False).basis.key == "data sheet"


@pytest.mark.identity
def test_edited_flux_counts_and_its_channel_is_no_longer_measured(measured: Setup) -> None:
    """Twice the stated flux of one channel gives that light, the others stay measured, the basis names it."""
    first = measured.fixtures[0]
    blue = first.type.channels[1]
    flux = Flux("photon_flux_umol_s", 80.0)
    channels = tuple(replace(c, flux=flux) if c is blue else c for c in first.type.channels)
    changed = (replace(first, type=replace(first.type, channels=channels)), *measured.fixtures[1:])
    setup = replace(measured, fixtures=changed)
    assert setup.calibration is not None
    assert setup.calibration.gain_of(first.name, blue.name) is None
    twice = replace(setup, fixtures=(replace(first, type=replace(first.type, channels=tuple(
        replace(c, flux=Flux("photon_flux_umol_s", 160.0)) if c.name == blue.name else c for c in channels
    ))), *measured.fixtures[1:]))  # fmt: skip
    now, then, doubled = (light_of(s)[1].of("ppfd") for s in (setup, measured, twice))
    assert doubled[:, 1] == pytest.approx(2 * now[:, 1], rel=1e-12)
    others = [n for n in range(now.shape[1]) if n != 1]
    assert now[:, others] == pytest.approx(then[:, others], rel=1e-12)
    basis = analyse(setup, certainty=False).basis
    assert basis.key == "data sheet"
    assert f"changed since the readings: '{first.name}, {blue.name}'" in basis.sentence


@pytest.mark.identity
def test_edited_beam_counts(measured: Setup, stated: Setup) -> None:
    """Beams stated in code are used as they are, and drawn as stated ones are."""
    narrow = edited(measured, lambda c: replace(c, beam=CosineLobe(60.0)))
    assert narrow.calibration is not None
    assert not narrow.calibration.beams
    assert not any(p.kind == "beam" for p in narrow.calibration.parameters)
    assert {c.beam.fwhm_deg for f in narrow.fixtures for c in f.type.channels} == {60.0}  # type: ignore[union-attr]
    wide = analyse(measured, certainty=False).dose.dli
    assert np.max(np.abs(np.log(analyse(narrow, certainty=False).dose.dli / wide))) > 0.05


@pytest.mark.identity
def test_edit_of_sky_and_water_counts(measured: Setup) -> None:
    """Half the open sky is half the light, however the place was measured; clearer water is taken as told."""
    sites = tuple(replace(s, open_sky=0.5 * s.open_sky) for s in measured.sites)
    halved = replace(measured, sites=sites)
    assert [s.open_sky for s in halved.sites] == [s.open_sky for s in sites]
    assert halved.calibration is not None
    assert not halved.calibration.open_sky
    clear = replace(measured, water=replace(measured.water, yellowing_440_per_m=0.7))
    assert clear.water.yellowing_440_per_m == 0.7
    assert clear.calibration is not None
    assert clear.calibration.yellowing is None


@pytest.mark.identity
def test_edit_of_nothing_measured_keeps_the_calibration(measured: Setup) -> None:
    """Title, corals and programmes were not read: the very same calibration holds."""
    programme = measured.fixtures[0].programme
    fixtures = tuple(replace(f, programme=programme, enabled=True) for f in measured.fixtures)
    for kept in (replace(measured, title="other"), replace(measured, fixtures=fixtures)):
        assert kept.calibration is measured.calibration
