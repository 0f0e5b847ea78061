"""The measuring sheet: it holds every reading, requests nothing, and shows hostile names literally."""

from __future__ import annotations

import base64
import hashlib
import re
from dataclasses import replace
from functools import cache
from html.parser import HTMLParser

import pytest
from answers.printed import piped
from judge.made_tank import made_tank

from lightdose.answers.survey import ROUTINE, SAFETY, survey_answer
from lightdose.files.library import reference_tables
from lightdose.fit.survey import plan_survey
from lightdose.model.plans import Survey
from lightdose.model.results import Basis
from lightdose.model.setup import Coral, Site
from lightdose.model.spectrum import Meter
from lightdose.present.paper import survey_sheet

HOSTILE = "</style><script>alert('x')</script>&\"[/]"
METER = Meter("hand <b>held</b>", "umol", "soft", "A", "built in", 0.025)


@cache
def survey() -> Survey:
    tank = made_tank(title=HOSTILE)
    sites = (*tank.sites, Site(HOSTILE, 0.5, 0.3, 0.2))
    corals = (*tank.corals, Coral(f"coral {HOSTILE}", "soft", HOSTILE))
    return plan_survey(
        replace(tank, sites=sites, corals=corals), METER, None, reference_tables(), {}, count=9
    )


@cache
def page() -> str:
    return survey_sheet(survey(), "cm", "survey-readings.csv", "lightdose calibrate a b -o c", "Unmeasured.")


class Reader(HTMLParser):
    """Tags, attributes and text as a browser would see them."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    def handle_data(self, data: str) -> None:
        self.words.append(data)


@cache
def reader() -> Reader:
    found = Reader()
    found.feed(page())
    return found


@pytest.mark.identity
def test_page_requests_nothing_and_runs_nothing() -> None:
    """No script, link, image or address; only its own style sheet, allowed by its hash."""
    assert not {tag for tag, _ in reader().tags} & {"script", "link", "img", "iframe", "object", "form"}
    for _, attributes in reader().tags:
        assert not {"src", "href", "style"} & set(attributes)
        assert not any(name.startswith("on") for name in attributes)
    style = re.search(r"<style>(.*?)</style>", page(), re.DOTALL)
    assert style is not None
    digest = base64.b64encode(hashlib.sha256(style[1].encode()).digest()).decode()
    assert f"default-src 'none'; style-src 'sha256-{digest}'" in page().replace("&#39;", "'")
    assert "url(" not in style[1]
    assert len(page()) < 60_000


@pytest.mark.identity
def test_hostile_names_show_literally() -> None:
    """Markup in a title, a site, a coral or a meter is text."""
    text = " ".join("".join(reader().words).split())
    assert text.count(HOSTILE) >= 2
    assert "hand <b>held</b>" in text
    assert [tag for tag, _ in reader().tags].count("style") == 1


@pytest.mark.identity
def test_every_reading_has_its_row_with_a_blank() -> None:
    """One row a reading with place, what is on and an empty cell; routine and safety are all there."""
    tags = [tag for tag, _ in reader().tags]
    blanks = [a for tag, a in reader().tags if tag == "td" and a.get("class") == "blank"]
    assert len(blanks) == len(survey().readings) == 9
    text = " ".join("".join(reader().words).split())
    for reading in survey().readings:
        assert reading.tells in text
    assert all(line in text for line in (*ROUTINE, *SAFETY))
    assert tags.count("h1") == 1
    assert tags.count("caption") == 1
    heads = [a for tag, a in reader().tags if tag == "th"]
    assert all(a.get("scope") in ("col", "row") for a in heads)


@pytest.mark.identity
def test_marks_lie_on_the_plan_and_labels_apart() -> None:
    """Every spot is inside the tank's rectangle; no two labels stand on each other."""
    rect = next(a for tag, a in reader().tags if tag == "rect")
    width, height = float(rect["width"] or 0), float(rect["height"] or 0)
    circles = [a for tag, a in reader().tags if tag == "circle"]
    assert len(circles) == len({(r.spot.x_m, r.spot.y_m, r.spot.in_air) for r in survey().readings})
    for circle in circles:
        assert 0 <= float(circle["cx"] or -1) <= width
        assert 0 <= float(circle["cy"] or -1) <= height
    view = next(a for tag, a in reader().tags if tag == "svg")["viewbox"]
    assert view is not None


@pytest.mark.identity
def test_routine_names_all_that_the_readings_need() -> None:
    """Note settings, clean lens, warm up, pumps, level sensor, body out of the light, restore, face."""
    text = " ".join((*ROUTINE, *SAFETY)).lower()
    for word in (
        "note the settings", "wipe lens", "warm up", "20 minutes", "pumps", "level", "out of the light",
        "restore", "face out of the beam", "dry hands", "drip loop", "secure",
    ):  # fmt: skip
        assert word in text


@pytest.mark.identity
def test_piped_plan_is_one_row_a_reading() -> None:
    """Tabs and line breaks in names do not break rows."""
    lines = piped(survey_answer(survey(), "cm", None, Basis("data sheet", "Unmeasured."), ()))
    assert len([line for line in lines if re.match(r" +\d  ", line)]) == 9
    assert all("\n" not in line for line in lines)
