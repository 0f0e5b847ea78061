"""Sentences of the report: the answer, advice, how sure it is, and what was assumed."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from lightdose.model.fixture import CosineLobe, Fixture
from lightdose.model.results import Analysis
from lightdose.model.setup import LengthUnit
from lightdose.model.tank import WALL_NAMES, Tank, Wall
from lightdose.present.certainty_words import deciding_sentence, open_verdicts
from lightdose.present.colour_words import colour_sentences, evidence_lines
from lightdose.present.comparison_words import photons_sentence
from lightdose.present.diminishing_words import return_sentences
from lightdose.present.group_list import STATEMENT
from lightdose.present.labels import (
    DLI_UNIT_TYPESET,
    PPFD_UNIT_TYPESET,
    count,
    length,
    literal,
    percent,
    typeset,
)
from lightdose.present.range_bar import KEY
from lightdose.present.report_answer import Answer, answer
from lightdose.present.report_record import Report
from lightdose.present.report_tables import left_out_note
from lightdose.present.summary import is_safety, out_of_band, verdict_sentence, worst_first


def page_words(report: Report) -> dict[str, Any]:
    """Everything that the page says in sentences."""
    analysis, more_light, colour = report.analysis, report.more_light, report.colour
    ranked = worst_first(analysis.verdicts)
    concern = {v.coral for v in (*out_of_band(analysis.verdicts), *open_verdicts(analysis.verdicts))}
    said = [(literal(v.coral), typeset(literal(v.advice)), v.coral in concern) for v in ranked if v.advice]
    setup = analysis.setup
    cited = dict.fromkeys(key for v in ranked for key in setup.groups[v.group].sources)
    evidence = evidence_lines(colour) if colour else []
    cautions = [replace(c, text=literal(c.text)) for c in analysis.cautions]
    return {
        "title": literal(setup.title) or "A tank without a title",
        "variation": literal(report.variation),
        "answer": _answer(report),
        "units": {"dli": DLI_UNIT_TYPESET, "ppfd": PPFD_UNIT_TYPESET},
        "coral_count": count(len(analysis.verdicts), "coral"),
        "bar_key": typeset(KEY),
        "corals_cut": left_out_note(len(analysis.verdicts), "coral"),
        "helps": [(coral, advice) for coral, advice, off in said if off],
        "keeps": [(coral, advice) for coral, advice, off in said if not off],
        "certainty_words": [typeset(sentence) for sentence in certainty_sentences(analysis)],
        # A section's first sentence is the caption of its figure.
        "more_light_words": [typeset(s) for s in return_sentences(more_light)[1:]] if more_light else [],
        "colour_words": [typeset(s) for s in colour_sentences(colour)[1:] if s not in evidence]
        if colour
        else [],
        "evidence": [typeset(line) for line in evidence],
        "safety": [c for c in cautions if is_safety(c)],
        "cautions": [c for c in cautions if not is_safety(c)],
        "assumptions": assumptions(analysis, report.unit),
        "groups_statement": typeset(STATEMENT),
        "citations": [
            (literal(key), literal(setup.group_sources[key])) for key in cited if key in setup.group_sources
        ],
        "version": analysis.version,
        "inputs": [(literal(name), digest) for name, digest in setup.inputs_sha256.items()],
    }


def _answer(report: Report) -> Answer:
    """The answer with its units in type, and beside another setup what that one gives."""
    found = answer(report.analysis)
    parts = [(label, typeset(text)) for label, text in found.parts]
    if report.compared is not None:
        b = report.compared.comparison
        beside = (
            f"{literal(b.names[1])} (B). {photons_sentence(b)} Under B: {verdict_sentence(b.after.verdicts)}."
        )
        parts.insert(-1, ("Beside it", typeset(beside)))
    return Answer(found.headline, tuple(parts))


def certainty_sentences(analysis: Analysis) -> list[str]:
    """How the intervals came about, and which reading would tell most."""
    known = analysis.uncertainty
    if known is None:
        return []
    sentences = [
        literal(analysis.basis.sentence),
        f"What is not known exactly was drawn {known.draws:,} times, the same way each time (seed "
        f"{known.seed}), and the light followed through for each draw. The intervals hold 95 % of the "
        "results.",
        "A verdict is open where no state has a chance of 2 in 3 (our choice).",
    ]
    if deciding := deciding_sentence(analysis):
        sentences.append(deciding)
    if known.deciding is not None:
        sentences.append(
            f"That reading counts as known to {percent(known.deciding.standard_uncertainty)} (one standard "
            f"uncertainty) and is expected to settle {known.deciding.settles:.1f} of "
            f"{count(known.deciding.undecided, 'open verdict')}."
        )
    return sentences


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
    at = ", ".join(length(m, unit) for m in (fixture.x_m, fixture.y_m))
    text = (
        f"Fixture {literal(fixture.name)} ({literal(fixture.type.name)}): centre at x, y {at} {unit}, "
        f"{length(fixture.height_m, unit)} {unit} above the water"
    )
    if fixture.output_scale != 1.0:
        text += f", output times {fixture.output_scale:g}"
    if any(isinstance(c.beam, CosineLobe) and c.beam.assumed for c in fixture.type.channels):
        text += ", beams without a stated width taken as bare LEDs"
    return f"{text}." if fixture.enabled else f"{text}, switched off."
