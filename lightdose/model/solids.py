"""What stands in the tank and shades it, and which way a place faces."""

from __future__ import annotations

import math
from collections.abc import Mapping
from typing import Final, Literal

from lightdose.errors import SetupError
from lightdose.model.forms import ROCK_REFLECTANCE, CoralForm
from lightdose.model.record import dataclass

Shape = Literal["box", "ellipsoid", "cylinder"]
CORAL_REFLECTANCE: Final = 0.1
"""Of a colony's skin: our choice."""

FORM_PASSES: Final[Mapping[str, float]] = {
    "dome": 0.0,
    "table": 0.2,
    "branching": 0.4,
    "upright plate": 0.0,
    "mat": 0.0,
    "none": 1.0,
}
"""Share of the light that passes a colony: across its diameter, or down through a table. Our choice."""

GROUP_FORM: Final[Mapping[str, CoralForm]] = {
    "sps-shallow": "branching",
    "sps-plating": "table",
    "scroll-merulinid": "table",
    "low-light-plating": "table",
    "mushroom": "mat",
    "ricordea": "mat",
    "zoanthid": "mat",
    "star-polyp": "mat",
    "gorgonian": "branching",
}
"""Form of a colony whose coral tells none, by its group; a dome for all others. Our choice."""

OUTLINE_POINTS: Final = 60
"""Corners of the outline of a round solid in a drawing."""

PLATE_M: Final = 0.02
MAT_M: Final = 0.01
TABLE_PER_DIAMETER: Final = 0.1
"""Thickness of an upright plate and of a mat that tells no height, and of a table. Our choice."""


@dataclass(frozen=True)
class Face:
    """Which way a surface looks.

    ``toward_deg`` is its direction in plan, 0 to the right, counter-clockwise seen from above; ``tilt_deg``
    is 0 up, 90 upright, 180 down.
    """

    toward_deg: float
    tilt_deg: float

    def __post_init__(self) -> None:
        if not -360 <= self.toward_deg <= 360:
            raise SetupError(f"toward_deg {self.toward_deg:g} is outside -360 to 360")
        if not 0 <= self.tilt_deg <= 180:
            raise SetupError(f"tilt_deg {self.tilt_deg:g} is outside 0 to 180")

    @property
    def normal(self) -> tuple[float, float, float]:
        """Along x, y and upwards."""
        turn, tilt = math.radians(self.toward_deg), math.radians(self.tilt_deg)
        return math.sin(tilt) * math.cos(turn), math.sin(tilt) * math.sin(turn), math.cos(tilt)

    @property
    def word(self) -> str:
        """ "front", or the two angles."""
        for word, face in FACES.items():
            if face == self:
                return word
        return f"toward {self.toward_deg:g} deg, tilted {self.tilt_deg:g} deg"


FACES: Final[Mapping[str, Face]] = {
    "front": Face(270, 90),
    "back": Face(90, 90),
    "left": Face(180, 90),
    "right": Face(0, 90),
    "down": Face(0, 180),
}
"""The faces that have a word, but for up, which is no face of its own."""


@dataclass(frozen=True)
class Growth:
    """What a colony gains in a month. [m]"""

    diameter_m: float = 0.0
    height_m: float = 0.0


@dataclass(frozen=True)
class Solid:
    """A body under water, from which light comes back by Lambert's law.

    Attributes
    ----------
    x_m, y_m, depth_m : its centre
    size_m : full extents along its own x and y, and upwards
    turn_deg : counter-clockwise seen from above
    reflectance : diffuse, of its skin
    passes : share of light that comes through ``through_m`` of it; 0 is opaque
    base_depth_m : it ends there below, where it is cut; None where it is whole
    coral : whose colony it is; "" for rock
    foot_depth_m : where that coral stands, at the same x and y; None for rock
    """

    name: str
    shape: Shape
    x_m: float
    y_m: float
    depth_m: float
    size_m: tuple[float, float, float]
    turn_deg: float = 0.0
    reflectance: float = ROCK_REFLECTANCE
    passes: float = 0.0
    through_m: float = 1.0
    base_depth_m: float | None = None
    coral: str = ""
    foot_depth_m: float | None = None

    def __post_init__(self) -> None:
        if not all(1e-9 < side <= 20 for side in self.size_m):
            raise SetupError(f"the size of {self.name!r} is not above 0 to 20 m along every axis")
        if not 0 <= self.reflectance < 1:
            raise SetupError(f"reflectance {self.reflectance:g} of {self.name!r} is outside 0 to below 1")
        if not 0 <= self.passes <= 1:
            raise SetupError(f"passes {self.passes:g} of {self.name!r} is outside 0 to 1")

    def inside_m(self, x_m: float, y_m: float, depth_m: float) -> float:
        """How far a place lies inside, below 0 where it is outside; the way to the skin or less. [m]"""
        u, half = self._own(x_m, y_m, depth_m)
        if self.shape == "box":
            return min(h * (1 - abs(v)) for v, h in zip(u, half, strict=True))
        if self.shape == "ellipsoid":
            return min(half) * (1 - math.hypot(*u))
        return min(min(half[:2]) * (1 - math.hypot(u[0], u[1])), half[2] * (1 - abs(u[2])))

    def top_at(self, x_m: float, y_m: float) -> float | None:
        """Depth of its upper skin at a place of the plan; None beside it."""
        u, half = self._own(x_m, y_m, self.depth_m)
        if self.shape == "box":
            rise = 1.0 if max(abs(u[0]), abs(u[1])) <= 1 else None
        else:
            square = 1 - u[0] * u[0] - u[1] * u[1]
            rise = None if square < 0 else math.sqrt(square) if self.shape == "ellipsoid" else 1.0
        return None if rise is None else self.depth_m - half[2] * rise

    def ways_out(self, x_m: float, y_m: float, depth_m: float) -> list[tuple[float, float, float]]:
        """Places just outside for a place inside: straight up, and sideways through the nearest skin."""
        u, half = self._own(x_m, y_m, depth_m)
        found = []
        top = self.top_at(x_m, y_m)
        if top is not None:
            found.append((x_m, y_m, top))
        own = []
        if self.shape == "box":
            own = [(math.copysign(1, u[0]), u[1], u[2]), (u[0], math.copysign(1, u[1]), u[2])]
        else:
            level = 1.0 if self.shape == "cylinder" else math.sqrt(max(1 - u[2] * u[2], 0.0))
            long = math.hypot(u[0], u[1])
            if long > 0:
                own = [(u[0] / long * level, u[1] / long * level, u[2])]
        turn = math.radians(self.turn_deg)
        c, s = math.cos(turn), math.sin(turn)
        for v in own:
            a, b = v[0] * half[0], v[1] * half[1]
            found.append((self.x_m + c * a - s * b, self.y_m + s * a + c * b, depth_m))
        return found

    def _own(
        self, x_m: float, y_m: float, depth_m: float
    ) -> tuple[tuple[float, float, float], tuple[float, ...]]:
        """A place in its own frame, in half extents, and these. [m]"""
        half = tuple(0.5 * side for side in self.size_m)
        turn = math.radians(self.turn_deg)
        c, s = math.cos(turn), math.sin(turn)
        x, y = x_m - self.x_m, y_m - self.y_m
        return (
            (c * x + s * y) / half[0],
            (c * y - s * x) / half[1],
            (self.depth_m - depth_m) / half[2],
        ), half

    def outline_m(self, along: int, down: int) -> tuple[tuple[float, float], ...]:
        """Its outline seen along the third axis; axes 0, 1, 2 are x, y and depth. [m]"""
        spans = self.extent_m
        (left, right), (top, low) = spans[along], spans[down]
        turns = [2 * math.pi * n / OUTLINE_POINTS for n in range(OUTLINE_POINTS)]
        if down == 2:
            if self.shape != "ellipsoid":
                return (left, top), (right, top), (right, low), (left, low)
            middle, wide, tall = 0.5 * (left + right), 0.5 * (right - left), 0.5 * self.size_m[2]
            return tuple(
                (middle + wide * math.cos(t), min(self.depth_m + tall * math.sin(t), low)) for t in turns
            )
        a, b = 0.5 * self.size_m[0], 0.5 * self.size_m[1]
        own = [(-a, -b), (a, -b), (a, b), (-a, b)]
        if self.shape != "box":
            own = [(a * math.cos(t), b * math.sin(t)) for t in turns]
        turn = math.radians(self.turn_deg)
        c, s = math.cos(turn), math.sin(turn)
        return tuple((self.x_m + c * x - s * y, self.y_m + s * x + c * y) for x, y in own)

    @property
    def extent_m(self) -> tuple[tuple[float, float], tuple[float, float], tuple[float, float]]:
        """From and to along x, y and depth. [m]"""
        a, b, tall = (0.5 * side for side in self.size_m)
        turn = math.radians(self.turn_deg)
        c, s = abs(math.cos(turn)), abs(math.sin(turn))
        x, y = (
            (a * c + b * s, a * s + b * c)
            if self.shape == "box"
            else (math.hypot(a * c, b * s), math.hypot(a * s, b * c))
        )
        low = self.depth_m + tall
        if self.base_depth_m is not None:
            low = min(low, self.base_depth_m)
        return (
            (self.x_m - x, self.x_m + x),
            (self.y_m - y, self.y_m + y),
            (self.depth_m - tall, low),
        )


@dataclass(frozen=True)
class Brace:
    """A strip in the air at the rim, from one point to another; it shades the straight beam. [m]"""

    name: str
    from_m: tuple[float, float]
    to_m: tuple[float, float]
    width_m: float
    passes: float = 0.0


def colony(
    coral: str,
    form: CoralForm | None,
    group: str,
    at_m: tuple[float, float, float],
    diameter_m: float,
    height_m: float,
    passes: float | None = None,
) -> Solid | None:
    """The body of a coral that stands on a place; None for one without a form.

    Parameters
    ----------
    coral, group : str
    form : str or None
        That of its group where None.
    at_m : x, y, depth of its place. [m]
    diameter_m, height_m : float
        Of the colony. [m]
    passes : float or None
        Share of light that comes through; that of the form where it is not told.

    Raises
    ------
    SetupError
        If a colony that is no mat has no height.

    Source
    ------
    Our own closed forms of colonies.
    """
    form = form or GROUP_FORM.get(group, "dome")
    if form == "none":
        return None
    if height_m <= 0 and form != "mat":
        raise SetupError(
            f"coral {coral!r} has a diameter and no height, so its colony has no size: tell its height, or "
            'form = "mat" or "none"'
        )
    x_m, y_m, base_m = at_m
    width = depth = diameter_m
    base, shape, through = None, "cylinder", diameter_m
    if form in ("dome", "branching"):
        shape, base, centre, tall = "ellipsoid", base_m, base_m, 2 * height_m
    elif form == "table":
        tall = through = min(height_m, max(MAT_M, TABLE_PER_DIAMETER * diameter_m))
        centre = base_m - height_m + 0.5 * tall
    elif form == "upright plate":
        shape, depth, tall, centre = "box", min(PLATE_M, diameter_m), height_m, base_m - 0.5 * height_m
    else:
        tall = height_m or MAT_M
        centre = base_m - 0.5 * tall
    return Solid(
        coral,
        shape,  # type: ignore[arg-type]
        x_m,
        y_m,
        centre,
        (width, depth, tall),
        reflectance=CORAL_REFLECTANCE,
        passes=FORM_PASSES[form] if passes is None else passes,
        through_m=through,
        base_depth_m=base,
        coral=coral,
        foot_depth_m=base_m,
    )
