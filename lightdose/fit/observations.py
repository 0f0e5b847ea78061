"""Readings as numbers for the fit: where, what was on, which sensor, how sure; and what is known before."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import field, replace
from typing import Final, Literal

import numpy as np
import numpy.typing as npt

from lightdose.errors import Problem, ReadingsError, beyond
from lightdose.model.calibration import UNSCALED_FLUX_UMOL_S, DimmingFoot
from lightdose.model.fixture import MOST_FLUX_UMOL_S, Channel, CosineLobe, Fixture, Flux
from lightdose.model.light import Scene
from lightdose.model.record import FloatArray, dataclass
from lightdose.model.setup import Setup
from lightdose.model.spectrum import (
    READING_UNITS,
    Meter,
    Reading,
    ReadsQuantity,
    ReferenceTables,
    SpectralDistribution,
    Weightings,
)
from lightdose.physics.day_curve import day_curve, output_at
from lightdose.physics.emission import channel_emission, photon_distribution
from lightdose.physics.field_limits import refuse_too_many_changes, refuse_too_many_places
from lightdose.physics.light_field import prepare_field
from lightdose.physics.lit_scene import without_solids
from lightdose.physics.meters import SensorRow, illuminant_a, immersion_factor, sensor_row, target_row
from lightdose.physics.solid_shapes import holds, shapes_of

Statement = Literal["data sheet", "typical", "none"]
"""How well a channel's output is known, best first."""

_ORDER: tuple[Statement, ...] = ("data sheet", "typical", "none")

TIMES_LIT: Final = 8
"""So often a survey lights the tank anew: as stated, with what is unsure of it, with other lobes, which takes
twice as long, with lamps up and down; `calibrate` does so less often, and in yellower water."""

SHEET_LN_MEAN, SHEET_LN_SD = -0.112, 0.116
"""Mean and standard deviation of the logarithm of what fixtures give of their data sheet: those of the skewed
range 0.6 to 1.05 that stands for an unmeasured lamp (``judge.uncertain_inputs``)."""

CENTRE: Mapping[Statement, float] = {
    "data sheet": SHEET_LN_MEAN,
    "typical": 0.0,
    "none": math.log(10.0),
}
"""ln gain in the middle. With no statement the nominal flux is 1 umol s-1, the middle 10: our choice."""

COMMON_SD: Mapping[Statement, float] = {
    "data sheet": SHEET_LN_SD,
    "typical": math.log(2.0),
    "none": math.log(10.0),
}
CHANNEL_SD: Mapping[Statement, float] = {"data sheet": 0.05, "typical": math.log(1.5), "none": math.log(3.0)}
"""ln standard uncertainties of a fixture, and of its channels among themselves: our choice."""

TWIN_SD = 0.10
"""ln standard uncertainty between two fixtures of one kind that states no output: our choice."""

BEAM_SD, ASSUMED_BEAM_SD = 0.05, 0.20
"""ln standard uncertainty of a stated beam width, and of the one that is assumed: our choice."""


@dataclass(frozen=True, eq=False)
class FluxPriors:
    """What is known of f fixtures and their c channels before: ln gains, fixtures first.

    Attributes
    ----------
    mean, covariance : arrays, shape (f + c,) and (f + c, f + c)
    kind_of : array, shape (f,); which fixtures are of one kind
    """

    mean: FloatArray
    covariance: FloatArray
    kind_of: tuple[int, ...]


def statement_of(channel: Channel) -> Statement:
    """What the fixture file says about a channel's output.

    Returns
    -------
    str
        "data sheet", "typical" or "none".
    """
    if channel.flux is None:
        return "none"
    return "typical" if channel.flux.typical else "data sheet"


def flux_priors(fixtures: Sequence[Fixture], uncertainty: Mapping[str, float]) -> FluxPriors:
    """What is known of every fixture and channel.

    A fixture's common factor is as well known as its best channel; a channel that is known less is freer.
    Fixtures of one kind share what is unknown about the kind, and differ among themselves by ``TWIN_SD``.

    Parameters
    ----------
    fixtures : the lit ones
    uncertainty : the keeper's own ``flux_common_fraction`` and ``flux_channel_fraction``; the first replaces
        the skewed range of data sheets by one around the stated value

    Source
    ------
    0.6 to 1.05 of data sheets and a factor of 2 on typical values: our choice, from memory.
    """
    centre, common, own = dict(CENTRE), dict(COMMON_SD), dict(CHANNEL_SD)
    if "flux_common_fraction" in uncertainty:
        centre["data sheet"], common["data sheet"] = 0.0, _ln_sd(uncertainty["flux_common_fraction"])
    if "flux_channel_fraction" in uncertainty:
        own["data sheet"] = _ln_sd(uncertainty["flux_channel_fraction"])
    kinds = [id(f.type) for f in fixtures]
    kind_of = tuple(kinds.index(k) for k in kinds)
    means, sds, apart, groups = [], [], [], []
    for n, fixture in enumerate(fixtures):
        best = min((statement_of(c) for c in fixture.type.channels), key=_ORDER.index)
        means.append(centre[best])
        sds.append(common[best])
        apart.append(TWIN_SD)
        groups.append((kind_of[n], -1))
    for n, fixture in enumerate(fixtures):
        said = [statement_of(c) for c in fixture.type.channels]
        best = min(said, key=_ORDER.index)
        for place, one in enumerate(said):
            further = 0.0 if one == best else common[one]
            means.append(centre[one] - centre[best])
            sds.append(math.hypot(own[one], further))
            apart.append(own["data sheet"])
            groups.append((kind_of[n], place))
    sd = np.array(sds)
    single = np.minimum(np.array(apart), sd)
    alike = np.array([[a == b for b in groups] for a in groups])
    covariance = alike * np.outer(*[np.sqrt(sd**2 - single**2)] * 2) + np.diag(single**2)
    return FluxPriors(np.array(means), covariance, kind_of)


def beam_sd(fixture: Fixture, uncertainty: Mapping[str, float]) -> float:
    """ln standard uncertainty of the beam width of a fixture's cosine lobes.

    Parameters
    ----------
    fixture : Fixture
    uncertainty : the keeper's own ``beam_fraction``

    Source
    ------
    Our choice.
    """
    if "beam_fraction" in uncertainty:
        return _ln_sd(uncertainty["beam_fraction"])
    lobes = [c.beam for c in fixture.type.channels if isinstance(c.beam, CosineLobe)]
    return ASSUMED_BEAM_SD if any(lobe.assumed for lobe in lobes) else BEAM_SD


def _ln_sd(fraction: float) -> float:
    """A relative standard uncertainty as a logarithm; never 0, so that readings can speak."""
    return max(math.log1p(fraction), 1e-4)


PLACEMENT_FRACTION = 0.03
"""Standard uncertainty of one reading from levelling the sensor and its cosine response: our choice."""

MODEL_FRACTION = 0.02
POSITION_M = 0.01
"""Standard uncertainties of the model and of where the sensor was, on each axis: our choice."""

RESOLUTION: Mapping[ReadsQuantity, float] = {"umol": 0.3, "lux": 3.0}
"""Standard uncertainty of the last digit: a rectangle of 1 umol m-2 s-1, or of 10 lx."""

HALF_DIGIT: Mapping[ReadsQuantity, float] = {"umol": 0.5, "lux": 5.0}
"""A meter that shows 0 sees less than this."""


def shown_at_least(reading: Reading) -> float:
    """What a reading shows; half its last digit where that is more."""
    return max(reading.value, HALF_DIGIT[reading.unit])


UNNAMED: Mapping[ReadsQuantity, Meter] = {
    "umol": Meter("", "umol", "ideal", "A", None, 0.10),
    "lux": Meter("", "lux", "v-lambda", "A", None, 0.15),
}
"""A reading without a meter: an ideal sensor, and an uncertainty of our choice for an instrument unknown."""


@dataclass(frozen=True, eq=False)
class Observations:
    """n readings of c channels.

    Attributes
    ----------
    fixtures : the lit fixtures, every channel with a flux (``UNSCALED_FLUX_UMOL_S`` where it states none)
    emission : array, shape (c, 500). [umol s-1]
    nominal_umol_s : array, shape (c,)
    output : array, shape (n, c); 0-1
    ln_reading : array, shape (n,); as shown, times immersion under water
    position_sd : array, shape (n,); ln standard uncertainty from where the sensor was
    meters, meter_of : the meters, and which one each reading was made with
    rows : the sensor row of each meter
    immersion : array, shape (n,); 1 in air
    shown, ppfd : array, shape (n, c); what each reading's meter shows of each channel at full output, and an
        ideal one; or empty
    feet : lamps that stay dark at low levels, as ``output`` has it
    below_foot : readings of 0 that only show such a foot, left out of the n
    """

    readings: tuple[Reading, ...]
    fixtures: tuple[Fixture, ...]
    emission: FloatArray
    nominal_umol_s: FloatArray
    output: FloatArray
    ln_reading: FloatArray
    position_sd: FloatArray
    meters: tuple[Meter, ...]
    meter_of: tuple[int, ...]
    rows: tuple[SensorRow, ...]
    immersion: FloatArray
    immersion_sd: FloatArray
    shown: FloatArray = field(default_factory=lambda: np.empty((0, 0)))
    ppfd: FloatArray = field(default_factory=lambda: np.empty((0, 0)))
    feet: tuple[DimmingFoot, ...] = ()
    below_foot: tuple[Reading, ...] = ()

    def among(self, kept: Sequence[int]) -> Observations:
        """Some of the readings."""
        rows = list(kept)
        return replace(
            self,
            readings=tuple(self.readings[n] for n in rows),
            meter_of=tuple(self.meter_of[n] for n in rows),
            output=self.output[rows],
            ln_reading=self.ln_reading[rows],
            position_sd=self.position_sd[rows],
            immersion=self.immersion[rows],
            immersion_sd=self.immersion_sd[rows],
            shown=self.shown[rows] if self.shown.size else self.shown,
            ppfd=self.ppfd[rows] if self.ppfd.size else self.ppfd,
        )

    @property
    def wet(self) -> FloatArray:
        """1 for readings under water."""
        return np.array([float(r.under_water) for r in self.readings])

    def points_m(self) -> FloatArray:
        """x, y, depth of every reading, shape (n, 3). [m]"""
        return np.array([(r.x_m, r.y_m, r.depth_m) for r in self.readings])


def observe(
    setup: Setup,
    readings: Sequence[Reading],
    tables: ReferenceTables,
    sources: Mapping[str, SpectralDistribution],
) -> Observations:
    """Prepare readings for the fit.

    Parameters
    ----------
    setup : uncalibrated
    readings : as shown
    tables : ReferenceTables
    sources : calibration light by name, all but "A" that the meters name

    Raises
    ------
    ReadingsError
        With every reading that cannot be used: in the dark, far from any plausible output, in the wrong unit,
        or under water with a meter that says nothing about immersion.

    Source
    ------
    Bookkeeping; uncertainties are our choice, named above.
    """
    if problems := unusable_readings(setup, readings):
        raise ReadingsError(*problems)
    fixtures = tuple(scaled_fixture(f) for f in setup.lit_fixtures)
    emission = np.array([channel_emission(c, tables) for f in fixtures for c in f.type.channels])
    output = _outputs(setup, readings)
    chosen = [_meter(setup, r) for r in readings]
    meters = tuple(dict.fromkeys(chosen))
    immersion = np.ones((len(readings), 2)) * (1.0, 0.0)
    for n, (reading, meter) in enumerate(zip(readings, chosen, strict=True)):
        if reading.under_water:
            immersion[n] = _immersion(meter, reading)
    rows = tuple(sensor_row(m, source_photons(m, sources), tables) for m in meters)
    observed = Observations(
        readings=tuple(readings),
        fixtures=fixtures,
        emission=emission,
        nominal_umol_s=emission.sum(axis=1),
        output=output,
        ln_reading=np.log([shown_at_least(r) for r in readings]) + np.log(immersion[:, 0]),
        position_sd=np.zeros(len(readings)),
        meters=meters,
        meter_of=tuple(meters.index(m) for m in chosen),
        rows=rows,
        immersion=immersion[:, 0],
        immersion_sd=immersion[:, 1],
    )
    return _placed(setup, observed, tables)


def unusable_readings(setup: Setup, readings: Sequence[Reading]) -> list[Problem]:
    """Readings in the dark, and those under water whose meter says nothing about immersion.

    Returns
    -------
    list of Problem
        Each at the place of its reading; empty where all can be used.
    """
    output = _outputs(setup, readings)
    problems = [_dark(r) for r, row in zip(readings, output, strict=True) if not np.any(row > 0)]
    for reading in readings:
        if reading.under_water:
            try:
                _immersion(_meter(setup, reading), reading)
            except ReadingsError as trouble:
                problems += [p.at(reading.place) for p in trouble.problems]
    return problems


def _meter(setup: Setup, reading: Reading) -> Meter:
    return setup.meters[reading.meter] if reading.meter else UNNAMED[reading.unit]


def source_photons(meter: Meter, sources: Mapping[str, SpectralDistribution]) -> tuple[FloatArray, ...]:
    """Photons of the light a meter was calibrated on; two lights that span it where it is unknown.

    Parameters
    ----------
    meter : Meter
    sources : calibration light by name, all but "A"

    Returns
    -------
    tuple of arrays, shape (500,)

    Source
    ------
    Span of the unknown from incandescent light (A) to daylight (D65): our choice.
    """
    named = meter.calibrated_on
    if isinstance(named, SpectralDistribution):
        return (photon_distribution(named),)
    lights = ("A", "D65") if named == "unknown" else (named,)
    return tuple(photon_distribution(illuminant_a() if n == "A" else sources[n]) for n in lights)


def sensed(
    setup: Setup,
    observed: Observations,
    fixtures: Sequence[Fixture],
    points_m: FloatArray,
    tables: ReferenceTables,
    *,
    yellowing: float | None = None,
    sites: Sequence[str | None] | None = None,
) -> FloatArray:
    """What each meter, and an ideal one, would show at points under each channel at full output.

    Parameters
    ----------
    setup : tank, water and cover
    observed : for sensors and emission
    fixtures : as hung; the channels of each may repeat its own list several times
    points_m : array, shape (n, 3). [m]
    tables : ReferenceTables
    yellowing : replaces the setup's. [m-1]
    sites : the site at each point, or None; those of the readings, over and over, where nothing is told

    Returns
    -------
    array, shape (n, channel, meter + 1)
        The last column is PPFD.

    Raises
    ------
    SetupError
        If ``TIMES_LIT`` such lightings, or so many points, take too many rays.
    """
    matrix = np.array([*(row.row for row in observed.rows), target_row("umol", tables)])
    weightings = Weightings((*(f"sensor {n}" for n in range(len(matrix) - 1)), "ppfd"), matrix)
    water = setup.water if yellowing is None else replace(setup.water, yellowing_440_per_m=yellowing)
    emission, start = [], 0
    for own, hung in zip(observed.fixtures, fixtures, strict=True):
        stop = start + len(own.type.channels)
        repeats = len(hung.type.channels) // len(own.type.channels)
        emission.append(np.tile(observed.emission[start:stop], (repeats, 1)))
        start = stop
    scene = Scene(
        tuple(fixtures), np.concatenate(emission), setup.tank, water, setup.cover, tables, setup.standing
    )
    seen = np.zeros((len(points_m), len(scene.emission), len(matrix)))
    clear = _under_stated_sky(setup, observed, len(points_m), sites)
    lit = prepare_field(without_solids(scene) if clear.all() else scene, weightings, for_points=len(points_m))
    if fixtures is observed.fixtures:  # as they hang: before any change is tried
        refuse_too_many_changes(fixtures, lit.lit, 0, TIMES_LIT)
        refuse_too_many_places(fixtures, lit.lit, len(points_m), f"light at {len(points_m)} points")
    for part, here in ((clear, lit.clear), (~clear, lit)):
        if part.any():
            places, which = np.unique(points_m[part], axis=0, return_inverse=True)
            seen[part] = here.at(places)[which.ravel()]
    return seen


def _under_stated_sky(
    setup: Setup, observed: Observations, count: int, sites: Sequence[str | None] | None
) -> npt.NDArray[np.bool_]:
    """Points whose stated open sky stands for all that shades them, shape (count,); all without solids."""
    if setup.standing is None:
        return np.ones(count, dtype=np.bool_)
    stated = {s.name for s in setup.sites if s.own_sky}
    own = [r.site for r in observed.readings] if sites is None else sites
    return np.resize(np.array([name in stated for name in own], dtype=np.bool_), count)


def scaled_fixture(fixture: Fixture) -> Fixture:
    """The fixture with a nominal flux for channels that state none."""
    channels = tuple(
        replace(c, flux=Flux("photon_flux_umol_s", UNSCALED_FLUX_UMOL_S)) if c.flux is None else c
        for c in fixture.type.channels
    )
    return replace(fixture, type=replace(fixture.type, channels=channels))


def _outputs(setup: Setup, readings: Sequence[Reading]) -> FloatArray:
    """Output 0-1 of every channel at every reading."""
    curve = day_curve(setup.lit_fixtures)
    channels = [(f.name, c) for f in setup.lit_fixtures for c in f.type.channels]
    rows = []
    for reading in readings:
        if reading.levels is None:
            assert reading.time_h is not None
            rows.append(output_at(curve, reading.time_h)[0])
            continue
        levels = [reading.levels.get((fixture, c.name), 0.0) for fixture, c in channels]
        rows.append(
            np.array(
                [
                    np.interp(level, c.dimming.level, c.dimming.output)
                    for level, (_, c) in zip(levels, channels, strict=True)
                ]
            )
        )
    return np.array(rows).reshape(len(rows), len(channels))


def _dark(reading: Reading) -> Problem:
    if reading.time_h is None:
        found = "these levels give no light by the dimming curves"
        return Problem(found, cure="write the levels that were on", place=reading.place)
    minutes = round(reading.time_h * 60) % 1440
    found = f"the lights are off at {minutes // 60:02d}:{minutes % 60:02d} by the programme"
    return Problem(found, cure="mend the time, or write the levels that were on", place=reading.place)


def _immersion(meter: Meter, reading: Reading) -> tuple[float, float]:
    if not meter.name:
        raise ReadingsError(
            Problem(
                "a reading under water without a meter says nothing about immersion",
                'a meter in the setup with immersion = a factor, "built in" or "unknown"',
                f'describe it in setup.toml: [meter.NAME], reads = "{reading.unit}", immersion = "unknown"',
            )
        )
    return immersion_factor(meter)


def _placed(setup: Setup, observed: Observations, tables: ReferenceTables) -> Observations:
    """Check every reading against the nominal model, and find what misplacing the sensor changes."""
    points = observed.points_m()
    moved = _moved(setup, points)
    seen = sensed(setup, observed, observed.fixtures, moved.reshape(-1, 3), tables)
    seen = seen.reshape(len(moved), len(points), *seen.shape[1:])
    own = np.take_along_axis(seen, np.array(observed.meter_of)[None, :, None, None], axis=3)[..., 0]
    expected = np.einsum("snc,nc->sn", own, observed.output)
    _refuse_unlit(observed, expected[0])
    _refuse_implausible(setup, observed, expected[0])
    sd = _position_sd(setup, expected)
    return replace(observed, position_sd=sd, shown=own[0], ppfd=seen[0, :, :, -1])


def position_spread(
    setup: Setup,
    observed: Observations,
    points_m: FloatArray,
    output: FloatArray,
    tables: ReferenceTables,
    *,
    sites: Sequence[str | None],
) -> tuple[FloatArray, FloatArray]:
    """What the first meter shows at places under several outputs, and how much misplacing it matters.

    Parameters
    ----------
    setup : Setup
    observed : for the sensor and emission
    points_m : array, shape (n_point, 3). [m]
    output : array, shape (n_set, n_channel); 0-1
    tables : ReferenceTables
    sites : the site at each point, or None

    Returns
    -------
    expected, position_sd : arrays, shape (n_point, n_set)
        Under open sky, and as ln standard uncertainty.

    Source
    ------
    ``light_field``; 1 cm on each axis: our choice.
    """
    moved = _moved(setup, points_m)
    seen = sensed(setup, observed, observed.fixtures, moved.reshape(-1, 3), tables, sites=sites)[:, :, 0]
    expected = (seen @ output.T).reshape(len(moved), len(points_m), -1)
    return np.asarray(expected[0]), _position_sd(setup, expected)


def _moved(setup: Setup, points: FloatArray) -> FloatArray:
    """Places as they are, then moved by ``POSITION_M`` up and down each axis, (7, n, 3); none into rock."""
    steps = np.concatenate([np.zeros((1, 3)), POSITION_M * np.eye(3), -POSITION_M * np.eye(3)])
    moved: FloatArray = points[None] + steps[:, None]
    wet = points[:, 2] >= 0
    moved[:, :, 2] = np.where(wet, np.clip(moved[:, :, 2], 0, setup.tank.water_depth_m), moved[:, :, 2])
    moved[:, :, 2] = np.where(wet, moved[:, :, 2], np.minimum(moved[:, :, 2], -1e-6))
    for axis, span in enumerate((setup.tank.length_m, setup.tank.width_m)):
        moved[:, :, axis] = np.where(wet, np.clip(moved[:, :, axis], 0, span), moved[:, :, axis])
    if setup.standing is not None and setup.standing.solids:
        shapes, up = shapes_of(setup.standing.solids), moved.reshape(-1, 3) * (1.0, 1.0, -1.0)
        inside = (holds(shapes, up) >= 0).reshape(moved.shape[:2])
        moved = np.where(inside[:, :, None], points[None], moved)
    return moved


def _position_sd(setup: Setup, expected: FloatArray) -> FloatArray:
    """ln standard uncertainty from where the sensor was, from values at moved places, (7, ...) to (...)."""
    ln = np.log(np.maximum(expected, 1e-30))
    slopes = 0.5 * (ln[1:4] - ln[4:7])
    sd = setup.uncertainty.get("position_cm", 100 * POSITION_M) / (100 * POSITION_M)
    return np.asarray(sd * np.sqrt((slopes**2).sum(axis=0)))


def _refuse_unlit(observed: Observations, expected: FloatArray) -> None:
    found = "no light of the fixtures reaches this place in the model"
    problems = [
        Problem(found, cure="mend the place of the reading, or of the fixture", place=r.place)
        for r, value in zip(observed.readings, expected, strict=True)
        if not value > 0
    ]
    if problems:
        raise ReadingsError(*problems)


_MOST_TIMES = {"data sheet": 8.0, "typical": 25.0, "none": math.inf}
"""How many times its file's output a fixture may read before the reading is refused: our choice."""


LN_LARGEST = 700.0
"""Factors beyond exp(700) are told as that: about what a number holds."""


def _refuse_implausible(setup: Setup, observed: Observations, expected: FloatArray) -> None:
    said = [statement_of(c) for f in setup.lit_fixtures for c in f.type.channels]
    skies = {s.name: s.open_sky for s in setup.sites}
    most = np.array([_MOST_TIMES[s] for s in said])
    problems = []
    for n, reading in enumerate(observed.readings):
        limit = float(np.max(most[observed.output[n] > 0]))
        ln_model = math.log(expected[n]) + math.log(max(skies.get(reading.site or "", 1.0), 0.05))
        times = math.exp(min(float(observed.ln_reading[n]) - ln_model, LN_LARGEST))
        shown = f"{reading.value:g} {READING_UNITS[reading.unit]}"
        umol_s, mend = times * UNSCALED_FLUX_UMOL_S, "mend the reading, its place or its levels"
        if limit == math.inf and umol_s > MOST_FLUX_UMOL_S:
            found = f"{shown} here takes {umol_s:.2g} umol/s of a channel"
            problems.append(Problem(found, f"up to {MOST_FLUX_UMOL_S:,} umol/s", mend, reading.place))
        elif times > limit:
            found = f"{shown} is {beyond(times, limit)} times what the fixture file gives here"
            cure = "if this is lux, write lux in unit" if reading.unit == "umol" else mend
            problems.append(Problem(found, f"up to {limit:.0f} times", cure, reading.place))
        elif math.isfinite(limit) and reading.unit == "lux" and times < 1 / limit and reading.value > 0:
            found = f"{shown} is {beyond(times, 1 / limit)} times what the fixture file gives here"
            cure = "if this is umol/m2/s, write umol_m2_s in unit"
            problems.append(Problem(found, f"{1 / limit:.3g} times or more", cure, reading.place))
    if problems:
        raise ReadingsError(*problems)
