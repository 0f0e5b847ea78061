"""`lightdose match`: exact in the same tank, a known rest without a channel, and what it refuses."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from cli.small_tanks import glow_at_zero, write_tank
from click.testing import CliRunner, Result

from lightdose.cli import cli

LEVELS = {"blue 450": 60, "cyan 500": 30, "red 660": 45}
STRAIGHT = {**LEVELS, "blue 450": 0}
"""Channels without a curved dimming: a match of the same tank has levels in tenths of a percent."""

ROUNDED = 3e-3
"""What levels in tenths of a percent may take from a dose or a peak."""


@pytest.fixture
def tanks(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An invented tank "shop", and "theirs" with the same lamp lower and another programme."""
    write_tank(tmp_path / "shop", levels=LEVELS)
    write_tank(tmp_path / "theirs", levels=dict.fromkeys(LEVELS, 5), height_cm=16)
    monkeypatch.chdir(tmp_path)
    return tmp_path


def run(*words: str) -> Result:
    return CliRunner().invoke(cli, words)


def answer(*words: str) -> Any:
    done = run(*words, "--json", "--quiet")
    assert done.exit_code == 0, done.stderr
    return json.loads(done.stdout)


def site_of(setup: str, name: str) -> Any:
    return next(s for s in answer("dose", setup)["sites"] if s["site"] == name)


@pytest.mark.identity
def test_same_tank_gets_its_own_programme_back(tanks: Path) -> None:
    """OTHER is SETUP: the levels are the old ones, and dose, peak and every 10 nm are equal."""
    write_tank(tanks / "straight", levels=STRAIGHT)
    found = answer("match", "straight", "straight", "--pair", "ridge=ridge")
    pair = found["pairs"][0]
    assert pair["dli"]["got"] == pytest.approx(pair["dli"]["target"], rel=1e-9)
    assert pair["peak"]["got"] == pytest.approx(pair["peak"]["target"], rel=1e-9)
    for band in pair["bands"]:
        assert band["got_mol_m2_d"] == pytest.approx(band["target_mol_m2_d"], rel=1e-6, abs=1e-9)
    assert found["unmatched"] == []
    assert found["reached"] is True
    assert found["basis"] == "data sheet"
    assert found["basis_sentence"].startswith("Measure first, here and there")
    levels = {c["channel"]: 100 * c["level"] for c in found["channels"]}
    assert levels == pytest.approx(STRAIGHT, abs=1e-9)
    both = found["settings"]["look"], found["settings"]["spectrum"]
    assert [one["look_off"] for one in both] == pytest.approx([0, 0], abs=1e-9)
    assert [one["spectrum_off"] for one in both] == pytest.approx([0, 0], abs=1e-6)


@pytest.mark.identity
def test_curved_dimming_moves_a_programme_a_little(tanks: Path) -> None:
    """One shape for all channels: a curved one is set anew, and the dose is equal but for rounding."""
    found = answer("match", "shop", "shop", "--pair", "ridge=ridge")
    assert found["pairs"][0]["dli"]["got"] == pytest.approx(found["pairs"][0]["dli"]["target"], rel=ROUNDED)
    levels = {c["channel"]: 100 * c["level"] for c in found["channels"]}
    assert levels == pytest.approx(LEVELS, rel=0.03)


@pytest.mark.identity
@pytest.mark.parametrize(("words", "steps"), [([], 1000), (["--whole-percents"], 100)])
def test_levels_are_rounded_and_doses_are_those_of_the_file(
    tanks: Path, words: list[str], steps: int
) -> None:
    """Tenths of a percent, or whole ones, at whole minutes; `dose` of the file gives the promised dose."""
    found = answer("match", "shop", "theirs", "--pair", "sand=ridge", "-o", "new.csv", *words)
    rows = [line.split(",") for line in (tanks / "new.csv").read_text("utf-8").splitlines()[1:]]
    for time, *levels in rows:
        assert len(time) == len("09:00")
        scaled = [float(level) * steps / 100 for level in levels if level]
        assert scaled == pytest.approx([round(level) for level in scaled], abs=1e-9)
    sites = answer("dose", "theirs", "--schedule", "new.csv")["sites"]
    got = next(site["dli_mol_m2_d"] for site in sites if site["site"] == "ridge")
    assert got == pytest.approx(found["pairs"][0]["dli"]["got"], rel=1e-9)
    assert found["common_factor"] == pytest.approx(1, abs=5 / steps)


@pytest.mark.identity
@pytest.mark.parametrize(("at", "raised"), [(90, False), (20, True)])
def test_overall_setting_comes_back(tanks: Path, at: int, raised: bool) -> None:
    """A schedule with all_channels comes back with it: as it was, or raised as far as the dose needs."""
    path = tanks / "theirs" / "day-1.csv"
    head, *rows = path.read_text("utf-8").splitlines()
    path.write_text("\n".join([f"{head},all_channels", *(f"{row},{at}" for row in rows)]) + "\n", "utf-8")
    found = answer("match", "shop", "theirs", "--pair", "ridge=ridge", "-o", "new.csv")
    now, then = (found["all_channels"][side]["lamp 1"] for side in ("before", "after"))
    assert now == pytest.approx(at / 100)
    assert (then > now) == raised
    assert all(c["level"] == pytest.approx(c["set_level"] * then) for c in found["channels"])
    assert max(c["set_level"] for c in found["channels"]) <= 1
    written = (tanks / "new.csv").read_text("utf-8").splitlines()
    assert written[0].endswith(",all_channels")
    assert [float(row.rpartition(",")[2]) for row in written[1:]] == pytest.approx(
        [100 * then] * (len(written) - 1)
    )
    sites = answer("dose", "theirs", "--schedule", "new.csv")["sites"]
    got = next(site["dli_mol_m2_d"] for site in sites if site["site"] == "ridge")
    assert got == pytest.approx(found["pairs"][0]["dli"]["got"], rel=1e-9)


@pytest.mark.identity
def test_look_is_kept_unless_the_spectrum_is_asked_for(tanks: Path) -> None:
    """With other peaks the two pull apart; both are shown by either, and the one asked for is written."""
    lamp = write_tank(tanks / "other") / "lamp.toml"
    text = lamp.read_text("utf-8").replace("peak_nm = 450", "peak_nm = 425")
    lamp.write_text(text.replace("peak_nm = 660", "peak_nm = 600"), "utf-8")
    look, spectrum = (
        answer("match", "shop", "other", "--pair", "ridge=ridge", *words)
        for words in ([], ["--keep", "spectrum"])
    )
    assert look["settings"] == spectrum["settings"]
    assert look["settings"]["look"]["look_off"] < look["settings"]["spectrum"]["look_off"]
    assert look["settings"]["look"]["spectrum_off"] > look["settings"]["spectrum"]["spectrum_off"]
    for found, kept in ((look, "look"), (spectrum, "spectrum")):
        assert found["channels"] == look["settings"][kept]["channels"]


@pytest.mark.identity
@pytest.mark.parametrize("dialect", ["plain", "excel-eu"])
def test_dose_of_the_written_schedule_is_the_promised_one(tanks: Path, dialect: str) -> None:
    """The file put into OTHER gives the promised dose, peak and photoperiod there."""
    found = answer("match", "shop", "theirs", "--pair", "sand=ridge", "-o", "new", "--csv-dialect", dialect)
    written = found["schedules"][0]
    assert Path(written["file"]).is_absolute()
    shutil.copy(written["file"], tanks / "theirs" / "day-1.csv")
    here, there = site_of("shop", "sand"), site_of("theirs", "ridge")
    pair = found["pairs"][0]
    assert there["dli_mol_m2_d"] == pytest.approx(pair["dli"]["got"], rel=1e-9)
    assert there["peak_ppfd_umol_m2_s"] == pytest.approx(pair["peak"]["got"], rel=1e-9)
    assert there["dli_mol_m2_d"] == pytest.approx(here["dli_mol_m2_d"], rel=ROUNDED)
    assert there["peak_ppfd_umol_m2_s"] == pytest.approx(here["peak_ppfd_umol_m2_s"], rel=ROUNDED)
    assert there["photoperiod_h"] == pytest.approx(here["photoperiod_h"], rel=ROUNDED)


@pytest.mark.identity
def test_missing_channel_leaves_its_own_bands_unmatched(tanks: Path) -> None:
    """Without the red channel all red photons are missing, in red bands only, and the dose is still equal."""
    write_tank(tanks / "no-red", channels=["blue 450", "cyan 500"])
    found = answer("match", "shop", "no-red", "--pair", "ridge=ridge")
    site = site_of("shop", "ridge")
    red = next(c["dli_mol_m2_d"] for c in site["by_channel"] if c["channel"] == "red 660")
    assert found["pairs"][0]["dli"]["got"] == pytest.approx(site["dli_mol_m2_d"], rel=ROUNDED)
    missing = [b for b in found["unmatched"] if b["band_nm"][0] >= 600]
    assert sum(b["share"] for b in missing) == pytest.approx(red / site["dli_mol_m2_d"], abs=2e-3)
    assert all(b["share_of_band"] == pytest.approx(1, abs=1e-6) for b in missing)
    assert found["other_colour_share"] == pytest.approx(red / site["dli_mol_m2_d"], abs=2e-3)
    assert {b["band_nm"][0] for b in found["unmatched"]} == {b["band_nm"][0] for b in missing}
    text = run("match", "shop", "no-red", "--pair", "ridge=ridge").stdout
    assert "nm missing (11." in text


@pytest.mark.identity
def test_several_pairs_are_equal_in_the_geometric_mean(tanks: Path) -> None:
    """One common factor: the product of the factors is 1, their spread is printed."""
    found = answer("match", "shop", "theirs", "--pair", "ridge=ridge", "--pair", "hammer=sand")
    factors = [p["dli"]["got"] / p["dli"]["target"] for p in found["pairs"]]
    assert factors[0] * factors[1] == pytest.approx(1, rel=ROUNDED)
    assert found["spread"] == pytest.approx([min(factors), max(factors)])
    assert found["spread"][1] > 1.01
    assert f"{found['spread'][0]:.2f} to {found['spread'][1]:.2f}" in run(
        "match", "shop", "theirs", "--pair", "ridge=ridge", "--pair", "hammer=sand"
    ).stdout  # fmt: skip


@pytest.mark.identity
def test_weak_lamp_reaches_what_it_can_and_strict_exits_3(tanks: Path) -> None:
    """At full output everywhere the dose stays below: said in numbers, exit 3 only with --strict."""
    write_tank(tanks / "far", height_cm=200)
    words = ["match", "shop", "far", "--pair", "ridge=sand"]
    found = answer(*words)
    assert found["reached"] is False
    assert all(c["at_limit"] for c in found["channels"])
    assert found["common_factor"] < 0.9
    done = run(*words, "--strict")
    assert done.exit_code == 3
    assert "The dose cannot be reached with" in done.stdout
    assert done.stdout.splitlines()[-1].startswith("Not matched:")
    assert run("match", "shop", "theirs", "--pair", "ridge=ridge", "--strict").exit_code == 0


@pytest.mark.pinned
def test_first_line_says_measure_first_and_files_are_named(tanks: Path) -> None:
    """Unmeasured on both sides; figures and schedules are named on stderr."""
    done = run("match", "shop", "theirs", "--pair", "hammer=ridge", "-o", "new", "--figures", "figs")
    assert done.exit_code == 0
    assert done.stdout.startswith("Measure first, here and there: a match is no better than its weaker side.")
    assert done.stdout.splitlines()[-1] == (
        "Matched on paper, in the same colour: measure before you rely on it. "
        "Next: lightdose dose theirs/setup.toml --schedule new/lamp-1.csv"
    )
    assert "lamp-1.csv, " in done.stderr
    assert {p.name for p in (tanks / "figs").iterdir()} == {"match.svg", "match.png"}


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("words", "hint"),
    [
        ([], "Missing option '--pair'"),
        (["--pair", "ridge"], "is not HERE=THERE"),
        (["--pair", "rigde=sand"], "did you mean 'ridge'?"),
        (["--pair", "ridge=snad"], "did you mean 'sand'?"),
        (["--pair", "ridge=sand", "--pair", "sand=sand"], "is to match several places"),
    ],
)
def test_unknown_places_are_refused_and_nothing_is_written(tanks: Path, words: list[str], hint: str) -> None:
    """A sentence with the near name, exit 2, no file."""
    done = run("match", "shop", "theirs", *words, "-o", "new", "--figures", "figs")
    assert done.exit_code == 2
    assert hint in done.stderr
    assert not (tanks / "new").exists()
    assert not (tanks / "figs").exists()


@pytest.mark.pinned
def test_dark_places_are_refused_and_nothing_is_written(tanks: Path) -> None:
    """No light here to match, or none there from any channel."""
    write_tank(tanks / "dark", levels=dict.fromkeys(LEVELS, 0))
    under = '[[site]]\nname = "cave"\nat = { x = "5 cm", y = "5 cm", depth = "30 cm" }\nopen_sky = 0.0'
    write_tank(tanks / "cave", extra=under)
    for here, there, pair, words in (
        ("dark", "theirs", "ridge=ridge", "'ridge' gets no light, so there is nothing to match"),
        ("shop", "cave", "ridge=cave", "'cave' gets no light from any channel"),
    ):
        done = run("match", here, there, "--pair", pair, "-o", "new")
        assert done.exit_code == 2, done.output
        assert words in done.stderr
        assert not (tanks / "new").exists()


@pytest.mark.identity
def test_one_file_for_two_lamps_is_refused(tanks: Path) -> None:
    """A file name cannot hold two programmes."""
    write_tank(tanks / "two", lamps=2)
    done = run("match", "shop", "two", "--pair", "ridge=ridge", "-o", "new.csv")
    assert done.exit_code == 2
    assert "name a folder" in done.stderr
    assert not (tanks / "new.csv").exists()


@pytest.mark.identity
def test_names_with_an_equals_sign_are_parted_where_both_are_known(tanks: Path) -> None:
    """ "a=b=sand" is the place "a=b" here and "sand" there."""
    extra = '[[site]]\nname = "a=b"\nat = { x = "25 cm", y = "20 cm", depth = "12 cm" }'
    write_tank(tanks / "odd", extra=extra)
    pair = answer("match", "odd", "theirs", "--pair", "a=b=sand")["pairs"][0]
    assert (pair["here"], pair["there"]) == ("a=b", "sand")


@pytest.mark.identity
def test_channel_left_off_that_glows_at_level_0_is_off_in_the_file(tmp_path: Path, tanks: Path) -> None:
    """A written schedule gives the dose that match tells, though a driver gives 5 % at level 0."""
    write_tank(tmp_path / "blue", levels={**LEVELS, "cyan 500": 0, "red 660": 0})
    glow_at_zero(tanks / "theirs" / "lamp.toml")
    found = answer("match", "blue", "theirs", "--pair", "ridge=ridge", "-o", "new.csv")
    assert {c["channel"] for c in found["channels"] if c["output"] == 0} & {"cyan 500", "red 660"}
    done = answer("dose", "theirs", "--schedule", "new.csv")
    got = next(s for s in done["sites"] if s["site"] == "ridge")
    assert got["dli_mol_m2_d"] == pytest.approx(found["pairs"][0]["dli"]["got"], rel=1e-9)
