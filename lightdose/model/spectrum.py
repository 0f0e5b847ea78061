"""Spectra as the user gives them, the working grid, the tables on it, and the meters that read light."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Final, Literal, get_args

import numpy as np

from lightdose.errors import Place, SpectrumError
from lightdose.model.record import FloatArray, dataclass, read_only
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
        try:
            nodes, values = read_only(self.wavelength_nm), read_only(self.values)
        except (TypeError, ValueError, OverflowError):
            raise TypeError(f"spectrum {self.name!r}: wavelengths and values are lists of numbers") from None
        for what, word, known in (
            ("quantity", self.quantity, get_args(Quantity)),
            ("absolute_unit", self.absolute_unit, (None, *get_args(AbsoluteUnit))),
        ):
            if (word is not None and not isinstance(word, str)) or word not in known:
                wanted = ", ".join(map(repr, known))
                raise SpectrumError(f"spectrum {self.name!r}: {what} is one of {wanted}, not {word!r}")
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


def _is_number(value: object) -> bool:
    """Whether a value is a number, of Python or of numpy, that a float holds."""
    try:
        float(value)  # type: ignore[arg-type]
    except (TypeError, ValueError, OverflowError):
        return False
    return not isinstance(value, str | bytes)


@dataclass(frozen=True)
class LedPeak:
    """A single-colour LED given by its peak and its full width at half maximum. [nm]"""

    peak_nm: float
    fwhm_nm: float

    def __post_init__(self) -> None:
        for what, value in (("peak_nm", self.peak_nm), ("fwhm_nm", self.fwhm_nm)):
            if not _is_number(value):
                raise TypeError(f"{what}: a number of nm, such as 450 in Led(450, 20), not {value!r}")
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
LightColour = Literal["violet", "blue", "cyan", "green", "amber", "red", "far red", "white"]
COLOUR_ENDS_NM: Final[tuple[tuple[float, LightColour], ...]] = (
    (430, "violet"),
    (485, "blue"),
    (515, "cyan"),
    (565, "green"),
    (610, "amber"),
    (700, "red"),
)
"""Below which peak wavelength a light has each colour. Our choice: where the names of the trade change."""

NEAR_PEAK_NM, BROAD_SHARE = 40.0, 0.6
"""Light with less than this share of its photons so near to its peak is white or mixed: our choice."""


def light_colour(spectrum: ChannelSpectrum) -> LightColour:
    """The name of a light's colour, by its peak wavelength; "white" for broad and mixed light."""
    shares = _colour_shares(spectrum, 1.0)
    strongest = max(shares, key=lambda colour: shares[colour])
    return strongest if shares[strongest] >= BROAD_SHARE * sum(shares.values()) else "white"


def _colour_shares(spectrum: ChannelSpectrum, share: float) -> dict[LightColour, float]:
    """Colour -> share of the photons of a spectrum's parts."""
    if isinstance(spectrum, LedPeak):
        narrow = spectrum.fwhm_nm <= 2 * NEAR_PEAK_NM
        return {_colour_at(spectrum.peak_nm) if narrow else "white": share}
    if isinstance(spectrum, SpectralDistribution):
        return {_tabulated_colour(spectrum): share}
    total = sum(part_share for _, part_share in spectrum.parts)
    shares: dict[LightColour, float] = {}
    for part, part_share in spectrum.parts:
        for colour, amount in _colour_shares(part, share * part_share / total).items():
            shares[colour] = shares.get(colour, 0.0) + amount
    return shares


def _tabulated_colour(spectrum: SpectralDistribution) -> LightColour:
    nodes = spectrum.wavelength_nm
    photons = spectrum.values * (nodes if spectrum.quantity == "power" else 1.0)
    amount = photons * np.gradient(nodes)
    peak_nm = float(nodes[int(np.argmax(photons))])
    near = float(amount[np.abs(nodes - peak_nm) <= NEAR_PEAK_NM].sum())
    return _colour_at(peak_nm) if near >= BROAD_SHARE * float(amount.sum()) else "white"


def _colour_at(peak_nm: float) -> LightColour:
    for end_nm, colour in COLOUR_ENDS_NM:
        if peak_nm < end_nm:
            return colour
    return "far red"


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


NAMED_CURVES = (
    "favia_action",
    "acropora_action",
    "dinoflagellate_low_light_action",
    "dinoflagellate_high_light_action",
    "symbiodinium_absorption",
)
"""Published curves of what symbionts use, each from a named study; their mean is the default."""

MEAN_CURVE = "mean"
USABLE_CURVES = (
    MEAN_CURVE,
    *NAMED_CURVES,
    "chlorophyll_default",
    "symbiodinium_blue_grown",
    "symbiodinium_red_grown",
    "symbiodinium_green_grown",
)
"""The default, and the nine published curves that span it."""

PIGMENT_MODELS = ("z1", "z2", "z4", "tissue")
"""Curves modelled by us from pigments, for comparison only."""


@dataclass(frozen=True, eq=False)
class ReferenceTables:
    """The published and modelled tables that every run needs, at the centres ``GRID_NM``, shape (500,) each.

    Attributes
    ----------
    photopic : V(lambda), 0-1
    colour_matching : array, shape (3, 500); CIE 1931 x, y, z
    pure_water_absorption_per_m : base e. [m-1]
    usable : name of curve, those of ``USABLE_CURVES`` -> relative use per photon, at most 1, zero outside
        400-700 nm
    """

    photopic: FloatArray
    colour_matching: FloatArray
    pure_water_absorption_per_m: FloatArray
    usable: Mapping[str, FloatArray]


@dataclass(frozen=True, eq=False)
class NodeTables:
    """The weighting functions on the nodes of their own tables, for spectra that keep their nodes too.

    Attributes
    ----------
    photopic : V(lambda), 1 nm
    colour_matching : CIE 1931 x, y, z, 1 nm
    usable : name of curve -> relative use per photon, 0.5 nm, 400-700 nm
    """

    photopic: SpectralTable
    colour_matching: tuple[SpectralTable, SpectralTable, SpectralTable]
    usable: Mapping[str, SpectralTable]


@dataclass(frozen=True, eq=False)
class Weightings:
    """Columns that turn photons per 1 nm cell into quantities.

    Attributes
    ----------
    keys : n names such as "ppfd", "blue", "lux", "usable_mean"
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


@dataclass(frozen=True, eq=False)
class HazardTables:
    """Hazard weightings of spectral power at ``GRID_NM``, shape (500,) each.

    Attributes
    ----------
    blue_light : B(lambda), 0-1
    actinic_uv : S(lambda), 0-1; zero above 400 nm
    """

    blue_light: FloatArray
    actinic_uv: FloatArray

    def __post_init__(self) -> None:
        for name in ("blue_light", "actinic_uv"):
            values = read_only(getattr(self, name))
            if values.shape != GRID_NM.shape or not np.all((values >= 0) & (values <= 1)):
                raise SpectrumError(f"{name} needs {GRID_NM.size} values of 0 to 1")
            object.__setattr__(self, name, values)


@dataclass(frozen=True)
class SpectrumMetrics:
    """Photon metrics of one spectrum, as `spectrum` reports them; absolute ones are None if relative."""

    file: str
    ppfd_umol_m2_s: float | None
    ppf_umol_s: float | None
    umol_per_j: float | None
    lux_per_umol: float | None
    band_fraction: Mapping[str, float | None]
    outside_400_700_fraction: float | None
    usable_fraction: Mapping[str, float | None]
    chromaticity_xy: tuple[float, float] | None
    cct_k: float | None
    duv: float | None
    notes: tuple[str, ...] = ()


ReadsQuantity = Literal["umol", "lux"]
READING_UNITS: Final[Mapping[ReadsQuantity, str]] = {"umol": "umol/m2/s", "lux": "lx"}
"""As people read them."""
Immersion = float | Literal["built in", "unknown"]
SensorShape = Literal["ideal", "short-red", "soft", "tilted", "silicon", "v-lambda"]
SENSOR_SHAPES: tuple[SensorShape, ...] = ("ideal", "short-red", "soft", "tilted", "silicon", "v-lambda")


@dataclass(frozen=True, eq=False)
class Meter:
    """A light meter as its owner describes it.

    ``immersion`` is a factor, "built in", "unknown" (1.0-1.4), or None where it was not given: readings under
    water then refuse to guess. ``reads_up_to`` is the end of its range in the unit that it reads, None where
    that is not known.
    """

    name: str
    reads: ReadsQuantity
    response: SensorShape | SpectralTable = "ideal"
    calibrated_on: str | SpectralDistribution = "A"
    immersion: Immersion | None = None
    standard_uncertainty: float = 0.025
    reads_up_to: float | None = None

    @property
    def states_no_response(self) -> bool:
        """Whether this is a lux meter of which no curve is known."""
        return self.reads == "lux" and isinstance(self.response, str)


@dataclass(frozen=True)
class Reading:
    """One figure that a meter showed, as shown: nothing is corrected yet.

    Attributes
    ----------
    place : the row in its file
    value : 0 where the meter stayed dark, else above. [umol m-2 s-1 or lx, by ``unit``]
    site : name of the site, or None for a free point
    x_m, y_m, depth_m : where the sensor was; a negative depth is above the water. [m]
    time_h : time of the programme, or None where ``levels`` says what was on. [h]
    levels : (fixture, channel) -> level 0-1; channels that are not named were off
    meter : name of the meter in the setup, or None
    date : ISO 8601, or None
    pair : the same text in the readings that several meters made at one spot at one time, or None
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
    pair: str | None = None

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
