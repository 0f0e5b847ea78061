from __future__ import annotations

import math
from pathlib import Path

import pytest
from present.made_analysis import EXAMPLE, made_analysis

from lightdose.analysis import analyse
from lightdose.answers.dose import dose_body, dose_sheet
from lightdose.files.setup_file import read_setup

EXAMPLE_SETUP = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"


@pytest.mark.identity
def test_rows_hold_each_coral_once_and_each_site_without_corals():
    """One row a coral and one for a site without corals, in the order of the sites."""
    rows = dose_sheet(made_analysis()).records()
    assert sorted(r["coral"] for r in rows if r["coral"]) == sorted(name for name, *_ in EXAMPLE)
    assert [r["site"] for r in rows if not r["coral"]] == ["empty corner", "front glass"]
    assert len({tuple(r) for r in rows}) == 1


@pytest.mark.identity
def test_rows_equal_the_json_to_the_last_digit():
    """A row's light and state are the very numbers of the JSON."""
    analysis = made_analysis()
    corals = {c["coral"]: c for s in dose_body(analysis)["sites"] for c in s["corals"]}
    for row in dose_sheet(analysis).records():
        if row["coral"]:
            coral = corals[row["coral"]]
            for key in ("dli_mol_m2_d", "peak_ppfd_umol_m2_s", "judged_at_depth_m", "dli_state"):
                assert row[key] == coral[key]
            assert [row["band_dli_low_mol_m2_d"], row["band_dli_high_mol_m2_d"]] == (
                coral["band_dli"] or [None, None]
            )


@pytest.mark.identity
def test_row_of_a_coral_with_a_height_holds_the_light_at_its_top():
    """The band doses of a row belong to the coral's own receiver: they add to its DLI."""
    for row in dose_sheet(made_analysis()).records():
        parts = [row[f"{band}_dose_mol_m2_d"] for band in ("blue", "green", "red")]
        assert math.fsum(p for p in parts if isinstance(p, float)) == pytest.approx(row["dli_mol_m2_d"])


@pytest.mark.identity
def test_to_frame_equals_the_rows():
    """The pandas table holds the same columns and numbers."""
    analysis = analyse(read_setup(EXAMPLE_SETUP), certainty=False)
    frame, rows = analysis.to_frame(), dose_sheet(analysis).records()
    assert frame.index.names == ["coral", "site"]
    assert list(frame.reset_index().columns.sort_values()) == sorted(rows[0])
    assert frame["dli_mol_m2_d"].tolist() == [r["dli_mol_m2_d"] for r in rows]


@pytest.mark.identity
def test_column_names_are_ascii_without_blanks():
    """Every column name can stand in a spreadsheet's formula or a program."""
    assert all(name.isidentifier() and name.isascii() for name in dose_sheet(made_analysis()).records()[0])


@pytest.mark.identity
def test_band_fraction_without_light_is_not_a_number():
    """There is no share of nothing."""
    analysis = made_analysis()
    dark = [s.name for s in analysis.setup.sites].index("empty corner")
    assert all(math.isnan(v) for v in analysis.band_fraction(dark).values())
