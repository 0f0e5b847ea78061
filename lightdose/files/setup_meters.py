"""Light meters of a setup: [meter.NAME], their responses and the light they were calibrated on."""

from __future__ import annotations

from typing import Any, cast

from lightdose.files.input_files import InputFiles
from lightdose.files.setup_schema import METER
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import TomlDocument, problem_at, show, suggestion
from lightdose.model.spectrum import SENSOR_SHAPES, Meter, SensorShape, SpectralDistribution, SpectralTable

CALIBRATION_SOURCES = (
    "A",
    "D65",
    "LED-B1",
    "LED-B2",
    "LED-B3",
    "LED-B4",
    "LED-B5",
    "LED-BH1",
    "LED-RGB1",
    "LED-V1",
    "LED-V2",
    "unknown",
)
"""Illuminants of CIE 015:2018, and the answer of an owner who does not know."""


def read_meters(document: TomlDocument, files: InputFiles) -> dict[str, Meter]:
    """The meters by name; problems go to ``files``."""
    given = document.data.get("meter")
    if given is None:
        return {}
    if not isinstance(given, dict) or not all(isinstance(v, dict) for v in given.values()):
        files.problems.append(
            problem_at(document, ("meter",), "a meter needs a name", "[meter.NAME]", "write [meter.handheld]")
        )
        return {}
    meters = {}
    for name in given:
        already = len(files.problems)
        path: KeyPath = ("meter", name)
        values = METER.read(document, path, files.problems)
        response = _response(document, files, (*path, "response"), values)
        source = _calibration_source(document, files, (*path, "calibrated_on"), values.get("calibrated_on"))
        if len(files.problems) == already:
            meters[name] = Meter(
                name=name,
                reads=values["reads"],
                response=response,
                calibrated_on=source,
                immersion=values["immersion"],
                standard_uncertainty=values["standard_uncertainty"],
                reads_up_to=values["reads_up_to"],
            )
    return meters


def _response(
    document: TomlDocument, files: InputFiles, path: KeyPath, values: dict[str, Any]
) -> SensorShape | SpectralTable:
    given = values.get("response")
    if given is None:
        shape: SensorShape = "v-lambda" if values.get("reads") == "lux" else "ideal"
        files.understood.append(f"meter {path[1]}: no response given, {shape} taken")
        return shape
    allowed = "{ shape = " + " | ".join(f'"{s}"' for s in SENSOR_SHAPES) + ' }, or { file = "..." }'
    if isinstance(given, dict) and list(given) == ["shape"]:
        word = given["shape"]
        if word in SENSOR_SHAPES:
            return cast(SensorShape, word)
        hint = suggestion(word, SENSOR_SHAPES) if isinstance(word, str) else ""
        files.problems.append(
            problem_at(document, (*path, "shape"), f"{show(word)} is not known here", allowed, hint)
        )
    elif isinstance(given, dict) and list(given) == ["file"] and isinstance(given["file"], str):
        place = document.value_place((*path, "file"))
        found = files.find(given["file"], place, beside=document.file)
        if found is not None:
            from lightdose.files.spectrum_file import read_spectral_table

            with files.collecting(place):
                table = read_spectral_table(found, str(found), allowed=(0.0, 1e9))
                files.understood.append(f"{found}: {'; '.join(table.notes)}")
                return table
    else:
        cure = f"write {{ shape = {show(given)} }}" if given in SENSOR_SHAPES else ""
        files.problems.append(problem_at(document, path, f"{show(given)} is no response", allowed, cure))
    return "ideal"


def _calibration_source(
    document: TomlDocument, files: InputFiles, path: KeyPath, given: object
) -> str | SpectralDistribution:
    if given is None:
        return "unknown"
    by_small = {name.lower(): name for name in CALIBRATION_SOURCES}
    if isinstance(given, str) and given.lower() in by_small:
        return by_small[given.lower()]
    if isinstance(given, dict) and list(given) == ["file"] and isinstance(given["file"], str):
        place = document.value_place((*path, "file"))
        found = files.find(given["file"], place, beside=document.file)
        if found is not None:
            from lightdose.files.spectrum_file import read_spectrum

            with files.collecting(place):
                spectrum = read_spectrum(found, str(found))
                files.understood.append(f"{found}: {'; '.join(spectrum.notes)}")
                return spectrum
        return "unknown"
    allowed = ", ".join(f'"{name}"' for name in CALIBRATION_SOURCES) + ', or { file = "..." }'
    hint = suggestion(given, CALIBRATION_SOURCES) if isinstance(given, str) else ""
    files.problems.append(problem_at(document, path, f"{show(given)} is not known here", allowed, hint))
    return "unknown"
