"""`lightdose estimate`: the counter question, without any file."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING

import click

from lightdose.cli.options import debug_option, is_terminal, json_option, no_color_option, wants_colour

if TYPE_CHECKING:
    from lightdose.model.estimate import Estimate, Question, Where, WhiteAmount
    from lightdose.model.readings import ReadsQuantity

HELP = """\b
Example:
  lightdose estimate --reading 9000 --unit lux --where air --white little --hours 10
  lightdose estimate --reading 150 --unit umol --where water --white none --hours 10 --group lps-branching

What one reading can mean, without any file.

The answer is a range, from mixes of LED colours and generic meters, and says whether a better reading would
change the advice. Light is ruled in or out, never diagnosed. Keep your face out of the beam."""


@click.command(help=HELP)
@click.option("--reading", metavar="N", required=True, help="What the meter shows, at the day's plateau.")
@click.option("--unit", type=click.Choice(["lux", "umol"]), required=True, help="What the meter reads.")
@click.option("--where", type=click.Choice(["air", "water"]), required=True, help="Where the sensor was.")
@click.option(
    "--white", type=click.Choice(["none", "little", "much"]), required=True, help="How much white is on."
)
@click.option("--hours", metavar="H", required=True, help="From the first light to the last, ramps included.")
@click.option(
    "--ramp", metavar="H", help="Length of the rise, and of the fall; 1 h if left out (our choice)."
)
@click.option("--group", metavar="KEY", help="Coral group or genus; without it, all groups briefly.")
@click.option(
    "--depth",
    metavar="LENGTH",
    help="Depth of the coral. A reading in the air is carried down to it, roughly.",
)
@click.option(
    "--lamp-height", metavar="LENGTH", help="Lamp above the water, for a reading in the air with --depth."
)
@click.option(
    "--immersion",
    metavar="FACTOR",
    help='For a reading under water: a factor, "built in" or "unknown" (1.0 to 1.4; the default).',
)
@json_option
@no_color_option
@debug_option
def command(
    *,
    reading: str,
    unit: ReadsQuantity,
    where: Where,
    white: WhiteAmount,
    hours: str,
    ramp: str | None,
    group: str | None,
    depth: str | None,
    lamp_height: str | None,
    immersion: str | None,
    as_json: bool,
    no_color: bool,
) -> None:
    """What one reading can mean, without any file."""
    from lightdose.files.estimate_words import QuestionWords, question_from_words

    question = question_from_words(
        QuestionWords(reading, unit, where, white, hours, ramp, depth, lamp_height, immersion)
    )
    found = _estimate(question, group)
    if as_json:
        from lightdose.files.estimate_json import estimate_json
        from lightdose.files.results_json import dump

        click.echo(dump(estimate_json(found)))
    elif is_terminal():
        from lightdose.present.estimate_text import show_estimate

        show_estimate(found, sys.stdout, colour=wants_colour(no_color))
    else:
        from lightdose.present.estimate_text import estimate_lines

        for line in estimate_lines(found):
            click.echo(line)


def _estimate(question: Question, group: str | None) -> Estimate:
    from lightdose import __version__
    from lightdose.files.estimate_words import group_from_word
    from lightdose.files.groups_file import default_groups
    from lightdose.files.library import daylight_d65, read_emitter, reference_tables
    from lightdose.judge.estimate import estimate
    from lightdose.judge.mixes import EMITTERS
    from lightdose.physics.emission import photon_distribution
    from lightdose.physics.meters import illuminant_a

    groups, sources = default_groups()
    chosen = None if group is None else group_from_word(group, groups)
    return estimate(
        question,
        {name: photon_distribution(read_emitter(name)) for name in EMITTERS},
        {"A": photon_distribution(illuminant_a()), "D65": photon_distribution(daylight_d65())},
        reference_tables(),
        list(groups.values()) if chosen is None else [chosen],
        sources,
        group=None if chosen is None else chosen.key,
        version=__version__,
    )
