"""What rock and colonies cost: ``python tests/benchmarks/solids_benchmark.py``.

- ``dose`` of the crowded cube with 20 solids, intervals included, over the same cube without;
- a map of 10,000 points with 20 solids;
- growth of a light field of 100 places from 20 to 500 solids, linear in solids and rays.

The solids are invented: knobs of rock along the walls, where no coral stands.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace
from pathlib import Path

import numpy as np
from rows import best_s, row

from lightdose import light_field, read_setup
from lightdose.model.setup import Setup
from lightdose.model.solids import Shape, Solid
from lightdose.workflows.advice import advised

CUBE = Path(__file__).resolve().parents[2] / "examples" / "crowded-cube" / "setup.toml"
SOLIDS, MANY, POINTS, PLACES = 20, 500, 10_000, 100
ROUNDS = 5
MOST_OVER_BARE, MOST_MAP_S = 2.5, 6.0
SHAPES: tuple[Shape, ...] = ("box", "ellipsoid", "cylinder")


def knobs(setup: Setup, count: int) -> Setup:
    """The setup with so many knobs within 2 cm of its side and back walls."""
    tank, draw = setup.tank, np.random.default_rng(20)
    made = []
    for n in range(count):
        along, up = draw.uniform(0.02, tank.width_m - 0.02), draw.uniform(0.02, 0.8 * tank.water_depth_m)
        x = 0.01 if n % 2 else tank.length_m - 0.01
        size = tuple(draw.uniform(0.01, 0.02, 3).tolist())
        made.append(Solid(f"knob {n}", SHAPES[n % 3], x, along, tank.water_depth_m - up, size))  # type: ignore[arg-type]
    return replace(setup, rocks=tuple(made))


def main() -> int:
    """Print the rows; 1 where a mark is missed."""
    bare = read_setup(CUBE)
    twenty, many = knobs(bare, SOLIDS), knobs(bare, MANY)
    with_cpu = {"rounds": ROUNDS, "clock": time.process_time}
    plain, solid = best_s(lambda: advised(bare), lambda: advised(twenty), **with_cpu)  # type: ignore[arg-type]
    ratio = solid / plain
    met = row(
        f"`dose` of the crowded cube with {SOLIDS} solids over without (processor time)",
        f"{ratio:.2f} ({1e3 * solid:.0f} ms / {1e3 * plain:.0f} ms)",
        f"at most {MOST_OVER_BARE:g}",
        met=ratio <= MOST_OVER_BARE,
    )
    tank = bare.tank
    across = np.linspace(0.0025, tank.length_m - 0.0025, 100)
    x, y = (axis.ravel() for axis in np.meshgrid(across, across))
    points = np.column_stack((x, y, np.full(x.size, 0.5 * tank.water_depth_m)))
    (took,) = best_s(lambda: light_field(twenty, points), rounds=2)
    met &= row(
        f"map of {POINTS:,} points with {SOLIDS} solids",
        f"{took:.1f} s",
        f"at most {MOST_MAP_S:g} s",
        met=took <= MOST_MAP_S,
    )
    some = points[:: POINTS // PLACES]
    few, all_of = best_s(
        lambda: light_field(twenty, some), lambda: light_field(many, some), rounds=2, clock=time.process_time
    )
    growth = all_of / few
    met &= row(
        f"{PLACES} places among {MANY} solids over {SOLIDS}",
        f"{growth:.1f} ({all_of:.1f} s / {few:.1f} s)",
        f"at most {MANY // SOLIDS}: linear",
        met=growth <= MANY // SOLIDS,
    )
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
