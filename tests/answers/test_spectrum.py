"""Figures of spectra for people and for pipes."""

from __future__ import annotations

import pytest
from answers.printed import on_terminal, piped

from lightdose.answers.answer import envelope
from lightdose.answers.library import spectrum_answer
from lightdose.model.identity import Program
from lightdose.model.spectrum import PIGMENT_MODELS, USABLE_CURVES, SpectrumMetrics

EVERY = (*USABLE_CURVES, *PIGMENT_MODELS)


def made(file: str, *, lux: float | None = 6.255, ppfd: float | None = None) -> SpectrumMetrics:
    """Figures of an invented light."""
    return SpectrumMetrics(
        file=file,
        ppfd_umol_m2_s=ppfd,
        ppf_umol_s=None,
        umol_per_j=3.7203,
        lux_per_umol=lux,
        band_fraction={"uv_a": 0.0008, "blue": 0.999, "green": 0.001, "red": 0.0, "far_red": None},
        outside_400_700_fraction=0.27,
        usable_fraction={curve: 0.8 + 0.02 * n for n, curve in enumerate(EVERY)},
        chromaticity_xy=(0.158, 0.0173),
        cct_k=None,
        duv=-0.0007,
        notes=("3 negative values set to zero",),
    )


def side_by_side(spectra, names, width):
    return on_terminal(spectrum_answer(spectra, names, {}).blocks, width)


@pytest.mark.pinned
def test_table_shows_every_figure_with_its_unit_and_edges():
    """One spectrum, line by line."""
    assert list(side_by_side([made("a")], ["a"], 80)) == [
        "                                      a",
        "---------------------------------------",
        "umol/J, 400-700 nm                 3.72",
        "lx per umol/m2/s                   6.25",
        "UV-A 315-400, % of PPFD             0.1",
        "blue 400-500, % of PPFD            99.9",
        "green 500-600, % of PPFD            0.1",
        "red 600-700, % of PPFD              0.0",
        "far red 700-800, % of PPFD            -",
        "beyond 400-700, % of 300-800       27.0",
        "usable share                       0.80",
        "its range, nine curves        0.82-0.98",
        "CIE 1931 x                       0.1580",
        "CIE 1931 y                       0.0173",
        "colour temperature K                  -",
        "Duv                             -0.0007",
        "- a: 3 negative values set to zero",
        "usable share (lowest-highest of nine published curves), not growth",
        "",
        "1000 lx are 160 under a (umol/m2/s). Next: --figures DIR draws the spectra.",
    ]


@pytest.mark.identity
@pytest.mark.parametrize("width", [40, 80, 200])
def test_table_keeps_to_the_width_and_is_ascii(width):
    """Spectra that do not fit stand in a further block; nothing is cut."""
    names = [f"lamp-{i}" for i in range(9)]
    lines = list(side_by_side([made(n, ppfd=100.0) for n in names], names, width))
    table = lines[: lines.index(f"- {names[0]}: 3 negative values set to zero")]
    assert max(map(len, table)) <= max(width, 41)
    assert all(line.isascii() for line in lines)
    heads = " ".join(line for line in table if line.strip().startswith("lamp"))
    assert all(name in heads.split() for name in names)


@pytest.mark.identity
def test_absolute_rows_appear_with_an_absolute_spectrum_only():
    """PPFD has a row where a file is absolute."""
    assert not any("PPFD umol" in line for line in side_by_side([made("a")], ["a"], 80))
    assert any(line.startswith("PPFD umol/m2/s") for line in side_by_side([made("a", ppfd=12.5)], ["a"], 80))


@pytest.mark.identity
def test_pipe_shows_every_figure_and_no_letter_that_steers():
    """Nothing is wrapped or dropped in a pipe; a line break in a name stands as an escape."""
    names = ["a", "b\nc", *(f"lamp-{n}" for n in range(20))]
    lines = piped(spectrum_answer([made(n, lux=None) for n in names], names, {}).blocks)
    assert any("b\\nc" in line for line in lines)
    assert sum("lamp-19" in line for line in lines) >= 1
    assert lines[-1] == "No lux figure: see the notes."


@pytest.mark.pinned
def test_object_has_the_keys_of_its_format():
    """One object, versioned, with null where there is no figure and every digit elsewhere."""
    read = envelope(
        spectrum_answer([made("/lamp.csv", ppfd=100 / 3)], ["a"], {"/lamp.csv": "0"}), Program("0")
    )
    assert read["format"] == "lightdose-spectrum/1"
    assert read["bands_nm"]["blue"] == [400, 500]
    assert read["provenance"]["inputs_sha256"] == {"lamp.csv": "0"}
    assert read["spectra"] == [
        {
            "file": "/lamp.csv",
            "ppfd_umol_m2_s": 100 / 3,
            "ppf_umol_s": None,
            "umol_per_j": 3.7203,
            "lux_per_umol": 6.255,
            "band_fraction": {"uv_a": 0.0008, "blue": 0.999, "green": 0.001, "red": 0.0, "far_red": None},
            "outside_400_700_fraction": 0.27,
            "usable_fraction": {"default": 0.8, "low": 0.8 + 0.02, "high": 0.8 + 0.02 * 9},
            "chromaticity_xy": [0.158, 0.0173],
            "cct_k": None,
            "duv": -0.0007,
            "notes": ["3 negative values set to zero"],
        }
    ]


@pytest.mark.identity
def test_all_weightings_show_every_curve_and_keep_the_models_out_of_the_range():
    """Nine published curves and four models have a row each; JSON and CSV have them all by name."""
    plain = spectrum_answer([made("a")], ["a"], {})
    every = spectrum_answer([made("a")], ["a"], {}, all_weightings=True)
    shown = on_terminal(every.blocks, 80)
    assert [line.split()[-1] for line in shown if line.startswith("its range, nine curves")] == ["0.82-0.98"]
    for curve in EVERY[1:]:
        assert any(line.startswith(curve.replace("_", " ")) for line in shown), curve
    by_curve = envelope(every, Program("0"))["spectra"][0]["usable_fraction_by_curve"]
    assert tuple(by_curve) == EVERY
    assert "usable_fraction_by_curve" not in envelope(plain, Program("0"))["spectra"][0]
