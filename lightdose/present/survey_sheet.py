"""The measuring sheet: one HTML page that prints on A4 or Letter, with blanks to write in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

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
from lightdose.answers.words import length
from lightdose.errors import literal
from lightdose.model.plans import Survey
from lightdose.model.setup import LengthUnit
from lightdose.present.page import Ready, page_environment, policy, set_text, template_text

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
