"""`lightdose dose --json`: hours at Pmax are those of tanh, whatever curve a group's Ek was fitted with."""

from __future__ import annotations

import json
from itertools import pairwise
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner
from scipy.integrate import quad

from lightdose.analysis import analyse
from lightdose.cli import cli
from lightdose.files.setup_file import read_setup
from lightdose.physics.day_curve import day_points
from lightdose.physics.dose import hours_at_pmax

SETUP = str(Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml")


@pytest.mark.identity
def test_hours_at_pmax_are_tanh_for_every_group() -> None:
    """JSON equals the exact day under tanh and SciPy's quad of it; a Smith fit's own curve gives less."""
    told = json.loads(CliRunner().invoke(cli, ["dose", SETUP, "--json", "--quiet"]).stdout)
    corals = {c["coral"]: c for site in told["sites"] for c in site["corals"] if c["ek"]}
    assert {c["ek"]["model"] for c in corals.values()} == {"smith", "tanh"}
    analysis = analyse(read_setup(SETUP), certainty=False)
    ppfd, curve = analysis.light_field.of("ppfd"), analysis.day_curve
    time, output = day_points(curve)
    for verdict in analysis.verdicts:
        if verdict.coral not in corals:
            continue
        coral, light = corals[verdict.coral], ppfd[[verdict.receiver]]
        ends = sorted(coral["ek"]["range_umol_m2_s"], reverse=True)
        for key, model in (("hours_at_pmax_h", "tanh"), ("hours_at_pmax_own_curve_h", coral["ek"]["model"])):
            exact = [hours_at_pmax(light, curve, ek, model)[0] for ek in ends]
            assert coral[key] == pytest.approx(exact, rel=1e-12)
        day = output @ light[0]
        for ek, hours in zip(ends, coral["hours_at_pmax_h"], strict=True):
            pieces = [
                quad(lambda t, ek=ek, day=day: np.tanh(np.interp(t, time, day) / ek), a, b, epsabs=1e-12)[0]
                for a, b in pairwise(time.tolist())
                if b > a
            ]
            assert hours == pytest.approx(sum(pieces), abs=1e-9)
        own, tanh = coral["hours_at_pmax_own_curve_h"], coral["hours_at_pmax_h"]
        if coral["ek"]["model"] == "tanh":
            assert own == tanh
        else:
            assert all(a < b for a, b in zip(own, tanh, strict=True))
