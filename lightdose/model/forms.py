"""Words for what stands in the tank: shapes of rock, forms of colonies, faces of places, shade, doubts.

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

UNCERTAINTY_KEYS: Final = {
    "flux_common_fraction": (3.0, "output of all channels of a fixture together"),
    "flux_channel_fraction": (3.0, "output of a channel beside the others"),
    "beam_fraction": (3.0, "width of a beam"),
    "height_cm": (100.0, "height of a fixture, cm"),
    "position_cm": (100.0, "place of a site along each axis, cm"),
    "open_sky": (1.0, "open sky of a site"),
    "yellowing_per_m": (10.0, "yellowing of the water at 440 nm, per m"),
    "dimming_points": (100.0, "output at mid level, percent points; four times near the foot of ramps"),
    "model_fraction": (3.0, "light field of the model"),
    "led_tail_points": (100.0, "photons of a LED beyond its own band, percent points of the channel"),
    "violet_reading_fraction": (3.0, "reading of light below 420 nm by a quantum sensor"),
}
"""Keys of [uncertainty], one standard uncertainty each: upper limit (our choice), and of what."""
