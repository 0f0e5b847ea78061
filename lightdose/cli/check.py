"""``lightdose check``: read everything, say what was understood, name every problem."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer


@answers(setup="SETUP...", folds=False, many=("problems", "first"), worth_a_process=50)
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
    return check_answer(setup, problems, understood)
