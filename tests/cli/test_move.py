"""`lightdose move`: its stones are `dose`'s numbers, and what it refuses."""

from __future__ import annotations

import csv
import itertools
import json
import re
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"
STAIR = "".join(
    f'[[site]]\nname = "T{i}"\nat = {{ x = "22 cm", y = "30 cm", depth = "{38 - 2 * i} cm" }}\n\n'
    for i in range(14)
)


@pytest.fixture
def tank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The example with a stair of free sites; the working folder is its parent."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    path = tmp_path / "tank" / "setup.toml"
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("[electricity]", STAIR + "[electricity]"), encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return path


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, words)


def answer(*words: str) -> Any:
    done = run(*words, "--json", "--quiet")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


@pytest.mark.identity
def test_dose_at_every_stone_gives_the_promised_number(tank: Path) -> None:
    """The coral written to each stone in turn gets there what `move` says."""
    way = answer("move", str(tank), "zoanthid plug", "--to", "T13", "--start", "2026-03-01")
    assert way["format"] == "lightdose-move/1"
    assert len(way["steps"]) > 2
    text = tank.read_text(encoding="utf-8")
    for step in way["steps"]:
        tank.write_text(text.replace('site = "A1"', f'site = "{step["site"]}"'), encoding="utf-8")
        sites = {s["site"]: s for s in answer("dose", str(tank))["sites"]}
        assert sites[step["site"]]["dli_mol_m2_d"] == pytest.approx(step["dli_mol_m2_d"], rel=1e-9)
        assert [c["coral"] for c in sites[step["site"]]["corals"]] == ["zoanthid plug"]
    doses = [way["from"]["dli_mol_m2_d"], *(s["dli_mol_m2_d"] for s in way["steps"])]
    assert all(b <= 1.1 * a * (1 + 1e-9) for a, b in itertools.pairwise(doses))
    assert way["steps"][-1]["site"] == "T13"
    assert way["steps"][1]["date"] == "2026-03-08"
    assert way["weeks"] == len(way["steps"]) - 1


@pytest.mark.identity
def test_height_and_open_sky_of_the_coral_count_at_each_stone(tank: Path) -> None:
    """With height and open_sky, `dose` at its top gives the promised number too."""
    text = tank.read_text(encoding="utf-8").replace(
        'site = "A1"', 'site = "A1"\nheight = "3 cm"\nopen_sky = 0.8'
    )
    tank.write_text(text, encoding="utf-8")
    way = answer("move", str(tank), "zoanthid plug", "--to", "T6")
    end = way["steps"][-1]
    tank.write_text(text.replace('site = "A1"', 'site = "T6"'), encoding="utf-8")
    run("dose", str(tank), "--csv", "doses.csv", "--quiet")
    with Path("doses.csv").open(encoding="utf-8", newline="") as file:
        row = next(r for r in csv.DictReader(file) if r["coral"] == "zoanthid plug")
    assert float(row["dli_mol_m2_d"]) == pytest.approx(end["dli_mol_m2_d"], rel=1e-9)


@pytest.mark.pinned
def test_words_hold_the_way_the_shade_and_the_gloves(tank: Path) -> None:
    """Stones in one line, shade and toxin cautions, day numbers without a start, the verdict last."""
    done = run("move", str(tank), "zoanthid plug", "--to", "T13", "--quiet")
    assert done.exit_code == 0, done.stderr
    assert "A1 3.63" in done.stdout
    assert "a week each" in done.stdout
    assert "gloves" in done.stdout
    assert "has no height in the setup" in done.stdout
    assert re.search(r"^ *7 +T", done.stdout, re.MULTILINE)
    assert "At most 10 % a week: common practice, no published rule." in done.stdout
    assert done.stdout.splitlines()[-1].endswith(
        f"Next: after the last step change its site in {tank}, then lightdose dose {tank}"
    )


@pytest.mark.identity
def test_figure_is_written_the_same_each_time(tank: Path) -> None:
    """SVG and PNG, byte for byte."""
    for folder in ("one", "two"):
        done = run("move", str(tank), "zoanthid plug", "--to", "T13", "--figures", folder, "--quiet")
        assert done.exit_code == 0
    for form in ("svg", "png"):
        assert Path(f"one/move.{form}").read_bytes() == Path(f"two/move.{form}").read_bytes()


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "hint"),
    [
        (["zoantid plug", "--to", "T3"], "did you mean 'zoanthid plug'?"),
        (["zoanthid plug", "--to", "lege"], "did you mean 'ledge'?"),
        (["zoanthid plug", "--to", "ledge"], "taken by 'mushroom rock'"),
        (["zoanthid plug", "--to", "A1"], "stands at 'A1' already"),
        (["zoanthid plug", "--to", "T13", "--rise", "0.5"], "lightdose acclimate"),
        (["zoanthid plug", "--to", "T13", "--start", "soon"], "is not a date"),
        (["staghorn frag", "--to", "A2"], "below the floor 4"),
    ],
)
def test_bad_input_ends_in_a_sentence_and_writes_nothing(tank: Path, words: list[str], hint: str) -> None:
    """Exit 2, the hint, no file."""
    done = run("move", str(tank), *words, "--figures", "figures")
    assert done.exit_code == 2
    assert hint in " ".join(done.stderr.split())
    assert not Path("figures").exists()
