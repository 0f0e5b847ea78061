"""Ten years in a diary: ``python tests/benchmarks/diary_benchmark.py``.

A hundred corals, a state a week, twenty thousand notes. Of the 520 states most are settings of the overall
level that come back (sixty of them), every quarter a coral moves, and twice the lamps hang higher. Then
the same with a setting of its own every week, so that no two states are alike. Timed is the whole command in
a fresh process: the tank, and one coral with figures' data.
"""

from __future__ import annotations

import datetime
import random
import shutil
import sys
import tempfile
import time
from pathlib import Path

from rows import row

from lightdose.files.csv_text import csv_text
from lightdose.files.diary_notes import COLUMNS
from lightdose.files.diary_states import keep_state
from lightdose.files.setup_file import read_setup

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "two-years"
WEEKS, CORALS, NOTES, SETTINGS = 520, 100, 20_000, 60
MOVES_EVERY = 13
FALLS = 0.01
"""Share of scores that tell of trouble, if the coral was dark before."""

START = datetime.date(2016, 1, 4)
PROBE = """
import os, resource, sys, time
from lightdose.cli import main
start = time.perf_counter()
try:
    main()
finally:
    peak_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    cpu_s = time.process_time()
    os.write(2, f"PROBE {cpu_s} {peak_mb}\\n".encode())
"""


def write_diary(tank: Path, *, alike: bool) -> None:
    """Play ten years."""
    shutil.copytree(EXAMPLE, tank, ignore=shutil.ignore_patterns("diary"))
    rng = random.Random(4)
    names = [f"coral {n + 1}" for n in range(CORALS)]
    sites = [f"S{n + 1}" for n in range(CORALS + 20)]
    rows = [f"{s},{6 + 7 * (n % 12)},{6 + 4 * (n // 12)},{10 + n % 30},1" for n, s in enumerate(sites)]
    (tank / "sites.csv").write_text(
        "site,x_cm,y_cm,depth_cm,open_sky\n" + "\n".join(rows) + "\n", encoding="utf-8"
    )
    places = dict(zip(names, sites, strict=False))
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    day = (tank / "left.csv").read_text(encoding="utf-8")
    dial = day.splitlines()[-1].rpartition(",")[2]
    for week in range(WEEKS):
        overall = 40 + week % SETTINGS / 3 if alike else 40 + week / 26
        programme = day.replace(f",{dial}\n", f",{overall:.3f}\n")
        for name in ("left.csv", "right.csv"):
            (tank / name).write_text(programme, encoding="utf-8")
        if week % MOVES_EVERY == 0:
            free = sorted(set(sites) - set(places.values()))
            places[rng.choice(names)] = rng.choice(free)
            lines = [f"{name},lps-branching,{site}" for name, site in places.items()]
            (tank / "corals.csv").write_text("coral,group,site\n" + "\n".join(lines) + "\n", encoding="utf-8")
        height = 22 + 2 * (week // 180)
        (tank / "setup.toml").write_text(
            text.replace('height = "22 cm"', f'height = "{height} cm"'), encoding="utf-8"
        )
        keep_state(read_setup(tank), (START + datetime.timedelta(7 * week)).isoformat(), "")
    noted = []
    for n in range(NOTES):
        date = (START + datetime.timedelta(n * 7 * WEEKS // NOTES)).isoformat()
        noted.append(
            (date, names[n % CORALS], "colour", str(3 if rng.random() < FALLS else 4 + n % 2), "", "")
        )
    (tank / "diary" / "notes.csv").write_text(csv_text(COLUMNS, noted), encoding="utf-8")


def timed(*words: str) -> tuple[float, float, float]:
    """Wall and processor time, and the highest memory. [s, s, MB]"""
    import subprocess

    start = time.perf_counter()
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *words],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=True,
    )
    wall_s = time.perf_counter() - start
    cpu_s, peak_mb = (float(word) for word in done.stderr.splitlines()[-1].split()[1:])
    return wall_s, cpu_s, peak_mb


def main() -> bool:
    """Print a row for each diary and command; whether the marks are met."""
    met = True
    with tempfile.TemporaryDirectory() as folder:
        for alike in (True,) if "--alike" in sys.argv else (True, False):
            tank = Path(folder, "alike" if alike else "all-different")
            write_diary(tank, alike=alike)
            setup = str(tank / "setup.toml")
            for what, words in (
                ("`history`", ("history", setup)),
                ("`history --coral`", ("history", setup, "--coral", "coral 7")),
            ):
                runs = [timed(*words) for _ in range(3)]
                wall_s, cpu_s, mb = (min(column) for column in zip(*runs, strict=True))
                kind = "settings that come back" if alike else "no two states alike"
                name = f"{what}, 520 states, 100 corals, 20,000 notes; {kind}"
                good = (cpu_s <= 3 and mb <= 300) or not alike
                mark = "3 s, 300 MB" if alike else "-"
                met &= row(
                    name, f"{wall_s:.1f} s ({cpu_s:.1f} s of a processor), {mb:.0f} MB", mark, met=good
                )
    return met


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
