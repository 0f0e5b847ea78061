"""A kind of fixture as its file, with the spectra and beams that it names."""

from __future__ import annotations

from typing import Any

import numpy as np

from lightdose.files.csv_text import csv_text
from lightdose.files.fixture_file import FIXTURE_FORMAT
from lightdose.files.programme_rules import percent_from_level
from lightdose.files.spectrum_file import HEADERS
from lightdose.files.toml_text import toml_lines, toml_tables
from lightdose.files.units import format_length_exact
from lightdose.files.writing import file_names
from lightdose.model.fixture import (
    Beam,
    Channel,
    CosineLobe,
    DimmingCurve,
    FixtureType,
    PhotometricLobe,
    TabulatedLobe,
)
from lightdose.model.spectrum import (
    ChannelSpectrum,
    LedPeak,
    SpectralDistribution,
    SpectralTable,
    SpectrumMix,
)


def fixture_text(kind: FixtureType, files: dict[str, str]) -> str:
    """The text of a fixture file; what it names beside it is put into ``files``."""
    top: dict[str, Any] = {"format": FIXTURE_FORMAT, "name": kind.name}
    if kind.aperture.length_m or kind.aperture.width_m:
        top["aperture"] = {
            "length": format_length_exact(kind.aperture.length_m),
            "width": format_length_exact(kind.aperture.width_m),
        }
    if kind.emitters is not None:
        top["emitters"] = {
            "count": kind.emitters.count,
            "diameter": format_length_exact(kind.emitters.diameter_m),
        }
    top["electrical_w"] = kind.electrical_w
    channels = [channel_table(c, files) for c in kind.channels]
    return "\n".join([*toml_lines(top), *toml_tables("channel", channels)]) + "\n"


def channel_table(channel: Channel, files: dict[str, str]) -> dict[str, Any]:
    """A table [[channel]]; files that it names are put into ``files``."""
    flux = channel.flux
    table: dict[str, Any] = {
        "name": channel.name,
        "spectrum": light_table(channel.spectrum, f"{channel.name} spectrum", files),
        "electrical_w": channel.electrical_w,
    }
    if flux is not None:
        table[flux.kind] = float(flux.value)
        table["radiant_efficiency"] = "typical" if flux.typical else flux.radiant_efficiency
    table["beam"] = _beam(channel.beam, f"{channel.name} beam", files)
    table["dimming"] = _dimming(channel.dimming)
    return table


def light_table(spectrum: ChannelSpectrum, stem: str, files: dict[str, str]) -> dict[str, Any]:
    """What stands behind ``spectrum``."""
    if isinstance(spectrum, LedPeak):
        return {"peak_nm": float(spectrum.peak_nm), "fwhm_nm": float(spectrum.fwhm_nm)}
    if isinstance(spectrum, SpectrumMix):
        parts = [
            light_table(part, f"{stem} {n}", files) | {"share": float(share)}
            for n, (part, share) in enumerate(spectrum.parts, 1)
        ]
        return {"mix": parts}
    if spectrum.origin.startswith("library:") and _in_library(spectrum):
        return {"library": spectrum.name}
    return {"file": _named(stem, ".csv", spectrum_text(spectrum), files)}


def _in_library(spectrum: SpectralDistribution) -> bool:
    from lightdose.files.library import emitter_names, read_emitter

    if spectrum.name not in emitter_names():
        return False
    shipped = read_emitter(spectrum.name)
    return (
        shipped.quantity == spectrum.quantity
        and np.array_equal(shipped.wavelength_nm, spectrum.wavelength_nm)
        and np.array_equal(shipped.values, spectrum.values)
    )


def spectrum_text(spectrum: SpectralDistribution) -> str:
    """A spectrum of light as CSV."""
    stated = spectrum.quantity, spectrum.absolute_unit
    header = next(name for name, meaning in HEADERS.items() if meaning == stated)
    return _two_columns(header, spectrum.wavelength_nm, spectrum.values)


def spectral_text(table: SpectralTable, header: str) -> str:
    """Any other function of wavelength as CSV."""
    return _two_columns(header, table.wavelength_nm, table.values)


def _two_columns(header: str, wavelength_nm: Any, values: Any) -> str:
    rows = list(zip(wavelength_nm.tolist(), values.tolist(), strict=True))
    return csv_text(["wavelength_nm", header], rows)


def _beam(beam: Beam, stem: str, files: dict[str, str]) -> dict[str, Any] | None:
    if isinstance(beam, CosineLobe):
        return None if beam.assumed else {"fwhm_deg": float(beam.fwhm_deg)}
    if isinstance(beam, TabulatedLobe):
        return {"table": list(zip(beam.angle_deg.tolist(), beam.relative.tolist(), strict=True))}
    return {"file": _named(stem, ".ies", _ies_text(beam), files)}


def _dimming(curve: DimmingCurve) -> list[list[float]] | None:
    linear = DimmingCurve.linear()
    if np.array_equal(curve.level, linear.level) and np.array_equal(curve.output, linear.output):
        return None
    pairs = zip(curve.level.tolist(), curve.output.tolist(), strict=True)
    return [[_percent(level), _percent(output)] for level, output in pairs]


def _percent(share: float) -> float:
    """A percent that gives the same share when it is divided by 100."""
    percent = float(percent_from_level(share))
    tries = (percent, 100 * share, float(np.nextafter(percent, 0)), float(np.nextafter(percent, 101)))
    return next((value for value in tries if value / 100.0 == share), percent)


def _ies_text(lobe: PhotometricLobe) -> str:
    """An intensity distribution as IES LM-63 of type C, planes over the whole turn."""
    c_deg, gamma_deg = lobe.c_deg.tolist(), lobe.gamma_deg.tolist()
    numbers = [c for plane in lobe.relative.tolist() for c in plane]
    rows = [gamma_deg, c_deg, *(numbers[n : n + 10] for n in range(0, len(numbers), 10))]
    head = [
        "IESNA:LM-63-2002",
        "TILT=NONE",
        f"1 -1 1 {len(gamma_deg)} {len(c_deg)} 1 2 0 0 0",
        "1 1 0",
    ]
    return "\n".join([*head, *(" ".join(map(repr, row)) for row in rows)]) + "\n"


def _named(stem: str, suffix: str, text: str, files: dict[str, str]) -> str:
    name = file_names([stem], "")[0] + suffix
    turn = 2
    while files.get(name, text) != text:
        name, turn = f"{file_names([stem], '')[0]}-{turn}{suffix}", turn + 1
    files[name] = text
    return name
