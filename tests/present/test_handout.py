"""The customer's page: one sheet, nothing clipped or overlapping, every statement from the numbers."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache

import pytest
from crossed import crossed
from present.made_analysis import made_analysis
from present.text_boxes import misplaced_words
from pypdf import PdfReader

from lightdose.answers.handout import finding, more_text, standing_points, why_points
from lightdose.model.results import Analysis, Caution, DirectView, Exposure, LimitTime
from lightdose.model.shop import HandedLight, Handout
from lightdose.present.figures.handout import chosen_rows, coral_rows
from lightdose.present.paper import Paper, handout_pages, pdf_bytes
from lightdose.workflows.compare import handout

HOSTILE = '</script><b>"x" [x] [/] =1+1 & \U0001f420 \u202e\n$\\alpha$ '
THREE = (
    ("staghorn frag", "sps-shallow", "ridge", 9.4),
    ("torch head", "lps-branching", "terrace", 4.2),
    ("green mushroom", "mushroom", "sand left", 9.6),
)
KINDS = ("sps-shallow", "lps-branching", "mushroom", "non-photosynthetic")
SEVENTY = tuple(
    (f"{HOSTILE * 4 if i % 3 else 'coral'} number {i}"[-200:], KINDS[i % 4], f"site {i % 20}", 0.2 + 0.3 * i)
    for i in range(70)
)
SHEETS = {"a4": (595.276, 841.890), "letter": (612.0, 792.0)}
"""Width and height in points: 210 x 297 mm, 8.5 x 11 in."""


@cache
def page_of(case: str) -> Handout:
    """The hand-outs that the tests look at, by name."""
    if case == "three":
        return handout(made_analysis(THREE))
    if case == "seventy":
        return handout(made_analysis(SEVENTY, title=HOSTILE * 4), date="2026-03-14")
    if case == "none":
        return handout(made_analysis((), ()))
    many = made_analysis(SEVENTY, title=HOSTILE * 4)
    return handout(made_analysis(THREE), many) if case == "two" else handout(many, made_analysis(THREE))


CASES = ("three", "seventy", "none", "two", "two turned")


@cache
def pdf_of(case: str, paper: Paper) -> bytes:
    return pdf_bytes(handout_pages(page_of(case), paper))


def text_of(case: str, paper: Paper) -> str:
    page = PdfReader(io.BytesIO(pdf_of(case, paper))).pages[0]
    return " ".join(page.extract_text().replace("\u00a0", " ").split())


@pytest.mark.published
@pytest.mark.parametrize(("case", "paper"), [("three", "a4"), ("seventy", "letter"), ("two turned", "a4")])
def test_hand_out_is_one_page_of_its_sheet(case: str, paper: Paper) -> None:
    """Read by a general-purpose library, the file has exactly one page of the sheet's size."""
    # Source of the reading: pypdf; of the sizes: ISO 216 and ANSI/ASME Y14.1.
    reader = PdfReader(io.BytesIO(pdf_of(case, paper)))
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(SHEETS[paper], abs=0.01)


@pytest.mark.identity
@pytest.mark.parametrize(("case", "paper"), crossed(CASES, ["a4", "letter"], one_in=2))
def test_words_are_inside_the_page_and_apart(case: str, paper: Paper) -> None:
    """With 3 and with 70 corals, hostile names and two setups no word is clipped and none meets another."""
    drawing = handout_pages(page_of(case), paper)
    assert misplaced_words(drawing) == []
    lowest = min(t.get_position()[1] for t in drawing.figure.texts)
    assert lowest * SHEETS[paper][1] > 36  # half an inch stays free for printers


@pytest.mark.identity
def test_two_runs_give_the_same_bytes_without_a_date() -> None:
    """No clock and no chance is in the file, and the fonts are inside as TrueType."""
    first, second = pdf_of("three", "a4"), pdf_bytes(handout_pages(handout(made_analysis(THREE)), "a4"))
    assert first == second
    assert b"CreationDate" not in first
    assert b"/CIDFontType2" in first
    assert b"/Type3" not in first


@pytest.mark.identity
def test_all_corals_are_shown_or_counted() -> None:
    """What the page has no room for is counted and summed up by state, for each setup."""
    rows = coral_rows(page_of("two").lights)
    shown = chosen_rows(rows, 9)
    hidden = [[v for r in rows if r not in shown if (v := r.verdicts[s])] for s in (0, 1)]
    assert len(rows) == 73
    assert sum(len(h) for h in hidden) == 64
    text = more_text(page_of("two"), hidden)
    counted = [part.split(":")[0].split()[0] for part in text.split(" more corals")[:-1]]
    assert f"B: {len(hidden[1])} more corals" in text
    assert counted


@pytest.mark.identity
def test_chosen_corals_hold_the_furthest_off_and_every_group() -> None:
    """Half of the room goes to those furthest off; the rest takes a coral of each group in turn."""
    rows = coral_rows(page_of("seventy").lights)
    shown = chosen_rows(rows, 12)
    assert shown[:6] == rows[:6]
    assert len(shown) == 12
    assert {v.group for row in shown for v in row.verdicts if v} == set(KINDS)
    assert chosen_rows(rows, 200) == rows


@pytest.mark.pinned
def test_page_says_what_it_stands_on_and_how_nobody_gets_hurt() -> None:
    """Basis, grade, both sides of the evidence, safety, other causes are on the page; a date if given."""
    text = text_of("three", "a4")
    for words in (
        "Not measured. Based on data sheets",
        "Do not look into the emitters",
        "many causes",
        "common practice",
        "[Kinzie, Jokiel & York 1984",
        "[Wijgerde et al. 2014",
        "as long as blue is present and red does not dominate",
        "Looks and gets",
        "staghorn frag",
        "8-15, B",
        "no optimum",
    ):
        assert words in text
    assert "optimal" not in text.lower()
    assert "2026" not in text
    assert "2026-03-14" in text_of("seventy", "letter")


@pytest.mark.identity
def test_hostile_name_stands_literally() -> None:
    """Markup, formulas and mathematics in a name are letters; what steers the line is an escape."""
    name = '</b> [x] =1+1 $\\a$ "q"\t\u202e'
    analysis = made_analysis(((name, "mushroom", "s", 2.0),))
    page = PdfReader(io.BytesIO(pdf_bytes(handout_pages(handout(analysis), "a4")))).pages[0]
    assert '</b> [x] =1+1 $\\a$ "q"\\t\\u202e' in page.extract_text()


def _recoloured(blue: float, red: float) -> Analysis:
    """The made tank with other daily shares of blue and red."""
    analysis = made_analysis(THREE)
    weighted = analysis.dose.weighted.copy()
    keys = analysis.light_field.weightings
    weighted[:, keys.index("blue")] = blue * analysis.dose.dli
    weighted[:, keys.index("red")] = red * analysis.dose.dli
    weighted[:, keys.index("green")] = (1 - blue - red) * analysis.dose.dli
    return replace(analysis, dose=replace(analysis.dose, weighted=weighted))


@pytest.mark.identity
@pytest.mark.parametrize(
    ("blue", "red", "words"),
    [
        (0.94, 0.02, "nearly all blue: 94 % between 400 and 500 nm"),
        (0.94, 0.02, "blue without white can be enough"),
        (0.45, 0.2, "blue is present here"),
        (0.2, 0.3, "Blue is scarce here"),
        (0.35, 0.6, "Red dominates here"),
    ],
)
def test_statement_on_colour_follows_the_mix(blue: float, red: float, words: str) -> None:
    """Only of blue light is said that it can be enough; the page says where trials do not cover a mix."""
    row = next(r for r in why_points(handout(_recoloured(blue, red))) if r.about == "Colour")
    assert words in row.text
    assert ("without white can be enough" in row.text) == (blue >= 0.6)


@pytest.mark.identity
def test_modest_light_is_not_oversold_where_corals_get_less_than_usual() -> None:
    """A tank with corals below their range says how many, beside what more light would bring."""
    dim = made_analysis((("a", "sps-shallow", "s", 2.0), ("b", "sps-shallow", "s", 9.0)))
    row = next(r for r in why_points(handout(dim)) if r.about == "Modest light")
    assert "1 coral here gets less than usual" in row.text
    assert finding(handout(dim)) == "1 of 2 corals within common practice"


@pytest.mark.identity
def test_hazard_line_with_an_endless_fixture_name_is_cut() -> None:
    """A name of 200 letters within a safety line keeps its two ends, so that the page keeps its room."""
    analysis = made_analysis(THREE)
    name = "lamp " * 40
    fixtures = (replace(analysis.setup.fixtures[0], name=name), analysis.setup.fixtures[1])
    caution = Caution("safety_eyes", f"Staring into {name} reaches the limit in 3 s.", "IEC 62471:2006")
    long = replace(analysis, setup=replace(analysis.setup, fixtures=fixtures), cautions=(caution,))
    page = replace(page_of("three"), lights=(replace(page_of("three").lights[0], analysis=long),))
    safety = standing_points(page)[-1].text
    assert "reaches the limit in 3 s" in safety
    assert len(safety) < 100


@pytest.mark.identity
def test_safety_of_two_lights_is_that_of_the_more_dangerous_one() -> None:
    """Whichever stands first on the page, the line with the sooner limit is the one that is printed."""

    def lit(seconds: float | None) -> HandedLight:
        limit = LimitTime("blue_light_irradiance", "a limit", "IEC 62471:2006", seconds, None)
        none = Exposure(0.0, None, 0.0, 0.0)
        caution = Caution("safety_eyes", f"The limit is reached in {seconds} s.", "IEC 62471:2006")
        light = page_of("three").lights[0]
        view = DirectView("lamp", 0.2, none, none, (limit,), (1.0, 1.0))
        return replace(light, analysis=replace(light.analysis, cautions=(caution,), hazards=(view,)))

    for pair in ((lit(None), lit(3.0)), (lit(3.0), lit(50.0)), (lit(50.0), lit(3.0))):
        assert (
            standing_points(replace(page_of("three"), lights=pair))[-1].text
            == "The limit is reached in 3.0 s."
        )
