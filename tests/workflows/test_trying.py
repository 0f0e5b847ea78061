"""Try a change on a setup: nothing changed is nothing changed, and light follows levels and hours."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lightdose.analysis import analyse
from lightdose.errors import ScheduleError
from lightdose.files.setup_file import read_setup
from lightdose.model.changes import TrySettings
from lightdose.model.results import Analysis
from lightdose.physics.day_curve import full_output_hours
from lightdose.workflows.explain import changed_setup, try_change

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"


@pytest.fixture(scope="module")
def today() -> Analysis:
    return analyse(read_setup(EXAMPLE), certainty=False)


@pytest.mark.identity
def test_settings_of_today_leave_every_dose_as_it_is(today: Analysis) -> None:
    """The changed setup has the very same programmes, so the same floats come out."""
    record = try_change(today)
    again = analyse(changed_setup(today.setup, record, TrySettings.today(record)), certainty=False)
    assert again.dose.dli.tolist() == today.dose.dli.tolist()
    assert [r.dli_mol_m2_d for r in record.rows] == [r.dli_mol_m2_d for r in try_change(again).rows]


@pytest.mark.identity
def test_two_hours_more_of_plateau_add_two_hours_at_the_top(today: Analysis) -> None:
    """Where all tops grow together, the dose grows by 0.0036 x light of the highest levels x hours."""
    record = try_change(today)
    longer = replace(TrySettings.today(record), plateau_h=record.plateau_h + 2)
    after = analyse(changed_setup(today.setup, record, longer), certainty=False)
    highest = np.array(
        [np.interp(c.highest_level, c.dimming.level, c.dimming.output) for c in record.channels]
    )
    # The single peak of the left white stands on its ramp: inside longer tops its slope stretches with them.
    own = [i for i, c in enumerate(record.channels) if c.channel != "cool white"]
    added = after.dose.dli_by_channel - today.dose.dli_by_channel
    response = today.light_field.of("ppfd")
    assert added[:, own] == pytest.approx((0.0036 * 2 * response * highest)[:, own])


@pytest.mark.identity
def test_rows_are_every_coral_and_every_empty_site(today: Analysis) -> None:
    """Each coral is judged at its own receiver; sites without corals stand among them."""
    rows = try_change(today).rows
    assert [r.coral for r in rows if r.coral] == [v.coral for v in today.verdicts]
    assert [r.site for r in rows if r.coral is None] == ["A2", "B1", "B3"]
    assert [r.dli_state for r in rows if r.coral] == [v.dli_state for v in today.verdicts]


@pytest.mark.identity
def test_response_of_every_row_gives_its_dose(today: Analysis) -> None:
    """Only receivers that a row names are kept, and each row finds its own."""
    record = try_change(today)
    hours = full_output_hours(today.day_curve)
    for row in record.rows:
        assert 0.0036 * record.response[row.receiver] @ hours == pytest.approx(row.dli_mol_m2_d, rel=1e-12)
    assert len({r.receiver for r in record.rows}) == len(record.response) == len(record.rows)


@pytest.mark.identity
def test_more_places_than_a_page_can_reckon_are_left_out_and_counted(
    today: Analysis, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Corals stay before empty sites, the first ones before the rest."""
    monkeypatch.setattr("lightdose.workflows.explain.MOST_ROWS", 7)
    record = try_change(today)
    assert [r.coral for r in record.rows] == [v.coral for v in today.verdicts][:7]
    assert record.left_out == 5


@pytest.mark.identity
def test_fixture_that_is_switched_off_is_not_tried(today: Analysis) -> None:
    """Its programme stays in the setup, and no channel of it is offered."""
    left, right = today.setup.fixtures
    setup = replace(today.setup, fixtures=(left, replace(right, enabled=False)))
    record = try_change(analyse(setup, certainty=False))
    assert {c.fixture for c in record.channels} == {"left"}
    changed = changed_setup(setup, record, TrySettings.today(record))
    assert changed.fixtures[1].programme is right.programme


@pytest.mark.identity
@pytest.mark.parametrize(
    ("levels", "factor", "plateau_h"), [((1.1,), 1, 6), ((0.5,), 2.5, 6), ((0.5,), 1, 25)]
)
def test_settings_out_of_range_are_refused(
    levels: tuple[float, ...], factor: float, plateau_h: float
) -> None:
    """What the page cannot ask for is no setting."""
    with pytest.raises(ScheduleError):
        TrySettings(levels=levels, all_channels=factor, plateau_h=plateau_h)
