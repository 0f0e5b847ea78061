"""What the diary adds to reports and slips."""

from __future__ import annotations

from dataclasses import replace

import pytest
from present.made_history import made_history

from lightdose.answers.blocks import Table
from lightdose.answers.changed import changed_blocks, most_changed, year_of
from lightdose.model.diary import Note


@pytest.mark.identity
def test_last_four_states_stand_in_the_table() -> None:
    """The latest, in order."""
    history = made_history(2)
    _, rows = changed_blocks(history)
    assert isinstance(rows, Table)
    assert list(rows.columns[0].cells) == [s.state.date for s in history.states[-4:]]


@pytest.mark.identity
def test_corals_of_concern_are_shown_in_their_order() -> None:
    """Those with trouble before those without, and not more than asked for."""
    history = made_history(6)
    calm = [replace(c, troubles=()) if i in (1, 4) else c for i, c in enumerate(history.corals)]
    assert [c.coral for c in most_changed(calm, 4)] == [calm[i].coral for i in (0, 2, 3, 5)]


@pytest.mark.identity
def test_last_year_tells_only_of_it() -> None:
    """Doses, scores and trouble of the 365 days before; nothing older, nothing later."""
    (coral,) = made_history(1).corals
    notes = [
        Note("2023-06-01", coral.coral, "colour", 1.0, "", "", "1"),
        Note("2024-07-01", coral.coral, "colour", 4.0, "", "", "4"),
        Note("2025-05-01", coral.coral, "colour", 5.0, "", "", "5"),
        Note("2025-12-01", coral.coral, "colour", 6.0, "", "", "6"),
    ]
    words = year_of(replace(coral, notes=tuple(notes), troubles=()), "2025-06-15")
    assert words.startswith("since 2024-06-15: ")
    assert "colour 4 to 5" in words
    last = [s.light.dli_mol_m2_d for s in coral.spells if s.until > "2024-06-15" and s.since <= "2025-06-15"]
    assert f"{min(last):.2f}"[:4] in words
    assert year_of(replace(coral, spells=()), "2025-06-15") == "in no kept state"
