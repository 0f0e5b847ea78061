"""`lightdose estimate`: the counter question, without any file."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from lightdose.cli.asking import Ask, length_option
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer


@answers(setup=None)
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
@click.option(
    "--group", metavar="KEY", help="Coral group, genus or trade name; without it, all groups briefly."
)
@length_option("--depth", help="Depth of the coral; a reading in the air is carried down to it, roughly.")
@length_option("--lamp-height", help="Lamp above the water, for a reading in the air with --depth.")
@click.option(
    "--immersion",
    metavar="FACTOR",
    help='For a reading under water: a factor, "built in" or "unknown" (1.0 to 1.4; the default).',
)
def command(_: Ask, group: str | None, **typed: Any) -> Answer:
    """What one reading can mean, without any file.

    \b
    Example:
      lightdose estimate --reading 9000 --unit lux --where air --white little --hours 10
      lightdose estimate --reading 150 --unit umol --where water --white none --hours 10 --group lps-branching

    The answer is a range, from mixes of LED colours and generic meters, and says whether a better reading
    would change the advice. Light is ruled in or out, never diagnosed. Keep your face out of the beam.
    """
    from dataclasses import replace

    from lightdose.answers.blocks import Say
    from lightdose.answers.meter import estimate_answer
    from lightdose.files.coral_names import group_named
    from lightdose.files.groups_file import default_groups
    from lightdose.files.library import daylight_d65, read_emitter, reference_tables
    from lightdose.files.typed_values import typed_question
    from lightdose.judge.estimate import EMITTERS, estimate
    from lightdose.physics.emission import photon_distribution
    from lightdose.physics.meters import illuminant_a

    question = typed_question(**typed)
    groups, sources = default_groups()
    named = None if group is None else group_named(group, groups)
    answer = estimate_answer(
        estimate(
            question,
            {name: photon_distribution(read_emitter(name)) for name in EMITTERS},
            {"A": photon_distribution(illuminant_a()), "D65": photon_distribution(daylight_d65())},
            reference_tables(),
            list(groups.values()) if named is None else [named.group],
            sources,
            group=None if named is None else named.group.key,
        )
    )
    if named is None or not named.said:
        return answer
    return replace(answer, blocks=(Say(named.said), *answer.blocks))
