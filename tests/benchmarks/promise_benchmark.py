"""Is what `survey` promises what `calibrate` then states? `python tests/benchmarks/promise_benchmark.py`

For each shipped tank: the plan of a survey, true tanks at random (``fit.true_tanks``), the planned readings
made in them, and `calibrate` on these. Printed is how wide the dose of a coral is then stated over how wide
the plan promised, as logarithms, median of all corals in all true tanks. Exit 1 where that is off by more
than a tenth.
"""

from __future__ import annotations

import argparse
import math
import os
import sys
from dataclasses import replace
from pathlib import Path

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
sys.path.insert(0, str(Path(__file__).resolve().parents[1]))

import numpy as np
from fit.true_tanks import draw_truth, true_readings, true_row
from rows import row

from lightdose.analysis import judged_under, light_of
from lightdose.errors import Place
from lightdose.files.library import reference_tables
from lightdose.files.setup_file import read_setup
from lightdose.fit.calibration import calibrate
from lightdose.fit.calibration_problem import CalibrationRequest
from lightdose.model.plans import PlannedReading, Survey
from lightdose.model.setup import Setup, with_calibration
from lightdose.model.spectrum import Meter, Reading
from lightdose.workflows.measuring import planned_survey

EXAMPLES = Path(__file__).resolve().parents[2] / "examples"
METER = Meter("pen", "umol", "soft", "A", "built in", 0.025)
TENTH = 1.1


def planned(number: int, one: PlannedReading) -> Reading:
    """A reading of the plan, before it is made."""
    spot, on = one.spot, one.on
    where = (spot.x_m, spot.y_m, spot.depth_m)
    return Reading(
        Place("plan", number), 1.0, "umol", spot.site, *where, on.time_h, on.levels, meter=METER.name
    )


def over_promised(setup: Setup, plan: Survey, seed: int) -> list[float]:
    """For each coral of the plan, how wide its dose is stated over how wide it was promised."""
    rng = np.random.default_rng([11, seed])
    asked = [planned(n, one) for n, one in enumerate(plan.readings, start=2)]
    truth = draw_truth(setup, asked, rng, (true_row(METER),))
    scale = math.exp(METER.standard_uncertainty * rng.normal())
    shown = true_readings(setup, asked, truth, rng, scales=(scale,), meter_of=(0,) * len(asked))
    fit = calibrate(setup, shown, reference_tables(), {}, CalibrationRequest("2026-03-14"))
    measured = with_calibration(setup, fit.calibration)
    known = judged_under(measured, *light_of(measured), certainty=True).uncertainty
    assert known is not None
    own = {r.coral: n for n, r in enumerate(measured.receivers) if r.coral is not None}
    at_site = {r.name: n for n, r in enumerate(measured.receivers) if r.coral is None}
    site = {c.name: c.site for c in measured.corals}
    low, high = known.dli[[own.get(d.what, at_site.get(site[d.what], 0)) for d in plan.doses]].T
    wide = 0.5 * np.log(high / np.maximum(low, 1e-9))
    return (wide / np.log([d.after for d in plan.doses])).tolist()


def main() -> int:
    """A row a tank."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--tanks", type=int, default=12)
    count = parser.parse_args().tanks
    met = True
    for name in ("first-tank", "long-tank", "crowded-cube", "rock-and-caves"):
        setup = read_setup(EXAMPLES / name / "setup.toml")
        setup = replace(setup, meters={METER.name: METER}, calibration=None)
        plan, _ = planned_survey(setup, setup)
        ratio = float(np.median([over_promised(setup, plan, n) for n in range(count)]))
        text = f"{ratio:.2f} ({len(plan.readings)} readings, {len(plan.doses)} doses, {count} tanks)"
        met &= row(f"{name}: stated over promised", text, "1/1.1 to 1.1", met=1 / TENTH <= ratio <= TENTH)
    return int(not met)


if __name__ == "__main__":
    sys.exit(main())
