"""Eye and skin safety of fixtures: what reaches a person who stares straight into them, and for how long."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from lightdose.errors import SpectrumError
from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.record import dataclass
from lightdose.model.results import Basis, Caution
from lightdose.model.setup import Setup
from lightdose.model.spectrum import GRID_NM

LimitKey = Literal["blue_light_irradiance", "blue_light_radiance", "actinic_uv", "uv_a"]


def duration_words(seconds: float) -> str:
    """A time as people say it, rounded down: "less than 1 s", "about 1.9 s", "about 12 s", "about 2.5 h"."""
    if seconds < 1:
        return "less than 1 s"
    if seconds < 10:
        return f"about {math.floor(10 * seconds) / 10:g} s"
    if seconds < 120:
        return f"about {math.floor(seconds)} s"
    if seconds < 7200:
        return f"about {math.floor(seconds / 60)} min"
    return f"about {math.floor(seconds / 360) / 10:g} h"


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
class Exposure:
    """What reaches an eye that stares straight into the light; through air, without any cover.

    Attributes
    ----------
    e_b_w_m2 : irradiance weighted by the blue-light hazard. [W m-2]
    l_b_w_m2_sr : radiance of a single emitter so weighted, the mean of all emitters; None where the fixture
        file does not tell their number and size. [W m-2 sr-1]
    h_eff_8h_j_m2 : exposure weighted by the actinic UV hazard, 300-400 nm, in 8 h. [J m-2]
    e_uv_a_w_m2 : irradiance of 315-400 nm. [W m-2]
    """

    e_b_w_m2: float
    l_b_w_m2_sr: float | None
    h_eff_8h_j_m2: float
    e_uv_a_w_m2: float


@dataclass(frozen=True)
class LimitTime:
    """How long it takes to reach one limit. ``full_output_s`` and ``programme_s`` are None for never. [s]"""

    key: LimitKey
    limit: str
    source: str
    full_output_s: float | None
    programme_s: float | None


@dataclass(frozen=True)
class Stare:
    """Staring straight into a fixture from a distance.

    Attributes
    ----------
    fixture : its name, or "all together": at most the sum of all at this distance of each
    distance_m : through air from the emitting area. [m]
    full_output : all channels at 100 %, the worst that the controller can do
    programme : the highest of the day's programme
    limits : one for each limit that can be told
    factor_95 : lowest and highest factor by which the true figures may differ, about 95 %
    """

    fixture: str
    distance_m: float
    full_output: Exposure
    programme: Exposure
    limits: tuple[LimitTime, ...]
    factor_95: tuple[float, float]

    def soonest(self) -> LimitTime | None:
        """The limit that is reached first at full output; None where none is ever reached."""
        reached = [t for t in self.limits if t.full_output_s is not None]
        return min(reached, key=lambda t: t.full_output_s or 0.0) if reached else None


@dataclass(frozen=True, eq=False)
class Hazard:
    """Everything `hazard` reports.

    Attributes
    ----------
    behaviour : what to do, before any figure
    stares : each lit fixture at each distance, fixtures in file order
    together : all lit fixtures at each distance; empty where there are fewer than two
    remarks : what the figures of this setup leave out or assume
    """

    setup: Setup
    basis: Basis
    behaviour: tuple[Caution, ...]
    stares: tuple[Stare, ...]
    together: tuple[Stare, ...]
    remarks: tuple[str, ...]
    version: str
