"""What a channel emits at full output, and how its fixture sends it.

Angles are those in the air: from straight down, and counter-clockwise from the fixture's own x axis.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from contextlib import suppress

import numpy as np

from lightdose.errors import Problem, SetupError, SpectrumError
from lightdose.model.fixture import Beam, Channel, CosineLobe, Fixture, Flux, PhotometricLobe, TabulatedLobe
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.spectrum import (
    GRID_EDGES_NM,
    GRID_NM,
    USABLE_CURVES,
    ChannelSpectrum,
    LedPeak,
    ReferenceTables,
    SpectrumMix,
    Weightings,
)
from lightdose.physics.photons import (
    cells_in_band,
    joules_per_photon,
    lux_per_umol,
    photon_nodes,
    resample_to_cells,
)
from lightdose.quantities import BANDS, GRID_END_NM, GRID_START_NM, PPFD_BAND

OHNO_FWHM_PER_D = 0.921823
"""Full width at half maximum of the LED shape in units of its width parameter D; closed form."""

_LEAST_SHARE = 1e-6
"""Below this share of photons a flux stated for that part says nothing about the whole: our choice."""


def photon_distribution(spectrum: ChannelSpectrum) -> FloatArray:
    """Share of a channel's photons in each 1 nm cell, 300-800 nm.

    Parameters
    ----------
    spectrum : a table, an LED by peak and width, or a mix by photon shares

    Returns
    -------
    array, shape (500,); sums to 1

    Raises
    ------
    SpectrumError
        If nothing lies within 300-800 nm, or the table is too coarse for its narrow peaks.

    Source
    ------
    LED: Ohno 2005, Optical Engineering 44:111302. Tables: conservative resampling, see ``bands``.
    """
    if isinstance(spectrum, SpectrumMix):
        total = sum(share for _, share in spectrum.parts)
        parts = [share / total * photon_distribution(part) for part, share in spectrum.parts]
        return np.asarray(np.sum(parts, axis=0))
    if isinstance(spectrum, LedPeak):
        cells = _led_photons(spectrum)
    else:
        nodes = photon_nodes(spectrum)
        if nodes.resolution == "too coarse":
            raise SpectrumError(
                Problem(
                    found=f"spectrum {spectrum.name!r}: {nodes.notes[0]}",
                    allowed="steps of 5 nm or less for an LED",
                    cure="use a finer table, or give the LED as { peak_nm = ..., fwhm_nm = ... }",
                )
            )
        cells = resample_to_cells(nodes.wavelength_nm, nodes.photons_per_nm)
    total = float(np.sum(cells))
    if not total > 0:
        raise SpectrumError("the spectrum has no light between 300 and 800 nm")
    return cells / total


def channel_emission(channel: Channel, tables: ReferenceTables) -> FloatArray:
    """Photons that a channel emits at full output, in each 1 nm cell.

    Parameters
    ----------
    channel : its flux may be stated in photons, watts of light, lumens, or electricity with an efficiency
    tables : for lumens

    Returns
    -------
    array, shape (500,). [umol s-1]

    Raises
    ------
    SetupError
        If the channel states no flux, or states it for a part of the spectrum where it has no light.

    Source
    ------
    Units: SI, exact. V(lambda) and Km: CIE 018:2019.
    """
    if channel.flux is None:
        raise SetupError(
            Problem(
                found=f"channel {channel.name!r} says nothing about how much light it gives",
                allowed="photon_flux_umol_s, ppf_umol_s, radiant_flux_w, luminous_flux_lm, or electrical_w "
                "with radiant_efficiency",
                cure='without a data sheet: electrical_w = 24 and radiant_efficiency = "typical" (good to '
                "about a factor of 2), or calibrate with meter readings",
                place=channel.place,
            )
        )
    try:
        distribution = photon_distribution(channel.spectrum)
    except SpectrumError as caught:
        if channel.place is None:
            raise
        raise SpectrumError(*(problem.at(channel.place) for problem in caught.problems)) from caught
    per_photon = _stated_per_photon(channel.flux, distribution, tables)
    if per_photon < _LEAST_SHARE:
        raise SetupError(
            Problem(
                found=f"channel {channel.name!r} states {channel.flux.kind} but its spectrum has next to no "
                "light there",
                cure="state photon_flux_umol_s (all photons of 300-800 nm) or radiant_flux_w",
                place=channel.place,
            )
        )
    stated = channel.flux.value * (channel.flux.radiant_efficiency or 1.0)
    return distribution * (stated / per_photon)


def _stated_per_photon(flux: Flux, distribution: FloatArray, tables: ReferenceTables) -> float:
    """How much of the stated quantity goes with one micromole per second of this light."""
    if flux.kind == "photon_flux_umol_s":
        return 1.0
    if flux.kind == "ppf_umol_s":
        return float(distribution @ cells_in_band(PPFD_BAND.low_nm, PPFD_BAND.high_nm))
    if flux.kind == "luminous_flux_lm":
        return float(distribution @ lux_per_umol(GRID_NM, tables.photopic))
    return float(distribution @ joules_per_photon(GRID_NM))


def _led_photons(led: LedPeak) -> FloatArray:
    """Closed-form integral of wavelength times LED shape over each cell."""
    width = led.fwhm_nm / OHNO_FWHM_PER_D
    return (_gauss_photons(led.peak_nm, width) + 2 * _gauss_photons(led.peak_nm, width / math.sqrt(5.0))) / 3


def _gauss_photons(centre_nm: float, width_nm: float) -> FloatArray:
    """Integral of l exp(-((l - centre)/width)^2) over each cell."""
    u = (GRID_EDGES_NM - centre_nm) / width_nm
    error_function = np.sign(u)
    near = np.abs(u) < 6  # beyond it is 1 to the last digit
    error_function[near] = [math.erf(x) for x in u[near].tolist()]
    antiderivative = centre_nm * width_nm * math.sqrt(
        math.pi
    ) / 2 * error_function - width_nm**2 / 2 * np.exp(-(u**2))
    return np.clip(np.diff(antiderivative), 0.0, None)


DOSE_WEIGHTINGS = (
    "ppfd",
    "photons",
    "uv_a",
    "blue",
    "green",
    "red",
    "far_red",
    "below_390",
    "lux",
    *(f"usable_{curve}" for curve in USABLE_CURVES),
)

TEN_NM_WEIGHTINGS = tuple(f"nm_{low}_{low + 10}" for low in range(GRID_START_NM, GRID_END_NM, 10))
"""Photons in each 10 nm of the working grid."""

TRISTIMULUS_WEIGHTINGS = ("cie_x", "cie_y", "cie_z")
"""CIE 1931 tristimulus values X, Y, Z, scaled so that Y is the illuminance in lux."""

_SHORT_WAVE_LIMIT_NM = 390.0
"""Photons below count as ultraviolet for the caution about it: our choice, the evidence is at 380 nm."""


def weighting_matrix(tables: ReferenceTables, keys: Sequence[str] = DOSE_WEIGHTINGS) -> Weightings:
    """The rows that turn photons per cell into quantities: ``weigh`` multiplies by them.

    ppfd 400-700 nm; photons 300-800 nm; the colour bands of ``quantities``; below_390; lux; usable_* PPFD
    weighted by what symbionts use of it, relative; nm_400_410 and the like, photons of those 10 nm;
    cie_x, cie_y, cie_z tristimulus values.

    Parameters
    ----------
    tables : reference tables on the working grid
    keys : names of weightings, in the order wanted

    Returns
    -------
    Weightings, matrix of shape (n_key, 500)

    Raises
    ------
    SpectrumError
        If a key is not known; names the known ones.

    Source
    ------
    Bands: see ``quantities``. Lux: CIE 018:2019. Tristimulus values: CIE 015:2018. Usable light: nine
    published action and absorption spectra (spectra/zooxanthella/published.csv).
    """
    return Weightings(tuple(keys), np.array([_row(key, tables) for key in keys]).reshape(len(keys), -1))


def weigh(cells: FloatArray, weightings: Weightings) -> FloatArray:
    """Quantities of one or many spectra: one matrix product.

    Parameters
    ----------
    cells : array, shape (..., 500); photons per cell
    weightings : n_weighting rows

    Returns
    -------
    array, shape (..., n_weighting)
    """
    return np.asarray(cells @ weightings.matrix.T)


def _row(key: str, tables: ReferenceTables) -> FloatArray:
    if key == "photons":
        return np.ones_like(GRID_NM)
    if key == "below_390":
        return cells_in_band(0.0, _SHORT_WAVE_LIMIT_NM)
    if key == "lux":
        return lux_per_umol(GRID_NM, tables.photopic)
    for band in (PPFD_BAND, *BANDS):
        if key == band.key:
            return cells_in_band(band.low_nm, band.high_nm)
    if key in TRISTIMULUS_WEIGHTINGS:
        return lux_per_umol(GRID_NM, tables.colour_matching[TRISTIMULUS_WEIGHTINGS.index(key)])
    if key in TEN_NM_WEIGHTINGS:
        _, low, high = key.split("_")
        return cells_in_band(float(low), float(high))
    curve = tables.usable.get(key.removeprefix("usable_"))
    if key.startswith("usable_") and curve is not None:
        return curve
    named = (name for name in DOSE_WEIGHTINGS if not name.startswith("usable_"))
    known = [*named, *(f"usable_{name}" for name in tables.usable)]
    raise SpectrumError(f"there is no weighting {key!r}; known: {', '.join(known)}")


def cosine_exponent(fwhm_deg: float) -> float:
    """Exponent m of a cos^m lobe from its full width at half maximum.

    m = ln 0.5 / ln cos(FWHM / 2): 60 deg 4.82, 90 deg 2, 120 deg 1.

    Parameters
    ----------
    fwhm_deg : float
        Full width at half maximum. [deg]

    Returns
    -------
    float
        Exponent.

    Source
    ------
    Definition of the half-width of cos^m.
    """
    return math.log(0.5) / math.log(math.cos(math.radians(fwhm_deg) / 2))


def _cone_integrals(angle_rad: FloatArray, relative: FloatArray) -> FloatArray:
    """Integral of I sin(angle) over the angle for I linear between nodes, along the last axis."""
    low, high = angle_rad[:-1], angle_rad[1:]
    before, after = relative[..., :-1], relative[..., 1:]
    # (sin(high) - sin(low)) / (high - low), which holds for nodes that rounding put into one place too.
    chord = np.cos((low + high) / 2) * np.sinc((high - low) / (2 * np.pi))
    parts = before * np.cos(low) - after * np.cos(high) + (after - before) * chord
    return np.asarray(parts.sum(axis=-1))


def hemisphere_flux(beam: Beam) -> float:
    """Flux of the lobe into the lower hemisphere, in the lobe's own intensity unit times steradian.

    Exact for each kind: 2 pi / (m + 1) for cos^m at an axial intensity of 1, closed segments for tables that
    are linear in angle.

    Parameters
    ----------
    beam : CosineLobe, TabulatedLobe or PhotometricLobe

    Returns
    -------
    float
        Integral of intensity over solid angle. [unit sr]

    Source
    ------
    Definition of flux; integral of (p + q t) sin t in closed form.
    """
    if isinstance(beam, CosineLobe):
        return 2 * math.pi / (cosine_exponent(beam.fwhm_deg) + 1)
    if isinstance(beam, TabulatedLobe):
        return 2 * math.pi * float(_cone_integrals(np.radians(beam.angle_deg), beam.relative))
    planes = _cone_integrals(np.radians(beam.gamma_deg), beam.relative)
    return float(np.sum(np.diff(np.radians(beam.c_deg)) * 0.5 * (planes[1:] + planes[:-1])))


def _axial(beam: PhotometricLobe, angle_deg: FloatArray, turn_deg: FloatArray) -> FloatArray:
    """Bilinear intensity between the planes of a photometric distribution; zero beyond its last angle."""
    turn = np.mod(turn_deg, 360.0)
    plane = np.clip(np.searchsorted(beam.c_deg, turn, side="right") - 1, 0, beam.c_deg.size - 2)
    ring = np.clip(np.searchsorted(beam.gamma_deg, angle_deg, side="right") - 1, 0, beam.gamma_deg.size - 2)
    along = (turn - beam.c_deg[plane]) / (beam.c_deg[plane + 1] - beam.c_deg[plane])
    out = (angle_deg - beam.gamma_deg[ring]) / (beam.gamma_deg[ring + 1] - beam.gamma_deg[ring])
    table = beam.relative
    near = table[plane, ring] * (1 - out) + table[plane, ring + 1] * out
    far = table[plane + 1, ring] * (1 - out) + table[plane + 1, ring + 1] * out
    return np.where(angle_deg > beam.gamma_deg[-1], 0.0, near * (1 - along) + far * along)


def intensity_per_flux(
    beam: Beam, tangent: FloatArray, cosine: FloatArray, turn_rad: FloatArray | None = None
) -> FloatArray:
    """Intensity of a lobe whose flux is one, towards directions in the air.

    Parameters
    ----------
    beam : CosineLobe, TabulatedLobe or PhotometricLobe
    tangent, cosine : array, shape (n,)
        Tangent and cosine of the angle from straight down.
    turn_rad : array, shape (n,), optional
        Direction counter-clockwise from the fixture's own x axis; only a PhotometricLobe needs it. [rad]

    Returns
    -------
    array, shape (n,)
        Intensity per unit flux. [sr-1]

    Source
    ------
    I = I0 cos^m with I0 = flux (m + 1) / (2 pi); tables linear in angle, CIE 121 axes C and gamma.
    """
    scale = 1 / hemisphere_flux(beam)
    if isinstance(beam, CosineLobe):
        exponent = cosine_exponent(beam.fwhm_deg)
        whole = round(exponent)
        if abs(exponent - whole) < 1e-12 and 1 <= whole <= 3:
            powers = {1: cosine, 2: cosine * cosine, 3: cosine * cosine * cosine}
            return scale * powers[whole]
        return scale * np.exp(exponent * np.log(cosine))
    angle_deg = np.degrees(np.arctan(tangent))
    if isinstance(beam, TabulatedLobe):
        return scale * np.interp(angle_deg, beam.angle_deg, beam.relative, right=0.0)
    turn = np.zeros_like(angle_deg) if turn_rad is None else np.degrees(turn_rad)
    return scale * _axial(beam, angle_deg, turn)


def same_beam(one: Beam, other: Beam) -> bool:
    """Whether two lobes give the same light in every direction.

    Parameters
    ----------
    one, other : CosineLobe, TabulatedLobe or PhotometricLobe
    """
    if one is other:
        return True
    if isinstance(one, CosineLobe) and isinstance(other, CosineLobe):
        return one.fwhm_deg == other.fwhm_deg
    if isinstance(one, TabulatedLobe) and isinstance(other, TabulatedLobe):
        return np.array_equal(one.angle_deg, other.angle_deg) and np.array_equal(one.relative, other.relative)
    if isinstance(one, PhotometricLobe) and isinstance(other, PhotometricLobe):
        return all(
            np.array_equal(getattr(one, name), getattr(other, name))
            for name in ("c_deg", "gamma_deg", "relative")
        )
    return False


def distinct_beams(beams: Sequence[Beam]) -> tuple[tuple[Beam, ...], tuple[int, ...]]:
    """The different lobes of a fixture, and for each channel which of them it has.

    Returns
    -------
    tuple of lobes, tuple of int
        Distinct lobes in order of appearance, and an index into them for each channel.
    """
    found: list[Beam] = []
    which: list[int] = []
    for beam in beams:
        for index, known in enumerate(found):
            if same_beam(known, beam):
                which.append(index)
                break
        else:
            which.append(len(found))
            found.append(beam)
    return tuple(found), tuple(which)


LARGEST_CELL_M = 0.06
"""Side of a cell at most; the image edges are softened over its width. Our choice, by trial."""

CELL_PER_HEIGHT = 0.4
"""Side of a cell at most, in heights of the lamp above the water. Our choice, by trial."""

SMALLEST_CUT_M = 0.012
"""Sides below this are not cut."""

CELLS_AT_MOST = 4096
PLACES_AT_LEAST = 48
"""Places of a whole lamp from which it is asked whether a solid stands in the way: the edge of a shadow has
as many steps. Our choice, by trial."""

CELLS_TO_ASK_ONCE = 12
GOLDEN = (math.sqrt(5) - 1) / 2


@dataclass(frozen=True, eq=False)
class SourceCells:
    """Point sources that stand for a fixture, each with an equal share of its light.

    Attributes
    ----------
    x_m, y_m : array, shape (n_cell,); where rays start. [m]
    inset_x_m, inset_y_m : array, shape (n_cell,); from there to the middle of the cell. [m]
    asked_x_m, asked_y_m : array, shape (n_place, n_cell); from there to the places in the cell from which
        it is asked whether a solid stands in the way: ``asked_first`` of them for every ray, the others at
        the edges of shadows. [m]
    height_m : height above the water. [m]
    spread_x_m, spread_y_m : width of a cell as seen along x and y, 0 for a point. [m]
    turn_rad : rotation of the fixture, counter-clockwise from above. [rad]
    """

    x_m: FloatArray
    y_m: FloatArray
    inset_x_m: FloatArray
    inset_y_m: FloatArray
    asked_x_m: FloatArray
    asked_y_m: FloatArray
    height_m: float
    spread_x_m: float
    spread_y_m: float
    turn_rad: float

    @property
    def asked_first(self) -> int:
        """Places from which every ray is asked: two in few cells, lest a pebble stands between them."""
        return 2 if 1 < self.x_m.size < CELLS_TO_ASK_ONCE else 1


def _cut(side_m: float, largest_m: float) -> tuple[FloatArray, FloatArray, float]:
    """Starts of rays and middles of the cells along one side, about its middle; width of a cell. [m]

    With two or more cells, rays start a little further out than the middles, so that they have the same
    second moment as the whole side: the error then falls with the fourth power of the cell, not the second.
    """
    count = max(1 if side_m < SMALLEST_CUT_M else 2, math.ceil(side_m / largest_m - 1e-9))
    middles = ((np.arange(count) + 0.5) / count - 0.5) * side_m
    starts = middles / math.sqrt(1 - 1 / count**2) if count > 1 else middles
    return starts, middles, side_m / count


def _places_asked(columns: int, rows: int) -> tuple[FloatArray, FloatArray]:
    """Places in each cell of a grid, from its middle, in sides of a cell: along and aside, (n_place, n_cell).

    The first lie on the outline of the grid, corners among them: a straight edge that covers a part of it
    covers one of them. The others are one in each part of a cell, the more the fewer cells there are. No two
    of them share a level along either side, and all levels are evenly spaced: an edge that crosses the grid
    passes one place after the other, not a whole row of middles at once.

    Source
    ------
    Multi-jittered samples, Chiu, Shirley & Wang 1994, Graphics Gems IV (from memory), without chance: within
    their row and column places go in steps of the golden section.
    """
    cells = columns * rows
    cut = math.ceil(math.sqrt(PLACES_AT_LEAST / cells)) if cells > 1 else 1
    column, row = np.meshgrid(np.arange(cut * columns), np.arange(cut * rows))
    along = (column % cut + (_turn(cut * rows)[row] + 0.5) / (cut * rows)) / cut - 0.5
    aside = (row % cut + (_turn(cut * columns)[column] + 0.5) / (cut * columns)) / cut - 0.5
    outer_along, outer_aside = (grid.ravel() for grid in np.meshgrid(_outline(columns), _outline(rows)))
    # what comes first of one cell lies in another part of it than what comes first of the next
    turn = (np.arange(cut**2)[:, None] + np.arange(cells)) % cut**2
    inner_along, inner_aside = (
        np.take_along_axis(
            grid.reshape(rows, cut, columns, cut).transpose(1, 3, 0, 2).reshape(cut**2, cells), turn, axis=0
        )
        for grid in (along, aside)
    )
    return np.vstack((outer_along, inner_along)), np.vstack((outer_aside, inner_aside))


def _outline(count: int) -> FloatArray:
    """Outer edges of the first and the last of some cells, and middles of the others, in sides of a cell."""
    places = np.zeros(count)
    if count > 1:
        places[0], places[-1] = -0.5, 0.5
    return places


def _turn(count: int) -> FloatArray:
    """0 to count - 1, each once, neighbours far apart."""
    return np.argsort(np.argsort((np.arange(count) * GOLDEN) % 1.0)).astype(np.float64)


def source_cells(fixture: Fixture, coarseness: float = 1.0) -> SourceCells:
    """Cut a fixture's aperture into cells of at most ``LARGEST_CELL_M``, smaller ones for a low lamp.

    Parameters
    ----------
    fixture : Fixture
    coarseness : float
        Multiplies the largest side of a cell.

    Raises
    ------
    SetupError
        If the aperture needs more than ``CELLS_AT_MOST`` cells.

    Source
    ------
    Two-point and midpoint rules with the exact second moment.
    """
    aperture = fixture.type.aperture
    largest = coarseness * min(LARGEST_CELL_M, max(CELL_PER_HEIGHT * fixture.height_m, SMALLEST_CUT_M))
    xs, middle_xs, length = _cut(aperture.length_m, largest)
    ys, middle_ys, width = _cut(aperture.width_m, largest)
    if xs.size * ys.size > CELLS_AT_MOST:
        raise SetupError(
            Problem(
                f"the aperture of fixture {fixture.name!r}, {aperture.length_m:g} x {aperture.width_m:g} m, "
                f"needs {xs.size * ys.size} cells of {100 * largest:.2g} cm "
                f"when hung {100 * fixture.height_m:.3g} cm high",
                allowed=f"at most {CELLS_AT_MOST} cells",
                cure="check the unit of the aperture, or describe it as several fixtures",
                place=fixture.type.aperture_place,
            )
        )
    along, aside = (grid.ravel() for grid in np.meshgrid(xs, ys))
    in_x, in_y = (grid.ravel() for grid in np.meshgrid(middle_xs - xs, middle_ys - ys))
    asked_x, asked_y = _places_asked(xs.size, ys.size)
    turn = math.radians(fixture.rotation_deg % 360.0)
    cosine, sine = math.cos(turn), math.sin(turn)

    def turned(along_m: FloatArray, aside_m: FloatArray) -> tuple[FloatArray, FloatArray]:
        return cosine * along_m - sine * aside_m, sine * along_m + cosine * aside_m

    x, y = turned(along, aside)
    return SourceCells(
        fixture.x_m + x,
        fixture.y_m + y,
        *turned(in_x, in_y),
        *turned(in_x + length * asked_x, in_y + width * asked_y),
        fixture.height_m,
        abs(cosine) * length + abs(sine) * width,
        abs(sine) * length + abs(cosine) * width,
        turn,
    )


def bounded_source_cells(fixture: Fixture, most: int) -> SourceCells:
    """The cells of a fixture, coarser than ``source_cells`` cuts them where these would be too many.

    For small changes of a fixture whose own cells are few enough: what a shift does matters there, not the
    last percent.

    Source
    ------
    Our choice: a quarter coarser, again and again, until at most ``most`` are left.
    """
    coarseness = 1.0
    while True:
        with suppress(SetupError):
            cells = source_cells(fixture, coarseness)
            if cells.x_m.size <= max(4, most):
                return cells
        coarseness *= 1.25
