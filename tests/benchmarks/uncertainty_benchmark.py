"""Intervals: time and memory of 4,000 draws, by ``python tests/benchmarks/uncertainty_benchmark.py``.

100 sites x 8 channels of two lamps of four channels in a tank of 75 x 45 x 40 cm. Time is the best of several
runs, from a prepared light field to intervals, probabilities and the deciding reading; memory is what is
taken beyond the result, by ``tracemalloc`` in a run of its own.
"""

from __future__ import annotations

import sys
import tracemalloc

import numpy as np
from rows import best_s, row

from lightdose.analysis import analyse, scene_of
from lightdose.files.groups_file import default_groups
from lightdose.files.library import reference_tables
from lightdose.judge.drawn_light import DRAWS
from lightdose.judge.uncertainty import with_certainty
from lightdose.model.fixture import (
    Aperture,
    Channel,
    ChannelProgramme,
    CosineLobe,
    DimmingCurve,
    Fixture,
    FixtureType,
    Flux,
    Programme,
)
from lightdose.model.setup import Coral, Setup, Site, Tank
from lightdose.model.spectrum import LedPeak
from lightdose.physics.emission import DOSE_WEIGHTINGS, weighting_matrix
from lightdose.physics.light_field import prepare_field

ROUNDS = 7
MOST_S, MOST_MB = 0.5, 300.0
PEAKS_NM = (420.0, 450.0, 470.0, 660.0)
BANDS = ("sps-shallow", "lps-branching", "mushroom", "soft")


def scene(sites: int) -> Setup:
    """Two lamps of four channels over a grid of places with a coral at every other one, invented."""
    channels = tuple(
        Channel(
            f"{nm:g}",
            LedPeak(nm, 20.0),
            CosineLobe(90.0),
            DimmingCurve.linear(),
            Flux("photon_flux_umol_s", 30),
        )
        for nm in PEAKS_NM
    )
    kind = FixtureType("made", channels, Aperture(0.40, 0.06))
    day = Programme(
        {
            c.name: ChannelProgramme(
                np.array([8.0 + i / 4, 10.0, 18.0, 20.0 - i / 4]), np.array([0, 0.6, 0.6, 0])
            )
            for i, c in enumerate(channels)
        }
    )
    columns = int(np.ceil(np.sqrt(sites)))
    places = tuple(
        Site(
            f"s{n}",
            0.02 + 0.71 * (n % columns) / columns,
            0.02 + 0.41 * (n // columns) / columns,
            0.1 + 0.0003 * n % 0.28,
        )
        for n in range(sites)
    )
    groups, sources = default_groups()
    return Setup(
        "made",
        Tank(0.75, 0.45, 0.40),
        (
            Fixture("left", kind, 0.2, 0.22, 0.2, day, rotation_deg=90.0),
            Fixture("right", kind, 0.55, 0.22, 0.2, day, rotation_deg=90.0),
        ),
        places,
        tuple(Coral(f"c{n}", BANDS[n % len(BANDS)], f"s{n}") for n in range(0, sites, 2)),
        groups,
        sources,
    )


def main() -> int:
    """Print time and memory; 1 if one misses its mark."""
    setup = scene(100)
    weightings = weighting_matrix(reference_tables(), DOSE_WEIGHTINGS)
    ready = prepare_field(scene_of(setup), weightings, for_points=len(setup.receivers))
    verdicts = analyse(setup, certainty=False).verdicts
    (best,) = best_s(lambda: with_certainty(setup, ready, verdicts), rounds=ROUNDS)
    tracemalloc.start()
    kept_alive = with_certainty(setup, ready, verdicts)
    kept, peak = (value / 1e6 for value in tracemalloc.get_traced_memory())
    tracemalloc.stop()
    del kept_alive
    met = row(
        f"{DRAWS:,} draws x {len(setup.sites)} sites x {2 * len(PEAKS_NM)} channels",
        f"{best:.2f} s, {peak - kept:.0f} MB",
        f"at most {MOST_S:g} s, {MOST_MB:g} MB",
        met=best < MOST_S and peak - kept < MOST_MB,
    )
    return int(not met)


if __name__ == "__main__":
    sys.exit(main())
