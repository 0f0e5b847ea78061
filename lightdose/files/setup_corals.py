"""Corals of a setup: [[coral]] and corals.csv, with their groups and places."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import TYPE_CHECKING, Any

from lightdose.errors import Place, Problem
from lightdose.files.input_files import InputFiles
from lightdose.files.setup_places import ROUNDING_M, PlacesReading
from lightdose.files.setup_schema import CORAL
from lightdose.files.toml_document import TomlDocument
from lightdose.files.toml_positions import KeyPath
from lightdose.files.toml_tables import problem_at, show, suggestion, value_at
from lightdose.files.units import format_length
from lightdose.model.coral import Coral, CoralGroup, Site

if TYPE_CHECKING:
    from lightdose.files.places_csv import CoralRow


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
            one_place = self._one_of(path, values, "site", "at", 'add site = "...", or at = { ... }')
            if name is None or not one_place:
                continue
            place = self.document.value_place((*path, "name"))
            if values.get("site") is not None:
                known = self.places.known_site(values["site"], self.document.value_place((*path, "site")))
                sound = known and len(self.files.problems) == already
            else:
                sound = spot is not None and len(self.files.problems) == already
            if not sound or group is None:
                self._coral_places.setdefault(name, place)
                continue
            self._add_coral(_coral(values, group), spot, place)

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
        group = self._named_group(row.group, row.genus, row.place)
        spot = None
        if row.site is not None:
            sound = self.places.known_site(row.site, row.place)
        else:
            spot = (row.x_m or 0.0, row.y_m or 0.0, row.depth_m or 0.0)
            sound = self.places.inside(spot, f"coral {row.name!r}", row.place)
        if group is None or not sound:
            return
        coral = Coral(
            name=row.name,
            group=group,
            site=row.site or row.name,
            genus=row.genus,
            height_m=row.height_m,
            open_sky=row.open_sky,
        )
        self._add_coral(coral, spot, row.place)

    def _add_coral(self, coral: Coral, spot: tuple[float, float, float] | None, place: Place) -> None:
        """The coral, and its implicit site where it has a spot of its own (which takes its open sky)."""
        if coral.name in self._coral_places:
            first = self._coral_places[coral.name]
            self._problem(
                f"the coral name {coral.name!r} stands twice", place, cure=f"it stands at {first} already"
            )
            return
        self._coral_places[coral.name] = place
        depth_m = spot[2] if spot is not None else self.places.depth_m(coral.site)
        if self.places.tank and depth_m is not None and coral.height_m > depth_m + ROUNDING_M:
            self._problem(
                f"coral {coral.name!r} leaves the water: {format_length(coral.height_m, 'cm')} tall",
                place,
                f"up to {format_length(depth_m, 'cm')}, the depth of its place",
            )
            return
        if spot is not None:
            self.places.add_site(Site(coral.name, *spot, coral.open_sky, implicit=True), place)
            coral = replace(coral, open_sky=1.0)
        self.corals.append(coral)

    def _group(self, path: KeyPath, values: dict[str, Any]) -> str | None:
        if not self._one_of(path, values, "group", "genus", 'add group = "...", or genus = "..."'):
            return None
        key = "group" if values.get("group") is not None else "genus"
        return self._named_group(
            values.get("group"), values.get("genus"), self.document.value_place((*path, key))
        )

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

    def _named_group(self, group: str | None, genus: str | None, place: Place) -> str | None:
        if group is not None:
            if group in self.groups:
                return group
            if not self.all_groups:
                return None
            known = ", ".join(self.groups)
            self._problem(f"no group is named {group!r}", place, known, self._group_hint(group))
            return None
        by_genus = self._genera
        found = by_genus.get((genus or "").strip().lower())
        if found is not None or not self.all_groups:
            return found
        genera = [g for key in self.groups.values() for g in key.genera]
        hint = suggestion(genus or "", genera, 3)
        if genus and genus.lower() in self.groups:
            hint = f"it is a group: write group = {show(genus.lower())}"
        self._problem(
            f"no group has the genus {genus!r}", place, "see `lightdose groups`", hint or "give group instead"
        )
        return None

    @cached_property
    def _genera(self) -> dict[str, str]:
        """Genus in small letters -> group; the keeper's own groups come last and win."""
        return {g.lower(): key for key, group in self.groups.items() for g in group.genera}

    def _group_hint(self, group: str) -> str:
        if group.strip().lower() in self._genera:
            return f"it is a genus: write genus = {show(group)}"
        return suggestion(group, self.groups)

    def _problem(self, found: str, place: Place, allowed: str = "", cure: str = "") -> None:
        self.files.problems.append(Problem(found, allowed, cure, place))


def _coral(values: dict[str, Any], group: str) -> Coral:
    return Coral(
        name=values["name"],
        group=group,
        site=values["site"] if values["site"] is not None else values["name"],
        genus=values["genus"],
        height_m=values["height"],
        open_sky=values["open_sky"],
        pinned=values["pinned"],
        keep_apart_m=values["keep_apart"],
        previous=values["previous"],
        band_dli=values["dli_band"],
        peak_max=values["peak_max"],
    )
