"""Printed pages and sheets: a customer's hand-out, the slip of a coral, the sheet of a survey."""

from __future__ import annotations

from bisect import bisect_left
from collections.abc import Mapping, Sequence
from functools import cache
from typing import TYPE_CHECKING, Any, Final, Literal

from lightdose.answers.blocks import Point
from lightdose.answers.handout import (
    DO,
    DO_NOT,
    KEY,
    TITLE,
    TRANSLATED,
    letters,
    picture_words,
    stand_words,
    standing_points,
    titles,
    usual_words,
    why_points,
)
from lightdose.answers.language import Language
from lightdose.answers.slip import lived_points, previous_line, start_points, year_words
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
from lightdose.answers.words import joined_ends, length
from lightdose.errors import literal
from lightdose.model.plans import Survey
from lightdose.model.results import Verdict
from lightdose.model.setup import LengthUnit
from lightdose.model.shop import Handout, Slip
from lightdose.present.figures.canvas import (
    MADE_BY,
    Drawing,
    drawn,
    line_in,
    new_figure,
    saved,
    write_text,
)
from lightdose.present.figures.handout import draw_days, draw_front, draw_range, draw_year
from lightdose.present.figures.inline_svg import inline_figure
from lightdose.present.figures.style import (
    QUIET_INK,
    drawable,
    text_width_in,
    wrapped,
    write_rule,
)
from lightdose.present.page import Ready, page_environment, policy, set_text, template_text

if TYPE_CHECKING:
    from matplotlib.figure import Figure

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


def file_bytes(drawing: Drawing, w: Language, *, page: bool) -> bytes | str:
    """One sheet as PDF with its text as text, fonts inside, and no date; or as a page for a browser.

    A browser draws letters with fonts of its own, where none is on this computer. Two runs give the same.
    """
    if page:
        width, height = drawing.figure.get_size_inches()
        style = template_text("printed_page.css").replace("{size}", f"{width:.4g}in {height:.4g}in")
        return (
            page_environment()
            .get_template("printed_page.html")
            .render(
                title=drawing.title,
                language=w.key,
                style=Ready(style),
                policy=Ready(policy([style], [])),
                figure=Ready(inline_figure(drawing, "sheet").svg),
            )
        )
    metadata: dict[str, Any] = {
        "Title": drawing.title,
        "Subject": drawing.description,
        "Creator": MADE_BY,
        "Producer": None,
        "CreationDate": None,
    }
    return saved(drawing.figure, "pdf", metadata, **{"pdf.fonttype": 42})


NAME_LINES: Final = 4
"""A name takes so many lines at most; a longer one keeps its start and its end."""


def write_name(
    figure: Figure, left_in: float, top_in: float, width_in: float, name: str, size_pt: float, **style: Any
) -> float:
    """Write a name whole, on as many lines as it needs, up to ``NAME_LINES``; the height below it. [inch]"""
    shown, bold = drawable(name), style.get("weight") == "bold"
    kept = min(len(shown), 400)
    while len(wrapped(joined_ends(shown, kept), width_in, size_pt, bold=bold)) > NAME_LINES:
        kept -= max(1, kept // 20)
    return write_text(figure, left_in, top_in, width_in, joined_ends(shown, kept), size_pt, **style)


def write_rows(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    rows: Sequence[Point],
    size_pt: float,
    label_in: float | None = None,
) -> float:
    """Write rows, what each is about in bold to the left of its text; the height below them. [inch]"""
    labels = [text_width_in(row.about, size_pt, bold=True) for row in rows]
    label = max(labels, default=0.0) + 0.12 if label_in is None else label_in
    for row in rows:
        low = write_text(figure, left_in, top_in, label, row.about, size_pt, weight="bold")
        text = write_text(figure, left_in + label, top_in, width_in - label, row.text, size_pt)
        top_in = max(low, text) + 0.3 * line_in(size_pt)
    return top_in


def write_list(
    figure: Figure,
    left_in: float,
    top_in: float,
    width_in: float,
    head: str,
    lines: Sequence[str],
    size_pt: float,
    marks: Sequence[str],
) -> float:
    """Write a head and below it a list with its marks; the height below them. [inch]"""
    top_in = write_text(figure, left_in, top_in, width_in, head, size_pt + 1, weight="bold") + 0.04
    for sign, line in zip(marks, lines, strict=True):
        write_text(figure, left_in, top_in, 1.0, sign, size_pt)
        top_in = write_text(figure, left_in + 0.17, top_in, width_in - 0.17, line, size_pt)
        top_in += 0.25 * line_in(size_pt)
    return top_in


def write_blank(
    figure: Figure, left_in: float, top_in: float, width_in: float, label: str, size_pt: float
) -> None:
    """A label and a line to write on."""
    write_text(figure, left_in, top_in, width_in, label, size_pt, color=QUIET_INK)
    start = text_width_in(label, size_pt) + 0.08
    write_rule(figure, left_in + start, top_in + line_in(size_pt), width_in - start, dark=True)


MARGIN_IN: Final = 0.5
BETWEEN_IN: Final = 0.3
PART_IN: Final = 0.14
TITLE_PT: Final = 17.0
SIZES_PT: Final = tuple(0.25 * quarter for quarter in range(24, 42))
"""The text is set as large as the sheet allows."""

SMALL_SHARE: Final = 0.75
"""The small print, of the size of the text."""

PICTURE_IN: Final = (2.8, 1.9)
"""Greatest height of the drawing of one tank, and of each of two, where the text is as large as it gets."""

DAY_IN: Final = (2.6, 1.45)


@drawn
def handout_pages(handout: Handout, paper: Paper, w: Language) -> Drawing:
    """The one page of a hand-out; ``file_bytes`` turns it into the file."""

    @cache
    def left_in(size: float) -> float:
        return _written(handout, paper, w, size)[1]

    size = SIZES_PT[bisect_left(SIZES_PT, True, lo=1, key=lambda size: left_in(size) < 0) - 1]
    figure, _ = _written(handout, paper, w, size, max(left_in(size), 0.0))
    title = f"{w.say(TITLE)}: {' / '.join(titles(handout, w))}"
    words = " ".join(point.text for point in why_points(handout, w))
    return Drawing("handout", title, words, figure)


def _written(
    handout: Handout, paper: Paper, w: Language, size: float, stamp_in: float = 0.0
) -> tuple[Figure, float]:
    """The sheet, and how much room is left on it; ``stamp_in`` is room above the line for the shop. [inch]"""
    width, height = SHEETS_IN[paper]
    figure, inner = new_figure(width, height), width - 2 * MARGIN_IN
    top = _write_head(figure, handout, inner, w)
    one = len(handout.lights) == 1
    top = (_write_picture if one else _write_pictures)(figure, top, inner, handout, w, size) + PART_IN
    top = _write_why(figure, top, inner, handout, w, size) + PART_IN
    half = (inner - BETWEEN_IN) / 2
    lists = ((w.say("What to do at home"), DO), (w.say("What not to do"), DO_NOT))
    lows = [
        write_list(
            figure,
            MARGIN_IN + i * (half + BETWEEN_IN),
            top,
            half,
            head,
            list(map(w.say, lines)),
            size,
            "•" * len(lines),
        )
        for i, (head, lines) in enumerate(lists)
    ]
    top = max(lows) + PART_IN + 0.06 + stamp_in
    date = w.date(handout.date) if handout.date else ""
    write_blank(figure, MARGIN_IN, top, 0.62 * inner, w.say("Your shop"), size)
    if date:
        write_text(figure, MARGIN_IN + 0.68 * inner, top, 0.32 * inner, date, size)
    else:
        write_blank(figure, MARGIN_IN + 0.68 * inner, top, 0.32 * inner, w.say("Date"), size)
    top += line_in(size) + PART_IN
    write_rule(figure, MARGIN_IN, top, inner)
    small = SMALL_SHARE * size
    bottom = write_rows(figure, MARGIN_IN, top + 0.07, inner, standing_points(handout, w), small)
    foot = " ".join(filter(None, (f"lightdose {handout.lights[0].analysis.version}.", _translated(w))))
    bottom = write_text(figure, MARGIN_IN, bottom, inner, foot, small, color=QUIET_INK)
    return figure, height - 0.5 - bottom


def _translated(w: Language) -> str:
    return "" if w.key == "en" else w.say(TRANSLATED)


def _write_head(figure: Figure, handout: Handout, inner: float, w: Language) -> float:
    top = write_text(figure, MARGIN_IN, MARGIN_IN, inner, w.say(TITLE), TITLE_PT, weight="bold") + 0.03
    for letter, title in zip(letters(handout), titles(handout, w), strict=True):
        start = 0.25 if letter else 0.0
        write_text(figure, MARGIN_IN, top, 1.0, letter, 10.5, weight="bold")
        top = write_name(figure, MARGIN_IN + start, top, inner - start, title, 10.5, color=QUIET_INK)
    return top + PART_IN


def _picture_in(two: int, size: float) -> float:
    """Height of a drawing beside text of that size."""
    return PICTURE_IN[two] * size / SIZES_PT[-1]


def _write_picture(
    figure: Figure, top: float, inner: float, handout: Handout, w: Language, size: float
) -> float:
    """One tank to the left, its three corals to the right of it."""
    light, setup = handout.lights[0], handout.lights[0].analysis.setup
    room = 0.5 * inner if light.corals else inner
    low = draw_front(
        figure, MARGIN_IN, top, (room, _picture_in(0, size)), setup, setup.length_unit, light.corals
    )
    words = picture_words(setup, setup.length_unit, w)
    low = write_text(figure, MARGIN_IN, low + 0.06, room, words, size - 1.5, color=QUIET_INK)
    if not light.corals:
        return low
    left, wide, beside = MARGIN_IN + room + BETWEEN_IN, inner - room - BETWEEN_IN, top
    for n, verdict in enumerate(light.corals, start=1):
        beside = _write_coral(figure, left, beside, wide, (str(n), verdict), w, size) + 0.09
    beside = write_text(figure, left, beside, wide, w.say(KEY), size - 1.5, color=QUIET_INK)
    return max(low, beside)


def _write_coral(
    figure: Figure, left: float, top: float, wide: float, coral: tuple[str, Verdict], w: Language, size: float
) -> float:
    """A coral's name whole, its bar, and its light in words."""
    number, verdict = coral
    write_text(figure, left, top, 1.0, number, size + 1, weight="bold")
    top = write_name(figure, left + 0.2, top, wide - 0.2, verdict.coral, size + 1, weight="bold") + 0.03
    top = draw_range(figure, left, top, wide, verdict) + 0.03
    words = stand_words(verdict, w)
    top = write_text(figure, left, top, wide, words, size)
    usual = w.say("Usual: {usual}.", usual=usual_words(verdict, w))
    return write_text(figure, left, top, wide, usual, size - 1.5, color=QUIET_INK)


def _write_pictures(
    figure: Figure, top: float, inner: float, handout: Handout, w: Language, size: float
) -> float:
    """Two tanks beside one another, and below each its corals."""
    half = (inner - BETWEEN_IN) / 2
    starts = [MARGIN_IN, MARGIN_IN + half + BETWEEN_IN]
    lows = []
    for left, letter, light in zip(starts, letters(handout), handout.lights, strict=True):
        setup = light.analysis.setup
        write_text(figure, left, top, 1.0, letter, size + 1, weight="bold")
        sides = half, _picture_in(1, size)
        low = draw_front(figure, left, top + 0.1, sides, setup, setup.length_unit, light.corals)
        words = picture_words(setup, setup.length_unit, w)
        lows.append(write_text(figure, left, low + 0.06, half, words, size - 1.5, color=QUIET_INK))
    top = max(lows) + 0.08
    lows = [top]
    for left, light in zip(starts, handout.lights, strict=True):
        low = top
        for n, verdict in enumerate(light.corals, start=1):
            low = _write_coral(figure, left, low, half, (str(n), verdict), w, size) + 0.07
        lows.append(low)
    return write_text(figure, MARGIN_IN, max(lows), inner, w.say(KEY), size - 1.5, color=QUIET_INK)


def _write_why(figure: Figure, top: float, inner: float, handout: Handout, w: Language, size: float) -> float:
    """Three sentences, and beside them the day that they speak of."""
    days = [(letter, x.day) for letter, x in zip(letters(handout), handout.lights, strict=True) if x.day]
    wide = inner - (DAY_IN[0] + BETWEEN_IN if days else 0.0)
    head = (
        write_text(figure, MARGIN_IN, top, wide, w.say("How this light works"), size + 1, weight="bold")
        + 0.04
    )
    low = head
    for point in why_points(handout, w):
        low = write_text(figure, MARGIN_IN, low, wide, point.about, size, weight="bold")
        low = write_text(figure, MARGIN_IN, low, wide, point.text, size) + 0.05
    if not days:
        return low
    left = MARGIN_IN + wide + BETWEEN_IN
    named = (
        w.say("Coral\u00a01 through the day")
        if all(light.corals for light in handout.lights)
        else w.say("Light through the day")
    )
    beside = write_text(figure, left, top, DAY_IN[0], named, size, weight="bold")
    return max(low, draw_days(figure, left, beside, *DAY_IN, days, w))


SLIP_MARGIN_IN: Final = 0.3
SLIP_TITLE_PT: Final = 13.0
SLIP_SIZES_PT: Final = (8.6, 8.2, 7.8, 7.4, 7.0, 6.6, 6.2)
YEAR_IN: Final = 0.55
NOTES_IN: Final = 0.27
"""Height of one ruled line for notes."""


@drawn
def slip_page(slip: Slip, paper: Paper, w: Language) -> Drawing:
    """The slip on one page; ``file_bytes`` turns it into the file.

    The text is as large as leaves room for a line of notes.
    """
    for size in SLIP_SIZES_PT:
        figure = new_figure(*SLIPS_IN[paper])
        top = _write_slip(figure, slip, w, size)
        lines = int((SLIPS_IN[paper][1] - SLIP_MARGIN_IN - top) / NOTES_IN)
        if lines >= 1:
            break
    inner = SLIPS_IN[paper][0] - 2 * SLIP_MARGIN_IN
    for turn in range(lines):
        if turn == 0:
            write_blank(
                figure, SLIP_MARGIN_IN, top + NOTES_IN - line_in(7.2), inner, w.say("Shop, notes"), 7.2
            )
        else:
            write_rule(figure, SLIP_MARGIN_IN, top + (turn + 1) * NOTES_IN, inner, dark=True)
    name = literal(slip.verdict.coral)
    text = "; ".join(f"{point.about}: {point.text}" for point in lived_points(slip, w))
    return Drawing("slip", name, f"{name}. {text}", figure)


def _write_slip(figure: Figure, slip: Slip, w: Language, size: float) -> float:
    """Everything but the notes; the height below it. [inch]"""
    inner, left, verdict = figure.get_size_inches()[0] - 2 * SLIP_MARGIN_IN, SLIP_MARGIN_IN, slip.verdict
    top = write_name(figure, left, left, inner, verdict.coral, SLIP_TITLE_PT, weight="bold") + 0.02
    top = write_name(figure, left, top, inner, slip.analysis.setup.title, size, color=QUIET_INK)
    top = write_text(figure, left, top, inner, w.date(slip.date), size, color=QUIET_INK) + 0.05
    write_rule(figure, left, top, inner, dark=True)
    top = (
        write_text(figure, left, top + 0.06, inner, w.say("The light it lived in"), size + 1, weight="bold")
        + 0.04
    )
    if verdict.band_dli is not None:
        top = draw_range(figure, left, top, inner, verdict) + 0.04
    top = write_rows(figure, left, top, inner, lived_points(slip, w), size)
    if slip.life is not None and slip.life.spells and year_words(slip.life, slip.date, w):
        top = write_text(figure, left, top, inner, w.say("Its last year"), size, weight="bold") + 0.03
        top = draw_year(figure, left, top, inner, YEAR_IN, slip.life, slip.date, verdict.band_dli, w)
        top = write_text(figure, left, top + 0.02, inner, year_words(slip.life, slip.date, w), size) + 0.03
    steps = start_points(slip, w)
    signs = [f"{n}." for n in range(1, len(steps) + 1)] if len(steps) > 1 else [""]
    top = write_list(figure, left, top + 0.03, inner, w.say("Into its new tank"), steps, size, signs)
    small: dict[str, Any] = {"size_pt": size - 1, "color": QUIET_INK}
    top = write_text(figure, left, top, inner, w.say(DO_NOT[3]), **small) + 0.03
    words = w.say("In lightdose: {line}", line=previous_line(slip))
    top = write_text(figure, left, top, inner, words, **small)
    return (
        write_text(figure, left, top, inner, _translated(w), **small) + 0.02 if _translated(w) else top + 0.02
    )


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
