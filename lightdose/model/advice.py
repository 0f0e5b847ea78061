"""Advice on a tank as records: what was tried, what it does to every coral, and what is worth doing first."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

from lightdose.model.record import dataclass

ActionKind = Literal["measure", "overall", "fixture", "hours", "height", "move", "exchange", "leave"]


@dataclass(frozen=True)
class Stand:
    """How a tank stands: corals within, corals undecided, and its penalty."""

    within: int
    undecided: int
    penalty: float


@dataclass(frozen=True)
class OverallChange:
    """How high a fixture is set as a whole: its overall setting, or 100 for the levels as they are. [%]

    ``apart`` tells whether it has such a setting apart from its levels.
    """

    fixture: str
    before: float
    after: float
    apart: bool = True


@dataclass(frozen=True)
class Action:
    """Something to do, tried on the whole tank with the draws that judge it today.

    Attributes
    ----------
    dials : overall settings that change, fixtures in file order
    longer_h : by how much the plateau grows. [h]
    heights_m : fixture -> height above the water before and after. [m]
    moves : coral -> site before and after
    reading : site to read
    before, after : how the tank stands; the same for a reading, and where nothing changes
    better, worse : corals whose verdict gets better or worse, or whose own penalty by a tenth (our choice)
    largest_rise, largest_cut : of any coral's dose, as a share of today's
    """

    kind: ActionKind
    before: Stand
    after: Stand
    dials: tuple[OverallChange, ...] = ()
    longer_h: float = 0.0
    heights_m: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    moves: Mapping[str, tuple[str, str]] = field(default_factory=dict)
    reading: str | None = None
    better: tuple[str, ...] = ()
    worse: tuple[str, ...] = ()
    largest_rise: float = 0.0
    largest_cut: float = 0.0

    @property
    def raises_light(self) -> bool:
        """Whether any coral gets more by a change of the light itself."""
        return self.kind in ("overall", "fixture", "hours", "height") and self.largest_rise > 0

    @property
    def gain(self) -> float:
        """By how much the penalty falls."""
        return self.before.penalty - self.after.penalty


@dataclass(frozen=True)
class FreePlace:
    """A free site and what a coral would get there. [mol m-2 d-1]

    ``off`` is "below" or "above" where the calculated dose is not usual, though the true one probably is.
    """

    site: str
    dli_mol_m2_d: float
    off: Literal["", "below", "above"] = ""


@dataclass(frozen=True)
class Unserved:
    """A coral that no change of the light serves where it sits, and free places that it can get to."""

    coral: str
    places: tuple[FreePlace, ...]


@dataclass(frozen=True)
class Advice:
    """What to do with a tank.

    Attributes
    ----------
    actions : the most useful first; never empty where light judges a coral
    unserved : corals to move, since no change of the light that was tried serves them where they sit
    measure_first : whether the first action is a reading, and all others wait for it
    unserved_under : the change under which they are off and have these doses; None for today's light
    """

    actions: tuple[Action, ...] = ()
    unserved: tuple[Unserved, ...] = ()
    measure_first: bool = False
    unserved_under: Action | None = None
