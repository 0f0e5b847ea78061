"""setup.toml and every file it names, to a Setup; all problems of all files in one run."""

from __future__ import annotations

import os.path
import re
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightdose.files.groups_file import default_groups, read_own_groups, with_own_groups
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_corals import CoralsReading
from lightdose.files.setup_fixtures import FixturesReading, pane_cut_by
from lightdose.files.setup_meters import read_meters
from lightdose.files.setup_places import PlacesReading
from lightdose.files.setup_schema import (
    COVER,
    ELECTRICITY,
    SETUP,
    SETUP_FORMAT,
    TABLES,
    TANK,
    UNCERTAINTY,
    WATER,
)
from lightdose.files.toml_document import TomlDocument
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import counted, problem_at, show
from lightdose.files.units import format_length
from lightdose.model.coral import Coral, CoralGroup, Site
from lightdose.model.fixture import Fixture
from lightdose.model.record import dataclass
from lightdose.model.setup import Electricity, LengthUnit, Setup
from lightdose.model.spectrum import SpectralTable
from lightdose.model.tank import WALL_NAMES, Cover, Tank, Wall, Water

if TYPE_CHECKING:
    from lightdose.model.calibration import Calibration

ABSORPTION_COVERS_NM = (380.0, 750.0)
MOST_ABSORPTION_PER_M = 1000.0
"""Ink: above it, a table is in another unit. Our choice. [m-1]"""

SEVERAL = ("fixture", "site", "rack", "coral")
_INCHES = re.compile(r"[\d.,\s]+(?:in|inch|inches|ft|foot|feet|\"|'|\u2033|\u2032)\.?\s*", re.IGNORECASE)


@dataclass(frozen=True)
class Variations:
    """Changes to a setup without copying it: for all of its fixtures, or none.

    ``uncalibrated`` leaves the calibration file unread: what `calibrate` starts from.
    """

    fixture_height_m: float | None = None
    swap_fixture: Path | None = None
    schedule: Path | None = None
    uncalibrated: bool = False


AS_WRITTEN = Variations()


def read_setup(path: str | Path, variations: Variations = AS_WRITTEN) -> Setup:
    """Read a setup and every file it names.

    Parameters
    ----------
    path : the setup.toml, or the folder that holds one
    variations : changes for all fixtures

    Raises
    ------
    SetupError
        With every problem of every file, sorted by file and line; its ``understood`` says what was read.
    """
    files, asked = InputFiles(), Path(path)
    if os.path.isdir(asked) and os.path.isfile(asked / "setup.toml"):
        asked /= "setup.toml"
    found = files.find(str(asked), None)
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
        electricity = self._electricity()
        meters = read_meters(self.document, self.files)
        uncertainty = self._uncertainty()
        calibration = self._calibration(top.get("calibration"))
        if self.files.problems or tank is None:
            return None
        self._say(places.sites, corals.corals)
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
        place = self.document.value_place(path)
        found = self.files.find(named, place, beside=self.document.file)
        if found is None:
            return None
        from lightdose.files.spectrum_csv import read_spectral_table

        with self.files.collecting(place):
            table = read_spectral_table(found, str(found), **limits)
            self.files.understood.append(f"{found}: {'; '.join(table.notes)}; ends held")
            return table
        return None

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
