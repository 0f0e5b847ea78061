"""The diary end to end: what is kept is what was there, and its light is that of `dose`."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from cli.small_tanks import write_tank

from lightdose import analyse, read_setup
from lightdose.errors import SetupError
from lightdose.files.diary_notes import add_notes
from lightdose.files.diary_states import diary_folder, keep_state, read_diary, restore_state
from lightdose.model.diary import Note
from lightdose.workflows.diary import history

ROCK = """
[[rock]]
name = "arch"
shape = "box"
at = { x = "25 cm", y = "28 cm", height = "10 cm" }
size = { x = "20 cm", y = "12 cm", z = "20 cm" }
"""


def programme(tank: Path, percent: int) -> None:
    """Set the blue channel's plateau."""
    day = tank / "day-1.csv"
    lines = day.read_text(encoding="utf-8").splitlines()
    lines = [
        ",".join([c[0], "0" if c[1] == "0" else str(percent), *c[2:]])
        for c in (line.split(",") for line in lines)
    ]
    day.write_text("\n".join(["time,blue 450,cyan 500,red 660", *lines[1:]]) + "\n", encoding="utf-8")


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    """A tank with three kept states: two programmes, then a coral at another place."""
    tank = write_tank(tmp_path / "tank")
    keep_state(read_setup(tank), "2025-01-01", "first")
    programme(tank, 60)
    keep_state(read_setup(tank), "2025-02-01", "")
    setup = tank / "setup.toml"
    text = setup.read_text(encoding="utf-8")
    setup.write_text(
        text.replace('group = "lps-branching"\nsite = "sand"', 'group = "lps-branching"\nsite = "ridge"'),
        encoding="utf-8",
    )
    keep_state(read_setup(tank), "2025-03-01", "")
    return tank


@pytest.mark.identity
def test_doses_of_a_state_are_those_of_dose_on_its_files(tank: Path) -> None:
    """Dose, interval, peak, hours and colours of every coral in every state, to 1e-12; intervals to 1e-6."""
    told = history(read_setup(tank))
    assert told.distinct == 3
    assert not told.problems
    for coral in told.corals:
        for spell in coral.spells:
            analysis = analyse(read_setup(f"{tank}@{spell.since}"))
            verdict = next(v for v in analysis.verdicts if v.coral == coral.coral)
            assert spell.light.dli_mol_m2_d == pytest.approx(verdict.dli_mol_m2_d, rel=1e-12)
            assert spell.light.peak_ppfd_umol_m2_s == pytest.approx(verdict.peak_ppfd_umol_m2_s, rel=1e-12)
            assert spell.light.interval_dli == pytest.approx(verdict.certainty.interval_dli, rel=1e-6)
            bands = analysis.band_fraction(verdict.receiver)
            assert dict(spell.light.shares) == pytest.approx(
                {k: bands[k] for k in spell.light.shares}, rel=1e-12
            )
            hours = analysis.dose.photoperiod_h[verdict.receiver]
            assert spell.light.photoperiod_h == pytest.approx(hours, rel=1e-12)


@pytest.mark.identity
def test_rock_and_colonies_shade_in_the_diary_as_in_dose(tmp_path: Path) -> None:
    """A rock that comes, and a neighbour that grows: each state gives the doses of its own files."""
    tank = write_tank(tmp_path / "tank")
    keep_state(read_setup(tank), "2025-01-01", "")
    setup = tank / "setup.toml"
    text = setup.read_text(encoding="utf-8")
    setup.write_text(text + ROCK, encoding="utf-8")
    keep_state(read_setup(tank), "2025-02-01", "")
    told = history(read_setup(tank))
    assert not told.problems
    for coral in told.corals:
        for spell in coral.spells:
            verdicts = analyse(read_setup(f"{tank}@{spell.since}"), certainty=False).verdicts
            wanted = next(v.dli_mol_m2_d for v in verdicts if v.coral == coral.coral)
            assert spell.light.dli_mol_m2_d == pytest.approx(wanted, rel=1e-12)
    assert "other rock" in told.states[1].differences
    first, second = (spell.light.dli_mol_m2_d for spell in told.corals[0].spells)
    assert second != first


@pytest.mark.identity
def test_states_store_only_what_differs_and_come_back_exactly(tank: Path, tmp_path: Path) -> None:
    """The second state stores the schedule alone, the third the setup; each is restored byte for byte."""
    folder = diary_folder(str(tank / "setup.toml"))
    states = read_diary(str(tank / "setup.toml")).states
    stored = [sorted(p.name for p in (folder / s.name).iterdir()) for s in states]
    assert stored == [
        ["day-1.csv", "files.csv", "lamp.toml", "setup.toml"],
        ["day-1.csv", "files.csv"],
        ["files.csv", "setup.toml"],
    ]
    back = restore_state(folder, states[-1], tmp_path / "back").parent
    for name in ("setup.toml", "lamp.toml", "day-1.csv"):
        assert (back / name).read_bytes() == (tank / name).read_bytes()
    first = restore_state(folder, states[0], tmp_path / "first")
    doses = [v.dli_mol_m2_d for v in analyse(read_setup(first)).verdicts]
    assert doses == [v.dli_mol_m2_d for v in analyse(read_setup(f"{tank}@2025-01-01")).verdicts]


@pytest.mark.identity
def test_nothing_is_kept_where_nothing_differs(tank: Path) -> None:
    """Keeping twice adds no row; a comment in a file is a difference, since it comes back exactly."""
    rows = (tank / "diary" / "states.csv").read_bytes()
    assert keep_state(read_setup(tank), "2025-04-01", "").state is None
    assert (tank / "diary" / "states.csv").read_bytes() == rows


@pytest.mark.identity
def test_equal_states_are_analysed_once(tank: Path) -> None:
    """Back to an earlier programme: a fourth row, and no fourth state to analyse nor file to store."""
    setup = tank / "setup.toml"
    text = setup.read_text(encoding="utf-8")
    shutil.copy(tank / "diary" / "2025-01-01" / "day-1.csv", tank / "day-1.csv")
    shutil.copy(tank / "diary" / "2025-01-01" / "setup.toml", setup)
    assert text != setup.read_text(encoding="utf-8")
    kept = keep_state(read_setup(tank), "2025-04-01", "back")
    assert kept.stored == 0
    told = history(read_setup(tank))
    assert (len(told.states), told.distinct) == (4, 3)
    assert told.corals[0].spells[0].light == told.corals[0].spells[-1].light


@pytest.mark.identity
def test_copied_diary_tells_the_same(tank: Path, tmp_path: Path) -> None:
    """A copy of the folder elsewhere, as version control makes it, gives the same history."""
    assert "* -text" in (tank / "diary" / ".gitattributes").read_text(encoding="utf-8")
    copy = tmp_path / "elsewhere" / "copy"
    shutil.copytree(tank, copy)
    one, other = history(read_setup(tank)), history(read_setup(copy))
    assert [c.spells for c in one.corals] == [c.spells for c in other.corals]
    assert not other.problems


@pytest.mark.identity
def test_two_states_of_one_day_both_stay_and_the_later_stands(tank: Path) -> None:
    """The first is still read by its number."""
    programme(tank, 70)
    keep_state(read_setup(tank), "2025-03-01", "again")
    diary = read_diary(str(tank / "setup.toml"))
    assert [s.name for s in diary.states] == ["2025-01-01", "2025-02-01", "2025-03-01", "2025-03-01-2"]
    both = [analyse(read_setup(f"{tank}@2025-03-01{n}"), certainty=False).dose.dli[0] for n in ("-1", "")]
    assert both[0] < both[1]
    assert [s.state.name for s in history(read_setup(tank)).states][-1] == "2025-03-01-2"


@pytest.mark.identity
def test_changed_kept_file_is_named_and_hides_no_other_state(tank: Path) -> None:
    """Bytes that are not those that were kept are never shown as the past."""
    kept = tank / "diary" / "2025-02-01" / "day-1.csv"
    kept.write_bytes(kept.read_bytes().replace(b"\n", b"\r\n"))
    told = history(read_setup(tank))
    assert any("was changed after it was kept" in str(p) for p in told.problems)
    assert [spell.since for spell in told.corals[0].spells] == ["2025-01-01"]
    with pytest.raises(SetupError, match="changed after it was kept"):
        read_setup(f"{tank}@2025-02-14")


@pytest.mark.identity
def test_state_of_a_day_is_that_which_stood_then(tank: Path) -> None:
    """Between two states the earlier one stands; before the first there is none."""
    assert read_setup(f"{tank}@2025-02-27").fixtures[0].programme.points()[1][1]["blue 450"] == 0.6
    with pytest.raises(SetupError, match="no state was kept up to 2024-12-31"):
        read_setup(f"{tank}/setup.toml@2024-12-31")


@pytest.mark.identity
def test_files_outside_the_folder_are_kept_and_come_back(tmp_path: Path) -> None:
    """A lamp that several tanks share lies beside them, and lies there again after restoring."""
    tank = write_tank(tmp_path / "shop" / "tank")
    shutil.move(tank / "lamp.toml", tmp_path / "shop" / "lamp.toml")
    setup = tank / "setup.toml"
    setup.write_text(
        setup.read_text(encoding="utf-8").replace('"lamp.toml"', '"../lamp.toml"'), encoding="utf-8"
    )
    state = keep_state(read_setup(tank), "2025-01-01", "").state
    assert state is not None
    again = analyse(read_setup(f"{tank}@2025-01-01"), certainty=False)
    assert again.dose.dli.tolist() == analyse(read_setup(tank), certainty=False).dose.dli.tolist()
    back = restore_state(tank / "diary", state, tmp_path / "back")
    assert (tmp_path / "back" / "lamp.toml").read_bytes() == (tmp_path / "shop" / "lamp.toml").read_bytes()
    assert read_setup(back).fixtures[0].type.name == "test lamp (invented)"


@pytest.mark.identity
def test_history_joins_notes_and_changes(tank: Path) -> None:
    """A coral that pales after a fast rise: the change stands under the note, with the others beside it."""
    notes = [
        Note("2025-01-05", "blue tip", "colour", 5.0, "", "", "5"),
        Note("2025-02-20", "blue tip", "colour", 3.0, "", "", "3"),
        Note("2025-02-20", "hammer", "colour", 4.0, "", "", "4"),
    ]
    add_notes(tank / "diary", notes)
    (coral,) = history(read_setup(tank), ["blue tip"]).corals
    (trouble,) = coral.troubles
    assert [change.date for change, _ in trouble.changes] == ["2025-02-01"]
    assert "fast_rise" in trouble.changes[0][0].kinds
    (moved,) = history(read_setup(tank), ["hammer"]).corals
    assert "moved" in moved.changes[-1].kinds
    assert (moved.changes[-1].before.site, moved.changes[-1].after.site) == ("sand", "ridge")


@pytest.mark.identity
def test_empty_diary_says_how_to_begin(tmp_path: Path) -> None:
    """Notes without a state are told too; of the light nothing is known, and keep is named."""
    tank = write_tank(tmp_path / "tank")
    add_notes(tank / "diary", [Note("2025-01-05", "hammer", "lost", None, "", "", "")])
    told = history(read_setup(tank))
    assert told.unkept
    assert [t.kind for coral in told.corals for t in coral.troubles] == ["lost"]
    assert [coral.spells for coral in told.corals] == [(), ()]
