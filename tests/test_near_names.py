"""Near names: as good as comparing with every known name, for bounded work."""

from __future__ import annotations

import difflib
import random
from pathlib import Path
from typing import Any

import pytest
from cli.small_tanks import write_tank

from lightdose.errors import LightdoseError
from lightdose.files.input_files import MOST_SUGGESTIONS
from lightdose.files.readings_csv import MOST_PROBLEMS, read_readings
from lightdose.files.setup_file import read_setup
from lightdose.near_names import COMPARED, FEW, did_you_mean, near_names

PACKAGE = Path(__file__).resolve().parents[1] / "lightdose"
SYLLABLES = ["ka", "lo", "mira", "ten", "sor", "blu", "gre", "pla", "bran", "stag", "ham", "cor", "al", " "]


def words(number: int) -> list[str]:
    """Different words of five syllables, the same each time."""
    seed = random.Random(5)
    return list(dict.fromkeys("".join(seed.choices(SYLLABLES, k=5)) for _ in range(number)))


NAMES = {
    "racks": [f"Rack {chr(65 + i % 26)} row {i // 26} place {i}" for i in range(1500)],
    "coordinates": [f"{chr(65 + i // 100)}{i % 100}" for i in range(1500)],
    "numbers": [str(i) for i in range(1500)],
    "words": words(1500),
}


def misspelt(name: str, seed: random.Random) -> str:
    """A letter left out, put in, changed, or two of them swapped."""
    at, letter = seed.randrange(len(name)), seed.choice("abcdefghij")
    return seed.choice(
        [
            name[:at] + name[at + 1 :],
            name[:at] + letter + name[at:],
            name[:at] + letter + name[at + 1 :],
            name[:at] + name[at + 1 : at + 2] + name[at : at + 1] + name[at + 2 :],
        ]
    )


@pytest.mark.identity
@pytest.mark.parametrize("kind", NAMES)
@pytest.mark.parametrize("many", [FEW // 2, 1500])
def test_misspelt_name_is_found_as_by_comparing_with_all(kind: str, many: int) -> None:
    """Among few names and among many the answer is that of the standard library over all of them."""
    seed, known = random.Random(2), NAMES[kind][:many]
    small = {name.casefold(): name for name in known}
    for name in seed.sample(known, 12):
        word = misspelt(name, seed)
        whole = difflib.get_close_matches(word.casefold(), list(small), n=1, cutoff=0.6)
        assert near_names(word, known) == [small[near] for near in whole], word


@pytest.mark.identity
def test_words_without_near_names_get_none() -> None:
    """Nothing like it, no known names, an empty word; capitals and endless names make no difference."""
    assert near_names("zzz", ["left", "right"]) == []
    assert near_names("left", []) == near_names("", ["left"]) == near_names("", NAMES["numbers"]) == []
    assert near_names("RIGTH", ["left", "Right"]) == ["Right"]
    assert near_names("x" * 10_000, ["x" * 9_999]) == ["x" * 9_999]
    assert did_you_mean("LEDGE ", ["B7", "ledge"]) == "did you mean 'ledge'?"
    assert did_you_mean("ridg", ["ridge", "ridges", "sand"]) == "did you mean 'ridge' or 'ridges'?"
    assert did_you_mean("A1", ["B7", "ledge"]) == ""


class Counting:
    """Stands in for the standard library's search and counts the names that it compares."""

    def __init__(self, monkeypatch: pytest.MonkeyPatch) -> None:
        self.words = self.compared = 0
        self._real = difflib.get_close_matches
        monkeypatch.setattr(difflib, "get_close_matches", self)

    def __call__(self, word: str, names: list[str], **options: Any) -> list[str]:
        self.words += 1
        self.compared += len(names)
        return self._real(word, names, **options)


def sites(number: int) -> str:
    rows = [f"rack {chr(65 + i % 26)} row {i // 26} place {i},30,20,{10 + i % 20}" for i in range(number)]
    return "\n".join(["site,x_cm,y_cm,depth_cm", *rows]) + "\n"


@pytest.mark.identity
@pytest.mark.parametrize("column", ["site", "group", "genus"])
def test_thousands_of_misspelt_names_are_told_for_bounded_work(
    column: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """5,000 corals with a misspelt site, group or genus beside 5,000 sites: no search of all with all."""
    folder = write_tank(tmp_path / "tank", corals=())
    path = folder / "setup.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace(
            "[tank]", 'corals = "corals.csv"\nsites = "sites.csv"\n[tank]', 1
        ),
        encoding="utf-8",
    )
    (folder / "sites.csv").write_text(sites(5000), encoding="utf-8")
    kind = "genus" if column == "genus" else "group"
    wrong = {
        "site": "clam,rack {a} rwo {r} plce {i}",
        "group": "mushrom{i},ridge",
        "genus": "Acroprra{i},ridge",
    }
    rows = [f"c{i}," + wrong[column].format(a=chr(65 + i % 26), r=i // 26, i=i) for i in range(5000)]
    (folder / "corals.csv").write_text("\n".join([f"coral,{kind},site", *rows]) + "\n", encoding="utf-8")
    counting = Counting(monkeypatch)
    with pytest.raises(LightdoseError) as caught:
        read_setup(path)
    assert sum(problem.stands_for for problem in caught.value.problems) == 5000
    assert all("did you mean" in problem.cure for problem in caught.value.problems[:100])
    assert 100 <= counting.words <= MOST_SUGGESTIONS
    assert counting.compared <= MOST_SUGGESTIONS * FEW


@pytest.mark.identity
def test_readings_at_thousands_of_misspelt_sites_are_told_for_bounded_work(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The cure is looked for where it is shown: 50 of 5,000 problems."""
    folder = write_tank(tmp_path / "tank")
    path = folder / "setup.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace("[tank]", 'sites = "sites.csv"\n[tank]', 1), encoding="utf-8"
    )
    (folder / "sites.csv").write_text(sites(5000), encoding="utf-8")
    setup = read_setup(path)
    rows = [f"rack {chr(65 + i % 26)} rwo {i // 26} plce {i},12:00,50,umol" for i in range(5000)]
    (folder / "readings.csv").write_text(
        "\n".join(["site,time,reading,unit", *rows]) + "\n", encoding="utf-8"
    )
    counting = Counting(monkeypatch)
    with pytest.raises(LightdoseError) as caught:
        read_readings(folder / "readings.csv", "readings.csv", setup)
    assert all("did you mean" in problem.cure for problem in caught.value.problems[:MOST_PROBLEMS])
    assert counting.words <= MOST_PROBLEMS
    assert counting.compared <= MOST_PROBLEMS * COMPARED


@pytest.mark.identity
def test_near_names_are_looked_for_in_one_place() -> None:
    """No other module compares spellings, so that none can grow with the square of a file's names.

    The desk compares the lines of a file before and after a change, no names.
    """
    users = [path for path in PACKAGE.rglob("*.py") if "difflib import" in path.read_text(encoding="utf-8")]
    users += [path for path in PACKAGE.rglob("*.py") if "import difflib" in path.read_text(encoding="utf-8")]
    assert set(users) == {PACKAGE / "near_names.py", PACKAGE / "desk" / "session.py"}
