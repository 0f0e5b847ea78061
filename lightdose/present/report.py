"""The report: one self-contained page that answers first, with a change to try in it.

Everything that comes from a setup stands in a JSON block and gets into the page by ``textContent``; the
markup holds none of it. The script is the same for every setup, so a content security policy can name it by
its hash.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache, partial
from typing import Any, Final

from lightdose.answers.advice import A_WEEK, AT_ONCE, advice_section
from lightdose.answers.answer import drawn_of
from lightdose.answers.blocks import (
    Block,
    Markup,
    Picture,
    Point,
    Points,
    Say,
    Section,
    Table,
    bar_zones,
)
from lightdose.answers.changed import CHANGED, changed_blocks, most_changed
from lightdose.answers.colour import (
    brightest_looks,
    colour_finding,
    colour_sentences,
    evidence_lines,
    looks_sentences,
    looks_table,
)
from lightdose.answers.compare import compared, photons_sentence
from lightdose.answers.dose import (
    answer_points,
    cautions_section,
    certainty_section,
    channels_section,
    corals_section,
    cost_section,
    groups_section,
    headline,
    photosynthesis_table,
    safety_lines,
    safety_section,
    sites_section,
)
from lightdose.answers.growing import TITLE as GROWING
from lightdose.answers.growing import growing_blocks
from lightdose.answers.library import STATEMENT
from lightdose.answers.photosynthesis import return_finding, return_sentences
from lightdose.answers.provenance import inputs_named
from lightdose.answers.report import assumptions
from lightdose.answers.trial import (
    OTHERS,
    WHY,
    beside_trial,
    trial_doses,
    trial_finding,
    trial_limits,
    trial_sentence,
)
from lightdose.answers.verdicts import bar_edges, short_state, verdict_sentence
from lightdose.answers.words import STATE_WORDS, clock, count, percent_words
from lightdose.errors import literal
from lightdose.model.changes import ColourOrIntensity, DiminishingReturn, TryChange, TryRow
from lightdose.model.comparison import Compared, LooksAndGets
from lightdose.model.diary import History
from lightdose.model.fixture import Fixture
from lightdose.model.growing import Growing
from lightdose.model.identity import Program, digest_of
from lightdose.model.light import SiteDay, SiteSpectrum
from lightdose.model.places import LightMap
from lightdose.model.results import Analysis
from lightdose.model.setup import LengthUnit
from lightdose.model.trial import GrowthTrial
from lightdose.present.figures.canvas import Drawing, drawn
from lightdose.present.figures.comparison import comparison_drawings
from lightdose.present.figures.day import day_drawing, schedule_drawing, spectrum_drawing
from lightdose.present.figures.explaining import colour_drawing, diminishing_drawing
from lightdose.present.figures.fitting import PAGE, Fit, fit, fitted_to
from lightdose.present.figures.history import tank_drawing
from lightdose.present.figures.map import map_drawings
from lightdose.present.figures.tank import tank_views
from lightdose.present.figures.trial import trial_drawing
from lightdose.present.page import (
    EDGES,
    KEY,
    Ready,
    dark_figures,
    laid_out,
    page_environment,
    policy,
    running_heads,
    set_text,
    template_text,
)

LIVES_SHOWN: Final = 15
"""Corals whose course a page shows, those first that were in trouble or whose dose changed most."""

COLOUR_SEEN: Final = 0.05
"""A change of a colour's share of the photons that a trial tells of: our choice."""

_ESCAPES: Final = {"<": "\\u003c", ">": "\\u003e", "&": "\\u0026", "\u2028": "\\u2028", "\u2029": "\\u2029"}


@dataclass(frozen=True)
class TrySection:
    """Parts of the section: ``script`` and ``style`` are the texts inside their elements, without the tags.

    ``html`` goes into the page as it stands; the script comes after it.
    """

    html: str
    script: str
    style: str


def try_change_section(record: TryChange) -> TrySection:
    """The section for one setup."""
    html = _template("html").replace("@DATA@", _json_block(_data(record)))
    return TrySection(html, _template("js"), _template("css"))


@cache
def _template(suffix: str) -> str:
    from importlib.resources import files

    return files("lightdose.present").joinpath("templates", f"try_change.{suffix}").read_text("utf-8")


def _json_block(data: dict[str, Any]) -> str:
    """JSON that may stand inside a script element: it holds no markup and no line separators."""
    text = json.dumps(data, ensure_ascii=False, allow_nan=False, separators=(",", ":"))
    return "".join(_ESCAPES.get(c, c) for c in text)


def _data(record: TryChange) -> dict[str, Any]:
    return {
        "channels": [
            {
                "shown": literal(f"{c.fixture}: {c.channel}" if len(record.fixtures) > 1 else c.channel),
                "time": c.time_h.tolist(),
                "level": c.level.tolist(),
                "dimLevel": c.dimming.level.tolist(),
                "dimOutput": c.dimming.output.tolist(),
                "highest": c.highest_level,
                "today": c.today_level,
                "top": c.top,
                "topChange": c.top_change_h,
                "borrowed": literal(c.borrowed_from),
            }
            for c in record.channels
        ],
        "fixtures": [
            {
                "name": literal(f.name),
                "first": f.first_channel,
                "count": f.channel_count,
                "header": f.schedule_header,
                "file": f.schedule_file,
            }
            for f in record.fixtures
        ],
        "rows": [
            {
                "coral": None if r.coral is None else literal(r.coral),
                "site": literal(r.site),
                "at": r.receiver,
                "band": r.band_dli,
                "floor": r.floor_dli,
                "ceiling": r.ceiling_dli,
                "zones": _zones(r),
                "peakHigh": r.peak_high,
                "dli": r.dli_mol_m2_d,
                "peak": r.peak_ppfd_umol_m2_s,
                "hour": r.brightest_hour_ppfd_umol_m2_s,
                "state": r.dli_state,
            }
            for r in record.rows
        ],
        "response": record.response.tolist(),
        "leading": record.leading,
        "plateau": record.plateau_h,
        "leftOut": count(record.left_out, "place") if record.left_out else "",
        "words": STATE_WORDS,
        "short": {state: short_state(state) for state in STATE_WORDS},
        "dial": record.dial,
        "edges": EDGES,
        "colours": [
            {
                "name": c.name,
                "part": c.part.tolist(),
                "whole": c.whole.tolist(),
                "bound": c.bound,
                "atLeast": c.at_least,
            }
            for c in record.colours
        ],
        "seen": COLOUR_SEEN,
        "aWeek": A_WEEK,
        "atOnce": AT_ONCE,
    }


def _zones(row: TryRow) -> tuple[float, ...] | None:
    """Where the zones of a row's bar begin and end; None where light does not judge it."""
    if row.band_dli is None or row.dli_state in (None, "not_judged"):
        return None
    return bar_zones(bar_edges(row.band_dli, row.floor_dli, row.ceiling_dli))


@dataclass(frozen=True, eq=False)
class Report:
    """Everything that the page prints.

    Attributes
    ----------
    analysis : intervals included
    days, spectra : at the sites that figures show; spectra differ little within a tank, so one may do
    light : slices of the tank, the plan first; None where there is nothing to map
    looks : of every receiver
    trial : dose and growth as published
    compared : another setup beside this one
    variation : how the setup was changed on the command line, in words, or ""
    date : when the page was made, as it stands on paper, or ""
    history : of the tank's diary; None where none is kept
    grown : the tank as its colonies grow; None where no coral tells how
    program : that made it; None leaves its libraries unnamed
    """

    analysis: Analysis
    unit: LengthUnit
    days: Sequence[SiteDay]
    spectra: Sequence[SiteSpectrum]
    light: LightMap | None = None
    looks: Sequence[LooksAndGets | None] = ()
    more_light: DiminishingReturn | None = None
    trial: GrowthTrial | None = None
    colour: ColourOrIntensity | None = None
    change: TryChange | None = None
    compared: Compared | None = None
    variation: str = ""
    date: str = ""
    history: History | None = None
    grown: Growing | None = None
    program: Program | None = None


@drawn
def report_page(report: Report) -> str:
    """The page as text; it holds everything and requests nothing."""
    analysis = report.analysis
    title = literal(analysis.setup.title) or "A tank without a title"
    others = [report.compared.comparison.after] if report.compared else []
    setups = [analysis.setup, *(other.setup for other in others)]
    change = try_change_section(report.change) if report.change else None
    styles = [template_text("report.css"), dark_figures(), running_heads(title, report.date)]
    styles += [change.style] if change else []
    scripts = [template_text("report.js"), *([change.script] if change else [])]
    tried = (
        [Section("Try a change", (Markup("", {"html": change.html}),), "try", "Try a change")]
        if change
        else []
    )
    with fitted_to(PAGE):
        sections = laid_out(_sections(report, tried))
    return (
        page_environment()
        .get_template("report.html")
        .render(
            title=title,
            date=report.date,
            variation=literal(report.variation),
            headline=headline(analysis),
            answer=[(point.about, set_text(point.text)) for point in _answer(report)],
            sections=sections,
            policy=Ready(policy(styles, scripts)),
            styles=[Ready(style) for style in styles],
            scripts=[Ready(script) for script in scripts],
            version=analysis.version,
            made_with=_made_with(report),
            tanks=[digest_of(setup) for setup in setups],
            inputs=[one for setup in setups for one in inputs_named(setup).items()],
        )
    )


def _made_with(report: Report) -> str:
    """Versions, shipped data and draws in a line."""
    program, drawn = report.program, drawn_of(report.analysis)
    said = []
    if program is not None:
        said = [f"{name} {version}" for name, version in program.libraries.items()]
        said.append(f"shipped data sha256 {program.data_sha256}")
    said += [f"seed {drawn[0]}, {drawn[1]} draws"] if drawn else []
    return "; ".join([f"lightdose {report.analysis.version}", *said]) + "."


def _answer(report: Report) -> list[Point]:
    """The answer, and beside another setup what that one gives."""
    analysis = report.analysis
    points = [*answer_points(analysis, report.unit).points, Point(analysis.basis.sentence, "Stands on")]
    if report.compared is not None:
        found = report.compared.comparison
        words = f"{literal(found.names[1])} (B). {photons_sentence(found)} Under B: "
        points.insert(-1, Point(f"{words}{verdict_sentence(found.after.verdicts)}.", "Compared with"))
    return points


def _sections(report: Report, tried: Iterable[Section]) -> list[Section]:
    analysis, unit = report.analysis, report.unit
    corals = corals_section(analysis, unit)
    others = [report.compared.comparison.after] if report.compared else []
    return [
        replace(corals, blocks=(*corals.blocks[:1], Say(KEY, "note"), *corals.blocks[1:])),
        _advice(analysis, unit),
        _compared(report.compared),
        _changed(report.history),
        *tried,
        Section("All over the tank", tuple(_maps(report)), "maps", "Maps"),
        _growing(report),
        _day(report),
        sites_section(analysis, unit),
        _certainty(analysis),
        _background(report),
        cost_section(analysis),
        safety_section(safety_lines(analysis, *others)),
        _limits(report),
        _usual(analysis),
    ]


def _advice(analysis: Analysis, unit: LengthUnit) -> Section:
    """What would help, in a table; the sentences, which the answer begins with, on demand."""
    found = advice_section(analysis, unit)
    return replace(found, blocks=(*found.blocks[:1], *_on_demand("In full sentences", found.blocks[1:])))


def _certainty(analysis: Analysis) -> Section:
    """How sure the answer is in sentences; the odds of every coral and what was drawn on demand."""
    found = certainty_section(analysis)
    said = tuple(block for block in found.blocks if isinstance(block, Say))
    title = "How likely each state is, and how well each input is known"
    return replace(found, blocks=(*said, *_on_demand(title, found.blocks[len(said) :])))


def _background(report: Report) -> Section:
    """What is known of light and corals, each finding as the title of what stands behind it."""
    parts = (_why(report), _photosynthesis(report), _colour(report.colour), _looks(report))
    blocks = tuple(replace(part, folded=True, paper=False) for part in parts if part.blocks)
    return Section("What is known of light and corals", blocks, "background", "Background", paper=False)


def _usual(analysis: Analysis) -> Section:
    """Where the usual ranges come from."""
    if not analysis.verdicts:
        return Section("", ())
    found = groups_section(analysis)
    behind = _on_demand("The groups here, with their sources", found.blocks)
    blocks: tuple[Block, ...] = (Say(STATEMENT), *behind)
    return Section(found.title, blocks, "groups", "What is usual", paper=False)


def _on_demand(title: str, blocks: Iterable[Block]) -> list[Section]:
    """Blocks behind their title; none where there are none."""
    inside = tuple(blocks)
    return [Section(title, inside, paper=False, folded=True)] if inside else []


def _compared(shown: Compared | None) -> Section:
    """Both setups in words, tables and figures; empty without another setup."""
    if shown is None:
        return Section("", ())
    drawings = comparison_drawings(shown.comparison, shown.sites, shown.days, shown.spectra)
    pictures = [picture for drawing in drawings for picture in _picture(drawing)]
    blocks = tuple(compared(shown.comparison, pictures))
    return Section("Beside another setup", blocks, "compared", "Beside another")


def _changed(history: History | None) -> Section:
    """The last kept states, and the course of the doses; empty without a diary."""
    if history is None or not history.states:
        return Section("", ())
    lives = replace(history, corals=most_changed(history.corals, LIVES_SHOWN))
    drawing = tank_drawing(lives, lives.corals, "lives")
    course = _on_demand("The course of the doses", _picture(drawing))
    return Section(CHANGED, (*changed_blocks(history), *course), "changed", CHANGED)


def _picture(drawing: Drawing | None) -> list[Picture]:
    return [] if drawing is None else [Picture(lambda: drawing)]


def _maps(report: Report) -> list[Picture]:
    """The tank as it stands, and its light from above and from the front; drawn for both kinds of screens."""
    analysis, unit, light = report.analysis, report.unit, report.light

    drawn: dict[Fit, list[Drawing]] = {}

    def mapped(n: int) -> Drawing:
        if fit() not in drawn:
            assert light is not None
            drawn[fit()] = map_drawings(light, "dli", unit)
        return drawn[fit()][n]

    views = Picture(lambda: tank_views(analysis, unit), twice=True)
    slices = range(len(light.slices)) if light else ()
    return [views, *(Picture(partial(mapped, n), twice=True, paper=n == 0) for n in slices)]


def _growing(report: Report) -> Section:
    """The months to come; empty where no coral tells how it grows."""
    if report.grown is None:
        return Section("", ())
    return Section(GROWING, growing_blocks(report.grown, report.unit), "growing", GROWING, paper=False)


def _day(report: Report) -> Section:
    """Programme, day and spectrum in figures; the points of the programme and each channel's part behind."""
    analysis, blocks = report.analysis, list[Block]()
    fixtures = analysis.setup.lit_fixtures
    if fixtures:
        blocks += _picture(schedule_drawing(analysis))
    if report.days:
        blocks += _picture(day_drawing(analysis, report.days, report.unit))
    if report.spectra:
        blocks += _picture(spectrum_drawing(analysis, report.spectra, report.unit))
    tables = tuple(programme_table(fixture, n) for n, fixture in enumerate(fixtures, start=1))
    blocks += [Section("The programme, point by point", tables, folded=True)] if tables else []
    blocks += [channels_section(analysis)] if report.spectra else []
    return Section("The day and its colours", tuple(blocks), "day", "The day")


def programme_table(fixture: Fixture, index: int) -> Table:
    """A fixture's programme, point by point."""
    from lightdose.answers.field import said, table

    key = f"programme-{index}"
    columns = [said("time", "Time", lambda row: clock(row[0]), kind="string", at={key: 0})]
    for n, channel in enumerate(fixture.type.channels):
        columns.append(said(channel.name, channel.name, _percent(channel.name), unit="%", at={key: 1 + n}))
    note = "lightdose dose --csv-schedule writes all rows as files."
    rows = fixture.programme.points()
    return table(
        key, f"Programme of {fixture.name}", columns, rows, least=len(columns), note=note, paper=True
    )


def _percent(channel: str) -> Callable[[Any], str]:
    return lambda row: percent_words(row[1][channel]) if channel in row[1] else ""


def _why(report: Report) -> Section:
    """Dose and growth in a published trial, with the corals of this tank, and of the other, beside it."""
    if report.trial is None or not report.analysis.verdicts:
        return Section("", ())
    tanks = [("corals here", trial_doses(report.analysis.verdicts))]
    if report.compared is not None:
        other = trial_doses(report.compared.comparison.after.verdicts)
        tanks = [("corals, A", tanks[0][1]), ("corals, B", other)]
    beside = [beside_trial(report.trial, doses) for _, doses in tanks]
    lettered = (
        beside if len(tanks) == 1 else [f"{'AB'[n]}: {words}" for n, words in enumerate(beside) if words]
    )
    words = (trial_sentence(report.trial), trial_limits(report.trial), *filter(None, lettered), OTHERS)
    blocks: tuple[Block, ...] = (*_picture(trial_drawing(report.trial, tanks)), *map(Say, words))
    return Section(f"{WHY}: {_lower(trial_finding(report.trial))}", blocks)


def _photosynthesis(report: Report) -> Section:
    if not report.analysis.verdicts:
        return Section("", ())
    blocks: list[Block] = []
    if report.more_light is not None:
        blocks += _picture(diminishing_drawing(report.more_light))
        # The first sentence is the caption of the figure.
        blocks += map(Say, return_sentences(report.more_light)[1:])
    blocks.append(photosynthesis_table(report.analysis))
    title = "What photosynthesis makes of it"
    if report.more_light is not None:
        title = f"{title}: {_lower(return_finding(report.more_light))}"
    return Section(title, tuple(blocks))


def _lower(sentence: str) -> str:
    return sentence[:1].lower() + sentence[1:]


def _colour(weighed: ColourOrIntensity | None) -> Section:
    if weighed is None:
        return Section("", ())
    evidence = evidence_lines(weighed)
    words = [Say(text) for text in colour_sentences(weighed)[1:] if text not in evidence]
    lines = Section("Published evidence, both sides", (Points(tuple(map(Point, evidence))),))
    pictures = _picture(colour_drawing(weighed))
    blocks: tuple[Block, ...] = (*pictures, *words, *([lines] if evidence else []))
    return Section(f"Colour or intensity? {colour_finding(weighed)}", blocks)


def _looks(report: Report) -> Section:
    lit = brightest_looks(report.analysis, report.looks)
    if not lit:
        return Section("", ())
    here = lit[0]
    values = {
        "place": literal(here.place),
        "own": here.appearance.swatch.srgb,
        "white": here.white.appearance.swatch.srgb,
        "white_name": literal(here.white.name),
    }
    words = map(Say, looks_sentences(here))
    blocks: tuple[Block, ...] = (*words, Markup("swatch.html", values), looks_table(lit))
    return Section("How bright it looks, what the coral gets", blocks)


def _limits(report: Report) -> Section:
    taken = Points(tuple(map(Point, assumptions(report.analysis, report.unit))))
    found = cautions_section(report.analysis.cautions)
    blocks = (*found.blocks, *_on_demand("What the numbers take as given", [taken]))
    title = "Cautions, assumptions and limits"
    return Section(title, blocks, "limits", "Cautions and limits", paper=False)
