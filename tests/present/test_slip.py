"""The slip of a coral: a quarter of a sheet, complete, nothing clipped."""

from __future__ import annotations

import io
from dataclasses import replace

import pytest
from present.made_analysis import EXAMPLE, made_analysis
from present.text_boxes import misplaced_words
from pypdf import PdfReader

from lightdose.model.shop import Slip
from lightdose.present.paper import Paper, pdf_bytes, slip_page
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


def text_of(page: Slip) -> str:
    reader = PdfReader(io.BytesIO(pdf_bytes(slip_page(page, "a4"))))
    return " ".join(reader.pages[0].extract_text().replace("\u00a0", " ").split())


@pytest.mark.published
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_slip_is_one_page_of_a_quarter_sheet(paper: Paper) -> None:
    """Read by a general-purpose library, the file has one page of the quarter's size."""
    # Source of the reading: pypdf; of the sizes: ISO 216 A6, and a Letter sheet cut twice.
    page = made_slip() if paper == "a4" else hostile_slip()
    reader = PdfReader(io.BytesIO(pdf_bytes(slip_page(page, paper))))
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(QUARTERS[paper], abs=0.01)


@pytest.mark.identity
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_words_of_every_slip_are_inside_and_apart(paper: Paper) -> None:
    """No coral, group or name clips a word or lets two meet."""
    for page in (*(made_slip(name) for name, *_ in EXAMPLE), hostile_slip()):
        assert misplaced_words(slip_page(page, paper)) == []


@pytest.mark.identity
def test_two_runs_give_the_same_bytes() -> None:
    """No clock is in the file but the date that was given."""
    first, second = (pdf_bytes(slip_page(made_slip(), "a4")) for _ in range(2))
    assert first == second
    assert b"CreationDate" not in first


@pytest.mark.pinned
def test_slip_holds_what_the_next_keeper_needs() -> None:
    """Dose, peak, hours, colour, usual range with grade, basis, date and the line to type back."""
    text = text_of(made_slip())
    for words in (
        "torch head",
        "2026-03-14",
        "4.20 mol m⁻² d⁻¹",
        "146 µmol m⁻² s⁻¹",
        "lit 9.8, worth 8.0 at the peak",
        "mostly blue: 70 % between 400 and 500 nm, 20 % green",
        "2.5-5.5 for large-polyp stony, branching",
        "grade D (practice only)",
        "Not measured",
        "Start at or below this dose",
        "previous = 4.2",
        "Do not look into the emitters",
        "notes",
    ):
        assert words in text
