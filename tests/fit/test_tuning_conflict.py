"""Two corals that cannot both be served: found, measured, and the remedies proved."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pytest
from fit.tuning_scenes import day, task

from lightdose.fit.tuning_problem import TuneTask, least_violation
from lightdose.fit.tuning_record import find_conflict
from lightdose.model.plans import Conflict
from lightdose.model.record import FloatArray

NAMES = ["stag", "cap", "mush"]
LIGHT = [[200.0], [150.0], [80.0]]
BANDS = [(8.0, 15.0), (4.0, 9.0), (1.0, 2.4)]


def nowhere(row: int) -> tuple[Sequence[str], FloatArray]:
    return [], np.zeros((0, 1))


def conflict_of(made: TuneTask, free_sites: object = nowhere, hours: float = 20.0) -> Conflict | None:
    limits = day(hours, made.response.shape[1])
    found = least_violation(made, limits)
    assert found is not None
    return find_conflict(made, limits, found, NAMES, free_sites)  # type: ignore[arg-type]


@pytest.mark.identity
def test_pair_and_its_factor_are_the_ratio_of_bands_over_that_of_light() -> None:
    """One channel: mush at its limit 2.4 leaves stag 2.4 x 200/80 = 6; it needs 8, 1.333 times that."""
    found = conflict_of(task(LIGHT, BANDS))
    assert found is not None
    assert (found.kind, found.low, found.high) == ("pair", "stag", "mush")
    assert found.gets_at_best_mol_m2_d == pytest.approx(6.0)
    assert found.factor == pytest.approx(8 / 6)


@pytest.mark.identity
def test_shade_that_is_named_solves_it_and_a_milder_one_does_not() -> None:
    """Shade to 0.75 or less undoes a factor of 1.333; 0.8 is not enough."""
    found = conflict_of(task(LIGHT, BANDS))
    assert found is not None
    shade = next(r for r in found.remedies if r.kind == "shade")
    assert (shade.coral, shade.open_sky_factor, shade.out_of_band) == ("mush", 0.75, 0)

    def shaded(sky: float) -> TuneTask:
        return task([*LIGHT[:2], [sky * LIGHT[2][0]]], BANDS)

    limits = day(20.0, 1)
    assert least_violation(shaded(0.75), limits).violation == pytest.approx(0, abs=1e-6)  # type: ignore[union-attr]
    assert least_violation(shaded(0.8), limits).violation > 1e-3  # type: ignore[union-attr]


@pytest.mark.identity
def test_move_that_is_named_solves_it() -> None:
    """Of three free sites for mush only the dim one lets both be served."""

    def free(row: int) -> tuple[Sequence[str], FloatArray]:
        return (["bright", "dim", "same"], np.array([[180.0], [50.0], [80.0]])) if row == 2 else nowhere(row)

    found = conflict_of(task(LIGHT, BANDS), free)
    assert found is not None
    move = next(r for r in found.remedies if r.kind == "move")
    assert (move.coral, move.site, move.out_of_band) == ("mush", "dim", 0)


@pytest.mark.identity
def test_light_that_does_not_reach_is_no_quarrel_of_corals() -> None:
    """At full output for the whole day stag gets 0.72 x 4 h = 2.88: that, not another coral, is the limit."""
    found = conflict_of(task(LIGHT[:1], BANDS[:1]), hours=4.0)
    assert found is not None
    assert (found.kind, found.low, found.high) == ("reach", "stag", None)
    assert found.gets_at_best_mol_m2_d == pytest.approx(0.0036 * 200 * 4)


@pytest.mark.identity
def test_corals_that_can_all_be_served_have_no_conflict() -> None:
    """A second channel that only stag sees removes it."""
    assert conflict_of(task([[200.0, 100.0], [150.0, 20.0], [80.0, 0.0]], BANDS)) is None


@pytest.mark.identity
def test_bounds_that_leave_too_much_light_are_said_as_such() -> None:
    """A change of at most 10 % from 5 h leaves stag 0.72 x 4.5 = 3.24 at least, above its own limit of 2."""
    made = task(LIGHT[:1], [(1.0, 2.0)], today_h=[5.0])
    bound = replace(made, rows=np.array([[-1.0]]), limits=np.array([-4.5]))
    found = conflict_of(bound)
    assert found is not None
    assert (found.kind, found.low, found.high) == ("excess", None, "stag")
    assert found.gets_at_best_mol_m2_d == pytest.approx(0.72 * 4.5)
    assert found.factor == pytest.approx(0.72 * 4.5 / 2)


@pytest.mark.identity
def test_corals_that_only_together_stand_in_the_way_are_said_as_such() -> None:
    """Two channels: each pair can be served, all three cannot."""
    made = task([[100.0, 0.0], [0.0, 100.0], [100.0, 100.0]], [(3.0, 6.0), (3.0, 6.0), (1.0, 5.0)])
    found = conflict_of(made)
    assert found is not None
    assert found.kind == "several"
    assert found.high == "mush"
