"""`lightdose note`: what the corals show and what was done, a row a fact."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import click

from lightdose.cli.asking import Ask, dialect_option, inputs_of
from lightdose.cli.frame import answers
from lightdose.cli.keep import diary_date, refuse_variations

if TYPE_CHECKING:
    from pathlib import Path

    from lightdose.answers.answer import Answer
    from lightdose.model.setup import Setup

SHEET, TABLE = "round.html", "round.csv"


@answers(folds=False, varies=False)
@click.argument("text", required=False, default="")
@click.option("--coral", metavar="NAME", default="", help="The coral; without it, the whole tank.")
@click.option(
    "--kind",
    metavar="KIND",
    help="colour, open, size_cm, lost, reading, care, free, or a kind of your own; default free.",
)
@click.option("--value", metavar="NUMBER", default="", help="Colour 1-6, open 0-3, a size in cm, a reading.")
@click.option("--unit", metavar="UNIT", default="", help="Of the value; a reading is in umol_m2_s or lux.")
@click.option(
    "--time", metavar="HH:MM", default="", help="Time of the programme at which a reading was made."
)
@click.option("--meter", metavar="NAME", default="", help="The meter that read, where several are described.")
@click.option("--date", metavar="DATE", help="Day of the note; today where none is given.")
@click.option("--sheet", is_flag=True, help="Write a sheet to print and a table to fill in, for a round.")
@click.option(
    "-o", "--output", metavar="DIR", help=f"Folder of {SHEET} and {TABLE} that --sheet writes; default round."
)
@click.option("--from", "source", metavar="FILE", help="Add the notes of a table that was filled in.")
@dialect_option
def command(
    ask: Ask,
    text: str,
    coral: str,
    kind: str | None,
    value: str,
    unit: str,
    time: str,
    meter: str,
    date: str | None,
    sheet: bool,
    output: str | None,
    source: str | None,
) -> Answer:
    """Note what a coral shows or what was done, or a whole round at the tank.

    \b
    Example:
      lightdose note my-tank/setup.toml --coral "branching hammer" --kind colour --value 4 "a little pale"
      lightdose note my-tank/setup.toml --kind care "changed 20 l of water"
      lightdose note my-tank/setup.toml --sheet -o round
      lightdose note my-tank/setup.toml --from round/round.csv

    \b
    Kinds:
      colour   1-6, pale to dark, by one observer under white light; a change of 2 or more counts
      open     0-3, closed to wide open
      size_cm  largest width
      lost     it died or left
      reading  what a light meter showed; it goes into readings.csv too
      care     water change, feeding, carbon, trimming
      free     anything else

    Notes stand in diary/notes.csv beside the setup, a row a fact; old rows are never touched. Source of the
    2: Siebeck et al. 2006, doi 10.1007/s00338-006-0123-8.
    """
    refuse_variations(ask, "note")
    given = {"TEXT": text, "--coral": coral, "--kind": kind, "--value": value, "--unit": unit, "--time": time,
             "--meter": meter}  # fmt: skip
    if (sheet or source) and (extra := [name for name, one in given.items() if one]):
        raise click.UsageError(f"a round takes no {', '.join(extra)}")
    if sheet and source:
        raise click.UsageError("--sheet writes a table, --from reads one back: one of them")
    if output and not sheet:
        raise click.UsageError("-o names the folder of --sheet: add --sheet")
    setup = ask.setup()
    if sheet:
        return _sheet(ask, setup, output or "round")
    if source:
        return _read_back(setup, source, diary_date(date).isoformat())
    fact = Fact(text, coral, kind or "free", value, unit, time, meter, diary_date(date).isoformat())
    return _one(setup, fact)


class Fact(NamedTuple):
    """What is to be noted, as it was typed."""

    text: str
    coral: str
    kind: str
    value: str
    unit: str
    time: str
    meter: str
    date: str


def _one(setup: Setup, fact: Fact) -> Answer:
    from lightdose.answers.note import Noted, note_answer
    from lightdose.files.diary_notes import add_notes, known_kind, made_note, read_notes
    from lightdose.files.diary_readings import READINGS, add_reading, check_readings, reading_row
    from lightdose.files.diary_states import diary_folder

    text, coral, kind, value, unit, time, meter, date = fact
    word = known_kind(kind)
    if not (text.strip() or value or word in ("lost", "colour", "open", "size_cm", "reading")):
        raise click.UsageError("nothing to note: write TEXT, or --kind with --value")
    folder = diary_folder(setup.path)
    earlier, _ = read_notes(folder, str(folder))
    if coral:
        _check_coral(setup, coral, {note.coral for note in earlier}, sites=word == "reading")
    note = made_note(date, coral, word, value, unit, text)
    also: tuple[Path, ...] = ()
    if word == "reading":
        assert note.value is not None
        row = reading_row(setup, coral, note.value, unit, time, date, text, meter)
        check_readings(folder.parent / READINGS, row)
        add_notes(folder, [note])
        also = (add_reading(setup, row),)
    else:
        add_notes(folder, [note])
    before = [n for n in earlier if (n.coral, n.kind) == (coral, word) and n.date <= date]
    return note_answer(Noted(setup, [note], 1, before[-1] if before else None, also))


def _check_coral(setup: Setup, coral: str, noted: set[str], *, sites: bool) -> None:
    from lightdose.errors import Place, Problem, SetupError
    from lightdose.near_names import did_you_mean

    known = [c.name for c in (*setup.corals, *setup.unplaced)]
    known += [s.name for s in setup.sites] if sites else []
    if coral in known or coral in noted:
        return
    allowed = ", ".join(map(repr, known[:20])) + (f" and {len(known) - 20} more" if len(known) > 20 else "")
    found = f"there is no coral {coral!r}"
    raise SetupError(Problem(found, allowed, did_you_mean(coral, known), Place(setup.path)))


def _read_back(setup: Setup, source: str, date: str) -> Answer:
    import datetime
    from pathlib import Path

    from lightdose.answers.note import Noted, note_answer
    from lightdose.files.diary_notes import add_notes, read_filled_sheet
    from lightdose.files.diary_states import diary_folder

    names = [c.name for c in (*setup.corals, *setup.unplaced)]
    notes = read_filled_sheet(Path(source), names, date, datetime.date.today())
    added = add_notes(diary_folder(setup.path), notes) if notes else 0
    return note_answer(Noted(setup, notes, added, source=source))


def _sheet(ask: Ask, setup: Setup, output: str) -> Answer:
    from lightdose.answers.note import sheet_answer
    from lightdose.files.csv_text import csv_text
    from lightdose.files.diary_notes import SHEET_COLUMNS, holds_blank_sheet, read_notes
    from lightdose.files.diary_states import diary_folder
    from lightdose.files.writing import page_target, together
    from lightdose.present.round_sheet import round_sheet

    page = page_target(output, SHEET)
    table = page.with_suffix(".csv")
    blank = holds_blank_sheet(table)
    folder = diary_folder(setup.path)
    notes, _ = read_notes(folder, str(folder))
    corals = [*setup.corals, *setup.unplaced]
    command = f"lightdose note {setup.path} --from {table}"
    inputs = inputs_of(setup)
    rows = [[c.name, c.site, *[None] * (len(SHEET_COLUMNS) - 2)] for c in corals]
    with together():
        ask.save(page, round_sheet(setup, notes, table.name, command), inputs)
        text = csv_text(SHEET_COLUMNS, rows, ask.csv_dialect)
        ask.save(table, text, inputs, f", {len(rows)} rows", blank=blank)
    return sheet_answer(setup, len(corals), page, table)
