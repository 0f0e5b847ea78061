"""What a tank and its fixtures make of light that a keeper would not think of, as sentences for `check`."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from lightdose.model.fixture import Fixture
from lightdose.model.setup import Tank

COLUMN_DEPTHS: Final = 2.0
"""A tank deeper than so many of its narrower sides is a column: our choice."""

COLUMN: Final = (
    "a narrow tall tank: light that joined panes lead to its foot is counted, within 2.5 % of traced photons"
)
PANEL_M: Final = 0.1
"""From this side on a fixture's light counts as a panel here: our choice."""

PANEL: Final = "for eyes a panel is taken for one small source, on the safe side (lightdose hazard)"
NAMED: Final = 12


def remarks(tank: Tank, fixtures: Sequence[Fixture]) -> list[str]:
    """A sentence for a tank that is a column, and one for the fixtures that are panels."""
    found = []
    if tank.water_depth_m > COLUMN_DEPTHS * min(tank.length_m, tank.width_m):
        found.append(COLUMN)
    sides = {f.name: max(f.type.aperture.length_m, f.type.aperture.width_m) for f in fixtures}
    panels = [name for name, side_m in sides.items() if side_m >= PANEL_M]
    if panels:
        found.append(f"{', '.join(panels[:NAMED])}: {PANEL}")
    return found
