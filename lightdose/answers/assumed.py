"""What the numbers took as given: tank, water, fixtures, files."""

from __future__ import annotations

from lightdose.answers.words import length, lengths, literal, percent
from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.results import Analysis
from lightdose.model.setup import WALL_NAMES, LengthUnit, Tank, Wall


def assumptions(analysis: Analysis, unit: LengthUnit) -> list[str]:
    """What the numbers took as given: tank, water, fixtures, files."""
    setup = analysis.setup
    tank, water = setup.tank, setup.water
    size = " x ".join(length(m, unit) for m in (tank.length_m, tank.width_m, tank.water_depth_m))
    glass = length(tank.glass_thickness_m, unit)
    cover = setup.cover.transmittance
    return [
        f"Water {size} {unit}, glass {glass} {unit}, refractive index of glass {tank.glass_index:g} and of "
        f"water {water.refractive_index:g}; flat surface, clear water without particles.",
        f"Walls: {_walls(tank)}. Floor reflects {percent(tank.floor_reflectance)}; dry rim "
        f"{length(tank.rim_m, unit)} {unit}.",
        f"Water: {'a table of its own' if water.absorption else 'pure water'}, yellowing at 440 nm "
        f"{water.yellowing_440_per_m:g} per m.",
        "Cover: " + (f"lets {percent(cover)} through." if isinstance(cover, int | float) else "a spectrum."),
        *(_fixture(fixture, unit) for fixture in setup.fixtures),
        "One programme a day, repeated; the timer's clock, no weekdays, no weather, no fans or heat.",
        *(literal(sentence) + "." for sentence in setup.understood),
    ]


def _walls(tank: Tank) -> str:
    return ", ".join(f"{name} {_wall(tank.walls[name])}" for name in WALL_NAMES)


def _wall(wall: Wall) -> str:
    return f"mirrors {percent(wall.reflectance)}" if wall.reflectance is not None else wall.kind


def _fixture(fixture: Fixture, unit: LengthUnit) -> str:
    at = lengths((fixture.x_m, fixture.y_m), unit)
    text = (
        f"Fixture {literal(fixture.name)} ({literal(fixture.type.name)}): centre at x, y {at} {unit}, "
        f"{length(fixture.height_m, unit)} {unit} above the water"
    )
    if fixture.output_scale != 1.0:
        text += f", output times {fixture.output_scale:g}"
    if any(isinstance(c.beam, CosineLobe) and c.beam.assumed for c in fixture.type.channels):
        text += ", beams without a stated width taken as bare LEDs"
    return f"{text}." if fixture.enabled else f"{text}, switched off."
