"""Places of a setup: [[site]], [[rack]] and sites.csv."""

from __future__ import annotations

import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightdose.errors import Place, Problem
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_schema import MOST_SITES, RACK, SITE
from lightdose.files.toml_document import TomlDocument
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import problem_at, show, suggestion, value_at
from lightdose.files.units import format_length
from lightdose.model.coral import Site
from lightdose.model.tank import Tank

if TYPE_CHECKING:
    from lightdose.files.places_csv import SiteRow

ROUNDING_M = 1e-9
"""Lengths from different units may differ by this and still be the same."""

_ROW_LETTER = re.compile(r"(?:.*[^A-Za-z])?[A-Za-z]")


@dataclass(eq=False)
class PlacesReading:
    """Collects the places of one setup; ``tank`` is None where its own table has problems."""

    document: TomlDocument
    files: InputFiles
    tank: Tank | None
    sites: list[Site] = field(default_factory=list)
    _site_places: dict[str, Place] = field(default_factory=dict)
    _depths: dict[str, float] = field(default_factory=dict)
    """Depth of the sites that corals may name: all but the implicit ones. [m]"""
    _unsound: set[str] = field(default_factory=set)
    """Names of sites that have problems of their own, so that naming them is none."""
    _all_read: bool = True
    """Whether every source of site names could be read; else an unknown name is no problem of its own."""

    def read_sites(self, tables: int) -> None:
        """All [[site]] tables."""
        for n in range(tables):
            path: KeyPath = ("site", n)
            values = SITE.read(self.document, path, self.files.problems)
            name = values.get("name")
            spot = self.spot((*path, "at"), values.get("at"))
            if name is None:
                self._all_read = False
                continue
            place = self.document.value_place((*path, "name"))
            if spot is None or "open_sky" not in values:
                self._unsound.add(name)
                self._site_places.setdefault(name, place)
            else:
                self.add_site(Site(name, *spot, values["open_sky"]), place)

    def read_racks(self, tables: int) -> None:
        """All [[rack]] tables; a site for each row and column."""
        for n in range(tables):
            path: KeyPath = ("rack", n)
            already = len(self.files.problems)
            values = RACK.read(self.document, path, self.files.problems)
            corner = self.spot((*path, "corner"), values.get("corner"))
            rows = self._row_names(path, values) if len(values) == len(RACK.keys) else None
            if corner is not None and rows is not None and self._rack_fits(path, corner, values):
                self._add_rack(path, corner, values, rows)
            self._all_read &= len(self.files.problems) == already

    def _add_rack(
        self, path: KeyPath, corner: tuple[float, float, float], values: dict[str, Any], rows: list[str]
    ) -> None:
        place = self.document.value_place((*path, "name"))
        for r, row in enumerate(rows):
            for c in range(values["columns"]):
                site = Site(
                    f"{row}{c + 1}",
                    corner[0] + c * values["pitch"]["x"],
                    corner[1] + r * values["pitch"]["y"],
                    corner[2],
                    rack=values["name"],
                )
                self.add_site(site, place)

    def read_sites_csv(self, named: str) -> None:
        """The file that the key ``sites`` names."""
        already = len(self.files.problems)
        path = self.files.find(named, self.document.value_place(("sites",)), beside=self.document.file)
        if path is not None:
            self._read_sites_csv(path)
        self._all_read &= len(self.files.problems) == already

    def _read_sites_csv(self, path: Path) -> None:
        from lightdose.files.places_csv import read_sites

        with self.files.collecting():
            rows, said = read_sites(path, str(path))
            for row in rows:
                self._add_site_row(row)
            self.files.understood.append(said)

    def _add_site_row(self, row: SiteRow) -> None:
        spot = (row.x_m, row.y_m, row.depth_m)
        if self.inside(spot, f"site {row.name!r}", row.place):
            self.add_site(Site(row.name, *spot, row.open_sky), row.place)
        else:
            self._unsound.add(row.name)

    def add_site(self, site: Site, place: Place) -> None:
        """Add a site, or name the one that has its name already."""
        if site.name in self._site_places:
            first = self._site_places[site.name]
            self._problem(
                f"the site name {site.name!r} stands twice", place, cure=f"it stands at {first} already"
            )
            return
        self._site_places[site.name] = place
        if len(self.sites) == MOST_SITES:
            self._problem("too many sites", place, f"up to {MOST_SITES:,} sites in all")
        if len(self.sites) <= MOST_SITES:
            self.sites.append(site)
            if not site.implicit:
                self._depths[site.name] = site.depth_m

    def spot(self, path: KeyPath, at: dict[str, Any] | None) -> tuple[float, float, float] | None:
        """x, y and depth of a table with depth or height; None, with a problem, if it is outside."""
        if at is None:
            return None
        depth, height = at["depth"], at["height"]
        if (depth is None) == (height is None):
            says = "depth and height stand together" if depth is not None else "neither depth nor height"
            self.files.problems.append(
                problem_at(
                    self.document,
                    path,
                    says,
                    "depth below the surface, or height above the floor",
                    "keep one of them" if depth is not None else 'add depth = "10 cm"',
                )
            )
            return None
        tank = self.tank
        if tank is None:
            return (at["x"], at["y"], 0.0) if depth is None else (at["x"], at["y"], depth)
        vertical = "height" if depth is None else "depth"
        sound = self._within(path, "x", at["x"], tank.length_m, "tank.length", "beyond the right wall")
        sound &= self._within(path, "y", at["y"], tank.width_m, "tank.width", "beyond the back wall")
        beyond = "above the water" if depth is None else "below the floor"
        sound &= self._within(path, vertical, at[vertical], tank.water_depth_m, "tank.water_depth", beyond)
        down_m: float = depth if height is None else tank.water_depth_m - height
        return (at["x"], at["y"], min(max(down_m, 0.0), tank.water_depth_m)) if sound else None

    def _within(
        self, path: KeyPath, key: str, value_m: float, most_m: float, limit: str, beyond: str
    ) -> bool:
        if value_m <= most_m + ROUNDING_M:
            return True
        shown = value_at(self.document.data, (*path, key))
        allowed = f"0 to {format_length(most_m, 'cm')} ({limit})"
        self.files.problems.append(
            problem_at(self.document, (*path, key), f"{show(shown)} is {beyond}", allowed)
        )
        return False

    def inside(self, spot: tuple[float, float, float], what: str, place: Place) -> bool:
        """Whether a place of a CSV file is in the water."""
        tank = self.tank
        if tank is None:
            return True
        limits = (
            ("x", tank.length_m, "tank.length"),
            ("y", tank.width_m, "tank.width"),
            ("depth", tank.water_depth_m, "tank.water_depth"),
        )
        sound = True
        for value_m, (axis, most_m, limit) in zip(spot, limits, strict=True):
            if not -ROUNDING_M <= value_m <= most_m + ROUNDING_M:
                sound = False
                found = f"{what} {axis}: {format_length(value_m, 'cm')} is outside the water"
                self._problem(found, place, f"0 to {format_length(most_m, 'cm')} ({limit})")
        return sound

    def _row_names(self, path: KeyPath, values: dict[str, Any]) -> list[str] | None:
        given, count, name = values["row_names"], values["rows"], values["name"]
        if given is not None:
            if len(given) == count:
                return list(given)
            found = f"{len(given)} names for {count} rows"
            self.files.problems.append(
                problem_at(self.document, (*path, "row_names"), found, "one name a row")
            )
            return None
        if count == 1:
            return [name]
        last = "Z" if name[-1].isupper() else "z"
        if _ROW_LETTER.fullmatch(name) and ord(name[-1]) + count - 1 <= ord(last):
            return [name[:-1] + chr(ord(name[-1]) + r) for r in range(count)]
        self.files.problems.append(
            problem_at(
                self.document,
                (*path, "name"),
                f"from {name!r} {count} rows cannot be named on, letter by letter",
                "a single letter at the end, such as A, or row_names",
                'add row_names = ["...", "..."]',
            )
        )
        return None

    def _rack_fits(self, path: KeyPath, corner: tuple[float, float, float], values: dict[str, Any]) -> bool:
        tank = self.tank
        if tank is None:
            return True
        sound = True
        for axis, start_m, count, most_m, limit in (
            ("x", corner[0], values["columns"], tank.length_m, "tank.length"),
            ("y", corner[1], values["rows"], tank.width_m, "tank.width"),
        ):
            end_m = start_m + (count - 1) * values["pitch"][axis]
            if end_m > most_m + ROUNDING_M:
                sound = False
                found = f"{count} sites reach to {format_length(end_m, 'cm')}, beyond the wall"
                allowed = f"up to {format_length(most_m, 'cm')} ({limit})"
                self.files.problems.append(problem_at(self.document, (*path, "pitch", axis), found, allowed))
        if values["columns"] * values["rows"] > MOST_SITES:
            sound = False
            found = f"{values['columns'] * values['rows']:,} sites"
            self.files.problems.append(problem_at(self.document, path, found, f"up to {MOST_SITES:,} in all"))
        return sound

    def depth_m(self, site: str) -> float | None:
        """Depth of a site that corals may name."""
        return self._depths.get(site)

    def known_site(self, name: str, place: Place) -> bool:
        """Whether a coral may sit at the site ``name``; the problem is named unless the site has its own."""
        if name in self._depths:
            return True
        if name in self._unsound or not self._all_read:
            return False
        self._problem(
            f"no site is named {name!r}",
            place,
            _some(list(self._depths)) or "sites of [[site]], [[rack]] or the file sites names",
            suggestion(name, self._depths),
        )
        return False

    def _problem(self, found: str, place: Place, allowed: str = "", cure: str = "") -> None:
        self.files.problems.append(Problem(found, allowed, cure, place))


def _some(names: list[str], most: int = 12) -> str:
    return ", ".join(names[:most]) + (f", ... ({len(names)} in all)" if len(names) > most else "")
