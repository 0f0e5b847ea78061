"""`lightdose match`: another fixture and tank set so that its places get what places here get."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask, dialect_option, inputs_of, save_schedules
from lightdose.cli.frame import answers, schedule_targets

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.match import Kept, Match
    from lightdose.present.figures.canvas import Drawing


@answers(setup="SETUP OTHER", figures=True, strict=True)
@click.option(
    "--pair",
    "pairs",
    multiple=True,
    required=True,
    metavar="HERE=THERE",
    help="A place here and the place there that should get the same; repeatable.",
)
@click.option(
    "-o", "--output", metavar="PATH", help="Write the schedules: a folder, or a file for one fixture."
)
@click.option(
    "--keep",
    type=click.Choice(["look", "spectrum"]),
    default="look",
    show_default=True,
    help="What comes next after the dose: how the light looks, or its photons in each 10 nm.",
)
@click.option("--whole-percents", is_flag=True, help="Levels in whole percents; else in tenths.")
@dialect_option
def command(ask: Ask, pairs: tuple[str, ...], output: str | None, keep: Kept, whole_percents: bool) -> Answer:
    """Another fixture and tank set so that its places get what places here get.

    \b
    Example:
      lightdose match shop/setup.toml customer/setup.toml --pair "ridge=rock top" -o new-schedules

    The dose of a day is equal and its day shape the one here. The look of the lamps (CIE x, y of all that
    they emit) comes as near as the other channels allow; the nearest spectrum stands beside it. What is
    written is what is judged: rounded levels, under the overall setting that OTHER has.
    A place is a site or a coral; several pairs share one factor. --fixture-height, --swap-fixture,
    --all-channels and --schedule change OTHER only.
    """
    from lightdose.answers.match import match_answer
    from lightdose.model.match import MatchWishes
    from lightdose.workflows.plans import match

    one, other = (request.read() for request in ask.pair() if request)
    found = match(one, other, pairs, MatchWishes(keep, 100 if whole_percents else 1000))
    files = schedule_targets(ask, output, other.lit_fixtures)
    save_schedules(ask, files, found.chosen.programmes, other.lit_fixtures, inputs_of(one, other))
    return replace(match_answer(found, files), pictures=lambda: [_drawing(found)])


def _drawing(found: Match) -> Drawing:
    from lightdose.present.figures.tuning import match_drawing

    return match_drawing(found)
