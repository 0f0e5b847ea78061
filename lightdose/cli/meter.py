"""`lightdose meter`: what one reading stands for."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import click

from lightdose.cli.asking import Ask
from lightdose.cli.frame import answers

if TYPE_CHECKING:
    from lightdose.answers.answer import Answer
    from lightdose.model.setup import Setup
    from lightdose.model.spectrum import Reading, ReadsQuantity


@answers(folds=False)
@click.argument("reading", metavar="READING")
@click.option("--site", metavar="NAME", help="The site where the sensor was.")
@click.option("--air", metavar="X,Y,H", help="Where the sensor was, H above the water; bare numbers are cm.")
@click.option("--time", metavar="HH:MM", help="Time of the programme; by default its brightest moment there.")
@click.option("--unit", type=click.Choice(["umol", "lux"]), help="By default what the meter reads.")
@click.option("--meter", metavar="NAME", help="A meter of the setup, [meter.NAME].")
@click.option(
    "--immersion",
    metavar="FACTOR",
    help='For a meter that does not say: a factor, "built in" or "unknown" (1.0 to 1.4).',
)
def command(
    ask: Ask,
    reading: str,
    site: str | None,
    air: str | None,
    time: str | None,
    unit: ReadsQuantity | None,
    meter: str | None,
    immersion: str | None,
) -> Answer:
    """What one meter reading stands for: the true PPFD, with its interval.

    \b
    Example:
      lightdose meter my-tank/setup.toml 182 --site ridge --time 13:00 --meter handheld
      lightdose meter my-tank/setup.toml 9400 --unit lux --air "20 cm, 22 cm, 10 cm"
    """
    from lightdose.analysis import fixture_emission
    from lightdose.answers.meter import meter_answer
    from lightdose.files.library import calibration_sources, reference_tables
    from lightdose.files.typed_values import typed_reading
    from lightdose.fit.meter_reading import read_meter
    from lightdose.judge.uncertain_inputs import basis_of

    if (site is None) == (air is None):
        raise click.UsageError("say where the sensor was: --site NAME, or --air X,Y,H above the water")
    setup = ask.setup()
    typed = typed_reading(setup, reading, site=site, air=air, time=time, unit=unit, meter=meter)
    if immersion is not None:
        setup, typed = _with_immersion(setup, typed, immersion)
    sources = calibration_sources(setup.meters.values())
    read = read_meter(setup, fixture_emission(setup), typed, reference_tables(), sources)
    return meter_answer(read, setup, basis_of(setup).key)


def _with_immersion(setup: Setup, reading: Reading, words: str) -> tuple[Setup, Reading]:
    """The setup with the immersion of the meter that was used; a meter that states its own keeps it."""
    from lightdose.files.typed_values import stated_immersion
    from lightdose.fit.observations import UNNAMED

    name = reading.meter or "named by --immersion"
    meter = setup.meters.get(name, replace(UNNAMED[reading.unit], name=name))
    meter = replace(meter, immersion=stated_immersion(words, meter, under_water=reading.under_water))
    return replace(setup, meters={**setup.meters, name: meter}), replace(reading, meter=name)
