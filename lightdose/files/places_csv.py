"""sites.csv and corals.csv: plain rows with their places; the setup checks them against the tank."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import lru_cache
from pathlib import Path
from typing import Final, cast

from lightdose.errors import Place, Problem, SetupError, first_few
from lightdose.files.csv_text import Cell, Dialect, csv_text, plain_text
from lightdose.files.delimited import DelimitedError, DelimitedTable, Row, read_delimited, read_text
from lightdose.files.setup_schema import MOST_SITES, SMALLEST_SIDE_M, read_face, read_open_sky, sky_word
from lightdose.files.toml_tables import counted, suggestion
from lightdose.files.units import (
    METRES_PROBLEM,
    UnitProblem,
    has_length_unit,
    looks_like_metres,
    parse_number,
)
from lightdose.frozen import dataclass
from lightdose.model.forms import CORAL_FORMS, CoralForm
from lightdose.model.places import Placement, Spot
from lightdose.model.setup import SURFACES, Coral, Surface
from lightdose.model.solids import Face, Growth
from lightdose.near_names import near_names

LIMIT_BYTES: Final = 20_000_000
MOST_PROBLEMS: Final = 50
"""Problems that are shown; a file of 20,000 bad rows needs no more."""
METRES_CM: Final = 1.0
"""A file whose numbers are all below this was more likely written in metres: our choice."""

SPOT_COLUMNS: Final = ("x_cm", "y_cm", "depth_cm")
FACE_COLUMNS: Final = ("toward_deg", "tilt_deg")
SITE_COLUMNS: Final = ("site", *SPOT_COLUMNS, "open_sky", "on", *FACE_COLUMNS)
_GROUP_AND_PLACE: Final = ("group", "genus", "site", *SPOT_COLUMNS, "open_sky", "height_cm")
_WRITTEN_COLUMNS: Final = ("coral", *_GROUP_AND_PLACE, "pinned", "on", "keep_apart_cm")
GROWTH_COLUMNS: Final = ("growth_diameter_cm", "growth_height_cm")
_BODY_COLUMNS: Final = ("form", "diameter_cm", "passes", *GROWTH_COLUMNS, *FACE_COLUMNS)
CORAL_COLUMNS: Final = (*_WRITTEN_COLUMNS, *_BODY_COLUMNS)
TABLE_ALONE: Final = ("previous", "dli_band", "peak_max")
"""What a coral says in [[coral]] and in no column."""
_UNIT_END: Final = re.compile("_(?:cm|mm|m|in|ft)$")


@dataclass(frozen=True)
class SiteRow:
    """A site as written: origin front left, depth below the surface. [m]"""

    name: str
    x_m: float
    y_m: float
    depth_m: float
    open_sky: float
    on: Surface | None
    place: Place
    sky_word: str = ""
    own_sky: bool = False
    face: Face | None = None


@dataclass(frozen=True)
class CoralRow:
    """A coral as written: group or genus; its site, or a spot (x, y, depth) of its own, or neither. [m]"""

    name: str
    group: str | None
    genus: str | None
    site: str | None
    spot: tuple[float, float, float] | None
    open_sky: float
    height_m: float
    pinned: bool
    on: Surface | None
    keep_apart_m: float
    place: Place
    sky_word: str = ""
    own_sky: bool = False
    form: CoralForm | None = None
    diameter_m: float = 0.0
    passes: float | None = None
    growth: Growth | None = None
    face: Face | None = None


def read_sites(path: Path, label: str) -> tuple[list[SiteRow], str]:
    """The rows of sites.csv: site, x_cm, y_cm, depth_cm and optionally open_sky (blank is 1) and on.

    With them comes what was understood.

    Raises
    ------
    SetupError
        With every problem of the file.
    """
    rows, said = _sites(*_text_of(path, label), label)
    return list(rows), said


@lru_cache(maxsize=1)
def _sites(text: str, encoding: str, label: str) -> tuple[tuple[SiteRow, ...], str]:
    """The same of a text; the last is kept, since two setups beside one another often share it."""
    cells = TableCells(_table_of(text, encoding, label, "site"), SITE_COLUMNS)
    cells.require("site", *SPOT_COLUMNS)
    cells.raise_problems()
    rows = []
    for row in cells.table.rows:
        name = cells.name(row, "site")
        x_m, y_m, depth_m = (cells.metres(row, column) for column in SPOT_COLUMNS)
        open_sky, on = cells.open_sky(row), cells.on(row)
        if name is None or x_m is None or y_m is None or depth_m is None or open_sky is None:
            continue
        rows.append(
            SiteRow(
                name,
                x_m,
                y_m,
                depth_m,
                open_sky,
                on,
                place=cells.table.place(row, "site"),
                sky_word=sky_word(cells.text(row, "open_sky")),
                own_sky=cells.text(row, "open_sky") is not None,
                face=cells.face(row),
            )
        )
    cells.raise_problems()
    return tuple(rows), understood(cells.table, len(rows), "site")


def read_corals(path: Path, label: str) -> tuple[list[CoralRow], str]:
    """The rows of corals.csv by ``CORAL_COLUMNS``: group or genus, and site or spot or no place yet.

    A blank open_sky is 1, a blank length 0, and pinned no. With the rows comes what was understood.

    Raises
    ------
    SetupError
        With every problem of the file.
    """
    rows, said = _corals(*_text_of(path, label), label)
    return list(rows), said


@lru_cache(maxsize=1)
def _corals(text: str, encoding: str, label: str) -> tuple[tuple[CoralRow, ...], str]:
    """The same of a text, as ``_sites``."""
    cells = TableCells(_table_of(text, encoding, label, "coral"), CORAL_COLUMNS)
    cells.require("coral")
    cells.require_one("group", "genus")
    if not cells.columns.keys().isdisjoint(SPOT_COLUMNS):
        cells.require(*SPOT_COLUMNS)
    cells.raise_problems()
    read = [cells.coral(row) for row in cells.table.rows]
    cells.raise_problems()
    rows = tuple(row for row in read if row is not None)
    return rows, understood(cells.table, len(rows), "coral")


def understood(table: DelimitedTable, number: int, what: str) -> str:
    """What is said of a file that was read: its rows, and what was passed over."""
    return ", ".join([f"{table.file}: {counted(number, what)}", *table.passed_over])


def corals_csv(placement: Placement, dialect: Dialect = "plain") -> str:
    """All corals at their new places, as ``read_corals`` takes them; those without one have no place yet."""
    before = placement.before.setup
    spots = {c.coral: (c.after.spot if c.after else None, c.open_sky) for c in placement.corals}
    rows = [_coral_cells(c, *spots.get(c.name, (None, c.open_sky))) for c in before.corals + before.unplaced]
    if before.standing is not None:  # an open sky that is written stands for rock and colonies
        own = {s.name for s in before.sites if s.implicit and s.own_sky}
        own |= {c.name for c in (*before.corals, *before.unplaced) if c.own_sky}
        at = CORAL_COLUMNS.index("open_sky")
        rows = [[None if n == at and row[0] not in own else v for n, v in enumerate(row)] for row in rows]
    columns: tuple[str, ...] = _WRITTEN_COLUMNS
    corals = before.corals + before.unplaced
    faces = [c.face or _new_face(spots.get(c.name, (None, 1.0))[0]) for c in corals]
    if any(c.form or c.diameter_m or c.passes is not None or c.growth for c in corals) or any(faces):
        columns = CORAL_COLUMNS
        rows = [row + _body_cells(c, f) for row, c, f in zip(rows, corals, faces, strict=True)]
    return csv_text(columns, rows, dialect)


def _new_face(spot: Spot | None) -> Face | None:
    """Which way a coral looks at a place that is no site; a site tells it itself."""
    return spot.face if spot and spot.site is None else None


def _body_cells(coral: Coral, face: Face | None) -> list[Cell]:
    angles: list[Cell] = [face.toward_deg, face.tilt_deg] if face else [None, None]
    grows = coral.growth or Growth()
    wider, taller = (_cm(length_m) or None for length_m in (grows.diameter_m, grows.height_m))
    return [coral.form, _cm(coral.diameter_m) or None, coral.passes, wider, taller, *angles]


def _coral_cells(coral: Coral, spot: Spot | None, open_sky: float) -> list[Cell]:
    group: list[Cell] = [None, coral.genus] if coral.genus else [coral.group, None]
    place: list[Cell] = [spot.site if spot else None, None, None, None]
    if spot and (spot.site is None or spot.implicit):
        place = [None, *map(_cm, (spot.x_m, spot.y_m, spot.depth_m))]
    wishes = ["yes" if coral.pinned and spot else None, coral.on, _cm(coral.keep_apart_m) or None]
    return [coral.name, *group, *place, open_sky, _cm(coral.height_m), *wishes]


def _cm(length_m: float) -> float:
    return round(100 * length_m, 9)


def read_rows(path: Path, label: str, key: str) -> DelimitedTable:
    """The rows of a file whose header has the column ``key``.

    Raises
    ------
    SetupError
        If it is no table, or has more rows than places are taken.
    """
    return _table_of(*_text_of(path, label), label, key)


def _text_of(path: Path, label: str) -> tuple[str, str]:
    """The text of a file, and its encoding."""
    try:
        return read_text(path, limit_bytes=LIMIT_BYTES, label=label)
    except DelimitedError as trouble:
        raise SetupError(*trouble.problems) from None


def _table_of(text: str, encoding: str, label: str, key: str) -> DelimitedTable:
    """``read_rows`` of a text."""
    try:
        table = read_delimited(text, label, encoding, key_column=key)
    except DelimitedError as trouble:
        raise SetupError(*trouble.problems) from None
    if len(table.rows) > MOST_SITES:
        place = table.place(table.rows[MOST_SITES])
        raise SetupError(Problem(f"has {len(table.rows):,} rows", f"up to {MOST_SITES:,}", place=place))
    return table


class TableCells:
    """A table whose cells are read by column name; problems gather until ``raise_problems``."""

    def __init__(self, table: DelimitedTable, known: Sequence[str]) -> None:
        self.table = table
        self.known = known
        self.problems: list[Problem] = []
        self.bare_m: list[float] = []
        self.columns: Mapping[str, int] = self._columns()

    def _columns(self) -> dict[str, int]:
        columns: dict[str, int] = {}
        for index, cell in enumerate(self.table.header or ()):
            name = cell.casefold()
            place = self.table.place(None, index)
            if name in columns:
                self.problems.append(Problem(f'the column "{cell}" stands twice', place=place))
            elif name in self.known:
                columns[name] = index
            else:
                found = f'unknown column "{cell}"' if cell else f"column {index + 1} has no name"
                cure = _suggestion(name, self.known)
                self.problems.append(Problem(found, ", ".join(self.known), cure, place))
        return columns

    def require(self, *names: str) -> None:
        """Each of these columns must be there."""
        for name in names:
            if name not in self.columns:
                found = f'the column "{name}" is missing'
                place = self.table.place(None)
                self.problems.append(Problem(found, ", ".join(self.known), "add it", place))

    def require_one(self, one: str, *others: str) -> None:
        """Either the column ``one`` or all of the others must be there."""
        given = [name for name in others if name in self.columns]
        if given and len(given) < len(others):
            self.require(*others)
        elif not given and one not in self.columns:
            found = f'neither the column "{one}" nor {", ".join(others)}'
            place = self.table.place(None)
            self.problems.append(Problem(found, ", ".join(self.known), "add one of them", place))

    def raise_problems(self) -> None:
        """Raise what has gathered."""
        if looks_like_metres(self.bare_m, METRES_CM):
            self.problems.append(replace(METRES_PROBLEM, place=self.table.place(None)))
        if not self.problems:
            return
        raise SetupError(*first_few(self.problems, MOST_PROBLEMS))

    def text(self, row: Row, column: str) -> str | None:
        """The text of a cell; None for a blank cell or a column that is not there."""
        index = self.columns.get(column)
        return (plain_text(row.cells[index]) or None) if index is not None else None

    def name(self, row: Row, column: str) -> str | None:
        """The text of a cell that may not be blank."""
        name = self.text(row, column)
        if name is None:
            place = self.table.place(row, column)
            self.problems.append(Problem(f"the {column} has no name", cure="give it a name", place=place))
        return name

    def metres(self, row: Row, column: str) -> float | None:
        """A length in centimetres, or with a unit of its own. [m]"""
        try:
            length_m = self.table.length_m(row, column)
            if column in SPOT_COLUMNS and not has_length_unit(self.table.text(row, column)):
                self.bare_m.append(length_m)
            return length_m
        except UnitProblem as trouble:
            self.problems.append(trouble.problem)
            return None

    def open_sky(self, row: Row) -> float | None:
        """A number 0-1 or one of the words for it; blank is 1."""
        text = self.text(row, "open_sky")
        if text is None:
            return 1.0
        starts_number = text[0].isdigit() or text[0] in "+-.,"
        try:
            return read_open_sky(parse_number(text, self.table.decimal) if starts_number else text)
        except UnitProblem as trouble:
            self.problems.append(trouble.problem.at(self.table.place(row, "open_sky")))
            return None

    def on(self, row: Row) -> Surface | None:
        """What the place is, or what the coral is to stand on; None where nothing is said."""
        text = self.text(row, "on")
        return None if text is None else cast("Surface | None", self.word(row, "on", text, SURFACES))

    def number(self, row: Row, column: str, default: float, low: float, high: float) -> float:
        """A number in a range; the default for a blank cell."""
        text = self.text(row, column)
        if text is None:
            return default
        place = self.table.place(row, column)
        try:
            value = parse_number(text, self.table.decimal)
        except UnitProblem as trouble:
            self.problems.append(trouble.problem.at(place))
            return default
        if not low <= value <= high:
            found = f"{column} {value:g} is outside the range"
            self.problems.append(Problem(found, f"{low:g} to {high:g}", place=place))
        return value

    def face(self, row: Row) -> Face | None:
        """Which way the place looks; None where both angles are blank, or it looks up."""
        given = [column for column in FACE_COLUMNS if self.text(row, column) is not None]
        if not given:
            return None
        toward = self.number(row, "toward_deg", 0.0, -360, 360)
        tilt = self.number(row, "tilt_deg", 0.0, 0, 180)
        if "tilt_deg" not in given or ("toward_deg" not in given and 0 < tilt < 180):
            missing = next(column for column in FACE_COLUMNS if column not in given)
            found = f"{given[0]} stands without {missing}"
            allowed = "both: toward_deg 270 and tilt_deg 90 look to the front"
            self.problems.append(Problem(found, allowed, place=self.table.place(row, given[0])))
            return None
        return read_face(toward, tilt) if -360 <= toward <= 360 and 0 <= tilt <= 180 else None

    def pinned(self, row: Row) -> bool:
        """yes or no; blank is no."""
        text = self.text(row, "pinned")
        return text is not None and self.word(row, "pinned", text, ("yes", "no")) == "yes"

    def word(self, row: Row, column: str, text: str, known: Sequence[str]) -> str | None:
        """One of a few words; None, with a problem, for another."""
        word = text.casefold()
        if word in known:
            return word
        found, place = f'"{text}" is not known here', self.table.place(row, column)
        self.problems.append(Problem(found, " | ".join(known), suggestion(word, known), place))
        return None

    def length(self, row: Row, column: str, what: str) -> float:
        """A number of centimetres that may be blank, in metres."""
        length_m = self.metres(row, column) if self.text(row, column) is not None else 0.0
        if length_m is not None and length_m < 0:
            found = f"the {column.removesuffix('_cm')} {length_m * 100:g} cm is below 0"
            self.problems.append(Problem(found, what, place=self.table.place(row, column)))
        return length_m or 0.0

    def growth(self, row: Row) -> Growth | None:
        """What the colony gains in a month; None where it tells nothing."""
        gains = [self.length(row, column, "0 to 100 cm a month") for column in GROWTH_COLUMNS]
        for column, gain_m in zip(GROWTH_COLUMNS, gains, strict=True):
            if gain_m > 1:
                found, place = f"{column} {gain_m * 100:g} cm is too much", self.table.place(row, column)
                self.problems.append(Problem(found, "0 to 100 cm a month", place=place))
        return Growth(*gains) if any(gains) else None

    def coral(self, row: Row) -> CoralRow | None:
        """One row of corals.csv; None, with problems, if it cannot be read."""
        already = len(self.problems)
        name = self.name(row, "coral")
        group, genus = self.text(row, "group"), self.text(row, "genus")
        if (group is None) == (genus is None):
            self._choice(row, "group", "genus", both=group is not None)
        site = self.text(row, "site")
        given = any(self.text(row, column) is not None for column in SPOT_COLUMNS)
        spot = None
        if given and site is not None:
            self._choice(row, "site", "x_cm, y_cm, depth_cm", both=True)
        elif given:
            x_m, y_m, depth_m = (self.metres(row, column) for column in SPOT_COLUMNS)
            if x_m is not None and y_m is not None and depth_m is not None:
                spot = x_m, y_m, depth_m
        open_sky = self.open_sky(row)
        height_m = self.length(row, "height_cm", "0 or more, from the site up to the coral's top")
        pinned, on = self.pinned(row), self.on(row)
        apart_m = self.length(row, "keep_apart_cm", "0 or more, the distance to its neighbours")
        word = self.text(row, "form")
        form = None if word is None else cast("CoralForm | None", self.word(row, "form", word, CORAL_FORMS))
        diameter_m = self.length(row, "diameter_cm", "above 0, of its colony")
        if 0 < diameter_m < SMALLEST_SIDE_M:
            place = self.table.place(row, "diameter_cm")
            found = f"the diameter {diameter_m * 100:g} cm is outside the range"
            self.problems.append(Problem(found, f"{100 * SMALLEST_SIDE_M:g} cm to 2000 cm", place=place))
        passes = None
        if self.text(row, "passes") is not None:
            passes = self.number(row, "passes", 0.0, 0, 1)
        growth = self.growth(row)
        face = self.face(row)
        if len(self.problems) > already or name is None or open_sky is None:
            return None
        place = self.table.place(row, "coral")
        return CoralRow(
            name=name,
            group=group,
            genus=genus,
            site=site,
            spot=spot,
            open_sky=open_sky,
            height_m=height_m,
            pinned=pinned,
            on=on,
            keep_apart_m=apart_m,
            place=place,
            sky_word=sky_word(self.text(row, "open_sky")),
            own_sky=self.text(row, "open_sky") is not None,
            form=form,
            diameter_m=diameter_m,
            passes=passes,
            growth=growth,
            face=face,
        )

    def _choice(self, row: Row, one: str, other: str, *, both: bool) -> None:
        found = f"{one} and {other} stand together" if both else f"neither {one} nor {other}"
        cure = "keep one of them" if both else f"fill in {one}, or {other}"
        self.problems.append(Problem(found, f"{one} or {other}", cure, self.table.place(row, "coral")))


def _suggestion(name: str, known: Sequence[str]) -> str:
    if name in TABLE_ALONE and "coral" in known:
        return f"take the column out, and write a coral that has it as [[coral]] with {name} in the setup"
    without_unit = {_UNIT_END.sub("", column): column for column in known}
    near = near_names(_UNIT_END.sub("", name), without_unit)
    if not near:
        return "remove the column"
    column = without_unit[near[0]]
    unit = " (its numbers are centimetres)" if column.endswith("_cm") else ""
    return f'did you mean "{column}"{unit}?'
