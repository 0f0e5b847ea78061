"""Start-up as ratios, in one run: `python tests/benchmarks/start_up_benchmark.py`."""

from __future__ import annotations

import platform
import subprocess
import sys
import time
from importlib.metadata import version
from pathlib import Path

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"
ROUNDS = 25


def best_ms(*commands: list[str]) -> list[float]:
    """Shortest time of each command over rounds that take turns, so that load hits all alike. [ms]"""
    best = [float("inf")] * len(commands)
    for _ in range(ROUNDS):
        for i, command in enumerate(commands):
            start = time.perf_counter()
            subprocess.run(command, check=True, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
            best[i] = min(best[i], 1e3 * (time.perf_counter() - start))
    return best


def main() -> None:
    """Print both ratios with their limits."""
    script = str(Path(sys.executable).with_name("lightdose"))
    click_ms, help_ms, libraries_ms, dose_ms = best_ms(
        [sys.executable, "-c", "import click"],
        [script, "--help"],
        [sys.executable, "-c", "import numpy, pydantic, click"],
        [script, "dose", str(EXAMPLE)],
    )
    print(f"{platform.machine()}, Python {platform.python_version()}, click {version('click')}", end=", ")
    print(f"numpy {version('numpy')}, pydantic {version('pydantic')}; best of {ROUNDS}")
    for name, ours_ms, bare, bare_ms, limit in (
        ("--help", help_ms, "import click", click_ms, 1.35),
        ("dose, piped", dose_ms, "import numpy, pydantic, click", libraries_ms, 2.5),
    ):
        ratio = ours_ms / bare_ms
        print(f"{name:12} {ours_ms:6.1f} ms / {bare} {bare_ms:6.1f} ms = {ratio:.2f} (limit {limit})")


if __name__ == "__main__":
    main()
