"""Light meters: what a sensor shows under a spectrum, and the factors that turn it into the true figure.

Directions: every factor here multiplies the reading. Some texts state the inverse of the spectral factor.
"""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np

from lightdose.errors import Problem, ReadingsError, SpectrumError
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.spectrum import (
    GRID_NM,
    Meter,
    ReadsQuantity,
    ReferenceTables,
    SensorShape,
    SpectralDistribution,
    SpectralTable,
)
from lightdose.physics.photons import cells_in_band, lux_per_umol, photons_per_joule
from lightdose.quantities import PPFD_BAND

IMMERSION_RANGE = (1.0, 1.4)
"""Plausible immersion factors of cosine sensors: 1.2-1.4 from memory, widened down to none by us."""

IMMERSION_FRACTION = 0.02
"""Standard uncertainty of a stated immersion factor: our choice, since it is measured for a design."""


def illuminant_a() -> SpectralDistribution:
    """CIE standard illuminant A, the lamp that most meters are calibrated on, 1 nm.

    S = 100 (560/lambda)^5 (exp(1.435e7/(2848 x 560)) - 1) / (exp(1.435e7/(2848 lambda)) - 1).

    Returns
    -------
    SpectralDistribution
        Relative power, 300-830 nm.

    Source
    ------
    CIE 015:2018, equation of illuminant A; ISO/CIE 11664-2.
    """
    nodes = np.arange(300.0, 831.0)
    power = 100 * (560 / nodes) ** 5 * math.expm1(1.435e7 / (2848 * 560)) / np.expm1(1.435e7 / (2848 * nodes))
    return SpectralDistribution("A", nodes, power, "power")


def target_row(reads: ReadsQuantity, tables: ReferenceTables) -> FloatArray:
    """What an ideal meter shows for one micromole of photons in each 1 nm cell.

    Parameters
    ----------
    reads : "umol" (PPFD, 400-700 nm) or "lux"
    tables : for V(lambda)

    Returns
    -------
    array, shape (500,). [1, or lx per umol m-2 s-1]

    Source
    ------
    PPFD and illuminance: CIE S 017:2020.
    """
    if reads == "lux":
        return lux_per_umol(GRID_NM, tables.photopic)
    return cells_in_band(PPFD_BAND.low_nm, PPFD_BAND.high_nm)


def shape_response(shape: SensorShape, reads: ReadsQuantity, tables: ReferenceTables) -> FloatArray:
    """Relative response per photon of a generic sensor.

    With L(x) = 1/(1+exp(-x)): short-red L((w-398)/6) L((665-w)/8); soft L((w-400)/8) L((700-w)/8);
    tilted L((w-395)/4) L((705-w)/4) (1-0.0006 (w-550)); silicon the edges of tilted times
    0.6+0.4 (w-400)/300. "ideal" is the quantity that the meter claims to read.

    Parameters
    ----------
    shape : name of a generic shape
    reads : "umol" or "lux"
    tables : for V(lambda)

    Returns
    -------
    array, shape (500,)

    Source
    ------
    Shapes: ours, of no instrument. V(lambda): CIE 018:2019.
    """
    w = GRID_NM
    if shape == "ideal":
        return target_row(reads, tables)
    if shape == "v-lambda":
        return target_row("lux", tables)
    if shape == "short-red":
        return _logistic((w - 398) / 6) * _logistic((665 - w) / 8)
    if shape == "soft":
        return _logistic((w - 400) / 8) * _logistic((700 - w) / 8)
    edges = _logistic((w - 395) / 4) * _logistic((705 - w) / 4)
    return edges * (1 - 0.0006 * (w - 550) if shape == "tilted" else 0.6 + 0.4 * (w - 400) / 300)


def _logistic(x: FloatArray) -> FloatArray:
    return np.asarray(1 / (1 + np.exp(-x)))


def meter_response(meter: Meter, tables: ReferenceTables) -> FloatArray:
    """Relative response per photon of a meter's sensor.

    A response from a file is per photon for a meter that reads umol, and per watt (as V(lambda) is
    tabulated) for one that reads lux; zero outside its nodes.

    Parameters
    ----------
    meter : Meter
    tables : for V(lambda)

    Returns
    -------
    array, shape (500,)

    Raises
    ------
    SpectrumError
        If a table is negative, or zero where light is.

    Source
    ------
    Definition; CIE S 017:2020, responsivity.
    """
    if not isinstance(meter.response, SpectralTable):
        return shape_response(meter.response, meter.reads, tables)
    table = meter.response
    response = np.interp(GRID_NM, table.wavelength_nm, table.values, left=0.0, right=0.0)
    if np.any(table.values < 0) or not np.any(response > 0):
        raise SpectrumError(f"the response {table.name!r} of meter {meter.name!r} is negative or zero")
    response /= response.max()
    return response / photons_per_joule(GRID_NM) if meter.reads == "lux" else response


@dataclass(frozen=True, eq=False)
class SensorRow:
    """What a meter shows for one micromole of photons in each cell, and how far that may be out.

    Attributes
    ----------
    row : array, shape (500,)
    reads : "umol" or "lux"
    ln_spread : standard uncertainty of the whole row from an unknown calibration source, natural logarithm
    """

    row: FloatArray
    reads: ReadsQuantity
    ln_spread: float = 0.0

    def __post_init__(self) -> None:
        object.__setattr__(self, "row", read_only(self.row))


def sensor_row(meter: Meter, source_photons: Sequence[FloatArray], tables: ReferenceTables) -> SensorRow:
    """The row of a meter: its sensor's response, scaled so that it is right under its calibration source.

    With light S on the sensor, true figure over reading is the spectral mismatch correction factor
    F* = [int S t / int S s] [int Scal s / int Scal t], s the sensor's response and t the ideal one.

    Parameters
    ----------
    meter : Meter
    source_photons : one array of shape (500,), or two that span an unknown source
    tables : ReferenceTables

    Returns
    -------
    SensorRow
        Between two sources the scale is their geometric mean, and the spread that of a rectangle.

    Raises
    ------
    SpectrumError
        As ``meter_response``, or if the meter sees nothing of a source.

    Source
    ------
    CIE S 017:2020, 17-25-115; rectangular distribution: GUM (JCGM 100:2008), 4.3.7.
    """
    response, target = meter_response(meter, tables), target_row(meter.reads, tables)
    if not all(s @ response > 0 for s in source_photons):
        raise SpectrumError(f"meter {meter.name!r} sees nothing of the light that it is calibrated on")
    ln_scales = [math.log(s @ target) - math.log(s @ response) for s in source_photons]
    low, high = min(ln_scales), max(ln_scales)
    spread = rectangular(0.5 * (high - low))
    return SensorRow(response * math.exp(0.5 * (low + high)), meter.reads, spread)


LUX_EXPONENT_SD, LUX_BLUE_LN_SD, LUX_WHITE_LN_SD = 0.15, 0.35, 0.10
BLUE_BELOW_NM = 480.0
"""A lux meter that states no response follows V to a power of 1 +- 0.15, and is worth at least a factor of
exp(0.35) in light below 480 nm, exp(0.1) in white (standard uncertainties): our choice, after the mismatch
index f1' of unclassified meters, from memory."""

SHAPE_FRACTION, SHAPE_SHARE = 0.02, 0.3
"""A generic sensor shape that stands for an instrument leaves 2 % and this share of its spectral correction
uncertain: our choice."""


def scale_error(meter: Meter, row: SensorRow) -> float:
    """ln standard uncertainty of the scale of a meter, common to all its readings.

    Parameters
    ----------
    meter : Meter
    row : SensorRow
        Of the meter.

    Source
    ------
    Quadrature: GUM (JCGM 100:2008), 5.1.6; sizes: our choice, see above.
    """
    generic = isinstance(meter.response, str) and meter.response != "ideal"
    return math.hypot(meter.standard_uncertainty, row.ln_spread, SHAPE_FRACTION if generic else 0.0)


def colour_error(meter: Meter, row: SensorRow, photons: FloatArray, tables: ReferenceTables) -> FloatArray:
    """How one common error of a meter acts on lights of several colours.

    Parameters
    ----------
    meter : Meter
    row : SensorRow
        Of the meter.
    photons : array, shape (n, 500)
        Spectra of the lights, any scale.
    tables : ReferenceTables

    Returns
    -------
    array, shape (n,)
        ln of the factor on the reading at one standard uncertainty; 0 for a measured or ideal response.

    Source
    ------
    Sizes: our choice, see above. To first order V^(1+e) changes a reading by e times the mean of ln V in it.
    """
    if meter.states_no_response:
        sensor = np.maximum(tables.photopic, 1e-12)
        lamp = photon_distribution_of_a()
        lights = np.concatenate([photons, lamp[None]])
        seen = lights * target_row("lux", tables)
        mean_ln = (seen @ np.log(sensor)) / np.maximum(seen.sum(axis=1), 1e-300)
        tilt = LUX_EXPONENT_SD * (mean_ln[:-1] - mean_ln[-1])
        blue = photons[:, GRID_NM < BLUE_BELOW_NM].sum(axis=1) / np.maximum(photons.sum(axis=1), 1e-300)
        least = LUX_WHITE_LN_SD + (LUX_BLUE_LN_SD - LUX_WHITE_LN_SD) * blue
        return np.asarray(-np.maximum(np.abs(tilt), least))
    if isinstance(meter.response, str) and meter.response != "ideal":
        ideal, shown = photons @ target_row(meter.reads, tables), photons @ row.row
        return np.asarray(SHAPE_SHARE * np.log(np.maximum(ideal, 1e-300) / np.maximum(shown, 1e-300)))
    return np.zeros(len(photons))


def photon_distribution_of_a() -> FloatArray:
    """Photons of illuminant A in the cells, shape (500,), any scale."""
    lamp = illuminant_a()
    return np.asarray(np.interp(GRID_NM, lamp.wavelength_nm, lamp.values, left=0.0, right=0.0) * GRID_NM)


def immersion_factor(meter: Meter) -> tuple[float, float]:
    """Factor on a reading under water, and its relative standard uncertainty.

    Parameters
    ----------
    meter : Meter
        Its immersion: a factor, "built in" (1) or "unknown" (1.0 to 1.4, a rectangle).

    Returns
    -------
    factor, relative standard uncertainty : float

    Raises
    ------
    ReadingsError
        If the meter says nothing about it: 1 would be a guess.

    Source
    ------
    E_water = F_i x reading of an air-calibrated cosine sensor; F_i is a property of the design, measured.
    Range of the unknown: 1.2-1.4 from memory, widened by us.
    """
    if meter.immersion is None:
        raise ReadingsError(
            Problem(
                f"meter {meter.name!r} says nothing about immersion, and this reading is under water",
                'immersion = a factor 1 to 2, "built in", or "unknown" (1.0 to 1.4, and wider intervals)',
                f"add it to [meter.{meter.name}]",
            )
        )
    if meter.immersion == "built in":
        return 1.0, 0.0
    if meter.immersion == "unknown":
        low, high = IMMERSION_RANGE
        return 0.5 * (low + high), rectangular(0.5 * (high - low)) / (0.5 * (low + high))
    return float(meter.immersion), IMMERSION_FRACTION


@dataclass(frozen=True)
class CorrectedReading:
    """A reading as the light that was there; ``under_water`` says that immersion has been dealt with."""

    ppfd_umol_m2_s: float
    spectral_factor: float
    immersion_factor: float | None
    under_water: bool


def corrected_reading(
    reading: float | CorrectedReading, spectral_factor: float, immersion: float | None
) -> CorrectedReading:
    """A reading times its factors.

    Parameters
    ----------
    reading : float
        As shown. [umol m-2 s-1 or lx]
    spectral_factor : float
        F*, for lux together with umol per lux.
    immersion : float or None
        None in air.

    Raises
    ------
    ReadingsError
        If the reading is a corrected one already: immersion would count twice.

    Source
    ------
    Definition of the factors: they multiply the reading.
    """
    if isinstance(reading, CorrectedReading):
        raise ReadingsError(
            Problem(
                "this reading is corrected already; its immersion would be applied twice",
                "the figure as the meter shows it",
            )
        )
    factor = 1.0 if immersion is None else immersion
    return CorrectedReading(
        reading * spectral_factor * factor, spectral_factor, immersion, immersion is not None
    )


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known only to lie within +- ``half_width``.

    Source
    ------
    GUM (JCGM 100:2008), 4.3.7: half-width / sqrt(3).
    """
    return half_width / math.sqrt(3)


def combined_fraction(*fractions: float) -> float:
    """Relative standard uncertainty of a product of independent factors.

    Parameters
    ----------
    fractions : float
        Relative standard uncertainty of each factor.

    Source
    ------
    GUM (JCGM 100:2008), 5.1.6: quadrature.
    """
    return math.sqrt(sum(f * f for f in fractions))


VIOLET_NM = 420.0
VIOLET_FRACTION = 0.17
"""Below this wavelength quantum sensors of different make read so differently, as a standard uncertainty."""


def violet_spread(meter: Meter, photons: FloatArray, stated: float | None = None) -> float:
    """Standard uncertainty of a reading from its violet light, as ln: quantum sensors disagree there.

    Parameters
    ----------
    meter : one whose response was measured, or that reads lux, has none of it
    photons : array, shape (500,); photons at the sensor in the cells of the working grid
    stated : what the keeper holds for it, of violet light alone; ``VIOLET_FRACTION`` where nothing is stated

    Source
    ------
    Published response curves of seven quantum sensors, open data set photobiologySensors (GPL-2+: figures
    only), calibrated on D65: at 405 nm they need factors of 0.98 to 1.9, taken as 95 %: ln(1.9 / 0.98) /
    (2 x 1.96). Under a blue mix five of them need 1.00-1.04. The share of 400-420 nm is our choice.
    """
    if meter.reads != "umol" or not isinstance(meter.response, str):
        return 0.0
    return (VIOLET_FRACTION if stated is None else stated) * violet_share(photons)


def violet_share(photons: FloatArray) -> float:
    """Share of 400-420 nm in the photons of 400-700 nm, 0 without these.

    Parameters
    ----------
    photons : array, shape (500,); photons in the cells of the working grid

    Source
    ------
    Definition.
    """
    seen = float(photons @ cells_in_band(PPFD_BAND.low_nm, PPFD_BAND.high_nm))
    return float(photons @ cells_in_band(PPFD_BAND.low_nm, VIOLET_NM)) / seen if seen > 0 else 0.0
