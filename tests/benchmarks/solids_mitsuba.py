"""Tanks with solids in the general-purpose renderer Mitsuba 3, run by a Python that has it.

``solids_benchmark.py --mitsuba PYTHON`` calls it. Lamps are flat panels that shine by Lambert's law: the
renderer finds light under a refracting surface only where a path meets a lamp. Prints one JSON object: for
each square the irradiance without absorption, its standard error from independent runs, and the time spent.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

import mitsuba as mi  # type: ignore[import-not-found]
import numpy as np
from light_field_mitsuba import rectangle, tank_shapes

RUNS, SAMPLES, MOST_ROUNDS = 8, 50_000, 12
WANTED = 0.006
"""Standard error at which a square is done, as a share of its light."""

AROUND, RINGS = 96, 48


def ellipsoid(raw: dict[str, Any], folder: Path, name: str) -> dict[str, Any]:
    """A fine mesh, since the renderer has round spheres alone."""
    lines, (a, b, c) = [], raw["r"]
    for i in range(RINGS + 1):
        for j in range(AROUND):
            rise, turn = math.pi * i / RINGS, 2 * math.pi * j / AROUND
            x, y, z = math.sin(rise) * math.cos(turn), math.sin(rise) * math.sin(turn), math.cos(rise)
            lines.append(f"v {a * x} {b * y} {c * z}")
    for i in range(RINGS):
        for j in range(AROUND):
            one, two = i * AROUND + j + 1, i * AROUND + (j + 1) % AROUND + 1
            lines.append(f"f {one} {one + AROUND} {two + AROUND} {two}")
    file = folder / f"{name}.obj"
    file.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return {"type": "obj", "filename": str(file), "face_normals": True}


def solid_shapes(raw: dict[str, Any], folder: Path) -> dict[str, Any]:
    """Boxes, ellipsoids and upright cylinders with grey skins."""
    transform, shapes = mi.ScalarTransform4f, {}
    for n, one in enumerate(raw["solids"]):
        grey = {"type": "diffuse", "reflectance": {"type": "rgb", "value": one["albedo"]}}
        bsdf = {"type": "twosided", "nested": grey}
        place = transform().translate(one["c"]).rotate([0, 0, 1], one.get("yaw", 0))
        a, b, c = one["r"]
        if one["kind"] == "box":
            shapes[f"solid{n}"] = {"type": "cube", "to_world": place.scale(one["r"]), "bsdf": bsdf}
        elif one["kind"] == "ellipsoid":
            shapes[f"solid{n}"] = {**ellipsoid(one, folder, f"solid{n}"), "to_world": place, "bsdf": bsdf}
        else:
            side = {"type": "cylinder", "p0": [0, 0, -c], "p1": [0, 0, c], "radius": a}
            shapes[f"solid{n}"] = {**side, "to_world": place, "bsdf": bsdf}
            for end in (-1, 1):
                disk = place.translate([0, 0, end * c]).scale([a, b, 1])
                shapes[f"solid{n}{end}"] = {"type": "disk", "to_world": disk, "bsdf": bsdf}
    return shapes


def receiver_of(square: dict[str, Any]) -> dict[str, Any]:
    """A square that measures on its face and shadows nothing."""
    at, normal = np.array(square["at"], dtype=float), np.array(square["n"], dtype=float)
    up = [0, 1, 0] if abs(normal[2]) > 0.9 * np.linalg.norm(normal) else [0, 0, 1]
    place = mi.ScalarTransform4f().look_at(origin=at.tolist(), target=(at + normal).tolist(), up=up)
    film = {"type": "hdrfilm", "width": 1, "height": 1, "rfilter": {"type": "box"}, "pixel_format": "rgb"}
    half = square["side"] / 2
    return {
        "type": "rectangle",
        "to_world": place.scale([half, half, 1]),
        "bsdf": {"type": "null"},
        "sensor": {
            "type": "irradiancemeter",
            "film": film,
            "sampler": {"type": "independent", "sample_count": SAMPLES},
        },
    }


def scene_of(raw: dict[str, Any], square: dict[str, Any], folder: Path) -> Any:
    """The tank, its panels of unit intensity on the axis, its solids, and one receiver."""
    shapes = tank_shapes(raw) | solid_shapes(raw, folder)
    black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
    for side, kind in raw["walls"].items():
        if kind == "black":  # it absorbs inside, in the water
            shapes[f"inner_{side}"]["bsdf"] = black
    for n, source in enumerate(raw["sources"]):
        a, b = source["size"]
        at = (source["x"], source["y"], raw["D"] + source["h"])
        panel = rectangle(at, (a / 2, b / 2), ("x", 180), {"type": "diffuse"})
        panel["emitter"] = {"type": "area", "radiance": {"type": "rgb", "value": 1 / (a * b)}}
        shapes[f"panel{n}"] = panel
    integrator = {"type": "path", "max_depth": 64, "rr_depth": 64}
    return mi.load_dict(
        {"type": "scene", "integrator": integrator, "receiver": receiver_of(square), **shapes}
    )


def main() -> None:
    """Render every square until its error is small enough."""
    mi.set_variant("scalar_rgb")
    mi.set_log_level(mi.LogLevel.Error)
    raw, squares = json.load(sys.stdin)
    found = []
    with tempfile.TemporaryDirectory() as folder:
        for square in squares:
            scene = scene_of(raw, square, Path(folder))
            start, values = time.perf_counter(), []
            for _ in range(MOST_ROUNDS):
                seeds = range(1 + len(values), 1 + len(values) + RUNS)
                values += [float(np.mean(np.array(mi.render(scene, seed=seed)))) for seed in seeds]
                mean, error = float(np.mean(values)), float(np.std(values, ddof=1) / math.sqrt(len(values)))
                if error <= WANTED * mean:
                    break
            found.append({"E": mean, "se": error, "seconds": time.perf_counter() - start})
    print(json.dumps(found))


if __name__ == "__main__":
    main()
