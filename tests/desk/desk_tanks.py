"""Copies of examples and made tanks for the tests of the desk."""

from __future__ import annotations

import shutil
from pathlib import Path

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"


def copied(folder: Path, example: str = "crowded-cube", file: str = "setup.toml") -> Path:
    """A copy of an example, to be changed; gives its setup."""
    shutil.copytree(EXAMPLES / example, folder / example)
    return folder / example / file


def many_corals(folder: Path, count: int) -> Path:
    """The crowded cube with so many corals, in a corals file beside it."""
    path = copied(folder)
    text = path.read_text(encoding="utf-8")
    head = text[: text.index("# ---- Corals")]
    groups = ("Acropora", "Montipora", "Euphyllia", "Zoanthus", "Discosoma", "Trachyphyllia", "Tridacna")
    rows = ["coral,genus,site,x_cm,y_cm,depth_cm,height_cm"]
    for n in range(count):
        x, y, depth = 3 + n * 7 % 44, 3 + n * 11 % 44, 8 + n * 13 % 37
        rows.append(f"コーラル {n} ü,{groups[n % len(groups)]},,{x},{y},{depth},2")
    (path.parent / "corals.csv").write_text("\n".join(rows) + "\n", encoding="utf-8")
    path.write_text(head.replace("\n[tank]", '\ncorals = "corals.csv"\n\n[tank]', 1), encoding="utf-8")
    return path
