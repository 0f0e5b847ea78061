"""What rock and colonies cost: ``python tests/benchmarks/solids_benchmark.py``.

- ``dose`` of the crowded cube with 20 solids, intervals included, over the same cube without;
- a map of 10,000 points with 20 solids;
- growth of a light field of 100 places from 20 to 500 solids, linear in solids and rays;
- with ``--mitsuba PYTHON``, a Python that has the package ``mitsuba`` (from a throw-away environment, never a
  dependency): the same squares of two scenes with solids, under panels that shine by Lambert's law.

The solids of the first three are invented: knobs of rock along the walls, where no coral stands.
"""

from __future__ import annotations

import json
import subprocess
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


SCENES = Path(__file__).resolve().parents[1] / "data" / "solids_scenes.json"
PANEL_M, NAMES, CLOSE, LIT = 0.12, ("R02", "R04"), 0.02, 0.15


def against_mitsuba(python: str) -> bool:
    """Lit squares of two scenes in a general-purpose renderer, without absorption: to 2 % and its errors."""
    sys.path.insert(0, str(SCENES.parents[1]))
    from physics.solid_scenes import scenes_in

    met = True
    entries = [e for e in json.loads(SCENES.read_text())["scenes"] if e["id"] in NAMES]
    for entry in entries:
        for source in entry["scene"]["sources"]:
            source |= {"m": 1.0, "size": [PANEL_M, PANEL_M]}
        entry["scene"]["a"] = [0.0]
    for entry, scene in zip(entries, scenes_in(entries, 16), strict=True):
        start = time.perf_counter()
        ours = scene.model()[0][:, 0]
        spent = time.perf_counter() - start
        brightest = ours.max()
        lit = [n for n, light in enumerate(ours) if light >= LIT * brightest]
        squares = [entry["receivers"][n] for n in lit]
        done = subprocess.run(
            [python, str(Path(__file__).with_name("solids_mitsuba.py"))],
            input=json.dumps([entry["scene"], squares]),
            capture_output=True,
            text=True,
            check=True,
        )
        found = json.loads(done.stdout)
        off = [ours[n] / one["E"] - 1 for n, one in zip(lit, found, strict=True)]
        errors = [one["se"] / one["E"] for one in found]
        good = all(abs(o) <= CLOSE + 3 * e for o, e in zip(off, errors, strict=True))
        seconds = sum(one["seconds"] for one in found)
        middle = float(np.median(np.abs(off)))
        met &= row(
            f"{len(lit)} lit squares of {scene.name} under a Lambert panel against Mitsuba",
            f"{100 * min(off):+.1f} to {100 * max(off):+.1f} %, median {100 * middle:.1f} %"
            f" at its errors of up to {100 * max(errors):.1f} %; {seconds:.0f} s / {spent:.1f} s",
            f"{100 * CLOSE:g} % + 3 standard errors",
            met=good,
        )
    return met


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
    if "--mitsuba" in sys.argv:
        met &= against_mitsuba(sys.argv[sys.argv.index("--mitsuba") + 1])
    else:
        row("squares of two scenes against Mitsuba", "not run: --mitsuba PYTHON")
    return 0 if met else 1


if __name__ == "__main__":
    sys.exit(main())
