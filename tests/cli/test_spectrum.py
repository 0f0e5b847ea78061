"""`lightdose spectrum`: files and library entries side by side, for people, pipes and programs."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from click.testing import CliRunner, Result

from lightdose.cli import cli
from lightdose.files.spectrum_file import read_spectrum

CSV = "wavelength_nm,irradiance_w_m2_nm\n" + "".join(f"{nm},0.1\n" for nm in range(400, 701))


def run(*words: str) -> Result:
    """Run the command as a user does."""
    return CliRunner().invoke(cli, ["spectrum", *words])


@pytest.fixture
def lamp(tmp_path) -> Path:
    """A flat lamp of 30 W/m2 in 400-700 nm."""
    path = tmp_path / "my lamp ü.csv"
    path.write_text(CSV, encoding="utf-8")
    return path


@pytest.mark.published
def test_flat_irradiance_has_the_ppfd_of_its_mean_wavelength(lamp):
    """30 W/m2 spread evenly over 400-700 nm: K x 550 nm per joule."""
    # Source: SI Brochure 9th ed., exact h, c, N_A: K = 0.00835934722911 umol/J/nm.
    (one,) = json.loads(run(str(lamp), "--json").stdout)["spectra"]
    assert one["umol_per_j"] == pytest.approx(0.00835934722911 * 550, rel=1e-12)
    assert one["ppfd_umol_m2_s"] == pytest.approx(30 * 0.00835934722911 * 550, rel=1e-12)
    assert one["ppf_umol_s"] is None


@pytest.mark.identity
def test_json_names_files_absolutely_and_entries_by_library(lamp, monkeypatch):
    """Programs can find what was read, from any folder."""
    monkeypatch.chdir(lamp.parent)
    result = run(lamp.name, "blue-445", "library:white-led-b3", "--json")
    assert result.exit_code == 0
    read = json.loads(result.stdout)
    assert read["format"] == "lightdose-spectrum/1"
    assert [one["file"] for one in read["spectra"]] == [
        str(lamp),
        "library:blue-445",
        "library:white-led-b3",
    ]
    assert "NaN" not in result.stdout


@pytest.mark.identity
def test_file_wins_over_the_entry_of_its_name(tmp_path, monkeypatch):
    """A file named like an entry is read; library:NAME still gives the entry."""
    monkeypatch.chdir(tmp_path)
    Path("blue-445").write_text(CSV)
    files = [
        one["file"] for one in json.loads(run("blue-445", "library:blue-445", "--json").stdout)["spectra"]
    ]
    assert files == [str(tmp_path / "blue-445"), "library:blue-445"]


@pytest.mark.identity
def test_piped_result_stands_side_by_side_and_ends_with_the_comparison(lamp):
    """A pipe gets a column a spectrum without escapes, then the line that compares."""
    lines = run(str(lamp), "violet-405").stdout.splitlines()
    assert lines[0].split("  ")[-2:] == ["my lamp ü.csv", "violet-405"]
    assert lines[-1].startswith("1000 lx are ")
    assert "\x1b" not in "".join(lines)


@pytest.mark.identity
def test_every_problem_of_every_file_is_reported(tmp_path):
    """One run names all that is wrong, exits 2 and prints no result."""
    bad = tmp_path / "bad.csv"
    bad.write_text("wavelength_nm,relative_power\n400,x\n500,y\n")
    result = run(str(bad), "blu-445", str(tmp_path / "none.csv"), "blue-445")
    assert result.exit_code == 2
    assert result.stdout == ""
    assert "bad.csv:2:5:" in result.stderr
    assert "bad.csv:3:5:" in result.stderr
    assert "no library entry of that name" in result.stderr
    assert "'blue-445'" in result.stderr
    assert "there is no such file" in result.stderr
    assert result.stderr.rstrip().endswith("4 problems")


@pytest.mark.pinned
def test_quantity_is_needed_and_used_without_a_header(tmp_path):
    """A file without a header is read once the user says what it holds."""
    path = tmp_path / "bare.csv"
    path.write_text("".join(f"{nm},1\n" for nm in range(400, 701)))
    assert run(str(path)).exit_code == 2
    power, photons = (
        json.loads(run(str(path), "--quantity", q, "--json").stdout)["spectra"][0]["band_fraction"]["blue"]
        for q in ("power", "photons")
    )
    assert photons == pytest.approx(1 / 3, rel=1e-12)
    assert power == pytest.approx(450 / 1650, rel=1e-12)


@pytest.mark.identity
def test_csv_and_json_hold_the_same_numbers(lamp, tmp_path):
    """Every figure of the CSV is the JSON's, unrounded, and its schema lies beside it."""
    import csv

    target = tmp_path / "out" / "figures.csv"
    result = run(str(lamp), "blue-470", "--csv", str(target), "--json")
    spectra = json.loads(result.stdout)["spectra"]
    rows = list(csv.DictReader(target.read_text(encoding="utf-8").splitlines()))
    for row, one in zip(rows, spectra, strict=True):
        assert row["file"] == one["file"]
        assert float(row["lux_per_umol"]) == one["lux_per_umol"]
        assert float(row["blue_fraction"]) == one["band_fraction"]["blue"]
        assert float(row["usable_fraction_high"]) == one["usable_fraction"]["high"]
        assert (float(row["cct_k"]) if row["cct_k"] else None) == one["cct_k"]
    schema = json.loads(target.with_suffix(".schema.json").read_text())
    assert [field["name"] for field in schema["fields"]] == list(rows[0])
    assert "2 rows" in result.stderr


@pytest.mark.identity
def test_figures_are_written_and_named(tmp_path):
    """An SVG and a PNG with their sizes on stderr; --quiet says nothing."""
    result = run("blue-445", "white-led-b3", "--figures", str(tmp_path / "figs"))
    assert result.exit_code == 0
    assert sorted(p.name for p in (tmp_path / "figs").iterdir()) == [
        "spectra-compared.png",
        "spectra-compared.svg",
    ]
    assert result.stderr.count("wrote ") == 2
    assert run("blue-445", "--figures", str(tmp_path / "figs"), "--quiet").stderr == ""


@pytest.mark.identity
def test_an_input_is_never_overwritten(lamp):
    """The CSV of figures cannot replace the spectrum it came from."""
    result = run(str(lamp), "--csv", str(lamp))
    assert result.exit_code == 2
    assert lamp.read_text(encoding="utf-8") == CSV


@pytest.mark.identity
def test_tm27_and_csv_of_one_light_agree(tmp_path, lamp):
    """The same rows in both forms have the same figures."""
    spectrum = read_spectrum(lamp, "lamp")
    rows = "".join(
        f'<SpectralData wavelength="{nm:g}">{value:g}</SpectralData>'
        for nm, value in zip(spectrum.wavelength_nm, spectrum.values, strict=True)
    )
    xml = tmp_path / "lamp.spdx"
    xml.write_text(
        '<?xml version="1.0"?><IESTM2714 xmlns="iestm2714" version="1.0"><Header/><SpectralDistribution>'
        f"<SpectralQuantity>irradiance</SpectralQuantity>{rows}</SpectralDistribution></IESTM2714>"
    )
    one, other = json.loads(run(str(lamp), str(xml), "--json").stdout)["spectra"]
    for key in ("ppfd_umol_m2_s", "umol_per_j", "lux_per_umol", "band_fraction", "chromaticity_xy"):
        np.testing.assert_equal(one[key], other[key])


@pytest.mark.pinned
def test_help_shows_a_working_example():
    """The examples of the help run."""
    text = run("--help").stdout
    assert "lightdose spectrum blue-445 white-led-b3" in text
    assert run("blue-445", "white-led-b3").exit_code == 0
