"""`--keep`: single values are taken over into the setup, and both states stand in the diary."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from cli.test_keep import run, tank

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
    assert next(c.site for c in read_setup(tank).corals if c.name == "blue tip") == "free"


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
