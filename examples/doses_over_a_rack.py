"""Which places of a rack get which dose: the design of a dose-response trial. The tank is invented.

    python examples/doses_over_a_rack.py [FIGURE.png]

wants six doses, each at three places of a rack, in blocks that do not share a row. It reads the doses of all
places with what is not known of them, chooses the places, and says how far apart the doses are held. With a
file name it draws the rack.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import numpy.typing as npt
import pandas as pd

import lightdose as ld

WANTED_MOL_M2_D = (2.0, 3.0, 4.0, 5.0, 6.0, 7.0)
PLACES_A_DOSE = 3
DAY = {"08:00": 0, "08:30": 55, "19:30": 55, "20:00": 0}


def tank() -> ld.Setup:
    """A tray of 120 x 60 x 25 cm, lit from its left end so that the dose falls along the rack."""
    lamp = ld.FixtureType(
        "spot",
        [
            ld.Channel(
                "blue", [(ld.Led(430, 22), 0.3), (ld.Led(460, 24), 0.7)], photon_flux_umol_s=110, beam_deg=70
            ),
            ld.Channel("white", "white-led-b3", photon_flux_umol_s=60, beam_deg=70),
        ],
        aperture=("12 cm", "12 cm"),
    )
    day = ld.Programme({"blue": DAY, "white": DAY})
    return ld.Setup(
        "Trial tray (invented)",
        ld.Tank("120 cm", "60 cm", "25 cm", walls=dict.fromkeys(("front", "back", "left", "right"), "dark")),
        [
            ld.Fixture("near", lamp, "20 cm", "30 cm", "35 cm", day),
            ld.Fixture("far", lamp, "60 cm", "30 cm", "35 cm", day, output_scale=0.35),
        ],
        racks=[ld.Rack("A", "10 cm", "10 cm", "12 cm", columns=21, rows=9, pitch="5 cm")],
        uncertainty={"flux_common_fraction": 0.05, "position_cm": 0.3},  # as after a calibration
    )


def design(result: ld.Analysis) -> pd.DataFrame:
    """The chosen places, a row each: wanted and calculated dose, and its 95 % interval. [mol m-2 d-1]"""
    assert result.uncertainty is not None
    dose, interval = result.dose.dli, result.uncertainty.dli
    sites, free, rows = result.setup.sites, np.ones(dose.size, dtype=bool), []
    for wanted in WANTED_MOL_M2_D:
        used: set[str] = set()
        for n in np.argsort(np.abs(np.log(dose / wanted))):
            row = sites[n].name[0]
            if free[n] and row not in used and len(used) < PLACES_A_DOSE:
                free[n] = False
                used.add(row)
                rows.append((wanted, sites[n].name, dose[n], *interval[n]))
    columns = ["wanted_mol_m2_d", "site", "dose_mol_m2_d", "low_mol_m2_d", "high_mol_m2_d"]
    return pd.DataFrame(rows, columns=columns).set_index(["wanted_mol_m2_d", "site"])


def draw(result: ld.Analysis, chosen: pd.DataFrame, path: Path) -> None:
    """The light of the rack's plane, and the places that were chosen with their dose."""
    from matplotlib.figure import Figure

    figure = Figure(figsize=(9, 5), layout="constrained")
    ax = figure.subplots()
    ld.plot.light_map(ld.light_map(result.setup, depths=["12 cm"], cell="2 cm"), ax=ax)
    places = {s.name: s for s in result.setup.sites}
    for wanted, site in chosen.index:
        at: tuple[float, float] = (places[site].x_m, places[site].y_m)
        ax.plot(*at, "o", color="white", markersize=15, markeredgecolor="black")
        ax.annotate(f"{wanted:g}", at, ha="center", va="center", fontsize=8)
    ax.set_title("Places of the trial, with the dose that each stands for")
    figure.savefig(path, dpi=120)


def spread(values: npt.ArrayLike) -> float:
    """Standard deviation over the mean."""
    own = np.asarray(values, dtype=np.float64)
    return float(own.std(ddof=1) / own.mean())


def main() -> None:
    """The design as a table, and how well its doses are held apart."""
    result = ld.analyse(tank())
    chosen = design(result)
    print(chosen.round(2).to_string())
    for wanted, own in chosen.groupby(level=0):
        print(f"{wanted:g}: places differ by {spread(own['dose_mol_m2_d']):.1%}")
    if len(sys.argv) > 1:
        draw(result, chosen, Path(sys.argv[1]))


if __name__ == "__main__":
    main()
