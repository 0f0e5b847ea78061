"""Words for what stands in the tank: shapes of rock, forms of colonies, faces of places.

They stand apart from the records in ``solids``, which are loaded only where something solid is told.
"""

from __future__ import annotations

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
