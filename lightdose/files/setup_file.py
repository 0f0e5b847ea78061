"""setup.toml and every file it names, to a Setup; all problems of all files in one run."""

from __future__ import annotations

import dataclasses
import math
import os.path
import re
from collections.abc import Mapping
from dataclasses import field, replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightdose.errors import Place, Problem
from lightdose.files.delimited import read_delimited, read_text
from lightdose.files.fixture_file import read_fixture_type
from lightdose.files.groups_file import default_groups, read_own_groups, with_own_groups
from lightdose.files.input_files import InputFiles
from lightdose.files.programme_rules import RESERVED_NAMES
from lightdose.files.schedule_csv import LIMIT_BYTES, programme_from_points, read_schedule
from lightdose.files.setup_meters import read_meters
from lightdose.files.setup_places import CoralsReading, PlacesReading
from lightdose.files.setup_remarks import remarks
from lightdose.files.setup_schema import (
    COVER,
    ELECTRICITY,
    FIXTURE,
    MOST_CHANNELS,
    SETUP,
    SETUP_FORMAT,
    TABLES,
    TANK,
    UNCERTAINTY,
    WATER,
)
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import TomlDocument, counted, problem_at, show, value_at
from lightdose.files.units import format_length, format_time
from lightdose.model.fixture import Fixture, FixtureType, Programme
from lightdose.model.record import dataclass
from lightdose.model.setup import (
    WALL_NAMES,
    Coral,
    CoralGroup,
    Cover,
    Electricity,
    LengthUnit,
    Setup,
    Site,
    Tank,
    Wall,
    Water,
)
from lightdose.model.spectrum import SpectralTable

if TYPE_CHECKING:
    from lightdose.files.kept_setup import KeptFiles
    from lightdose.files.rocks import RocksReading
    from lightdose.model.calibration import Calibration

ABSORPTION_COVERS_NM = (380.0, 750.0)
MOST_ABSORPTION_PER_M = 1000.0
"""Ink: above it, a table is in another unit. Our choice. [m-1]"""

SEVERAL = ("fixture", "site", "rack", "coral", "rock", "brace")
_INCHES = re.compile(r"[\d.,\s]+(?:in|inch|inches|ft|foot|feet|\"|'|\u2033|\u2032)\.?\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Variations:
    """Changes to a setup without copying it: for all of its fixtures, or none.

    ``all_channels`` is the plateau of a fixture's overall setting by its name, "" for those not named. [%]
    ``uncalibrated`` leaves the calibration file unread: what `calibrate` starts from.
    """

    fixture_height_m: float | None = None
    swap_fixture: Path | None = None
    schedule: Path | None = None
    all_channels: Mapping[str, float] = field(default_factory=dict)
    uncalibrated: bool = False


AS_WRITTEN = Variations()


def read_setup(path: str | Path, variations: Variations = AS_WRITTEN) -> Setup:
    """Read a setup and every file it names.

    Parameters
    ----------
    path : the setup.toml, or the folder that holds one; with @DATE the state that its diary keeps of that day
    variations : changes for all fixtures

    Raises
    ------
    SetupError
        With every problem of every file, sorted by file and line; its ``understood`` says what was read.
    """
    files, asked = InputFiles(), Path(path)
    if "@" in str(path):
        from lightdose.files.kept_setup import kept_files, kept_words

        if (words := kept_words(str(path))) is not None:
            return replace(read_kept(kept_files(*words), variations), path="@".join(words))
    if os.path.isdir(asked) and os.path.isfile(asked / "setup.toml"):
        asked /= "setup.toml"
    return _read(files.find(str(asked), None, setup=True), files, variations)


def read_kept(files: KeptFiles, variations: Variations = AS_WRITTEN) -> Setup:
    """Read the setup of a kept state; SetupError with every problem of its files."""
    return _read(files.setup_file(), files, variations)


def read_from(files: InputFiles, path: str, *, uncalibrated: bool = False) -> Setup:
    """Read a setup through ``files``, which may find some elsewhere; SetupError as ``read_setup``."""
    return _read(files.find(path, None, setup=True), files, Variations(uncalibrated=uncalibrated))


def _read(found: Path | None, files: InputFiles, variations: Variations) -> Setup:
    document = files.document(found, SETUP_FORMAT) if found is not None else None
    setup = None if document is None else _SetupReading(document, files, variations).setup()
    files.finish()
    assert setup is not None
    return setup


class _SetupReading:
    def __init__(self, document: TomlDocument, files: InputFiles, variations: Variations) -> None:
        self.document = document
        self.files = files
        self.variations = variations

    def setup(self) -> Setup | None:
        """Every table in turn; what has problems is left out, so that the rest is still checked."""
        top = SETUP.read(self.document, (), self.files.problems)
        counts = {key: self._several(key) for key in SEVERAL}
        tank = self._tank() if "tank" in top else None
        water = self._water()
        self._check_indices(tank, water)
        cover = self._cover()
        fixtures = FixturesReading(self.document, self.files, self.variations).fixtures(counts["fixture"])
        groups, sources, all_groups = self._groups(top.get("groups"))
        places = PlacesReading(self.document, self.files, tank)
        places.read_sites(counts["site"])
        places.read_racks(counts["rack"])
        if top.get("sites"):
            places.read_sites_csv(top["sites"])
        corals = CoralsReading(self.document, self.files, places, groups, all_groups)
        corals.read_corals(counts["coral"])
        if top.get("corals"):
            corals.read_corals_csv(top["corals"])
        rocks = self._rocks(tank, top.get("rocks"), counts, places, corals)
        electricity = self._electricity()
        meters = read_meters(self.document, self.files)
        uncertainty = self._uncertainty()
        calibration = self._calibration(top.get("calibration"))
        if self.files.problems or tank is None:
            return None
        corals.say()
        self.files.understood += remarks(tank, fixtures)
        self._say(places.sites, [*corals.corals, *corals.unplaced])
        self._say_where_fixtures_hang(tank, fixtures)
        if self.files.problems:
            return None
        with self.files.collecting():
            setup = Setup(
                title=top["title"],
                tank=tank,
                fixtures=tuple(fixtures),
                sites=tuple(places.sites),
                corals=tuple(corals.corals),
                unplaced=tuple(corals.unplaced),
                groups=groups,
                group_sources=sources,
                water=water,
                cover=cover,
                electricity=electricity,
                meters=meters,
                uncertainty=uncertainty,
                length_unit=self._length_unit(),
                path=self.document.file,
                understood=tuple(dict.fromkeys(self.files.understood)),
                inputs_sha256=dict(self.files.sha256),
                rocks=() if rocks is None else tuple(rocks.rocks),
                braces=() if rocks is None else tuple(rocks.braces),
            )
            return self._calibrated(setup, calibration)
        return None

    # ---- tables -----------------------------------------------------------------------------------------

    def _several(self, key: str) -> int:
        """How many tables [[key]] there are; anything else under that key is a problem."""
        given = self.document.data.get(key)
        if given is None:
            return 0
        if isinstance(given, list) and given and all(isinstance(table, dict) for table in given):
            return len(given)
        found = (
            "one pair of brackets" if isinstance(given, dict) else f"{show(given)} is not a list of tables"
        )
        self.files.problems.append(
            problem_at(
                self.document,
                (key,),
                found,
                f"[[{key}]], two brackets, because there may be several",
                f"write [[{key}]]",
            )
        )
        return 0

    def _table(self, key: str) -> dict[str, Any]:
        """The values of an optional table; its defaults where it is not there."""
        if key in self.document.data:
            return TABLES[key].read(self.document, (key,), self.files.problems)
        return {}

    def _tank(self) -> Tank | None:
        values = self._table("tank")
        if len(values) < len(TANK.keys):
            return None
        walls: dict[str, Wall] = values["walls"] or {name: Wall() for name in WALL_NAMES}
        sides = ("length", "width", "water_depth")
        written = " x ".join(self.document.data["tank"][side].strip() for side in sides)
        centimetres = " x ".join(format_length(values[side], "cm") for side in sides)
        self.files.understood.append(
            f"tank {written}" + (f" -> {centimetres}" if written != centimetres else "")
        )
        with self.files.collecting(self.document.value_place(("tank",))):
            return Tank(
                length_m=values["length"],
                width_m=values["width"],
                water_depth_m=values["water_depth"],
                glass_thickness_m=values["glass_thickness"],
                glass_index=values["glass_index"],
                rim_m=values["rim"],
                walls=walls,
                floor_reflectance=values["floor_reflectance"],
            )
        return None

    def _length_unit(self) -> LengthUnit:
        written = self.document.data["tank"]["length"]
        return "in" if _INCHES.fullmatch(written) else "cm"

    def _water(self) -> Water:
        values = self._table("water")
        if len(values) < len(WATER.keys):
            return Water()
        absorption = None
        if values["absorption"] is not None:
            absorption = self._spectral_table(
                ("water", "absorption"),
                values["absorption"],
                column="absorption_per_m",
                covers_nm=ABSORPTION_COVERS_NM,
                allowed=(0.0, MOST_ABSORPTION_PER_M),
            )
        return Water(
            values["yellowing_440_per_m"],
            values["yellowing_slope_per_nm"],
            values["refractive_index"],
            absorption,
        )

    def _check_indices(self, tank: Tank | None, water: Water) -> None:
        """Light that meets a wall less dense than the water has no image in it beyond the critical angle."""
        if tank is None or tank.glass_index >= water.refractive_index:
            return
        table, key = "tank", "glass_index"
        found = f"{tank.glass_index:g} is below the water's {water.refractive_index:g}"
        allowed = f"from {water.refractive_index:g} (water.refractive_index)"
        if key not in self.document.data[table]:
            table, key = "water", "refractive_index"
            found = f"{water.refractive_index:g} is above the glass's {tank.glass_index:g}"
            allowed = f"up to {tank.glass_index:g} (tank.glass_index)"
        cure = "leave out what you did not look up: glass is taken as 1.52, water as 1.34"
        self.files.problems.append(problem_at(self.document, (table, key), found, allowed, cure))

    def _cover(self) -> Cover:
        values = self._table("cover")
        given = values.get("transmittance", 1.0)
        path = ("cover", "transmittance")
        if isinstance(given, str):
            table = self._spectral_table(path, given, allowed=(0.0, 1.0))
            return Cover() if table is None else Cover(table)
        if isinstance(given, bool) or not isinstance(given, int | float) or not 0 <= given <= 1:
            number = isinstance(given, int | float) and not isinstance(given, bool)
            found = f"{show(given)} is {'outside the range' if number else 'not a transmittance'}"
            cure = f"write {given / 100:g} for {given:g} %" if number and 1 < given <= 100 else ""
            allowed = COVER.keys["transmittance"].kind.allowed
            self.files.problems.append(problem_at(self.document, path, found, allowed, cure))
            return Cover()
        return Cover(float(given))

    def _spectral_table(self, path: KeyPath, named: str, **limits: Any) -> SpectralTable | None:
        return self.files.spectral_table(named, self.document.value_place(path), self.document.file, **limits)

    def _groups(self, named: str | None) -> tuple[dict[str, CoralGroup], dict[str, str], bool]:
        """The groups, their sources, and whether the keeper's own ones could be read."""
        groups, sources = default_groups()
        already = len(self.files.problems)
        if named is not None:
            place = self.document.value_place(("groups",))
            found = self.files.find(named, place, beside=self.document.file)
            if found is not None:
                with self.files.collecting(place):
                    own = read_own_groups(found, str(found), groups)
                    groups = with_own_groups(groups, own)
                    self.files.understood.append(f"{found}: own groups {', '.join(own)}")
        return groups, sources, len(self.files.problems) == already

    def _rocks(
        self,
        tank: Tank | None,
        named: str | None,
        counts: Mapping[str, int],
        places: PlacesReading,
        corals: CoralsReading,
    ) -> RocksReading | None:
        """All that is solid, and places put onto it; None where nothing is."""
        bodies = any(coral.diameter_m > 0 for coral in corals.corals)
        if not (named or counts["rock"] or counts["brace"] or bodies):
            return None
        from lightdose.files.rocks import RocksReading

        rocks = RocksReading(self.document, self.files, tank)
        rocks.read_rocks(counts["rock"])
        if named:
            rocks.read_rocks_csv(named)
        rocks.read_braces(counts["brace"])
        rocks.settle(places, corals)
        return rocks

    def _electricity(self) -> Electricity | None:
        values = self._table("electricity")
        if len(values) < len(ELECTRICITY.keys):
            return None
        return Electricity(values["price_per_kwh"], values["currency"])

    def _uncertainty(self) -> dict[str, float]:
        values = self._table("uncertainty")
        return {key: values[key] for key in UNCERTAINTY.keys if values.get(key) is not None}

    def _calibration(self, named: str | None) -> Calibration | None:
        if named is None or self.variations.uncalibrated:
            return None
        place = self.document.value_place(("calibration",))
        found = self.files.find(named, place, beside=self.document.file)
        if found is None:
            return None
        from lightdose.files.calibration_file import read_calibration

        return read_calibration(found, self.files, place)

    def _calibrated(self, setup: Setup, calibration: Calibration | None) -> Setup:
        if calibration is None:
            return setup
        from lightdose.files.calibration_file import use_calibration

        swapped = self.variations.swap_fixture is not None
        hung_anew = self.variations.fixture_height_m is not None
        setup, said = use_calibration(setup, calibration, swapped=swapped, hung_anew=hung_anew)
        return replace(setup, understood=(*setup.understood, *said))

    def _say(self, sites: list[Site], corals: list[Coral]) -> None:
        implicit = sum(1 for site in sites if site.implicit)
        extra = f" and {implicit} more where corals sit" if implicit else ""
        self.files.understood.append(
            f"{counted(len(sites) - implicit, 'site')}{extra}, {counted(len(corals), 'coral')}"
        )

    def _say_where_fixtures_hang(self, tank: Tank, fixtures: list[Fixture]) -> None:
        """Name fixtures whose centre is beside the water, which are computed; refuse those in a pane."""
        for n, fixture in enumerate(fixtures):
            side = pane_cut_by(fixture, tank)
            if side is not None:
                found = f"its light stands inside the {side} pane"
                allowed = (
                    f"clear of the glass, or at least as high as the rim ({format_length(tank.rim_m, 'cm')})"
                )
                cure = "mend at, the aperture or the rim"
                self.files.problems.append(
                    problem_at(self.document, ("fixture", n, "at"), found, allowed, cure)
                )
            if not (0 <= fixture.x_m <= tank.length_m and 0 <= fixture.y_m <= tank.width_m):
                self.files.understood.append(
                    f"fixture {fixture.name} hangs beside the water, not above it: "
                    f"x {format_length(fixture.x_m, 'cm')}, y {format_length(fixture.y_m, 'cm')}"
                )


@dataclasses.dataclass(eq=False)
class FixturesReading:
    """Reads the fixtures; each type file and each schedule once."""

    document: TomlDocument
    files: InputFiles
    variations: Variations
    types: dict[Path, FixtureType | None] = field(default_factory=dict)
    programmes: dict[tuple[Path, tuple[str, ...] | None], tuple[Programme | None, str]] = field(
        default_factory=dict
    )
    names: dict[str, int] = field(default_factory=dict)

    def fixtures(self, tables: int) -> list[Fixture]:
        """All [[fixture]] tables; what cannot be used is left out, its problems are in ``files``."""
        if tables > MOST_CHANNELS:
            found = f"{tables:,} fixtures, each with a channel or more"
            self.files.problems.append(
                problem_at(self.document, ("fixture",), found, f"up to {MOST_CHANNELS} channels in all")
            )
            return []
        read = [self._fixture(("fixture", n)) for n in range(tables)]
        fixtures = [f for f in read if f is not None]
        for name in self.variations.all_channels.keys() - {"", *self.names}:
            found, known = f"--all-channels: no fixture is named {name!r}", ", ".join(self.names)
            self.files.problems.append(Problem(found, known, self.files.suggestion(name, self.names)))
        channels = sum(len(f.type.channels) for f in fixtures)
        if channels > MOST_CHANNELS:
            found = f"the fixtures have {channels} channels"
            self.files.problems.append(
                problem_at(self.document, ("fixture",), found, f"up to {MOST_CHANNELS} in all")
            )
        return fixtures

    def _fixture(self, path: KeyPath) -> Fixture | None:
        already = len(self.files.problems)
        values = FIXTURE.read(self.document, path, self.files.problems)
        self._check_name(path, values.get("name"))
        kind = self._type(path, values.get("type"))
        names = None if kind is None else tuple(c.name for c in kind.channels)
        programme, said = self._programme((*path, "schedule"), values.get("schedule"), names)
        if len(self.files.problems) > already or kind is None or programme is None:
            return None
        asked = self.variations.all_channels
        percent = asked.get(values["name"], asked.get(""))
        if percent is not None:
            from lightdose.files.overall import at_overall

            with self.files.collecting():
                programme = at_overall(programme, percent, values["name"])
                said += f", all_channels set to {percent:g}"
        at = values["at"]
        height_m = self.variations.fixture_height_m
        fixture = None
        with self.files.collecting(self.document.value_place(path)):
            fixture = Fixture(
                name=values["name"],
                type=kind,
                x_m=at["x"],
                y_m=at["y"],
                height_m=at["height"] if height_m is None else height_m,
                programme=programme,
                rotation_deg=at["rotation_deg"],
                enabled=values["enabled"],
                output_scale=values["output_scale"],
            )
            written = None if height_m is not None else value_at(self.document.data, (*path, "at", "height"))
            self.files.understood.append(_sentence(fixture, written, said))
        return fixture

    def _check_name(self, path: KeyPath, name: str | None) -> None:
        if name is None:
            return
        if name in self.names:
            found = f'"{name}" names fixture {self.names[name]} already'
            self.files.problems.append(problem_at(self.document, (*path, "name"), found, "each name once"))
        self.names.setdefault(name, len(self.names) + 1)

    def _type(self, path: KeyPath, named: str | None) -> FixtureType | None:
        swap = self.variations.swap_fixture
        if swap is not None:
            found = self.files.find(str(swap), None)
        elif named is not None:
            place = self.document.value_place((*path, "type"))
            found = self.files.find(named, place, beside=self.document.file)
        else:
            return None
        if found is None:
            return None
        if found not in self.types:
            self.types[found] = read_fixture_type(found, self.files)
        return self.types[found]

    # ---- programmes -------------------------------------------------------------------------------------

    def _programme(
        self, path: KeyPath, given: object, channels: tuple[str, ...] | None
    ) -> tuple[Programme | None, str]:
        """The programme and what was understood of it; channels is None where the type has problems."""
        varied = self.variations.schedule
        if varied is not None:
            return self._schedule_file(self.files.find(str(varied), None), None, channels)
        if given is None:
            return None, ""
        if isinstance(given, str):
            place = self.document.value_place(path)
            found = self.files.find(given, place, beside=self.document.file)
            return self._schedule_file(found, place, channels)
        return self._inline(path, given, channels)

    def _schedule_file(
        self, found: Path | None, place: Place | None, channels: tuple[str, ...] | None
    ) -> tuple[Programme | None, str]:
        if found is None:
            return None, ""
        key = (found, channels)
        if key not in self.programmes:
            self.programmes[key] = None, ""
            with self.files.collecting(place):
                names = channels if channels is not None else _columns(found)
                programme, said = read_schedule(found, str(found), names)
                self.programmes[key] = programme, f"{found}: {said}"
        return self.programmes[key]

    def _inline(
        self, path: KeyPath, given: object, channels: tuple[str, ...] | None
    ) -> tuple[Programme | None, str]:
        place = self.document.value_place(path)
        if not isinstance(given, dict):
            found = f"{show(given)} is no schedule"
            allowed = FIXTURE.keys["schedule"].kind.allowed
            self.files.problems.append(problem_at(self.document, path, found, allowed))
            return None, ""
        lists = {name: points for name, points in given.items() if isinstance(points, list)}
        for name in given.keys() - lists.keys():
            found = f"{show(given[name])} is not a list of points"
            allowed = '[["08:00", 0], ["09:00", 60], ...]'
            self.files.problems.append(problem_at(self.document, (*path, name), found, allowed))
        with self.files.collecting(place):
            names = tuple(given) if channels is None else channels
            programme = programme_from_points(lists, names, lambda below: self._point_place(path, below))
            span = programme.span_h
            hours = f" {format_time(span[0])} to {format_time(span[1])}" if span else ""
            return programme, f"programme{hours}, written in the setup"
        return None, ""

    def _point_place(self, path: KeyPath, below: KeyPath) -> Place:
        """A channel's name, or a point of it, in an inline schedule."""
        place_of = self.document.key_place if len(below) == 1 else self.document.value_place
        return place_of((*path, *below))


def _columns(path: Path) -> tuple[str, ...]:
    """The channels that a schedule names: what is checked against where the fixture itself cannot be read."""
    text, encoding = read_text(path, limit_bytes=LIMIT_BYTES, label=str(path))
    header = read_delimited(text, str(path), encoding, key_column="time").header or ()
    return tuple(name for name in header if name.casefold() not in RESERVED_NAMES)


def pane_cut_by(fixture: Fixture, tank: Tank) -> str | None:
    """The wall whose pane the emitting area would stand in, where it hangs lower than the dry rim."""
    if fixture.height_m >= tank.rim_m:
        return None
    aperture, turn = fixture.type.aperture, math.radians(fixture.rotation_deg)
    reach_x = 0.5 * (aperture.length_m * abs(math.cos(turn)) + aperture.width_m * abs(math.sin(turn)))
    reach_y = 0.5 * (aperture.length_m * abs(math.sin(turn)) + aperture.width_m * abs(math.cos(turn)))
    glass = tank.glass_thickness_m
    left, right = round(fixture.x_m - reach_x, 9), round(fixture.x_m + reach_x, 9)
    front, back = round(fixture.y_m - reach_y, 9), round(fixture.y_m + reach_y, 9)
    beside_x = right > -glass and left < tank.length_m + glass
    beside_y = back > -glass and front < tank.width_m + glass
    cut = {
        "left": beside_y and left < 0 and right > -glass,
        "right": beside_y and right > tank.length_m and left < tank.length_m + glass,
        "front": beside_x and front < 0 and back > -glass,
        "back": beside_x and back > tank.width_m and front < tank.width_m + glass,
    }
    return next((side for side, stands_in in cut.items() if stands_in), None)


def _sentence(fixture: Fixture, written: str | None, said: str) -> str:
    height = format_length(fixture.height_m, "cm")
    if written is not None and written.strip() != height:
        height = f"{written.strip()} -> {height}"
    return (
        f"fixture {fixture.name}: {fixture.type.name}, {counted(len(fixture.type.channels), 'channel')}, "
        f"{height} above the water{'' if fixture.enabled else ', not enabled'}; {said}"
    )
