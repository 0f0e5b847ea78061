from __future__ import annotations

import json
import math
from dataclasses import replace
from typing import Any

import pytest
from present.made_analysis import EXAMPLE, made_analysis

from lightdose.files.results_json import dose_json, dump
from lightdose.quantities import BANDS


def _corals(result: dict[str, Any]) -> dict[str, dict[str, Any]]:
    return {c["coral"]: c for s in result["sites"] for c in s["corals"]}


@pytest.mark.pinned
def test_dose_json_of_a_setup_has_the_keys_of_the_contract():
    """The object, a site, a coral and a fixture hold the keys that other programs rely on."""
    result = dose_json(made_analysis())
    assert list(result) == [
        "format",
        "title",
        "basis",
        "bands_nm",
        "sites",
        "fixtures",
        "uncertainty",
        "cautions",
        "provenance",
    ]
    assert result["format"] == "lightdose-dose/1"
    assert set(result["sites"][0]) == {
        "site",
        "x_m",
        "y_m",
        "depth_m",
        "open_sky",
        "dli_mol_m2_d",
        "peak_ppfd_umol_m2_s",
        "lux_at_peak",
        "photoperiod_h",
        "any_light_h",
        "peak_equivalent_h",
        "band_dose_mol_m2_d",
        "usable_fraction",
        "usable_dose_mol_m2_d",
        "interval_95",
        "full_output",
        "by_channel",
        "corals",
    }
    assert set(result["sites"][0]["corals"][0]) == {
        "coral",
        "group",
        "judged_at_depth_m",
        "dli_mol_m2_d",
        "peak_ppfd_umol_m2_s",
        "dli_state",
        "dli_verdict",
        "peak_state",
        "likely_state",
        "probability",
        "probability_within",
        "hours_at_pmax_h",
        "hours_above_saturation_h",
        "hours_at_pmax_own_curve_h",
        "photons_beyond_saturation_fraction",
        "ek",
        "band_dli",
        "floor_dli",
        "ceiling_dli",
        "advice",
        "grade",
        "sources",
    }
    assert result["bands_nm"]["far_red"] == [700, 800]
    assert result["provenance"]["inputs_sha256"] == {"setup.toml": "0" * 64}


@pytest.mark.identity
def test_dose_json_lists_sites_and_not_the_tops_of_corals():
    """Own receivers of corals do not stand among the sites; their light stands with the coral."""
    analysis = made_analysis()
    result = dose_json(analysis)
    assert [s["site"] for s in result["sites"]] == [s.name for s in analysis.setup.sites]
    assert len(analysis.light_field.receivers) > len(result["sites"])
    for name, _, _, dli in EXAMPLE:
        assert _corals(result)[name]["dli_mol_m2_d"] == dli


@pytest.mark.identity
def test_dose_json_of_a_dark_site_has_null_and_no_nan():
    """Without light the fraction and the equivalent hours are null, the doses 0."""
    result = dose_json(made_analysis())
    dark = next(s for s in result["sites"] if s["site"] == "empty corner")
    assert dark["usable_fraction"] is None
    assert dark["peak_equivalent_h"] is None
    assert dark["usable_dose_mol_m2_d"] == {"default": 0.0, "low": 0.0, "high": 0.0}
    assert dark["corals"] == []
    assert "NaN" not in dump(result)


@pytest.mark.identity
def test_dose_json_channels_and_thirds_add_to_the_dose():
    """The doses of the channels add to the DLI, and so do blue, green and red."""
    for site in dose_json(made_analysis())["sites"]:
        bands = site["band_dose_mol_m2_d"]
        assert list(bands) == [b.key for b in BANDS]
        assert bands["blue"] + bands["green"] + bands["red"] == pytest.approx(site["dli_mol_m2_d"], abs=1e-12)
        channels = sum(c["dli_mol_m2_d"] for c in site["by_channel"])
        assert channels == pytest.approx(site["dli_mol_m2_d"], abs=1e-12)


@pytest.mark.identity
def test_usable_fraction_spans_the_four_curves():
    """Default is curve z1; low and high are the least and the greatest of the four."""
    site = dose_json(made_analysis())["sites"][0]
    assert site["usable_fraction"] == pytest.approx({"default": 0.7, "low": 0.5, "high": 0.9})
    assert site["usable_dose_mol_m2_d"]["high"] == pytest.approx(0.9 * site["dli_mol_m2_d"])


@pytest.mark.identity
def test_coral_without_symbionts_is_not_judged():
    """It has a dose, no band and no peak state."""
    coral = _corals(dose_json(made_analysis()))["sun coral"]
    assert coral["dli_state"] == coral["dli_verdict"] == "not_judged"
    assert coral["band_dli"] is coral["floor_dli"] is coral["ceiling_dli"] is coral["peak_state"] is None


@pytest.mark.identity
def test_dump_refuses_nan_and_keeps_every_digit():
    """JSON has no NaN; a float read back is the same float."""
    with pytest.raises(ValueError, match="JSON"):
        dump({"x": math.nan})
    assert json.loads(dump({"x": 0.1 + 0.2}))["x"] == 0.1 + 0.2


@pytest.mark.identity
def test_dose_json_without_corals_or_sites_is_still_complete():
    """A setup without corals gives doses and no verdicts."""
    bare = dose_json(made_analysis(corals=()))
    assert [s["corals"] for s in bare["sites"]] == [[], []]
    empty = dose_json(replace(made_analysis(corals=(), bare_sites=()), cautions=()))
    assert empty["sites"] == []
    assert empty["cautions"] == []
