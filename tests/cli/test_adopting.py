"""`--keep`: single values are taken over into the setup, and both states stand in the diary."""

from __future__ import annotations

import datetime
import json
from pathlib import Path

import pytest
from cli.test_keep import run, tank
from click.testing import Result

from lightdose import analyse, read_setup
from lightdose.errors import OutputError
from lightdose.files.adopting import adopt_site, adopt_values

__all__ = ["tank"]


@pytest.mark.identity
@pytest.mark.parametrize("end", ["\n", "\r\n"])
def test_only_the_wanted_value_changes(tmp_path: Path, end: str) -> None:
    """Comments, spaces, line ends and a byte order mark stay; quotes of either kind are taken."""
    path = tmp_path / "setup.toml"
    text = '# "schedule"\n[[fixture]]\nschedule  = \'a "b".csv\'   # "old"\nname = "x"\n'
    text += '[[fixture]]\nschedule = "b\\\\c.csv"\n'
    path.write_bytes(b"\xef\xbb\xbf" + text.replace("\n", end).encode())
    adopt_values(path, {("fixture", 0, "schedule"): "neu/ü.csv", ("fixture", 1, "schedule"): "d.csv"})
    wanted = text.replace("'a \"b\".csv'", '"neu/ü.csv"').replace('"b\\\\c.csv"', '"d.csv"')
    assert path.read_bytes() == b"\xef\xbb\xbf" + wanted.replace("\n", end).encode()


@pytest.mark.identity
@pytest.mark.parametrize(
    "value",
    ['{ "blue 450" = [["08:00", 0], ["18:00", 0]] }', '"""a\n.csv"""', "3"],
    ids=["table", "long", "number"],
)
def test_what_is_written_otherwise_is_left_alone(tmp_path: Path, value: str) -> None:
    """The cure names the way by hand, and the file keeps its bytes."""
    path = tmp_path / "setup.toml"
    path.write_text(f"[[fixture]]\nschedule = {value}\n", encoding="utf-8")
    before = path.read_bytes()
    with pytest.raises(OutputError, match="nothing was changed"):
        adopt_values(path, {("fixture", 0, "schedule"): "d.csv"})
    assert path.read_bytes() == before


@pytest.mark.identity
@pytest.mark.parametrize("row", ["hammer;soft;sand", '"hammer";"soft";"sand"'])
def test_site_in_a_corals_file_is_one_cell(tmp_path: Path, row: str) -> None:
    """The other rows keep their bytes; a coral that stands by its own place is told."""
    (tmp_path / "setup.toml").write_text('corals = "corals.csv"\n', encoding="utf-8")
    corals = tmp_path / "corals.csv"
    corals.write_text(f"# mine\ncoral;group;site\n{row}\nother;soft;sand\n", encoding="utf-8")
    adopt_site(tmp_path / "setup.toml", "hammer", "ridge")
    assert corals.read_text(encoding="utf-8") == (
        f"# mine\ncoral;group;site\n{row.replace('sand', 'ridge')}\nother;soft;sand\n"
    )
    with pytest.raises(OutputError, match="no site of its own"):
        adopt_site(tmp_path / "setup.toml", "stranger", "ridge")


@pytest.mark.identity
def test_tuned_programme_is_taken_over_and_kept(tank: Path) -> None:
    """The setup then gives the doses that tune promised; the state before is in the diary too."""
    day = tank / "day-1.csv"
    day.write_text(day.read_text(encoding="utf-8").replace("40,40,20", "64,64,32"), encoding="utf-8")
    words = ("tune", tank, "--blue-only", "--change", "channels", "-o", tank / "tuned", "--keep", "--json")
    done = run(*words)
    assert done.exit_code == 0, done.stderr
    told = json.loads(done.stdout)
    got = {v.coral: v.dli_mol_m2_d for v in analyse(read_setup(tank), certainty=False).verdicts}
    assert got == pytest.approx({c["coral"]: c["after"]["dli_mol_m2_d"] for c in told["corals"]}, rel=1e-9)
    if told["schedules"][0]["file"] is None:
        pytest.skip("tune left the tank as it is")
    assert told["kept"]["kept"]["why"] == "tune"
    assert told["kept"]["before"]["why"] == ""
    first = read_setup(f"{tank}@{told['kept']['before']['date']}-1")
    before = {v.coral: v.dli_mol_m2_d for v in analyse(first, certainty=False).verdicts}
    was = {c["coral"]: c["before"]["dli_mol_m2_d"] for c in told["corals"]}
    assert before == pytest.approx(was, rel=1e-9)


@pytest.mark.identity
def test_first_step_is_taken_over(tank: Path) -> None:
    """acclimate to another programme of the same setup: today runs the first step."""
    brighter = tank / "brighter.csv"
    brighter.write_text(
        (tank / "day-1.csv").read_text(encoding="utf-8").replace("40,40,20", "80,80,40"), encoding="utf-8"
    )
    words = ("acclimate", tank, tank, "--schedule", brighter, "-o", tank / "steps", "--keep", "--json")
    done = run(*words)
    assert done.exit_code == 0, done.stderr
    told = json.loads(done.stdout)
    doses = {
        s.name: d for s, d in zip(read_setup(tank).sites, analyse(read_setup(tank)).dose.dli, strict=False)
    }
    for site, dose in told["steps"][0]["dli_mol_m2_d"].items():
        assert doses[site] == pytest.approx(dose, rel=1e-9)


@pytest.mark.identity
def test_moved_coral_stands_at_the_first_step(tank: Path) -> None:
    """The coral's site in the setup, and a move in the diary."""
    setup = tank / "setup.toml"
    text = setup.read_text(encoding="utf-8")
    free = '[[site]]\nname = "free"\nat = { x = "26 cm", y = "21 cm", depth = "11 cm" }\n'
    setup.write_text(text + free, encoding="utf-8")
    done = run("move", tank, "blue tip", "--to", "free", "--keep")
    assert done.exit_code == 0, done.stderr
    assert "moved: blue tip from ridge to free" in done.stdout
    assert "Next: lightdose dose" in done.stdout
    assert "change its site" not in done.stdout
    assert "next step" not in done.stdout
    assert next(c.site for c in read_setup(tank).corals if c.name == "blue tip") == "free"


def brighter_plan(tank: Path, factor: int = 2) -> Path:
    """A schedule of the tank, so many times as bright."""
    text = (tank / "day-1.csv").read_text(encoding="utf-8")
    plan = tank / "brighter.csv"
    plan.write_text(text.replace("40,40,20", f"{factor * 40},{factor * 40},{factor * 20}"), encoding="utf-8")
    return plan


def files_of(tank: Path) -> dict[str, bytes]:
    return {str(p.relative_to(tank)): p.read_bytes() for p in tank.rglob("*") if p.is_file()}


def doses_of(tank: Path) -> dict[str, float]:
    return {v.coral: v.dli_mol_m2_d for v in analyse(read_setup(tank), certainty=False).verdicts}


def days_later(tank: Path, days: int) -> None:
    """Date every kept state so many days earlier."""
    states = tank / "diary" / "states.csv"
    head, *rows = states.read_text(encoding="utf-8").splitlines()
    back = datetime.timedelta(days=days)
    rows = [f"{datetime.date.fromisoformat(row[:10]) - back}{row[10:]}" for row in rows]
    states.write_text("\n".join([head, *rows]) + "\n", encoding="utf-8")


def in_days(days: int) -> str:
    return (datetime.date.today() + datetime.timedelta(days=days)).isoformat()


def free_sites(tank: Path) -> None:
    """Stepping stones from the ridge upwards, each some 8 % brighter than the one before."""
    setup = tank / "setup.toml"
    sites = (("one", "9.2 cm"), ("two", "8.4 cm"), ("three", "7.6 cm"))
    more = [
        f'[[site]]\nname = "{name}"\nat = {{ x = "25 cm", y = "20 cm", depth = "{depth}" }}\n'
        for name, depth in sites
    ]
    setup.write_text(setup.read_text(encoding="utf-8") + "".join(more), encoding="utf-8")


def acclimates(tank: Path, folder: str, *more: str) -> Result:
    words = ("acclimate", tank, tank, "--schedule", tank / "brighter.csv", "-o", tank / folder, "--keep")
    return run(*words, *more)


@pytest.mark.identity
@pytest.mark.parametrize("days", [7, 3, 14])
def test_second_step_waits_for_its_day(tank: Path, days: int) -> None:
    """acclimate --keep twice in a step's time: the second is refused, names the day, and writes nothing."""
    brighter_plan(tank)
    start = doses_of(tank)
    done = acclimates(tank, "first", "--days", str(days), "--json")
    assert json.loads(done.stdout)["kept"]["next_step"] == in_days(days)
    first = files_of(tank)
    for age in (0, days - 1):
        days_later(tank, age)
        before = files_of(tank)
        again = acclimates(tank, "second", "--days", str(days))
        assert again.exit_code == 2
        assert again.stderr.count("mend it") == 1
        assert "states.csv" in again.stderr
        assert f"due on {in_days(days - age)}" in again.stderr
        assert files_of(tank) == before
    assert first.keys() == before.keys()
    days_later(tank, 1)
    assert acclimates(tank, "second", "--days", str(days)).exit_code == 0
    growth = 1.1 ** (2 * days / 7)
    rose = max(dose / start[name] for name, dose in doses_of(tank).items())
    assert 0.98 * growth < rose < growth + 1e-6  # levels are rounded so that no coral outruns the limit


@pytest.mark.identity
def test_second_move_waits_for_its_day(tank: Path) -> None:
    """move --keep twice in a week is refused; on the day it is due it goes on."""
    free_sites(tank)
    words = ("move", tank, "blue tip", "--to", "three", "--keep")
    done = run(*words)
    assert f"The next step is due on {in_days(7)}" in done.stdout
    assert "change its site" not in done.stdout
    before = files_of(tank)
    again = run(*words)
    assert (again.exit_code, again.stdout) == (2, "")
    assert f"due on {in_days(7)}" in again.stderr
    assert files_of(tank) == before
    days_later(tank, 7)
    assert run(*words).exit_code == 0


@pytest.mark.identity
def test_rises_of_different_commands_add_up(tank: Path) -> None:
    """A move, then acclimate or tune within the week: refused, until the week is over."""
    free_sites(tank)
    brighter_plan(tank)
    start = doses_of(tank)["blue tip"]
    assert run("move", tank, "blue tip", "--to", "three", "--keep").exit_code == 0
    rise = 100 * (doses_of(tank)["blue tip"] / start - 1)
    days_later(tank, 2)
    before = files_of(tank)
    refused = acclimates(tank, "steps")
    assert refused.exit_code == 2
    assert f"'blue tip' gets {rise:.0f} % more light than up to {in_days(-2)}" in refused.stderr
    assert f"due on {in_days(5)}" in refused.stderr
    assert files_of(tank) == before
    days_later(tank, 5)
    assert acclimates(tank, "steps").exit_code == 0


@pytest.mark.identity
def test_tune_waits_where_corals_rose_within_the_week(tank: Path) -> None:
    """What tune takes over alone is refused where the corals had risen by hand two days before."""
    day = tank / "day-1.csv"
    text = day.read_text(encoding="utf-8")
    setup = tank / "setup.toml"
    day.write_text(text.replace("40,40,20", "60,60,30"), encoding="utf-8")
    run("keep", tank, "--date", in_days(-30))
    day.write_text(text.replace("40,40,20", "64,64,32"), encoding="utf-8")
    words = ("tune", tank, "--blue-only", "--change", "channels", "-o", tank / "tuned", "--keep")
    run("keep", tank, "--date", in_days(-2))
    before = files_of(tank)
    done = run(*words)
    assert done.exit_code == 2
    assert f"take it over from {in_days(5)} on" in done.stderr
    assert files_of(tank) == before
    days_later(tank, 5)
    done = run(*words)
    assert done.exit_code == 0, done.stderr
    assert "tuned" in setup.read_text(encoding="utf-8")
    assert "set schedule" not in done.stdout
    assert done.stdout.count("Next:") == 1


@pytest.mark.identity
def test_tune_takes_over_no_change_that_it_calls_too_big(tank: Path) -> None:
    """More than 25 % up at once is refused with --keep, and nothing is written."""
    day = tank / "day-1.csv"
    day.write_text(day.read_text(encoding="utf-8").replace("40,40,20", "4,4,2"), encoding="utf-8")
    before = files_of(tank)
    words = ("tune", tank, "-o", tank / "tuned")
    done = run(*words, "--keep")
    assert (done.exit_code, done.stdout) == (2, "")
    assert "too big a change for one day" in done.stderr
    assert files_of(tank) == before
    assert "Too big a change for one day" in run(*words).stdout


@pytest.mark.identity
def test_another_coral_and_a_step_down_need_not_wait(tank: Path) -> None:
    """Each coral has a week of its own, and less light passes on the same day."""
    free_sites(tank)
    setup = tank / "setup.toml"
    lower = '[[site]]\nname = "lower"\nat = { x = "40 cm", y = "12 cm", depth = "32.2 cm" }\n'
    setup.write_text(setup.read_text(encoding="utf-8") + lower, encoding="utf-8")
    assert run("move", tank, "blue tip", "--to", "two", "--keep").exit_code == 0
    other = run("move", tank, "hammer", "--to", "lower", "--keep")
    assert other.exit_code == 0, other.stderr
    back = run("move", tank, "blue tip", "--to", "ridge", "--keep")
    assert back.exit_code == 0, back.stderr


@pytest.mark.identity
def test_state_that_cannot_be_read_is_told(tank: Path) -> None:
    """A kept file that was changed since leaves the step unchecked against it, and the answer says so."""
    brighter_plan(tank)
    run("keep", tank, "--date", in_days(-2))
    for file in (tank / "diary").glob("20*/setup.toml"):
        file.write_text("changed", encoding="utf-8")
    done = acclimates(tank, "steps")
    assert done.exit_code == 0, done.stderr
    assert f"Not checked against the light of {in_days(-2)}" in done.stdout


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("tune", "TANK", "--keep"), "add -o DIR"),
        (("tune", "TANK", "--fixture-height", "30 cm", "-o", "x", "--keep"), "as its files say"),
        (("acclimate", "TANK", "TANK", "-o", "x", "--start", "2030-01-01", "--keep"), "leave --start out"),
        (("acclimate", "TANK", "OTHER", "-o", "x", "--keep"), "one setup"),
        (("move", "TANK", "hammer", "--to", "ridge", "--start", "2030-01-01", "--keep"), "leave --start out"),
    ],
)
def test_what_is_not_of_today_is_not_taken_over(tank: Path, words: tuple[str, ...], says: str) -> None:
    """Refused before anything is written."""
    done = run(
        *(str(tank) if w == "TANK" else str(tank / "other.toml") if w == "OTHER" else w for w in words)
    )
    assert done.exit_code == 2
    assert says in done.stderr
    assert not (tank / "diary").exists()
