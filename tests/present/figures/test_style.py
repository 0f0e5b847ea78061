from __future__ import annotations

import itertools
import warnings

import numpy as np
import pytest

from lightdose.model.fixture import Channel, CosineLobe, DimmingCurve
from lightdose.model.spectrum import LedPeak
from lightdose.present.figures import fonts
from lightdose.present.figures.style import (
    DARK,
    DASHES,
    INK,
    QUIET_INK,
    TONES,
    channel_strokes,
    text_size_em,
)


def _linear(colour: str) -> np.ndarray:
    """Linear sRGB, IEC 61966-2-1."""
    encoded = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)]) / 255
    return np.where(encoded <= 0.04045, encoded / 12.92, ((encoded + 0.055) / 1.055) ** 2.4)


STROKES = (*TONES.values(), QUIET_INK, INK)
PAGES = {"light": {colour: colour for colour in (*STROKES, "#ffffff")}, "dark": DARK}


def _contrast(one: str, other: str) -> float:
    """WCAG 2.2, from relative luminance."""
    dark, light = sorted(float(_linear(c) @ [0.2126, 0.7152, 0.0722]) for c in (one, other))
    return (light + 0.05) / (dark + 0.05)


@pytest.mark.published
@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("colour", STROKES)
def test_every_stroke_has_contrast_three_and_text_more(colour: str, page: str) -> None:
    """Lines and marks stand out from the page, light or dark; the inks of words have 4.5."""
    # Source: WCAG 2.2, relative luminance and success criteria 1.4.3 and 1.4.11.
    shown = PAGES[page]
    least = 4.5 if colour in (INK, QUIET_INK) else 3
    assert _contrast(shown[colour], shown["#ffffff"]) >= least


@pytest.mark.published
@pytest.mark.parametrize("page", PAGES)
@pytest.mark.parametrize("sight", ["normal", "Protanomaly", "Deuteranomaly", "Tritanomaly"])
def test_tones_stay_apart_for_colour_blind_eyes(sight: str, page: str) -> None:
    """Every pair of tones differs by a CIEDE2000 distance of 10 or more."""
    # Source: Machado et al. 2009 matrices, severity 1, and CIEDE2000, both of colour-science.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import colour

    matrix = np.eye(3) if sight == "normal" else np.asarray(colour.CVD_MATRICES_MACHADO2010[sight][1.0])
    srgb = colour.RGB_COLOURSPACES["sRGB"]
    labs = [
        colour.XYZ_to_Lab(srgb.matrix_RGB_to_XYZ @ np.clip(matrix @ _linear(c), 0, 1), srgb.whitepoint)
        for c in map(PAGES[page].get, TONES.values())
    ]
    for a, b in itertools.combinations(labs, 2):
        assert colour.delta_E(a, b, method="CIE 2000") >= 10


@pytest.mark.identity
def test_channels_of_one_tone_differ_by_dash() -> None:
    """As many blue channels as there are dashes have different strokes."""
    channels = [
        Channel(str(i), LedPeak(440 + 5 * i, 20), CosineLobe(90), DimmingCurve.linear())
        for i in range(len(DASHES))
    ]
    strokes = channel_strokes(channels)
    assert {s.colour for s in strokes} == {TONES["blue"]}
    assert len({str(s.dash) for s in strokes}) == len(DASHES)


LINES = (
    "Difficult office coffee, flow affluent fjord",
    "AVATAR To. We, Yo-Yo (Vq) 'T' \"L\" P.A. 1/7",
    "6.17 mol m⁻² d⁻¹, 95 % of µmol → 400-700 nm … 5×7",
    "Öl Ångström Größe Łódź",
    "مرجان (الكهف) 12.3",
    "x  two  spaces ",
    "-",
)


@pytest.mark.published
@pytest.mark.parametrize("bold", [False, True])
@pytest.mark.parametrize("line", LINES)
def test_line_is_as_wide_as_freetype_sets_it_whole(line: str, bold: bool) -> None:
    """Sums of pairs give width, height and descent of the line, with its ligatures and kerning."""
    # Source: FreeType and HarfBuzz through matplotlib's font object, which lays out the line at once.
    from matplotlib.ft2font import LoadFlags

    fonts.uncovered(line)
    font = fonts.font(bold=bold)
    font.set_size(500, 72)
    font.set_text(line, 0.0, flags=LoadFlags.NO_HINTING)
    whole = np.array([*font.get_width_height(), font.get_descent()]) / 64 / 500
    # Measured: a ligature of three bold letters is 0.001 of the size narrower than its two pairs less one.
    assert text_size_em(line, bold) == pytest.approx(tuple(whole), abs=3e-3)
