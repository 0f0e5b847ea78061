"""The plan of readings: a greedy D-optimal choice, on the very problem that calibrate solves."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from judge.made_tank import made_tank

from lightdose.analysis import analyse
from lightdose.errors import ReadingsError
from lightdose.files.library import reference_tables
from lightdose.fit.survey import FEWEST, MOST, _Plan, _updated, plan_survey, plateau_h
from lightdose.model.fixture import Fixture, Programme
from lightdose.model.plans import Survey
from lightdose.model.setup import Setup
from lightdose.model.spectrum import Meter

TANK = made_tank()
METER = Meter("handheld", "umol", "soft", "A", "built in", 0.025)
TABLES = reference_tables()


def plan(setup: Setup = TANK, meter: Meter | None = METER, count: int | None = None) -> Survey:
    return plan_survey(setup, meter, None, TABLES, {}, count=count)


def without_flux(fixture: Fixture) -> Fixture:
    channels = tuple(replace(c, flux=None) for c in fixture.type.channels)
    return replace(fixture, type=replace(fixture.type, channels=channels))


@pytest.mark.identity
def test_worth_is_the_drop_of_ln_det_and_of_each_open_dose() -> None:
    """The quick form equals the determinant and the variances worked out for each reading alone."""
    made = _Plan(TANK, METER, None, TABLES, {})
    weight = np.array(list(made.openness.values()))
    worth = made._worth(made.prior, weight)
    own = np.diagonal(made.prior) > 0
    own[made.of_meter] = False
    value, vector = np.linalg.eigh(made.prior)
    root = vector * np.sqrt(np.maximum(value, 0))  # some skies are known exactly: no inverse of the prior

    def ln_det(covariance: np.ndarray) -> float:
        return float(np.linalg.slogdet(covariance[np.ix_(own, own)])[1])

    for n in range(0, len(made.pairs), 5):
        row = made.rows[n] @ root
        after = root @ np.linalg.inv(np.eye(len(root)) + np.outer(row, row)) @ root.T
        np.testing.assert_allclose(_updated(made.prior, made.rows[n]), after, rtol=1e-9, atol=1e-15)
        doses = [np.einsum("cp,pq,cq->c", made.doses, c, made.doses) for c in (made.prior, after)]
        drop = 0.5 * (ln_det(made.prior) - ln_det(after))
        assert worth[n] == pytest.approx(drop + 0.5 * weight @ np.log(doses[0] / doses[1]), rel=1e-8)


@pytest.mark.identity
def test_each_choice_is_the_best_of_all_that_are_left() -> None:
    """The greedy choice goes by worth, takes no reading twice, and stops between 6 and 10."""
    made = _Plan(TANK, METER, None, TABLES, {})
    chosen = made._choose(None)
    assert FEWEST <= len(chosen) <= MOST
    assert len(set(chosen)) == len(chosen)
    weight, current = np.array(list(made.openness.values())), made.prior
    for n in chosen:
        worth = made._worth(current, weight) * made.ease
        left = [i for i in range(len(made.pairs)) if i == n or i not in chosen]
        assert worth[n] >= max(worth[i] for i in left if i not in chosen[: chosen.index(n)]) - 1e-6
        current = _updated(current, made.rows[n])


@pytest.mark.identity
def test_readings_narrow_everything_and_more_readings_narrow_more() -> None:
    """Nothing is known worse afterwards; ten readings tell more than three about every coral."""
    few, many = plan(count=3), plan(count=10)
    for known in (*few.gains, *few.doses, *many.gains, *many.doses):
        assert 1 < known.after <= known.before * (1 + 1e-12)
    assert [n.what for n in few.doses] == ["staghorn", "hammer", "brain"]
    assert all(b.after < a.after for a, b in zip(few.doses, many.doses, strict=True))
    assert max(n.after for n in many.doses) < 1.25


@pytest.mark.identity
def test_open_verdicts_draw_readings_to_themselves() -> None:
    """A coral whose verdict is certain weighs nothing, one that is open weighs fully."""
    verdicts = analyse(TANK).verdicts
    made = _Plan(TANK, METER, verdicts, TABLES, {})
    chance = {v.coral: max(v.certainty.probability.values()) for v in verdicts if v.certainty}
    for coral, weight in made.openness.items():
        assert weight == pytest.approx(min(1.0, 3 * (1 - chance[coral])))
    assert "sun coral" not in made.openness


@pytest.mark.identity
def test_expected_range_holds_the_models_own_figure() -> None:
    """The range on the sheet is around what the model says of the place and the levels."""
    from lightdose.analysis import light_field

    survey = plan()
    channels = [(f.name, c.name) for f in TANK.lit_fixtures for c in f.type.channels]
    for reading in survey.readings:
        low, high = reading.expected_95
        assert 0 < low < high < 5 * low
        if reading.on.levels is None:
            continue
        spot = reading.spot
        sky = {s.name: s.open_sky for s in TANK.sites}.get(spot.site or "", 1.0)
        stated = light_field(TANK, [(spot.x_m, spot.y_m, spot.depth_m)])[0, :, 0] * sky
        ((key, _),) = reading.on.levels.items()
        assert low < 0.8 * stated[channels.index(key)] < high


@pytest.mark.identity
def test_plan_is_numbered_by_effort_and_ranked_by_worth() -> None:
    """Air first, then one channel setting after the other; ranks are a permutation."""
    survey = plan()
    assert [r.number for r in survey.readings] == list(range(1, len(survey.readings) + 1))
    assert sorted(r.rank for r in survey.readings) == list(range(1, len(survey.readings) + 1))
    air = [r.spot.in_air for r in survey.readings]
    assert air == sorted(air, reverse=True)
    on = [str(r.on.levels) for r in survey.readings if not r.spot.in_air]
    assert len([i for i in range(1, len(on)) if on[i] != on[i - 1]]) == len(set(on)) - 1


@pytest.mark.identity
def test_unscaled_fixture_gets_a_plan_and_is_known_within_a_factor_first() -> None:
    """A fixture that states no output: readings take a wide factor down to a few tens of percent."""
    survey = plan(replace(TANK, fixtures=tuple(without_flux(f) for f in TANK.fixtures)))
    assert min(n.before for n in survey.gains) > 10
    assert max(n.after for n in survey.doses) < 1.6


@pytest.mark.identity
def test_meter_that_is_not_described_is_said_and_counts_as_badly_known() -> None:
    """Without a meter the plan stands, with wider ends."""
    unknown, known = plan(meter=None), plan()
    assert not unknown.described
    assert all(a.after > b.after for a, b in zip(unknown.doses, known.doses, strict=True))


@pytest.mark.identity
def test_air_is_read_where_there_are_no_sites() -> None:
    """A tank without sites is read under and beside its lamps, above the water."""
    survey = plan(replace(TANK, sites=(), corals=()))
    assert survey.readings
    assert all(r.spot.in_air for r in survey.readings)
    assert any("beside" in r.spot.name for r in survey.readings)
    for reading in survey.readings:
        assert 0 <= reading.spot.x_m <= TANK.tank.length_m
        assert 0 <= reading.spot.y_m <= TANK.tank.width_m
        assert -0.18 < reading.spot.depth_m < 0


@pytest.mark.identity
def test_plateau_is_the_middle_of_the_brightest_stretch() -> None:
    """10:00-18:00 and 11:00-18:00 run together from 11:00 to 18:00: 14:30; a dark setup has none."""
    nominal = np.array([9.0, 60, 6, 9, 60, 6])
    assert plateau_h(TANK, nominal) == 14.5
    dark = replace(TANK, fixtures=tuple(replace(f, programme=Programme({})) for f in TANK.fixtures))
    assert plateau_h(dark, nominal) is None
    assert all(r.on.levels for r in plan(dark).readings)


@pytest.mark.identity
def test_setup_without_lit_fixture_is_refused_with_a_sentence() -> None:
    """Nothing that gives light: nothing to read."""
    off = replace(TANK, fixtures=tuple(replace(f, enabled=False) for f in TANK.fixtures))
    with pytest.raises(ReadingsError, match="no enabled fixture"):
        plan(off)
