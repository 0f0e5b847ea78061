"""Time and memory of each command at the sizes that files allow: ``scale_benchmark.py [KIND...]``.

20,000 sites, 20,000 corals, 200 fixtures, 500 solids, 5,000 setups, each over a tenth of it. Ten times as
much may take 13 times as long, which is n log n, once what the least size takes is taken off; or it is
refused with the limit named. Seconds are those of a processor, all processes of a command together.
"""

from __future__ import annotations

import os
import re
import subprocess
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from random import Random

from rows import row

GROWTH = 13.5
"""10 log 20,000 / log 2,000 is 13.0."""

LIMIT_S, LIMIT_MB = 20.0, 1000.0
JUDGED_S = 2.0
"""What takes no longer is not judged for its growth."""

GROUPS = (
    *("sps-shallow", "sps-plating", "lps-branching", "brain-encrusting", "open-brain", "button"),
    *("mushroom", "zoanthid", "soft", "gorgonian", "clam", "non-photosynthetic"),
)
HEAD = """\
format = "lightdose-fixture/1"
name = "panel (invented)"
aperture = { length = "40 cm", width = "20 cm" }
"""
BLUE = """\
[[channel]]
name = "blue"
spectrum = { peak_nm = 450, fwhm_nm = 20 }
photon_flux_umol_s = 150
beam = { fwhm_deg = 110 }
"""
WHITE = """\
[[channel]]
name = "white"
spectrum = { mix = [ { library = "blue-445", share = 0.4 }, { peak_nm = 580, fwhm_nm = 120, share = 0.6 } ] }
photon_flux_umol_s = 120
beam = { fwhm_deg = 110 }
"""
SCHEDULE = "time,blue,white\n08:00,0,0\n09:00,60,40\n17:00,60,40\n18:00,0,0\n"
BLUE_DAY = "time,blue\n08:00,0\n09:00,60\n17:00,60\n18:00,0\n"
PROBE = """
import os, resource, sys
from lightdose.__main__ import main
try:
    main()
finally:
    uses = [resource.getrusage(who) for who in (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN)]
    peak_mb = max(use.ru_maxrss for use in uses) / 1000
    os.write(2, f"PROBE {sum(use.ru_utime + use.ru_stime for use in uses)} {peak_mb}\\n".encode())
"""


def write_tank(
    folder: Path, sites: int = 20, corals: int = 20, fixtures: int = 2, solids: int = 0, title: str = "tank"
) -> None:
    """A tank of 2 x 1 x 0.6 m with so much in it; the smaller one of two is a part of the larger.

    Site s1 is free. Fixtures that are many have one channel each: 200 are allowed. Places lie above the rock.
    """
    draw = Random(1)
    folder.mkdir(parents=True)
    deepest = 36 if solids else 55
    spots = [
        f"s{n},{draw.uniform(2, 198):.2f},{draw.uniform(2, 98):.2f},{draw.uniform(3, deepest):.2f}"
        for n in range(max(sites, corals))
    ]
    kept = [f"Ableger {n} \u3042,{GROUPS[n % len(GROUPS)]},s{0 if n == 1 else n}" for n in range(corals)]
    text = f'format = "lightdose-setup/1"\ntitle = "{title} (invented)"\nsites = "s.csv"\n'
    text += 'corals = "c.csv"\n' if corals else ""
    text += '[tank]\nlength = "200 cm"\nwidth = "100 cm"\nwater_depth = "60 cm"\n'
    many = fixtures > 2
    for n in range(fixtures):
        x, y = (50 + 100 * n, 50) if fixtures == 2 else (5 + 190 * draw.random(), 5 + 90 * draw.random())
        text += f'[[fixture]]\nname = "f{n}"\ntype = "lamp.toml"\nschedule = "day.csv"\n'
        text += f'at = {{ x = "{x:.1f} cm", y = "{y:.1f} cm", height = "25 cm" }}\n'
    for n in range(solids):
        x, y, z = draw.uniform(5, 195), draw.uniform(5, 95), draw.uniform(2, 20)
        text += f'[[rock]]\nname = "r{n}"\nshape = "{("box", "ellipsoid", "cylinder")[n % 3]}"\n'
        text += f'at = {{ x = "{x:.1f} cm", y = "{y:.1f} cm", height = "{z:.1f} cm" }}\n'
        text += 'size = { x = "6 cm", y = "5 cm", z = "4 cm" }\n'
    files = {
        "setup.toml": text + METER,
        "lamp.toml": HEAD + BLUE + ("" if many else WHITE),
        "day.csv": BLUE_DAY if many else SCHEDULE,
        "s.csv": "\n".join(("site,x_cm,y_cm,depth_cm", *spots)) + "\n",
        "c.csv": "\n".join(("coral,group,site", *kept)) + "\n",
    }
    for name, content in files.items():
        (folder / name).write_text(content, encoding="utf-8")


def write_setups(folder: Path, count: int) -> None:
    """Tanks that differ in their titles alone."""
    for n in range(count):
        write_tank(folder / f"tank-{n:04d}", title=f"tank {n}")


METER = '[meter.hand]\nreads = "umol"\nresponse = { shape = "soft" }\ncalibrated_on = "A"\nimmersion = 1.2\n'
READINGS = "site,meter,reading,unit,time\n" + "".join(
    f"{site},hand,{value},umol_m2_s,12:00\n" for site, value in (("s0", 150), ("s3", 90), ("s7", 120))
)
ONE = {
    "check": ("check", "setup.toml"),
    "dose": ("dose", "setup.toml", "--csv", "out.csv"),
    "hazard": ("hazard", "setup.toml"),
    "compare": ("compare", "setup.toml", "--all-channels", "40"),
    "sensitivity": ("sensitivity", "setup.toml"),
    "move": ("move", "setup.toml", "Ableger 0 \u3042", "--to", "s1"),
    "map": ("map", "setup.toml", "--json"),
    "survey": ("survey", "setup.toml"),
    "calibrate": ("calibrate", "setup.toml", "readings.csv", "--date", "2026-03-14"),
    "place": ("place", "setup.toml"),
    "tune": ("tune", "setup.toml"),
    "acclimate": ("acclimate", "setup.toml", "setup.toml", "--fixture-height", "30 cm"),
    "report": ("report", "setup.toml", "-o", "out.html"),
    "hand-out": ("report", "setup.toml", "-o", "out.html", "--handout", "out.pdf"),
    "slip": ("slip", "setup.toml", "Ableger 0 \u3042", "--date", "2026-03-14"),
    "keep": ("keep", "setup.toml"),
    "history": ("history", "setup.toml"),
}
MANY = {"check": ("check", "."), "dose": ("dose", "."), "hazard": ("hazard", ".")}
KINDS: dict[str, tuple[int, dict[str, tuple[str, ...]]]] = {
    "sites": (20_000, ONE),
    "corals": (20_000, ONE),
    "fixtures": (200, ONE),
    "solids": (500, ONE),
    "setups": (5_000, MANY),
}


def laid(kind: str, count: int, folder: Path) -> Path:
    """The tank, or the tanks, of one size."""
    make: dict[str, Callable[[], None]] = {
        "sites": lambda: write_tank(folder, sites=count),
        "corals": lambda: write_tank(folder, corals=count),
        "fixtures": lambda: write_tank(folder, fixtures=count),
        "solids": lambda: write_tank(folder, solids=count),
        "setups": lambda: write_setups(folder, count),
    }
    make[kind]()
    (folder / "readings.csv").write_text(READINGS, encoding="utf-8")
    return folder


def measured(words: tuple[str, ...], folder: Path) -> tuple[float, float, int, str]:
    """Seconds of a processor, peak of the largest process in MB, exit code, the first words of a refusal."""
    done = subprocess.run(
        [sys.executable, "-c", PROBE, *words, "--quiet"],
        cwd=folder,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        text=True,
        check=False,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},
    )
    told = done.stderr.splitlines()
    cpu_s, peak_mb = (float(word) for word in told[-1].split()[1:])
    limit = re.search(r"allowed: (.*)", done.stderr)
    return cpu_s, peak_mb, done.returncode, limit[1][:60] if limit else " ".join(told[:-1])[:60]


def judged(kind: str, command: str, words: tuple[str, ...], folders: list[Path]) -> bool:
    """One row: the least size, a tenth, the whole."""
    least, tenth, whole = (measured(words, folder) for folder in folders)
    if whole[2] == 2:
        told = f"refused in {whole[0]:.1f} s, {whole[1]:.0f} MB: {whole[3]}"
        if tenth[2] == 0:
            told += f"; a tenth {tenth[0]:.1f} s, {tenth[1]:.0f} MB"
        return row(f"{kind}: {command}", told, "a limit named", met=whole[0] < LIMIT_S and bool(whole[3]))
    over = (whole[0] - least[0]) / max(tenth[0] - least[0], 0.05)
    few = not kind.endswith("setups")  # each setup has the limit of one
    met = whole[2] == tenth[2] == 0 and whole[1] < LIMIT_MB and (whole[0] < LIMIT_S or not few)
    met &= over < GROWTH or whole[0] - least[0] < JUDGED_S
    told = f"{whole[0]:.1f} s, {whole[1]:.0f} MB; a tenth {tenth[0]:.1f} s; growth {over:.1f}"
    told += "" if whole[2] == 0 else f"; exit {whole[2]} {whole[3]}"
    return row(f"{kind}: {command}", told, "20 s, 1 GB, n log n" if few else "1 GB, n log n", met=met)


def main() -> int:
    """One table, a row a size and command."""
    asked = sys.argv[1:]
    kinds = [word for word in asked if word in KINDS] or list(KINDS)
    chosen = [word for word in asked if word in ONE]
    met = True
    for kind in kinds:
        count, commands = KINDS[kind]
        with tempfile.TemporaryDirectory() as made:
            least = 20 if kind in ("sites", "corals") else 2
            sizes = (least, count // 10, count)
            folders = [laid(kind, size, Path(made, str(size))) for size in sizes]
            for command, words in commands.items():
                if not chosen or command in chosen:
                    met &= judged(f"{count:,} {kind}", command, words, folders)
    return int(not met)


if __name__ == "__main__":
    sys.exit(main())
