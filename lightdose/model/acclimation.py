"""Records of `acclimate`: dated steps from today's light to another, and how far corals lag behind."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from lightdose.model.arrays import FloatArray, read_only
from lightdose.model.record import dataclass
from lightdose.model.results import Basis, Caution, Span
from lightdose.model.schedule import Programme
from lightdose.model.setup import Setup

Origin = Literal["today", "stated", "unknown"]
"""Where a coral's earlier dose is known from: the setup it lives in, the keeper's word, or not at all."""


@dataclass(frozen=True)
class AcclimatingCoral:
    """A coral on its way from one daily dose to another. Doses in mol m-2 d-1.

    Attributes
    ----------
    before : the dose it lives in, or for an unknown one the top of the low third of its band
    target : the dose of the last step
    first_limit : the most it may get in the first step
    newcomer : whether it does not live in today's setup
    """

    name: str
    group: str
    site: str
    origin: Origin
    before: float
    target: float
    first_limit: float
    floor: float | None
    newcomer: bool


@dataclass(frozen=True)
class CoralStep:
    """One coral in one step; ``rise_per_week`` is against the step before, scaled to seven days."""

    coral: str
    dli_mol_m2_d: float
    rise_per_week: float
    d_over_a: Span


@dataclass(frozen=True, eq=False)
class AcclimationStep:
    """What runs from one day to the next step.

    Attributes
    ----------
    date : of the day, "2026-03-14", where a start was named
    scale : on all outputs of the new programme, 0-1
    site_dli : site with a coral -> DLI. [mol m-2 d-1]
    d_over_a : dose over acclimated dose of the coral that is furthest ahead, just after the step
    programmes : fixture -> programme
    """

    day: int
    date: str | None
    scale: float
    site_dli: Mapping[str, float]
    corals: tuple[CoralStep, ...]
    d_over_a: Span
    furthest_ahead: str
    programmes: Mapping[str, Programme]


@dataclass(frozen=True, eq=False)
class MismatchCurve:
    """Dose over acclimated dose of one coral, day by day; a step is two points on one day.

    Attributes
    ----------
    day : array, shape (n,)
    dli : array, shape (n,). [mol m-2 d-1]
    d_over_a : array, shape (3, n), for each of ``tau_d``
    tau_d : shortest, usual, longest time of the lag. [d]
    """

    coral: str
    day: FloatArray
    dli: FloatArray
    d_over_a: FloatArray
    tau_d: tuple[float, float, float]

    def __post_init__(self) -> None:
        for name in ("day", "dli", "d_over_a"):
            object.__setattr__(self, name, read_only(getattr(self, name)))


@dataclass(frozen=True, eq=False)
class Acclimation:
    """The whole way, its corals, and what to mind.

    Attributes
    ----------
    before, after : today's setup, and the one that the way leads to
    rise_per_week : the limit asked for, 0.1 is 10 %
    missing : corals of today's setup that the other lacks
    not_judged : corals that live without light, which limit nothing
    weeks : from the first step to the last
    """

    before: Setup
    after: Setup
    basis_sentence: str
    basis: Basis
    rise_per_week: float
    step_days: int
    corals: tuple[AcclimatingCoral, ...]
    missing: tuple[str, ...]
    not_judged: tuple[str, ...]
    steps: tuple[AcclimationStep, ...]
    curve: MismatchCurve
    cautions: tuple[Caution, ...]
    weeks: float
