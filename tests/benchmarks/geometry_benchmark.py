"""The slowest of random tanks at the limits of what files allow: ``geometry_benchmark.py --tanks 1000``.

Each is answered or refused: doses with ranges by `analyse`, in seconds of the processor. `--tanks N` takes so
many (1,000 unless said), `--seed S` others.
"""

from __future__ import annotations

import argparse
import sys
import tempfile
import time
from pathlib import Path
from random import Random

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from misuse.extreme_tanks import extreme_tank
from rows import row

from lightdose.analysis import analyse
from lightdose.errors import LightdoseError
from lightdose.files.setup_file import read_setup

LIMIT_S = 20.0
SHOWN = 5


def main() -> int:
    """How many were answered, how many refused, and the slowest."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tanks", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=1)
    asked = parser.parse_args()
    taken: list[tuple[float, int, str]] = []
    with tempfile.TemporaryDirectory() as made:
        for number in range(asked.tanks):
            folder = Path(made, str(number))
            folder.mkdir()
            for name, text in extreme_tank(Random(f"{asked.seed}, {number}")).items():
                (folder / name).write_text(text, encoding="utf-8")
            start = time.process_time()
            try:
                analyse(read_setup(folder / "setup.toml"))
                end = "answered"
            except LightdoseError as refusal:
                end = "too many rays" if "rays to a place" in str(refusal) else "refused"
            taken.append((time.process_time() - start, number, end))
    ends = [end for _, _, end in taken]
    counts = ", ".join(f"{ends.count(end)} {end}" for end in ("answered", "refused", "too many rays"))
    slowest = sorted(taken, reverse=True)[:SHOWN]
    words = ", ".join(f"{took:.1f} s ({end}, no. {number})" for took, number, end in slowest)
    met = slowest[0][0] <= LIMIT_S
    return int(
        not row(f"{asked.tanks:,} tanks at their limits: {counts}", f"slowest {words}", "20 s", met=met)
    )


if __name__ == "__main__":
    sys.exit(main())
