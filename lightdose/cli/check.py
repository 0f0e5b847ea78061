"""``lightdose check``: read everything, say what was understood, name every problem."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.setup import Setup


@answers(setup="SETUP...", folds=False, many=("problems", "first"), worth_a_process=5)
def command(ask: Ask) -> Answer:
    """Read every file of a setup and name every problem.

    \b
    Example:
      lightdose check my-tank/setup.toml
      lightdose check shop customer

    Several setups, or a folder without a setup.toml of its own, which stands for every setup.toml below it,
    give one line each and counts at the end.
    """
    from lightdose.analysis import emission_problems
    from lightdose.answers.check import check_answer
    from lightdose.answers.words import as_typed
    from lightdose.errors import LightdoseError

    path = as_typed(ask.request.path)
    try:
        setup = ask.setup()
    except LightdoseError as trouble:
        return check_answer(None, trouble.problems, getattr(trouble, "understood", ()))
    problems, unscaled = emission_problems(setup)
    understood, following = setup.understood, "dose"
    if unscaled:
        waits = f"no flux stated: {'; '.join(unscaled)} (dose waits for it, or for a calibration)"
        understood, following = (*understood, waits), "survey"
    if not (problems or ask.name or ask.as_json):
        ask.say(f"next: lightdose {following} {path}")
    return check_answer(setup, problems, understood, None if problems or unscaled else _brightest(setup))


SITES_TRIED = 12
"""Of the sites nearest to the surface: enough to see that an overall setting is left out. Our choice."""


def _brightest(setup: Setup) -> tuple[str, float] | None:
    """The site that gets most light of those nearest to the surface, and its dose. [mol m-2 d-1]

    None where nothing hangs on it: every schedule has an overall setting, or the light was measured.
    """
    if setup.calibration or all(f.programme.dial for f in setup.lit_fixtures) or not setup.sites:
        return None
    from lightdose.analysis import light_field
    from lightdose.physics.day_curve import day_curve
    from lightdose.physics.dose import daily_light_integral

    tried = sorted(setup.sites, key=lambda site: site.depth_m)[:SITES_TRIED]
    response = light_field(setup, [(s.x_m, s.y_m, s.depth_m) for s in tried])[:, :, 0]
    doses = daily_light_integral(response, day_curve(setup.lit_fixtures))
    named = [(site.name, float(dose) * site.open_sky) for site, dose in zip(tried, doses, strict=True)]
    return max(named, key=lambda one: one[1])
