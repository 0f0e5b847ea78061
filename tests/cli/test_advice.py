"""Actions of `dose`: their keys, and that the commands do what they promise."""

from __future__ import annotations

import json
import shlex
from pathlib import Path
from typing import Any

import pytest
from cli.small_tanks import write_tank
from click.testing import CliRunner

from lightdose.cli import cli

CUBE = Path(__file__).resolve().parents[2] / "examples" / "crowded-cube" / "setup.toml"
COUNTED = {"judged", "within", "undecided", "below", "above", "far_below", "far_above"}
KINDS = {"measure", "overall", "fixture", "hours", "height", "move", "exchange", "leave"}


def dose(*words: str) -> dict[str, Any]:
    done = CliRunner().invoke(cli, ["dose", *words, "--json"])
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)  # type: ignore[no-any-return]


def bright(folder: Path) -> Path:
    """Two lamps that give both corals too much."""
    tank = write_tank(folder, levels={"blue 450": 90, "cyan 500": 80, "red 660": 40}, lamps=2)
    return tank / "setup.toml"


@pytest.mark.identity
def test_json_has_the_keys_that_programs_rely_on() -> None:
    """Both counts by the same keys, the penalty, and each action with what it changes and does to whom."""
    found = dose(str(CUBE))
    for key in ("counts", "calculated_counts"):
        counts = dict(found[key])
        assert set(counts) == COUNTED
        assert counts.pop("judged") == sum(counts.values())
    assert found["calculated_counts"]["undecided"] == 0
    assert found["penalty"] > 0
    corals = {c["coral"] for s in found["sites"] for c in s["corals"]}
    assert found["actions"]
    for action in found["actions"]:
        keys = {"kind", "text", "command", "change", "within", "undecided", "penalty", "better", "worse"}
        assert set(action) == keys
        assert action["kind"] in KINDS
        assert action["text"].endswith(".")
        assert action["command"] is None or action["command"].startswith("lightdose ")
        for key in ("within", "undecided", "penalty"):
            assert set(action[key]) == {"before", "after"}
        assert action["within"]["before"] == found["counts"]["within"]
        assert action["undecided"]["before"] == found["counts"]["undecided"]
        assert action["penalty"]["before"] == pytest.approx(found["penalty"])
        assert set(action["better"]) | set(action["worse"]) <= corals
    assert {"coral", "places"} == {key for one in found["cannot_be_served"] for key in one}


@pytest.mark.identity
def test_commands_that_try_a_setting_find_what_was_promised(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Typed as it is printed, the command answers with the counts and the penalty of "after"."""
    monkeypatch.chdir(tmp_path)
    setup = bright(Path("my tank"))
    text = setup.read_text(encoding="utf-8")
    for number in (1, 2):
        path = setup.parent / f"day-{number}.csv"
        head, *rows = path.read_text(encoding="utf-8").splitlines()
        path.write_text("\n".join([f"{head},all_channels", *(f"{row},90" for row in rows)]) + "\n")
    setup.write_text(text, encoding="utf-8")
    tried = 0
    for action in dose("my tank/setup.toml")["actions"]:
        if action["kind"] in ("overall", "fixture"):
            program, name, *words = shlex.split(action["command"])
            assert (program, name) == ("lightdose", "dose")
            got = dose(*words)
            assert got["counts"]["within"] == action["within"]["after"]
            assert got["counts"]["undecided"] == action["undecided"]["after"]
            assert got["penalty"] == pytest.approx(action["penalty"]["after"], abs=1e-9)
            tried += 1
    assert tried >= 2


@pytest.mark.identity
def test_printed_and_piped_lines_hold_the_first_action() -> None:
    """What the JSON puts first stands as "Do first", the next after it; the last line goes on from there."""
    first, then, *_ = dose(str(CUBE))["actions"]
    lines = CliRunner().invoke(cli, ["dose", str(CUBE)]).stdout.splitlines()
    assert f"- Do first: {first['text']}" in lines
    assert any(line.endswith(then["text"]) for line in lines)
    assert lines[-1].endswith(f"Next: {first['command']}")


@pytest.mark.identity
def test_places_to_move_to_have_what_is_usual_under_the_change_that_is_named() -> None:
    """`move` under that change finds each dose that is told, and it is within the coral's own range."""
    found = dose(str(CUBE))
    usual = {c["coral"]: c["band_dli"] for s in found["sites"] for c in s["corals"]}
    change = next(a for a in found["actions"] if a["kind"] == "overall")
    program, _, setup, *turned = shlex.split(change["command"])
    doing = change["text"].removeprefix("After measuring, probably: ").partition(".")[0]
    line = next(
        line for line in CliRunner().invoke(cli, ["dose", str(CUBE)]).stdout.splitlines() if "- Move" in line
    )
    assert program == "lightdose"
    assert f"Even once you {doing}, " in line
    offered = [(one["coral"], place) for one in found["cannot_be_served"] for place in one["places"]]
    assert offered
    for coral, place in offered:
        low, high = usual[coral]
        assert low <= place["dli_mol_m2_d"] <= high
        assert f"{place['site']} ({place['dli_mol_m2_d']:.2f} then)" in line
        words = ["move", setup, coral, "--to", place["site"], *turned, "--json"]
        steps = json.loads(CliRunner().invoke(cli, words).stdout)["steps"]
        assert steps[-1]["dli_mol_m2_d"] == pytest.approx(place["dli_mol_m2_d"], rel=2e-3)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("corals", "said"),
    [((), "No corals yet"), ((("sun", "non-photosynthetic", "sand"),), "No coral here is judged by light")],
)
def test_tank_without_judged_corals_says_why_nothing_is_to_be_done(
    tmp_path: Path, corals: tuple[tuple[str, str, str], ...], said: str
) -> None:
    """No action, no counts, no penalty; the answer says what is missing."""
    setup = str(write_tank(tmp_path / "tank", corals=corals) / "setup.toml")
    found = dose(setup)
    assert found["actions"] == []
    assert found["counts"] is found["calculated_counts"] is found["penalty"] is None
    assert said in CliRunner().invoke(cli, ["dose", setup]).stdout


@pytest.mark.identity
def test_served_tank_is_told_to_leave_it(tmp_path: Path) -> None:
    """A keeper's own wide range holds the coral for sure: nothing is offered but to leave it."""
    coral = '[[coral]]\nname = "hardy"\ngroup = "soft"\nsite = "sand"\ndli_band = [0.01, 60]'
    found = dose(str(write_tank(tmp_path / "tank", corals=(), extra=coral) / "setup.toml"))
    assert (found["counts"]["within"], found["penalty"]) == (1, 0)
    assert [a["kind"] for a in found["actions"] if a["kind"] != "measure"] == ["leave"]
    assert found["actions"][-1]["change"] == {}
    assert found["cannot_be_served"] == []
