"""Spectra as the user gives them, the working grid, and weightings on that grid."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

import numpy as np

from lightdose.errors import SpectrumError
from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.record import dataclass
from lightdose.quantities import GRID_END_NM, GRID_START_NM

GRID_EDGES_NM = read_only(np.arange(GRID_START_NM, GRID_END_NM + 1, dtype=np.float64))
"""Edges of the working grid's cells, shape (501,). [nm]"""

GRID_NM = read_only(0.5 * (GRID_EDGES_NM[:-1] + GRID_EDGES_NM[1:]))
"""Centres of the working grid's 1 nm cells, shape (500,): 300.5 ... 799.5. [nm]

Cells, not nodes: a cell holds the photons between two whole nanometres, so every colour band with
whole-numbered edges is an exact sum of cells.
"""

Quantity = Literal["power", "photons"]
AbsoluteUnit = Literal["W m-2 nm-1", "W nm-1", "umol m-2 s-1 nm-1", "umol s-1 nm-1"]


@dataclass(frozen=True, eq=False)
class SpectralDistribution:
    """A spectrum on its own nodes, as measured or tabulated; nothing is resampled here.

    Attributes
    ----------
    wavelength_nm : array, shape (n,), increasing. [nm]
    values : array, shape (n,), not negative; per nanometre
    quantity : "power" (energy per nm) or "photons" (photons per nm)
    absolute_unit : unit of ``values``, or None when they are relative
    notes : what a reader should know ("3 negative values set to zero")
    """

    name: str
    wavelength_nm: FloatArray
    values: FloatArray
    quantity: Quantity
    absolute_unit: AbsoluteUnit | None = None
    origin: str = ""
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        nodes, values = read_only(self.wavelength_nm), read_only(self.values)
        if nodes.ndim != 1 or nodes.shape != values.shape or nodes.size < 2:
            raise SpectrumError(f"spectrum {self.name!r} needs two or more pairs of wavelength and value")
        if not (np.all(np.isfinite(nodes)) and np.all(np.isfinite(values))):
            raise SpectrumError(f"spectrum {self.name!r} holds a value that is not a finite number")
        if np.any(np.diff(nodes) <= 0):
            raise SpectrumError(f"the wavelengths of spectrum {self.name!r} do not increase")
        if np.any(values < 0):
            raise SpectrumError(f"spectrum {self.name!r} holds negative values")
        if not np.any(values > 0):
            raise SpectrumError(f"spectrum {self.name!r} is zero everywhere")
        object.__setattr__(self, "wavelength_nm", nodes)
        object.__setattr__(self, "values", values)


@dataclass(frozen=True)
class LedPeak:
    """A single-colour LED given by its peak and its full width at half maximum. [nm]"""

    peak_nm: float
    fwhm_nm: float

    def __post_init__(self) -> None:
        if not GRID_START_NM <= self.peak_nm <= GRID_END_NM:
            raise SpectrumError(f"peak {self.peak_nm:g} nm is outside {GRID_START_NM} to {GRID_END_NM} nm")
        if not 1 <= self.fwhm_nm <= 200:
            raise SpectrumError(f"width {self.fwhm_nm:g} nm is outside 1 to 200 nm")


@dataclass(frozen=True)
class SpectrumMix:
    """Several spectra added by their share of photons (300-800 nm); shares are normalised to sum 1."""

    parts: tuple[tuple[ChannelSpectrum, float], ...]

    def __post_init__(self) -> None:
        if not self.parts or not all(np.isfinite(s) and s > 0 for _, s in self.parts):
            raise SpectrumError("a mix needs one or more parts, each with a share above 0")


ChannelSpectrum = SpectralDistribution | LedPeak | SpectrumMix


@dataclass(frozen=True, eq=False)
class SpectralTable:
    """Any other function of wavelength (absorption, transmittance, a sensor's response); ends are held.

    ``notes`` says what its reader understood and did.
    """

    name: str
    wavelength_nm: FloatArray
    values: FloatArray
    notes: tuple[str, ...] = ()

    def __post_init__(self) -> None:
        nodes, values = read_only(self.wavelength_nm), read_only(self.values)
        if nodes.ndim != 1 or nodes.shape != values.shape or nodes.size < 1:
            raise SpectrumError(f"table {self.name!r} needs pairs of wavelength and value")
        if not (np.all(np.isfinite(nodes)) and np.all(np.isfinite(values))) or np.any(np.diff(nodes) <= 0):
            raise SpectrumError(f"table {self.name!r} needs increasing wavelengths and finite values")
        object.__setattr__(self, "wavelength_nm", nodes)
        object.__setattr__(self, "values", values)

    def on_grid(self) -> FloatArray:
        """Linear interpolation at ``GRID_NM``, ends held; shape (500,)."""
        return read_only(np.interp(GRID_NM, self.wavelength_nm, self.values))


@dataclass(frozen=True, eq=False)
class ReferenceTables:
    """The published and modelled tables that every run needs, at the centres ``GRID_NM``, shape (500,) each.

    Attributes
    ----------
    photopic : V(lambda), 0-1
    colour_matching : array, shape (3, 500); CIE 1931 x, y, z
    pure_water_absorption_per_m : base e. [m-1]
    zooxanthella : name of curve ("z1", "z2", "z4", "tissue") -> relative absorption per photon, maximum 1,
        zero outside 400-700 nm
    """

    photopic: FloatArray
    colour_matching: FloatArray
    pure_water_absorption_per_m: FloatArray
    zooxanthella: Mapping[str, FloatArray]


@dataclass(frozen=True, eq=False)
class NodeTables:
    """The weighting functions on the nodes of their own tables, for spectra that keep their nodes too.

    Attributes
    ----------
    photopic : V(lambda), 1 nm
    colour_matching : CIE 1931 x, y, z, 1 nm
    zooxanthella : name of curve -> relative absorption per photon, 1 nm, 380-750 nm
    """

    photopic: SpectralTable
    colour_matching: tuple[SpectralTable, SpectralTable, SpectralTable]
    zooxanthella: Mapping[str, SpectralTable]


@dataclass(frozen=True, eq=False)
class Weightings:
    """Columns that turn photons per 1 nm cell into quantities.

    Attributes
    ----------
    keys : n names such as "ppfd", "blue", "lux", "usable_z1"
    matrix : array, shape (n, 500); quantity per umol m-2 s-1 of photons in that cell
    """

    keys: tuple[str, ...]
    matrix: FloatArray = field(repr=False)

    def __post_init__(self) -> None:
        matrix = read_only(self.matrix)
        if matrix.shape != (len(self.keys), GRID_NM.size):
            raise SpectrumError(
                f"weightings need the shape ({len(self.keys)}, {GRID_NM.size}), got {matrix.shape}"
            )
        object.__setattr__(self, "matrix", matrix)
