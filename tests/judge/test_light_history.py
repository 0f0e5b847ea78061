"""Rises, drops, moves and the dose that a coral is set for, from spells of light."""

from __future__ import annotations

import datetime
import math

import pytest

from lightdose.judge.light_history import Under, changes_of, spells_of
from lightdose.model.diary import CoralDay, KeptState, Spell

DAY = CoralDay(
    dli_mol_m2_d=6.0,
    peak_ppfd_umol_m2_s=200.0,
    photoperiod_h=11.0,
    shares={"blue": 0.7, "green": 0.2, "red": 0.1},
    site="A1",
    place=(0.1, 0.1, 0.1, 1.0),
    group="sps-shallow",
    floor_dli=4.0,
)
START = datetime.date(2025, 1, 1)


def spells(*steps: tuple[int, float], last: int, **changed: object) -> tuple[Spell, ...]:
    """Spells that begin on days after the start with doses; ``changed`` is what else the last one has."""
    days = [(START + datetime.timedelta(day)).isoformat() for day, _ in steps]
    ends = [*days[1:], (START + datetime.timedelta(last)).isoformat()]
    unders = []
    for i, (day, end, (_, dose)) in enumerate(zip(days, ends, steps, strict=True)):
        light = DAY._replace(dli_mol_m2_d=dose)
        if i == len(days) - 1:
            light = light._replace(**changed)
        unders.append(Under(KeptState(day, day, "", ()), light, end))
    return spells_of(unders)


@pytest.mark.published
def test_set_for_follows_the_closed_form_of_the_lag() -> None:
    """From 6 to 32 after 5 days: 11.7512 with a lag of 20 days; after two spells as after one."""
    # Source: A = D + (A0 - D) exp(-t / tau), evaluated by hand: 32 - 26 exp(-1/4).
    one = spells((0, 6.0), (30, 32.0), last=35)[-1].set_for
    assert one.default == pytest.approx(11.7512, abs=5e-5)
    assert (one.low, one.high) == pytest.approx(
        (32 - 26 * math.exp(-5 / 40), 32 - 26 * math.exp(-5 / 4)), rel=1e-12
    )
    two = spells((0, 6.0), (30, 32.0), (32, 32.0), last=35)[-1].set_for
    assert two.default == pytest.approx(one.default, rel=1e-12)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("steps", "fast"),
    [
        (((0, 6.0), (60, 6.6)), []),
        (((0, 6.0), (60, 6.7)), [60]),
        (((0, 6.0), (60, 6.6), (67, 7.26)), []),
        (((0, 6.0), (60, 6.6), (65, 7.26)), [65]),
        (((0, 6.0), (60, 5.0), (62, 6.0)), [62]),
        (((0, 0.0), (60, 5.0)), [60]),
    ],
)
def test_rise_counts_against_the_least_dose_of_a_week(
    steps: tuple[tuple[int, float], ...], fast: list[int]
) -> None:
    """Up to 10 % a week is fine, week after week too; more within seven days, or from the dark, is fast."""
    changes = changes_of("x", spells(*steps, last=90))
    wanted = [(START + datetime.timedelta(day)).isoformat() for day in fast]
    assert [c.date for c in changes if "fast_rise" in c.kinds] == wanted


@pytest.mark.identity
@pytest.mark.parametrize(
    ("dose", "changed", "kind"),
    [
        (3.9, {}, "below_floor"),
        (2.9, {}, "deep_cut"),
        (6.0, {"site": "B1"}, "moved"),
        (6.0, {"place": (0.1, 0.1, 0.12, 1.0)}, "moved"),
        (6.0, {"shares": {"blue": 0.8, "green": 0.15, "red": 0.05}}, "colour"),
        (6.0, {"photoperiod_h": 10.0}, "hours"),
        (5.5, {}, "dimmer"),
        (6.3, {}, "brighter"),
    ],
)
def test_change_counts_as_what_it_is(dose: float, changed: dict[str, object], kind: str) -> None:
    """Each kind of change is found, and nothing but it for one that changes nothing else."""
    (change,) = changes_of("x", spells((0, 6.0), (60, dose), last=90, **changed))
    assert kind in change.kinds
    assert "fast_rise" not in change.kinds


@pytest.mark.identity
def test_nothing_is_said_where_nothing_changed() -> None:
    """A state that leaves a coral's light alone is no change of it, nor is 1 %."""
    assert changes_of("x", spells((0, 6.0), (60, 6.0), (70, 6.05), last=90)) == ()


@pytest.mark.identity
def test_coral_that_was_away_is_set_for_what_it_was() -> None:
    """What it was set for stands still while no state tells its light."""
    here = Under(KeptState("2025-01-01", "a", "", ()), DAY, "2025-02-01")
    again = Under(KeptState("2025-06-01", "b", "", ()), DAY._replace(dli_mol_m2_d=9.0), "2025-06-01")
    assert spells_of([here, again])[-1].set_for.default == pytest.approx(6.0)
