"""`lightdose place`: what it writes is what `dose` then gives, and what it refuses."""

from __future__ import annotations

import csv
import json
import re
import shutil
from pathlib import Path
from typing import Any, get_args

import pytest
from click.testing import CliRunner, Result

from lightdose.cli import cli
from lightdose.files.csv_text import Dialect
from lightdose.files.setup_file import read_setup
from lightdose.model.setup import Setup

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"


@pytest.fixture
def tank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the example; the working folder is its parent."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "tank" / "setup.toml"


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, words)


def answer(*words: str) -> Any:
    done = run(*words, "--json", "--quiet")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


def use_corals_csv(tank: Path, named: str) -> None:
    """The setup with `corals = ...` instead of its [[coral]] tables."""
    text = tank.read_text(encoding="utf-8")
    text = re.sub(r"\[\[coral\]\]\n(?:[a-z_]+ = .*\n)+", "", text)
    assert "[[coral]]" not in text
    tank.write_text(text.replace("title =", f'corals = "{named}"\ntitle =', 1), encoding="utf-8")


@pytest.mark.identity
@pytest.mark.parametrize("dialect", get_args(Dialect))
@pytest.mark.parametrize("grid", [[], ["--grid", "5 cm", "--depth", "20 cm", "--depth", "35 cm"]])
def test_dose_on_the_written_corals_gives_the_promised_numbers(
    tank: Path, grid: list[str], dialect: str
) -> None:
    """-o writes a corals.csv; `dose` on a setup that names it gives the promised doses and states."""
    promised = answer("place", str(tank), "--all", *grid, "-o", "tank/placed.csv", "--csv-dialect", dialect)
    assert promised["format"] == "lightdose-place/1"
    assert promised["unplaced"] == []
    use_corals_csv(tank, "placed.csv")
    run("dose", str(tank), "--csv", "doses.csv", "--quiet")
    with Path("doses.csv").open(encoding="utf-8", newline="") as file:
        got = {r["coral"]: r for r in csv.DictReader(file) if r["coral"]}
    for coral in promised["corals"]:
        row = got[coral["coral"]]
        assert float(row["dli_mol_m2_d"]) == pytest.approx(coral["dli_mol_m2_d"], rel=1e-9)
        assert row["dli_state"] == coral["dli_state"]
        assert float(row["x_m"]) == pytest.approx(coral["x_m"])
        assert float(row["depth_m"]) == pytest.approx(coral["depth_m"])


@pytest.mark.identity
def test_written_corals_keep_wishes_and_those_without_a_place(tank: Path) -> None:
    """pinned, on and keep_apart come back from corals.csv; a coral that finds no place keeps its row."""
    with tank.open("a", encoding="utf-8") as file:
        file.write('[[coral]]\nname = "new one"\ngroup = "zoanthid"\non = "rock"\nkeep_apart = "90 cm"\n')
    before = read_setup(tank)
    assert run("place", str(tank), "-o", "tank/placed.csv", "--quiet").exit_code == 0
    use_corals_csv(tank, "placed.csv")
    after = read_setup(tank)

    def wishes(setup: Setup) -> dict[str, tuple[object, ...]]:
        corals = setup.corals + setup.unplaced
        return {c.name: (c.group, c.pinned, c.on, c.keep_apart_m, bool(c.site)) for c in corals}

    assert wishes(after) == wishes(before)
    assert any(c.pinned for c in after.corals)
    assert [c.name for c in after.unplaced] == ["new one"]
    assert "1 coral has no place yet" in run("dose", str(tank)).stdout


@pytest.mark.identity
def test_placement_is_proven_and_better_than_today(tank: Path) -> None:
    """On the example: proven best, pinned coral in place, penalty less and no fewer within."""
    found = answer("place", str(tank), "--all")
    assert found["proven_optimal"] is True
    by_name = {c["coral"]: c for c in found["corals"]}
    assert by_name["branching hammer"]["pinned"] is True
    assert by_name["branching hammer"]["site"] == "slope"
    assert len({c["site"] for c in found["corals"]}) == len(found["corals"])
    assert found["penalty"]["after"] < found["penalty"]["before"]
    assert found["counts"]["after"]["within"] >= found["counts"]["before"]["within"]


@pytest.mark.identity
@pytest.mark.parametrize("most", [0, 1, 2])
def test_no_more_corals_move_than_asked(tank: Path, most: int) -> None:
    """--moves N; with 0 all stay, and each coral tells how far it moves."""
    found = answer("place", str(tank), "--moves", str(most))
    moving = [c for c in found["corals"] if c["moved_m"] > 0]
    assert len(moving) <= most
    assert all((c["site"] != c["before"]["site"]) == (c in moving) for c in found["corals"])


@pytest.mark.identity
def test_one_coral_is_placed_and_all_others_stay(tank: Path) -> None:
    """--coral: only that one may move; three places at most, with neighbours and steps."""
    found = answer("place", str(tank), "--coral", "meat coral")
    assert {c["coral"] for c in found["corals"] if c["moved_m"] > 0} <= {"meat coral"}
    (asked,) = [c for c in found["corals"] if c["best_places"]]
    assert asked["coral"] == "meat coral"
    assert 1 <= len(asked["best_places"]) <= 3
    assert {"site", "dli_mol_m2_d", "dli_state", "neighbours", "steps"} <= asked["best_places"][0].keys()


@pytest.mark.identity
def test_apart_and_not_beside_hold_in_the_answer(tank: Path) -> None:
    """Two corals named by --not-beside end at least --beside apart; --apart holds for all."""
    pair = ("plating cap", "flower pot")
    found = answer(
        "place", str(tank), "--all", "--grid", "4 cm", "--depth", "25 cm", "--apart", "6 cm",
        "--not-beside", "=".join(pair), "--beside", "30 cm",
    )  # fmt: skip
    at = {c["coral"]: (c["x_m"], c["y_m"]) for c in found["corals"]}
    assert found["unplaced"] == []

    def gap(a: str, b: str) -> float:
        return float(((at[a][0] - at[b][0]) ** 2 + (at[a][1] - at[b][1]) ** 2) ** 0.5)

    names = list(at)
    assert min(gap(a, b) for i, a in enumerate(names) for b in names[i + 1 :]) >= 0.06 - 1e-9
    assert gap(*pair) >= 0.30 - 1e-9


@pytest.mark.identity
def test_csv_holds_the_numbers_of_json_in_each_dialect(tank: Path) -> None:
    """--csv and --json agree on every dose, and a Table Schema lies beside."""
    found = answer("place", str(tank), "--csv", "plain.csv")
    run("place", str(tank), "--csv", "eu.csv", "--csv-dialect", "excel-eu", "--quiet")
    plain = [line.split(",") for line in Path("plain.csv").read_text(encoding="utf-8").splitlines()]
    european = [
        line.replace(",", ".").split(";")
        for line in Path("eu.csv").read_text(encoding="utf-8-sig").splitlines()
    ]
    column = plain[0].index("dli_mol_m2_d")
    expected = [c["dli_mol_m2_d"] for c in found["corals"]]
    assert [float(r[column]) for r in plain[1:]] == expected
    assert [float(r[column]) for r in european[1:]] == expected
    schema = json.loads(Path("plain.schema.json").read_text(encoding="utf-8"))
    assert [f["name"] for f in schema["fields"]] == plain[0]


@pytest.mark.pinned
def test_words_say_what_moves_and_end_with_the_verdict(tank: Path) -> None:
    """How many may move, the proof, and the verdict last."""
    done = run("place", str(tank), "--quiet")
    lines = done.stdout.splitlines()
    assert "At most 3 corals may move; --all re-places all." in done.stdout
    assert "none is better" in done.stdout
    assert "(before: 6, 2 undecided)" in lines[-1]
    assert run("place", str(tank), "--strict", "--quiet").exit_code == 3


@pytest.mark.identity
def test_figure_is_written_the_same_each_time(tank: Path) -> None:
    """SVG and PNG, byte for byte."""
    for folder in ("one", "two"):
        assert run("place", str(tank), "--figures", folder, "--quiet").exit_code == 0
    for form in ("svg", "png"):
        assert Path(f"one/placement.{form}").read_bytes() == Path(f"two/placement.{form}").read_bytes()


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (["--pin", "staghorn frg=ridge"], "did you mean 'staghorn frag'?"),
        (["--pin", "plating cap=rigde"], "did you mean 'ridge'?"),
        (["--pin", "plating cap=ridge", "--pin", "plating cap=shelf"], "pinned twice"),
        (["--pin", "plating cap=ridge", "--pin", "flower pot=ridge"], "pinned to one place"),
        (["--pin", "branching hammer=ridge"], "pinned twice"),
        (["--pin", "plating cap"], "is not CORAL=SITE"),
        (["--grid", "5 cm"], "--grid needs a depth"),
        (["--depth", "5 cm"], "add --grid"),
        (["--grid", "5 cm", "--depth", "55 cm"], "outside the water"),
        (["--grid", "0.5", "--depth", "5 cm"], 'write "0.5 m" or "0.5 cm"'),
        (["--apart", "0 cm"], "not above 0"),
        (["--all", "--moves", "2"], "choose one"),
        (["--moves", "12"], "up to 9"),
        (["--coral", "meat corl"], "did you mean 'meat coral'?"),
        (["--coral", "branching hammer"], "is pinned"),
        (["--moves", "-1"], "-1"),
    ],
)
def test_bad_input_ends_in_a_sentence_and_writes_nothing(tank: Path, words: list[str], hint: str) -> None:
    """Exit 2, the hint, no file."""
    done = run("place", str(tank), *words, "--csv", "out.csv", "-o", "out2.csv", "--figures", "figures")
    assert done.exit_code == 2
    assert hint in " ".join(done.stderr.split())
    assert not any(Path(name).exists() for name in ("out.csv", "out2.csv", "figures"))


@pytest.mark.identity
def test_names_with_equals_signs_are_parted_where_both_sides_are_known(tank: Path) -> None:
    """A coral called "a=b" can be pinned."""
    text = tank.read_text(encoding="utf-8").replace('"plating cap"', '"a=b"')
    tank.write_text(text, encoding="utf-8")
    found = answer("place", str(tank), "--pin", "a=b=shelf")
    assert next(c["site"] for c in found["corals"] if c["coral"] == "a=b") == "shelf"


@pytest.mark.pinned
def test_setup_without_corals_is_refused(tank: Path) -> None:
    """Nothing to place: exit 2."""
    text = re.sub(r"\[\[coral\]\]\n(?:[a-z_]+ = .*\n)+", "", tank.read_text(encoding="utf-8"))
    tank.write_text(text, encoding="utf-8")
    done = run("place", str(tank))
    assert done.exit_code == 2
    assert "no corals" in done.stderr
