"""The first line of every answer: readings, data sheet or typical values."""

from __future__ import annotations

import numpy as np
import pytest
from fit.calibration_scenes import scene

from lightdose.judge.uncertain_inputs import basis_of, measured_sentence
from lightdose.model.calibration import UNREAD, Calibration, ChannelGain
from lightdose.model.fixture import Flux
from lightdose.model.setup import with_calibration


def calibration(tied_to: str | None = None, readings: int = 24) -> Calibration:
    gains = (ChannelGain("left", "blue", 0.8, (0.7, 0.9), 40.0, tied_to),)
    return Calibration("2026-03-14", ("handheld",), readings, gains, (), np.zeros((0, 0)))


@pytest.mark.identity
def test_measured_setup_says_with_what() -> None:
    """Readings lead, whatever the fixture file is worth."""
    setup = scene(names=("blue",), flux=Flux("electrical_w", 20.0, 0.4, typical=True))
    assert basis_of(setup).key == "typical values"
    basis = basis_of(with_calibration(setup, calibration()))
    assert (basis.key, basis.sentence) == ("measured", "Measured: 24 readings of 2026-03-14 with handheld.")


@pytest.mark.pinned
def test_one_reading_and_ties_are_spoken_of() -> None:
    """Singular, and the channels that were not told apart."""
    said = measured_sentence(calibration("white", readings=1))
    assert said == "Measured: 1 reading of 2026-03-14 with handheld; 'blue' not told apart by them."


@pytest.mark.identity
def test_fixture_that_no_reading_saw_is_not_measured() -> None:
    """Its file decides, and the sentence says whose."""
    basis = basis_of(with_calibration(scene(names=("blue",)), calibration(UNREAD)))
    assert basis.key == "data sheet"
    assert basis.sentence.startswith("Not measured. ")
