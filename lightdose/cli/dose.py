"""`lightdose dose`: the day's light of a setup, and what it means for its corals."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask, inputs_of, save_schedules
from lightdose.cli.frame import answers, schedule_targets

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.changes import ColourOrIntensity
    from lightdose.model.results import Analysis
    from lightdose.physics.light_field import PreparedField
    from lightdose.present.figures.canvas import Drawing


@answers(
    setup="SETUP...",
    csv="doses.csv",
    figures=True,
    imperial=True,
    strict=True,
    many=("within", "off", "undecided", "do first", "worst coral"),
    worth_a_process=5,
)
@click.option(
    "--csv-schedule",
    metavar="PATH",
    help="Write each fixture's programme as CSV: a folder, or a file for one fixture.",
)
@click.option(
    "--site", "sites", multiple=True, metavar="NAME", help="Show this site in the figures; repeatable."
)
@click.option(
    "--colour-or-intensity",
    "weigh_colour",
    is_flag=True,
    help="Add what these fixtures can change more at the brightest coral: the colour or the dose.",
)
def command(ask: Ask, csv_schedule: str | None, sites: tuple[str, ...], weigh_colour: bool) -> Answer:
    """The photons each coral gets in a day, against what is usual for its group.

    \b
    Example:
      lightdose dose my-tank/setup.toml
      lightdose dose my-tank/setup.toml --fixture-height "25 cm" --figures figures
      lightdose dose shop customer --csv doses.csv

    Several setups, or a folder without a setup.toml of its own, which stands for every setup.toml below it,
    give one line each, those with corals furthest off first; --json and --csv hold everything. A setup that
    cannot be read does not stop the others: its problems are told, and the exit code is 2.
    """
    from lightdose.analysis import light_of
    from lightdose.answers.dose import dose_answer
    from lightdose.workflows.advice import advised_under

    if sites and not ask.figures:
        raise click.UsageError("--site chooses what --figures shows: add --figures DIR")
    if weigh_colour and ask.name and not (ask.as_json or ask.figures):
        raise click.UsageError("--colour-or-intensity needs --json or --figures where there are many setups")
    setup = ask.setup()
    ready, field = light_of(setup)
    analysis = advised_under(setup, ready, field, sides=bool(ask.as_json or ask.csv_file))
    if csv_schedule:
        targets = schedule_targets(ask, csv_schedule, setup.fixtures, "--csv-schedule")
        programmes = {f.name: replace(f.programme, dial=None) for f in setup.fixtures}
        save_schedules(ask, targets, programmes, setup.fixtures, inputs_of(setup))
    answer, weighed = dose_answer(analysis, ask.unit(setup)), None
    if weigh_colour:
        from lightdose.answers.colour import with_colour
        from lightdose.workflows.explain import colour_or_intensity

        weighed = colour_or_intensity(analysis)
        answer = with_colour(answer, weighed)
    return replace(answer, pictures=lambda: _pictures(ask, analysis, ready, sites, weighed))


def _pictures(
    ask: Ask,
    analysis: Analysis,
    ready: PreparedField,
    sites: tuple[str, ...],
    weighed: ColourOrIntensity | None,
) -> list[Drawing]:
    from lightdose.analysis import site_days, site_spectra
    from lightdose.judge.map_choice import shown_receivers
    from lightdose.present.figures.day import day_drawing, dose_drawings, spectrum_drawing
    from lightdose.present.figures.explaining import diminishing_drawing
    from lightdose.present.figures.tank import tank_views
    from lightdose.workflows.explain import diminishing_return

    unit = ask.unit(analysis.setup)
    drawings = [*dose_drawings(analysis), tank_views(analysis, unit)]
    if shown := shown_receivers(analysis, sites):
        drawings.append(day_drawing(analysis, site_days(analysis, shown), unit))
        drawings.append(spectrum_drawing(analysis, site_spectra(analysis, shown, ready), unit))
    more_light = diminishing_drawing(diminishing_return(analysis), sites)
    if more_light is not None:
        drawings.append(more_light)
    if weighed is not None:
        from lightdose.present.figures.explaining import colour_drawing

        drawings.append(colour_drawing(weighed))
    return drawings
