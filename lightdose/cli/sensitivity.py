"""`lightdose sensitivity`: what plausible changes do to every site and coral."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask, length_option, metres_above_0
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.setup import Setup


@answers(csv="sensitivity.csv", figures=True)
@click.option("--case", "words", multiple=True, metavar="WORDS", help="A case of your own; repeatable.")
@click.option("--site", "sites", multiple=True, metavar="NAME", help="Every case at this site; repeatable.")
@click.option(
    "--months",
    type=click.FloatRange(0, 36, min_open=True),
    metavar="N",
    help="Colonies grow so long instead.",
)
@length_option(
    "--growth",
    type=metres_above_0,
    help="Growth of diameter and half as much of height a month, where none is told.",
)
def command(
    ask: Ask, words: tuple[str, ...], sites: tuple[str, ...], months: float | None, growth: float | None
) -> Answer:
    """What plausible changes do to the light of every site and coral.

    \b
    Example:
      lightdose sensitivity my-tank/setup.toml --figures figures
      lightdose sensitivity my-tank/setup.toml --case "height +2 in and yellowing 0.3"
      lightdose sensitivity my-tank/setup.toml --months 6 --growth "0.5 cm"

    Yellowing water, fresh carbon, salt film, ageing, height, water level, neighbours, failed channels, levels
    and the back pane are tried; the sizes are our choice. Forms of an own --case: "height +5 cm", "level -2
    cm", "yellowing 0.3", "output -15 %", "channel NAME off", "channel NAME +10 points", "open sky 0.5", "back
    pane dark", "floor 0.5", "cover 0.9"; height, output and channel take a fixture: "height left +5 cm",
    "channel left / violet off". "and" joins them; a name may stand before a colon.

    --months lets colonies grow: who comes to shade whom, who falls below its usual range when, and what to
    cut first. The setup tells how fast: growth of a [[coral]] with a diameter.
    """
    from lightdose.answers.sensitivity import sensitivity_answer
    from lightdose.files.readings_csv import check_sites
    from lightdose.present.figures.explaining import tornado_drawings
    from lightdose.workflows.plans import cases_tried, sensitivity

    if growth is not None and months is None:
        raise click.UsageError("--growth needs a time: add --months 6")
    if months is not None and (words or sites):
        raise click.UsageError("--months stands alone: --case and --site are for changes of another kind")
    setup = ask.setup()
    if months is not None:
        return _grown(ask, setup, months, growth)
    check_sites(setup, sites, "--site")
    cases = cases_tried(setup, words)
    with ask.progress("cases", len(cases)) as bar:
        tried = sensitivity(setup, cases, lambda: bar.update(1))
    answer = sensitivity_answer(tried, sites)
    return replace(answer, pictures=lambda: tornado_drawings(tried, sites))


def _grown(ask: Ask, setup: Setup, months: float, growth: float | None) -> Answer:
    """What growing colonies do."""
    from lightdose.analysis import analyse
    from lightdose.answers.growing import growing_answer
    from lightdose.model.solids import Growth
    from lightdose.workflows.growing import growing, months_of

    rest = None if growth is None else Growth(growth, 0.5 * growth)
    analysis = analyse(setup)
    with ask.progress("months", len(months_of(months))) as bar:
        grown = growing(analysis, months, rest, lambda: bar.update(1))
    return growing_answer(grown, ask.unit(setup))
