"""Meters and what they were calibrated on."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from lightdose.model.spectrum import SpectralDistribution, SpectralTable

SensorShape = Literal["ideal", "short-red", "soft", "tilted", "silicon", "v-lambda"]
SENSOR_SHAPES: tuple[SensorShape, ...] = ("ideal", "short-red", "soft", "tilted", "silicon", "v-lambda")


@dataclass(frozen=True, eq=False)
class Meter:
    """A light meter as its owner describes it.

    ``immersion`` is a factor, "built in", "unknown" (1.0-1.4), or None where it was not given: readings under
    water then refuse to guess.
    """

    name: str
    reads: Literal["umol", "lux"]
    response: SensorShape | SpectralTable = "ideal"
    calibrated_on: str | SpectralDistribution = "A"
    immersion: float | Literal["built in", "unknown"] | None = None
    standard_uncertainty: float = 0.025
