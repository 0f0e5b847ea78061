"""Narrow tall tanks by photons followed one by one; writes tests/data/column_scenes.json.

`nice -n 10 python tests/benchmarks/column_reference.py` takes about three minutes of one core. The photons
are those of `tests/physics/photon_tracer.py`: panes are slabs in which a photon travels, with Fresnel's
reflection at both faces and total reflection, and four panes are one piece of glass. At a joint a photon goes
on in the other pane; it may run along it, come back into the water at another joint, leave in another
direction, or be lost at the floor, at the surface or through an outer face.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))
from physics.photon_tracer import Box, Counter, Source, trace

DATA = Path(__file__).resolve().parents[1] / "data" / "column_scenes.json"
PHOTONS, BATCHES = 200_000, 16
INDEX, GLASS_INDEX = 1.34, 1.52
ABSORPTIONS = (0.0, 0.5)
ACROSS = 5
LAMBERT, NARROW = 1.0, 4.82
WHITE_SAND = 0.3

COLUMNS = {
    # length and width, depth, glass, floor's reflectance; lamp: x, y, height, exponent of the cosine
    "C1": ("lamp 10 cm above the middle", 0.25, 0.75, 0.010, 0.0, 0.125, 0.125, 0.10, LAMBERT),
    "C2": ("lamp 20 cm above the middle", 0.25, 0.75, 0.010, 0.0, 0.125, 0.125, 0.20, LAMBERT),
    "C3": ("lamp beside the middle", 0.25, 0.75, 0.010, 0.0, 0.09, 0.14, 0.15, LAMBERT),
    "C4": ("narrow beam", 0.25, 0.75, 0.010, 0.0, 0.125, 0.125, 0.15, NARROW),
    "C5": ("thinner glass", 0.25, 0.75, 0.006, 0.0, 0.125, 0.125, 0.10, LAMBERT),
    "C6": ("sand", 0.25, 0.75, 0.010, WHITE_SAND, 0.10, 0.125, 0.15, LAMBERT),
    "C7": ("narrower", 0.15, 0.60, 0.006, 0.0, 0.06, 0.075, 0.12, LAMBERT),
}
HEIGHTS = (0.02, 0.20, 0.40)
"""Planes above the floor. [m]"""


def traced(
    side: float, depth: float, glass: float, floor: float, x: float, y: float, height: float, m: float
) -> tuple[np.ndarray, np.ndarray]:
    """Mean irradiance of the squares of each plane and its standard error, (plane, absorption, x, y)."""
    box = Box(side, side, depth, n=INDEX, n_glass=GLASS_INDEX, glass=glass, floor=floor)
    lamp = Source(x, y, height, lambda angle, _: np.cos(angle) ** m)
    batches = []
    for seed in range(BATCHES):
        counter = Counter(box, HEIGHTS, ABSORPTIONS, (ACROSS, ACROSS))
        trace(box, lamp, counter, PHOTONS, seed)
        batches.append(counter.irradiance())
    return np.mean(batches, axis=0), np.std(batches, axis=0, ddof=1) / np.sqrt(BATCHES)


def entry(name: str) -> dict[str, object]:
    """A column in the form of tests/data/lightfield_scenes.json."""
    description, side, depth, glass, floor, x, y, height, m = COLUMNS[name]
    mean, error = traced(side, depth, glass, floor, x, y, height, m)
    part = side / ACROSS
    points = [
        {
            "x": round((i + 0.5) * part, 6),
            "y": round((j + 0.5) * part, 6),
            "z": z,
            "side": part,
            "E": [float(f"{v:.6g}") for v in mean[plane, :, i, j]],
            "se": [float(f"{v:.3g}") for v in error[plane, :, i, j]],
        }
        for plane, z in enumerate(HEIGHTS)
        for i in range(ACROSS)
        for j in range(ACROSS)
    ]
    scene = {
        "L": side,
        "W": side,
        "D": depth,
        "n_w": INDEX,
        "n_g": GLASS_INDEX,
        "t_g": glass,
        "freeboard": 0.0,
        "walls": dict.fromkeys(("x0", "x1", "y0", "y1"), "glass"),
        "rho_b": floor,
        "a": ABSORPTIONS,
        "sources": [{"x": x, "y": y, "h": height, "m": m}],
    }
    return {"id": name, "description": description, "scene": scene, "points": points}


def main() -> None:
    """Trace every column and write the file, one square a line."""
    head = {
        "title": "Planar photon irradiance in narrow tall tanks of clear glass",
        "made_by": "tests/benchmarks/column_reference.py",
        "form": "that of lightfield_scenes.json: m, 1/m; E per unit on-axis intensity, mean over a square",
        "corner": "a photon that passes a vertical corner inside the glass is followed in the joined glass",
        "standard_error": f"from {BATCHES} batches of {PHOTONS} photons, seeds 0 to {BATCHES - 1}",
    }
    scenes = []
    for name in COLUMNS:
        scenes.append(entry(name))
        print(name, flush=True)
    text = json.dumps({**head, "scenes": scenes})
    DATA.write_text(text.replace('{"x"', '\n{"x"').replace('{"id"', '\n{"id"') + "\n", encoding="utf-8")


if __name__ == "__main__":
    main()
