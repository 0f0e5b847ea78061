"""How high to hang a panel, and with which beam: a parameter study in Python. The tank is invented.

    python examples/height_and_beam.py [FIGURE.png]

builds a tank in code, hangs its panel at seven heights with three beams, and prints for each how much light
a frag rack gets and how even it is. With a file name it draws that.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pandas as pd

import lightdose as ld

HEIGHTS_CM = (8, 12, 16, 20, 26, 32, 40)
BEAMS_DEG = (60, 90, 120)
BY_DAY = {"09:00": 0, "11:00": 70, "19:00": 70, "21:00": 0}


def tank() -> ld.Setup:
    """A shallow frag tank of 90 x 60 x 30 cm under one panel."""
    panel = ld.FixtureType(
        "panel",
        [
            ld.Channel("royal blue", ld.Led(450, 20), photon_flux_umol_s=150),
            ld.Channel("white", "white-led-b3", photon_flux_umol_s=90),
        ],
        aperture=("50 cm", "18 cm"),
    )
    day = ld.Programme({"royal blue": BY_DAY, "white": BY_DAY})
    return ld.Setup(
        "Frag tank (invented)",
        ld.Tank("90 cm", "60 cm", "30 cm", walls={"back": "painted"}),
        [ld.Fixture("panel", panel, "45 cm", "30 cm", "20 cm", day)],
        racks=[ld.Rack("A", "15 cm", "10 cm", "15 cm", columns=13, rows=9, pitch="5 cm")],
    )


def study(setup: ld.Setup) -> pd.DataFrame:
    """A row a height and beam: doses over the rack. [mol m-2 d-1]"""
    points = np.array([(s.x_m, s.y_m, s.depth_m) for s in setup.sites])
    rows = []
    for beam_deg in BEAMS_DEG:
        for height_cm in HEIGHTS_CM:
            dose = ld.dose_at(setup.changed(height=height_cm / 100, beam_deg=beam_deg), points)
            rows.append((beam_deg, height_cm, dose.mean(), dose.min(), dose.min() / dose.max()))
    columns = ["beam_deg", "height_cm", "mean_mol_m2_d", "least_mol_m2_d", "least_over_most"]
    return pd.DataFrame(rows, columns=columns).set_index(["beam_deg", "height_cm"])


def draw(table: pd.DataFrame, path: Path) -> None:
    """Mean dose and evenness against height, a line a beam."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 3.6), layout="constrained")
    left, right = figure.subplots(1, 2)
    for beam_deg in BEAMS_DEG:
        own = table.loc[beam_deg]
        left.plot(own.index, own["mean_mol_m2_d"], marker="o", label=f"beam {beam_deg} deg")
        right.plot(own.index, 100 * own["least_over_most"], marker="o")
    left.set(xlabel="height above the water, cm", ylabel="mean dose of the rack, mol m-2 d-1", ylim=(0, None))
    right.set(xlabel="height above the water, cm", ylabel="weakest place, % of the strongest", ylim=(0, 100))
    left.legend()
    figure.savefig(path, dpi=120)


def main() -> None:
    """The table, and the figure where one is asked for."""
    table = study(tank())
    print(table.round(2).to_string())
    even = table.reset_index().sort_values("least_over_most").iloc[-1]
    print(f"most even: beam {even['beam_deg']:.0f} deg, {even['height_cm']:.0f} cm above the water")
    if len(sys.argv) > 1:
        draw(table, Path(sys.argv[1]))


if __name__ == "__main__":
    main()
