"""Time of a survey plan: 100 sites, 60 corals, 8 channels; `python tests/benchmarks/survey_benchmark.py`."""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

from judge.made_tank import made_channel, made_tank
from rows import best_s, row

from lightdose.files.library import reference_tables
from lightdose.fit.survey import plan_survey
from lightdose.model.fixture import Aperture, ChannelProgramme, Fixture, FixtureType, Programme
from lightdose.model.setup import Coral, Setup, Site, Tank
from lightdose.model.spectrum import Meter

PEAKS_NM = (410, 425, 445, 455, 470, 495, 525, 660)
LIMIT_S = 2.0


def large_tank() -> Setup:
    """One panel of 8 channels over 100 sites, every fifth of them shaded."""
    kind = FixtureType("panel", tuple(made_channel(f"c{p}", p, 20) for p in PEAKS_NM), Aperture(0.4, 0.06))
    time_h, level = np.array([8.0, 10, 18, 20]), np.array([0, 0.5, 0.5, 0])
    programme = Programme({c.name: ChannelProgramme(time_h, level) for c in kind.channels})
    sites = tuple(
        Site(
            f"s{i}", 0.05 + 0.1 * (i % 10), 0.05 + 0.04 * (i // 10), 0.1 + 0.002 * i, 0.8 if i % 5 == 0 else 1
        )
        for i in range(100)
    )
    return replace(
        made_tank(),
        tank=Tank(1.2, 0.5, 0.45),
        fixtures=(Fixture("a", kind, 0.5, 0.25, 0.25, programme),),
        sites=sites,
        corals=tuple(Coral(f"k{i}", "sps-shallow", f"s{i}") for i in range(60)),
    )


def main() -> int:
    """The best of three, beside the limit."""
    setup, meter, tables = (
        large_tank(),
        Meter("h", "umol", "soft", "A", "built in", 0.025),
        reference_tables(),
    )
    (took,) = best_s(lambda: plan_survey(setup, meter, None, tables, {}), rounds=3)
    what = "survey, 100 sites, 8 channels"
    return int(not row(what, f"{took:.2f} s", f"at most {LIMIT_S:g} s", met=took <= LIMIT_S))


if __name__ == "__main__":
    sys.exit(main())
