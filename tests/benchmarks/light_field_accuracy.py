"""Accuracy of the light field against independent simulations, a table for each file of scenes.

`python tests/benchmarks/light_field_accuracy.py [points across a square, default 16]`
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from physics.reference_scenes import COLUMNS, SCENES, read_scenes
from physics.solid_scenes import LIT_SHARE, SOLIDS, read_solid_scenes


def main() -> None:
    """Print median, 95th percentile and largest deviation of each scene and of all, in percent."""
    across = int(sys.argv[1]) if len(sys.argv) > 1 else 16
    for file in (SCENES, COLUMNS):
        print_table(file, across)
    print_solids(across)


def print_solids(across: int) -> None:
    """Scenes with solids: squares on any face that are lit, those that are dim, and light from all sides."""
    print(f"deviation from tests/data/{SOLIDS.name}, squares as means over {across} x {across} points")
    print("scene  lit  median %   95 % %    max %   dim  max % of open light   all sides: median %    max %")
    for scene in read_solid_scenes(across):
        face, scalar = scene.model()
        open_light = scene.open_light()
        lit, dim, sides = [], [], []
        for square, found, around in zip(scene.squares, face, scalar, strict=True):
            off = np.abs(found - square.reference)
            bright = square.reference >= LIT_SHARE * open_light
            lit += list(100 * off[bright] / square.reference[bright])
            dim += list(100 * off[~bright] / open_light)
            if square.scalar is not None:
                sides += list(100 * np.abs(around / square.scalar - 1))
        middle, high = np.quantile(lit, [0.5, 0.95])
        print(
            f"{scene.name:5} {len(lit):4} {middle:9.2f} {high:8.2f} {max(lit):8.2f} {len(dim):5} "
            f"{max(dim, default=0):20.2f} {np.median(sides):21.2f} {max(sides):8.2f}"
        )


def print_table(file: Path, across: int) -> None:
    """The scenes of one file."""
    print(f"deviation from tests/data/{file.name}, squares as means over {across} x {across} points")
    print("scene  values  median %   95 % %    max %   worst / allowed")
    everything = []
    for scene in read_scenes(file):
        reference = np.array([square.reference for square in scene.squares])
        deviation = np.abs(scene.model(across) / reference - 1)
        everything.append((deviation.ravel(), (deviation / scene.tolerance()).ravel()))
        print_row(scene.name, *everything[-1])
    print_row("all", *(np.concatenate(column) for column in zip(*everything, strict=True)))


def print_row(name: str, deviation: np.ndarray, of_allowed: np.ndarray) -> None:
    """One line of the table."""
    middle, most, worst = (100 * np.quantile(deviation, share) for share in (0.5, 0.95, 1.0))
    print(f"{name:5}  {deviation.size:6}  {middle:8.3f} {most:8.3f} {worst:8.3f}   {of_allowed.max():6.2f}")


if __name__ == "__main__":
    main()
