"""Many spectra against the bare product and colour-science: ``python tests/benchmarks/spectra_benchmark.py``.

10,000 spectra x 12 weightings. The bare product is ``cells @ matrix.T`` on ready arrays; ours is the public
way from reference tables to quantities. colour-science gives three tristimulus values of the same spectra by
its ``msds_to_XYZ`` (its integration method on 1 nm, the tables aligned beforehand). All in one run, best of
several; that both see the same lux is checked.
"""

from __future__ import annotations

import sys
import warnings
from collections.abc import Callable

import numpy as np
from rows import best_s, row

from lightdose.files.library import emitter_names, node_tables, read_emitter, reference_tables
from lightdose.model.record import FloatArray
from lightdose.physics.emission import DOSE_WEIGHTINGS, photon_distribution, weigh, weighting_matrix
from lightdose.physics.photons import photons_per_joule
from lightdose.quantities import LUMINOUS_EFFICACY_LM_W

SPECTRA = 10_000
KEYS = DOSE_WEIGHTINGS[:12]
ROUNDS = 20
MOST_OVER_BARE = 3.0


def made_spectra() -> FloatArray:
    """Random mixes of the library's emitters, photons per cell; (n_spectrum, 500)."""
    emitters = np.array([photon_distribution(read_emitter(name)) for name in emitter_names()])
    shares = np.random.default_rng(1).gamma(0.5, 1.0, (SPECTRA, len(emitters)))
    return np.ascontiguousarray(shares @ emitters)


def colour_science_task(cells: FloatArray) -> Callable[[], FloatArray]:
    """Tristimulus values of the same spectra, as power at 1 nm over 360-780 nm, Y of equal energy 100."""
    import colour

    shape = colour.SpectralShape(360, 780, 1)
    start, end = 60, 60 + shape.range().size
    at_nodes = 0.5 * (cells[:, start - 1 : end - 1] + cells[:, start:end])
    power = np.ascontiguousarray(at_nodes / photons_per_joule(shape.range()))
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy().align(shape)
    equal_energy = colour.SDS_ILLUMINANTS["E"].copy().align(shape)
    return lambda: colour.msds_to_XYZ(
        power, cmfs=observer, illuminant=equal_energy, method="Integration", shape=shape
    )


def main() -> int:
    """Print the ratios; 1 if one is missed."""
    tables = reference_tables()
    cells = made_spectra()
    matrix = weighting_matrix(tables, KEYS).matrix
    bare, ours = best_s(
        lambda: cells @ matrix.T, lambda: weigh(cells, weighting_matrix(tables, KEYS)), rounds=ROUNDS
    )
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        task = colour_science_task(cells)
        (theirs,) = best_s(task, rounds=5)
        luminance = task()[:, 1]
    lux = weigh(cells, weighting_matrix(tables, ("lux",)))[:, 0]
    scale = LUMINOUS_EFFICACY_LM_W * node_tables().photopic.values[:421].sum() / 100
    apart = float(np.max(np.abs(lux / (scale * luminance) - 1)))
    what = f"{SPECTRA:,} spectra x {len(KEYS)} weightings"
    met = row(
        f"{what} over the bare product",
        f"{ours / bare:.2f} ({1e3 * ours:.0f} ms / {1e3 * bare:.0f} ms)",
        f"at most {MOST_OVER_BARE:g}",
        met=ours <= MOST_OVER_BARE * bare,
    )
    met &= row(
        "colour-science `msds_to_XYZ` over the same",
        f"{theirs / ours:.1f}; lux apart by {100 * apart:.2f} %",
        "above 1; at most 1 %",
        met=ours < theirs and apart < 0.01,
    )
    return int(not met)


if __name__ == "__main__":
    sys.exit(main())
