"""Meters, what they were calibrated on, and what was read with them."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from lightdose.errors import Place
from lightdose.model.record import dataclass
from lightdose.model.spectrum import SpectralDistribution, SpectralTable

ReadsQuantity = Literal["umol", "lux"]
Immersion = float | Literal["built in", "unknown"]
SensorShape = Literal["ideal", "short-red", "soft", "tilted", "silicon", "v-lambda"]
SENSOR_SHAPES: tuple[SensorShape, ...] = ("ideal", "short-red", "soft", "tilted", "silicon", "v-lambda")


@dataclass(frozen=True, eq=False)
class Meter:
    """A light meter as its owner describes it.

    ``immersion`` is a factor, "built in", "unknown" (1.0-1.4), or None where it was not given: readings under
    water then refuse to guess.
    """

    name: str
    reads: ReadsQuantity
    response: SensorShape | SpectralTable = "ideal"
    calibrated_on: str | SpectralDistribution = "A"
    immersion: Immersion | None = None
    standard_uncertainty: float = 0.025


@dataclass(frozen=True)
class Reading:
    """One figure that a meter showed, as shown: nothing is corrected yet.

    Attributes
    ----------
    place : the row in its file
    value : above 0. [umol m-2 s-1 or lx, by ``unit``]
    site : name of the site, or None for a free point
    x_m, y_m, depth_m : where the sensor was; a negative depth is above the water. [m]
    time_h : time of the programme, or None where ``levels`` says what was on. [h]
    levels : (fixture, channel) -> level 0-1; channels that are not named were off
    meter : name of the meter in the setup, or None
    date : ISO 8601, or None
    """

    place: Place
    value: float
    unit: ReadsQuantity
    site: str | None
    x_m: float
    y_m: float
    depth_m: float
    time_h: float | None = None
    levels: Mapping[tuple[str, str], float] | None = None
    meter: str | None = None
    date: str | None = None
    note: str = ""

    @property
    def under_water(self) -> bool:
        """Whether the sensor was under the surface."""
        return self.depth_m >= 0


@dataclass(frozen=True)
class MeterAnswer:
    """What one reading stands for: ``reading`` x ``spectral_factor`` x ``immersion_factor`` is the PPFD.

    Attributes
    ----------
    spectral_factor : F* under the mix that was on; for lux together with umol m-2 s-1 per lx
    immersion_factor : None in air
    where, time_h : place and time of the mix
    mix : channels that give most of the light, largest share first: (name, share)
    model_ppfd_umol_m2_s : what the setup's own model says of this place and time
    assumed : sentences on what was taken for granted
    """

    reading: float
    unit: ReadsQuantity
    meter: str | None
    ppfd_umol_m2_s: float
    interval_95: tuple[float, float]
    spectral_factor: float
    immersion_factor: float | None
    where: str
    time_h: float
    mix: tuple[tuple[str, float], ...]
    model_ppfd_umol_m2_s: float
    assumed: tuple[str, ...] = ()
