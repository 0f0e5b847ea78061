"""A coral's life on one time axis: dose with its interval, what it is set for, changes, and notes."""

from __future__ import annotations

import datetime
import math
from collections.abc import Iterator, Sequence
from typing import Any, Final

import numpy as np

from lightdose.answers.diary_words import listed, moved_words
from lightdose.answers.history import IT_LIVED, life_sentence
from lightdose.answers.words import DLI_UNIT_TYPESET, count, number, range_text, typeset
from lightdose.errors import literal
from lightdose.model.diary import Change, CoralHistory, History, Note
from lightdose.model.record import FloatArray
from lightdose.present.figures.canvas import (
    HEAD_IN,
    STACK_RIGHT_IN,
    Drawing,
    Panel,
    drawn,
    pages,
    row_name,
    row_sheet,
    stacked_sheet,
)
from lightdose.present.figures.fitting import fit
from lightdose.present.figures.scales import EndLabel
from lightdose.present.figures.style import (
    BAND_FILL,
    INK,
    LIMIT_FILL,
    QUIET_INK,
    RULE,
    SMALL_PT,
    TONES,
    Stroke,
    fitted,
)

DOSE_IN, COLOUR_IN, KIND_IN = 2.9, 1.15, 0.24
ROWS_A_PAGE: Final = 30
LIFE_ROW_IN: Final = 0.33
SPAN: Final = 1.7
"""A row of the tank's sheet reaches from the mean dose over this factor to the mean dose times it."""

RULE_OF_MOVE: Final[Any] = {"color": QUIET_INK, "linewidth": 0.9, "linestyle": (0, (2, 2))}
GROUND: Final[Any] = {"facecolor": "white", "edgecolor": "none", "pad": 0.8, "alpha": 0.85}
KINDS_DRAWN: Final = 8
MOVES_NAMED: Final = 6
LABEL_SHARE: Final = 0.21
"""Notes of trouble are labelled where the one before is so much of the time axis away."""

LEAD: Final = (
    "Blue: daily dose as calculated, pale blue its 95 % range. Dashed: what the coral is set for, with a lag "
    "of 20 days. Grey: usual range of its group. Triangle up: a rise faster than 10 % a week; down: a fall "
    "below its floor, or by more than half; rule: a move."
)
TANK_LEAD: Final = (
    "Line: daily dose on one scale for all, a factor of {span:g} up and down from each coral's mean. "
    "Triangle up: a rise faster than 10 % a week; down: a fall below the floor, or by more than half; rule: "
    "a move; red cross: a note of trouble."
)


def ordinal(date: str) -> int:
    """A date as a number of days."""
    return datetime.date.fromisoformat(date).toordinal()


def date_ticks(first: int, last: int, most: int = 9) -> list[tuple[int, str]]:
    """Beginnings of months on a time axis, so far apart that their names fit, and what they are called."""
    start = datetime.date.fromordinal(first)
    for months in (1, 2, 3, 6, 12, 24, 60):
        ticks = []
        year, month = start.year, 1
        while (day := datetime.date(year, month, 1)).toordinal() <= last:
            if day.toordinal() >= first:
                ticks.append((day.toordinal(), day.strftime("%Y" if months >= 12 else "%Y-%m")))
            month += months
            year, month = year + (month - 1) // 12, (month - 1) % 12 + 1
        if len(ticks) <= most:
            break
    return ticks or [(first, start.isoformat())]


def dated_axis(panel: Panel, first: int, last: int) -> None:
    """Set the scale and the ticks of time."""
    room = max(1, last - first)
    panel.axes.set_xlim(first - 0.01 * room, last + 0.01 * room)
    ticks = date_ticks(first, last, 4 if fit().narrow else 9)
    panel.axes.set_xticks([day for day, _ in ticks], [name for _, name in ticks])


@drawn
def life_drawing(coral: CoralHistory, history: History, name: str = "life") -> Drawing:
    """One coral: dose, colour and further notes below one another on one time axis."""
    first, last = ordinal(history.first), max(ordinal(history.last), ordinal(history.first) + 1)
    kinds = _kinds(coral, history)
    heights = [DOSE_IN, COLOUR_IN, max(1, len(kinds)) * KIND_IN]
    title = f"{coral.coral}: {typeset(life_sentence(coral).removeprefix(IT_LIVED))}"
    sheet, panels = stacked_sheet(title, LEAD, heights, "", f"DLI [{DLI_UNIT_TYPESET}]", above_in=HEAD_IN)
    for panel in panels:
        dated_axis(panel, first, last)
    _draw_doses(panels[0], coral, history, last)
    _draw_colours(panels[1], coral, first)
    _draw_kinds(panels[2], kinds, first)
    for change in _shown(coral, history):
        if "moved" in change.kinds:
            for panel in panels:
                panel.axes.axvline(ordinal(change.date), **RULE_OF_MOVE)
    return sheet.drawing(name, f"{literal(title)} {_description(coral)}")


def _shown(coral: CoralHistory, history: History) -> list[Change]:
    return [change for change in coral.changes if change.date >= history.first]


def _draw_doses(panel: Panel, coral: CoralHistory, history: History, last: int) -> None:
    axes, spells = panel.axes, coral.spells
    group = history.setup.groups.get(coral.group)
    tops = [0.0]
    if group is not None and group.band_dli is not None:
        low, high = group.band_dli
        axes.axhspan(low, high, color=LIMIT_FILL, linewidth=0, zorder=0)
        tops.append(high)
    for spell in spells:
        days = np.array([ordinal(spell.since), ordinal(spell.until)], dtype=float)
        if spell.light.interval_dli is not None:
            fill: Any = {"color": BAND_FILL, "alpha": 0.6, "linewidth": 0, "zorder": 1}
            axes.fill_between(days, *spell.light.interval_dli, **fill)
            tops.append(spell.light.interval_dli[1])
    days, doses = _steps(coral)
    labels = []
    if days.size:
        axes.plot(days, doses, color=TONES["blue"], linewidth=2.0, zorder=4)
        day, followed = _set_for(coral)
        axes.plot(day, followed, color=INK, linewidth=1.2, linestyle=(0, (5, 1.5)), zorder=3)
        labels = [
            EndLabel(f"dose {number(float(doses[-1]))}", float(days[-1]), float(doses[-1]), TONES["blue"]),
            EndLabel(f"set for {number(float(followed[-1]))}", float(day[-1]), float(followed[-1])),
        ]
        tops.append(float(np.nanmax(doses)))
    if group is not None and group.band_dli is not None:
        middle = sum(group.band_dli) / 2
        labels.append(EndLabel(f"usual {range_text(*group.band_dli)}", float(last), middle, QUIET_INK))
    axes.set_ylim(0, 1.16 * max(tops) or 1.0)
    _mark_changes(panel, coral, history)
    panel.label_ends(labels)
    panel.head("Daily dose", _counted(coral))


def _mark_changes(panel: Panel, coral: CoralHistory, history: History) -> None:
    moves = 0
    for change in _shown(coral, history):
        x, dose = float(ordinal(change.date)), change.after.dli_mol_m2_d
        if "fast_rise" in change.kinds:
            panel.mark(x, dose, "^", TONES["amber"])
        if "below_floor" in change.kinds or "deep_cut" in change.kinds:
            panel.mark(x, dose, "v", TONES["amber"])
        if "moved" in change.kinds and moves < MOVES_NAMED:
            top = panel.axes.get_ylim()[1]
            words = fitted(f"to {literal(change.after.site)}", 1.3, SMALL_PT)
            side = -1 if x > sum(panel.axes.get_xlim()) / 2 else 1
            style: Any = {"ha": "right" if side < 0 else "left", "bbox": GROUND, "zorder": 6}
            panel.note(x, top * (0.965 - 0.07 * (moves % 2)), words, (4 * side, 0), **style)
            moves += 1


def _counted(coral: CoralHistory) -> str:
    rises = sum("fast_rise" in change.kinds for change in coral.changes)
    return f"{count(rises, 'fast rise')}, {count(sum('moved' in c.kinds for c in coral.changes), 'move')}"


def _steps(coral: CoralHistory) -> tuple[FloatArray, FloatArray]:
    """The dose as a line of steps; a gap where the coral was away."""
    days: list[float] = []
    doses: list[float] = []
    end = math.nan
    for spell in coral.spells:
        since = float(ordinal(spell.since))
        if since > end:
            days.append(since)
            doses.append(math.nan)
        end = float(ordinal(spell.until))
        days += [since, end]
        doses += [spell.light.dli_mol_m2_d] * 2
    return np.array(days), np.array(doses)


def _set_for(coral: CoralHistory) -> tuple[FloatArray, FloatArray]:
    """What the coral is set for, by the ends of its spells and between them on the course of the lag."""
    days: list[float] = []
    followed: list[float] = []
    before = coral.spells[0].light.dli_mol_m2_d
    for spell in coral.spells:
        since, until = ordinal(spell.since), ordinal(spell.until)
        dose, end = spell.light.dli_mol_m2_d, spell.set_for.default
        share = np.linspace(0.0, 1.0, 24)
        gone = (end - dose) / (before - dose) if before != dose else 1.0
        days += list(since + share * (until - since))
        followed += list(dose + (before - dose) * np.power(max(gone, 1e-12), share))
        before = end
    return np.array(days), np.array(followed)


def _draw_colours(panel: Panel, coral: CoralHistory, first: int) -> None:
    axes = panel.axes
    axes.set_ylim(0.5, 6.5)
    axes.set_yticks([1, 2, 3, 4, 5, 6])
    axes.set_ylabel("colour", fontsize=SMALL_PT)
    notes = [n for n in coral.notes if n.kind == "colour" and ordinal(n.date) >= first]
    scored = [n for n in notes if n.value is not None]
    days, values = [ordinal(n.date) for n in scored], [float(n.value or 0) for n in scored]
    panel.line(np.array(days, dtype=float), np.array(values), Stroke(QUIET_INK, "solid", 1.0))
    pale = {id(t.note) for t in coral.troubles}
    left, right = axes.get_xlim()
    named, room = left - (right - left), right - left
    for note, day, value in zip(scored, days, values, strict=True):
        if id(note) not in pale:
            panel.mark(day, value, "o", "white", markersize=4.5)
            continue
        panel.mark(day, value, "X", TONES["red"], markersize=7)
        if day - named > LABEL_SHARE * room:
            panel.note(day, value, f"{value:g}, {note.date}", (9, -9 if value > 1.5 else 9), ha="left")
            named = day
    panel.head("Colour", "1 pale to 6 dark; a fall of 2 counts")


def _kinds(coral: CoralHistory, history: History) -> list[tuple[str, list[Note]]]:
    """Notes by kind, those of the coral first; colours have a panel of their own."""
    rows: dict[str, list[Note]] = {}
    for whose, notes in (("", coral.notes), (", tank", history.tank_notes)):
        for note in notes:
            if note.kind != "colour":
                both = whose and any(n.kind == note.kind for n in coral.notes)
                rows.setdefault(note.kind + (whose if both else ""), []).append(note)
    return list(rows.items())[:KINDS_DRAWN]


def _draw_kinds(panel: Panel, kinds: Sequence[tuple[str, list[Note]]], first: int) -> None:
    axes = panel.axes
    axes.set_ylim(max(1, len(kinds)) - 0.5, -0.5)
    axes.set_ylabel("")
    names = [fitted(kind.replace("_", " "), 0.78, SMALL_PT) for kind, _ in kinds]
    axes.set_yticks(range(len(kinds)), names, fontsize=SMALL_PT)
    axes.tick_params(axis="y", length=0)
    for row, (_, notes) in enumerate(kinds):
        for note in notes:
            if ordinal(note.date) >= first:
                panel.mark(ordinal(note.date), row, "s", "white", markersize=4.0, markeredgewidth=1.0)
        panel.beside(row, fitted(_last_words(notes), STACK_RIGHT_IN - 0.3, SMALL_PT))
    panel.head("Noted", "the last of each kind in words")


def _last_words(notes: Sequence[Note]) -> str:
    last = notes[-1]
    value = f"{last.text} {last.unit}".strip()
    return f"{last.date}: {', '.join(word for word in (value, last.remark) if word) or 'noted'}"


def _description(coral: CoralHistory) -> str:
    troubles = listed((f"{t.kind} {t.note.date}" for t in coral.troubles), 8)
    moves = listed((f"{c.date} {moved_words(c)}" for c in coral.changes if "moved" in c.kinds), 8)
    return f"Trouble: {troubles or 'none noted'}. Moves: {moves or 'none'}."


@drawn
def tank_drawing(history: History, corals: Sequence[CoralHistory], name: str) -> Drawing:
    """Many corals, a row each: the course of the dose with its marks, and trouble."""
    first, last = ordinal(history.first), max(ordinal(history.last), ordinal(history.first) + 1)
    troubled = sum(bool(c.troubles) for c in corals)
    of = count(len(corals), "coral")
    title = f"{history.first} to {history.last}: {troubled} of {of} with a note of trouble"
    lead = TANK_LEAD.format(span=SPAN)
    names = [row_name(c.coral) for c in corals]
    sheet, panel = row_sheet(title, lead, names, "", words_in=2.9, row_in=LIFE_ROW_IN)
    dated_axis(panel, first, last)
    for row, coral in enumerate(corals):
        panel.axes.axhline(row + 0.5, color=RULE, linewidth=0.6, zorder=0)
        _draw_row(panel, row, coral, history)
        panel.beside(row, _row_words(coral))
    words = "; ".join(f"{literal(c.coral)} {_row_words(c)}" for c in corals if c.troubles)
    return sheet.drawing(name, f"{title}. {words or 'No note of trouble'}.")


def _draw_row(panel: Panel, row: int, coral: CoralHistory, history: History) -> None:
    days, doses = _steps(coral)
    lit = doses[np.isfinite(doses) & (doses > 0)]
    if not lit.size:
        return
    mean = float(np.exp(np.log(lit).mean()))
    # A narrow figure has a name above the line and words below it.
    reach, below = (0.2, 0.13) if fit().narrow else (0.42, 0.25)

    def height(dose: float) -> float:
        return row - reach * float(np.clip(math.log(max(dose, 1e-9) / mean) / math.log(SPAN), -1, 1))

    heights = [height(float(d)) if math.isfinite(d) else math.nan for d in doses]
    panel.axes.plot(days, heights, color=TONES["blue"], linewidth=1.3, zorder=3)
    for change in _shown(coral, history):
        x, y = ordinal(change.date), height(change.after.dli_mol_m2_d)
        if "moved" in change.kinds:
            panel.axes.plot((x, x), (row - reach, row + reach), **RULE_OF_MOVE)
        if "fast_rise" in change.kinds:
            panel.mark(x, y, "^", TONES["amber"], markersize=4.5, markeredgewidth=0.8)
        if "below_floor" in change.kinds or "deep_cut" in change.kinds:
            panel.mark(x, y, "v", TONES["amber"], markersize=4.5, markeredgewidth=0.8)
    for trouble in coral.troubles:
        if trouble.note.date >= history.first:
            day = ordinal(trouble.note.date)
            panel.mark(day, row + below, "X", TONES["red"], markersize=6, markeredgewidth=0.8)


def _row_words(coral: CoralHistory) -> str:
    if not coral.spells:
        return "in no kept state"
    doses = [spell.light.dli_mol_m2_d for spell in coral.spells]
    words = f"{number(min(doses))}-{number(max(doses))}, now {number(doses[-1])}"
    last = coral.troubles[-1] if coral.troubles else None
    return f"{words}; {last.kind} {last.note.date}" if last else words


def history_drawings(history: History, *, one: bool) -> Iterator[Drawing]:
    """A figure for each coral that was asked for, or the whole tank, thirty corals a page."""
    if one:
        for index, coral in enumerate(history.corals):
            yield life_drawing(coral, history, "life" if len(history.corals) == 1 else f"life-{index + 1}")
        return
    for end, rows in pages(history.corals, ROWS_A_PAGE):
        yield tank_drawing(history, rows, f"lives{end}")
