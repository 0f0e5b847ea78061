"""The report: one self-contained page that answers first, with a change to try in it.

Everything that comes from a setup stands in a JSON block and gets into the page by ``textContent``; the
markup holds none of it. The script is the same for every setup, so a content security policy can name it by
its hash.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from typing import Any, Final

from lightdose.answers.advice import advice_section
from lightdose.answers.blocks import Block, Markup, Picture, Point, Points, Say, Section, Table
from lightdose.answers.changed import CHANGED, changed_blocks, most_changed
from lightdose.answers.colour import (
    brightest_looks,
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
from lightdose.answers.photosynthesis import return_sentences
from lightdose.answers.report import assumptions
from lightdose.answers.trial import OTHERS, WHY, beside_trial, trial_doses, trial_limits, trial_sentence
from lightdose.answers.verdicts import verdict_sentence
from lightdose.answers.words import STATE_WORDS, clock, count, percent_words
from lightdose.errors import literal
from lightdose.model.changes import ColourOrIntensity, DiminishingReturn, TryChange
from lightdose.model.comparison import Compared, LooksAndGets
from lightdose.model.diary import History
from lightdose.model.fixture import Fixture
from lightdose.model.growing import Growing
from lightdose.model.light import SiteDay, SiteSpectrum
from lightdose.model.places import LightMap
from lightdose.model.results import Analysis
from lightdose.model.setup import LengthUnit
from lightdose.model.trial import GrowthTrial
from lightdose.present.figures.canvas import Drawing
from lightdose.present.figures.comparison import comparison_drawings
from lightdose.present.figures.day import day_drawing, schedule_drawing, spectrum_drawing
from lightdose.present.figures.explaining import colour_drawing, diminishing_drawing
from lightdose.present.figures.history import tank_drawing
from lightdose.present.figures.map import map_drawings
from lightdose.present.figures.tank import tank_views
from lightdose.present.figures.trial import trial_drawing
from lightdose.present.page import KEY, Ready, laid_out, page_environment, policy, set_text, template_text

LIVES_SHOWN: Final = 15
"""Corals whose course a page shows, those first that were in trouble or whose dose changed most."""

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
    }


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
    history : of the tank's diary; None where none is kept
    grown : the tank as its colonies grow; None where no coral tells how
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
    history: History | None = None
    grown: Growing | None = None


def report_page(report: Report) -> str:
    """The page as text; it holds everything and requests nothing."""
    analysis = report.analysis
    change = try_change_section(report.change) if report.change else None
    styles = [template_text("report.css"), *([change.style] if change else [])]
    scripts = [change.script] if change else []
    tried = (
        [Section("Try a change", (Markup("", {"html": change.html}),), "try", "Try a change")]
        if change
        else []
    )
    return (
        page_environment()
        .get_template("report.html")
        .render(
            title=literal(analysis.setup.title) or "A tank without a title",
            variation=literal(report.variation),
            headline=headline(analysis),
            answer=[(point.about, set_text(point.text)) for point in _answer(report)],
            sections=laid_out(_sections(report, tried)),
            policy=Ready(policy(styles, scripts)),
            styles=[Ready(style) for style in styles],
            scripts=[Ready(script) for script in scripts],
            version=analysis.version,
            inputs=list(analysis.setup.inputs_sha256.items()),
        )
    )


def _answer(report: Report) -> list[Point]:
    """The answer, and beside another setup what that one gives."""
    analysis = report.analysis
    points = [*answer_points(analysis, report.unit).points, Point(analysis.basis.sentence, "Stands on")]
    if report.compared is not None:
        found = report.compared.comparison
        words = f"{literal(found.names[1])} (B). {photons_sentence(found)} Under B: "
        points.insert(-1, Point(f"{words}{verdict_sentence(found.after.verdicts)}.", "Beside it"))
    return points


def _sections(report: Report, tried: Iterable[Section]) -> list[Section]:
    analysis, unit = report.analysis, report.unit
    corals = corals_section(analysis, unit)
    groups = groups_section(analysis)
    others = [report.compared.comparison.after] if report.compared else []
    return [
        Section(corals.title, (*corals.blocks[:1], Say(KEY, "note"), *corals.blocks[1:]), "corals", "Corals")
        if corals.blocks
        else corals,
        advice_section(analysis, unit),
        _compared(report.compared),
        _changed(report.history),
        *tried,
        sites_section(analysis, unit),
        _pictured("All over the tank", "maps", "Maps", _maps(report), paper=True),
        _growing(report),
        _day(report),
        _spectrum(report),
        certainty_section(analysis),
        _why(report),
        _photosynthesis(report),
        _colour(report.colour),
        _looks(report),
        cost_section(analysis),
        safety_section(safety_lines(analysis, *others)),
        _limits(report),
        Section(groups.title, (Say(STATEMENT), *groups.blocks), "groups", "What is usual", paper=False)
        if analysis.verdicts
        else Section("", ()),
    ]


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
    return Section(CHANGED, (*changed_blocks(history), *_picture(drawing)), "changed", CHANGED)


def _pictured(title: str, key: str, nav: str, blocks: Iterable[Block], *, paper: bool = False) -> Section:
    return Section(title, tuple(blocks), key, nav, paper=paper)


def _picture(drawing: Drawing | None, *, paper: bool = False) -> list[Picture]:
    return [] if drawing is None else [Picture(lambda: drawing, paper=paper)]


def _maps(report: Report) -> list[Picture]:
    pictures = _picture(tank_views(report.analysis, report.unit))
    drawings = [] if report.light is None else map_drawings(report.light, "dli", report.unit)
    return pictures + [picture for n, d in enumerate(drawings) for picture in _picture(d, paper=n == 0)]


def _growing(report: Report) -> Section:
    """The months to come; empty where no coral tells how it grows."""
    if report.grown is None:
        return Section("", ())
    return Section(GROWING, growing_blocks(report.grown, report.unit), "growing", GROWING, paper=False)


def _day(report: Report) -> Section:
    fixtures = report.analysis.setup.lit_fixtures
    blocks: list[Block] = []
    if fixtures:
        blocks += _picture(schedule_drawing(report.analysis))
    if report.days:
        blocks += _picture(day_drawing(report.analysis, report.days, report.unit))
    blocks += [programme_table(fixture, n) for n, fixture in enumerate(fixtures, start=1)]
    return Section("The day", tuple(blocks), "day", "The day")


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


def _spectrum(report: Report) -> Section:
    if not report.spectra:
        return Section("", ())
    drawing = spectrum_drawing(report.analysis, report.spectra, report.unit)
    blocks: tuple[Block, ...] = (*_picture(drawing), channels_section(report.analysis))
    return Section("The colour of the light", blocks, "spectrum", "Colour", paper=False)


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
    return Section(WHY, blocks, "why", WHY, paper=False)


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
    return Section(title, tuple(blocks), "photosynthesis", "Photosynthesis", paper=False)


def _colour(weighed: ColourOrIntensity | None) -> Section:
    if weighed is None:
        return Section("", ())
    evidence = evidence_lines(weighed)
    words = [Say(text) for text in colour_sentences(weighed)[1:] if text not in evidence]
    lines = Section("Published evidence, both sides", (Points(tuple(map(Point, evidence))),))
    pictures = _picture(colour_drawing(weighed))
    blocks: tuple[Block, ...] = (*pictures, *words, *([lines] if evidence else []))
    title = "Colour or intensity?"
    return Section(title, blocks, "colour-or-intensity", title, paper=False)


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
    return Section("Looks and gets", blocks, "looks", "Looks and gets", paper=False)


def _limits(report: Report) -> Section:
    taken = Points(tuple(map(Point, assumptions(report.analysis, report.unit))))
    found = cautions_section(report.analysis.cautions)
    blocks = (Section(found.title, found.blocks), Section("Assumptions", (taken,)))
    title = "Cautions, assumptions and limits"
    return Section(title, blocks, "limits", "Cautions and limits", paper=False)
