"""Two meters at one spot: what one knows of its scale, the other learns."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from fit.calibration_scenes import METER, REQUEST, SITES, reading, scene, simulated

from lightdose.files.library import reference_tables
from lightdose.fit.calibration import calibrate
from lightdose.judge.uncertain_inputs import measured_sentence
from lightdose.model.calibration import CalibrationFit
from lightdose.model.setup import Setup
from lightdose.model.spectrum import Meter, Reading

LUX = Meter("phone", "lux", "v-lambda", "A", "built in", 0.15)
BLUE = {"blue": 1.0}


def both() -> Setup:
    setup = scene(names=("blue",), flux=None)
    return replace(setup, meters={METER.name: METER, LUX.name: LUX})


def fit(readings: tuple[Reading, ...], lux_factor: float = 1.0) -> CalibrationFit:
    """A fit to readings of a lamp of 37 umol/s; the lux meter shows so many times what is true."""
    real = replace(scene(names=("blue",)), meters=both().meters)
    factor = np.array([lux_factor if r.unit == "lux" else 1.0 for r in readings])
    shown = simulated(real, readings, {"blue": 37 / 40}, factor=factor)
    return calibrate(both(), shown, reference_tables(), {}, REQUEST)


def lux_readings(start: int = 2) -> tuple[Reading, ...]:
    return tuple(reading(n + start, BLUE, site=s, unit="lux", meter="phone") for n, s in enumerate(SITES))


def pair(line: int, name: str | None) -> tuple[Reading, ...]:
    one = reading(line, BLUE, site=SITES[1])
    other = reading(line + 1, BLUE, site=SITES[1], unit="lux", meter="phone")
    return replace(one, pair=name), replace(other, pair=name)


@pytest.mark.identity
def test_lux_meter_alone_is_good_to_a_factor_and_says_so() -> None:
    """Six of its readings under blue leave the factor that all share, in the first line."""
    found = fit(lux_readings()).calibration
    assert found.lux_factor is not None
    assert 1.8 < found.lux_factor < 4
    said = measured_sentence(found)
    assert said.startswith(f"Measured with a lux meter: good to a factor of {found.lux_factor:.1f}")
    (gain,) = found.gains
    assert gain.interval_95[0] < 37 < gain.interval_95[1]


@pytest.mark.identity
@pytest.mark.parametrize("factor", [0.6, 1.0, 1.6])
def test_one_pair_settles_a_lux_meter(factor: float) -> None:
    """Beside a quantum meter a lux meter 1.6 or 0.6 times true is put right at every other spot."""
    found = fit((*pair(2, "P1"), *lux_readings(10)), factor)
    (gain,) = found.calibration.gains
    assert gain.flux_umol_s == pytest.approx(37, rel=0.08)
    assert gain.interval_95[0] < 37 < gain.interval_95[1]
    assert found.calibration.lux_factor is None
    assert measured_sentence(found.calibration).startswith("Measured: 8 readings")
    assert not any(r.outlier for r in found.residuals)


@pytest.mark.identity
def test_pair_knows_the_ratio_of_two_meters_better_than_two_readings_do() -> None:
    """What is wrong with a place is wrong for both of a pair: the lux meter's scale is known better."""

    def spread(name: str | None) -> float:
        from fit.calibration_scenes import solved

        setup = both()
        shown = simulated(
            replace(scene(names=("blue",)), meters=setup.meters), (*pair(2, name), *lux_readings(10)), {}
        )
        found = solved(setup, shown)
        at = found.problem.layout.slices()
        row = np.zeros((1, found.problem.layout.size))
        row[0, at.common.start : at.common.start + 2] = 1.0, -1.0
        return float(found.solution.spread(row)[0, 0])

    assert spread("P1") < spread(None)
