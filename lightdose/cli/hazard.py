"""`lightdose hazard`: how to behave around these lights, and how long staring into them is too long."""

from __future__ import annotations

from typing import TYPE_CHECKING

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer


@answers(
    setup="SETUP...", csv="hazard.csv", imperial=True, folds=False, many=("first limit",), worth_a_process=50
)
def command(ask: Ask) -> Answer:
    """How to behave around these lights, and how soon staring into them reaches a limit.

    \b
    Example:
      lightdose hazard my-tank/setup.toml
      lightdose hazard shop customer --csv hazards.csv

    Figures are for staring straight into a fixture from 0.2 and 0.5 m through air, whatever the cover: at
    full output, the worst that the controller can do, and at the peak of the programme. They are estimates,
    no assessment to IEC 62471.

    Several setups, or a folder without a setup.toml of its own, which stands for every setup.toml below it,
    give one line each, the soonest limit first.
    """
    from lightdose import __version__
    from lightdose.analysis import fixture_emission
    from lightdose.answers.hazard import hazard_answer
    from lightdose.files.library import hazard_tables
    from lightdose.judge.hazard import describe_hazard
    from lightdose.physics.day_curve import day_curve

    setup = ask.setup()
    curve = day_curve(setup.lit_fixtures)
    hazard = describe_hazard(setup, fixture_emission(setup), hazard_tables(), curve, __version__)
    return hazard_answer(hazard, ask.unit(setup))
