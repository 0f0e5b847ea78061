"""Printed pages and sheets: a customer's hand-out, the slip of a coral, the sheet of a survey."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, Literal

from lightdose.answers.blocks import Point
from lightdose.answers.handout import (
    finding,
    heading,
    letters,
    light_sentences,
    more_text,
    origin_sentence,
    previous_line,
    slip_points,
    standing_points,
    start_sentence,
    titles,
    trial_tanks,
    trial_words,
    why_points,
)
from lightdose.answers.survey import (
    FEW,
    READING,
    ROUTINE,
    SAFETY,
    Row,
    meter_sentence,
    open_sentence,
    rows_of,
    unit_words,
    unread_sentence,
    worth_sentence,
)
from lightdose.answers.trial import trial_finding
from lightdose.answers.words import DLI_UNIT, DLI_UNIT_TYPESET, PPFD_UNIT, PPFD_UNIT_TYPESET, length
from lightdose.errors import literal
from lightdose.model.plans import Survey
from lightdose.model.record import dataclass
from lightdose.model.results import EYES, Verdict
from lightdose.model.setup import LengthUnit
from lightdose.model.shop import Handout, Slip
from lightdose.present.figures.canvas import Drawing, drawn, new_figure, saved, write_text
from lightdose.present.figures.handout import (
    ROW_IN,
    CoralRow,
    chosen_rows,
    coral_rows,
    day_top_ppfd,
    draw_corals,
    draw_day,
)
from lightdose.present.figures.style import QUIET_INK, fitted, shortened, write_rule
from lightdose.present.figures.trial import draw_trial
from lightdose.present.page import Ready, page_environment, policy, set_text, template_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

LABEL_GAP_IN: Final = 0.06

Paper = Literal["a4", "letter"]
MM_PER_IN: Final = 25.4
SHEETS_IN: Final[Mapping[Paper, tuple[float, float]]] = {
    "a4": (210 / MM_PER_IN, 297 / MM_PER_IN),
    "letter": (8.5, 11.0),
}
"""Width and height. Source: ISO 216; ANSI/ASME Y14.1 size A."""

SLIPS_IN: Final[Mapping[Paper, tuple[float, float]]] = {
    "a4": (105 / MM_PER_IN, 148 / MM_PER_IN),
    "letter": (4.25, 5.5),
}
"""A quarter of the sheet: ISO A6, and a Letter sheet cut twice."""


def paper_of(unit: LengthUnit) -> Paper:
    """The sheet where lengths are told in this unit: our choice."""
    return "letter" if unit == "in" else "a4"


def pdf_bytes(drawing: Drawing) -> bytes:
    """One page with its text as text, fonts inside, and no date: two runs give the same bytes."""
    metadata: dict[str, Any] = {
        "Title": drawing.title,
        "Subject": drawing.description,
        "Creator": None,
        "Producer": None,
        "CreationDate": None,
    }
    return saved(drawing.figure, "pdf", metadata, **{"pdf.fonttype": 42})


def write_rows(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    rows: Sequence[Point],
    *,
    label_in: float,
    size_pt: float,
    gap_in: float,
) -> float:
    """Write rows, what each is about in bold to the left of its text; return the height below them."""
    wide_in = label_in - LABEL_GAP_IN
    for row in rows:
        label = write_text(figure, left_in, top_in, wide_in, row.about, size_pt, weight="bold")
        text = write_text(figure, left_in + label_in, top_in, width_in - label_in, row.text, size_pt)
        top_in = max(label, text) + gap_in
    return top_in


MARGIN_IN: Final = 0.5
LABEL_IN: Final = 1.24
GAP_IN: Final = 0.035
BETWEEN_IN: Final = 0.3
PART_IN: Final = 0.13
TITLE_PT: Final = 13.0
SIZES_PT: Final = (8.6, 8.2, 7.8, 7.4, 7.0)
"""The text is set as large as leaves room for enough corals."""

ENOUGH_ROWS: Final = 10
DAY_IN: Final = ((1.5, 2.2), (1.35, 2.0))
"""Least and greatest height of a day curve, of one setup and of two."""
KEY: Final = (
    "Bars: dark the usual range, light from floor to ceiling, the thin line what the inputs allow (95 %). "
    "Stated value: disc within, open diamond outside, full diamond far outside."
)


@dataclass(frozen=True)
class Plan:
    """How the sheet is shared out. [inch, pt]"""

    size_pt: float
    rows: int
    day_in: float


@drawn
def handout_pages(handout: Handout, paper: Paper) -> Drawing:
    """The one page of a hand-out; ``paper.pdf_bytes`` turns it into the file.

    The text is as large as leaves room for the corals, and the day curve taller where room is left.
    """
    rows = coral_rows(handout.lights)
    least, greatest = DAY_IN[len(handout.lights) - 1]
    for size in SIZES_PT:
        _, left = _written(handout, paper, rows, Plan(size, 1, least))
        fit = max(1 + math.floor(left / ROW_IN), 0)
        if left >= 0 and fit >= min(len(rows), ENOUGH_ROWS):
            break
    spare = max(left - (len(rows) - 1) * ROW_IN, 0.0)
    plan = Plan(size, min(fit, len(rows)), min(least + spare, greatest))
    figure, _ = _written(handout, paper, rows, plan)
    title = f"{_title(handout)}: {finding(handout)}"
    return Drawing("handout", title, f"{title}. {literal(handout.lights[0].analysis.basis.sentence)}", figure)


def _written(handout: Handout, paper: Paper, rows: list[CoralRow], plan: Plan) -> tuple[Figure, float]:
    """The sheet, and how much room is left on it. [inch]"""
    width_in, height_in = SHEETS_IN[paper]
    figure = new_figure(width_in, height_in)
    inner = width_in - 2 * MARGIN_IN
    top = _write_head(figure, handout, inner)
    top = _rows(figure, top, inner, why_points(handout), plan.size_pt) + PART_IN
    if rows:
        top = _write_corals(figure, top, inner, handout, rows, plan)
    top = _write_lights(figure, top, inner, handout, plan) + PART_IN
    write_rule(figure, MARGIN_IN, top - PART_IN / 2, inner)
    bottom = _rows(figure, top, inner, standing_points(handout), plan.size_pt)
    return figure, height_in - MARGIN_IN - bottom


def _title(handout: Handout) -> str:
    return shortened(handout.lights[0].analysis.setup.title, 60)


def _write_head(figure: Figure, handout: Handout, inner: float) -> float:
    date = f"   {handout.date}" if handout.date else ""
    named = titles(handout)
    if len(named) > 1:
        named = [f"A: {shortened(named[0], 45)}   B: {shortened(named[1], 45)}"]
    headline = fitted(finding(handout), inner, TITLE_PT, bold=True)
    top = write_text(figure, MARGIN_IN, MARGIN_IN, 20.0, headline, TITLE_PT, weight="bold")
    line = f"{fitted(named[0], inner - 1.2, 9.5)}{date}"
    top = write_text(figure, MARGIN_IN, top + 0.02, 20.0, line, 9.5, color=QUIET_INK)
    return top + 0.14


def _rows(figure: Figure, top: float, inner: float, rows: list[Point], size_pt: float) -> float:
    return write_rows(figure, MARGIN_IN, top, inner, rows, label_in=LABEL_IN, size_pt=size_pt, gap_in=GAP_IN)


def _heads(handout: Handout) -> list[str]:
    return [
        f"{letter}: {title}" if letter else ""
        for letter, title in zip(letters(handout), titles(handout), strict=True)
    ]


def _write_corals(
    figure: Figure, top: float, inner: float, handout: Handout, rows: list[CoralRow], plan: Plan
) -> float:
    shown = chosen_rows(rows, plan.rows)
    top = draw_corals(figure, MARGIN_IN, top, inner, shown, _heads(handout)) + 0.05
    if len(shown) < len(rows):
        hidden = [row for row in rows if row not in shown]
        text = more_text(handout, _verdicts(hidden, len(handout.lights)))
        top = write_text(figure, MARGIN_IN, top, inner, text, plan.size_pt)
    return write_text(figure, MARGIN_IN, top, inner, KEY, plan.size_pt - 0.8, color=QUIET_INK) + PART_IN


def _verdicts(rows: Sequence[CoralRow], setups: int) -> list[list[Verdict]]:
    return [[v for row in rows if (v := row.verdicts[side]) is not None] for side in range(setups)]


def _write_lights(figure: Figure, top: float, inner: float, handout: Handout, plan: Plan) -> float:
    """A column a setup with its day, and one with the trial of dose and growth; words below each."""
    count = len(handout.lights) + 1
    width, highest = (inner - BETWEEN_IN * (count - 1)) / count, day_top_ppfd(handout.lights)
    alone, bottoms = count == 2, []
    for turn, light in enumerate(handout.lights):
        left = MARGIN_IN + turn * (width + BETWEEN_IN)
        head = "Light through the day" if alone else f"{'AB'[turn]}: light through the day"
        bottom = write_text(figure, left, top, width, head, plan.size_pt, weight="bold")
        if light.days:
            bottom = draw_day(figure, left, bottom + 0.02, width, plan.day_in, light, highest)
        bottoms.append(_sentences(figure, left, bottom, width, light_sentences(light, alone=alone), plan))
    left = MARGIN_IN + inner - width
    bottom = write_text(figure, left, top, width, trial_finding(handout.trial), plan.size_pt, weight="bold")
    bottom = draw_trial(figure, left, bottom + 0.06, width, plan.day_in, handout.trial, trial_tanks(handout))
    return max(*bottoms, _sentences(figure, left, bottom, width, [trial_words(handout)], plan))


def _sentences(
    figure: Figure, left: float, top: float, width: float, sentences: Sequence[str], plan: Plan
) -> float:
    for sentence in sentences:
        top = write_text(figure, left, top, width, sentence, plan.size_pt) + GAP_IN
    return top


SLIP_MARGIN_IN: Final = 0.3
SLIP_LABEL_IN: Final = 0.9
SLIP_TITLE_PT: Final = 13.0
SMALL_PT: Final = 7.2
SLIP_SIZES_PT: Final = (8.6, 8.2, 7.8, 7.4, 7.0, 6.6)
SLIP_GAP_IN: Final = 0.035
NOTES_IN: Final = 0.28
"""Height of one ruled line for the customer's notes."""

LONGEST_TEXT: Final = 260
"""Letters of one line of the slip: no name drives the rest off the page."""


@drawn
def slip_page(slip: Slip, paper: Paper) -> Drawing:
    """The slip on one page; ``paper.pdf_bytes`` turns it into the file.

    The text is as large as leaves room for a line of notes.
    """
    told = [*slip_points(slip), Point(literal(slip.analysis.basis.sentence), "basis")]
    rows = [Point(_typeset(point.text), point.about) for point in told]
    for size in SLIP_SIZES_PT:
        figure = new_figure(*SLIPS_IN[paper])
        top = _write(figure, slip, rows, size)
        lines = int((SLIPS_IN[paper][1] - SLIP_MARGIN_IN - top) / NOTES_IN)
        if lines >= 1:
            break
    _write_notes(figure, top, lines)
    title = f"{heading(slip)}: {rows[0].text}"
    return Drawing("slip", title, f"{title}; {origin_sentence(slip)}", figure)


def _write(figure: Figure, slip: Slip, rows: list[Point], size_pt: float) -> float:
    """Everything but the notes; the height below it. [inch]"""
    inner = figure.get_size_inches()[0] - 2 * SLIP_MARGIN_IN

    def write(top: float, text: str, size: float, left: float = SLIP_MARGIN_IN, **style: Any) -> float:
        return write_text(figure, left, top, inner, text, size, **style)

    top = write(
        SLIP_MARGIN_IN, fitted(heading(slip), inner, SLIP_TITLE_PT, bold=True), SLIP_TITLE_PT, weight="bold"
    )
    origin = fitted(slip.analysis.setup.title, inner - 0.9, SMALL_PT + 0.8)
    top = write(top + 0.02, f"{origin}, {slip.date}", SMALL_PT + 0.8, color=QUIET_INK) + 0.08
    write_rule(figure, SLIP_MARGIN_IN, top, inner, dark=True)
    top = write_rows(
        figure,
        SLIP_MARGIN_IN,
        top + 0.08,
        inner,
        rows,
        label_in=SLIP_LABEL_IN,
        size_pt=size_pt,
        gap_in=SLIP_GAP_IN,
    )
    top = write(top + 0.05, start_sentence(slip), size_pt, weight="bold")
    top = write(top + 0.06, "In the [[coral]] of a lightdose setup.toml:", size_pt)
    top = write(top + 0.02, previous_line(slip), size_pt + 1, SLIP_MARGIN_IN + 0.12, weight="bold")
    return write(top + 0.06, EYES, SMALL_PT, color=QUIET_INK) + 0.1


def _typeset(text: str) -> str:
    cut = text if len(text) <= LONGEST_TEXT else f"{text[: LONGEST_TEXT - 1]}…"
    return cut.replace(DLI_UNIT, DLI_UNIT_TYPESET).replace(PPFD_UNIT, PPFD_UNIT_TYPESET)


def _write_notes(figure: Figure, top: float, lines: int) -> None:
    """Ruled lines for the customer, as many as there is room for."""
    inner = figure.get_size_inches()[0] - 2 * SLIP_MARGIN_IN
    if lines >= 1:
        write_text(figure, SLIP_MARGIN_IN, top, inner, "notes", SMALL_PT, color=QUIET_INK)
    for turn in range(lines):
        write_rule(figure, SLIP_MARGIN_IN, top + (turn + 1) * NOTES_IN, inner, dark=True)


PLAN_WIDTH, PLAN_HEIGHT = 260.0, 150.0
"""Room for the plan. [px]"""

MARGIN: Final = 18.0


def survey_sheet(survey: Survey, unit: LengthUnit, csv_name: str, command: str, basis: str) -> str:
    """The page as text; it holds everything and requests nothing."""
    style, rows = template_text("survey_sheet.css"), rows_of(survey, unit)
    texts = {
        "title": survey.setup.title,
        "worth": worth_sentence(survey),
        "open": open_sentence(survey),
        "meter": survey.meter.name if survey.described else "",
        "meter_note": "" if survey.described else meter_sentence(survey),
        "unit": unit_words(survey.meter.reads),
        "little_time": f"Little time? The {FEW} with a star tell most." if len(rows) > FEW else "",
        "tied": unread_sentence(survey),
        "basis": basis,
        "version": survey.version,
    }
    return (
        page_environment()
        .get_template("survey_sheet.html")
        .render(
            {key: set_text(text) for key, text in texts.items()},
            style=Ready(style),
            policy=Ready(policy([style], [])),
            csv_name=literal(csv_name),
            command=literal(command),
            rows=[_row(row) for row in rows],
            routine=[set_text(line) for line in ROUTINE],
            safety=[set_text(line) for line in SAFETY],
            plan=_plan(survey, rows, unit),
        )
    )


def _row(row: Row) -> dict[str, Any]:
    cells = {field.name: set_text(str(field.shown(row))) for field in READING if "sheet" in field.at}
    return cells | {"key": row.tells_most}


def _plan(survey: Survey, rows: Sequence[Row], unit: LengthUnit) -> dict[str, Any]:
    """Pixels of the tank from above, front at the bottom."""
    tank = survey.setup.tank
    scale = min(PLAN_WIDTH / tank.length_m, PLAN_HEIGHT / tank.width_m)
    width, height = _px(tank.length_m * scale), _px(tank.width_m * scale)
    lamps = []
    for fixture in survey.setup.lit_fixtures:
        across = max(fixture.type.aperture.length_m * scale, 6.0)
        along = max(fixture.type.aperture.width_m * scale, 6.0)
        x, y = fixture.x_m * scale, height - fixture.y_m * scale
        lamps.append(
            {
                "x": _px(x - across / 2),
                "y": _px(y - along / 2),
                "width": _px(across),
                "height": _px(along),
                "turn": _px(-fixture.rotation_deg),
                "middle_x": _px(x),
                "middle_y": _px(y),
            }
        )
    view = (-MARGIN, -MARGIN, width + 2 * MARGIN, height + 2 * MARGIN)
    words = "; ".join(f"{r.reading.number} at {r.place}" for r in rows)
    return {
        "view": " ".join(f"{v:g}" for v in view),
        "width": round(view[2]),
        "height": round(view[3]),
        "tank_width": width,
        "tank_height": height,
        "lamps": lamps,
        "spots": _spots(rows, scale, width, height),
        "length": f"{length(tank.length_m, unit)} {unit}",
        "words": words,
    }


def _spots(rows: Sequence[Row], scale: float, width: float, height: float) -> list[dict[str, Any]]:
    """One mark a place with the numbers read there; labels towards the middle, moved off one another."""
    numbers: dict[tuple[float, float, bool], list[int]] = {}
    for row in rows:
        spot = row.reading.spot
        numbers.setdefault((spot.x_m, spot.y_m, spot.in_air), []).append(row.reading.number)
    spots: list[dict[str, Any]] = []
    for (x_m, y_m, air), read in sorted(numbers.items(), key=lambda item: -item[0][1]):
        x, y = _px(x_m * scale), _px(height - y_m * scale)
        right = x <= 0.6 * width
        label_y = y + 4
        while any(abs(s["label_y"] - label_y) < 11 and abs(s["x"] - x) < 60 for s in spots):
            label_y += 11
        spots.append(
            {
                "x": x,
                "y": y,
                "air": air,
                "label": ", ".join(str(n) for n in sorted(read)),
                "label_x": _px(x + 7 if right else x - 7),
                "label_y": _px(min(label_y, height + 4)),
                "anchor": "start" if right else "end",
            }
        )
    return spots


def _px(value: float) -> float:
    return round(value, 1)
