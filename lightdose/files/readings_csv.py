"""readings.csv: where a meter was, what it showed, and which channels were on."""

from __future__ import annotations

import csv
import datetime
import io
import os
import re
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from itertools import chain
from pathlib import Path
from typing import Final

from lightdose.errors import OutputError, Place, Problem, ReadingsError, first_few
from lightdose.files.csv_text import plain_text
from lightdose.files.delimited import DelimitedError, DelimitedTable, Row, read_delimited, read_text
from lightdose.files.programme_rules import FRACTIONS_CURE, looks_like_fractions
from lightdose.files.reading_rules import (
    FAINTEST,
    PLAUSIBLE,
    air_problems,
    dates_sentence,
    pair_problems,
    range_problem,
    range_sentence,
    sole_meter,
)
from lightdose.files.toml_tables import show, suggestion
from lightdose.files.units import (
    METRES_PROBLEM,
    UnitProblem,
    format_length,
    has_length_unit,
    looks_like_metres,
    parse_time,
)
from lightdose.model.setup import Setup
from lightdose.model.spectrum import READING_UNITS, Reading, ReadsQuantity

LIMIT_BYTES: Final = 5_000_000
LIMIT_ROWS: Final = 5_000
MOST_PROBLEMS: Final = 50

SPOT_COLUMNS: Final = ("x_cm", "y_cm", "depth_cm")
COLUMNS: Final = (
    "site",
    *SPOT_COLUMNS,
    "reading",
    "unit",
    "time",
    "all_channels",
    "meter",
    "pair",
    "date",
    "note",
)
ON_ALLOWED: Final = "a time of the programme, levels of channels, or all_channels: one of them"
UNITS: Final[Mapping[str, ReadsQuantity]] = {
    "umol_m2_s": "umol",
    "umol/m2/s": "umol",
    "umol": "umol",
    "\u00b5mol": "umol",
    "\u03bcmol": "umol",
    "ppfd": "umol",
    "lux": "lux",
    "lx": "lux",
}
_CLOCK: Final = re.compile(r"[T ]\d{1,2}:\d{2}(:\d{2}(\.\d+)?)?Z?$", re.ASCII)
"""A time of the day behind a date, as spreadsheets write it."""
_UNITS_ALLOWED: Final = "umol_m2_s or lux"


def read_readings(
    path: Path,
    label: str,
    setup: Setup,
    unusable: Callable[[Setup, Sequence[Reading]], Sequence[Problem]] | None = None,
) -> tuple[tuple[Reading, ...], tuple[str, ...]]:
    """The readings of a file, and what was understood.

    Parameters
    ----------
    path : the file
    label : its name in messages
    setup : for the names of sites, channels and meters, and the measures of the tank
    unusable : what is wrong with rows that can be read; asked only where others cannot, so that all is told
        in one run

    Raises
    ------
    ReadingsError
        With every problem of the file.
    """
    try:
        text, encoding = read_text(path, limit_bytes=LIMIT_BYTES, label=label)
        table = read_delimited(text, label, encoding, key_column="reading")
    except DelimitedError as trouble:
        raise ReadingsError(*trouble.problems) from None
    if len(table.rows) > LIMIT_ROWS:
        found = f"has {len(table.rows):,} rows"
        raise ReadingsError(
            Problem(found, f"up to {LIMIT_ROWS:,}", place=table.place(table.rows[LIMIT_ROWS]))
        )
    reading = _ReadingsTable(table, setup)
    read = reading.readings()
    if reading.problems:
        further = unusable(setup, read) if unusable else ()
        raise ReadingsError(*first_few((*reading.problems, *further), MOST_PROBLEMS))
    return read, reading.understood(read)


class _ReadingsTable:
    """A table whose rows become readings; problems gather."""

    def __init__(self, table: DelimitedTable, setup: Setup) -> None:
        self.table = table
        self.setup = setup
        self.sites = {s.name: s for s in setup.sites}
        self.problems: list[Problem] = []
        self.channels = _channel_columns(setup)
        self.unknown: list[int] = []
        self.columns = self._columns()
        self.levels: list[float] = []
        self.spots_m: list[float] = []
        self._require()

    def readings(self) -> tuple[Reading, ...]:
        """Every row that can be read; what is wrong with the others, and among all of them, gathers."""
        rows = [(row, reading) for row in self.table.rows if (reading := self.row(row)) is not None]
        self._check_fractions()
        if looks_like_metres(self.spots_m):
            self.problems.append(replace(METRES_PROBLEM, place=self.table.place(None)))
        named = Counter(pair for row in self.table.rows if (pair := self.text(row, "pair")))
        paired = [replace(r, place=self.place(row, "pair")) for row, r in rows if r.pair is not None]
        self.problems += pair_problems(paired, named)
        return tuple(reading for _, reading in rows)

    def _columns(self) -> dict[str, int]:
        columns: dict[str, int] = {}
        by_small = {name.casefold(): name for name in (*self.channels, *COLUMNS)}
        for index, cell in enumerate(self.table.header or ()):
            name = by_small.get(plain_text(cell).casefold())
            place = self.table.place(None, index)
            if name is None:
                self.unknown.append(index)
                self.problems.append(self._unknown_column(cell, place))
            elif name in columns:
                self.problems.append(Problem(f'the column "{cell}" stands twice', place=place))
            else:
                columns[name] = index
        return columns

    def _unknown_column(self, cell: str, place: Place) -> Problem:
        if cell.casefold().startswith("immersion"):
            return Problem(
                "immersion belongs to the meter; in the readings it would be applied twice",
                "readings as the meter shows them",
                "state it once: [meter.NAME] immersion = ... in setup.toml, and take this column out",
                place,
            )
        allowed = ", ".join((*COLUMNS, *(c for c in self.channels if "/" not in c)))
        cure = self.near(cell, (*self.channels, *COLUMNS))
        cure = cure or "rename the column, or take it out: no lit fixture has such a channel"
        return Problem(f"unknown column {show(cell)}", allowed, cure, place)

    def _require(self) -> None:
        place = self.table.place(None)
        if "unit" not in self.columns:
            cure = "add a column unit"
            self.problems.append(Problem('the column "unit" is missing', _UNITS_ALLOWED, cure, place))
        spot = [c for c in SPOT_COLUMNS if c in self.columns]
        self.nowhere = "site" not in self.columns and len(spot) < len(SPOT_COLUMNS)
        if self.nowhere:
            found = 'neither the column "site" nor all of x_cm, y_cm, depth_cm'
            self.problems.append(Problem(found, ", ".join(COLUMNS), "add where the sensor was", place))
        self.unlit = not any(c in self.columns for c in ("time", "all_channels", *self.channels))
        if self.unlit and not self.unknown:
            found = "nothing says which channels were on"
            allowed = "time, all_channels, or one column of levels a channel: " + ", ".join(self.channels)
            self.problems.append(Problem(found, allowed, "add a column time", place))

    def near(self, word: str, known: Iterable[str]) -> str:
        """The cure "did you mean", for problems that are shown."""
        return suggestion(word, known) if len(self.problems) < MOST_PROBLEMS else ""

    def text(self, row: Row, column: str) -> str:
        index = self.columns.get(column)
        return "" if index is None else plain_text(row.cells[index])

    def place(self, row: Row, column: str) -> Place:
        return self.table.place(row, self.columns.get(column))

    def problem(self, row: Row, column: str, found: str, allowed: str = "", cure: str = "") -> None:
        self.problems.append(Problem(found, allowed, cure, self.place(row, column)))

    def number(self, row: Row, column: str) -> float | None:
        try:
            return self.table.number(row, self.columns[column])
        except UnitProblem as trouble:
            self.problems.append(trouble.problem.at(self.place(row, column)))
            return None

    # ---- one row ----------------------------------------------------------------------------------------

    def row(self, row: Row) -> Reading | None:
        """One reading; None, with problems, if it cannot be read."""
        already = len(self.problems)
        unit = self._unit(row)
        value = self._value(row, unit)
        spot = self._spot(row)
        time_h, levels = self._on(row)
        meter = self._meter(row, unit)
        date = self._date(row)
        self._check_range(row, value, meter)
        if len(self.problems) > already or unit is None or value is None or spot is None:
            return None
        if time_h is None and levels is None:
            return None
        return Reading(
            self.place(row, "reading"),
            value,
            unit,
            self.text(row, "site") or None,
            *spot,
            time_h=time_h,
            levels=levels,
            meter=meter,
            date=date,
            note=self.text(row, "note"),
            pair=self.text(row, "pair") or None,
        )

    def _unit(self, row: Row) -> ReadsQuantity | None:
        if "unit" not in self.columns:
            return None
        word = self.text(row, "unit")
        unit = UNITS.get(word.casefold())
        if unit is None:
            found = f"{show(word)} is no unit of a reading" if word else "the unit is blank"
            self.problem(row, "unit", found, _UNITS_ALLOWED)
        return unit

    def _value(self, row: Row, unit: ReadsQuantity | None) -> float | None:
        value = self.number(row, "reading")
        if value is None or unit is None:
            return value
        if value < 0:
            self.problem(row, "reading", f"the reading {value:g} is negative", "0 or above")
        elif 0 < value < FAINTEST[unit]:
            found = f"the reading {value:g} is fainter than meters can tell from dark"
            allowed = f"0, or from {FAINTEST[unit]:g} {READING_UNITS[unit]}"
            self.problem(row, "reading", found, allowed, "write 0 where the meter stayed dark")
        elif value > PLAUSIBLE[unit]:
            found = f"the reading {value:g} is above any plausible output"
            allowed = f"up to {PLAUSIBLE[unit]:g} {READING_UNITS[unit]}"
            lux = unit == "umol" and value <= PLAUSIBLE["lux"]
            self.problem(
                row, "reading", found, allowed, "this looks like lux: write lux in unit" if lux else ""
            )
        return value

    def _check_range(self, row: Row, value: float | None, meter: str | None) -> None:
        if value is not None and meter is not None and value <= PLAUSIBLE[self.setup.meters[meter].reads]:
            trouble = range_problem(value, self.setup.meters[meter])
            if trouble is not None:
                self.problems.append(trouble.at(self.place(row, "reading")))

    def _spot(self, row: Row) -> tuple[float, float, float] | None:
        if self.nowhere:
            return None
        name = self.text(row, "site")
        given = [c for c in SPOT_COLUMNS if self.text(row, c)]
        if bool(name) == bool(given):
            found = (
                "site and x_cm, y_cm, depth_cm stand together" if name else "nothing says where it was read"
            )
            self.problem(row, "site", found, "a site, or x_cm, y_cm and depth_cm", "keep one of them")
            return None
        if name:
            site = self.sites.get(name)
            if site is None:
                cure = self.near(name, self.sites)
                cure = cure or "name a site of the setup, or give x_cm, y_cm, depth_cm"
                self.problem(row, "site", f"there is no site {show(name)}", _few(list(self.sites)), cure)
                return None
            return site.x_m, site.y_m, site.depth_m
        if len(given) < len(SPOT_COLUMNS):
            self.problem(row, given[0], "x_cm, y_cm and depth_cm go together", "all three of them")
            return None
        spot = [self._length_m(row, c) for c in SPOT_COLUMNS]
        if any(v is None for v in spot):
            return None
        x_m, y_m, depth_m = (v for v in spot if v is not None)
        bare = [v for c, v in zip(SPOT_COLUMNS, spot, strict=True) if not has_length_unit(self.text(row, c))]
        self.spots_m += [v for v in bare if v is not None]
        self._check_inside(row, x_m, y_m, depth_m)
        return x_m, y_m, depth_m

    def _length_m(self, row: Row, column: str) -> float | None:
        try:
            return self.table.length_m(row, self.columns[column])
        except UnitProblem as trouble:
            self.problems.append(trouble.problem.at(self.place(row, column)))
            return None

    def _check_inside(self, row: Row, x_m: float, y_m: float, depth_m: float) -> None:
        tank = self.setup.tank
        if depth_m < 0:
            self.problems += [p.at(self.place(row, "x_cm")) for p in air_problems(x_m, y_m, -depth_m, tank)]
            return
        limits = (tank.length_m, tank.width_m, tank.water_depth_m)
        for column, value, limit in zip(SPOT_COLUMNS, (x_m, y_m, depth_m), limits, strict=True):
            if not 0 <= value <= limit:
                found = f"{column} {value * 100:g} is outside the water"
                allowed = f"0 to {format_length(limit, 'cm')}; a negative depth is above the water"
                self.problem(row, column, found, allowed)

    def _on(self, row: Row) -> tuple[float | None, Mapping[tuple[str, str], float] | None]:
        """Time of the programme, or the levels of single channels."""
        time, overall = self.text(row, "time"), self.text(row, "all_channels")
        given = [c for c in self.channels if self.text(row, c)]
        said = [
            word for word, there in (("a time", time), ("levels", given), ("all_channels", overall)) if there
        ]
        if len(said) > 1:
            first = "time" if time else "all_channels"
            cure = "levels of single channels say all that was on" if not time else ""
            self.problem(row, first, f"{' and '.join(said)} stand together", ON_ALLOWED, cure)
            return None, None
        if not said:
            if not self.unlit and not any(row.cells[index] for index in self.unknown):
                self.problem(row, "reading", "nothing says which channels were on", ON_ALLOWED)
            return None, None
        if time:
            try:
                return parse_time(time), None
            except UnitProblem as trouble:
                self.problems.append(trouble.problem.at(self.place(row, "time")))
                return None, None
        return None, self._levels(row, given or ["all_channels"])

    def _levels(self, row: Row, given: Sequence[str]) -> Mapping[tuple[str, str], float]:
        """Levels by their columns, those of single fixtures last."""
        sets = {**self.channels, "all_channels": tuple(dict.fromkeys(chain(*self.channels.values())))}
        levels: dict[tuple[str, str], float] = {}
        for column in sorted(given, key=lambda c: len(sets[c]), reverse=True):
            percent = self.number(row, column)
            if percent is None:
                continue
            if not 0 <= percent <= 100:
                self.problem(row, column, f"the level {percent:g} is outside the range", "0 to 100 percent")
            self.levels.append(percent)
            levels |= dict.fromkeys(sets[column], percent / 100)
        if levels and not any(levels.values()):
            found = "all levels are 0: there was nothing to read"
            self.problem(row, given[0], found, cure="take the row out, or write the levels that were on")
        return levels

    def _meter(self, row: Row, unit: ReadsQuantity | None) -> str | None:
        name = self.text(row, "meter")
        meters = self.setup.meters
        if not name:
            return sole_meter(meters, unit) if unit is not None else None
        if name not in meters:
            cure = self.near(name, meters) or f"describe it in setup.toml: [meter.{name}]"
            self.problem(row, "meter", f"there is no meter {show(name)}", _few(list(meters)), cure)
            return None
        if unit is not None and meters[name].reads != unit:
            found = f"meter {show(name)} reads {meters[name].reads}, this row is in {unit}"
            self.problem(row, "unit", found, cure="mend the unit, or [meter] reads in setup.toml")
        return name

    def _date(self, row: Row) -> str | None:
        text = self.text(row, "date")
        if not text:
            return None
        try:
            return datetime.date.fromisoformat(_CLOCK.sub("", text)).isoformat()
        except ValueError:
            cure = "in a spreadsheet, format the column as YYYY-MM-DD"
            self.problem(row, "date", f"{show(text)} is not a date", "year-month-day: 2026-03-14", cure)
            return None

    # ---- the whole table --------------------------------------------------------------------------------

    def _check_fractions(self) -> None:
        """Levels that are all fractions were meant as such, and would make every gain 100 times too high."""
        if looks_like_fractions(self.levels):
            found = "all levels are 1 or less: are these fractions?"
            place = self.table.place(None)
            self.problems.append(Problem(found, "percent, 0 to 100", FRACTIONS_CURE, place))

    def understood(self, read: Sequence[Reading]) -> tuple[str, ...]:
        """What was made of the file, a sentence each."""
        said = [f"{self.table.file}: {self.table.understood}"]
        lit = [c for c in self.channels if c in self.columns]
        silent = sorted({n for key in self.channels.values() for _, n in key} - _named(lit, self.channels))
        levelled = sum(any(self.text(row, c) for c in lit) for row in self.table.rows)
        if levelled and silent:
            rows = "" if levelled == len(self.table.rows) else " in rows with levels"
            said.append(f"{self.table.file}: no column of levels for {', '.join(silent)}: taken as off{rows}")
        blank = [row for row in self.table.rows if not self.text(row, "meter")]
        if blank:
            units = {UNITS.get(self.text(row, "unit").casefold()) for row in blank}
            sole = {sole_meter(self.setup.meters, unit) for unit in units if unit} - {None}
            said += [
                f"{self.table.file}: rows without a meter read with {name}" for name in sorted(map(str, sole))
            ]
        if dates := dates_sentence(read):
            said.append(f"{self.table.file}: {dates}")
        for reading in read:
            end = range_sentence(reading.value, self.setup.meters[reading.meter]) if reading.meter else None
            if end:
                said.append(f"{self.table.file}:{reading.place.line}: {end}")
        return tuple(said)


def holds_blanks(path: Path) -> bool:
    """Whether a table of blanks is there, without a reading.

    Raises
    ------
    OutputError
        If a reading stands in the file.
    """
    if not os.path.isfile(path):  # a name that is too long is no file either
        return False
    text = path.read_bytes().decode("utf-8-sig", errors="replace")
    separator = max(";,", key=text.partition("\n")[0].count)
    rows = csv.DictReader(io.StringIO(text), delimiter=separator)
    blanks = {"reading", "site"} <= set(rows.fieldnames or ())
    if any((row.get("reading") or "").strip() for row in rows):
        found = "was not written: readings stand in it already"
        cure = "name another file or folder with -o, or move this one away"
        raise OutputError(Problem(found, cure=cure, place=Place(str(path))))
    return blanks


def check_sites(setup: Setup, names: Sequence[str], option: str) -> None:
    """Refuse names of sites that the setup does not have."""
    known = [s.name for s in setup.sites]
    problems = [
        Problem(f"{option} {show(name)}: there is no such site", _few(known), suggestion(name, known))
        for name in names
        if name not in known
    ]
    if problems:
        raise ReadingsError(*problems)


def _channel_columns(setup: Setup) -> dict[str, tuple[tuple[str, str], ...]]:
    """Column -> the channels that it sets: CHANNEL on every lit fixture, or FIXTURE/CHANNEL on one."""
    columns: dict[str, tuple[tuple[str, str], ...]] = {}
    for fixture in setup.lit_fixtures:
        for channel in fixture.type.channels:
            key = (fixture.name, channel.name)
            columns[channel.name] = (*columns.get(channel.name, ()), key)
            columns[f"{fixture.name}/{channel.name}"] = (key,)
    return columns


def _named(columns: Sequence[str], channels: Mapping[str, tuple[tuple[str, str], ...]]) -> set[str]:
    return {name for column in columns for _, name in channels[column]}


def _few(names: Sequence[str]) -> str:
    return ", ".join(names[:12]) + (f" and {len(names) - 12} more" if len(names) > 12 else "")
