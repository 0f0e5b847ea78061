"""The report: one self-contained page that answers in words first, then shows every number and figure."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from lightdose.model.maps import LightMap
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, SiteDay, SiteSpectrum
from lightdose.model.setup import LengthUnit
from lightdose.present.canvas import Drawing
from lightdose.present.certainty_words import open_verdicts
from lightdose.present.figures import day_drawing, spectrum_drawing
from lightdose.present.group_list import STATEMENT
from lightdose.present.inline_svg import InlineFigure, inline_figure
from lightdose.present.labels import DLI_UNIT_TYPESET, PPFD_UNIT_TYPESET, count, literal
from lightdose.present.map_figure import map_drawings
from lightdose.present.page import Ready, page_environment, policy_hash, template_text
from lightdose.present.range_bar import KEY
from lightdose.present.report_answer import answer
from lightdose.present.report_tables import (
    amount_table,
    certainty_table,
    channel_table,
    colour_table,
    coral_rows,
    energy_table,
    group_table,
    inputs_table,
    left_out_note,
    limits_table,
    photosynthesis_table,
    programme_table,
)
from lightdose.present.report_words import assumptions, certainty_sentences
from lightdose.present.schedule_figure import schedule_drawing
from lightdose.present.summary import is_safety, out_of_band, worst_first


@dataclass(frozen=True, eq=False)
class Report:
    """Everything that the page prints.

    Attributes
    ----------
    analysis : intervals included
    days, spectra : at the sites that figures show
    light : slices of the tank, the plan first; None where there is nothing to map
    variation : how the setup was changed on the command line, in words, or ""
    """

    analysis: Analysis
    unit: LengthUnit
    days: Sequence[SiteDay]
    spectra: Sequence[SiteSpectrum]
    light: LightMap | None = None
    variation: str = ""


def report_page(report: Report) -> str:
    """The page as text; it holds everything and requests nothing."""
    style = template_text("report.css")
    policy = f"default-src 'none'; style-src {policy_hash(style)}; base-uri 'none'; form-action 'none'"
    parts = {**_words(report), **_tables(report), **_figures(report)}
    return (
        page_environment()
        .get_template("report.html")
        .render(
            **parts,
            policy=Ready(policy),
            style=Ready(style),
            try_change=None,
            contents=_contents(parts),
        )
    )


def _words(report: Report) -> dict[str, Any]:
    analysis = report.analysis
    ranked = worst_first(analysis.verdicts)
    concern = {v.coral for v in (*out_of_band(analysis.verdicts), *open_verdicts(analysis.verdicts))}
    said = [(literal(v.coral), literal(v.advice), v.coral in concern) for v in ranked if v.advice]
    setup = analysis.setup
    cited = dict.fromkeys(key for v in ranked for key in setup.groups[v.group].sources)
    return {
        "title": literal(setup.title) or "A tank without a title",
        "variation": literal(report.variation),
        "answer": answer(analysis),
        "units": {"dli": DLI_UNIT_TYPESET, "ppfd": PPFD_UNIT_TYPESET},
        "coral_count": count(len(analysis.verdicts), "coral"),
        "bar_key": KEY,
        "corals_cut": left_out_note(len(analysis.verdicts), "coral"),
        "helps": [(coral, advice) for coral, advice, off in said if off],
        "keeps": [(coral, advice) for coral, advice, off in said if not off],
        "certainty_words": certainty_sentences(analysis),
        "safety": [c for c in analysis.cautions if is_safety(c)],
        "cautions": [c for c in analysis.cautions if not is_safety(c)],
        "assumptions": assumptions(analysis, report.unit),
        "groups_statement": STATEMENT,
        "citations": [
            (literal(key), literal(setup.group_sources[key])) for key in cited if key in setup.group_sources
        ],
        "version": analysis.version,
        "inputs": [(literal(name), digest) for name, digest in setup.inputs_sha256.items()],
    }


def _tables(report: Report) -> dict[str, Any]:
    analysis, unit = report.analysis, report.unit
    field, dose = analysis.light_field, analysis.dose
    fixtures = analysis.setup.lit_fixtures
    return {
        "corals": coral_rows(analysis),
        "limits": limits_table(analysis, unit),
        "amount": amount_table(analysis, unit),
        "colour": colour_table(analysis),
        "programmes": [programme_table(fixture, i) for i, fixture in enumerate(fixtures, start=1)],
        "channels": [
            channel_table(
                analysis,
                "table-channel-doses",
                "Daily dose from each channel",
                dose.dli_by_channel,
                DLI_UNIT_TYPESET,
            ),
            channel_table(
                analysis,
                "table-full-output",
                "PPFD from each channel at full output",
                field.of("ppfd"),
                PPFD_UNIT_TYPESET,
            ),
        ],
        "certainty": [t for t in (certainty_table(analysis), inputs_table(analysis)) if t is not None],
        "photosynthesis": photosynthesis_table(analysis),
        "energy": energy_table(analysis),
        "groups": group_table(analysis),
    }


def _figures(report: Report) -> dict[str, Any]:
    analysis, unit = report.analysis, report.unit
    maps = [] if report.light is None else map_drawings(report.light, "dli", unit)
    days = [schedule_drawing(analysis)] if analysis.setup.lit_fixtures else []
    days += [day_drawing(analysis, report.days, unit)] if report.days else []
    spectra = [spectrum_drawing(analysis, report.spectra, unit)] if report.spectra else []
    return {
        "maps": _inline(maps),
        "day_figures": _inline(days),
        "spectrum_figures": _inline(spectra),
    }


def _inline(drawings: Sequence[Drawing]) -> list[dict[str, Any]]:
    return [_shown(inline_figure(drawing, drawing.name)) for drawing in drawings]


def _shown(figure: InlineFigure) -> dict[str, Any]:
    return {
        "name": figure.name,
        "caption": figure.caption,
        "lead": figure.lead,
        "svg": Ready(figure.svg),
    }


_SECTIONS = (
    ("corals", "Corals", "corals"),
    ("sites", "Sites", "amount"),
    ("maps", "Maps", "maps"),
    ("day", "The day", ""),
    ("spectrum", "Colour", ""),
    ("certainty", "How sure", "certainty"),
    ("photosynthesis", "Photosynthesis", ""),
    ("cost", "Energy and cost", ""),
    ("safety", "Safety", ""),
    ("limits", "Cautions and limits", ""),
    ("groups", "What is usual", "groups"),
)
"""Key of a section, its words in the list of sections, and the part without which it is left out."""


def _contents(parts: dict[str, Any]) -> list[tuple[str, str]]:
    return [(key, words) for key, words, part in _SECTIONS if not part or _filled(parts[part])]


def _filled(part: Any) -> bool:
    return bool(part.rows if hasattr(part, "rows") else part)
