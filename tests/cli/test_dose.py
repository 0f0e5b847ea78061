"""`lightdose dose`: what is printed, written, and how it ends."""

from __future__ import annotations

import csv
import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from cli.small_tanks import glow_at_zero, write_tank
from click.testing import CliRunner, Result

from lightdose.cli import cli

SETUP = str(Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml")


def _run(*words: str) -> Result:
    return CliRunner().invoke(cli, ["dose", SETUP, *words])


@pytest.fixture(autouse=True)
def _in_an_empty_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)


@pytest.mark.identity
def test_piped_answer_is_one_record_a_line_without_escape_bytes() -> None:
    """First the basis, last the verdict, a line for every coral."""
    done = _run()
    assert done.exit_code == 0, done.stderr
    lines = done.stdout.splitlines()
    assert lines[0].startswith(("Not measured", "Measured"))
    assert "within common practice" in lines[-1]
    assert "\x1b" not in done.stdout
    start = next(n for n, line in enumerate(lines) if line.startswith("-----")) + 1
    words = ("within", "below", "undecided")
    assert all(any(word in line for word in words) for line in lines[start : start + 9])
    assert all(len(line) < 400 for line in lines)


@pytest.mark.identity
def test_csv_equals_json_unrounded(tmp_path: Path) -> None:
    """The same floats stand in both."""
    done = _run("--json", "--csv", "d.csv", "--quiet")
    assert done.exit_code == 0, done.stderr
    assert done.stderr == ""
    result = json.loads(done.stdout)
    doses = {c["coral"]: c["dli_mol_m2_d"] for s in result["sites"] for c in s["corals"]}
    header, *rows = (tmp_path / "d.csv").read_text(encoding="utf-8").splitlines()
    column = header.split(",").index("dli_mol_m2_d")
    read = {r.split(",")[0]: float(r.split(",")[column]) for r in rows if not r.startswith(",")}
    assert read == doses


@pytest.mark.identity
def test_overall_setting_multiplies_the_light_of_the_fixtures_that_are_named(tmp_path: Path) -> None:
    """Straight drivers: 25 percent for all is a quarter of the light; for one, only its own light changes."""
    folder = write_tank(tmp_path / "tank", channels=("cyan 500", "red 660"), lamps=2)

    def by_fixture(*words: str) -> dict[str, float]:
        done = CliRunner().invoke(cli, ["dose", str(folder), "--json", *words])
        site = json.loads(done.stdout)["sites"][0]
        light = {f"lamp {n}": 0.0 for n in (1, 2)}
        for row in site["by_channel"]:
            light[row["fixture"]] += row["dli_mol_m2_d"]
        return light

    today = by_fixture()
    assert by_fixture("--all-channels", "25") == pytest.approx({n: v / 4 for n, v in today.items()})
    one = by_fixture("--all-channels", "100", "--all-channels", "lamp 2=50")
    assert one == pytest.approx({"lamp 1": today["lamp 1"], "lamp 2": today["lamp 2"] / 2})


@pytest.mark.identity
def test_written_files_are_named_with_their_rows(tmp_path: Path) -> None:
    """Messages go to stderr; the schema lies beside the CSV."""
    done = _run("--csv", "out")
    assert "out" in done.stderr
    assert " rows" in done.stderr
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == ["doses.csv", "doses.schema.json"]


@pytest.mark.identity
def test_programmes_are_written_one_file_a_fixture_and_read_back(tmp_path: Path) -> None:
    """What --csv-schedule writes gives the same dose as the setup's own schedules."""
    from lightdose.files.schedule_csv import read_schedule
    from lightdose.files.setup_file import read_setup

    done = _run("--csv-schedule", "programmes")
    assert done.exit_code == 0, done.stderr
    for fixture in read_setup(SETUP).fixtures:
        path = tmp_path / "programmes" / f"{fixture.name}.csv"
        back, _ = read_schedule(path, path.name, [c.name for c in fixture.type.channels])
        assert back.span_h == fixture.programme.span_h
        for name, channel in fixture.programme.channels.items():
            assert back.channels[name].level.tolist() == pytest.approx(channel.level.tolist(), abs=1e-12)


@pytest.mark.pinned
def test_programme_that_no_file_can_keep_dark_is_told(tmp_path: Path) -> None:
    """A driver that glows at level 0, over midnight, beside a channel that spans the same hours."""
    folder = write_tank(tmp_path / "glow", channels=("cyan 500", "red 660"))
    glow_at_zero(folder / "lamp.toml")
    night = '"cyan 500" = [["20:00", 0], ["22:00", 50], ["08:00+1", 0]]'
    day = '"red 660" = [["06:00", 0], ["12:00", 50], ["22:00", 0]]'
    setup = (folder / "setup.toml").read_text(encoding="utf-8")
    (folder / "setup.toml").write_text(
        setup.replace('"day-1.csv"', f"{{ {night}, {day} }}"), encoding="utf-8"
    )
    done = CliRunner().invoke(cli, ["dose", "glow", "--csv-schedule", "out.csv"])
    assert done.exit_code == 0, done.stderr
    assert "out.csv: 'cyan 500' gives light at level 0 too" in done.stderr
    assert "it also glows from 08:00 to 20:00." in done.stderr


@pytest.mark.pinned
def test_one_file_for_two_fixtures_is_refused(tmp_path: Path) -> None:
    """Nothing is half written."""
    done = _run("--csv-schedule", "one.csv")
    assert done.exit_code == 2
    assert "name a folder" in done.stderr
    assert list(tmp_path.iterdir()) == []


@pytest.mark.identity
def test_figures_are_written_as_svg_and_png(tmp_path: Path) -> None:
    """Five figures in two forms, of the sites asked for."""
    done = _run("--figures", "f", "--site", "ridge", "--imperial")
    assert done.exit_code == 0, done.stderr
    names = sorted(p.name for p in (tmp_path / "f").iterdir())
    figures = ("days", "diminishing-return", "doses", "spectra", "tank")
    assert names == [f"{n}.{form}" for n in figures for form in ("png", "svg")]
    assert done.stderr.count("wrote ") == 10


@pytest.mark.pinned
def test_site_without_figures_says_what_to_add() -> None:
    """An option without effect is not ignored."""
    done = _run("--site", "ridge")
    assert done.exit_code == 2
    assert "add --figures DIR" in done.stderr


@pytest.mark.identity
def test_strict_ends_with_three_when_a_coral_is_out_of_band() -> None:
    """The result is printed all the same."""
    done = _run("--strict", "--json")
    states = [c["dli_state"] for s in json.loads(done.stdout)["sites"] for c in s["corals"]]
    off = [s for s in states if s not in ("within", "not_judged")]
    assert off
    assert done.exit_code == 3
    assert _run().exit_code == 0


@pytest.mark.identity
@pytest.mark.parametrize("encoding", ["ascii", "cp1252", "utf-8"])
def test_every_encoding_ends_alike(encoding: str, tmp_path: Path) -> None:
    """A name with an emoji is escaped where the encoding lacks it, never a traceback."""
    setup = (
        Path(SETUP).read_text(encoding="utf-8").replace('"staghorn frag"', '"st\u00fcg \U0001f600 [x][/]"')
    )
    for kind in ("fixtures", "schedules"):
        setup = setup.replace(f'"{kind}/', f'"{(Path(SETUP).parent / kind).as_posix()}/')
    (tmp_path / "setup.toml").write_text(setup, encoding="utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "lightdose", "dose", "setup.toml"],
        capture_output=True,
        env={**os.environ, "PYTHONIOENCODING": encoding, "PYTHONUTF8": "0"},
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert b"[x][/]" in done.stdout
    assert b"Traceback" not in done.stderr


@pytest.mark.identity
def test_photosynthesis_is_the_same_in_json_csv_and_records(tmp_path: Path) -> None:
    """Hours at Pmax, hours above and photons beyond saturation, with Ek and what it stands on."""
    done = _run("--json", "--csv", "d.csv", "--quiet")
    result = json.loads(done.stdout)
    with (tmp_path / "d.csv").open(encoding="utf-8", newline="") as file:
        rows = {r["coral"]: r for r in csv.DictReader(file) if r["coral"]}
    for site in result["sites"]:
        for coral in site["corals"]:
            row = rows[coral["coral"]]
            for key, name in (
                ("hours_at_pmax_h", "hours_at_pmax_{}_h"),
                ("hours_above_saturation_h", "hours_above_saturation_{}_h"),
                ("photons_beyond_saturation_fraction", "photons_beyond_saturation_{}_fraction"),
            ):
                assert [float(row[name.format(end)]) for end in ("low", "high")] == coral[key]
            assert row["ek_source"] == coral["ek"]["source"]
            assert coral["ek"]["assumed"] == ("assumed" in row["ek_source"])
    lines = _run("--all").stdout.splitlines()
    meat = [line for line in lines if line.startswith("meat coral") and "40-150" in line]
    assert len(meat) == 1
    assert meat[0].endswith("assumed")


@pytest.mark.identity
def test_colour_is_weighed_only_when_asked() -> None:
    """The JSON key and the sentences stand with the option alone; the verdict stays the last line."""
    assert "colour_or_intensity" not in json.loads(_run("--json").stdout)
    weighed = json.loads(_run("--json", "--colour-or-intensity").stdout)["colour_or_intensity"]
    assert weighed["place"] == "staghorn frag"
    assert weighed["dose"]["ratio"] == pytest.approx(12)
    low, high = weighed["all_mixes"]["usable_share"]["usable_mean"]
    assert low < weighed["today"]["usable_share"]["usable_mean"] < high
    assert weighed["larger"] == "dose"
    assert {e["side"] for e in weighed["evidence"]} == {"for", "against"}
    plain = _run().stdout.splitlines()
    told = _run("--colour-or-intensity").stdout.splitlines()
    assert told[-1] == plain[-1]
    assert [line for line in told if line.startswith("Colour or intensity?")]
    more = [line for line in told if line not in plain]
    start = told.index(more[0])
    assert told[start : start + len(more)] == more


@pytest.mark.identity
def test_colour_figure_is_written_with_the_option(tmp_path: Path) -> None:
    """Beside the four others."""
    done = _run("--figures", "f", "--colour-or-intensity", "--quiet")
    assert done.exit_code == 0, done.stderr
    assert (tmp_path / "f" / "colour-or-dose.svg").is_file()
