"""The slip of a coral: a quarter of a sheet, complete, nothing clipped."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from crossed import crossed
from present.made_analysis import EXAMPLE, made_analysis
from present.made_history import made_history
from present.text_boxes import misplaced_words
from pypdf import PdfReader

from lightdose.answers.changed import year_spells
from lightdose.answers.language import LANGUAGES, language
from lightdose.model.shop import Slip
from lightdose.present.paper import Paper, file_bytes, slip_page
from lightdose.workflows.compare import slip

HOSTILE = '</script><b>"x" [x] [/] =1+1 & \U0001f420 \u202e\n$\\alpha$ ' * 6
QUARTERS = {"a4": (297.638, 419.528), "letter": (306.0, 396.0)}
"""Width and height in points: 105 x 148 mm, 4.25 x 5.5 in."""


def made_slip(coral: str = "torch head", title: str = "Window tank (invented)") -> Slip:
    return slip(made_analysis(title=title), coral, "2026-03-14")


def hostile_slip() -> Slip:
    corals = ((HOSTILE, "lps-branching", "s", 4.2),)
    found = slip(made_analysis(corals, title=HOSTILE), HOSTILE, "2026-03-14")
    sentence = f"Unmeasured: typical values for {HOSTILE!r}, good to a factor of 2."
    analysis = replace(found.analysis, basis=replace(found.analysis.basis, sentence=sentence))
    return replace(found, analysis=analysis, verdict=replace(found.verdict, group_name=HOSTILE))


def pdf_of(page: Slip, paper: Paper = "a4", key: str = "en") -> bytes:
    pdf = file_bytes(slip_page(page, paper, language(key)), language(key), page=False)
    assert isinstance(pdf, bytes)
    return pdf


def text_of(page: Slip) -> str:
    reader = PdfReader(io.BytesIO(pdf_of(page)))
    return " ".join(reader.pages[0].extract_text().replace("\u00a0", " ").split())


@pytest.mark.published
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_slip_is_one_page_of_a_quarter_sheet(paper: Paper) -> None:
    """Read by a general-purpose library, the file has one page of the quarter's size."""
    # Source of the reading: pypdf; of the sizes: ISO 216 A6, and a Letter sheet cut twice.
    page = made_slip() if paper == "a4" else hostile_slip()
    reader = PdfReader(io.BytesIO(pdf_of(page, paper)))
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(QUARTERS[paper], abs=0.01)


@pytest.mark.identity
@pytest.mark.parametrize(("paper", "key"), crossed(["a4", "letter"], list(LANGUAGES), one_in=3))
def test_words_of_every_slip_are_inside_and_apart(paper: Paper, key: str) -> None:
    """No coral, group or name clips a word or lets two meet."""
    for page in (*(made_slip(name) for name, *_ in EXAMPLE), hostile_slip()):
        assert misplaced_words(slip_page(page, paper, language(key))) == []


@pytest.mark.identity
def test_two_runs_give_the_same_bytes() -> None:
    """No clock is in the file but the date that was given."""
    first, second = (pdf_of(made_slip()) for _ in range(2))
    assert first == second
    assert b"CreationDate" not in first


@pytest.mark.pinned
def test_slip_holds_what_the_next_keeper_needs() -> None:
    """Dose, peak, hours, colour, usual range, basis, date, how to start and the line to type back."""
    text = text_of(made_slip())
    for words in (
        "torch head",
        "14 March 2026",
        "4.20 mol m⁻² a day",
        "146 µmol m⁻² s⁻¹",
        "lit for 9.8 h, worth 8 h of the strongest light",
        "70 % blue, 20 % green, 10 % red",
        "large-polyp stony, branching: 2.5-5.5",
        "How we know We have not measured",
        "Start at 4.2 mol m⁻² a day or less",
        "previous = 4.2",
        "Do not look into the lamp",
        "Shop, notes",
    ):
        assert words in text


@pytest.mark.identity
def test_name_stands_whole_on_as_many_lines_as_it_needs() -> None:
    """A long name of a coral is never shortened while there is room."""
    name = "grandmother's old leather coral from the blue basin by the window, second cutting"
    found = slip(made_analysis(((name, "mushroom", "s", 2.0),)), name, "2026-03-14")
    assert name in text_of(found)


@pytest.mark.identity
def test_last_year_is_drawn_from_the_diary() -> None:
    """The line is the dose of each state from its day to the next, and its end has the last dose."""
    history = made_history(1)
    life = next(c for c in history.corals if c.spells)
    found = replace(made_slip(), life=life, date=life.spells[-1].until)
    figure = slip_page(found, "a4", language("en")).figure
    spells = year_spells(life, found.date)
    drawn = [line for axes in figure.axes for line in axes.get_lines()]
    doses = [d for s in spells for d in (s.light.dli_mol_m2_d,) * 2]
    assert any(list(line.get_ydata()) == doses for line in drawn)
    assert misplaced_words(slip_page(found, "a4", language("de"))) == []
