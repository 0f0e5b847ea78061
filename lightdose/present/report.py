"""The report: one self-contained page that answers in words first, then shows every number and figure."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from itertools import count
from typing import Any, Final

from lightdose.present.figures.canvas import Drawing
from lightdose.present.figures.colour import colour_drawing
from lightdose.present.figures.day import day_drawing, spectrum_drawing
from lightdose.present.figures.diminishing import diminishing_drawing
from lightdose.present.figures.inline_svg import inline_figure
from lightdose.present.figures.map import map_drawings
from lightdose.present.figures.schedule import schedule_drawing
from lightdose.present.labels import DLI_UNIT_TYPESET, PPFD_UNIT_TYPESET
from lightdose.present.page import Ready, page_environment, policy_hash, template_text
from lightdose.present.report_comparison import compared_drawings, comparison_parts
from lightdose.present.report_looks import looks_swatch, looks_table, looks_words
from lightdose.present.report_record import Report
from lightdose.present.report_tables import (
    amount_table,
    certainty_table,
    channel_table,
    colour_table,
    coral_rows,
    energy_table,
    group_table,
    inputs_table,
    limits_table,
    photosynthesis_table,
    programme_table,
)
from lightdose.present.report_words import page_words
from lightdose.present.try_change import try_change_section


def report_page(report: Report) -> str:
    """The page as text; it holds everything and requests nothing."""
    change = try_change_section(report.change) if report.change else None
    styles = [template_text("report.css"), *([change.style] if change else [])]
    parts: dict[str, Any] = {
        **page_words(report),
        **comparison_parts(report.compared),
        **_tables(report),
        **_figures(report),
    }
    return (
        page_environment()
        .get_template("report.html")
        .render(
            **parts,
            policy=Ready(_policy(styles, [change.script] if change else [])),
            styles=[Ready(style) for style in styles],
            change_html=Ready(change.html) if change else "",
            change_script=Ready(change.script) if change else "",
            contents=_contents(parts, change is not None),
        )
    )


def _policy(styles: Sequence[str], scripts: Sequence[str]) -> str:
    """Nothing but our own styles and scripts, each by its hash."""
    rules = ["default-src 'none'", f"style-src {' '.join(map(policy_hash, styles))}"]
    if scripts:
        rules.append(f"script-src {' '.join(map(policy_hash, scripts))}")
    return "; ".join([*rules, "base-uri 'none'", "form-action 'none'"])


def _tables(report: Report) -> dict[str, Any]:
    analysis, unit = report.analysis, report.unit
    field, dose = analysis.light_field, analysis.dose
    doses, full = "Daily dose from each channel", "PPFD from each channel at full output"
    return {
        "corals": coral_rows(analysis),
        "limits": limits_table(analysis, unit),
        "amount": amount_table(analysis, unit),
        "colours": colour_table(analysis),
        "programmes": [programme_table(f, i) for i, f in enumerate(analysis.setup.lit_fixtures, start=1)],
        "channels": [
            channel_table(analysis, "table-channel-doses", doses, dose.dli_by_channel, DLI_UNIT_TYPESET),
            channel_table(analysis, "table-full-output", full, field.of("ppfd"), PPFD_UNIT_TYPESET),
        ],
        "certainty": [t for t in (certainty_table(analysis), inputs_table(analysis)) if t is not None],
        "photosynthesis": photosynthesis_table(analysis),
        "looks": looks_table(analysis, report.looks),
        "looks_words": looks_words(analysis, report.looks),
        "swatch": looks_swatch(analysis, report.looks),
        "energy": energy_table(analysis),
        "groups": group_table(analysis),
    }


def _figures(report: Report) -> dict[str, Any]:
    analysis, unit = report.analysis, report.unit
    drawings: Mapping[str, Sequence[Drawing | None]] = {
        "maps": [] if report.light is None else map_drawings(report.light, "dli", unit),
        "day_figures": [
            schedule_drawing(analysis) if analysis.setup.lit_fixtures else None,
            day_drawing(analysis, report.days, unit) if report.days else None,
        ],
        "spectrum_figures": [spectrum_drawing(analysis, report.spectra, unit) if report.spectra else None],
        "more_light_figures": [diminishing_drawing(report.more_light) if report.more_light else None],
        "colour_figures": [colour_drawing(report.colour) if report.colour else None],
        "compared_figures": compared_drawings(report.compared) if report.compared else [],
    }
    numbers = count(1)
    return {
        key: [_shown(drawing, next(numbers)) for drawing in found if drawing is not None]
        for key, found in drawings.items()
    }


def _shown(drawing: Drawing, number: int) -> dict[str, Any]:
    figure = inline_figure(drawing, f"f{number}")
    return {
        "key": figure.name,
        "caption": figure.caption,
        "lead": figure.lead,
        "svg": Ready(figure.svg),
    }


_SECTIONS: Final = (
    ("corals", "Corals", "corals"),
    ("compared", "Beside another", "compared_words"),
    ("try", "Try a change", ""),
    ("sites", "Sites", "amount"),
    ("maps", "Maps", "maps"),
    ("day", "The day", ""),
    ("spectrum", "Colour", "spectrum_figures"),
    ("certainty", "How sure", "certainty"),
    ("photosynthesis", "Photosynthesis", "photosynthesis"),
    ("colour-or-intensity", "Colour or intensity?", "colour_words"),
    ("looks", "Looks and gets", "looks"),
    ("cost", "Energy and cost", ""),
    ("safety", "Safety", ""),
    ("limits", "Cautions and limits", ""),
    ("groups", "What is usual", "groups"),
)
"""Key of a section, its words in the list of sections, and the part without which it is left out."""


def _contents(parts: Mapping[str, Any], can_change: bool) -> list[tuple[str, str]]:
    found = [(key, words) for key, words, part in _SECTIONS if not part or _filled(parts[part])]
    return [entry for entry in found if can_change or entry[0] != "try"]


def _filled(part: Any) -> bool:
    return bool(part.rows if hasattr(part, "rows") else part)
