"""The plan of a survey in words: which readings, in which order, and what they are worth."""

from __future__ import annotations

import statistics
from collections.abc import Iterator, Sequence
from typing import TextIO

from lightdose.model.plans import Narrowing, PlannedReading, Spot, Survey
from lightdose.model.setup import LengthUnit
from lightdose.model.spectrum import ReadsQuantity
from lightdose.present.labels import PPFD_UNIT, count, length, literal, number
from lightdose.present.tables import Column, print_table, say, terminal_console

FEW = 3
HARDLY_KNOWN = 30.0
Written = tuple[str, str] | None

ROUTINE = (
    "Note the settings of every channel and of the programme, so that you can restore them.",
    "Wipe lens and cover clean and dry; note it if there was a film of salt.",
    "Let the fixtures warm up for 20 minutes at the plateau (our choice).",
    "Pumps and flow down, the surface calm. The sensor goes to the place as stated, to the centimetre.",
    "Sensor level and looking straight up, free of bubbles; its body, your hand and arm out of the light.",
    "Set what is on for each row, all else off, wait a minute, and write the figure as shown, uncorrected.",
    "Restore the programme and the pumps.",
)
SAFETY = (
    "Keep your face out of the beam and never look into a lit fixture: blue and violet look dim while they "
    "are strong. Single channels at 100 % only as long as a reading takes.",
    "Dry hands on anything that is plugged in; unplug before you move a fixture; cables with a drip loop, "
    "behind residual-current protection. Only a sensor that is made for it goes into the water.",
    "Secure what hangs, and nothing heavy over open glass. An estimate, no assessment to a safety standard.",
)


def _quoted(name: str) -> str:
    return literal(f'"{name}"' if " " in name else name)


def unit_words(reads: ReadsQuantity) -> str:
    """The unit that the meter shows."""
    return "lx" if reads == "lux" else PPFD_UNIT


def on_words(reading: PlannedReading, clock: str, several: bool) -> str:
    """What is on: "programme as at 14:30", "left/blue alone, 100 %"."""
    if reading.on.levels is None:
        return f"the programme as at {clock}"
    ((fixture, channel), level), *_ = reading.on.levels.items()
    name = f"{fixture}/{channel}" if several else channel
    return f"{name} alone, {100 * level:g} %"


def clock_words(reading: PlannedReading) -> str:
    """The time of the programme as HH:MM, or ""."""
    if reading.on.time_h is None:
        return ""
    minutes = round(reading.on.time_h * 60)
    return f"{minutes // 60:02d}:{minutes % 60:02d}"


def place_words(spot: Spot, unit: LengthUnit) -> str:
    """x, y and depth, or the height above the water."""
    x, y = length(spot.x_m, unit), length(spot.y_m, unit)
    if spot.in_air:
        return f"{x}, {y}, {length(-spot.depth_m, unit)} {unit} above the water"
    return f"{x}, {y}, {length(spot.depth_m, unit)} {unit} deep"


def expected_words(reading: PlannedReading) -> str:
    """The 95 % range that the meter should show, to two figures."""
    low, high = reading.expected_95
    return f"{number(low, 2)} to {number(high, 2)}" if high < HARDLY_KNOWN * low else "not known yet"


def few_first(survey: Survey) -> list[int]:
    """Numbers of the few readings that tell most."""
    ranked = sorted(survey.readings, key=lambda r: r.rank)
    return sorted(r.number for r in ranked[:FEW])


def worth_sentence(survey: Survey) -> str:
    """What the readings are worth: how well doses are known before and after."""
    parts = []
    if survey.doses:
        parts.append(f"the daily dose of a coral from {_typical(survey.doses)}")
    if survey.gains:
        parts.append(f"the output of a channel from {_typical(survey.gains)}")
    return f"{count(len(survey.readings), 'reading')} would narrow {' and '.join(parts)} (95 %, typical)."


def _typical(known: Sequence[Narrowing]) -> str:
    before, after = (statistics.median(getattr(n, side) for n in known) for side in ("before", "after"))
    return f"{factor_words(before)} to {factor_words(after)}"


def factor_words(factor: float) -> str:
    """A 95 % factor in words: "within 9 %", "a factor of 2.1"."""
    return f"within {100 * (factor - 1):.0f} %" if factor < 1.5 else f"a factor of {number(factor, 2)}"


def open_sentence(survey: Survey) -> str:
    """Whose verdict is open."""
    if not survey.setup.corals:
        return "No corals stand in the setup: the readings are chosen for the lamps alone."
    if not survey.open_corals:
        return "No verdict is open; the readings put every number on firmer ground."
    named = ", ".join(literal(c) for c in survey.open_corals[:6])
    more = f" and {len(survey.open_corals) - 6} more" if len(survey.open_corals) > 6 else ""
    return f"Open verdicts that they serve first: {named}{more}."


def meter_sentence(survey: Survey) -> str:
    """With which meter, or that none is described."""
    if survey.described:
        return f"Meter: {literal(survey.meter.name)} ({unit_words(survey.meter.reads)})."
    return (
        "The setup describes no meter: add [meter.NAME] with reads, response, calibrated_on and immersion "
        "before you calibrate; readings under water need it."
    )


def unread_sentence(survey: Survey) -> str:
    """Channels that no reading sees alone."""
    if not survey.unread:
        return ""
    named = ", ".join(literal(u) for u in survey.unread)
    return f"Not read alone, so tied to the others: {named}. --readings N plans more."


def show_survey(
    survey: Survey,
    unit: LengthUnit,
    stream: TextIO,
    *,
    colour: bool,
    written: Written = None,
    width: int | None = None,
) -> None:
    """Print the plan for people."""
    console = terminal_console(stream, colour=colour, width=width)
    for line in head_lines(survey):
        say(console, line)
    several = len(survey.setup.lit_fixtures) > 1
    readings = survey.readings
    columns = [
        Column("no.", tuple(str(r.number) for r in readings), right=True),
        Column("where", tuple(literal(r.spot.name) for r in readings), name=True),
        Column("on", tuple(literal(on_words(r, clock_words(r), several)) for r in readings), name=True),
        Column(f"expect\n{unit_words(survey.meter.reads)}", tuple(expected_words(r) for r in readings)),
        Column("x, y", tuple(place_words(r.spot, unit) for r in readings), name=True),
        Column("tells", tuple(literal(r.tells) for r in readings), name=True),
    ]
    few = set(few_first(survey))
    print_table(console, columns, [r.number in few for r in readings], 3)
    for line in foot_lines(survey):
        say(console, line)
    say(console, "\nHow", "bold")
    for n, line in enumerate(ROUTINE, start=1):
        say(console, f"{n}. {line}")
    say(console, "\nSafety", "bold")
    for line in SAFETY:
        say(console, f"- {line}")
    console.print()
    say(console, closing_line(survey, written), "bold")


def survey_lines(survey: Survey, unit: LengthUnit, written: Written = None) -> Iterator[str]:
    """Every line for pipes: one record a reading."""
    yield from head_lines(survey)
    several = len(survey.setup.lit_fixtures) > 1
    for r in survey.readings:
        fields = (
            f"reading {r.number}",
            f"rank {r.rank}",
            f"where {r.spot.name}",
            f"at {place_words(r.spot, unit)}",
            f"on {on_words(r, clock_words(r), several)}",
            f"expect {expected_words(r)} ({unit_words(survey.meter.reads)})",
            f"tells {r.tells}",
        )
        yield "\t".join(literal(f) for f in fields)
    yield from foot_lines(survey)
    for line in ROUTINE:
        yield f"routine\t{line}"
    for line in SAFETY:
        yield f"safety\t{line}"
    yield closing_line(survey, written)


def head_lines(survey: Survey) -> Iterator[str]:
    """What the readings are worth, for whom, and with which meter."""
    yield worth_sentence(survey)
    yield open_sentence(survey)
    yield meter_sentence(survey)


def foot_lines(survey: Survey) -> Iterator[str]:
    """The shortest useful choice, and what stays tied."""
    if len(survey.readings) > FEW:
        yield f"Little time? Numbers {', '.join(str(n) for n in few_first(survey))} tell most."
    if tied := unread_sentence(survey):
        yield tied


def closing_line(survey: Survey, written: Written) -> str:
    """The next command; ``written`` are the sheet and the table."""
    path = _quoted(survey.setup.path or "setup.toml")
    if written is not None:
        sheet, table = (_quoted(name) for name in written)
        return f"Print {sheet}, fill in {table}. Next: lightdose calibrate {path} {table} -o calibration.toml"
    return f"Next: lightdose survey {path} -o survey, print survey/survey.html, fill it in, then calibrate"
