"""The report page: it holds every number of `dose`, requests nothing, and shows hostile names literally."""

from __future__ import annotations

import base64
import hashlib
import re
from collections.abc import Iterator
from dataclasses import replace
from functools import cache
from html import unescape
from html.parser import HTMLParser
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from lightdose.analysis import analyse, site_days, site_spectra
from lightdose.answers.dose import answer_points, headline
from lightdose.answers.words import STATE_WORDS, hours, number, percent, range_text
from lightdose.files.setup_file import read_setup
from lightdose.judge.map_choice import shown_receivers, shown_sites
from lightdose.model.comparison import Compared
from lightdose.model.places import Plane
from lightdose.model.results import Analysis
from lightdose.model.setup import Coral, Site
from lightdose.present.report import Report, report_page
from lightdose.quantities import BANDS
from lightdose.workflows.advice import advised
from lightdose.workflows.compare import compare, looks_and_gets
from lightdose.workflows.explain import colour_or_intensity, diminishing_return, try_change
from lightdose.workflows.plans import light_map

EXAMPLE = Path(__file__).resolve().parents[2] / "examples" / "first-tank" / "setup.toml"
HOSTILE = "</style></script><script>alert('x')</script>&amp;\"[/] {{ 7*7 }}"


class Reader(HTMLParser):
    """Tags, attributes, texts and tables as a browser would see them."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict[str, str | None]]] = []
        self.words: list[str] = []
        self.tables: dict[str, list[list[str]]] = {}
        self._rows: list[list[str]] | None = None

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag == "table":
            self._rows = self.tables[str(dict(attrs).get("id", len(self.tables)))] = []
        elif tag == "tr" and self._rows is not None:
            self._rows.append([])
        elif tag in ("td", "th") and self._rows:
            self._rows[-1].append("")

    def handle_endtag(self, tag: str) -> None:
        if tag == "table":
            self._rows = None

    def handle_data(self, data: str) -> None:
        data = data.replace("\u00a0", " ")
        self.words.append(data)
        if self._rows and self._rows[-1]:
            self._rows[-1][-1] = f"{self._rows[-1][-1]} {data.strip()}".strip()

    def rows(self, key: str) -> dict[str, dict[str, str]]:
        """Rows of a table by their first cells, each by the heads of its columns."""
        heads, *rows = self.tables[key]
        return {row[0]: dict(zip(heads, row, strict=True)) for row in rows}

    def cell(self, key: str, row: str, head: str) -> str:
        """A cell by the start of its column's head; columns that are the same for all stand in the note."""
        found = [text for name, text in self.rows(key)[row].items() if name.startswith(head)]
        if found:
            return found[0]
        words = "".join(self.words).lower()
        told = re.search(
            rf"the same for all: .{{0,200}}?{re.escape(head.lower())} ([^,]+?)(?:, |\. |\.$)", words
        )
        assert told is not None, (key, row, head)
        return told[1].split()[0]


def report_of(analysis: Analysis, **more: Any) -> Report:
    shown = shown_receivers(analysis)
    planes = [Plane("depth", 0.2), Plane("from_front", 0.2)]
    return Report(
        analysis=analysis,
        unit="cm",
        days=site_days(analysis, shown),
        spectra=site_spectra(analysis, shown[:1]),
        light=light_map(analysis.setup, planes, cell_m=0.05, shares=False),
        looks=looks_and_gets(analysis),
        more_light=diminishing_return(analysis),
        colour=colour_or_intensity(analysis),
        change=try_change(analysis),
        **more,
    )


@cache
def example() -> Analysis:
    return advised(read_setup(EXAMPLE))


@cache
def page() -> str:
    return report_page(report_of(example()))


@cache
def reader() -> Reader:
    found = Reader()
    found.feed(page())
    return found


@cache
def hostile_page() -> str:
    setup = example().setup
    sites = (*setup.sites, Site(HOSTILE, 0.5, 0.3, 0.2))
    corals = (*setup.corals, Coral(f"coral {HOSTILE}", "soft", HOSTILE), Coral("=1+1", "soft", "shelf"))
    fixtures = (replace(setup.fixtures[0], name=HOSTILE), *setup.fixtures[1:])
    bad = replace(setup, title=HOSTILE, sites=sites, corals=corals, fixtures=fixtures)
    return report_page(report_of(analyse(bad), variation=HOSTILE))


@cache
def compared_page() -> str:
    setup = example().setup
    other = replace(setup, title="B", fixtures=tuple(replace(f, height_m=0.14) for f in setup.fixtures))
    found = compare(setup, other)
    shown = shown_sites(found)
    here, there = [s.a for s in shown], [s.b for s in shown]
    a, b = found.before, found.after
    days = (site_days(a, here), site_days(b, there))
    return report_page(
        report_of(a, compared=Compared(found, shown, days, (site_spectra(a, here), site_spectra(b, there))))
    )


def source_hash(text: str) -> str:
    return f"'sha256-{base64.b64encode(hashlib.sha256(text.encode()).digest()).decode()}'"


@pytest.mark.identity
@pytest.mark.parametrize("make", [page, hostile_page, compared_page])
def test_policy_names_every_style_and_script_by_hash(make: Any) -> None:
    """Nothing but our own style and script, each by the hash of its text."""
    text = make()
    found = re.search(r'Content-Security-Policy" content="([^"]*)"', text)
    assert found is not None
    policy = unescape(found[1])
    assert policy.startswith("default-src 'none'")
    assert "unsafe" not in policy
    styles = re.findall(r"<style>(.*?)</style>", text, re.DOTALL)
    scripts = re.findall(r"<script>(.*?)</script>", text, re.DOTALL)
    assert len(scripts) == 2
    assert styles
    for part in (*styles, *scripts):
        assert source_hash(part) in policy


@pytest.mark.identity
@pytest.mark.parametrize("make", [page, hostile_page, compared_page])
def test_page_requests_nothing_and_has_no_inline_style_or_handler(make: Any) -> None:
    """No address, no style attribute, no handler; references stay within the page and meet their ids."""
    found = Reader()
    found.feed(make())
    assert not {tag for tag, _ in found.tags} & {"link", "img", "iframe", "object", "form", "image"}
    ids = [a["id"] for _, a in found.tags if a.get("id")]
    assert len(ids) == len(set(ids))
    for _, attributes in found.tags:
        assert not {"src", "style", "xlink:href", "srcset"} & set(attributes)
        assert not any(name.startswith("on") for name in attributes)
        if "href" in attributes:
            assert str(attributes["href"]).removeprefix("#") in ids
        for name in ("aria-labelledby", "aria-describedby"):
            assert set(str(attributes.get(name) or "").split()) <= set(ids)
    assert "url(http" not in make()


@pytest.mark.identity
def test_hostile_names_show_literally() -> None:
    """Markup in title, site, coral, fixture and variation is text; two scripts run, both ours."""
    found = Reader()
    found.feed(hostile_page())
    text = " ".join("".join(found.words).split())
    assert text.count(HOSTILE) >= 6
    assert "=1+1" in text
    scripts = [attributes for tag, attributes in found.tags if tag == "script"]
    assert [a.get("type") for a in scripts] == ["application/json", None, None]


@pytest.mark.identity
def test_headings_captions_and_scopes_are_whole() -> None:
    """One h1, no level skipped, a caption for every table, a scope for every head, figures with words."""
    tags = [tag for tag, _ in reader().tags]
    levels = [int(tag[1]) for tag in tags if re.fullmatch(r"h[1-6]", tag)]
    assert levels.count(1) == 1
    assert levels[0] == 1
    assert all(b - a <= 1 for a, b in pairwise(levels))
    assert tags.count("caption") == tags.count("table") == len(reader().tables)
    assert all(a.get("scope") in ("col", "row") for tag, a in reader().tags if tag == "th")
    figures = [a for tag, a in reader().tags if tag == "svg" and a.get("role") == "img"]
    assert tags.count("figure") >= 7
    assert len(figures) >= tags.count("figure")
    assert tags.count("desc") == len([a for a in figures if "figure" in str(a.get("class"))])


def _near(row: list[str]) -> str:
    return " ".join(row)


@pytest.mark.identity
def test_every_site_number_of_dose_stands_in_the_tables() -> None:
    """DLI, interval, peak, lux, hours, bands, usable light and every channel, to the shown digit."""
    analysis = example()
    dose, known = analysis.dose, analysis.uncertainty
    assert known is not None
    cell = reader().cell
    for i, site in enumerate(analysis.setup.sites):
        name = site.name
        for head, text in (
            ("DLI mol", number(float(dose.dli[i]))),
            ("DLI, 95 %", "-".join(number(float(x)) for x in known.dli[i])),
            ("peak µmol", number(float(dose.peak_ppfd[i]))),
            ("peak, 95 %", "-".join(number(float(x)) for x in known.peak_ppfd[i])),
            ("lux at peak", number(float(dose.lux_at_peak[i]))),
            ("full hours", hours(float(dose.peak_equivalent_h[i]))),
            ("lit", hours(float(dose.photoperiod_h[i]))),
            ("any light", hours(float(dose.any_light_h[i]))),
            ("open sky", f"{site.open_sky:g}"),
        ):
            assert cell("table-sites", name, head) == text, head
        bands, usable = analysis.band_dose_mol_m2_d(i), analysis.usable_dose_mol_m2_d(i)
        for band in BANDS:
            head = f"{band.name} {band.low_nm:g}-{band.high_nm:g}"
            assert cell("table-colour", name, head) == number(bands[band.key])
        share = analysis.usable_fraction(i)
        assert share is not None
        told = f"{share.default:.2f} ({share.low:.2f}-{share.high:.2f})"
        assert told.startswith(cell("table-colour", name, "usable share (range)"))
        span = f"({number(usable.low)}-{number(usable.high)})"
        assert span in cell("table-colour", name, "usable dose")
        assert cell("table-looks", name, "gets") == number(float(dose.peak_ppfd[i]))
        full = analysis.light_field.of("ppfd")
        for key, values in (("channel-doses", dose.dli_by_channel), ("full-output", full)):
            row = reader().rows(f"table-{key}")[name]
            assert [*row.values()][1:] == [number(float(x)) for x in values[i]]


@pytest.mark.identity
def test_every_coral_number_of_dose_stands_in_the_tables() -> None:
    """Dose, range, interval, odds, floor, ceiling, hours at the full rate: what `dose` says of each coral."""
    cell = reader().cell
    words = " ".join(reader().words).replace("\u00a0", " ")
    for verdict in example().verdicts:
        coral, known = verdict.coral, verdict.certainty
        assert known is not None
        assert verdict.band_dli is not None
        assert verdict.hours_at_pmax_h is not None
        for table, head, text in (
            ("corals", "DLI mol", number(verdict.dli_mol_m2_d)),
            ("corals", "usual", range_text(*verdict.band_dli)),
            ("corals", "DLI, 95 %", "-".join(number(x) for x in known.interval_dli)),
            ("corals", "group", verdict.group_name),
            ("limits", "usual", range_text(*verdict.band_dli)),
            ("limits", "floor", f"{verdict.floor_dli:g}"),
            ("limits", "ceiling", f"{verdict.ceiling_dli:g}"),
            ("photosynthesis", "at Pmax", "-".join(hours(x) for x in verdict.hours_at_pmax_h)),
        ):
            assert cell(f"table-{table}", coral, head) == text, head
        assert cell("table-groups", verdict.group_name, "grade") == verdict.grade
        assert cell("table-corals", coral, "peak").startswith(number(verdict.peak_ppfd_umol_m2_s))
        for state in list(STATE_WORDS)[:5]:
            share = percent(known.probability.get(state, 0.0)).replace("\u00a0", " ")
            shown = cell("table-certainty", coral, state.replace("_", " ")).replace("\u00a0", " ")
            assert share.startswith(shown)
        assert verdict.advice.split(",")[0].replace("mol/m2/day", "mol m⁻² d⁻¹") in words


@pytest.mark.identity
def test_energy_programme_and_sources_stand_in_the_page() -> None:
    """Energy and cost of every fixture, every point of its programme, and every citation of its groups."""
    energy = reader().rows("table-energy")
    for use in example().fixtures:
        assert use.energy_kwh_d is not None
        assert use.cost_per_year is not None
        assert number(use.energy_kwh_d) in energy[use.fixture].values()
        assert number(use.cost_per_year) in energy[use.fixture].values()
        assert use.currency in energy[use.fixture].values()
    rows = reader().tables["table-programme-1"]
    assert rows[1] == ["08:30", "0", "0", "0", "0", "0", "0"]
    assert rows[3][0] == "14:30"
    text = " ".join("".join(reader().words).split())
    for verdict in example().verdicts:
        for source in verdict.sources:
            assert source in text
    for caution in example().cautions:
        assert caution.text.split(" (")[0][:60] in text


@pytest.mark.pinned
def test_first_screen_answers_in_words() -> None:
    """How many, who not, what to do first and then, the basis; before any table."""
    analysis = example()
    assert headline(analysis) == "6 of 9 corals within common practice, 2 undecided."
    told = {point.about: point.text for point in answer_points(analysis).points}
    assert list(told) == ["Doses", "Not usual", "Do first", "Then", "Move"]
    assert told["Not usual"].startswith("staghorn frag, 6.82 mol/m2/day on a flat spot, usual 8")
    assert told["Do first"].startswith("Take one meter reading at shelf")
    assert told["Then"].startswith("After measuring, probably: ")
    words = " ".join("".join(reader().words).split())
    assert all(told[about] in words for about in ("Do first", "Then"))
    assert "Stands on" in page()
    assert page().index(headline(analysis)) < page().index("<table")


@pytest.mark.identity
def test_answer_of_other_tanks_says_what_holds() -> None:
    """All within, all undecided and no corals are told apart; without advice nothing is to be done."""
    analysis = example()
    within = tuple(v for v in analysis.verdicts if v.dli_verdict == "within")
    assert headline(replace(analysis, verdicts=within)) == "6 of 6 corals within common practice."
    assert headline(replace(analysis, verdicts=())).startswith("No corals yet")
    undecided = tuple(v for v in analysis.verdicts if v.dli_verdict == "undecided")
    assert headline(replace(analysis, verdicts=undecided)) == (
        "0 of 2 corals within common practice, 2 undecided."
    )
    bare = answer_points(replace(analysis, advice=None, verdicts=within))
    assert [point.about for point in bare.points] == ["Doses", "Not usual"]
    assert bare.points[1].text == "No coral is known to get too little or too much."


@pytest.mark.identity
def test_comparison_stands_in_the_page() -> None:
    """Both setups, the split and the figures of the comparison; ids stay apart from those of the report."""
    found = Reader()
    found.feed(compared_page())
    rows = {row[0]: row for row in found.tables["table-compared-corals"][1:]}
    assert set(rows) == {c.name for c in example().setup.corals}
    assert "→" in rows["plating cap"][1]
    assert rows["plating cap"][2] == "4-9"
    figures = {str(a["id"]) for tag, a in found.tags if tag == "figure"}
    assert {"figure-days", "figure-comparison-days", "figure-comparison-spectra"} <= figures
    assert len(compared_page().encode()) < 500_000


@pytest.mark.identity
def test_two_pages_are_alike_and_small() -> None:
    """The same bytes each time, under 500 kB."""
    assert report_page(report_of(example())) == page()
    assert len(page().encode()) < 500_000


def _texts(svg: str) -> Iterator[str]:
    for found in re.finditer(r"<text[^>]*>([^<]*)</text>", svg):
        yield unescape(found[1])


@pytest.mark.identity
def test_figures_hold_real_text_and_state_their_finding() -> None:
    """Text is text, the description holds numbers, and no glyph is drawn as a path."""
    for found in re.finditer(r'<svg class="figure".*?</svg>', page(), re.DOTALL):
        svg = found[0]
        assert len(list(_texts(svg))) > 5
        described = re.search(r"<desc[^>]*>(.*?)</desc>", svg, re.DOTALL)
        assert described is not None
        assert re.search(r"\d", described[1])
        assert "font-family" not in svg
