"""A coral that solids keep in the shade: who does, how much, and where the shadow ends."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal

from lightdose.model.record import dataclass

Side = Literal["front", "back", "left", "right"]

CAVE: Final = 0.5
"""A coral from which solids keep so much of the light sits in a cave. Our choice."""


@dataclass(frozen=True)
class OutOfShadow:
    """The nearest place beside a coral, at the same height, that gives it a usual amount of light."""

    distance_m: float
    towards: Side
    dli_mol_m2_d: float


@dataclass(frozen=True)
class Shadow:
    """A coral below its range in the shade of solids.

    Attributes
    ----------
    kept_fraction : what all solids together keep of the light that would come by rays, 0-1
    shaded_by : what each alone keeps, those that take most first, 0-1
    likes_shade : whether its group is usual in dim light
    out : None where no place near it gives it a usual amount
    """

    coral: str
    kept_fraction: float
    shaded_by: Mapping[str, float]
    likes_shade: bool
    out: OutOfShadow | None

    @property
    def faultless(self) -> bool:
        """Whether the light is not at fault: its place is dark, and its group likes shade."""
        return self.likes_shade and self.kept_fraction >= CAVE
