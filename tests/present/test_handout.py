"""The customer's page: one sheet, nothing clipped or overlapping, every statement from the numbers."""

from __future__ import annotations

import io
from dataclasses import replace
from functools import cache

import pytest
from crossed import crossed
from present.made_analysis import EXAMPLE, made_analysis
from present.text_boxes import misplaced_words
from pypdf import PdfReader

from lightdose.answers.handout import shown_evidence, standing_points, why_points
from lightdose.answers.language import LANGUAGES, language
from lightdose.model.results import Analysis, DirectView, Exposure, LimitTime
from lightdose.model.shop import HandedLight, Handout
from lightdose.present.paper import Paper, file_bytes, handout_pages
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

ENGLISH = language("en")


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
def pdf_of(case: str, paper: Paper, key: str = "en") -> bytes:
    pdf = file_bytes(handout_pages(page_of(case), paper, language(key)), language(key), page=False)
    assert isinstance(pdf, bytes)
    return pdf


def text_of(case: str, paper: Paper, key: str = "en") -> str:
    page = PdfReader(io.BytesIO(pdf_of(case, paper, key))).pages[0]
    return " ".join(page.extract_text().replace("\u00a0", " ").split())


@pytest.mark.published
@pytest.mark.parametrize(
    ("case", "paper", "key"),
    [("three", "a4", "en"), ("seventy", "letter", "en"), ("two turned", "a4", "fr")],
)
def test_hand_out_is_one_page_of_its_sheet(case: str, paper: Paper, key: str) -> None:
    """Read by a general-purpose library, the file has exactly one page of the sheet's size."""
    # Source of the reading: pypdf; of the sizes: ISO 216 and ANSI/ASME Y14.1.
    reader = PdfReader(io.BytesIO(pdf_of(case, paper, key)))
    assert len(reader.pages) == 1
    box = reader.pages[0].mediabox
    assert (float(box.width), float(box.height)) == pytest.approx(SHEETS[paper], abs=0.01)


@pytest.mark.identity
@pytest.mark.parametrize(("case", "key"), crossed(CASES, LANGUAGES, one_in=6))
@pytest.mark.parametrize("paper", ["a4", "letter"])
def test_words_are_inside_the_page_and_apart(case: str, paper: Paper, key: str) -> None:
    """With 3 and with 70 corals, hostile names, two setups and every language no word meets another."""
    drawing = handout_pages(page_of(case), paper, language(key))
    assert misplaced_words(drawing) == []
    lowest = min(t.get_position()[1] for t in drawing.figure.texts)
    assert lowest * SHEETS[paper][1] > 36  # half an inch stays free for printers


@pytest.mark.identity
def test_two_runs_give_the_same_bytes_without_a_date() -> None:
    """No clock and no chance is in the file, and the fonts are inside as TrueType."""
    again = handout_pages(handout(made_analysis(THREE)), "a4", ENGLISH)
    first, second = pdf_of("three", "a4"), file_bytes(again, ENGLISH, page=False)
    assert first == second
    assert b"CreationDate" not in first
    assert b"/CIDFontType2" in first
    assert b"/Type3" not in first


@pytest.mark.identity
def test_picture_stands_first_and_small_print_last() -> None:
    """The drawing of the tank lies above every sentence, the evidence below all of them and is smaller."""
    figure = handout_pages(page_of("three"), "a4", ENGLISH).figure
    tank = figure.axes[0].get_position()
    at = {t.get_text(): (t.get_position()[1], t.get_fontsize()) for t in figure.texts}
    assert tank.y1 > max(at["How this light works"][0], at["What to do at home"][0])
    assert at["A trial"][0] < at["What to do at home"][0]
    assert at["A trial"][1] < at["What to do at home"][1]


@pytest.mark.identity
def test_three_corals_stand_for_all() -> None:
    """The brightest, the dimmest and one between of those in their range, of three groups where there are."""
    (light,) = handout(made_analysis(EXAMPLE)).lights
    assert [v.coral for v in light.corals] == ["staghorn frag", "torch head", "red mushroom"]
    doses = [v.dli_mol_m2_d for v in light.corals]
    assert doses == sorted(doses, reverse=True)
    assert light.place == light.corals[0].receiver
    dim = handout(made_analysis((("a", "sps-shallow", "s", 1.0), ("b", "mushroom", "t", 30.0)))).lights[0]
    assert [v.coral for v in dim.corals] == ["b", "a"]


@pytest.mark.identity
def test_two_setups_show_the_corals_that_both_have() -> None:
    """What they have in common is shown of both; where that is nothing, each shows its own."""
    fewer = made_analysis(EXAMPLE[2:4])
    a, b = handout(made_analysis(EXAMPLE), fewer).lights
    assert [v.coral for v in a.corals] == [v.coral for v in b.corals]
    assert {v.coral for v in a.corals} == {"torch head", "frogspawn colony"}
    a, b = page_of("two").lights
    assert (len(a.corals), len(b.corals)) == (2, 3)
    assert not {v.coral for v in a.corals} & {v.coral for v in b.corals}


@pytest.mark.pinned
def test_page_says_what_it_stands_on_and_how_nobody_gets_hurt() -> None:
    """Basis, both sides of the evidence, safety and other causes are on the page; counts are not."""
    text = text_of("three", "a4")
    for words in (
        "How we know",
        "We have not measured this light: we calculated it",
        "Do not look into the lamp",
        "one of many causes",
        "common practice",
        "[Kinzie, Jokiel & York 1984",
        "[Wijgerde et al. 2014",
        "no optimum",
        "staghorn frag",
        "9.40 mol m⁻² a day: in its usual range.",
        "small-polyp stony, shallow: 8-15",
        "Your shop",
        "no assessment to a safety standard",
    ):
        assert words in text
    assert "optimal" not in text.lower()
    assert " of 3" not in text
    assert "2026" not in text
    assert "14 March 2026" in text_of("seventy", "letter")


@pytest.mark.identity
def test_photons_of_the_day_are_strength_times_hours() -> None:
    """The three figures of the first sentence belong together: 0.0036 x PPFD x hours is the dose."""
    (light,) = page_of("three").lights
    assert light.place is not None
    dose = light.analysis.dose
    peak, hours = float(dose.peak_ppfd[light.place]), float(dose.peak_equivalent_h[light.place])
    assert 0.0036 * peak * hours == pytest.approx(float(dose.dli[light.place]), rel=1e-9)
    words = why_points(page_of("three"), ENGLISH)[0].text.replace("\u00a0", " ")
    for figure in (f"{peak:.0f} µmol m⁻² s⁻¹", f"{hours:g} h", "9.40 mol m⁻²"):
        assert figure in words


@pytest.mark.identity
def test_hostile_name_stands_literally() -> None:
    """Markup, formulas and mathematics in a name are letters; what steers the line is an escape."""
    name = '</b> [x] =1+1 $\\a$ "q"\t\u202e'
    page = handout_pages(handout(made_analysis(((name, "mushroom", "s", 2.0),))), "a4", ENGLISH)
    pdf, html = (file_bytes(page, ENGLISH, page=page_form) for page_form in (False, True))
    assert isinstance(pdf, bytes)
    assert isinstance(html, str)
    text = " ".join(PdfReader(io.BytesIO(pdf)).pages[0].extract_text().split())
    assert '</b> [x] =1+1 $\\a$ "q"\\t\\u202e' in text
    assert "</b>" not in html
    assert "&lt;/b&gt; [x] =1+1" in html


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
        (0.94, 0.02, "94 % of this light is blue, so it looks only"),
        (0.45, 0.2, "and 45 % of this light is blue"),
        (0.2, 0.3, "here only 20 % is blue, so the trials may not cover this light"),
        (0.35, 0.6, "here 60 % is red, so the trials do not cover this light"),
    ],
)
def test_statement_on_colour_follows_the_mix(blue: float, red: float, words: str) -> None:
    """Only where blue is there does the page say that colour comes second; else where trials do not reach."""
    (row,) = [r for r in why_points(handout(_recoloured(blue, red)), ENGLISH) if "Colour" in r.about]
    assert words in row.text.replace("\u00a0", " ")


@pytest.mark.identity
def test_evidence_shows_both_sides_and_nothing_from_memory() -> None:
    """Two findings a side, each with its source; what was not checked gives way."""
    page = page_of("three")
    for side in ("for", "against"):
        shown = shown_evidence(page.evidence, side)  # type: ignore[arg-type]
        assert len(shown) == 2
        assert all(one.side == side and "memory" not in one.source for one in shown)


@pytest.mark.identity
@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0.4, "in less than 1 second"), (3.7, "in 3 seconds"), (780.0, "in 13 minutes"), (None, "")],
)
def test_exposure_is_that_of_the_more_dangerous_light(seconds: float | None, words: str) -> None:
    """Whichever stands first on the page, the sooner limit is printed, and none that takes over an hour."""

    def lit(of_limit: float | None) -> HandedLight:
        limit = LimitTime("blue_light_irradiance", "a limit", "IEC 62471:2006", of_limit, None)
        none = Exposure(0.0, None, 0.0, 0.0)
        light = page_of("three").lights[0]
        view = DirectView("lamp", 0.2, none, none, (limit,), (1.0, 1.0))
        return replace(light, analysis=replace(light.analysis, hazards=(view,)))

    for pair in ((lit(5000.0), lit(seconds)), (lit(seconds), lit(None))):
        safety = standing_points(replace(page_of("three"), lights=pair), ENGLISH)[-1].text
        assert words in safety
        assert ("blue-light limit" in safety) == bool(words)


@pytest.mark.identity
def test_page_for_a_browser_holds_text_and_asks_for_nothing() -> None:
    """The HTML page has the words as letters, its language, and a policy that lets nothing be fetched."""
    w = language("de")
    page = file_bytes(handout_pages(page_of("three"), "a4", w), w, page=True)
    assert isinstance(page, str)
    assert '<html lang="de">' in page
    assert "So bekommen diese Korallen ihr Licht" in page
    assert "default-src 'none'" in page
    assert "http" not in page.replace("http-equiv", "")
