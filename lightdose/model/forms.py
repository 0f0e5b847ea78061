"""Words for what stands in the tank: shapes of rock, forms of colonies, faces of places, shade.

They stand apart from the records in ``solids``, which are loaded only where something solid is told.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import Final, Literal, get_args

RockShape = Literal["box", "ellipsoid", "cylinder", "slab"]
ROCK_SHAPES: Final = get_args(RockShape)
"""A slab is a box that is named by its top."""

CoralForm = Literal["dome", "table", "branching", "upright plate", "mat", "none"]
CORAL_FORMS: Final = get_args(CoralForm)
"""Forms of a colony; one without a form shades nothing."""

FACE_WORDS: Final = ("up", "front", "back", "left", "right", "down")
"""Faces that have a word; any other is told by two angles."""

MOST_SOLIDS: Final = 500
"""Rocks and colonies with a diameter in one tank."""

ROCK_REFLECTANCE: Final = 0.15
"""Bare rock 0.2-0.3, coralline and algae 0.08-0.15, dark plastic 0.05. Our choice."""

OPEN_SKY_WORDS: Final[Mapping[str, float]] = {
    "clear": 1.0,
    "neighbour on one side": 0.8,
    "half under": 0.35,
    "under a ledge": 0.03,
}
"""Share of the light from above that reaches a place, as a flat sensor that looks up reads it.

Middles of places traced under and beside rock and colonies (our own tracer, three invented tanks), rounded;
of a neighbour the middle of its range.
"""

OPEN_SKY_RANGES: Final[Mapping[str, tuple[float, float]]] = {
    "neighbour on one side": (0.6, 1.0),
    "half under": (0.24, 0.5),
    "under a ledge": (0.01, 0.15),
}
"""Lowest and highest of the same places: the word alone tells no more."""
