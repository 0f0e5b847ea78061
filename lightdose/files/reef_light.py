"""The daily dose under the open sea, from its shipped table."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from lightdose.model.light import ReefLight

REEF_LIGHT_FILE = Path(__file__).parent.parent / "data" / "reef_light.csv"


@cache
def reef_light() -> ReefLight:
    """Clear days of the tropics by depth, computed by ``tests/make_reef_light.py``.

    Water types, latitudes, seasons and sources stand in the head of the file.
    """
    text = REEF_LIGHT_FILE.read_text(encoding="utf-8")
    lines = [line for line in text.splitlines() if not line.startswith("#")]
    names = lines[0].split(",")[1:]
    table = np.array(",".join(lines[1:]).split(","), dtype=np.float64).reshape(len(lines) - 1, -1)
    waters = [name.removesuffix("_low") for name in names[::2]]
    return ReefLight(
        depth_m=table[:, 0],
        doses_mol_m2_d={water: table[:, 1 + 2 * n : 3 + 2 * n] for n, water in enumerate(waters)},
    )
