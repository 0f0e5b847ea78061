"""The whole program as a handful of lines: from a setup to the day's light and what it means.

    channel flux x spectrum x beam x water x walls  ->  response at full output
    response x schedule                             ->  day curve  ->  dose  ->  verdict

A reader who opens only this module knows the way of the data.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import numpy.typing as npt

from lightdose import __version__
from lightdose.errors import LightdoseError, Problem, SetupError
from lightdose.files.library import hazard_tables, reference_tables
from lightdose.files.reef_light import reef_light
from lightdose.judge.cautions import find_cautions
from lightdose.judge.drawn_light import SEED, Draw, draw_doses
from lightdose.judge.hazard import find_hazards
from lightdose.judge.uncertain_inputs import basis_of
from lightdose.judge.uncertainty import with_certainty
from lightdose.judge.verdict import judge_corals
from lightdose.model import results
from lightdose.model.fixture import Channel, Fixture, Flux
from lightdose.model.light import DayCurve, LightField, Scene, SideDoses, SiteDay, SiteSpectrum
from lightdose.model.record import FloatArray
from lightdose.model.setup import Setup
from lightdose.model.spectrum import GRID_NM, SpectralTable, Weightings
from lightdose.physics.day_curve import day_curve, fixture_use
from lightdose.physics.dose import daily_dose, daily_light_integral, peak_and_photoperiod
from lightdose.physics.emission import DOSE_WEIGHTINGS, channel_emission, source_cells, weighting_matrix
from lightdose.physics.field_limits import refuse_too_many_places
from lightdose.physics.light_field import (
    PreparedField,
    prepare_field,
    response_at,
    response_chunks,
    spectral_transfer,
)
from lightdose.physics.reef import reef_depths_m

if TYPE_CHECKING:
    import pandas as pd

    from lightdose.python.shown import Found


Wanted = str | Sequence[str] | Mapping[str, tuple[npt.ArrayLike, npt.ArrayLike]]
"""Weightings by name, or own ones as wavelengths and values."""


class Analysis(results.Analysis):
    """Everything `dose` knows, as Python gets it."""

    def to_frame(self) -> pd.DataFrame:
        """The rows of `dose --csv` as a pandas table, by coral and site."""
        return self._found().to_frame()

    def to_dict(self) -> dict[str, Any]:
        """The object that `dose --json` prints, without its actions: ``lightdose.dose`` finds those."""
        return self._found().to_dict()

    def ppfd(self, site: str, hours: npt.ArrayLike) -> FloatArray:
        """Light at a site at times of the day.

        Parameters
        ----------
        site : its name
        hours : array, shape (n,), 0 to 24. [h]

        Returns
        -------
        array, shape (n,)
            Photon irradiance, 400-700 nm, planar. [umol m-2 s-1]

        Raises
        ------
        KeyError
            If there is no such site.
        """
        names = [s.name for s in self.setup.sites]
        if site not in names:
            raise KeyError(f"no site {site!r}; there are {', '.join(map(repr, names))}")
        (day,) = site_days(self, [names.index(site)])
        return np.asarray(
            np.interp(np.asarray(hours, dtype=np.float64), day.time_h, day.by_channel.sum(axis=0))
        )

    def __repr__(self) -> str:
        return repr(self._found())

    def _repr_html_(self) -> str:
        return self._found()._repr_html_()

    def _found(self) -> Found[Analysis]:
        from lightdose.answers.dose import dose_answer
        from lightdose.python.shown import of_record

        return of_record(self, lambda r: dose_answer(r, r.setup.length_unit))


def analyse(
    setup: Setup,
    *,
    certainty: bool = True,
    also: Sequence[str] = (),
    sides: bool = False,
    draws: int | None = None,
    seed: int = SEED,
) -> Analysis:
    """Everything `lightdose dose` reports about a setup.

    ``certainty=False`` leaves out intervals and probabilities: quicker, where only the doses are wanted.
    ``also`` names further weightings that its light field should hold. ``sides`` adds the light from all
    sides, which is there anyway where rock, colonies or faces are told. ``draws`` (4,000, or 1,000 for
    more than 2,000 places) and ``seed`` are those of what is not known exactly.

    Raises
    ------
    SetupError
        If a channel of an enabled fixture has no absolute flux.
    """
    return judged_under(
        setup, *light_of(setup, also), certainty=certainty, sides=sides, draws=draws, seed=seed
    )


def light_of(setup: Setup, also: Sequence[str] = ()) -> tuple[PreparedField, LightField]:
    """What no programme changes: the prepared field, and light at every receiver.

    Raises
    ------
    SetupError
        If that takes too many rays.
    """
    scene = scene_of(setup)
    weightings = weighting_matrix(scene.tables, (*DOSE_WEIGHTINGS, *also))
    places = len(setup.receivers)
    ready = prepare_field(scene, weightings, for_points=places)
    refuse_too_many_places(setup.lit_fixtures, ready.lit, places, f"the light of {places} places")
    return ready, ready.light_field(setup.receivers)


def judged_under(
    setup: Setup,
    ready: PreparedField,
    field: LightField,
    *,
    certainty: bool,
    see: Callable[[int, FloatArray, FloatArray], None] | None = None,
    sides: bool | None = False,
    draws: int | None = None,
    seed: int = SEED,
    draw: Draw = draw_doses,
) -> Analysis:
    """The day of a setup under its light field, and what it means; ``see`` gets every receiver's draws.

    ``sides`` None leaves out the light from all sides even where solids or faces are told. ``draw`` stands
    for ``draw_doses`` where draws are kept from one run to the next.
    """
    curve = day_curve(setup.lit_fixtures)
    dose = daily_dose(field, curve)
    verdicts, uncertainty = judge_corals(setup, field, dose, curve), None
    if certainty:
        verdicts, uncertainty = with_certainty(
            setup, ready, verdicts, draws=draws, seed=seed, see=see, draw=draw
        )
    if setup.standing is not None:
        from lightdose.judge.shelter import with_shelter

        verdicts = with_shelter(setup, ready, verdicts, curve)
    hazards = find_hazards(setup, ready.scene.emission, hazard_tables(), curve)
    return Analysis(
        setup=setup,
        basis=basis_of(setup),
        light_field=field,
        day_curve=curve,
        dose=dose,
        verdicts=verdicts,
        fixtures=fixture_use(setup.lit_fixtures, ready.scene.emission, curve, setup.electricity),
        cautions=find_cautions(setup, field, curve, dose, verdicts, hazards),
        version=__version__,
        uncertainty=uncertainty,
        hazards=hazards,
        reef_depth_m=reef_depths_m(dose.dli, reef_light()),
        sides=side_doses(setup, ready, curve) if sides or (sides is False and _all_told(setup)) else None,
    )


def _all_told(setup: Setup) -> bool:
    """Whether rock, colonies or faces are told, so that all three lights are wanted."""
    faces = any(s.face for s in setup.sites) or any(c.face for c in setup.corals)
    return faces or setup.standing is not None


def side_doses(setup: Setup, ready: PreparedField, curve: DayCurve) -> SideDoses:
    """The day's light at every receiver on its face and from all sides."""
    from lightdose.physics.all_sides import light_from_all_sides

    sites = {s.name: s for s in setup.sites}
    own = {c.name: c.face for c in setup.corals}
    faces = [(own[r.coral] if r.coral else None) or sites[r.site].face for r in setup.receivers]
    found = light_from_all_sides(ready, setup.receivers, faces)
    looks_up = np.array([face is None for face in faces], dtype=bool)
    values = []
    for response in (np.where(looks_up[:, None], 0.0, found.face), found.scalar):
        values += [daily_light_integral(response, curve), peak_and_photoperiod(response, curve)[0]]
    for value in values[:2]:
        value[looks_up] = np.nan
    return SideDoses(*values)


def fixture_emission(setup: Setup) -> FloatArray:
    """Photons of every channel of the enabled fixtures at full output, shape (n_channel, 500). [umol s-1]

    Where a calibration holds a channel, its measured flux stands in for the fixture file's.

    Raises
    ------
    SetupError
        If channels have no absolute flux or no usable spectrum; every one is named.
    """
    rows, problems = _emission_rows([_as_measured(setup, f, c) for f, c in _lit_channels(setup)])
    if problems:
        raise SetupError(*problems)
    return np.array(rows).reshape(len(rows), GRID_NM.size)


def emission_problems(setup: Setup) -> tuple[tuple[Problem, ...], tuple[str, ...]]:
    """What `dose` would refuse in the channels and apertures of the enabled fixtures.

    Returns the problems of spectra, stated fluxes and apertures in file order, and the channels without any
    flux ("left, violet"): these are no fault, since `calibrate` can find it.
    """
    measured = [(f, _as_measured(setup, f, c)) for f, c in _lit_channels(setup)]
    unscaled = tuple(f"{f.name}, {c.name}" for f, c in measured if c.flux is None)
    as_if = Flux("photon_flux_umol_s", 1.0)
    channels = [replace(c, flux=c.flux or as_if) for _, c in measured]
    problems = (*_emission_rows(channels)[1], *_aperture_problems(setup))
    return SetupError(*problems).problems, unscaled


def _aperture_problems(setup: Setup) -> list[Problem]:
    problems: list[Problem] = []
    for fixture in setup.lit_fixtures:
        try:
            source_cells(fixture)
        except SetupError as trouble:
            problems.extend(trouble.problems)
    return problems


def _lit_channels(setup: Setup) -> list[tuple[Fixture, Channel]]:
    return [(fixture, channel) for fixture in setup.lit_fixtures for channel in fixture.type.channels]


def _emission_rows(channels: Sequence[Channel]) -> tuple[list[FloatArray], tuple[Problem, ...]]:
    """Emission of the channels that can be used, and the problems of those that cannot, each once."""
    tables = reference_tables()
    rows: list[FloatArray] = []
    problems: list[Problem] = []
    for channel in channels:
        try:
            rows.append(channel_emission(channel, tables))
        except LightdoseError as trouble:
            problems.extend(trouble.problems)
    return rows, tuple(dict.fromkeys(problems))


def _as_measured(setup: Setup, fixture: Fixture, channel: Channel) -> Channel:
    """The channel with its calibrated flux, where a calibration holds one."""
    calibration = setup.calibration
    flux = None if calibration is None else calibration.emitted_umol_s(fixture.name, channel.name)
    return channel if flux is None else replace(channel, flux=Flux("photon_flux_umol_s", flux))


def light_field(
    setup: Setup,
    points: npt.ArrayLike,
    weightings: Wanted = ("ppfd",),
    faces: npt.ArrayLike | str | None = None,
) -> FloatArray:
    """Light of every channel at any points of the tank at full output, under open sky.

    Parameters
    ----------
    setup : Setup
    points : array, shape (n, 3)
        x, y and depth below the surface; a negative depth is above the water. [m]
    weightings : str, sequence of str, or mapping
        Keys such as "ppfd", "blue", "lux", "usable_mean"; or own ones by name, each a pair of arrays:
        wavelengths [nm] and quantity per umol of photons, linear between them and 0 outside.
    faces : array, shape (3,) or (n, 3), "all sides", or None
        Which way the points look: a vector along x (right), y (back) and upwards; None is up. "all sides" is
        what a small sphere gets (scalar irradiance). Solids of the setup shade in each case.

    Returns
    -------
    array, shape (n, channel, weighting)
        Channels in the order of ``setup.lit_fixtures``. [umol m-2 s-1, lx]

    Raises
    ------
    ValueError
        If the points are not (n, 3), finite and in the tank, or ``faces`` is another word or a vector of 0.
    SpectrumError
        If a weighting is not known.
    """
    scene, at = scene_of(setup), _points(setup, points)
    matrix = _matrix(scene, weightings)
    if faces is None:
        return response_at(at, scene, matrix)
    from lightdose.physics.all_sides import from_all_sides

    ready = prepare_field(scene, matrix, for_points=len(at))
    if isinstance(faces, str):
        if faces != "all sides":
            raise ValueError(f'faces {faces!r}; vectors, or "all sides"')
        return from_all_sides(ready, at)
    ways = np.broadcast_to(np.asarray(faces, dtype=np.float64).reshape(-1, 3), at.shape)
    long = np.sqrt((ways * ways).sum(axis=1, keepdims=True))
    if not np.all(long > 0):
        raise ValueError("a face is a vector that is not 0")
    return ready.at(at, ways / long)


def light_field_chunks(
    setup: Setup, points: npt.ArrayLike, weightings: Wanted = ("ppfd",)
) -> Iterator[tuple[slice, FloatArray]]:
    """The same as ``light_field``, block by block in the order of the points, for large fields."""
    scene = scene_of(setup)
    return response_chunks(_points(setup, points), scene, _matrix(scene, weightings))


def _matrix(scene: Scene, wanted: Wanted) -> Weightings:
    if isinstance(wanted, str):
        return weighting_matrix(scene.tables, (wanted,))
    if not isinstance(wanted, Mapping):
        return weighting_matrix(scene.tables, tuple(wanted))
    rows = []
    for name, pair in wanted.items():
        wavelength_nm, weight = (np.asarray(column, dtype=np.float64) for column in pair)
        table = SpectralTable(name, wavelength_nm, weight)
        rows.append(np.interp(GRID_NM, table.wavelength_nm, table.values, left=0.0, right=0.0))
    return Weightings(tuple(wanted), np.array(rows))


def _points(setup: Setup, points: npt.ArrayLike) -> FloatArray:
    """The points as an array of shape (n, 3); ValueError where they are none of this tank."""
    at = np.asarray(points, dtype=np.float64)
    if at.size == 0:
        return np.zeros((0, 3))
    if at.ndim != 2 or at.shape[1] != 3:
        raise ValueError(f"points of shape {at.shape}: (n, 3) is wanted, x, y and depth in metres")
    tank = setup.tank
    for axis, (name, low, high) in enumerate(
        (("x", 0.0, tank.length_m), ("y", 0.0, tank.width_m), ("depth", -np.inf, tank.water_depth_m))
    ):
        wrong = ~((at[:, axis] >= low - 1e-9) & (at[:, axis] <= high + 1e-9) & np.isfinite(at[:, axis]))
        if np.any(wrong):
            n = int(np.flatnonzero(wrong)[0])
            allowed = f"up to {high:g} m" if axis == 2 else f"0 to {high:g} m"
            raise ValueError(f"points[{n}]: {name} {at[n, axis]:g} m is outside the tank, {allowed}")
    return at


def scene_of(setup: Setup) -> Scene:
    """What the light field of a setup depends on besides places and weightings.

    Raises
    ------
    SetupError
        As ``fixture_emission``.
    """
    return Scene.of(setup, fixture_emission(setup), reference_tables())


def site_days(analysis: results.Analysis, receivers: Sequence[int]) -> tuple[SiteDay, ...]:
    """PPFD through the day at some receivers, for figures."""
    curve, field = analysis.day_curve, analysis.light_field
    time_h = np.column_stack((curve.edge_h[:-1], curve.edge_h[1:])).ravel()
    output = np.stack((curve.output_start, curve.output_end), axis=1).reshape(time_h.size, -1)
    response = field.of("ppfd")
    return tuple(SiteDay(i, field.receivers[i].name, time_h, (output * response[i]).T) for i in receivers)


def channel_spectra(
    analysis: results.Analysis, receivers: Sequence[int], ready: PreparedField | None = None
) -> FloatArray:
    """Photons of each channel at full output at some receivers, cell by cell of the working grid.

    Shape (n_receiver, n_channel, 500). [umol m-2 s-1] ``ready`` is the field of the setup where it is there.
    """
    places = [analysis.light_field.receivers[i] for i in receivers]
    scene = ready.scene if ready else scene_of(analysis.setup)
    share = ready.transfer(places) if ready else spectral_transfer(places, scene)
    return np.asarray(scene.emission * share)


def site_spectra(
    analysis: results.Analysis, receivers: Sequence[int], ready: PreparedField | None = None
) -> tuple[SiteSpectrum, ...]:
    """The photon spectrum of each channel at some receivers, at the time of the receiver's peak."""
    names = [analysis.light_field.receivers[i].name for i in receivers]
    return tuple(
        SiteSpectrum(i, name, full * output_at_peak(analysis, i)[:, None])
        for i, name, full in zip(receivers, names, channel_spectra(analysis, receivers, ready), strict=True)
    )


def output_at_peak(analysis: results.Analysis, receiver: int) -> FloatArray:
    """Output of every channel at the first moment of a receiver's peak, shape (n_channel,), 0-1."""
    curve = analysis.day_curve
    output: FloatArray = np.vstack((curve.output_start, curve.output_end))
    ppfd = output @ analysis.light_field.of("ppfd")[receiver]
    brightest: FloatArray = output[int(np.argmax(ppfd))]
    return brightest
