"""The overlay of photon spectra: what the axes hold, and that every word stays on the canvas."""

from __future__ import annotations

import numpy as np
import pytest
from present.text_boxes import misplaced_words

from lightdose.model.spectrum import SpectralDistribution
from lightdose.present.figures.canvas import render
from lightdose.present.figures.day import overlay_drawing
from lightdose.present.figures.style import TONES, spectrum_strokes


def curve(name: str, peak_nm: float, width_nm: float = 20.0) -> SpectralDistribution:
    """A made light of area 1."""
    nodes = np.arange(300.0, 801)
    values = np.exp(-((nodes - peak_nm) ** 2) / width_nm**2)
    return SpectralDistribution(name, nodes, values / values.sum(), "photons")


LIGHTS = [curve("violet", 410), curve("blue", 450), curve("blue too", 460), curve("white", 560, 120)]


@pytest.mark.identity
def test_axes_hold_the_curves_in_percent_with_units():
    """Each line is a spectrum's own nodes; both axes carry their unit, bands their edges."""
    drawing = overlay_drawing(LIGHTS)
    (axes,) = drawing.figure.axes
    drawn = {line.get_label(): line for line in axes.get_lines()}
    for light in LIGHTS:
        np.testing.assert_array_equal(drawn[light.name].get_xdata(), light.wavelength_nm)
        np.testing.assert_allclose(drawn[light.name].get_ydata(), 100 * light.values)
    assert axes.get_xlabel() == "wavelength [nm]"
    assert axes.get_ylabel() == "photons [% per nm]"
    assert axes.get_xlim() == (300, 800)
    words = {text.get_text() for text in axes.texts}
    assert {"blue 400-500", "far red 700-800", "UV-A 315-400"} <= words
    assert {light.name for light in LIGHTS} <= words


@pytest.mark.identity
def test_lights_of_one_tone_differ_by_their_dash():
    """Colour follows the light, and no two lines look the same."""
    strokes = spectrum_strokes(LIGHTS)
    assert [s.colour for s in strokes] == [TONES["violet"], TONES["blue"], TONES["blue"], TONES["white"]]
    assert len({(s.colour, str(s.dash)) for s in strokes}) == len(strokes)


@pytest.mark.pinned
@pytest.mark.parametrize(
    ("lights", "title"),
    [
        (LIGHTS[:2], "Most photons at: violet 410 nm, blue 450 nm"),
        (LIGHTS, "4 lights, most photons at 410 to 560 nm"),
    ],
)
def test_title_states_the_peaks(lights, title):
    """The head says what the figure shows, in numbers."""
    assert overlay_drawing(lights).title == title


@pytest.mark.identity
@pytest.mark.parametrize(
    "lights",
    [
        LIGHTS,
        [
            curve(f"lamp {i} with a name that is far too long for any margin of a figure", 420 + 5 * i)
            for i in range(30)
        ],
        [curve("<&$x_1$ [/b] ☃", 340)],
    ],
)
def test_every_word_stays_on_the_canvas(lights):
    """Long, many and odd names are neither clipped nor laid over one another."""
    assert misplaced_words(overlay_drawing(lights)) == []


@pytest.mark.identity
def test_files_are_the_same_every_time_and_say_what_they_show():
    """Two runs give the same bytes; the SVG carries title and description."""
    for form in ("svg", "png"):
        assert render(overlay_drawing(LIGHTS), form) == render(overlay_drawing(LIGHTS), form)
    svg = render(overlay_drawing(LIGHTS), "svg").decode()
    assert "<title>4 lights, most photons at 410 to 560 nm</title>" in svg
    assert "violet 410 nm" in svg[svg.index("<desc>") : svg.index("</desc>")]
