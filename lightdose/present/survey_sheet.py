"""The measuring sheet: one HTML page that prints on A4 or Letter, with blanks to write in."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any, Final

from lightdose.model.plans import PlannedReading, Survey
from lightdose.model.setup import LengthUnit
from lightdose.present.labels import length, literal, typeset
from lightdose.present.page import Ready, page_environment, policy
from lightdose.present.survey_text import (
    FEW,
    ROUTINE,
    SAFETY,
    clock_words,
    expected_words,
    few_first,
    meter_sentence,
    on_words,
    open_sentence,
    place_words,
    unit_words,
    unread_sentence,
    worth_sentence,
)

PLAN_WIDTH, PLAN_HEIGHT = 260.0, 150.0
"""Room for the plan. [px]"""

MARGIN = 18.0

STYLE: Final = """
:root { color-scheme: light; }
* { box-sizing: border-box; }
body { margin: 0; background: #fff; color: #0d0d0d; }
body { font: 14px/1.35 system-ui, "Segoe UI", Helvetica, Arial, sans-serif; }
main { max-width: 60rem; margin: 0 auto; padding: 1rem; }
h1 { font-size: 1.45rem; margin: 0 0 .3rem; }
h1 .tank { font-weight: normal; overflow-wrap: anywhere; }
h2 { font-size: 1rem; margin: .7rem 0 .2rem; }
p { margin: .25rem 0; }
.run-in { display: inline; }
h2.run-in { padding-right: .4rem; }
ul, ol { margin: .2rem 0; padding-left: 1.2rem; }
li { margin: .1rem 0; }
.note, small, caption { color: #3a3a3a; font-size: .85em; }
.blanks { display: flex; flex-wrap: wrap; gap: .5rem 1.2rem; margin: .6rem 0 .3rem; }
.blanks span { flex: 1 1 11rem; display: flex; gap: .4rem; align-items: flex-end; white-space: nowrap; }
.blanks span:last-child { flex-basis: 26rem; }
.blanks b { overflow: hidden; text-overflow: ellipsis; }
.blanks i { flex: 1 1 2.5rem; border-bottom: 1px solid #595959; height: 1.1em; }
table { width: 100%; border-collapse: collapse; }
caption { text-align: left; padding: .1rem 0 .3rem; }
th, td { border: 1px solid #8a8a8a; padding: .22rem .35rem; text-align: left; vertical-align: top; }
th, td { overflow-wrap: anywhere; }
thead th { background: #e4e8ec; font-size: .85em; }
tbody th { white-space: nowrap; }
.n { text-align: right; white-space: nowrap; }
.blank { min-width: 5.2rem; width: 6rem; }
.remark { min-width: 5rem; width: 8rem; }
tr.key td.blank { outline: 2px solid #0d0d0d; outline-offset: -2px; }
.star { padding-left: .1em; }
.pair { display: flex; gap: 1.5rem; flex-wrap: wrap; }
.pair section { flex: 1 1 19rem; }
svg { max-width: 100%; height: auto; display: block; }
code { font-family: ui-monospace, Consolas, monospace; overflow-wrap: anywhere; }
@media (max-width: 40rem) {
  table, caption, thead, tbody, tr, th, td { display: block; }
  thead { display: none; }
  tr { margin: .5rem 0; border: 1px solid #8a8a8a; }
  td, tbody th { border: 0; }
  td.blank { border-bottom: 1px solid #595959; height: 2.2rem; width: auto; }
  td.remark { display: none; }
  .n { text-align: left; }
  td.n::before { content: "expect "; }
}
@page { margin: 10mm; }
@media print {
  body { font-size: 8.8pt; line-height: 1.24; }
  h1 { font-size: 14pt; }
  h2 { margin-top: .45rem; }
  main { max-width: none; padding: 0 1px; }
  section, tr, svg, .blanks { break-inside: avoid; }
  h2 { break-after: avoid; }
  table { break-inside: auto; }
  thead { display: table-header-group; }
  tbody tr { height: 8.4mm; }
  th, td { padding: .08rem .3rem; }
  caption { padding: 0 0 .1rem; }
}
"""


def survey_sheet(survey: Survey, unit: LengthUnit, csv_name: str, command: str, basis: str) -> str:
    """The page as text; it holds everything and requests nothing."""
    few, several = few_first(survey), len(survey.setup.lit_fixtures) > 1
    little = ""
    if len(survey.readings) > FEW:
        little = f"Little time? The {FEW} with a star tell most."
    return (
        page_environment()
        .get_template("survey_sheet.html")
        .render(
            style=Ready(STYLE),
            policy=Ready(policy([STYLE], [])),
            title=literal(survey.setup.title),
            worth=typeset(worth_sentence(survey)),
            open=open_sentence(survey),
            meter=literal(survey.meter.name) if survey.described else "",
            meter_note="" if survey.described else meter_sentence(survey),
            unit=typeset(unit_words(survey.meter.reads)),
            little_time=little,
            rows=[_row(r, unit, several, few) for r in survey.readings],
            tied=unread_sentence(survey),
            routine=[typeset(line) for line in ROUTINE],
            safety=[typeset(line) for line in SAFETY],
            plan=_plan(survey, unit),
            csv_name=literal(csv_name),
            command=literal(command),
            basis=literal(basis),
            version=survey.version,
        )
    )


def _row(reading: PlannedReading, unit: LengthUnit, several: bool, few: Sequence[int]) -> dict[str, Any]:
    return {
        "number": reading.number,
        "key": reading.number in few,
        "where": literal(reading.spot.name),
        "place": place_words(reading.spot, unit),
        "on": typeset(literal(on_words(reading, clock_words(reading), several))),
        "expected": expected_words(reading),
        "tells": literal(reading.tells),
    }


def _plan(survey: Survey, unit: LengthUnit) -> dict[str, Any]:
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
    words = "; ".join(
        f"{r.number} at {place_words(r.spot, unit)}" for r in sorted(survey.readings, key=lambda r: r.number)
    )
    return {
        "view": " ".join(f"{v:g}" for v in view),
        "width": round(view[2]),
        "height": round(view[3]),
        "tank_width": width,
        "tank_height": height,
        "lamps": lamps,
        "spots": _spots(survey.readings, scale, width, height),
        "length": f"{length(tank.length_m, unit)} {unit}",
        "words": words,
    }


def _spots(
    readings: Sequence[PlannedReading], scale: float, width: float, height: float
) -> list[dict[str, Any]]:
    """One mark a place with the numbers read there; labels towards the middle, moved off one another."""
    numbers: dict[tuple[float, float, bool], list[int]] = {}
    for r in readings:
        numbers.setdefault((r.spot.x_m, r.spot.y_m, r.spot.in_air), []).append(r.number)
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
