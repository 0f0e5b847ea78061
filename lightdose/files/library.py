"""The tables that lightdose ships: emitters by name, what every run needs, and what must be there.

Own files are trusted (a test holds them to their hashes), so they are read by the short way here; files of
users go through ``spectrum_csv``.
"""

from __future__ import annotations

import base64
import hashlib
import os
import re
import tomllib
from collections.abc import Iterable
from dataclasses import replace
from functools import cache
from pathlib import Path

import numpy as np

from lightdose.errors import Problem, SpectrumError
from lightdose.files.symbiont_curves import pigment_models, published_curves
from lightdose.model.record import FloatArray, read_only
from lightdose.model.spectrum import (
    GRID_EDGES_NM,
    GRID_NM,
    ChannelSpectrum,
    HazardTables,
    LedPeak,
    Meter,
    NodeTables,
    Quantity,
    ReferenceTables,
    SpectralDistribution,
    SpectralTable,
    SpectrumMix,
)
from lightdose.near_names import near_names

_PACKAGE = Path(__file__).resolve().parent.parent
_WHITE_SHORT_NM, _WHITE_SHORT_SHARE = 490.0, 0.03
_WHITE_LONG_NM, _WHITE_LONG_SHARE = 570.0, 0.10
"""More power than these shares below the one and above the other wavelength counts as white: our choice."""


def data_file(*parts: str) -> Path:
    """Where a shipped table lies: ``lightdose/_spectra`` in a wheel, ``spectra/`` in a checkout."""
    installed = _PACKAGE / "_spectra"
    home = installed if installed.is_dir() else _PACKAGE.parent / "spectra"
    return home.joinpath(*parts)


def emitter_names() -> tuple[str, ...]:
    """Names of the library's emitters, sorted."""
    return tuple(sorted(path.stem for path in data_file("emitters").glob("*.csv")))


@cache
def read_emitter(name: str) -> SpectralDistribution:
    """An emitter of the library by name, such as "blue-445" or "white-led-b3".

    Raises
    ------
    SpectrumError
        If the library has no such emitter; names the nearest and all of them.
    """
    names = emitter_names()
    if name not in names:
        raise SpectrumError(_unknown_emitter(name, names))
    header, columns = _read_own(data_file("emitters", f"{name}.csv"))
    quantity: Quantity = "photons" if header["quantity"] == "relative_photons" else "power"
    return SpectralDistribution(
        name=name,
        wavelength_nm=columns[0],
        values=columns[1],
        quantity=quantity,
        origin=f"library:{name}, {header['source']}",
    )


LIBRARY = "library:"
"""Stands before the name of an entry where a file of that name may be meant."""


def named_spectrum(word: str, quantity: Quantity | None = None) -> tuple[str, str, SpectralDistribution]:
    """Name on screen, name in JSON, and the spectrum of a file or of a library entry.

    Parameters
    ----------
    word : a file, "blue-445" or "library:blue-445"
    quantity : what the values of a file are where its header does not say

    Raises
    ------
    SpectrumError
        If there is neither, or the file cannot be read.
    """
    entry = word.removeprefix(LIBRARY)
    is_file = not word.startswith(LIBRARY) and os.path.exists(word)
    if not is_file and (entry in emitter_names() or word.startswith(LIBRARY)):
        return entry, f"{LIBRARY}{entry}", read_emitter(entry)
    if not is_file and os.path.basename(word) == word and not Path(word).suffix:
        unknown = _unknown_emitter(word, emitter_names())
        found = f"there is no file {word!r} here, and no library entry of that name"
        raise SpectrumError(Problem(found, unknown.allowed, unknown.cure))
    from lightdose.files.spectrum_file import read_spectrum

    return os.path.basename(word), os.path.abspath(word), read_spectrum(Path(word), word, quantity)


def calibration_sources(meters: Iterable[Meter]) -> dict[str, SpectralDistribution]:
    """The lights that meters were calibrated on by their CIE names, all but "A", which is a formula."""
    named = {m.calibrated_on for m in meters if isinstance(m.calibrated_on, str)} - {"A"}
    wanted = {"D65" if name == "unknown" else name for name in named}
    return {
        name: daylight_d65() if name == "D65" else read_emitter(f"white-{name.lower()}")
        for name in sorted(wanted)
    }


@cache
def daylight_d65() -> SpectralDistribution:
    """CIE standard illuminant D65."""
    table = _own_table("illuminants", "d65")
    return SpectralDistribution("D65", table.wavelength_nm, table.values, "power")


@cache
def reference_tables() -> ReferenceTables:
    """The tables that every run needs, at the centres of the working grid's cells."""
    nodes = node_tables()
    return ReferenceTables(
        photopic=_at_cell_centres(nodes.photopic),
        colour_matching=read_only([_at_cell_centres(t) for t in nodes.colour_matching]),
        pure_water_absorption_per_m=_own_table("water", "pure_water").on_grid(),
        usable={name: _zero_outside(table, GRID_NM) for name, table in nodes.usable.items()},
    )


@cache
def node_tables() -> NodeTables:
    """The weighting functions on the nodes of their own tables."""
    return NodeTables(
        photopic=_own_table("vision", "photopic"),
        colour_matching=(
            _own_table("vision", "cie1931_x"),
            _own_table("vision", "cie1931_y"),
            _own_table("vision", "cie1931_z"),
        ),
        usable=published_curves(data_file("zooxanthella", "published.csv")),
    )


def all_weighting_tables() -> NodeTables:
    """The same with our pigment models beside the published curves, for comparison."""
    known = node_tables()
    models = pigment_models(data_file("zooxanthella", "gaussians.csv"))
    return replace(known, usable={**known.usable, **models})


@cache
def hazard_tables() -> HazardTables:
    """The weightings of light by its danger to eyes and skin; only `hazard` and its short form need them."""
    blue_light, actinic_uv = (_own_table("hazard", name) for name in ("blue_light", "actinic_uv"))
    return HazardTables(_zero_outside(blue_light, GRID_NM), _zero_outside(actinic_uv, GRID_NM))


def typical_radiant_efficiency(spectrum: ChannelSpectrum) -> float:
    """Light out per electricity in, typical of the colour: our choice, from memory, within a factor of 2.

    A mix weighs its parts by the electricity that each needs for its share of the photons.
    """
    if isinstance(spectrum, LedPeak):
        return _efficiency_at(spectrum.peak_nm)
    if isinstance(spectrum, SpectrumMix):
        light_j = electricity_j = 0.0
        for part, share in spectrum.parts:
            energy_j = share / _mean_wavelength_nm(part)
            light_j += energy_j
            electricity_j += energy_j / typical_radiant_efficiency(part)
        return light_j / electricity_j
    power = _power_on_nodes(spectrum)
    nodes = spectrum.wavelength_nm
    total = _area(nodes, power)
    short = _area(nodes, np.where(nodes < _WHITE_SHORT_NM, power, 0.0)) / total
    long = _area(nodes, np.where(nodes > _WHITE_LONG_NM, power, 0.0)) / total
    if short > _WHITE_SHORT_SHARE and long > _WHITE_LONG_SHARE:
        return _typical_efficiencies()[2]
    return _efficiency_at(_mean_wavelength_nm(spectrum))


def _unknown_emitter(name: str, names: tuple[str, ...]) -> Problem:
    near = near_names(name.replace(" ", "-").replace("_", "-"), names, 3, cutoff=0.5)
    return Problem(
        found=f"the library has no emitter {name!r}",
        allowed=", ".join(names),
        cure=f"did you mean {' or '.join(repr(n) for n in near)}?" if near else "",
    )


def _read_own(path: Path) -> tuple[dict[str, str], FloatArray]:
    """Header entries and number columns, shape (n_column, n_row), of a shipped table."""
    header: dict[str, str] = {}
    lines = path.read_text(encoding="utf-8").splitlines()
    start = 0
    while lines[start].startswith("#"):
        key, _, value = lines[start][1:].partition(":")
        header[key.strip()] = value.strip()
        start += 1
    body = lines[start + 1 :]
    columns = np.array(",".join(body).split(","), dtype=np.float64).reshape(len(body), -1).T
    return header, columns


def _own_table(folder: str, name: str) -> SpectralTable:
    _, columns = _read_own(data_file(folder, f"{name}.csv"))
    return SpectralTable(name, columns[0], columns[1])


def _zero_outside(table: SpectralTable, wavelength_nm: FloatArray) -> FloatArray:
    return read_only(np.interp(wavelength_nm, table.wavelength_nm, table.values, left=0.0, right=0.0))


def _at_cell_centres(table: SpectralTable) -> FloatArray:
    """A 1 nm table half-way between its nodes, by the cubic through four of them.

    Straight lines would make V 0.16 % too high where it rises steeply, at 400-420 nm.
    """
    edges = np.arange(GRID_EDGES_NM[0] - 1, GRID_EDGES_NM[-1] + 2)
    w = _zero_outside(table, edges)
    return read_only(np.clip((9 * (w[1:-2] + w[2:-1]) - w[:-3] - w[3:]) / 16, 0.0, None))


@cache
def _typical_efficiencies() -> tuple[FloatArray, FloatArray, float]:
    """Wavelengths, efficiencies at them, and the efficiency of white LEDs."""
    lines = (_PACKAGE / "data" / "typical_efficiency.csv").read_text(encoding="utf-8").splitlines()
    rows = [line.split(",") for line in lines if not line.startswith(("#", "colour"))]
    single = np.array([(row[1], row[2]) for row in rows if row[1]], dtype=np.float64)
    white = next(float(row[2]) for row in rows if row[0] == "white")
    return read_only(single[:, 0]), read_only(single[:, 1]), white


def _efficiency_at(wavelength_nm: float) -> float:
    nodes, values, _ = _typical_efficiencies()
    return float(np.interp(wavelength_nm, nodes, values))


def _power_on_nodes(spectrum: SpectralDistribution) -> FloatArray:
    if spectrum.quantity == "power":
        return spectrum.values
    return spectrum.values / spectrum.wavelength_nm


def _mean_wavelength_nm(spectrum: ChannelSpectrum) -> float:
    """Power-weighted mean wavelength: photons per joule go with it."""
    if isinstance(spectrum, LedPeak):
        return spectrum.peak_nm
    if isinstance(spectrum, SpectrumMix):
        shares = sum(share for _, share in spectrum.parts)
        return shares / sum(share / _mean_wavelength_nm(part) for part, share in spectrum.parts)
    power = _power_on_nodes(spectrum)
    return _area(spectrum.wavelength_nm, power * spectrum.wavelength_nm) / _area(
        spectrum.wavelength_nm, power
    )


def _area(nodes: FloatArray, values: FloatArray) -> float:
    return float(np.sum(np.diff(nodes) * (values[1:] + values[:-1])) / 2)


MISSING = "missing"


def table_sums() -> list[tuple[str, str, str]]:
    """Every table of SOURCES.toml: its path, the sha256 that stands there, and that of the installed file.

    A table that lies there without a row has an empty sum to match.
    """
    rows = tomllib.loads(data_file("SOURCES.toml").read_text(encoding="utf-8"))["file"]
    expected = {row["path"]: row["sha256"] for row in rows}
    home = data_file()
    others = sorted(p.relative_to(home).as_posix() for p in home.rglob("*.csv"))
    own = tomllib.loads((_PACKAGE / "data" / "SOURCES.toml").read_text(encoding="utf-8"))["file"]
    return [
        *((name, expected.get(name, ""), _sum(home / name)) for name in dict.fromkeys([*expected, *others])),
        *((f"data/{row['path']}", row["sha256"], _sum(_PACKAGE / "data" / row["path"])) for row in own),
    ]


def packed_sums() -> list[tuple[str, str, str]]:
    """Every file that the wheel brought: its path, the sha256 in the wheel's own list, and that of the file.

    In a checkout there is no such list.
    """
    from importlib.metadata import PackageNotFoundError, files

    try:
        packed = [f for f in files("lightdose") or () if f.parts[0] == "lightdose" and f.hash is not None]
    except PackageNotFoundError:
        return []
    return [(str(f), _hex(f.hash.value), _sum(Path(str(f.locate())))) for f in packed if f.hash is not None]


def _hex(urlsafe: str) -> str:
    return base64.urlsafe_b64decode(urlsafe + "=" * (-len(urlsafe) % 4)).hex()


def schema_states(example: Path) -> list[tuple[str, str]]:
    """Every editor schema beside the example, and whether it is what the readers of the files check."""
    from lightdose.files.editor_schema import schemas

    states = []
    for name, text in schemas().items():
        path = example / "schemas" / name
        state = "as the readers check"
        if not path.is_file():
            state = MISSING
        elif path.read_text(encoding="utf-8") != text:
            state = "of another version"
        states.append((name, state))
    return states


def library_versions() -> list[tuple[str, str, str]]:
    """Every library that lightdose needs: its name, the least version asked for, and what is installed."""
    from importlib.metadata import PackageNotFoundError, requires

    try:
        lines = requires("lightdose") or []
    except PackageNotFoundError:
        return []
    found = (re.fullmatch(r"([\w.-]+)\s*>=\s*([\d.]+)", line) for line in lines)
    return [(match[1], match[2], version_of(match[1])) for match in found if match]


def is_at_least(found: str, least: str) -> bool:
    """Whether a version is the least one or later, by its leading numbers."""
    return found != MISSING and _numbers(found) >= _numbers(least)


def _numbers(text: str) -> list[int]:
    leading = re.match(r"\d+(?:\.\d+)*", text)
    return [int(part) for part in leading[0].split(".")] if leading else []


def version_of(name: str) -> str:
    """The installed version of a library, or ``MISSING``."""
    from importlib.metadata import PackageNotFoundError, version

    try:
        return version(name)
    except PackageNotFoundError:
        return MISSING


def _sum(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest() if path.is_file() else MISSING
