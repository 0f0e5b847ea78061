"""`lightdose map`: CSV by contract, JSON, figures, explanations, and what it refuses."""

from __future__ import annotations

import csv
import json
import re
import shutil
from pathlib import Path

import numpy as np
import pytest
from cli.small_tanks import without_rock
from click.testing import CliRunner, Result

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"
HEADER = ["x_cm", "y_cm", "depth_cm", "ppfd_umol_m2_s", "dli_mol_m2_d", "wall_fraction", "floor_fraction"]


@pytest.fixture
def tank(tmp_path: Path) -> Path:
    """A copy of the example without its rock."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    without_rock(tmp_path / "tank" / "setup.toml")
    return tmp_path / "tank" / "setup.toml"


def run(*words: object) -> Result:
    return CliRunner().invoke(cli, ["map", *map(str, words)])


def read_rows(path: Path) -> list[dict[str, float]]:
    with path.open(newline="") as stream:
        return [{k: float(v) for k, v in row.items()} for row in csv.DictReader(stream)]


@pytest.mark.identity
def test_csv_has_the_columns_of_the_contract_and_a_schema(tank: Path, tmp_path: Path):
    """One row a cell, from wall to wall, its centre in centimetres, shares between 0 and 1."""
    target = tmp_path / "light.csv"
    result = run(tank, "--depth", "20 cm", "--cell", "5 cm", "--csv", target)
    assert result.exit_code == 0, result.output
    assert target.read_text().splitlines()[0] == ",".join(HEADER)
    rows = read_rows(target)
    assert len(rows) == 15 * 9
    assert {row["depth_cm"] for row in rows} == {20.0}
    assert sorted({row["x_cm"] for row in rows}) == pytest.approx(np.arange(2.5, 75, 5))
    assert sorted({row["y_cm"] for row in rows}) == pytest.approx(np.arange(2.5, 45, 5))
    assert all(0 <= row["wall_fraction"] + row["floor_fraction"] <= 1 for row in rows)
    assert max(row["wall_fraction"] for row in rows) > 0.3
    assert all(0 < row["floor_fraction"] < 0.2 for row in rows)
    schema = json.loads(target.with_suffix(".schema.json").read_text())
    assert [f["name"] for f in schema["fields"]] == HEADER
    assert "135 rows" in result.stderr


@pytest.mark.identity
def test_cell_agrees_with_dose_at_a_site_there(tank: Path, tmp_path: Path):
    """The cell's DLI and daily peak are those of an open site at its centre."""
    target = tmp_path / "light.csv"
    run(tank, "--depth", "13 cm", "--cell", "5 cm", "--csv", target)
    cells = [
        row for row in read_rows(target) if row["x_cm"] in (2.5, 37.5, 72.5) and row["y_cm"] in (2.5, 42.5)
    ]
    assert len(cells) == 6
    text = tank.read_text()
    for i, row in enumerate(cells):
        text += (
            f'\n[[site]]\nname = "cell {i}"\n'
            f'at = {{ x = "{row["x_cm"]} cm", y = "{row["y_cm"]} cm", depth = "13 cm" }}\n'
        )
    tank.write_text(text)
    answer = json.loads(CliRunner().invoke(cli, ["dose", str(tank), "--json"]).stdout)
    sites = {site["site"]: site for site in answer["sites"]}
    for i, row in enumerate(cells):
        site = sites[f"cell {i}"]
        assert row["dli_mol_m2_d"] == pytest.approx(site["dli_mol_m2_d"], rel=1e-6)
        assert row["ppfd_umol_m2_s"] == pytest.approx(site["peak_ppfd_umol_m2_s"], rel=1e-6)


@pytest.mark.identity
def test_symmetric_tank_gives_a_symmetric_map(tank: Path, tmp_path: Path):
    """One fixture in the middle of alike walls: mirrored left to right and front to back."""
    text = tank.read_text().replace('back = "painted"', 'back = "clean"')
    text = text.replace('x = "20 cm", y = "22 cm"', 'x = "37.5 cm", y = "22.5 cm"')
    text = re.sub(r'(name = "right"\n)', r"\1enabled = false\n", text)
    tank.write_text(re.sub(r"(?m)^(diameter|growth) = .*\n", "", text))  # no colony casts a shade
    target = tmp_path / "light.csv"
    assert run(tank, "--depth", "20 cm", "--cell", "5 cm", "--csv", target).exit_code == 0
    rows = read_rows(target)
    for name in HEADER[3:]:
        grid = np.array([row[name] for row in rows]).reshape(9, 15)
        np.testing.assert_allclose(grid, grid[:, ::-1], rtol=1e-9)
        np.testing.assert_allclose(grid, grid[::-1], rtol=1e-9)


@pytest.mark.identity
def test_means_of_samples_approach_the_finer_map(tank: Path, tmp_path: Path):
    """2 x 2 samples of 10 cm cells are the points of the 5 cm map, averaged."""
    fine, coarse = tmp_path / "fine.csv", tmp_path / "coarse.csv"
    tank.write_text(
        tank.read_text().replace('length = "75 cm"', 'length = "80 cm"').replace('"45 cm"', '"40 cm"')
    )
    run(tank, "--depth", "25 cm", "--cell", "5 cm", "--csv", fine)
    run(tank, "--depth", "25 cm", "--cell", "10 cm", "--samples", 2, "--csv", coarse)
    values = np.array([row["dli_mol_m2_d"] for row in read_rows(fine)]).reshape(4, 2, 8, 2)
    means = np.array([row["dli_mol_m2_d"] for row in read_rows(coarse)]).reshape(4, 8)
    np.testing.assert_allclose(means, values.mean(axis=(1, 3)), rtol=1e-6)


@pytest.mark.identity
def test_json_holds_the_numbers_of_the_csv(tank: Path, tmp_path: Path):
    """Level and upright slices, row by row; every group's share of each."""
    target = tmp_path / "light.csv"
    words = (tank, "--depth", "20 cm", "--from-front", "22 cm", "--from-left", "30 cm", "--cell", "5 cm")
    answer = json.loads(run(*words, "--csv", target, "--json", "--quiet", "--group", "soft").stdout)
    assert answer["format"] == "lightdose-map/1"
    assert [(s["plane"], s["at_m"]) for s in answer["slices"]] == [
        ("depth", 0.2), ("from_front", 0.22), ("from_left", 0.3),
    ]  # fmt: skip
    rows = read_rows(target)
    for key, column in (("dli_mol_m2_d", "dli_mol_m2_d"), ("ppfd_umol_m2_s", "ppfd_umol_m2_s")):
        flat = [value for s in answer["slices"] for row in s[key] for value in row]
        assert flat == [row[column] for row in rows]
    (group,) = answer["groups"]
    low, high = group["band_dli"]
    for part, share in zip(answer["slices"], group["area_fraction"], strict=True):
        dli = np.array(part["dli_mol_m2_d"])
        assert share == pytest.approx(np.mean((dli >= low) & (dli <= high)))
    assert (len(answer["slices"][1]["depth_m"]), len(answer["slices"][1]["x_m"])) == (8, 15)


@pytest.mark.pinned
def test_words_say_where_and_how_much_room_each_group_has(tank: Path):
    """Without --json or --csv: one row a slice and a group, ASCII, the choice of depths said."""
    result = run(tank, "--cell", "5 cm", "--quiet")
    assert result.exit_code == 0
    assert result.stdout.isascii()
    lines = result.stdout.splitlines()
    assert lines[1] == "depths not named: the shallowest, the middle and the deepest coral"
    slices = [re.split("  +", line) for line in lines if line.startswith("depth ")]
    assert len(slices) == 3
    assert all(len(cells) == 8 and "%" in cells[6] for cells in slices)
    head = next(n for n, line in enumerate(lines) if line.startswith("group "))
    groups = [re.split("  +", line) for line in lines[head + 3 : lines.index("", head)]]
    assert len(groups) == 9
    assert all(len(cells) == 2 + 3 for cells in groups)
    assert lines[-1].startswith("8 of 9 groups would find usual light on these slices. Next: lightdose map ")


@pytest.mark.identity
def test_imperial_shows_inches(tank: Path):
    """Depths and places in inches; the numbers of light stay."""
    metric = run(tank, "--depth", "10 in", "--cell", "5 cm").stdout
    imperial = run(tank, "--depth", "10 in", "--cell", "5 cm", "--imperial").stdout
    figures = r" +([\d.]+ +[\d.]+ +[\d.]+) "
    inches = re.findall(f"^depth 10 in{figures}", imperial, re.M)
    assert len(inches) == 1
    assert inches == re.findall(f"^depth 25.4 cm{figures}", metric, re.M)


@pytest.mark.identity
def test_figures_are_written_twice_alike(tank: Path, tmp_path: Path):
    """A figure a slice as SVG and PNG; two runs give the same bytes; the side view comes with the default."""
    for folder in ("one", "two"):
        result = run(tank, "--cell", "5 cm", "-o", tmp_path / folder, "--group", "mushroom")
        assert result.exit_code == 0, result.output
    names = sorted(path.name for path in (tmp_path / "one").iterdir())
    assert len(names) == 8
    assert "map-15-cm-from-the-front.svg" in names
    for name in names:
        assert (tmp_path / "one" / name).read_bytes() == (tmp_path / "two" / name).read_bytes(), name
        assert f"{tmp_path / 'two' / name}, " in result.stderr


@pytest.mark.identity
@pytest.mark.parametrize("name", ["sand left", "open brain", "branching hammer", "ledge"])
def test_explanation_adds_up_and_agrees_with_dose(name: str):
    """Shares of ways, fixtures and channels each add to one; the light is the light of dose."""
    setup = str(EXAMPLE / "setup.toml")
    why = json.loads(run(setup, "--explain", name, "--json").stdout)
    assert why["format"] == "lightdose-map-explain/1"
    assert sum(why["part_share"].values()) == pytest.approx(1)
    assert sum(f["share"] for f in why["fixtures"]) == pytest.approx(1)
    assert sum(c["share"] for c in why["channels"]) == pytest.approx(1)
    assert sum(c["dli_mol_m2_d"] for c in why["channels"]) == pytest.approx(why["dli_mol_m2_d"])
    assert why["mean_path_m"] >= why["depth_m"]
    assert 0.02 < why["surface_loss_fraction"] < 0.2
    assert why["absorbed_fraction"]["red"] > why["absorbed_fraction"]["blue"]
    answer = json.loads(CliRunner().invoke(cli, ["dose", setup, "--json"]).stdout)
    doses = {s["site"]: s["dli_mol_m2_d"] for s in answer["sites"]}
    doses |= {c["coral"]: c["dli_mol_m2_d"] for s in answer["sites"] for c in s["corals"]}
    assert why["dli_mol_m2_d"] == pytest.approx(doses[name], rel=1e-6)


@pytest.mark.identity
def test_explanation_of_any_place_names_the_walls():
    """A corner of clear panes gets most of its light by them; both are named, the far ones are not first."""
    result = run(EXAMPLE / "setup.toml", "--explain-at", "74 cm", "1 cm", "39 cm")
    assert result.exit_code == 0
    assert result.stdout.isascii()
    lines = result.stdout.splitlines()
    rows = dict(line[2:].split(": ", 1) for line in lines if line.startswith("- "))
    assert {"straight", "walls", "floor", "way in water", "surface", "water", "fixture right"} <= set(rows)
    assert re.search(r"comes by the walls: .*front pane.*right pane", rows["walls"])
    assert int(rows["walls"].split(" %")[0]) > 50


@pytest.mark.identity
def test_place_with_and_without_units_is_one_place():
    """A bare number is centimetres, as in --air of `meter`; each length as it likes."""
    told = [
        json.loads(run(EXAMPLE / "setup.toml", "--explain-at", *words, "--json").stdout)
        for words in (("74 cm", "1 cm", "39 cm"), ("74", "1", "39"), ("0,74 m", "1", "390 mm"))
    ]
    assert told[0] == told[1] == told[2]


@pytest.mark.identity
def test_group_may_be_a_genus(tank: Path):
    """`--group Acropora` outlines its group, as in `estimate`; a trade name is told how it is read."""
    words = (tank, "--depth", "20 cm", "--cell", "15 cm", "--json")
    keys = ("acropora", "sps-shallow", "staghorn")
    found = [json.loads(run(*words, "--group", key).stdout) for key in keys]
    assert found[0]["groups"] == found[1]["groups"] == found[2]["groups"]
    told = [any("staghorn: read as Acropora" in note for note in one["notes"]) for one in found]
    assert told == [False, False, True]


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--depth", "50 cm"], "--depth 50 cm is outside the water"),
        (["--from-left", "80 cm", "--from-front", "46 cm"], "2 problems"),
        (["--depth", "0.2"], 'write "0.2 m" or "0.2 cm"'),
        (["--cell", "0 cm"], '"0 cm" is not above 0'),
        (["--cell", "0.1 mm"], "at most 250000 cells"),
        (
            ["--fixture-height", "-2 cm"],
            '--fixture-height "-2 cm" is not above the water\n    allowed: above 0',
        ),
        (["--fixture-height", "30 m"], '--fixture-height "30 m" is outside the range'),
        (["--group", "mushrom"], "did you mean mushroom?"),
        (["--group", "non-photosynthetic"], "light does not judge it"),
        (["--explain", "sand lft"], "did you mean sand left?"),
        (["--explain-at", "80 cm", "1 cm", "60 cm"], "2 problems"),
        (["--explain-at", "0.7", "0.2", "0.3"], 'write "0.7 m", "0.2 m", "0.3 m" or "0.7 cm"'),
        (["--explain", "ridge", "-o", "maps"], "stand alone"),
        (["-o", "map.png"], "name a folder"),
        (["--samples", "40"], "1<=x<=32"),
    ],
)
def test_what_cannot_be_mapped_gets_a_sentence(words: list[str], sentence: str, tmp_path: Path, monkeypatch):
    """Exit code 2, what was found and how to mend it, nothing written."""
    monkeypatch.chdir(tmp_path)
    result = run(EXAMPLE / "setup.toml", *words)
    assert result.exit_code == 2
    assert sentence in result.output
    assert list(tmp_path.iterdir()) == []


@pytest.mark.identity
def test_help_states_assumptions_and_limits():
    """What the light field leaves out stands in the help."""
    text = " ".join(run("--help").output.split())
    for words in (
        "flat, level receiver", "no ripples", "no particles scatter", "Shade by rock", "open_sky",
        "no rear chambers", "no curved panes", "no random effects of weather", "above the water",
    ):  # fmt: skip
        assert words in text, words


@pytest.mark.identity
def test_tank_without_light_is_mapped_as_dark(tank: Path, tmp_path: Path):
    """All fixtures off: zeros, empty shares, a figure, and an explanation that says so."""
    tank.write_text(re.sub(r'(schedule = "schedules/\w+.csv"\n)', r"\1enabled = false\n", tank.read_text()))
    target = tmp_path / "dark.csv"
    result = run(tank, "--depth", "20 cm", "--cell", "15 cm", "--csv", target, "-o", tmp_path / "maps")
    assert result.exit_code == 0, result.output
    assert target.read_text().splitlines()[1] == "7.5,7.5,20.0,0.0,0.0,,"
    assert "depth 20 cm: DLI 0 mol/m2/day, no light comes here" in result.stdout
    assert "brightest" not in result.stdout
    assert "no light comes here" in run(tank, "--explain", "ridge").stdout
