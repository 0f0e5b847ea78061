"""`survey`: which readings would tell most, what they are worth, and how to make them."""

from __future__ import annotations

import math
import statistics
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any, Final

from lightdose.answers.answer import Answer
from lightdose.answers.blocks import Points, Say, Section
from lightdose.answers.field import Field, Sheet, as_json, said, table
from lightdose.answers.words import (
    PPFD_UNIT,
    as_typed,
    clock,
    count,
    factor_words,
    length,
    number,
    typed_path,
)
from lightdose.model.plans import Narrowing, PlannedReading, Survey
from lightdose.model.record import dataclass
from lightdose.model.results import Analysis, Basis
from lightdose.model.setup import LengthUnit
from lightdose.model.spectrum import ReadsQuantity

FEW: Final = 3
HARDLY_KNOWN: Final = 30.0
NAMED_AT_MOST: Final = 6

WARM_UP_MIN, BEFORE_MIN, SETTING_MIN, PLACE_MIN, READING_MIN = 20, 25, 1.5, 1.5, 0.5
"""Minutes until the first reading, for each setting, place and reading: our choice."""

LUX_SENTENCE: Final = (
    "A lux meter that states no response counts blue light badly, all its readings alike, and the figures "
    "above count that. One reading beside a quantum meter, both rows with the same word under pair, would "
    "settle it."
)

ROUTINE: Final = (
    "Note the settings of every channel and of the programme, so that you can restore them.",
    "Wipe lens and cover clean and dry; note it if there was a film of salt.",
    f"Let the fixtures warm up for {WARM_UP_MIN} minutes at the plateau (our choice).",
    "Pumps and flow down, the surface calm. The sensor goes to the place as stated, to the centimetre; where "
    "a coral sits, right beside it and as high.",
    "Sensor level and looking straight up, free of bubbles; its body, your hand and arm out of the light.",
    "Set what is on for each row, all else off, wait a minute, and write the figure as shown, uncorrected.",
    "Restore the programme and the pumps.",
)
SAFETY: Final = (
    "Keep your face out of the beam and never look into a lit fixture: blue and violet look dim while they "
    "are strong. Single channels at 100 % only as long as a reading takes.",
    "Dry hands on anything that is plugged in; unplug before you move a fixture; cables with a drip loop, "
    "behind residual-current protection. Only a sensor that is made for it goes into the water.",
    "Secure what hangs, and nothing heavy over open glass. An estimate, no assessment to a safety standard.",
)


@dataclass(frozen=True, eq=False)
class Row:
    """A reading of a plan."""

    survey: Survey
    reading: PlannedReading
    unit: LengthUnit = "cm"

    @property
    def tells_most(self) -> bool:
        """Whether it is one of the few that tell most."""
        return self.reading.rank <= FEW

    @property
    def time(self) -> str | None:
        """The time of the programme; None where single channels are on."""
        time_h = self.reading.on.time_h
        return None if time_h is None else clock(time_h)

    @property
    def on(self) -> str:
        """What is on: "the programme as at 14:30", "left/blue alone, 100 %"."""
        if self.reading.on.levels is None:
            return f"the programme as at {self.time}"
        ((key, level), *_) = self.reading.on.levels.items()
        return f"{channel_name(self.survey, key)} alone, {100 * level:g} %"

    @property
    def place(self) -> str:
        """x, y and depth, or the height above the water."""
        spot = self.reading.spot
        x, y, z = (length(m, self.unit) for m in (spot.x_m, spot.y_m, abs(spot.depth_m)))
        return f"{x}, {y}, {z} {self.unit} {'above the water' if spot.in_air else 'deep'}"

    @property
    def expected(self) -> str:
        """The 95 % range that the meter should show, to two figures."""
        low, high = self.reading.expected_95
        return f"{number(low, 2)} to {number(high, 2)}" if high < HARDLY_KNOWN * low else "not known yet"

    @property
    def levels(self) -> list[dict[str, Any]] | None:
        """Levels of single channels, 0-1; None where the programme runs."""
        on = (self.reading.on.levels or {}).items()
        return [{"fixture": f, "channel": c, "level": level} for (f, c), level in on] or None

    @property
    def where(self) -> str:
        """The spot; beside the coral where one sits there."""
        spot = self.reading.spot
        taken = spot.site is not None and any(c.site == spot.site for c in self.survey.setup.corals)
        return f"{spot.name}, beside the coral" if taken else spot.name

    def cell_cm(self, name: str) -> float | None:
        """A coordinate for the table of blanks; None at a site, which has its own."""
        spot = self.reading.spot
        return None if spot.site else round(100 * getattr(spot, name), 6)


def channel_name(survey: Survey, key: tuple[str, str]) -> str:
    """A channel; its fixture is named where there are several."""
    return "/".join(key) if len(survey.setup.lit_fixtures) > 1 else key[1]


# fmt: off
READING: Final = (
    Field("number", "no.", lambda r: r.reading.number, what="order for least work",
          at={"readings": 0, "sheet": 0}),
    Field("rank", "rank", lambda r: r.reading.rank, what="order in which they tell most"),
    Field("where", "where", lambda r: r.where, kind="string", fold=True,
          at={"readings": 1, "sheet": 1}),
    Field("site", "site", lambda r: r.reading.spot.site, kind="string", what="null for a free place"),
    Field("x_m", "x", lambda r: r.reading.spot.x_m, what="from the left wall", unit="m"),
    Field("y_m", "y", lambda r: r.reading.spot.y_m, what="from the front wall", unit="m"),
    Field("depth_m", "depth", lambda r: r.reading.spot.depth_m, unit="m", what="negative in the air"),
    said("on", "on", lambda r: r.on, kind="string", fold=True, at={"readings": 2, "sheet": 2}),
    Field("time", "time", lambda r: r.time, kind="string", what="of the programme"),
    Field("levels", "levels", lambda r: r.levels, what="of single channels, 0-1; null for the programme"),
    Field("expected_95", "expect", lambda r: r.reading.expected_95,
          what="what the meter should show, if the setup is not far off"),
    said("expected", "expect", lambda r: r.expected, kind="string", at={"readings": 3, "sheet": 3}),
    said("place", "x, y", lambda r: r.place, kind="string", fold=True, at={"readings": 4, "sheet": 4}),
    Field("tells", "tells", lambda r: r.reading.tells, kind="string", fold=True,
          at={"readings": 5, "sheet": 5}),
)
NARROWED: Final = (
    Field("factor_95_before", "before", lambda n: n.before, what="1.3 is times or over 1.3"),
    Field("factor_95_after", "after", lambda n: n.after, what="1.3 is times or over 1.3"),
)
# fmt: on


def survey_answer(
    survey: Survey, unit: LengthUnit, analysis: Analysis | None, basis: Basis, files: Sequence[Path]
) -> Answer:
    """What the readings are worth, which, and how to make them; ``files`` are sheet and table, if written."""
    shows = unit_words(survey.meter.reads)
    shown = table(
        "readings",
        "Readings, ordered for least work",
        [replace(field, unit=shows) if field.name == "expected" else field for field in READING],
        rows_of(survey, unit),
        strong=lambda row: row.tells_most,
        least=4,
    )
    closing = [little_time(survey), unread_sentence(survey)]
    return Answer(
        "survey",
        (
            Say(worth_sentence(survey), "strong"),
            Say(open_sentence(survey)),
            Say(f"{meter_sentence(survey)} {time_sentence(survey)}"),
            *([Say(LUX_SENTENCE)] if survey.meter.states_no_response else []),
            shown,
            *(Say(sentence) for sentence in closing if sentence),
            Section("How", (Points.of(ROUTINE),), brief=False),
            Section("Safety", (Points.of(SAFETY),)),
            Section("", (Say("--all shows how to read; the sheet does too.", "note"),), extra=False),
            Say(closing_line(survey, files), "verdict"),
        ),
        lambda: {
            "meter": survey.meter.name or None,
            "unit": survey.meter.reads,
            "minutes": minutes_of(survey),
            "readings": [as_json(READING, row) for row in rows_of(survey, unit)],
            "open_verdicts": list(survey.open_corals),
            "channels": [{"channel": n.what} | as_json(NARROWED, n) for n in survey.gains],
            "corals": [{"coral": n.what} | as_json(NARROWED, n) for n in survey.doses],
            "not_read_alone": list(survey.unread),
            "files": [str(path.resolve()) for path in files],
        },
        title=survey.setup.title,
        basis=basis.key,
        judged=analysis.judgement if analysis else None,
        cautions=analysis.cautions if analysis else (),
        setups=(survey.setup,),
    )


def rows_of(survey: Survey, unit: LengthUnit = "cm") -> list[Row]:
    """The readings in order for least work."""
    return [Row(survey, reading, unit) for reading in survey.readings]


def blank_table(survey: Survey) -> Sheet:
    """readings.csv with blanks for what the meter shows, the date and a note of circumstances."""
    used = dict.fromkeys(key for r in survey.readings for key in (r.on.levels or ()))
    order = [(f.name, c.name) for f in survey.setup.lit_fixtures for c in f.type.channels]
    unit = "umol_m2_s" if survey.meter.reads == "umol" else "lux"

    def level(key: tuple[str, str]) -> Callable[[Row], int | None]:
        return lambda row: (
            round(100 * levels[key]) if key in (levels := row.reading.on.levels or {}) else None
        )

    def coordinate(name: str) -> Callable[[Row], float | None]:
        return lambda row: row.cell_cm(name)

    return Sheet(
        (
            Field("site", "site", lambda row: row.reading.spot.site),
            *(Field(f"{n}_cm", n, coordinate(f"{n}_m")) for n in ("x", "y", "depth")),
            Field("reading", "reading", lambda _: None),
            Field("unit", "unit", lambda _: unit),
            Field("time", "time", lambda row: row.time),
            *(Field(channel_name(survey, key), key[1], level(key)) for key in order if key in used),
            Field("meter", "meter", lambda _: survey.meter.name or None),
            Field("date", "date", lambda _: None),
            Field("note", "note", lambda r: f"{r.reading.number} of the sheet: {r.reading.spot.name}"),
        ),
        rows_of(survey),
    )


def unit_words(reads: ReadsQuantity) -> str:
    """The unit that the meter shows."""
    return "lx" if reads == "lux" else PPFD_UNIT


def little_time(survey: Survey) -> str:
    """The few readings that tell most; empty where there are no more."""
    if len(survey.readings) <= FEW:
        return ""
    few = ", ".join(str(row.reading.number) for row in rows_of(survey) if row.tells_most)
    return f"Little time? Numbers {few} tell most."


def minutes_of(survey: Survey) -> int:
    """How long it takes to read it all, to 5 minutes."""
    rows = rows_of(survey)
    settings = sum(a is None or a.on != b.on for a, b in zip([None, *rows], rows, strict=False))
    places = sum(
        a is None or a.reading.spot != b.reading.spot for a, b in zip([None, *rows], rows, strict=False)
    )
    whole = BEFORE_MIN + SETTING_MIN * settings + PLACE_MIN * places + READING_MIN * len(rows)
    return 5 * math.ceil(whole / 5)


def time_sentence(survey: Survey) -> str:
    """How long it takes."""
    return f"It takes about {minutes_of(survey)} minutes, {WARM_UP_MIN} of them while the lamps warm up."


def worth_sentence(survey: Survey) -> str:
    """What the readings are worth: how well doses are known before and after.

    A plan for a measured tank starts from the fixture files, as `calibrate` will, and says so.
    """
    parts = []
    if survey.doses:
        parts.append(f"the daily dose of a coral from {_typical(survey.doses)}")
    if survey.gains:
        parts.append(f"the output of a channel from {_typical(survey.gains)}")
    told = f"{count(len(survey.readings), 'reading')} would narrow {' and '.join(parts)} (95 %, typical)"
    if survey.measured_on is None:
        return f"{told}."
    return (
        f"Counted from the fixture files alone, {told}. The readings of {survey.measured_on} are not "
        "counted: calibrate fits a new set by itself."
    )


def _typical(known: Sequence[Narrowing]) -> str:
    before, after = (statistics.median(getattr(n, side) for n in known) for side in ("before", "after"))
    return f"{factor_words(before)} to {factor_words(after)}"


def open_sentence(survey: Survey) -> str:
    """Whose verdict is open."""
    if not survey.setup.corals:
        return "No corals stand in the setup: the readings are chosen for the lamps alone."
    by_readings = f"By the readings of {survey.measured_on} " if survey.measured_on else ""
    if not survey.open_corals and by_readings:
        return f"{by_readings}no verdict is open; a new set tells whether the lamps still give as much."
    if not survey.open_corals:
        return "No verdict is open; the readings put every number on firmer ground."
    more = len(survey.open_corals) - NAMED_AT_MOST
    named = ", ".join(survey.open_corals[:NAMED_AT_MOST])
    lead = f"{by_readings}these verdicts are open, and served first" if by_readings else ""
    return (
        f"{lead or 'Open verdicts that they serve first'}: {named}{f' and {more} more' if more > 0 else ''}."
    )


def meter_sentence(survey: Survey) -> str:
    """With which meter, or that none is described."""
    if survey.described:
        return f"Meter: {survey.meter.name} ({unit_words(survey.meter.reads)})."
    return (
        "The setup describes no meter: add [meter.NAME] with reads, response, calibrated_on and immersion "
        "before you calibrate; readings under water need it."
    )


def unread_sentence(survey: Survey) -> str:
    """Channels that no reading sees alone."""
    if not survey.unread:
        return ""
    return f"Not read alone, so tied to the others: {', '.join(survey.unread)}. --readings N plans more."


def closing_line(survey: Survey, files: Sequence[Path]) -> str:
    """The next command; ``files`` are the sheet and the table, if they were written."""
    if files:
        sheet, blanks = (as_typed(str(path)) for path in files)
        return f"Print {sheet}, fill in {blanks}. Next: {calibrate_command(survey, files[1])}"
    path = typed_path(survey.setup)
    return f"Next: lightdose survey {path} -o survey, print survey/survey.html, fill it in, then calibrate"


def calibrate_command(survey: Survey, blanks: Path) -> str:
    """The command for a filled table: its result goes beside the setup, where the setup looks for it."""
    setup = survey.setup
    beside = Path(setup.path or "setup.toml").with_name("calibration.toml")
    return f"lightdose calibrate {typed_path(setup)} {as_typed(str(blanks))} -o {as_typed(str(beside))}"
