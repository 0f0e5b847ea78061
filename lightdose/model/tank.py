"""The tank: the displayed water, its walls and floor, the water itself and the cover."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import field
from typing import Literal

from lightdose.errors import SetupError
from lightdose.model.record import dataclass
from lightdose.model.spectrum import SpectralTable

WallKind = Literal["clean", "painted", "dark", "reflectance"]
WALL_NAMES = ("front", "back", "left", "right")


@dataclass(frozen=True)
class Wall:
    """One side of the tank.

    clean: clear pane with air behind it, also film with an air gap · painted: black bonded outside ·
    dark: absorbing inside · reflectance: the stated mirror reflectance, no glass in front.
    """

    kind: WallKind = "clean"
    reflectance: float | None = None

    def __post_init__(self) -> None:
        if (self.kind == "reflectance") != (self.reflectance is not None):
            raise SetupError("a reflectance goes with a wall of that kind, and only with it")
        if self.reflectance is not None and not 0 <= self.reflectance <= 1:
            raise SetupError(f"wall reflectance {self.reflectance:g} is outside 0 to 1")


@dataclass(frozen=True)
class Tank:
    """Inner measures of the water; origin front left inside, x right, y back, depth down. [m]"""

    length_m: float
    width_m: float
    water_depth_m: float
    glass_thickness_m: float = 0.010
    glass_index: float = 1.52
    rim_m: float = 0.0
    walls: Mapping[str, Wall] = field(default_factory=lambda: {name: Wall() for name in WALL_NAMES})
    floor_reflectance: float = 0.3

    def __post_init__(self) -> None:
        for name in ("length_m", "width_m", "water_depth_m"):
            if not 0.01 <= getattr(self, name) <= 20:
                raise SetupError(
                    f"tank {name[:-2].replace('_', ' ')} {getattr(self, name):g} m is outside 0.01 to 20 m"
                )
        if not 0 <= self.glass_thickness_m <= 0.2:
            raise SetupError(f"glass thickness {self.glass_thickness_m:g} m is outside 0 to 0.2 m")
        if not 1.3 <= self.glass_index <= 2.0:
            raise SetupError(f"glass index {self.glass_index:g} is outside 1.3 to 2.0")
        if not 0 <= self.rim_m <= 2:
            raise SetupError(f"rim {self.rim_m:g} m is outside 0 to 2 m")
        if not 0 <= self.floor_reflectance < 1:
            raise SetupError(f"floor reflectance {self.floor_reflectance:g} is outside 0 to below 1")
        if set(self.walls) != set(WALL_NAMES):
            raise SetupError("a tank has the walls front, back, left and right")


@dataclass(frozen=True, eq=False)
class Water:
    """What the water does to light on its way. ``absorption`` replaces pure water. [m-1, base e]"""

    yellowing_440_per_m: float = 0.0
    yellowing_slope_per_nm: float = 0.0165
    refractive_index: float = 1.34
    absorption: SpectralTable | None = None

    def __post_init__(self) -> None:
        if not 1.0 <= self.refractive_index <= 1.5:
            raise SetupError(f"refractive_index {self.refractive_index:g} is outside 1.0 to 1.5")
        if not 0 <= self.yellowing_440_per_m <= 50:
            raise SetupError(f"yellowing_440_per_m {self.yellowing_440_per_m:g} is outside 0 to 50 per m")
        if not 0 <= self.yellowing_slope_per_nm <= 0.1:
            raise SetupError(
                f"yellowing_slope_per_nm {self.yellowing_slope_per_nm:g} is outside 0 to 0.1 per nm"
            )


@dataclass(frozen=True, eq=False)
class Cover:
    """A lid or screen; multiplies all light of all fixtures, whatever its angle."""

    transmittance: float | SpectralTable = 1.0

    def __post_init__(self) -> None:
        if isinstance(self.transmittance, float | int) and not 0 <= self.transmittance <= 1:
            raise SetupError(f"cover transmittance {self.transmittance:g} is outside 0 to 1")
