"""What one reading stands for: its spectral factor under the light at that place and time, and immersion."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from lightdose.errors import Problem, ReadingsError
from lightdose.fit.observations import PLACEMENT_FRACTION, RESOLUTION, UNNAMED, source_photons
from lightdose.model.light import Scene
from lightdose.model.record import FloatArray
from lightdose.model.setup import Receiver, Setup
from lightdose.model.spectrum import Meter, MeterAnswer, Reading, ReferenceTables, SpectralDistribution
from lightdose.physics.day_curve import day_curve, day_points, output_at
from lightdose.physics.light_field import spectral_transfer
from lightdose.physics.meters import (
    IMMERSION_RANGE,
    colour_error,
    combined_fraction,
    corrected_reading,
    immersion_factor,
    scale_error,
    sensor_row,
    target_row,
    violet_spread,
)
from lightdose.quantities import Z_95


def read_meter(
    setup: Setup,
    emission: FloatArray,
    reading: Reading,
    tables: ReferenceTables,
    sources: Mapping[str, SpectralDistribution],
) -> MeterAnswer:
    """The true PPFD behind one reading.

    Parameters
    ----------
    setup : Setup
    emission : array, shape (n_channel, 500)
        Of the lit fixtures at full output. [umol s-1]
    reading : Reading
        Without a time, the day's brightest moment at that place is taken, and that is said. Under water
        without a meter, immersion is taken as unknown, and that is said.
    tables : ReferenceTables
    sources : calibration light by name, all but "A"

    Returns
    -------
    MeterAnswer
        Interval from the meter's own uncertainty, its unknown calibration source or immersion, a generic
        sensor shape, levelling and the last digit, in quadrature.

    Raises
    ------
    ReadingsError
        If the lights are off then, or a named meter says nothing about immersion and is under water.

    Source
    ------
    CIE S 017:2020, 17-25-115; quadrature: GUM (JCGM 100:2008), 5.1.6. Uncertainties: our choice.
    """
    assumed: list[str] = []
    meter = setup.meters[reading.meter] if reading.meter else _unnamed(reading, assumed)
    by_channel = _reaching(setup, emission, reading, tables)
    time_h, output = _moment(setup, reading, by_channel @ target_row("umol", tables), assumed)
    photons = output[:, None] * by_channel
    row = sensor_row(meter, source_photons(meter, sources), tables)
    shown, ppfd = (
        float(photons.sum(axis=0) @ row.row),
        float(photons.sum(axis=0) @ target_row("umol", tables)),
    )
    if not shown > 0:
        raise ReadingsError(
            Problem("no light that this meter sees reaches the place in the model", place=reading.place)
        )
    spectral = ppfd / shown
    immersion, immersion_sd = immersion_factor(meter) if reading.under_water else (None, 0.0)
    by_shown = photons @ row.row / shown
    colour = float(by_shown @ colour_error(meter, row, photons, tables))
    spread = combined_fraction(
        scale_error(meter, row),
        colour,
        immersion_sd,
        PLACEMENT_FRACTION,
        RESOLUTION[reading.unit] / reading.value,
        violet_spread(meter, photons.sum(axis=0), setup.uncertainty.get("violet_reading_fraction")),
    )
    corrected = corrected_reading(reading.value, spectral, immersion)
    value = corrected.ppfd_umol_m2_s
    shares = photons @ target_row("umol", tables) / ppfd if ppfd > 0 else np.zeros(len(photons))
    return MeterAnswer(
        reading=reading.value,
        unit=reading.unit,
        meter=reading.meter,
        ppfd_umol_m2_s=value,
        interval_95=(value * math.exp(-Z_95 * spread), value * math.exp(Z_95 * spread)),
        spectral_factor=spectral,
        immersion_factor=immersion,
        where=_where(reading),
        time_h=time_h,
        mix=_mix(setup, shares),
        model_ppfd_umol_m2_s=ppfd,
        assumed=tuple(assumed),
    )


def _unnamed(reading: Reading, assumed: list[str]) -> Meter:
    """An ideal sensor; under water its immersion is unknown, never silently 1."""
    meter = UNNAMED[reading.unit]
    what = "V(lambda), the ideal lux meter" if reading.unit == "lux" else "an ideal quantum sensor"
    fraction = round(100 * meter.standard_uncertainty)
    assumed.append(f"no meter named: taken as {what}, standard uncertainty {fraction} % (our choice)")
    if not reading.under_water:
        return meter
    low, high = IMMERSION_RANGE
    assumed.append(f"immersion unknown: taken as {low:g} to {high:g}, which widens the interval")
    return replace(meter, immersion="unknown")


def _reaching(setup: Setup, emission: FloatArray, reading: Reading, tables: ReferenceTables) -> FloatArray:
    """Photons of every channel at full output at the sensor, shape (n_channel, 500)."""
    sky = next((s.open_sky for s in setup.sites if s.name == reading.site), 1.0)
    sensor = Receiver("sensor", "sensor", reading.x_m, reading.y_m, reading.depth_m, sky)
    transfer = spectral_transfer([sensor], Scene.of(setup, emission, tables))
    return np.asarray(transfer[0] * emission)


def _moment(
    setup: Setup, reading: Reading, full_ppfd: FloatArray, assumed: list[str]
) -> tuple[float, FloatArray]:
    """Time and outputs 0-1 of the mix that was on."""
    curve = day_curve(setup.lit_fixtures)
    if reading.time_h is not None:
        output = output_at(curve, reading.time_h)[0]
        if not float(output @ full_ppfd) > 0:
            raise ReadingsError(_off(reading.time_h, reading))
        return reading.time_h, output
    times, outputs = day_points(curve)
    ppfd = outputs @ full_ppfd
    if not np.any(ppfd > 0):
        raise ReadingsError(
            Problem("the programme gives no light here all day", cure="mend the programme or the place")
        )
    brightest = int(np.argmax(ppfd))
    assumed.append(f"no time given: the mix of the brightest moment, {_clock(float(times[brightest]))}")
    return float(times[brightest]), outputs[brightest]


def _clock(time_h: float) -> str:
    minutes = round(time_h * 60) % 1440
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def _off(time_h: float, reading: Reading) -> Problem:
    found = f"the lights are off at {_clock(time_h)} by the programme, as seen from this place"
    return Problem(found, cure="name another --time", place=reading.place if reading.place.file else None)


def _mix(setup: Setup, shares: FloatArray) -> tuple[tuple[str, float], ...]:
    """Channel names of all fixtures added up, those with a share of the light, largest first."""
    total: dict[str, float] = {}
    names = [c.name for f in setup.lit_fixtures for c in f.type.channels]
    for name, share in zip(names, shares, strict=True):
        total[name] = total.get(name, 0.0) + float(share)
    return tuple(sorted(((n, s) for n, s in total.items() if s > 0), key=lambda item: -item[1]))


def _where(reading: Reading) -> str:
    if reading.site is not None:
        return reading.site
    at = f"x {reading.x_m * 100:g} cm, y {reading.y_m * 100:g} cm"
    return f"{at}, {abs(reading.depth_m) * 100:g} cm {'above the water' if reading.depth_m < 0 else 'deep'}"
