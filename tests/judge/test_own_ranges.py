"""Ranges of dose that stable corals lived in, and the groups file that they make."""

from __future__ import annotations

from pathlib import Path

import pytest
from judge.test_light_history import DAY
from judge.test_light_history import spells as made_spells

from lightdose.files.groups_file import default_groups, read_own_groups
from lightdose.files.own_groups import own_groups_text, rounded_band
from lightdose.judge.own_ranges import group_ranges, own_ranges, stable_runs
from lightdose.model.diary import CoralHistory, GroupRange, Note


def scores(*colours: int, every: int = 20) -> tuple[Note, ...]:
    """Colour scores from the start on."""
    import datetime

    start = datetime.date(2025, 1, 1)
    days = [(start + datetime.timedelta(every * i)).isoformat() for i in range(len(colours))]
    return tuple(Note(d, "x", "colour", float(c), "", "", str(c)) for d, c in zip(days, colours, strict=True))


def coral(notes: tuple[Note, ...], *steps: tuple[int, float], name: str = "x") -> CoralHistory:
    return CoralHistory(name, DAY.group, DAY.group, made_spells(*steps, last=400), (), notes)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("colours", "lengths"),
    [
        ((4, 4, 4, 4), [4]),
        ((4, 4, 4), []),
        ((4, 5, 4, 5, 6), [5]),
        ((5, 5, 5, 5, 3, 3, 4, 4, 4, 5), [4, 4]),
        ((5, 5, 5, 5, 3, 3, 3, 3, 3), [4]),
    ],
)
def test_run_is_stable_or_better_for_sixty_days(colours: tuple[int, ...], lengths: list[int]) -> None:
    """A fall of 2 ends it, and it begins again once the coral is back within 1 of what it was."""
    assert [len(run) for run in stable_runs(scores(*colours))] == lengths


@pytest.mark.identity
def test_scores_too_far_apart_tell_nothing() -> None:
    """What was between them nobody saw."""
    assert list(stable_runs(scores(4, 4, 4, every=61))) == []


@pytest.mark.identity
def test_range_is_of_doses_that_were_lived_in() -> None:
    """Days outside the run and doses of less than two weeks do not count."""
    one = coral(scores(4, 4, 4, 4, 4, 4), (-50, 2.0), (0, 5.0), (40, 6.0), (60, 9.0), (70, 5.5), (200, 12.0))
    (found,) = own_ranges([one])
    assert (found.low, found.high) == (5.0, 6.0)
    assert (found.notes, found.days) == (6, 100)


@pytest.mark.identity
def test_groups_are_put_together_with_their_counts() -> None:
    """The lowest and the highest of all corals of a group."""
    corals = [coral(scores(4, 4, 4, 4), (0, 5.0), name="a"), coral(scores(5, 5, 5, 5), (0, 7.0), name="b")]
    (group,) = group_ranges(own_ranges(corals))
    assert (group.low, group.high, group.corals, group.notes) == (5.0, 7.0, 2, 8)
    assert group.source == "own records, 2025-01-01 to 2025-03-02"


@pytest.mark.identity
@pytest.mark.parametrize(("low", "high"), [(6.0, 12.0), (0.5, 3.0), (9.0, 44.0)])
def test_file_reads_as_groups_of_grade_own(tmp_path: Path, low: float, high: float) -> None:
    """Also where the range passes the floor or the ceiling of the group, which move with it."""
    groups, _ = default_groups()
    made = GroupRange("sps-shallow", 2, 20, "2024-01-01", "2025-01-01", low, high)
    path = tmp_path / "own.toml"
    path.write_text(own_groups_text((), (made,), groups, path.name), encoding="utf-8")
    own = read_own_groups(path, "own.toml", groups)["sps-shallow"]
    assert own.band_dli == (low, high)
    assert (own.grade, own.sources) == ("own", ("own records, 2024-01-01 to 2025-01-01",))
    assert own.floor_dli is not None
    assert own.floor_dli <= low
    assert own.ceiling_dli is not None
    assert own.ceiling_dli >= high
    assert own.genera == groups["sps-shallow"].genera


@pytest.mark.identity
def test_group_of_the_keepers_own_is_written_whole(tmp_path: Path) -> None:
    """A key that is not shipped has all that the reader needs."""
    from dataclasses import replace

    shipped, _ = default_groups()
    mine = replace(shipped["soft"], key="my softies", name="my softies", genera=())
    made = GroupRange("my softies", 1, 9, "2024-01-01", "2025-01-01", 3.0, 5.0)
    path = tmp_path / "own.toml"
    path.write_text(
        own_groups_text((), (made,), {**shipped, "my softies": mine}, path.name), encoding="utf-8"
    )
    own = read_own_groups(path, "own.toml", shipped)["my softies"]
    assert (own.band_dli, own.band_peak, own.ek_range) == ((3.0, 5.0), mine.band_peak, mine.ek_range)


@pytest.mark.identity
def test_band_is_rounded_outwards_and_needs_a_width() -> None:
    """No dose that was lived in falls outside; one dose alone is no range."""
    assert rounded_band(4.876, 7.772) == (4.87, 7.78)
    assert rounded_band(11.84, 12.61) == (11.8, 12.7)
    assert rounded_band(5.0, 5.0) is None
    assert rounded_band(0.0, 5e-324) is None
