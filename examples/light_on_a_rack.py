"""How even is a rack, and what would a hand's breadth more height do? An invented tank, in Python.

    python examples/light_on_a_rack.py

prints the dose of every site of the example's frag rack, and the light all over its plane at two heights.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

import lightdose

HERE = Path(__file__).resolve().parent
SETUP = HERE / "brighter-season" / "today.toml"


def main() -> None:
    """Doses by site as a table, then PPFD at full output over a grid in the rack's plane."""
    setup = lightdose.read_setup(SETUP)
    analysis = lightdose.analyse(setup)
    table = analysis.to_frame().droplevel("coral")
    print("mol/m2/day at each site of the rack (planar, 400-700 nm)")
    print(table["dli_mol_m2_d"].round(2).to_string())

    x, y = np.meshgrid(np.linspace(0.20, 0.55, 8), np.linspace(0.12, 0.26, 4))
    plane = np.column_stack([x.ravel(), y.ravel(), np.full(x.size, 0.12)])
    for height_m in (0.22, 0.32):
        hung = setup.changed(height=height_m)
        ppfd = lightdose.light_field(hung, plane, weightings=("ppfd",))[:, :, 0].sum(axis=1)
        print(
            f"fixture {100 * height_m:.0f} cm above the water: {ppfd.mean():.0f} umol/m2/s with all channels "
            f"at full output, weakest place {ppfd.min() / ppfd.max():.0%} of the strongest"
        )


if __name__ == "__main__":
    main()
