"""Light fixtures: channels, beams, dimming, the programmes they run, and where a fixture hangs."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import replace
from typing import Final, Literal

import numpy as np

from lightdose.errors import Place, ScheduleError, SetupError
from lightdose.model.record import FloatArray, dataclass, read_only
from lightdose.model.spectrum import ChannelSpectrum
from lightdose.quantities import HOURS_PER_DAY


@dataclass(frozen=True, eq=False)
class ChannelProgramme:
    """Levels of one channel, linear between its points and off outside them.

    Attributes
    ----------
    time_h : array, shape (n,), not falling; past 24 for a programme over midnight, spans at most 24. [h]
        The same time twice is a jump.
    level : array, shape (n,), 0-1
    """

    time_h: FloatArray
    level: FloatArray

    def __post_init__(self) -> None:
        time, level = read_only(self.time_h), read_only(self.level)
        if time.ndim != 1 or time.shape != level.shape or time.size < 2:
            raise ScheduleError("a channel's programme needs two or more points")
        if np.any(np.diff(time) < 0) or np.any(time[2:] == time[:-2]):
            raise ScheduleError("the times of a programme do not fall, and stand at most twice")
        if time[0] < 0 or time[0] >= HOURS_PER_DAY or time[-1] > 2 * HOURS_PER_DAY:
            raise ScheduleError("a programme starts between 00:00 and 24:00")
        if time[-1] - time[0] > HOURS_PER_DAY:
            raise ScheduleError("a programme lasts at most 24 h")
        if np.any(~np.isfinite(level)) or np.any(level < 0) or np.any(level > 1):
            raise ScheduleError("levels of a record are 0 to 1, which is 0 to 100 percent")
        object.__setattr__(self, "time_h", time)
        object.__setattr__(self, "level", level)

    def on_one_day(self) -> list[tuple[FloatArray, FloatArray]]:
        """Times within 0 to 24 and their levels; a programme over midnight as two parts, before and after."""
        time, level = self.time_h, self.level
        if time[-1] <= HOURS_PER_DAY:
            return [(time, level)]
        before, after = time <= HOURS_PER_DAY, time >= HOURS_PER_DAY
        at_midnight = float(np.interp(HOURS_PER_DAY, time, level))
        return [
            (np.append(time[before], HOURS_PER_DAY), np.append(level[before], at_midnight)),
            (np.append(0.0, time[after] - HOURS_PER_DAY), np.append(at_midnight, level[after])),
        ]


@dataclass(frozen=True, eq=False)
class Dial:
    """A programme as it is set at the fixture: levels of its channels, and an overall setting on all of them.

    Rows are those of a schedule.csv with ``all_channels``; NaN is a blank cell. A channel runs at level x
    overall at its own rows and at those of the factor between them, and linear between, before dimming. A
    blank cell counts as the straight line between the values of its own column.

    Attributes
    ----------
    time_h : array, shape (n,), not falling; past 24 after midnight. [h]
    overall : array, shape (n,), 0-1
    levels : channel -> array, shape (n,), 0-1
    """

    time_h: FloatArray
    overall: FloatArray
    levels: Mapping[str, FloatArray]

    def __post_init__(self) -> None:
        for name in ("time_h", "overall"):
            object.__setattr__(self, name, read_only(getattr(self, name)))
        object.__setattr__(self, "levels", {n: read_only(v) for n, v in self.levels.items()})
        columns = (self.overall, *self.levels.values())
        if any(column.shape != self.time_h.shape for column in columns):
            raise ScheduleError("a dial has a value or a blank in each of its rows and columns")
        if any(np.any((column < 0) | (column > 1)) for column in columns):
            raise ScheduleError("levels and the overall setting are 0 to 100 percent")

    @property
    def plateau(self) -> float:
        """The highest value of the overall setting, 0-1."""
        return float(np.nanmax(self.overall))

    def at(self, plateau: float) -> Dial:
        """The same levels under a factor whose highest value is ``plateau``, its others in proportion.

        Raises
        ------
        ScheduleError
            If the factor is 0 all day, or ``plateau`` is outside 0 to 1.
        """
        if not self.plateau > 0:
            raise ScheduleError("the overall setting is 0 all day: it has no plateau")
        return replace(self, overall=np.round(self.overall * (plateau / self.plateau), 14))

    def programme(self) -> Programme:
        """What the channels run at; the programme remembers this dial."""
        overall = _filled(self.time_h, self.overall)
        channels = {}
        for name, level in self.levels.items():
            given = np.flatnonzero(~np.isnan(level))
            rows = np.arange(given[0], given[-1] + 1)
            rows = rows[~np.isnan(level[rows]) | ~np.isnan(self.overall[rows])]
            # As a keeper multiplies: 70 % of 40 % is 28 %, not 27.999999999999997 %.
            product = np.round(_filled(self.time_h, level) * overall, 14)[rows]
            time = self.time_h[rows]
            time = _a_day_earlier(time) if time[0] >= HOURS_PER_DAY else time
            channels[name] = ChannelProgramme(np.minimum(time, day_later_h(float(time[0]))), product)
        return Programme(channels, self)

    def highest(self, channel: str) -> tuple[float, float]:
        """Level and overall setting of a channel where their product is highest, each 0-1."""
        level, overall = _filled(self.time_h, self.levels[channel]), _filled(self.time_h, self.overall)
        at = int(np.argmax(level * overall))
        return float(level[at]), float(overall[at])


def day_later_h(start_h: float) -> float:
    """The largest float that is at most 24 h later: rounding must not make a day longer than a day. [h]"""
    end_h = start_h + HOURS_PER_DAY
    return end_h if end_h - HOURS_PER_DAY <= start_h else math.nextafter(end_h, 0.0)


def _a_day_earlier(time_h: FloatArray) -> FloatArray:
    """Times 24 h before; whole seconds stay the floats that they are when they are read."""
    seconds = np.rint(3600 * time_h)
    whole = np.abs(3600 * time_h - seconds) < 1e-6
    earlier: FloatArray = np.where(whole, (seconds - 86400) / 3600, time_h - HOURS_PER_DAY)
    return earlier


def _filled(time_h: FloatArray, column: FloatArray) -> FloatArray:
    """Blank cells put on the straight line between the values of their column; 0 outside them."""
    given = ~np.isnan(column)
    filled = np.interp(time_h, time_h[given], column[given], left=0.0, right=0.0)
    filled[given] = column[given]
    return filled


@dataclass(frozen=True, eq=False)
class Programme:
    """The programmes of a fixture's channels; a channel that is not named stays off.

    ``dial`` is how they are set, where an overall setting is set apart from the levels; ``channels`` hold the
    products.
    """

    channels: Mapping[str, ChannelProgramme]
    dial: Dial | None = None

    @property
    def span_h(self) -> tuple[float, float] | None:
        """First and last time of any channel, or None for an empty programme. [h]"""
        if not self.channels:
            return None
        return (
            min(float(c.time_h[0]) for c in self.channels.values()),
            max(float(c.time_h[-1]) for c in self.channels.values()),
        )

    def points(self) -> list[tuple[float, Mapping[str, float]]]:
        """The moments at which any channel has a point, in order, and the levels there; a jump is two. [h]"""
        moments: dict[tuple[float, bool], dict[str, float]] = {}
        for name, channel in self.channels.items():
            for i, (time, level) in enumerate(zip(channel.time_h, channel.level, strict=True)):
                jumps = i > 0 and bool(channel.time_h[i - 1] == time)
                moments.setdefault((float(time), jumps), {})[name] = float(level)
        return [(time, moments[time, jumps]) for time, jumps in sorted(moments)]


FluxKind = Literal["photon_flux_umol_s", "ppf_umol_s", "radiant_flux_w", "luminous_flux_lm", "electrical_w"]

DEFAULT_BEAM_FWHM_DEG = 120.0
"""Beam of a channel that names none: a bare LED (Lambert's law). Our choice, from memory; wide interval."""


MOST_FLUX_UMOL_S: Final = 100_000
"""Photons that a fixture file may state of a channel: hundreds of times those of a large lamp. Our choice."""


@dataclass(frozen=True)
class Flux:
    """How much light a channel gives at full output, in the quantity that the data sheet states.

    ``radiant_efficiency`` (0-1) goes with kind "electrical_w" only; ``typical`` marks a value by colour that
    we chose from memory, good to about a factor of 2.
    """

    kind: FluxKind
    value: float
    radiant_efficiency: float | None = None
    typical: bool = False

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and self.value > 0):
            raise SetupError(f"{self.kind} {self.value:g} is not above 0")
        if (self.kind == "electrical_w") != (self.radiant_efficiency is not None):
            raise SetupError("radiant_efficiency goes with electrical_w, and only with it")
        if self.radiant_efficiency is not None and not 0 < self.radiant_efficiency <= 1:
            raise SetupError(f"radiant_efficiency {self.radiant_efficiency:g} is outside 0 to 1")


@dataclass(frozen=True)
class CosineLobe:
    """Intensity I0 cos^m(angle) in the air, by its full width at half maximum. [deg]"""

    fwhm_deg: float
    assumed: bool = False

    def __post_init__(self) -> None:
        if not 2 <= self.fwhm_deg <= 175:
            raise SetupError(f"beam width {self.fwhm_deg:g} deg is outside 2 to 175 deg")


def computable(relative: FloatArray) -> FloatArray:
    """Intensities of which only the shape counts, over their top where a computer lacks digits for them."""
    top = float(np.max(relative, initial=0.0))
    return relative if top == 0 or 1e-100 < top < 1e100 else relative / top


@dataclass(frozen=True, eq=False)
class TabulatedLobe:
    """Relative intensity against angle from straight down, linear between, zero beyond the last."""

    angle_deg: FloatArray
    relative: FloatArray

    def __post_init__(self) -> None:
        angle, relative = read_only(self.angle_deg), read_only(self.relative)
        if angle.ndim != 1 or angle.shape != relative.shape or angle.size < 2:
            raise SetupError("a beam table needs two or more pairs of angle and relative intensity")
        if np.any(np.diff(angle) <= 0) or angle[0] < 0 or angle[-1] > 90:
            raise SetupError("the angles of a beam table increase from 0 and end at 90 deg or less")
        if angle[0] != 0:
            raise SetupError("a beam table starts at 0 deg, straight down")
        if np.any(~np.isfinite(relative)) or np.any(relative < 0) or not np.any(relative > 0):
            raise SetupError("relative intensities are finite, not negative, and not all 0")
        object.__setattr__(self, "angle_deg", angle)
        object.__setattr__(self, "relative", relative)


@dataclass(frozen=True, eq=False)
class PhotometricLobe:
    """An asymmetric intensity distribution I(C, gamma), as in IES LM-63 and EULUMDAT files.

    Attributes
    ----------
    c_deg : array, shape (n_c,), 0 ... 360 inclusive (the last plane repeats the first). [deg]
        C 0 points along the fixture's own x axis (its length), C 90 along its y axis.
    gamma_deg : array, shape (n_gamma,), from 0 (straight down) to 90 or less; zero beyond. [deg]
    relative : array, shape (n_c, n_gamma); intensity in any one unit
    source_file : where it was read
    """

    c_deg: FloatArray
    gamma_deg: FloatArray
    relative: FloatArray
    source_file: str = ""

    def __post_init__(self) -> None:
        for name in ("c_deg", "gamma_deg", "relative"):
            object.__setattr__(self, name, read_only(getattr(self, name)))
        if self.relative.shape != (self.c_deg.size, self.gamma_deg.size):
            raise SetupError("an intensity distribution needs one value for each pair of C and gamma")
        if np.any(np.diff(self.c_deg) <= 0) or np.any(np.diff(self.gamma_deg) <= 0):
            raise SetupError("the angles of an intensity distribution increase")
        if self.c_deg[0] != 0 or self.c_deg[-1] != 360 or self.gamma_deg[0] != 0 or self.gamma_deg[-1] > 90:
            raise SetupError("an intensity distribution spans C 0 to 360 deg and gamma 0 to at most 90 deg")
        if np.any(~np.isfinite(self.relative)) or np.any(self.relative < 0) or not np.any(self.relative > 0):
            raise SetupError("relative intensities are finite, not negative, and not all 0")


Beam = CosineLobe | TabulatedLobe | PhotometricLobe


@dataclass(frozen=True, eq=False)
class DimmingCurve:
    """Output against level, both 0-1, linear between the points; output 1 at level 1."""

    level: FloatArray
    output: FloatArray

    def __post_init__(self) -> None:
        level, output = read_only(self.level), read_only(self.output)
        if level.ndim != 1 or level.shape != output.shape or level.size < 2:
            raise SetupError("a dimming curve needs two or more pairs of level and output")
        if level[0] != 0 or level[-1] != 1 or np.any(np.diff(level) <= 0):
            raise SetupError("the levels of a dimming curve rise strictly from 0 to 100")
        if np.any(np.diff(output) < 0) or output[0] < 0 or output[-1] != 1:
            raise SetupError("the outputs of a dimming curve do not fall, start at 0 or more and end at 100")
        object.__setattr__(self, "level", level)
        object.__setattr__(self, "output", output)

    def from_foot(self, foot: float) -> DimmingCurve:
        """The curve of a lamp that gives nothing where this one gives up to ``foot``, 0-1."""
        if not foot > 0:
            return self
        rising = np.flatnonzero(self.output > foot)[0]
        ends = slice(max(rising - 1, 0), rising + 1)
        start = float(np.interp(foot, self.output[ends], self.level[ends])) if rising else 0.0
        level = np.unique(np.append(self.level, start))
        output = np.maximum(np.interp(level, self.level, self.output) - foot, 0.0) / (1.0 - foot)
        return DimmingCurve(level, np.where(level == 1, 1.0, output))

    @classmethod
    def linear(cls) -> DimmingCurve:
        """Output equals level."""
        return cls(np.array([0.0, 1.0]), np.array([0.0, 1.0]))


@dataclass(frozen=True)
class Aperture:
    """The rectangle that emits light; a point when both sides are 0. [m]"""

    length_m: float = 0.0
    width_m: float = 0.0

    def __post_init__(self) -> None:
        if not (0 <= self.length_m <= 10 and 0 <= self.width_m <= 10):
            raise SetupError("an aperture measures 0 to 10 m on each side")


@dataclass(frozen=True)
class Emitters:
    """The single light sources behind the aperture, for eye safety only."""

    count: int
    diameter_m: float


@dataclass(frozen=True, eq=False)
class Channel:
    """One channel of a fixture type. ``place`` is where it is defined, for messages."""

    name: str
    spectrum: ChannelSpectrum
    beam: Beam
    dimming: DimmingCurve
    flux: Flux | None = None
    electrical_w: float | None = None
    place: Place | None = None


@dataclass(frozen=True, eq=False)
class FixtureType:
    """What a fixture file describes. ``aperture_place`` is where its aperture is stated, for messages.

    ``electrical_w`` is what all channels draw together at full output, where that is known.
    """

    name: str
    channels: tuple[Channel, ...]
    aperture: Aperture = Aperture()
    emitters: Emitters | None = None
    aperture_place: Place | None = None
    electrical_w: float | None = None

    @property
    def lit_at_zero(self) -> tuple[str, ...]:
        """Channels whose driver gives light at level 0, as long as their programme runs."""
        return tuple(c.name for c in self.channels if c.dimming.output[0] > 0)

    def __post_init__(self) -> None:
        if not self.channels:
            raise SetupError(f"fixture {self.name!r} has no channel")
        names = [c.name for c in self.channels]
        if len(set(names)) != len(names):
            raise SetupError(f"fixture {self.name!r} names a channel twice")


@dataclass(frozen=True, eq=False)
class Fixture:
    """A fixture that hangs over the tank and runs a programme.

    ``x_m, y_m, height_m`` is the centre of the emitting area, height above the water; rotation is
    counter-clockwise seen from above, 0 with the aperture's length along x.
    """

    name: str
    type: FixtureType
    x_m: float
    y_m: float
    height_m: float
    programme: Programme
    rotation_deg: float = 0.0
    enabled: bool = True
    output_scale: float = 1.0

    def __post_init__(self) -> None:
        if not 0 < self.height_m <= 20:
            raise SetupError(
                f"fixture {self.name!r} hangs {self.height_m:g} m above the water; allowed: above 0, to 20 m"
            )
        if not all(map(math.isfinite, (self.x_m, self.y_m, self.rotation_deg))):
            raise SetupError(
                f"fixture {self.name!r} hangs at x {self.x_m:g} m, y {self.y_m:g} m, turned by "
                f"{self.rotation_deg:g} deg: finite numbers are wanted"
            )
        if not (math.isfinite(self.output_scale) and 0 < self.output_scale <= 100):
            raise SetupError(
                f"output_scale {self.output_scale:g} of fixture {self.name!r} is outside 0 to 100"
            )
        known = {c.name for c in self.type.channels}
        unknown = [n for n in self.programme.channels if n not in known]
        if unknown:
            raise SetupError(
                f"the programme of fixture {self.name!r} names unknown channels: {', '.join(unknown)}"
            )

    @property
    def outline_m(self) -> list[tuple[float, float]]:
        """Corners of the emitting rectangle from above; all alike for a point. [m]"""
        turn = math.radians(self.rotation_deg)
        half_length, half_width = self.type.aperture.length_m / 2, self.type.aperture.width_m / 2
        return [
            (
                self.x_m + math.cos(turn) * a * half_length - math.sin(turn) * b * half_width,
                self.y_m + math.sin(turn) * a * half_length + math.cos(turn) * b * half_width,
            )
            for a, b in ((-1, -1), (1, -1), (1, 1), (-1, 1))
        ]
