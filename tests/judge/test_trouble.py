"""Notes of trouble, how others fared, and what nobody wrote down."""

from __future__ import annotations

import pytest
from judge.test_light_history import DAY, START
from judge.test_light_history import spells as made_spells

from lightdose.judge.light_history import changes_of
from lightdose.judge.trouble import troubles_in, with_troubles
from lightdose.model.diary import CoralHistory, Note


def note(day: str, kind: str, value: float | None = None, coral: str = "x", remark: str = "") -> Note:
    return Note(day, coral, kind, value, "", remark, "" if value is None else f"{value:g}")


def coral(name: str, rises: bool, colours: tuple[float, float], *, looked: bool = True) -> CoralHistory:
    """A coral of 60 days whose dose doubles on day 30 or not, scored on day 10 and on day 50."""
    spells = made_spells((0, 6.0), (30, 12.0 if rises else 6.0), last=60)
    notes = [note("2025-01-11", "colour", colours[0], name)]
    notes += [note("2025-02-20", "colour", colours[1], name)] if looked else []
    return CoralHistory(name, DAY.group, DAY.group, spells, changes_of(name, spells), tuple(notes))


@pytest.mark.published
@pytest.mark.parametrize(
    ("scores", "found"),
    [((5, 3), 1), ((5, 4), 0), ((5, 4, 3), 1), ((3, 5), 0), ((6, 3, 3, 3), 1), ((5, 3, 5, 3), 2)],
)
def test_change_of_two_colours_counts(scores: tuple[int, ...], found: int) -> None:
    """A fall of 2 or more from the best of the last weeks is trouble, told once until the coral is back."""
    # Source: Siebeck et al. 2006, doi 10.1007/s00338-006-0123-8: a change of 2 scores or more.
    notes = [note(f"2025-01-{3 * i + 1:02d}", "colour", score) for i, score in enumerate(scores)]
    assert [kind for kind, _, _ in troubles_in(notes)] == ["paler"] * found


@pytest.mark.identity
def test_closed_and_lost_corals_are_trouble() -> None:
    """Closed after open, and lost; kinds that are not known are never judged."""
    notes = [note("2025-01-01", "open", 3), note("2025-01-09", "open", 0), note("2025-01-20", "lost")]
    notes += [note("2025-01-21", "temperature", 31)]
    assert [kind for kind, _, _ in troubles_in(notes)] == ["closed", "lost"]


@pytest.mark.identity
def test_table_counts_those_looked_at_and_gives_the_odds() -> None:
    """12 corals rose and 4 of them paled, 20 did not and 2 of them paled: by chance about 1 time in 8."""
    corals = [coral(f"up {i}", True, (5, 3 if i < 4 else 5)) for i in range(12)]
    corals += [coral(f"same {i}", False, (5, 3 if i < 2 else 5)) for i in range(20)]
    corals += [coral("unseen", True, (5, 5), looked=False)]
    told = with_troubles(corals, (), corals[:1])[0].troubles[0]
    ((change, (fared,)),) = told.changes
    assert change.rise_in_week == pytest.approx(2)
    assert (fared.changed, fared.changed_bad, fared.others, fared.others_bad) == (12, 4, 20, 2)
    assert fared.not_looked_at == 1
    assert fared.chance is not None
    assert round(1 / fared.chance) == 8


@pytest.mark.identity
def test_what_was_noted_and_what_was_not_is_told() -> None:
    """Care and heat stand beside the change; what nobody wrote down is named."""
    whole = [
        note("2025-02-01", "care", coral="", remark="water change"),
        note("2024-01-01", "care", coral=""),
    ]
    told = with_troubles([coral("x", True, (5, 3))], whole, [coral("x", True, (5, 3))])[0].troubles[0]
    assert [(n.date, n.kind) for n in told.also_noted] == [("2025-01-11", "colour"), ("2025-02-01", "care")]
    assert "temperature" in told.not_recorded
    assert "care" not in told.not_recorded
    heat = [*whole, note("2025-02-10", "temperature", 31, coral="")]
    told = with_troubles([coral("x", True, (5, 3))], heat, [coral("x", True, (5, 3))])[0].troubles[0]
    assert "temperature" not in told.not_recorded


@pytest.mark.identity
def test_changes_stand_largest_first() -> None:
    """Of two changes in the six weeks the larger step of the dose leads, and one earlier is left out."""
    spells = made_spells((0, 2.0), (1, 6.0), (50, 7.0), (60, 14.0), (70, 15.0), last=80)
    notes = (note("2025-01-20", "colour", 5), note("2025-03-16", "colour", 2))
    one = CoralHistory("x", DAY.group, DAY.group, spells, changes_of("x", spells), notes)
    told = with_troubles([one], (), [one])[0].troubles[0]
    ratios = [change.ratio for change, _ in told.changes]
    assert ratios == pytest.approx([2.0, 7 / 6, 15 / 14])
    assert START.isoformat() == "2025-01-01"
