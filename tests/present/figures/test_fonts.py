"""Names in every script: fonts that are installed are found, what none has is told, direction holds."""

from __future__ import annotations

import io
from collections.abc import Iterator

import numpy as np
import pytest
from matplotlib.image import imread
from present.made_analysis import made_analysis
from pypdf import PdfReader

from lightdose.answers.language import language
from lightdose.present.figures import fonts, style
from lightdose.present.figures.canvas import (
    Drawing,
    drawing_settings,
    new_figure,
    render,
    write_text,
)
from lightdose.present.figures.fonts import as_drawn
from lightdose.present.figures.style import drawable, text_width_in, wrapped
from lightdose.present.paper import file_bytes, slip_page
from lightdose.workflows.compare import slip

OURS = {
    "Greek": "Ακροπόρα πράσινη",
    "Cyrillic": "Монтипора зелёная",
    "German": "Süßes Bäumchen für Öhi",
    "Arabic": "مرجان الكهف",
    "Hebrew": "אלמוג כחול",
}
"""Scripts of the font that matplotlib brings."""

INSTALLED = {
    "Japanese": "ミドリイシ 青",
    "Korean": "산호 파랑",
    "Chinese": "红色珊瑚",
    "Thai": "ปะการังเขากวาง",
}


@pytest.fixture
def no_fonts(monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """A computer with no font but ours, which nobody has asked for a letter yet."""
    monkeypatch.setattr(fonts, "_FAMILY", {})
    monkeypatch.setattr(fonts, "_installed", tuple)
    forget_sizes()
    yield
    forget_sizes()


def forget_sizes() -> None:
    """Measure every letter anew."""
    style.text_size_em.cache_clear()
    style._set_em.cache_clear()


def pdf_words(name: str) -> list[str]:
    """The words of the first line of a coral's slip, as a reader of PDF files finds them."""
    w = language("en")
    page = slip_page(slip(made_analysis(((name, "mushroom", "s", 2.0),)), name, "2026-03-14"), "a4", w)
    pdf = file_bytes(page, w, page=False)
    assert isinstance(pdf, bytes)
    lines = PdfReader(io.BytesIO(pdf)).pages[0].extract_text().splitlines()
    return sorted(lines[0].split())


@pytest.mark.identity
@pytest.mark.usefixtures("no_fonts")
def test_a_line_break_is_no_letter_that_a_font_could_lack() -> None:
    """A label of two lines with a unit in raised letters stays as it is; nothing is told to be missing."""
    assert fonts.boxed("DLI\n[mol m⁻² d⁻¹]") == "DLI\n[mol m⁻² d⁻¹]"
    assert fonts.missing_words() == ""


@pytest.mark.published
@pytest.mark.parametrize("script", OURS)
def test_name_is_read_back_from_the_pdf(script: str) -> None:
    """Read by a general-purpose library, every word of the name is in the file, letter by letter."""
    # Source of the reading: pypdf; it gives words of a line from right to left in the order of the page.
    assert pdf_words(OURS[script]) == sorted(OURS[script].split())


@pytest.mark.published
@pytest.mark.parametrize("script", ["Japanese", "Korean", "Chinese"])
def test_name_in_an_installed_script_is_read_back(script: str) -> None:
    """The same where the letters come from a font of this computer."""
    name = INSTALLED[script]
    if fonts.uncovered(name):
        pytest.skip(f"no font with {script} letters is installed here")
    assert pdf_words(name) == sorted(name.split())


@pytest.mark.identity
def test_arabic_letters_are_joined_and_run_from_right_to_left() -> None:
    """Joined letters are narrower than the same letters alone, and the first one stands at the right."""
    word = "كهف"
    alone = sum(text_width_in(letter, 10.0) for letter in word)
    assert text_width_in(word, 10.0) < 0.9 * alone
    figure = new_figure(2.0, 0.4)
    with drawing_settings():
        write_text(figure, 0.1, 0.1, 1.8, "ابببببب", 10.0)
    pixels = imread(io.BytesIO(render(Drawing("x", "x", "x", figure), "png")))[..., 0] < 0.5
    rows, columns = np.nonzero(pixels)
    highest = columns[rows == rows.min()]  # the first letter is the tall one
    assert highest.min() > (columns.min() + columns.max()) / 2


@pytest.mark.identity
def test_words_after_a_name_stay_where_they_belong() -> None:
    """A name that runs from right to left is held by marks, once, and other names are left alone."""
    name = drawable("مرجان (الأيل)")
    assert name == "\u200eمرجان (الأيل)\u200e"
    assert drawable(f"{name}, 12.3") == f"{name}, 12.3"
    assert drawable("Süßes") == "Süßes"
    assert drawable("a\u202eb") == "a\\u202eb"


@pytest.mark.identity
@pytest.mark.usefixtures("no_fonts")
def test_letters_that_no_font_has_are_boxes_and_named_once() -> None:
    """The picture has a box a letter, the figure keeps the letters, and one message names them."""
    figure = new_figure(3.0, 0.5)
    with drawing_settings():
        write_text(figure, 0.1, 0.1, 2.8, "サンゴ x", 10.0)
    with drawing_settings(), as_drawn(figure):
        assert figure.texts[0].get_text() == "□□□ x"
    assert figure.texts[0].get_text() == "サンゴ x"
    with drawing_settings(), as_drawn(figure, "text"):
        assert figure.texts[0].get_text() == "サンゴ x"
    words = fonts.missing_words()
    assert words == "no font on this computer has ゴ サ ン (katakana): boxes stand for them"


@pytest.mark.identity
def test_fonts_do_not_depend_on_what_was_asked_first(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two runs that meet names in another order draw them with the same fonts in the same order."""
    found = []
    for names in (list(INSTALLED.values()), list(reversed(INSTALLED.values()))):
        monkeypatch.setattr(fonts, "_FAMILY", {})
        for name in names:
            fonts.uncovered(name)
        found.append(fonts.families())
    assert found[0] == found[1]
    assert found[0][0] == fonts.FONT


@pytest.mark.identity
def test_line_never_begins_with_a_mark_over_a_letter() -> None:
    """A word without blanks is split between letters, never between a letter and its mark."""
    lines = wrapped("a\u0301" * 60, 0.5, 10.0)
    assert len(lines) > 1
    assert all(not line.startswith("\u0301") for line in lines)
