"""`dose` in words, tables, CSV and JSON: the same fields on each surface."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from answers.printed import on_terminal, piped
from present.made_analysis import EXAMPLE, made_analysis

from lightdose.answers import TABLES, dose, fields_of, light
from lightdose.answers.answer import envelope
from lightdose.answers.dose import dose_answer, dose_sheet, headline, next_command, span_sentence
from lightdose.answers.field import Field, plain
from lightdose.answers.verdicts import bar_of, verdict_sentence
from lightdose.files.csv_text import Dialect, csv_text, schema_text
from lightdose.files.delimited import read_delimited, read_text
from lightdose.model.identity import Program
from lightdose.model.results import Analysis, Judgement
from lightdose.present.page import laid_out
from lightdose.present.text import bar_text
from lightdose.quantities import BANDS

HOSTILE = "[x] [/] \x1b[31mred\tü\n😀" + "n" * 180


def blocks_of(analysis: Analysis) -> tuple[Any, ...]:
    return dose_answer(analysis, "cm").blocks


def result_of(analysis: Analysis) -> dict[str, Any]:
    return envelope(dose_answer(analysis, "cm"), Program("0.0.0", {"python": "3"}, "d" * 64))


def corals_of(result: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {c["coral"]: c for s in result["sites"] for c in s["corals"]}


@pytest.mark.identity
def test_one_line_puts_a_figure_on_every_surface(monkeypatch: pytest.MonkeyPatch) -> None:
    """A made field stands in terminal (by width), pipe, CSV, schema, JSON, page and the guide's list."""
    made = Field("dli_green_mol_m2_d", "DLI of green", lambda r: r.bands["green"], "dli", at={"sites": 2.5})
    before = on_terminal(blocks_of(made_analysis()), 200, everything=True)
    monkeypatch.setattr(light, "FIELDS", (*light.FIELDS, made))
    monkeypatch.setattr(dose, "FIELDS", light.FIELDS)
    monkeypatch.setattr(dose, "OF_SITE", (*light.OF_SITE, made))
    analysis = made_analysis()
    answer = dose_answer(analysis, "cm")
    heads = [text for text in on_terminal(answer.blocks, 200, everything=True) if "DLI of green" in text]
    assert len(heads) == 1
    assert not any("DLI of green" in line for line in before)
    assert not any("DLI of green" in line for line in on_terminal(answer.blocks, 40, everything=True))
    assert any("DLI of green" in line for line in piped(answer.blocks, everything=True))
    assert answer.sheet is not None
    assert [row["dli_green_mol_m2_d"] for row in answer.sheet.records()] == [
        row["green_dose_mol_m2_d"] for row in answer.sheet.records()
    ]
    column = answer.sheet.columns[-1]
    assert (column.name, column.unit) == ("dli_green_mol_m2_d", "mol m-2 d-1")
    assert '"dli_green_mol_m2_d"' in schema_text(answer.sheet.columns)
    for site in result_of(analysis)["sites"]:
        assert site["dli_green_mol_m2_d"] == site["band_dose_mol_m2_d"]["green"]
    page = json.dumps(laid_out([dose.sites_section(analysis, "cm")]), ensure_ascii=False)
    assert "DLI of green" in page
    assert made in fields_of("dose")


@pytest.mark.identity
@pytest.mark.parametrize("command", sorted(TABLES))
def test_every_field_says_what_it_is(command: str) -> None:
    """Names and heads are there, no column and no key stands twice, and columns have names in ASCII."""
    fields = fields_of(command)
    written = [name for f in fields if f.csv for name in ([p for p, _ in f.parts] or [f.name])]
    assert len(written) == len(set(written))
    assert all(name.isascii() and name == name.lower() for name in written)
    keys = [f.key or f.name for f in fields if f.key != ""]
    assert len(keys) == len(set(keys))
    for one in fields:
        assert one.name
        assert one.head
        assert one.kind == "string" or one.meaning or one.key == "" or not one.csv or one.parts


@pytest.mark.identity
def test_every_field_of_dose_gives_its_value_on_a_made_record() -> None:
    """A wrong way to a value fails here: each field is asked for a coral and for a bare site."""
    rows = light.rows_of(made_analysis())
    for one in (f for f in light.FIELDS if f.csv):
        columns = one.cells(rows)
        assert len(columns) == max(1, len(one.parts))
        assert all(len(column) == len(rows) for column in columns)
        values = [plain(one.get(row)) for row in rows if row.verdict]
        assert all(v is None or isinstance(v, str | float | int | bool | list | dict) for v in values)


@pytest.mark.identity
@pytest.mark.parametrize("dialect", ["plain", "excel-eu"])
def test_own_reader_reads_own_csv_to_the_same_numbers(dialect: Dialect, tmp_path: Path) -> None:
    """Every number comes back to its last digit, in each dialect."""
    sheet = dose_sheet(made_analysis())
    names = [c.name for c in sheet.columns]
    path = tmp_path / "d.csv"
    path.write_text(csv_text(names, sheet.values(), dialect), encoding="utf-8", newline="")
    text, encoding = read_text(path, limit_bytes=10**6, label="d.csv")
    table = read_delimited(text, "d.csv", encoding)
    assert table.header == tuple(names)
    column = table.header.index("dli_mol_m2_d")
    read = [table.number(row, column) for row in table.rows]
    assert read == [row["dli_mol_m2_d"] for row in sheet.records()]


@pytest.mark.identity
def test_name_that_looks_like_a_formula_is_neutral() -> None:
    """A spreadsheet does not run a coral's name; a setup without sites is a header alone."""
    sheet = dose_sheet(made_analysis((("=1+1", "mushroom", "s", 2.0),)))
    names = [c.name for c in sheet.columns]
    assert csv_text(names, sheet.values()).splitlines()[1].startswith("'=1+1,")
    empty = dose_sheet(made_analysis(corals=(), bare_sites=()))
    assert csv_text(names, empty.values()) == ",".join(names) + "\n"


@pytest.mark.identity
def test_schema_lists_every_column_with_its_kind() -> None:
    """The Table Schema beside the CSV fits it."""
    columns = dose_sheet(made_analysis()).columns
    fields = json.loads(schema_text(columns))["fields"]
    assert [(f["name"], f["type"]) for f in fields] == [(c.name, c.kind) for c in columns]


@pytest.mark.pinned
def test_json_has_the_keys_of_the_contract() -> None:
    """The object, a site, a coral and a fixture hold the keys that other programs rely on."""
    result = result_of(made_analysis())
    assert result["format"] == "lightdose-dose/1"
    assert set(result) == {
        "format", "title", "basis", "counts", "calculated_counts", "bands_nm", "sites", "fixtures",
        "uncertainty", "penalty", "actions", "cannot_be_served", "cautions", "provenance",
    }  # fmt: skip
    assert set(result["sites"][0]) >= {
        "site", "x_m", "y_m", "depth_m", "open_sky", "dli_mol_m2_d", "peak_ppfd_umol_m2_s", "lux_at_peak",
        "photoperiod_h", "any_light_h", "peak_equivalent_h", "band_dose_mol_m2_d", "usable_fraction",
        "usable_dose_mol_m2_d", "interval_95", "full_output", "by_channel", "corals",
    }  # fmt: skip
    assert set(result["sites"][0]["corals"][0]) >= {
        "coral", "group", "judged_at_depth_m", "dli_mol_m2_d", "peak_ppfd_umol_m2_s", "dli_state",
        "dli_verdict", "peak_state", "probability", "probability_within", "hours_at_pmax_h",
        "hours_above_saturation_h", "hours_at_pmax_own_curve_h", "photons_beyond_saturation_fraction", "ek",
        "band_dli", "floor_dli", "ceiling_dli", "advice", "grade", "sources",
    }  # fmt: skip
    assert set(result["fixtures"][0]) == {
        "fixture", "energy_kwh_d", "cost_per_year", "currency", "photon_efficacy_umol_j",
    }  # fmt: skip
    assert result["bands_nm"]["far_red"] == [700, 800]
    own = result["provenance"].pop("setups")
    assert result["provenance"] == {
        "version": "0.0.0", "libraries": {"python": "3"}, "data_sha256": "d" * 64,
        "seed": None, "draws": None, "inputs_sha256": {},
    }  # fmt: skip
    assert [one["inputs_sha256"] for one in own] == [{"setup.toml": "0" * 64}]
    assert result["counts"] == result["calculated_counts"] == {
        "judged": 7, "within": 3, "undecided": 0, "below": 1, "above": 1, "far_below": 1, "far_above": 1,
    }  # fmt: skip
    assert result["penalty"] == 6.0


@pytest.mark.identity
def test_json_lists_sites_and_not_the_tops_of_corals() -> None:
    """Own receivers of corals do not stand among the sites; their light stands with the coral."""
    analysis = made_analysis()
    result = result_of(analysis)
    assert [s["site"] for s in result["sites"]] == [s.name for s in analysis.setup.sites]
    assert len(analysis.light_field.receivers) > len(result["sites"])
    for name, _, _, dli in EXAMPLE:
        assert corals_of(result)[name]["dli_mol_m2_d"] == dli


@pytest.mark.identity
def test_json_of_a_dark_site_has_null_and_no_nan() -> None:
    """Without light the fraction and the equivalent hours are null, the doses 0."""
    result = result_of(made_analysis())
    dark = next(s for s in result["sites"] if s["site"] == "empty corner")
    assert dark["usable_fraction"] is None
    assert dark["peak_equivalent_h"] is None
    assert dark["usable_dose_mol_m2_d"] == {"default": 0.0, "low": 0.0, "high": 0.0}
    assert dark["corals"] == []
    assert json.dumps(result, allow_nan=False)
    assert plain(math.nan) is plain(math.inf) is None
    assert json.loads(json.dumps(plain(0.1 + 0.2))) == 0.1 + 0.2


@pytest.mark.identity
def test_json_channels_and_thirds_add_to_the_dose() -> None:
    """The doses of the channels add to the DLI, and so do blue, green and red; usable spans nine curves."""
    for site in result_of(made_analysis())["sites"]:
        bands = site["band_dose_mol_m2_d"]
        assert list(bands) == [b.key for b in BANDS]
        assert bands["blue"] + bands["green"] + bands["red"] == pytest.approx(site["dli_mol_m2_d"], abs=1e-12)
        channels = sum(c["dli_mol_m2_d"] for c in site["by_channel"])
        assert channels == pytest.approx(site["dli_mol_m2_d"], abs=1e-12)
    site = result_of(made_analysis())["sites"][0]
    assert site["usable_fraction"] == pytest.approx({"default": 0.7, "low": 0.5, "high": 0.9})
    assert site["usable_dose_mol_m2_d"]["high"] == pytest.approx(0.9 * site["dli_mol_m2_d"])


@pytest.mark.identity
def test_coral_without_symbionts_is_not_judged() -> None:
    """It has a dose, no band, no bar and no peak state, and does not count."""
    coral = corals_of(result_of(made_analysis()))["sun coral"]
    assert coral["dli_state"] == coral["dli_verdict"] == "not_judged"
    assert coral["band_dli"] is coral["floor_dli"] is coral["ceiling_dli"] is coral["peak_state"] is None
    verdicts = made_analysis((("c", "non-photosynthetic", "s", 2.0),)).verdicts
    assert bar_of(verdicts[0]) is None
    assert Judgement.of(verdicts) == Judgement(None, None, 0.0)
    assert verdict_sentence(verdicts) == "no coral here is judged by light"
    assert verdict_sentence(()) == "no corals to judge"


@pytest.mark.identity
def test_setup_without_corals_or_sites_is_still_complete() -> None:
    """A setup without corals gives doses and no verdicts; an empty tank says what to add."""
    bare = made_analysis(corals=())
    assert [s["corals"] for s in result_of(bare)["sites"]] == [[], []]
    assert result_of(bare)["counts"] is None
    lines = piped(blocks_of(bare), everything=True)
    assert sum(line.startswith(("empty corner", "front glass")) for line in lines) >= 2
    assert lines[-1].startswith("No corals to judge. Next: ")
    empty = replace(made_analysis(corals=(), bare_sites=()), cautions=())
    assert result_of(empty)["sites"] == result_of(empty)["cautions"] == []
    lines = piped(blocks_of(empty))
    assert any("nothing to compute light for" in line for line in lines)
    assert "add a [[site]]" in lines[-1]


@pytest.mark.pinned
def test_first_line_is_the_basis_and_last_line_the_verdict() -> None:
    """The answer opens with what it stands on and closes with who stands where."""
    lines = piped(blocks_of(made_analysis()))
    assert lines[0].startswith("Not measured. Based on data sheets")
    assert lines[1] == "3 of 7 corals within common practice."
    assert lines[-1].startswith(
        "3 of 7 corals within common practice, 1 far below, 1 below, 1 above, 1 far above"
    )
    assert lines[-1].endswith("Next: lightdose dose tank/setup.toml --figures figures")


@pytest.mark.identity
def test_every_coral_has_one_line_worst_first() -> None:
    """Far off before off before within before not judged, one row a line."""
    lines = piped(blocks_of(made_analysis()))
    start = next(n for n, line in enumerate(lines) if line.split()[:2] == ["coral", "DLI"])
    rows = lines[start + 3 : start + 3 + len(EXAMPLE)]
    assert {row[4:].split("  ")[0] for row in rows} == {name for name, *_ in EXAMPLE}
    assert [row[:2].strip() for row in rows] == ["!!", "!!", "!", "!", "", "", "", ""]
    assert all("far " in row for row in rows[:2])
    assert all("below" in row or "above" in row for row in rows[:4])
    assert all(" within " in row for row in rows[4:7])
    assert "not judged" in rows[7]


@pytest.mark.identity
def test_hostile_name_stays_on_its_line_without_an_escape_byte() -> None:
    """Control characters stand as escapes; markup and emoji stand literally; plain names are ASCII."""
    lines = piped(blocks_of(made_analysis(((HOSTILE, "mushroom", HOSTILE, 2.0),))), everything=True)
    assert any(line.startswith("[x] [/] \\x1b[31mred\\tü\\n😀nnn") for line in lines)
    assert not any("\x1b" in line or "\n" in line for line in lines)
    assert all(line.isascii() for line in piped(blocks_of(made_analysis())))


@pytest.mark.identity
def test_places_follow_the_unit_asked_for() -> None:
    """10 cm is 3.9 in, and the unit stands in the head."""
    for unit, text in (("cm", ", 10, "), ("in", ", 3.9, ")):
        lines = piped(dose_answer(made_analysis(), unit).blocks, everything=True)  # type: ignore[arg-type]
        assert any(line.startswith("ridge") and text in line for line in lines)


@pytest.mark.pinned
def test_words_name_range_and_headline() -> None:
    """The words give the span of doses and its ends; one coral gets one number; a path can be pasted."""
    assert span_sentence(made_analysis()) == ("0.60 (sun coral) to 9.60 (green mushroom) mol/m2/day.")
    one = made_analysis((("c", "mushroom", "s", 2.0),))
    assert span_sentence(one) == "2.00 mol/m2/day (c)."
    assert headline(one) == "1 of 1 coral within common practice."
    assert next_command(one) == "lightdose dose tank/setup.toml --figures figures"
    for path, typed in (
        ("my tank/setup.toml", '"my tank/setup.toml"'),
        ("a$b/setup.toml", "'a$b/setup.toml'"),
    ):
        object.__setattr__(one.setup, "path", path)
        assert next_command(one) == f"lightdose dose {typed} --figures figures"


@pytest.mark.pinned
def test_short_answer_counts_standing_cautions_and_keeps_safety() -> None:
    """Cautions of this tank stand in full, safety in a line; --all shows the rest."""
    lines = piped(blocks_of(made_analysis()))
    assert any(line.startswith("- Red is 52 % of PPFD") for line in lines)
    assert any(line.startswith("Safety: never look into the emitters") for line in lines)
    whole = piped(blocks_of(made_analysis()), everything=True)
    assert any(line.startswith("- Do not look into the emitters.") for line in whole)
    assert any(line.startswith("right ") and " - " in line for line in whole)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("dli", "bar"),
    [
        (0.0, "*[..|.....|..]."),
        (5.1, ".[*.|.....|..]."),
        (11.5, ".[..|..*..|..]."),
        (15.0, ".[..|....*|..]."),
        (16.0, ".[..|.....|*.]."),
        (99.0, ".[..|.....|..]*"),
    ],
)
def test_range_bar_marks_the_zone_of_the_state(dli: float, bar: str) -> None:
    """The mark stands in the zone that the state names, the band's upper end inside it."""
    found = bar_of(made_analysis((("c", "sps-shallow", "s", dli),)).verdicts[0])
    assert found is not None
    assert bar_text(found) == bar
