"""Places and corals of a setup: [[site]], [[rack]], [[coral]] and their CSV files."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any

from lightdose.errors import Place, Problem, SetupError
from lightdose.files.coral_names import CoralNames
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_schema import (
    BETTER_THAN_WORDS,
    CORAL,
    MOST_SITES,
    RACK,
    SITE,
    sky_word,
)
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import TomlDocument, problem_at, show, value_at
from lightdose.files.units import format_length
from lightdose.model.forms import OPEN_SKY_RANGES, OPEN_SKY_WORDS
from lightdose.model.setup import Coral, CoralGroup, CoralName, Site, Tank
from lightdose.model.setup_rules import ROUNDING_M

if TYPE_CHECKING:
    from lightdose.files.places_csv import CoralRow, SiteRow
    from lightdose.model.solids import Growth

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
            if spot is None or len(values) < len(SITE.keys):
                self._unsound.add(name)
                self._site_places.setdefault(name, place)
            else:
                own_sky = "open_sky" in value_at(self.document.data, path)
                site = Site(
                    name,
                    *spot,
                    values["open_sky"],
                    on=values["on"],
                    own_sky=own_sky,
                    face=values["faces"],
                    sky_word=sky_word(value_at(self.document.data, path).get("open_sky")),
                )
                self.add_site(site, place)
                self.files.tell_sky(site.sky_word, name)

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
                    on=values["on"],
                    face=values["faces"],
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
            site = Site(
                row.name,
                *spot,
                row.open_sky,
                on=row.on,
                own_sky=row.own_sky,
                face=row.face,
                sky_word=row.sky_word,
            )
            self.add_site(site, row.place)
            self.files.tell_sky(row.sky_word, row.name)
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

    def place_of(self, site: str) -> Place:
        """Where a site stands in its file."""
        return self._site_places[site]

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
            self.files.suggestion(name, self._depths),
        )
        return False

    def _problem(self, found: str, place: Place, allowed: str = "", cure: str = "") -> None:
        self.files.problems.append(Problem(found, allowed, cure, place))


def _some(names: list[str], most: int = 12) -> str:
    return ", ".join(names[:most]) + (f", ... ({len(names)} in all)" if len(names) > most else "")


@dataclass(eq=False)
class CoralsReading:
    """Collects the corals of one setup, and the sites that corals with a spot of their own make."""

    document: TomlDocument
    files: InputFiles
    places: PlacesReading
    groups: Mapping[str, CoralGroup]
    all_groups: bool = True
    """Whether the file of own groups could be read; else an unknown group is no problem of its own."""
    corals: list[Coral] = field(default_factory=list)
    unplaced: list[Coral] = field(default_factory=list)
    _coral_places: dict[str, Place] = field(default_factory=dict)

    def read_corals(self, tables: int) -> None:
        """All [[coral]] tables."""
        for n in range(tables):
            path: KeyPath = ("coral", n)
            already = len(self.files.problems)
            values = CORAL.read(self.document, path, self.files.problems)
            group = self._group(path, values)
            name = values.get("name")
            spot = self.places.spot((*path, "at"), values.get("at"))
            placed = not {"site", "at"}.isdisjoint(value_at(self.document.data, path) or ())
            if placed:
                self._one_of(path, values, "site", "at", "")
            if name is None:
                continue
            place = self.document.value_place((*path, "name"))
            sound = len(self.files.problems) == already
            if values.get("site") is not None:
                sound &= self.places.known_site(values["site"], self.document.value_place((*path, "site")))
            if not sound or group is None:
                self._coral_places.setdefault(name, place)
                continue
            own_sky = "open_sky" in value_at(self.document.data, path)
            word = sky_word(value_at(self.document.data, path).get("open_sky"))
            coral = replace(_coral(values, group, own_sky=own_sky), sky_word=word)
            self._add_coral(coral, spot, place)
            self.files.tell_sky(word, name)

    def read_corals_csv(self, named: str) -> None:
        """The file that the key ``corals`` names."""
        path = self.files.find(named, self.document.value_place(("corals",)), beside=self.document.file)
        if path is None:
            return
        from lightdose.files.places_csv import read_corals

        with self.files.collecting():
            rows, said = read_corals(path, str(path))
            for row in rows:
                self._add_coral_row(row)
            self.files.understood.append(said)

    def _add_coral_row(self, row: CoralRow) -> None:
        word = row.group or row.genus or ""
        named = self._named(word, row.place)
        sound = True
        if row.site is not None:
            sound = self.places.known_site(row.site, row.place)
        elif row.spot is not None:
            sound = self.places.inside(row.spot, f"coral {row.name!r}", row.place)
        if named is None or not sound:
            return
        coral = Coral(
            name=row.name,
            group=named.group.key,
            site=row.site or "",
            genus=named.genus_in(word),
            height_m=row.height_m,
            open_sky=row.open_sky,
            pinned=row.pinned,
            keep_apart_m=row.keep_apart_m,
            on=row.on,
            own_sky=row.own_sky,
            form=row.form,
            diameter_m=row.diameter_m,
            passes=row.passes,
            growth=row.growth,
            face=row.face,
            sky_word=row.sky_word,
        )
        self._add_coral(coral, row.spot, row.place)
        self.files.tell_sky(row.sky_word, row.name)

    def _add_coral(self, coral: Coral, spot: tuple[float, float, float] | None, place: Place) -> None:
        """The coral, and its implicit site where it has a spot of its own (which takes its open sky).

        One with neither site nor spot has no place yet.
        """
        if coral.name in self._coral_places:
            first = self._coral_places[coral.name]
            self._problem(
                f"the coral name {coral.name!r} stands twice", place, cure=f"it stands at {first} already"
            )
            return
        self._coral_places[coral.name] = place
        if coral.form is not None or coral.diameter_m > 0:
            from lightdose.files.rocks import body_problem

            if trouble := body_problem(coral):
                self._problem(f"coral {coral.name!r}: {trouble[0]}", place, cure=trouble[1])
                return
        depth_m = spot[2] if spot is not None else self.places.depth_m(coral.site)
        if self.places.tank and depth_m is not None and coral.height_m > depth_m + ROUNDING_M:
            self._problem(
                f"coral {coral.name!r} leaves the water: {format_length(coral.height_m, 'cm')} tall",
                place,
                f"up to {format_length(depth_m, 'cm')}, the depth of its place",
            )
            return
        if spot is not None:
            site = Site(
                coral.name,
                *spot,
                coral.open_sky,
                implicit=True,
                own_sky=coral.own_sky,
                sky_word=coral.sky_word,
            )
            self.places.add_site(site, place)
            coral = replace(coral, site=coral.name, open_sky=1.0, own_sky=False, sky_word="")
        if not coral.site and coral.pinned:
            cure = "say where it sits, or take out pinned"
            self._problem(f"coral {coral.name!r} is pinned and has no place", place, cure=cure)
        (self.corals if coral.site else self.unplaced).append(coral)

    def place_of(self, coral: str) -> Place:
        """Where a coral stands in its file."""
        return self._coral_places[coral]

    def say(self) -> None:
        """What may have been meant otherwise: shade in words, corals without a place, several at one site."""
        for word, (low, high) in OPEN_SKY_RANGES.items():
            names = self.files.sky_words.get(word)
            if not names:
                continue
            self.files.understood.append(
                f'"{word}" taken as {OPEN_SKY_WORDS[word]:g} of the open light, {low:g}-{high:g} in traced '
                f"tanks: {_some(names)}; {BETTER_THAN_WORDS}"
            )
        without = [f"{c.name} ({_at(self._coral_places[c.name])})" for c in self.unplaced]
        if without:
            self.files.understood.append(
                f"no place yet: {_some(without)}; `lightdose place` finds one, other answers leave them out"
            )
        at: dict[str, list[str]] = {}
        for coral in self.corals:
            at.setdefault(coral.site, []).append(coral.name)
        shared = [f"{site} ({_some(names, 4)})" for site, names in at.items() if len(names) > 1]
        if shared:
            self.files.understood.append(
                f"more than one coral at a site: {_some(shared)}; allowed, all get the light of that place"
            )

    def _group(self, path: KeyPath, values: dict[str, Any]) -> CoralName | None:
        if not self._one_of(path, values, "group", "genus", 'add group = "...", or genus = "..."'):
            return None
        key = "group" if values.get("group") is not None else "genus"
        return self._named(values[key], self.document.value_place((*path, key)))

    def _one_of(self, path: KeyPath, values: dict[str, Any], one: str, other: str, cure: str) -> bool:
        """Whether exactly one of two keys is given; a key that was refused already counts silently."""
        raw = value_at(self.document.data, path)
        if not isinstance(raw, dict):
            return False
        given = [k for k in (one, other) if k in raw]
        if len(given) == 1:
            return values.get(given[0]) is not None
        found = f"{one} and {other} stand together" if given else f"neither {one} nor {other}"
        self.files.problems.append(
            problem_at(
                self.document, path, found, f"{one} or {other}", cure if not given else "keep one of them"
            )
        )
        return False

    def _named(self, word: str, place: Place) -> CoralName | None:
        """What a word for a coral means; what keepers must know of that is said."""
        try:
            name = self._names.one(word, self.files.suggestion)
        except SetupError as trouble:
            self.files.problems += [p.at(place) for p in trouble.problems if self.all_groups]
            return None
        if name.said and name.said not in self.files.understood:
            self.files.understood.append(name.said)
        return name

    @cached_property
    def _names(self) -> CoralNames:
        return CoralNames(self.groups)

    def _problem(self, found: str, place: Place, allowed: str = "", cure: str = "") -> None:
        self.files.problems.append(Problem(found, allowed, cure, place))


def _at(place: Place) -> str:
    return f"{place.file}:{place.line}" if place.line else place.file


def _coral(values: dict[str, Any], group: CoralName, *, own_sky: bool) -> Coral:
    return Coral(
        name=values["name"],
        group=group.group.key,
        site=values["site"] or "",
        genus=group.genus_in(values["group"] or values["genus"]),
        height_m=values["height"],
        open_sky=values["open_sky"],
        pinned=values["pinned"],
        keep_apart_m=values["keep_apart"],
        on=values["on"],
        previous=values["previous"],
        band_dli=values["dli_band"],
        peak_max=values["peak_max"],
        own_sky=own_sky,
        form=values["form"],
        diameter_m=values["diameter"] or 0.0,
        passes=values["passes"],
        growth=_growth(values["growth"]),
        face=values["faces"],
    )


def _growth(values: dict[str, Any] | None) -> Growth | None:
    if values is None:
        return None
    from lightdose.model.solids import Growth

    return Growth(values["diameter"], values["height"])
