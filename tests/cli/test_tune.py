"""`lightdose tune`: what is written keeps its promise, and how it ends."""

from __future__ import annotations

import json
import re
import shutil
from pathlib import Path

import pytest
from cli.small_tanks import write_tank
from click.testing import CliRunner, Result

from lightdose.cli import cli

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank"


@pytest.fixture(autouse=True)
def tank(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A copy of the example that a test may change."""
    shutil.copytree(EXAMPLE, tmp_path / "tank")
    monkeypatch.chdir(tmp_path)
    return tmp_path / "tank"


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, list(words))


def columns(path: str | Path) -> dict[str, list[str]]:
    """A schedule's columns, cells as they are written."""
    lines = [line for line in Path(path).read_text(encoding="utf-8").splitlines() if line[:1] != "#"]
    head, *rows = [line.split(",") for line in lines if line]
    return {name: [row[i] for row in rows] for i, name in enumerate(head)}


def too_bright(folder: Path, *, dial: bool = True) -> Path:
    """A lamp so bright that both corals get too much, with its overall setting apart from the levels."""
    tank = write_tank(folder, levels={"blue 450": 90, "cyan 500": 80, "red 660": 40}, lamps=2)
    for number in (1, 2):
        path = tank / f"day-{number}.csv"
        head, *rows = path.read_text(encoding="utf-8").splitlines()
        if dial:
            path.write_text("\n".join([f"{head},all_channels", *(f"{r},90" for r in rows)]) + "\n")
    return tank / "setup.toml"


@pytest.mark.identity
@pytest.mark.parametrize("change", ["overall", "fixtures", "channels"])
def test_dose_on_what_was_written_gives_the_promised_numbers(change: str) -> None:
    """The setup with the written schedules in place gets every dose, interval and count that was promised."""
    setup = too_bright(Path("bright"))
    done = run("tune", str(setup), "-o", "tuned", "--change", change, "--json", "--quiet")
    assert done.exit_code == 0, done.stderr
    assert done.stderr == ""
    promised = json.loads(done.stdout)
    assert promised["format"] == "lightdose-tune/1"
    assert promised["unchanged"] is False
    for entry in promised["schedules"]:
        assert Path(entry["file"]).is_absolute()
        own = f"day-{entry['fixture'].removeprefix('lamp ')}.csv"
        shutil.copy(entry["file"], setup.parent / own)
    got = json.loads(run("dose", str(setup), "--json").stdout)
    assert got["counts"] == promised["counts"]["after"]
    assert got["calculated_counts"] == promised["calculated_counts"]["after"]
    assert got["penalty"] == pytest.approx(promised["penalty"]["after"], abs=1e-9)
    corals = {c["coral"]: c for s in got["sites"] for c in s["corals"]}
    for entry in promised["corals"]:
        now, after = corals[entry["coral"]], entry["after"]
        assert now["dli_mol_m2_d"] == pytest.approx(after["dli_mol_m2_d"], rel=1e-12)
        assert (now["dli_state"], now["dli_verdict"]) == (after["dli_state"], after["dli_verdict"])
        assert now["interval_95"]["dli_mol_m2_d"] == pytest.approx(after["interval_95"]["dli_mol_m2_d"])


@pytest.mark.identity
def test_json_has_the_keys_that_programs_rely_on() -> None:
    """Counts by verdict and as calculated, before and after, penalty, overall settings, who must move."""
    setup = too_bright(Path("bright"))
    found = json.loads(run("tune", str(setup), "--json").stdout)
    states = {"judged", "within", "undecided", "below", "above", "far_below", "far_above"}
    for key in ("counts", "calculated_counts"):
        assert set(found[key]) == {"before", "after"}
        assert all(set(one) == states for one in found[key].values())
    assert set(found["penalty"]) == {"before", "after"}
    assert set(found["all_channels"]) == {"before", "after"}
    assert found["all_channels"]["before"] == {"lamp 1": 90, "lamp 2": 90}
    assert found["all_channels"]["after"]["lamp 1"] < 90
    assert {"better", "worse", "cannot_be_served", "with_moves", "unchanged", "refused"} <= set(found)
    assert found["with_moves"] is None


@pytest.mark.identity
def test_overall_setting_comes_back_beside_the_same_levels() -> None:
    """The column all_channels changes, every other cell stays as it was read; the first line says so."""
    setup = too_bright(Path("bright"))
    done = run("tune", str(setup), "-o", "tuned", "--plateau", "7-7")
    assert done.exit_code == 0, done.stderr
    after = json.loads(run("tune", str(setup), "--plateau", "7-7", "--json").stdout)["all_channels"]["after"]
    for number in (1, 2):
        before, written = columns(setup.parent / f"day-{number}.csv"), columns(f"tuned/lamp-{number}.csv")
        assert set(written) == set(before)
        for name in before.keys() - {"all_channels", "time"}:
            assert [float(cell) for cell in written[name]] == [float(cell) for cell in before[name]]
        assert written["time"] == before["time"]
        assert {float(cell) for cell in written["all_channels"]} == {after[f"lamp {number}"]}
    low = f"{after['lamp 1']:g}"
    assert f"Overall 90 to {low}; the levels of the channels stay as they are set." in done.stdout


@pytest.mark.identity
def test_levels_without_an_overall_setting_all_change_alike() -> None:
    """No dial in the file: every level is multiplied by one factor, to a tenth of a percent."""
    setup = too_bright(Path("bright"), dial=False)
    done = run("tune", str(setup), "-o", "tuned", "--plateau", "7-7")
    assert "All levels times " in done.stdout
    factor = float(done.stdout.partition("All levels times ")[2].partition(":")[0])
    before, written = columns(setup.parent / "day-1.csv"), columns("tuned/lamp-1.csv")
    assert "all_channels" not in written
    for name in before.keys() - {"time"}:
        for old, new in zip(before[name], written[name], strict=True):
            assert float(new) == pytest.approx(factor * float(old), abs=0.05 + 0.005 * float(old))


@pytest.mark.identity
@pytest.mark.parametrize("options", [["--whole-percents"], []])
def test_levels_are_written_as_the_controller_takes_them(options: list[str]) -> None:
    """Whole percents where asked for, else tenths, in every cell of every column."""
    setup = too_bright(Path("bright"))
    run("tune", str(setup), "-o", "tuned", "--change", "channels", *options)
    for number in (1, 2):
        for name, cells in columns(f"tuned/lamp-{number}.csv").items():
            if name != "time":
                steps = 1 if options else 10
                assert all(float(cell) * steps == pytest.approx(round(float(cell) * steps)) for cell in cells)


@pytest.mark.identity
def test_time_steps_points_and_least_level_are_kept() -> None:
    """Times on the quarter hour, at most four points, nothing that shines under its least level."""
    setup = too_bright(Path("bright"))
    words = ("--time-step", "15", "--most-points", "4", "--least-level", "10", "--change", "channels")
    done = run("tune", str(setup), "-o", "tuned", *words)
    assert done.exit_code == 0, done.stderr
    for number in (1, 2):
        written = columns(f"tuned/lamp-{number}.csv")
        assert all(int(time[3:5]) % 15 == 0 for time in written.pop("time"))
        dial = [float(cell or "100") / 100 for cell in written.pop("all_channels", [])]
        for cells in written.values():
            held = [float(cell) for cell in cells if cell]
            assert len(held) <= 4
            if any(held):
                assert min(held) * (max(dial) if dial else 1) >= 10 - 0.05


@pytest.mark.identity
def test_first_line_of_an_unmeasured_fixture_says_to_measure_first() -> None:
    """Before any level stands what it stands on; the last line has the next command."""
    done = run("tune", "tank/setup.toml")
    lines = done.stdout.splitlines()
    assert done.exit_code == 0, done.stderr
    assert lines[0].startswith("Measure first.")
    assert "within common practice" in lines[1]
    assert lines[-1].endswith("Next: lightdose tune tank/setup.toml -o tuned")
    rules = [n for n, line in enumerate(lines) if line.startswith("-----")]
    assert [lines[start + 1 :].index("") for start in rules[:2]] == [12, 9]
    assert "\x1b" not in done.stdout


@pytest.mark.identity
def test_strict_ends_in_3_where_a_coral_stays_outside() -> None:
    """No light serves a shallow-water coral and mushrooms at one site; JSON names who must move."""
    groups = {"frag": "sps-shallow", "one": "mushroom", "two": "mushroom"}
    corals = [(name, group, "ridge") for name, group in groups.items()]
    tank = write_tank(Path("odd"), corals=corals, levels={"blue 450": 40, "cyan 500": 40, "red 660": 20})
    done = run("tune", str(tank / "setup.toml"), "--strict", "--json")
    found = json.loads(done.stdout)
    assert done.exit_code == 3
    assert found["out_of_band"] >= 1
    assert [u["coral"] for u in found["cannot_be_served"]]
    assert "cannot be served from where it sits" in run("tune", str(tank / "setup.toml")).stdout


@pytest.mark.identity
def test_change_too_big_for_a_day_names_acclimate(tank: Path) -> None:
    """Below a fixture at a tenth of its output nearly all corals would rise at once; steps are advised."""
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    (tank / "setup.toml").write_text(
        text.replace("output_scale = 1.0", "output_scale = 0.5"), encoding="utf-8"
    )
    done = run("tune", "tank/setup.toml", "-o", "tuned")
    assert "Too big a change for one day" in done.stdout
    assert "then lightdose acclimate tank/setup.toml COPY -o steps" in done.stdout
    assert 'schedule = "../tuned/left.csv" under fixture "left"' in done.stdout


@pytest.mark.identity
@pytest.mark.parametrize(
    ("words", "sentence"),
    [
        (["--plateau", "9-5"], "leaves no length"),
        (["--plateau", "22-24"], "pass 24 h"),
        (["--plateau", "x"], '"x"'),
        (["--plateau", "5-25"], "outside 0 to 24 hours"),
        (["--off", "blu 450"], 'did you mean "blue 450"?'),
        (["--change", "channels", "--allow", "mauve"], 'there is no channel "mauve"'),
        (["--off", "blue 450", "--off", "cyan 500", "--off", "red 660"], "no channel is left that may run"),
        (["--cap", "blue"], "is not CHANNEL=PERCENT"),
        (["--cap", "blue=120"], "outside 0 to 100 percent"),
        (["--most-points", "3"], "3 points a channel"),
        (["--with-moves", "3"], "3 corals to move are more than the setup has"),
        (["--prefer", "energy"], "add electrical_w to the fixture file"),
    ],
)
def test_bounds_that_cannot_be_kept_end_in_2_and_write_nothing(words: list[str], sentence: str) -> None:
    """A sentence, exit 2, no file."""
    setup = too_bright(Path("bright"))
    done = run("tune", str(setup), "-o", "tuned", "--figures", "figures", *words)
    assert done.exit_code == 2
    assert sentence in done.output
    assert not Path("tuned").exists()
    assert not Path("figures").exists()


@pytest.mark.identity
def test_tank_without_a_coral_that_light_judges_ends_in_2(tank: Path) -> None:
    """No band to aim at is one message; a coral that no channel reaches is named and the rest is served."""
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    bare = re.sub(r"\[\[coral\]\].*?(?=# ---- The rest)", "", text, flags=re.DOTALL)
    (tank / "bare.toml").write_text(bare, encoding="utf-8")
    done = run("tune", "tank/bare.toml", "-o", "tuned")
    assert done.exit_code == 2
    assert "no corals" in done.output
    dark = write_tank(Path("sun"), corals=(("sun coral", "non-photosynthetic", "sand"),))
    done = run("tune", str(dark / "setup.toml"), "-o", "tuned")
    assert done.exit_code == 2
    assert "no coral here is judged by light" in done.output
    assert not Path("tuned").exists()
    (tank / "dark.toml").write_text(
        text.replace('name = "ledge"\n', 'name = "ledge"\nopen_sky = 0\n'), encoding="utf-8"
    )
    found = json.loads(run("tune", "tank/dark.toml", "--json").stdout)
    assert "mushroom rock" in [u["coral"] for u in found["cannot_be_served"]]


@pytest.mark.identity
def test_one_file_cannot_hold_two_fixtures_and_no_input_is_overwritten() -> None:
    """A file name is refused for two fixtures; the schedules that are read stay as they are."""
    done = run("tune", "tank/setup.toml", "-o", "both.csv")
    assert done.exit_code == 2
    assert "name a folder" in done.output
    before = Path("tank/schedules/left.csv").read_bytes()
    done = run("tune", "tank/setup.toml", "--change", "fixtures", "-o", "tank/schedules")
    assert done.exit_code == 2
    assert "never overwritten" in done.output
    assert Path("tank/schedules/left.csv").read_bytes() == before


@pytest.mark.identity
def test_single_fixture_is_written_as_one_file_in_either_dialect(tank: Path) -> None:
    """With one fixture FILE is its schedule for the next command; decimal commas read back alike."""
    text = (tank / "setup.toml").read_text(encoding="utf-8")
    start, end = text.index('[[fixture]]\nname = "right"'), text.index("# ---- Places")
    (tank / "one.toml").write_text(text[:start] + text[end:], encoding="utf-8")
    done = run("tune", "tank/one.toml", "-o", "one.csv", "--csv-dialect", "excel-eu", "--json")
    assert done.exit_code == 0, done.stderr
    assert Path("one.csv").read_bytes().startswith(b"\xef\xbb\xbf")
    promised = {c["coral"]: c["after"]["dli_mol_m2_d"] for c in json.loads(done.stdout)["corals"]}
    got = json.loads(run("dose", "tank/one.toml", "--schedule", "one.csv", "--json").stdout)
    assert {c["coral"]: c["dli_mol_m2_d"] for s in got["sites"] for c in s["corals"]} == pytest.approx(
        promised
    )
    spoken = run("tune", "tank/one.toml", "-o", "two.csv").stdout
    assert "--schedule two.csv" in spoken.splitlines()[-1]


@pytest.mark.identity
def test_figures_are_written_twice_alike() -> None:
    """Both figures as SVG and PNG, the same bytes each time, with words that state the finding."""
    for folder in ("a", "b"):
        assert run("tune", "tank/setup.toml", "--figures", folder, "--quiet").exit_code == 0
    names = sorted(p.name for p in Path("a").iterdir())
    assert names == ["tuned-days.png", "tuned-days.svg", "tuned-doses.png", "tuned-doses.svg"]
    assert all(Path("a", n).read_bytes() == Path("b", n).read_bytes() for n in names)
    assert "<desc>Doses before and after: " in Path("a/tuned-doses.svg").read_text(encoding="utf-8")


@pytest.mark.identity
@pytest.mark.parametrize("change", ["overall", "channels"])
@pytest.mark.parametrize("dial", [True, False])
def test_what_is_written_can_be_typed(change: str, dial: bool) -> None:
    """Whole minutes and tenths of a percent in every cell, also where the day gets longer or shorter."""
    setup = too_bright(Path("bright"), dial=dial)
    done = run("tune", str(setup), "-o", "tuned", "--change", change, "--plateau", "3.1-5.2", "--json")
    assert done.exit_code == 0, done.stderr
    written = json.loads(done.stdout)["schedules"]
    assert written
    for entry in written:
        cells = columns(entry["file"])
        assert ("all_channels" in cells) == dial
        assert all(re.fullmatch(r"\d\d:\d\d", time) for time in cells.pop("time"))
        assert all(re.fullmatch(r"(\d+(\.\d)?)?", level) for column in cells.values() for level in column)


@pytest.mark.identity
def test_example_with_all_its_channels_free_is_written_in_tenths() -> None:
    """The shipped example, whose ramps bend at the new plateau: no cell such as 96.11111111111109."""
    assert run("tune", "tank/setup.toml", "-o", "tuned", "--change", "channels").exit_code == 0
    for path in Path("tuned").iterdir():
        cells = columns(path)
        assert all(re.fullmatch(r"\d\d:\d\d", time) for time in cells.pop("time"))
        assert all(re.fullmatch(r"(\d+(\.\d)?)?", level) for column in cells.values() for level in column)
