"""`lightdose report`: one page that answers in words, with every number, figure and source behind it."""

from __future__ import annotations

import os
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import (
    Ask,
    inputs_of,
    language_option,
    paper_option,
    save_sheet_of_paper,
    start_date,
    today,
)
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.comparison import Comparison
    from lightdose.model.diary import History
    from lightdose.model.growing import Growing
    from lightdose.model.places import LightMap
    from lightdose.model.results import Analysis
    from lightdose.model.setup import LengthUnit, Setup
    from lightdose.physics.light_field import PreparedField
    from lightdose.present.paper import Paper
    from lightdose.present.report import Report

CELLS_ALONG = 36
"""Cells of a map along the longest side of the tank: fine enough for a page, quick to draw. Our choice."""

MONTHS = 12.0
"""So far ahead colonies are followed. Our choice."""


@answers(
    setup="SETUP [OTHER]",
    imperial=True,
    folds=False,
    many=("within", "off", "undecided", "do first", "worst coral"),
)
@click.option(
    "-o",
    "--output",
    metavar="FILE",
    help="Where to write the page: a file, or a folder for report.html; default report.html, or reports.",
)
@click.option(
    "--handout",
    metavar="FILE",
    help="Write one printable sheet for a customer too: .pdf, or .html for a browser.",
)
@click.option(
    "--date",
    metavar="YYYY-MM-DD",
    help="Date on the page and the hand-out; today's where none is given.",
)
@language_option
@paper_option
def command(
    ask: Ask,
    output: str | None,
    handout: str | None,
    date: str | None,
    language: str,
    paper: Paper | None,
) -> Answer:
    """One page to read, print and hand on: the answer in words, tables, maps, figures, sources.

    \b
    Example:
      lightdose report my-tank/setup.toml -o report.html
      lightdose report my-tank/setup.toml other/setup.toml --handout handout.pdf
      lightdose report my-tank/setup.toml --handout handout.pdf --language de
      lightdose report shop --also customer -o reports

    With OTHER the page sets it beside SETUP; the options that vary a setup then change OTHER only, as in
    compare. The page is one file that asks for nothing. --handout adds one sheet for a
    customer: the tank, three corals, why this light works, what to do at home, a line for the shop.

    A folder without a setup.toml of its own stands for every setup.toml below it, and --also adds further
    setups: each gets a page named after its folder, in the folder of -o (reports), and a line that says how
    it stands.
    """
    import datetime
    from pathlib import Path

    from lightdose.answers.report import report_answer
    from lightdose.files.writing import page_target, together
    from lightdose.present.report import report_page

    if (paper or language != "en") and not handout:
        raise click.UsageError("--paper and --language are for --handout: add --handout FILE")
    day = start_date(date, "--date")
    analysis, comparison, ready = _analyses(ask)
    other = comparison.after if comparison else None
    variation = "" if comparison else ask.request.variation
    inputs = inputs_of(analysis.setup, *([other.setup] if other else []))
    page = (
        Path(output or "reports", f"{ask.name}.html")
        if ask.name
        else page_target(output or "report.html", "report.html")
    )
    found = _report(analysis, comparison, ready, ask.unit(analysis.setup), variation)
    text = report_page(replace(found, date=day or datetime.date.today().isoformat()))
    written = {"report": page}
    with together():
        ask.save(page, text, inputs)
        if handout:
            sheet = str(Path(handout, f"{ask.name}.pdf")) if ask.name else handout
            form = (paper, language, day)
            written["handout"] = _save_handout(ask, sheet, form, analysis, other, inputs)
    return report_answer(analysis, comparison, written)


def _analyses(ask: Ask) -> tuple[Analysis, Comparison | None, PreparedField | None]:
    """SETUP and its light field; where there is another, both beside one another."""
    from lightdose.analysis import light_of
    from lightdose.physics.emission import TRISTIMULUS_WEIGHTINGS
    from lightdose.workflows.advice import advised_under
    from lightdose.workflows.compare import compare

    first, other = ask.pair()
    setup = first.read()
    if other is None:
        ready, field = light_of(setup, TRISTIMULUS_WEIGHTINGS)
        return advised_under(setup, ready, field), None, ready
    comparison = compare(setup, other.read())
    return comparison.before, comparison, None


def _report(
    analysis: Analysis,
    comparison: Comparison | None,
    ready: PreparedField | None,
    unit: LengthUnit,
    variation: str,
) -> Report:
    import datetime

    from lightdose.analysis import site_days, site_spectra
    from lightdose.files.growth_trial import growth_trial
    from lightdose.files.program import this_program
    from lightdose.judge.map_choice import shown_receivers, shown_sites
    from lightdose.present.report import Report
    from lightdose.workflows.compare import looks_and_gets, with_days
    from lightdose.workflows.explain import colour_or_intensity, diminishing_return, try_change

    shown = shown_receivers(analysis)
    light, grown = _light_and_growth(analysis, ready)
    return Report(
        analysis=replace(analysis, setup=_for_others(analysis.setup)),
        unit=unit,
        days=site_days(analysis, shown),
        spectra=site_spectra(analysis, shown[:1], ready),
        light=light,
        looks=looks_and_gets(analysis),
        more_light=diminishing_return(analysis),
        trial=growth_trial(),
        colour=colour_or_intensity(analysis),
        change=try_change(analysis),
        compared=with_days(comparison, shown_sites(comparison)) if comparison else None,
        variation=variation,
        date=datetime.date.today().isoformat(),
        history=_history(analysis.setup),
        grown=grown,
        program=this_program(),
    )


def _for_others(setup: Setup) -> Setup:
    """The setup under paths that name no folder above its own: a page goes to other people."""
    if not os.path.isabs(setup.path):
        return setup
    home = os.path.dirname(os.path.dirname(setup.path))
    said = tuple(text.replace(os.path.join(home, ""), "") for text in setup.understood)
    files = {os.path.abspath(os.path.relpath(name, home)): sha for name, sha in setup.inputs_sha256.items()}
    return replace(setup, path=os.path.relpath(setup.path, home), understood=said, inputs_sha256=files)


def _light_and_growth(
    analysis: Analysis, ready: PreparedField | None
) -> tuple[LightMap | None, Growing | None]:
    """The map and the colonies in a year, side by side: neither waits for the other."""
    from lightdose.physics.in_threads import in_threads

    light: list[LightMap | None] = []
    grown: list[Growing | None] = []

    def task(number: int) -> None:
        if number:
            grown.append(_grown(analysis))
        else:
            light.append(_light(analysis.setup, ready))

    in_threads(task, 2)
    return light[0], grown[0]


def _grown(analysis: Analysis) -> Growing | None:
    """The tank within a year; None where no coral tells how it grows."""
    from lightdose.workflows.growing import growing

    told = any(c.growth for c in analysis.setup.corals)
    return growing(analysis, MONTHS) if told and analysis.verdicts else None


def _history(setup: Setup) -> History | None:
    """What the tank's diary tells; None where no state is kept."""
    from lightdose.files.diary_states import has_diary
    from lightdose.workflows.diary import history

    return history(setup, intervals="none") if has_diary(setup.path) else None


def _light(setup: Setup, ready: PreparedField | None) -> LightMap | None:
    """The plan at the depth of the middle coral, and a view from the front; none without a lit fixture."""
    from lightdose.judge.map_choice import default_depths, default_side_view
    from lightdose.workflows.plans import map_beside

    if not setup.lit_fixtures:
        return None
    tank = setup.tank
    levels, _ = default_depths(setup)
    side, _ = default_side_view(setup)
    cell_m = max(tank.length_m, tank.width_m, tank.water_depth_m) / CELLS_ALONG
    return map_beside(setup, [levels[len(levels) // 2], side], cell_m, shares=False, ready=ready)


def _save_handout(
    ask: Ask,
    target: str,
    form: tuple[Paper | None, str, str | None],
    analysis: Analysis,
    other: Analysis | None,
    inputs: Iterable[Path],
) -> Path:
    """Write the customer's page of one setup or of two beside one another; gives its path.

    ``form`` is the sheet, the language and the date, today's where it is None.
    """
    from lightdose.answers.language import language
    from lightdose.present.paper import handout_pages, paper_of
    from lightdose.workflows.compare import handout

    paper, key, date = form
    sheet = paper or paper_of(analysis.setup.length_unit)
    page = handout_pages(handout(analysis, other, date or today(ask)), sheet, language(key))
    return save_sheet_of_paper(ask, target, "handout.pdf", page, key, inputs)
