"""Start-up as ratios, in one run: `python tests/benchmarks/start_up_benchmark.py`."""

from __future__ import annotations

import sys
from pathlib import Path

from rows import best_s, plain_example, process, row

EXAMPLE = plain_example() / "setup.toml"
ROUNDS = 25


def main() -> int:
    """Both ratios with their marks."""
    script = str(Path(sys.executable).with_name("lightdose"))
    commands = (
        [sys.executable, "-c", "import click"],
        [script, "--help"],
        [sys.executable, "-c", "import numpy, pydantic, click"],
        [script, "dose", str(EXAMPLE)],
    )
    click_s, help_s, libraries_s, dose_s = best_s(*map(process, commands), rounds=ROUNDS)
    met = True
    for name, ours, bare, bare_s, most in (
        ("`--help`", help_s, "`import click`", click_s, 1.35),
        (
            "`dose`, shipped example without solids, piped",
            dose_s,
            "`import numpy, pydantic, click`",
            libraries_s,
            2.5,
        ),
    ):
        measured = f"{ours / bare_s:.2f} ({1e3 * ours:.0f} ms / {1e3 * bare_s:.0f} ms)"
        met &= row(f"{name} over {bare}", measured, f"at most {most:g}", met=ours <= most * bare_s)
    return int(not met)


if __name__ == "__main__":
    sys.exit(main())
