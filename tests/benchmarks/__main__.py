"""Every benchmark in one run, as one table of ratios: ``python tests/benchmarks``.

Each runs in a process of its own, one after the other. Names after the command choose some (``start_up``
``day``); ``--mitsuba PYTHON`` names a Python that has the renderer. Exit 1 where a mark is missed.
"""

from __future__ import annotations

import datetime
import os
import platform
import subprocess
import sys
from importlib.metadata import version
from pathlib import Path

HERE = Path(__file__).resolve().parent
ORDER = (
    "start_up",
    "spectra",
    "day",
    "light_field",
    "uncertainty",
    "survey",
    "promise",
    "fit",
    "answers",
    "solids",
    "diary",
    "many",
    "page",
    "desk",
    "geometry",
    "scale",
    "python",
)
LIBRARIES = ("numpy", "scipy", "colour-science", "pydantic", "click", "matplotlib")


def processor() -> str:
    """The processor's name, where the system tells it."""
    try:
        lines = Path("/proc/cpuinfo").read_text().splitlines()
    except OSError:
        return platform.processor() or platform.machine()
    return next((line.split(":", 1)[1].strip() for line in lines if line.startswith("model name")), "unknown")


def main() -> int:
    """Run the chosen benchmarks, or all."""
    words = sys.argv[1:]
    mitsuba: list[str] = []
    if "--mitsuba" in words:
        at = words.index("--mitsuba")
        mitsuba, words = words[at : at + 2], words[:at] + words[at + 2 :]
    libraries = ", ".join(f"{name} {version(name)}" for name in LIBRARIES)
    print(f"{datetime.date.today()}, {processor()}, {os.cpu_count()} cores, {platform.system()}")
    print(f"Python {platform.python_version()}, {libraries}\n")
    print("| benchmark | measured | mark |\n|---|---|---|", flush=True)
    missed = False
    for name in words or ORDER:
        extra = mitsuba if name == "light_field" else []
        done = subprocess.run([sys.executable, str(HERE / f"{name}_benchmark.py"), *extra], check=False)
        missed |= done.returncode != 0
    return int(missed)


if __name__ == "__main__":
    sys.exit(main())
