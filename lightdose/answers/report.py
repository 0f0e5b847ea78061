"""`report`: what was written, the answer that its page opens with, and what the numbers took as given."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

from lightdose.answers.answer import Answer, drawn_of
from lightdose.answers.blocks import Say
from lightdose.answers.dose import answer_points, headline, overview
from lightdose.answers.words import length, lengths, percent
from lightdose.errors import literal
from lightdose.model.comparison import Comparison
from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.results import Analysis
from lightdose.model.setup import WALL_NAMES, LengthUnit, Tank, Wall


def report_answer(analysis: Analysis, comparison: Comparison | None, written: Mapping[str, Path]) -> Answer:
    """The headline in words, and as JSON what was written and how many corals stand where."""
    other = comparison.after if comparison else None
    setups = (analysis.setup, *((other.setup,) if other else ()))
    return Answer(
        "report",
        (Say(headline(analysis), "strong"), answer_points(analysis), Say(analysis.basis.sentence, "basis")),
        lambda: {
            "files": [
                {
                    "kind": kind,
                    "file": str(path.resolve()),
                    "bytes": path.stat().st_size if path.is_file() else None,
                }
                for kind, path in written.items()
            ],
            **_figures(analysis),
            "other": {"title": other.setup.title, "basis": other.basis.key, **_figures(other)}
            if other
            else None,
        },
        title=analysis.setup.title,
        basis=analysis.basis.key,
        judged=analysis.judgement,
        cautions=analysis.cautions,
        setups=setups,
        drawn=drawn_of(analysis),
        overview=overview(analysis),
    )


def _figures(analysis: Analysis) -> dict[str, Any]:
    """The figures of the page's first screen."""
    deciding = analysis.uncertainty.deciding if analysis.uncertainty else None
    doses = [v.dli_mol_m2_d for v in analysis.verdicts]
    return {
        "corals": len(analysis.verdicts),
        "dli_mol_m2_d": [min(doses), max(doses)] if doses else None,
        "deciding_reading": None if deciding is None else {"site": deciding.site},
    }


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
