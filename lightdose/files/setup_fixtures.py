"""Fixtures of a setup: [[fixture]] tables with the type files and schedules they name."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from lightdose.errors import Place
from lightdose.files.delimited import read_delimited, read_text
from lightdose.files.fixture_file import read_fixture_type
from lightdose.files.input_files import InputFiles
from lightdose.files.programme_rules import RESERVED_NAMES
from lightdose.files.schedule_csv import LIMIT_BYTES, programme_from_points, read_schedule
from lightdose.files.setup_schema import FIXTURE, MOST_CHANNELS
from lightdose.files.toml_document import TomlDocument
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import counted, problem_at, show, value_at
from lightdose.files.units import format_length, format_time
from lightdose.model.fixture import Fixture, FixtureType
from lightdose.model.schedule import Programme
from lightdose.model.tank import Tank

if TYPE_CHECKING:
    from lightdose.files.setup_file import Variations


@dataclass(eq=False)
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
