"""Scene H14 in the general-purpose renderer Mitsuba 3, run by a Python that has it (never a dependency).

``light_field_benchmark.py --mitsuba PYTHON`` calls it. Prints one JSON object: for each square the irradiance
without absorption, its standard error from independent runs, and the time spent, scaled to an error of 1 %.
"""

from __future__ import annotations

import json
import math
import sys
import time
from typing import Any

import mitsuba as mi  # type: ignore[import-not-found]
import numpy as np

RUNS = 12
SAMPLES = 50_000
FAR_M = 5.0


def rectangle(
    centre: tuple[float, float, float],
    half: tuple[float, float],
    turn: tuple[str, float],
    bsdf: dict[str, Any],
) -> dict[str, Any]:
    """A flat rectangle; unturned it looks up and spans x and y."""
    transform = mi.ScalarTransform4f
    axis = {"x": [1, 0, 0], "y": [0, 1, 0]}[turn[0]]
    place = transform().translate(list(centre)).rotate(axis, turn[1]).scale([half[0], half[1], 1])
    return {"type": "rectangle", "to_world": place, "bsdf": bsdf}


def tank_shapes(raw: dict[str, Any]) -> dict[str, Any]:
    """Water surface, four panes with both faces, the floor, and a black frame around the opening."""
    length, width, depth, t = raw["L"], raw["W"], raw["D"], raw["t_g"]
    black = {"type": "diffuse", "reflectance": {"type": "rgb", "value": 0.0}}
    surface = {"type": "dielectric", "int_ior": raw["n_w"], "ext_ior": 1.0}
    inner = {"type": "dielectric", "int_ior": raw["n_w"], "ext_ior": raw["n_g"]}
    outer = {"type": "dielectric", "int_ior": raw["n_g"], "ext_ior": 1.0}
    floor = {"type": "diffuse", "reflectance": {"type": "rgb", "value": raw["rho_b"]}}
    mid = (length / 2, width / 2)
    shapes = {
        "surface": rectangle((*mid, depth), (length / 2, width / 2), ("x", 0), surface),
        "floor": rectangle((*mid, 0), (length / 2, width / 2), ("x", 0), floor),
    }
    for name, bsdf, out in (("inner", inner, 0.0), ("outer", outer, t)):
        # Outward normals: the side of the normal is the exterior of the interface.
        tall = (depth / 2, width / 2 + out)
        shapes[f"{name}_x0"] = rectangle((-out, mid[1], depth / 2), tall, ("y", -90), bsdf)
        shapes[f"{name}_x1"] = rectangle((length + out, mid[1], depth / 2), tall, ("y", 90), bsdf)
        wide = (length / 2 + out, depth / 2)
        shapes[f"{name}_y0"] = rectangle((mid[0], -out, depth / 2), wide, ("x", 90), bsdf)
        shapes[f"{name}_y1"] = rectangle((mid[0], width + out, depth / 2), wide, ("x", -90), bsdf)
    for name, x, y, half in (
        ("x0", -FAR_M / 2, mid[1], (FAR_M / 2, FAR_M)),
        ("x1", length + FAR_M / 2, mid[1], (FAR_M / 2, FAR_M)),
        ("y0", mid[0], -FAR_M / 2, (length / 2, FAR_M / 2)),
        ("y1", mid[0], width + FAR_M / 2, (length / 2, FAR_M / 2)),
    ):
        shapes[f"frame_{name}"] = rectangle((x, y, depth), half, ("x", 0), black)
        if half[0] > length or name.startswith("y"):
            shapes[f"edge_{name}"] = rectangle((x, y, 0.0), half, ("x", 0), black)
    return shapes


def scene_of(raw: dict[str, Any], square: dict[str, Any]) -> Any:
    """The tank, the Lambert panel of unit intensity, and one receiver that does not shadow."""
    (source,) = raw["sources"]
    side_x, side_y = source["size"]
    panel = rectangle(
        (source["x"], source["y"], raw["D"] + source["h"]),
        (side_x / 2, side_y / 2),
        ("x", 180),
        {"type": "diffuse"},
    )
    panel["emitter"] = {"type": "area", "radiance": {"type": "rgb", "value": 1 / (side_x * side_y)}}
    half = square["side"] / 2
    receiver = rectangle((square["x"], square["y"], square["z"]), (half, half), ("x", 0), {"type": "null"})
    receiver["sensor"] = {
        "type": "irradiancemeter",
        "film": {
            "type": "hdrfilm",
            "width": 1,
            "height": 1,
            "rfilter": {"type": "box"},
            "pixel_format": "rgb",
        },
        "sampler": {"type": "independent", "sample_count": SAMPLES},
    }
    return mi.load_dict(
        {
            "type": "scene",
            "integrator": {"type": "path", "max_depth": 64, "rr_depth": 64},
            "panel": panel,
            "receiver": receiver,
            **tank_shapes(raw),
        }
    )


def main() -> None:
    """Render every square, several times over."""
    mi.set_variant("scalar_rgb")
    raw, squares = json.load(sys.stdin)
    found = []
    for square in squares:
        scene = scene_of(raw, square)
        start = time.perf_counter()
        values = [float(np.mean(np.array(mi.render(scene, seed=1 + i)))) for i in range(RUNS)]
        spent = time.perf_counter() - start
        mean, error = float(np.mean(values)), float(np.std(values, ddof=1) / math.sqrt(RUNS))
        found.append({"E": mean, "se": error, "seconds_to_1_percent": spent * (error / (0.01 * mean)) ** 2})
    print(json.dumps(found))


if __name__ == "__main__":
    main()
